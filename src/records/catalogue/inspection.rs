//! Inspections, what they found, what they measured.

use crate::catalogue::typed::*;
use crate::catalogue::*;

const AT: &str = "inspect";

kinds! {
    /// One inspection of a blade, with its result.
    Inspections "inspections" "inspection" AT [.time(Inspections::inspected_at).instrument(Inspections::instrument)] {
        inspection: Must Own, key;
        blade: Must Ref<Blades>;
        method: Must One<Method>;
        round: Must Count, guard(1.0, 20.0);
        purpose: May One<InspectionPurpose>;
        technique: May Text;
        class: May Text;
        inspected_at: Must Time;
        person: May Text;
        instrument: May Ref<Instruments>;
        result: Must One<Verdict>;
        closes: May Ref<Inspections>;
    }

    /// What an inspection saw.
    Findings "findings" "finding" AT [] {
        inspection: Must Ref<Inspections>, key;
        defect: Must Ref<DefectTerms>, key;
        item: May Count, key;
        zone: May Text;
        side: May Text;
        size_mm: May Number, guard(0.0, 500.0);
        distance_mm: May Number, guard(0.0, 2_000.0);
        count: May Count;
        severity: May Count, guard(0.0, 8.0);
    }

    /// A measured characteristic with its limits.
    Measurements "measurements" "measurement" AT [] {
        inspection: Must Ref<Inspections>, key;
        characteristic: Must Text, key;
        value: Must Number;
        unit: Must Text;
        lower: May Number;
        upper: May Number;
    }
}
