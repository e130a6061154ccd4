//! Wax, shell, oven, blade, treatment.

use crate::catalogue::typed::*;
use crate::catalogue::*;

const STORES: &str = "stores";
const WAX: &str = "wax";
const TREE: &str = "tree";
const SHELL: &str = "shell";
const FIRE: &str = "fire";
const FINISH: &str = "finish";

kinds! {
    /// Pattern wax as received.
    WaxLots "wax_lots" "wax lot" STORES [.time(WaxLots::received_at)] {
        wax_lot: Must Own, key;
        grade: Must Text, cause;
        received_at: Must Time;
        expires_on: May Date;
        ash_pct: May Number, guard(0.0, 0.05), cause;
        congealing_c: May Number, guard(30.0, 120.0), cause;
        filler_pct: May Number, guard(0.0, 60.0), cause;
        split_from: May Ref<WaxLots>, parent;
    }

    /// One run of wax patterns.
    PatternRuns "pattern_runs" "pattern run" WAX [.time(PatternRuns::injected_at)] {
        pattern_run: Must Own, key;
        wax_lot: Must Ref<WaxLots>, parent;
        part: Must Ref<Parts>;
        die: Must Text, cause;
        injected_at: Must Time;
        wax_c: May Number, guard(50.0, 80.0), cause;
        pressure_bar: May Number, guard(5.0, 60.0), cause;
        dwell_s: May Number, guard(0.0, 600.0), cause;
        made_count: May Count;
        rejected_count: May Count;
        person: May Text, cause;
    }

    /// Ceramic cores of one lot.
    CoreLots "core_lots" "core lot" STORES [.time(CoreLots::fired_at)] {
        core_lot: Must Own, key;
        material: May Text, cause;
        fired_at: May Time;
    }

    /// Filters of one lot.
    FilterLots "filter_lots" "filter lot" STORES [.time(FilterLots::received_at)] {
        filter_lot: Must Own, key;
        material: May Text, cause;
        ppi: May Number, guard(10.0, 30.0), cause;
        received_at: Must Time;
        received_count: May Count;
        rejected_count: May Count;
    }

    /// Investment powder of one lot.
    PowderLots "powder_lots" "powder lot" STORES [.time(PowderLots::received_at)] {
        powder_lot: Must Own, key;
        grade: Must Text, cause;
        received_at: Must Time;
        expires_on: May Date;
    }

    /// A pot of slurry.
    SlurryBatches "slurry_batches" "slurry batch" SHELL [.time(SlurryBatches::made_at)] {
        slurry_batch: Must Own, key;
        r#use as "use": Must One<SlurryUse>;
        binder: May Text, cause;
        flour: May Text, cause;
        made_at: Must Time;
    }

    /// The shift's readings of a pot.
    SlurryChecks "slurry_checks" "slurry check" SHELL [.time(SlurryChecks::occurred_at).late(240.0).instrument(SlurryChecks::instrument)] {
        slurry_batch: Must Ref<SlurryBatches>, key;
        occurred_at: Must Time, key;
        person: May Text, cause;
        instrument: May Text, cause;
        temp_c: May Number, guard(18.0, 26.0), cause;
        viscosity_s: May Number, guard(5.0, 120.0), cause;
        cup: May Count, guard(1.0, 6.0);
        density_g_cm3: May Number, guard(1.0, 4.5), cause;
        ph: May Number, guard(8.5, 11.0), cause;
        sio2_pct: May Number, guard(5.0, 50.0), cause;
        plate_g: May Number, guard(0.1, 100.0), cause;
        gel: May One<Gel>, cause;
    }

    /// Stucco grain of one lot.
    StuccoLots "stucco_lots" "stucco lot" STORES [.time(StuccoLots::received_at)] {
        stucco_lot: Must Own, key;
        material: May Text, cause;
        mesh: May Text, cause;
        received_at: Must Time;
    }

    /// Moulds built together by one recipe.
    ShellBatches "shell_batches" "shell batch" SHELL [.time(ShellBatches::started_at)] {
        shell_batch: Must Own, key;
        recipe: Must Ref<ShellRecipes>, parent;
        started_at: Must Time;
        room: May Text, cause;
    }

    /// A tree of patterns that becomes a mould.
    Moulds "moulds" "mould" TREE [.time(Moulds::assembled_at)] {
        mould: Must Own, key;
        part: Must Ref<Parts>;
        running_system: Must Ref<RunningSystems>, parent;
        shell_batch: May Ref<ShellBatches>, parent;
        filter_lot: May Ref<FilterLots>, parent;
        assembled_at: Must Time;
        person: May Text, cause;
        seal: May Text, cause;
    }

    /// One dip, stucco and drying.
    Coats "coats" "coat" SHELL [.time(Coats::in_at).child(Coats::mould)] {
        mould: Must Ref<Moulds>, key;
        coat: Must Count, key, guard(1.0, 30.0);
        slurry_batch: Must Ref<SlurryBatches>, parent;
        stucco_lot: May Ref<StuccoLots>, parent;
        in_at: Must Time;
        out_at: May Time;
        room_c: May Number, guard(10.0, 40.0), cause;
        rh_pct: May Number, guard(10.0, 90.0), cause;
        person: May Text, cause;
    }

    /// A flask filled with mould powder.
    Investments "investments" "investment" SHELL [.time(Investments::mixed_at).child(Investments::mould)] {
        mould: Must Ref<Moulds>, key;
        powder_lot: Must Ref<PowderLots>, parent;
        mixed_at: Must Time;
        liquid_ml_per_100g: May Number, guard(5.0, 100.0), cause;
        mix_s: May Number, guard(0.0, 3_600.0), cause;
        vacuum_mbar: May Number, guard(0.0, 1_013.0), cause;
        set_min: May Number, guard(0.0, 1_440.0), cause;
        person: May Text, cause;
    }

    /// One run of a dewaxer, kiln or preheat oven.
    OvenRuns "oven_runs" "oven run" FIRE [.time(OvenRuns::started_at).instrument(OvenRuns::instrument)] {
        oven_run: Must Own, key;
        purpose: Must One<OvenPurpose>;
        oven: Must Text, cause;
        started_at: Must Time;
        instrument: May Text, cause;
        setpoint_c: May Number, guard(50.0, 1_300.0), cause;
        soak_min: May Number, guard(0.0, 2_880.0), cause;
        peak_bar: May Number, guard(0.0, 15.0), cause;
        rise_s: May Number, guard(0.0, 10.0), cause;
    }

    /// A mould in an oven run.
    OvenLoads "oven_loads" "oven load" FIRE [.time(OvenLoads::out_at).child(OvenLoads::mould)] {
        oven_run: Must Ref<OvenRuns>, key, parent;
        mould: Must Ref<Moulds>, key;
        place: May Text, cause;
        out_at: May Time;
        crack: May One<Crack>, cause;
    }

    /// A blade, from the pattern on its tree.
    Blades "blades" "blade" FINISH [.time(Blades::marked_at)] {
        blade: Must Own, key;
        mould: May Ref<Moulds>, parent;
        position: May Count, guard(1.0, 60.0), cause;
        pattern_run: May Ref<PatternRuns>, parent;
        cavity: May Text, cause;
        core_lot: May Ref<CoreLots>, parent;
        marked_at: May Time;
        position_confirmed: May One<YesNo>;
    }

    /// One furnace load of heat treatment or HIP.
    Treatments "treatments" "treatment" FINISH [.time(Treatments::started_at).instrument(Treatments::instrument)] {
        treatment: Must Own, key;
        kind: Must One<TreatmentKind>, cause;
        schedule: May Text, cause;
        furnace: May Text, cause;
        instrument: May Text, cause;
        started_at: Must Time;
        temp_c: May Number, guard(400.0, 1_350.0), cause;
        hold_h: May Number, guard(0.0, 100.0), cause;
        pressure_mpa: May Number, guard(0.0, 250.0), cause;
    }

    /// A blade in a treatment.
    TreatmentLoads "treatment_loads" "treatment load" FINISH [.child(TreatmentLoads::blade)] {
        treatment: Must Ref<Treatments>, key, parent;
        blade: Must Ref<Blades>, key;
    }

    /// One step of knock-out, cut-off or finishing, on a whole mould or on one blade.
    FinishSteps "finish_steps" "finish step" FINISH [.time(FinishSteps::done_at)] {
        subject: Must Ref<(Moulds, Blades)>, key;
        item: May Count, key;
        step: Must One<FinishStep>;
        done_at: Must Time;
        person: May Text;
        damage: May Text;
    }
}
