//! Definitions: what other records are judged by.

use crate::catalogue::typed::*;
use crate::catalogue::*;

const AT: &str = "definitions";

/// The three fields that every definition takes close each table.
macro_rules! definitions {
    ($( #[doc = $about:literal] $kind:ident $table:literal $noun:literal [$($fact:tt)*] { $($body:tt)* } )*) => {
        kinds! { $(
            #[doc = $about]
            $kind $table $noun AT [$($fact)*] {
                $($body)*
                effective_from: May Moment;
                approved_by: May Text, hand(Hand::Quality);
                approved_at: May Moment, hand(Hand::Quality);
            }
        )* }
    };
}

definitions! {
    /// An alloy specification.
    Alloys "alloys" "alloy" [.revisioned().writer(Writer::Quality)] {
        alloy: Must Own, key;
        revision: May Text, key;
        liquidus_c: May Number, guard(1100.0, 1600.0);
        solidus_c: May Number, guard(1000.0, 1600.0);
        density_g_cm3: May Number, guard(7.0, 10.0);
        revert_max_pct: May Number, guard(0.0, 100.0);
        source: May Text;
    }

    /// What one element may be in an alloy.
    AlloyLimits "alloy_limits" "alloy limit" [.writer(Writer::Quality)] {
        alloy: Must Ref<Alloys>, key;
        revision: May Text, revision_of("alloy");
        element: Must Text, key;
        min: May Number;
        max: May Number;
        unit: Must One<ContentUnit>;
        source: May Text;
    }

    /// A part by its drawing.
    Parts "parts" "part" [.revisioned().writer(Writer::Quality)] {
        part: Must Own, key;
        revision: May Text, key;
        alloy: Must Ref<Alloys>;
        mass_g: May Number, guard(1.0, 20_000.0);
        inspection_class: May Text;
        description: May Text;
    }

    /// A zone of a part, as findings name it.
    Zones "zones" "zone" [.writer(Writer::Quality)] {
        part: Must Ref<Parts>, key;
        revision: May Text, revision_of("part");
        zone: Must Text, key;
        name: Must Text;
    }

    /// Which inspections a part needs.
    InspectionPlans "inspection_plans" "inspection plan" [.writer(Writer::Quality)] {
        part: Must Ref<Parts>, key;
        revision: May Text, revision_of("part");
        method: Must One<Method>, key;
        required: Must One<YesNo>;
        sampling: May Text;
    }

    /// A word for what is seen, not why.
    DefectTerms "defect_terms" "defect term" [.own_names().writer(Writer::Quality)] {
        defect: Must Own, key;
        name: Must Text;
        description: May Text;
        source: May Text;
    }

    /// How a shell is built, or a flask invested.
    ShellRecipes "shell_recipes" "shell recipe" [.revisioned().writer(Writer::Quality)] {
        recipe: Must Own, key;
        revision: May Text, key;
        route: Must One<Route>, cause;
        coats: May Count;
        min_dry_h: May Number;
        preheat_c: May Number;
        oven_to_pour_max_s: May Number;
    }

    /// Sprue to gate, with its positions.
    RunningSystems "running_systems" "running system" [.revisioned().writer(Writer::Quality)] {
        running_system: Must Own, key;
        revision: May Text, key;
        fill: Must One<Fill>, cause;
        positions: Must Count;
        head_mm: May Number;
        gate_area_mm2: May Number;
        filter: Must One<YesNo>;
    }

    /// A field that a foundry adds to a record kind.
    OwnFields "own_fields" "own field" [] {
        record: Must Text, key;
        field: Must Text, key;
        r#type as "type": Must One<OwnType>;
        min: May Number;
        max: May Number;
        cause: Must One<YesNo>;
    }

    /// What a reading is taken with.
    Instruments "instruments" "instrument" [] {
        instrument: Must Own, key;
        kind: Must Text;
        description: May Text;
    }

    /// A check of an instrument, done, failed or missed.
    Calibrations "calibrations" "calibration" [.time(Calibrations::checked_at).writer(Writer::QualityUnless("check", "cross_check"))] {
        instrument: Must Ref<Instruments>, key;
        checked_at: Must Time, key;
        check: Must One<CheckKind>;
        result: Must One<CheckResult>;
        difference: May Number;
        unit: May Text;
        due_at: May Time;
        person: May Text;
    }

    /// A person, by code.
    People "people" "person" [.writer(Writer::Quality)] {
        person: Must Own, key;
        role: Must One<Role>;
    }

    /// What a person may inspect, and until when.
    Qualifications "qualifications" "qualification" [.writer(Writer::Quality)] {
        person: Must Ref<People>, key;
        method: Must One<Method>, key;
        level: Must Text;
        from_on: May Date, key;
        expires_on: Must Date;
        eyesight_on: May Date;
    }
}

kinds! {
    /// An organisation as papers name it: the shop itself, with its letterhead, and whom it works for; lines are parted by `;`.
    Organisations "organisations" "organisation" AT [.writer(Writer::Quality)] {
        organisation: Must Own, key;
        role: Must One<OrganisationRole>;
        name: Must Text;
        address: May Text;
        contact: May Text;
        approvals: May Text;
        statement: May Text;
        paper: May One<Paper>;
    }

    /// What a store is set to: a mapping of a shop's own sheets or certificates, a given clock.
    Settings "settings" "setting" AT [] {
        setting: Must Text, key;
        value: Must Text, hand(Hand::QualityChanges);
    }
}

definitions! {
    /// A foundry's own limits for a field.
    ProcessLimits "process_limits" "process limit" [.writer(Writer::Quality)] {
        record: Must Text, key;
        field: Must Text, key;
        scope: May Text, key;
        warn_min: May Number;
        warn_max: May Number;
        stop_min: May Number;
        stop_max: May Number;
        source: May Text;
    }
}
