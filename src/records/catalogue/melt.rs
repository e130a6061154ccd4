//! Metal: lots, heats, charges, analyses, pours, test bars.

use crate::catalogue::typed::*;
use crate::catalogue::*;

const STORES: &str = "stores";
const MELT: &str = "melt";
const POUR: &str = "pour";
const LAB: &str = "laboratory";

kinds! {
    /// Bought alloy of one maker's heat.
    IngotLots "ingot_lots" "ingot lot" STORES [.time(IngotLots::received_at)] {
        ingot_lot: Must Own, key;
        alloy: Must Ref<Alloys>;
        r#use as "use": May One<IngotUse>;
        maker_heat: May Text;
        received_at: Must Time;
        mass_kg: Must Number, guard(0.0, 100_000.0);
        certificate: May Text;
        certificate_type: May One<CertificateType>;
    }

    /// Own metal kept for melting again.
    RevertLots "revert_lots" "revert lot" STORES [.time(RevertLots::made_at)] {
        revert_lot: Must Own, key;
        alloy: Must Ref<Alloys>;
        made_at: Must Time;
        form: May Text, cause;
        condition: May One<RevertCondition>, cause;
    }

    /// One melt.
    Heats "heats" "heat" MELT [.time(Heats::melted_at)] {
        heat: Must Own, key;
        alloy: Must Ref<Alloys>;
        furnace: Must Text, cause;
        closed_at: May Time;
        crucible: May Text, cause;
        crucible_life: May Count, cause;
        melted_at: May Time;
        melt_in_at: May Time;
        power_kw: May Number, guard(0.0, 2_000.0), cause;
        vacuum_mbar: May Number, guard(1e-4, 1.0), cause;
        leak_mbar_l_s: May Number, guard(0.0, 10.0), cause;
        hold_min: May Number, guard(0.0, 240.0), cause;
        person: May Text, cause;
    }

    /// Which heats a revert lot came from.
    RevertSources "revert_sources" "revert source" STORES [.child(RevertSources::revert_lot)] {
        revert_lot: Must Ref<RevertLots>, key;
        heat: Must Ref<Heats>, key, parent;
        mass_kg: Must Number, guard(0.0, 10_000.0);
    }

    /// What was put into a heat.
    Charges "charges" "charge item" MELT [.child(Charges::heat)] {
        heat: Must Ref<Heats>, key;
        source: Must Ref<(IngotLots, RevertLots)>, key, parent;
        item: May Count, key;
        mass_kg: Must Number, guard(0.0, 1_000.0);
    }

    /// A chemical analysis of a lot or heat.
    Analyses "analyses" "analysis" LAB [.time(Analyses::taken_at).instrument(Analyses::instrument)] {
        analysis: Must Own, key;
        subject: Must Ref<(IngotLots, RevertLots, Heats)>;
        purpose: Must One<AnalysisPurpose>;
        taken_at: Must Time;
        method: May Text;
        instrument: May Ref<Instruments>;
        set_aside_by: May Text, hand(Hand::Decision);
        set_aside_reason: May Text, hand(Hand::Decision);
    }

    /// One element of an analysis; 1 wt% is 10,000 ppm.
    AnalysisValues "analysis_values" "analysis value" LAB [] {
        analysis: Must Ref<Analyses>, key;
        element: Must Text, key;
        value: Must Number;
        unit: Must One<ContentUnit>;
        uncertainty: May Number;
    }

    /// A mould planned for pouring.
    PourPlans "pour_plans" "pour plan" POUR [.time(PourPlans::planned_on)] {
        mould: Must Ref<Moulds>, key;
        planned_on: Must Date;
        furnace: May Text;
        pour_order: May Count;
        target_c: May Number, guard(1350.0, 1600.0), cause;
    }

    /// A mould filled; once, and a failed pour is one too.
    Pours "pours" "pour" POUR [.time(Pours::poured_at).child(Pours::mould).late(15.0).instrument(Pours::pyrometer)] {
        mould: Must Ref<Moulds>, key;
        heat: Must Ref<Heats>, parent;
        pour_order: May Count, cause;
        poured_at: Must Time;
        indicated_c: May Number, guard(1350.0, 1600.0), cause;
        pyrometer: May Ref<Instruments>, cause;
        mould_c: May Number, guard(800.0, 1250.0), cause;
        transfer_s: May Number, guard(0.0, 1_800.0), cause;
        pour_s: May Number, guard(1.0, 10.0), cause;
        mass_kg: May Number, guard(0.0, 1_000.0), cause;
        seal_state: May One<SealState>, cause;
        run_out: May One<YesNo>, cause;
        person: May Text, cause;
    }

    /// A bar cast from a heat, tested.
    TestBars "test_bars" "test bar" LAB [.instrument(TestBars::instrument)] {
        test_bar: Must Own, key;
        heat: Must Ref<Heats>;
        instrument: May Text;
        uts_mpa: May Number, guard(100.0, 2_500.0);
        yield_mpa: May Number, guard(100.0, 2_500.0);
        elongation_pct: May Number, guard(0.0, 100.0);
        rupture_h: May Number, guard(0.0, 20_000.0);
        hardness_hrc: May Number, guard(10.0, 70.0);
    }
}
