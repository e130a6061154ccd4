//! Wax, shell, oven, blade, treatment.

use crate::catalogue::field::{Field as F, Type as T};
use crate::catalogue::kind::Kind;

const STORES: &str = "stores";
const WAX: &str = "wax";
const TREE: &str = "tree";
const SHELL: &str = "shell";
const FIRE: &str = "fire";
const FINISH: &str = "finish";

pub static WAX_LOTS: Kind = Kind::new(
    "wax_lots",
    "wax lot",
    STORES,
    "Pattern wax as received.",
    &[
        F::new("wax_lot", T::Tag).key(),
        F::new("grade", T::Text).cause(),
        F::new("received_at", T::Time),
        F::new("expires_on", T::Date).opt(),
        F::new("ash_pct", T::Number).opt().guard(0.0, 0.05).cause(),
        F::new("congealing_c", T::Number).opt().guard(30.0, 120.0).cause(),
        F::new("filler_pct", T::Number).opt().guard(0.0, 60.0).cause(),
        F::new("split_from", T::Ref(&["wax_lots"])).opt().parent(),
    ],
)
.time("received_at");

pub static PATTERN_RUNS: Kind = Kind::new(
    "pattern_runs",
    "pattern run",
    WAX,
    "One run of wax patterns.",
    &[
        F::new("pattern_run", T::Tag).key(),
        F::new("wax_lot", T::Ref(&["wax_lots"])).parent(),
        F::new("part", T::Ref(&["parts"])),
        F::new("die", T::Text).cause(),
        F::new("injected_at", T::Time),
        F::new("wax_c", T::Number).opt().guard(50.0, 80.0).cause(),
        F::new("pressure_bar", T::Number).opt().guard(5.0, 60.0).cause(),
        F::new("dwell_s", T::Number).opt().guard(0.0, 600.0).cause(),
        F::new("made_count", T::Count).opt(),
        F::new("rejected_count", T::Count).opt(),
        F::new("person", T::Text).opt().cause(),
    ],
)
.time("injected_at");

pub static CORE_LOTS: Kind = Kind::new(
    "core_lots",
    "core lot",
    STORES,
    "Ceramic cores of one lot.",
    &[
        F::new("core_lot", T::Tag).key(),
        F::new("material", T::Text).opt().cause(),
        F::new("fired_at", T::Time).opt(),
    ],
)
.time("fired_at");

pub static FILTER_LOTS: Kind = Kind::new(
    "filter_lots",
    "filter lot",
    STORES,
    "Filters of one lot.",
    &[
        F::new("filter_lot", T::Tag).key(),
        F::new("material", T::Text).opt().cause(),
        F::new("ppi", T::Number).opt().guard(10.0, 30.0).cause(),
        F::new("received_at", T::Time),
        F::new("received_count", T::Count).opt(),
        F::new("rejected_count", T::Count).opt(),
    ],
)
.time("received_at");

pub static POWDER_LOTS: Kind = Kind::new(
    "powder_lots",
    "powder lot",
    STORES,
    "Investment powder of one lot.",
    &[
        F::new("powder_lot", T::Tag).key(),
        F::new("grade", T::Text).cause(),
        F::new("received_at", T::Time),
        F::new("expires_on", T::Date).opt(),
    ],
)
.time("received_at");

pub static SLURRY_BATCHES: Kind = Kind::new(
    "slurry_batches",
    "slurry batch",
    SHELL,
    "A pot of slurry.",
    &[
        F::new("slurry_batch", T::Tag).key(),
        F::new("use", T::Choice(&["prime", "backup", "seal_coat"])),
        F::new("binder", T::Text).opt().cause(),
        F::new("flour", T::Text).opt().cause(),
        F::new("made_at", T::Time),
    ],
)
.time("made_at");

pub static SLURRY_CHECKS: Kind = Kind::new(
    "slurry_checks",
    "slurry check",
    SHELL,
    "The shift's readings of a pot.",
    &[
        F::new("slurry_batch", T::Ref(&["slurry_batches"])).key(),
        F::new("occurred_at", T::Time).key(),
        F::new("person", T::Text).opt().cause(),
        F::new("instrument", T::Text).opt().cause(),
        F::new("temp_c", T::Number).opt().guard(18.0, 26.0).cause(),
        F::new("viscosity_s", T::Number).opt().guard(5.0, 120.0).cause(),
        F::new("cup", T::Count).opt().guard(1.0, 6.0),
        F::new("density_g_cm3", T::Number).opt().guard(1.0, 4.5).cause(),
        F::new("ph", T::Number).opt().guard(8.5, 11.0).cause(),
        F::new("sio2_pct", T::Number).opt().guard(5.0, 50.0).cause(),
        F::new("plate_g", T::Number).opt().guard(0.1, 100.0).cause(),
        F::new("gel", T::Choice(&["pass", "fail", "not_done"])).opt().cause(),
    ],
)
.time("occurred_at")
.late(240.0)
.instrument("instrument");

pub static STUCCO_LOTS: Kind = Kind::new(
    "stucco_lots",
    "stucco lot",
    STORES,
    "Stucco grain of one lot.",
    &[
        F::new("stucco_lot", T::Tag).key(),
        F::new("material", T::Text).opt().cause(),
        F::new("mesh", T::Text).opt().cause(),
        F::new("received_at", T::Time),
    ],
)
.time("received_at");

pub static SHELL_BATCHES: Kind = Kind::new(
    "shell_batches",
    "shell batch",
    SHELL,
    "Moulds built together by one recipe.",
    &[
        F::new("shell_batch", T::Tag).key(),
        F::new("recipe", T::Ref(&["shell_recipes"])).parent(),
        F::new("started_at", T::Time),
        F::new("room", T::Text).opt().cause(),
    ],
)
.time("started_at");

pub static MOULDS: Kind = Kind::new(
    "moulds",
    "mould",
    TREE,
    "A tree of patterns that becomes a mould.",
    &[
        F::new("mould", T::Tag).key(),
        F::new("part", T::Ref(&["parts"])),
        F::new("running_system", T::Ref(&["running_systems"])).parent(),
        F::new("shell_batch", T::Ref(&["shell_batches"])).opt().parent(),
        F::new("filter_lot", T::Ref(&["filter_lots"])).opt().parent(),
        F::new("assembled_at", T::Time),
        F::new("person", T::Text).opt().cause(),
        F::new("seal", T::Text).opt().cause(),
    ],
)
.time("assembled_at");

pub static COATS: Kind = Kind::new(
    "coats",
    "coat",
    SHELL,
    "One dip, stucco and drying.",
    &[
        F::new("mould", T::Ref(&["moulds"])).key(),
        F::new("coat", T::Count).key().guard(1.0, 30.0),
        F::new("slurry_batch", T::Ref(&["slurry_batches"])).parent(),
        F::new("stucco_lot", T::Ref(&["stucco_lots"])).opt().parent(),
        F::new("in_at", T::Time),
        F::new("out_at", T::Time).opt(),
        F::new("room_c", T::Number).opt().guard(10.0, 40.0).cause(),
        F::new("rh_pct", T::Number).opt().guard(10.0, 90.0).cause(),
        F::new("person", T::Text).opt().cause(),
    ],
)
.time("in_at")
.child("mould");

pub static INVESTMENTS: Kind = Kind::new(
    "investments",
    "investment",
    SHELL,
    "A flask filled with mould powder.",
    &[
        F::new("mould", T::Ref(&["moulds"])).key(),
        F::new("powder_lot", T::Ref(&["powder_lots"])).parent(),
        F::new("mixed_at", T::Time),
        F::new("liquid_ml_per_100g", T::Number).opt().guard(5.0, 100.0).cause(),
        F::new("mix_s", T::Number).opt().guard(0.0, 3_600.0).cause(),
        F::new("vacuum_mbar", T::Number).opt().guard(0.0, 1_013.0).cause(),
        F::new("set_min", T::Number).opt().guard(0.0, 1_440.0).cause(),
        F::new("person", T::Text).opt().cause(),
    ],
)
.time("mixed_at")
.child("mould");

pub static OVEN_RUNS: Kind = Kind::new(
    "oven_runs",
    "oven run",
    FIRE,
    "One run of a dewaxer, kiln or preheat oven.",
    &[
        F::new("oven_run", T::Tag).key(),
        F::new("purpose", T::Choice(&["dewax", "fire", "preheat"])),
        F::new("oven", T::Text).cause(),
        F::new("started_at", T::Time),
        F::new("instrument", T::Text).opt().cause(),
        F::new("setpoint_c", T::Number).opt().guard(50.0, 1_300.0).cause(),
        F::new("soak_min", T::Number).opt().guard(0.0, 2_880.0).cause(),
        F::new("peak_bar", T::Number).opt().guard(0.0, 15.0).cause(),
        F::new("rise_s", T::Number).opt().guard(0.0, 10.0).cause(),
    ],
)
.time("started_at")
.instrument("instrument");

pub static OVEN_LOADS: Kind = Kind::new(
    "oven_loads",
    "oven load",
    FIRE,
    "A mould in an oven run.",
    &[
        F::new("oven_run", T::Ref(&["oven_runs"])).key().parent(),
        F::new("mould", T::Ref(&["moulds"])).key(),
        F::new("place", T::Text).opt().cause(),
        F::new("out_at", T::Time).opt(),
        F::new("crack", T::Choice(&["none", "patched", "through"])).opt().cause(),
    ],
)
.time("out_at")
.child("mould");

pub static BLADES: Kind = Kind::new(
    "blades",
    "blade",
    FINISH,
    "A blade, from the pattern on its tree.",
    &[
        F::new("blade", T::Tag).key(),
        F::new("mould", T::Ref(&["moulds"])).opt().parent(),
        F::new("position", T::Count).opt().guard(1.0, 60.0).cause(),
        F::new("pattern_run", T::Ref(&["pattern_runs"])).opt().parent(),
        F::new("cavity", T::Text).opt().cause(),
        F::new("core_lot", T::Ref(&["core_lots"])).opt().parent(),
        F::new("marked_at", T::Time).opt(),
        F::new("position_confirmed", T::Choice(&["yes", "no"])).opt(),
    ],
)
.time("marked_at");

pub static TREATMENTS: Kind = Kind::new(
    "treatments",
    "treatment",
    FINISH,
    "One furnace load of heat treatment or HIP.",
    &[
        F::new("treatment", T::Tag).key(),
        F::new("kind", T::Choice(&["hip", "solution", "age", "stress_relief"])).cause(),
        F::new("schedule", T::Text).opt().cause(),
        F::new("furnace", T::Text).opt().cause(),
        F::new("instrument", T::Text).opt().cause(),
        F::new("started_at", T::Time),
        F::new("temp_c", T::Number).opt().guard(400.0, 1_350.0).cause(),
        F::new("hold_h", T::Number).opt().guard(0.0, 100.0).cause(),
        F::new("pressure_mpa", T::Number).opt().guard(0.0, 250.0).cause(),
    ],
)
.time("started_at")
.instrument("instrument");

pub static TREATMENT_LOADS: Kind = Kind::new(
    "treatment_loads",
    "treatment load",
    FINISH,
    "A blade in a treatment.",
    &[
        F::new("treatment", T::Ref(&["treatments"])).key().parent(),
        F::new("blade", T::Ref(&["blades"])).key(),
    ],
)
.child("blade");
