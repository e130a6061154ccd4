//! Metal: lots, heats, charges, analyses, pours, test bars.

use crate::catalogue::field::{Field as F, Hand, Type as T};
use crate::catalogue::kind::Kind;

const STORES: &str = "stores";
const MELT: &str = "melt";
const POUR: &str = "pour";
const LAB: &str = "laboratory";

pub static INGOT_LOTS: Kind = Kind::new(
    "ingot_lots",
    "ingot lot",
    STORES,
    "Bought alloy of one maker's heat.",
    &[
        F::new("ingot_lot", T::Tag).key(),
        F::new("alloy", T::Ref(&["alloys"])),
        F::new("use", T::Choice(&["melt", "addition"])).opt(),
        F::new("maker_heat", T::Text).opt(),
        F::new("received_at", T::Time),
        F::new("mass_kg", T::Number).guard(0.0, 100_000.0),
        F::new("certificate", T::Text).opt(),
        F::new("certificate_type", T::Choice(&["2.1", "2.2", "3.1", "3.2"])).opt(),
    ],
)
.time("received_at");

pub static REVERT_LOTS: Kind = Kind::new(
    "revert_lots",
    "revert lot",
    STORES,
    "Own metal kept for melting again.",
    &[
        F::new("revert_lot", T::Tag).key(),
        F::new("alloy", T::Ref(&["alloys"])),
        F::new("made_at", T::Time),
        F::new("form", T::Text).opt().cause(),
        F::new("condition", T::Choice(&["clean", "uncleaned", "mixed"])).opt().cause(),
    ],
)
.time("made_at");

pub static HEATS: Kind = Kind::new(
    "heats",
    "heat",
    MELT,
    "One melt.",
    &[
        F::new("heat", T::Tag).key(),
        F::new("alloy", T::Ref(&["alloys"])),
        F::new("furnace", T::Text).cause(),
        F::new("closed_at", T::Time).opt(),
        F::new("crucible", T::Text).opt().cause(),
        F::new("crucible_life", T::Count).opt().cause(),
        F::new("melted_at", T::Time).opt(),
        F::new("melt_in_at", T::Time).opt(),
        F::new("power_kw", T::Number).opt().guard(0.0, 2_000.0).cause(),
        F::new("vacuum_mbar", T::Number).opt().guard(1e-4, 1.0).cause(),
        F::new("leak_mbar_l_s", T::Number).opt().guard(0.0, 10.0).cause(),
        F::new("hold_min", T::Number).opt().guard(0.0, 240.0).cause(),
        F::new("person", T::Text).opt().cause(),
    ],
)
.time("melted_at");

pub static REVERT_SOURCES: Kind = Kind::new(
    "revert_sources",
    "revert source",
    STORES,
    "Which heats a revert lot came from.",
    &[
        F::new("revert_lot", T::Ref(&["revert_lots"])).key(),
        F::new("heat", T::Ref(&["heats"])).key().parent(),
        F::new("mass_kg", T::Number).guard(0.0, 10_000.0),
    ],
)
.child("revert_lot");

pub static CHARGES: Kind = Kind::new(
    "charges",
    "charge item",
    MELT,
    "What was put into a heat.",
    &[
        F::new("heat", T::Ref(&["heats"])).key(),
        F::new("source", T::Ref(&["ingot_lots", "revert_lots"])).key().parent(),
        F::new("item", T::Count).opt().key(),
        F::new("mass_kg", T::Number).guard(0.0, 1_000.0),
    ],
)
.child("heat");

pub static ANALYSES: Kind = Kind::new(
    "analyses",
    "analysis",
    LAB,
    "A chemical analysis of a lot or heat.",
    &[
        F::new("analysis", T::Tag).key(),
        F::new("subject", T::Ref(&["ingot_lots", "revert_lots", "heats"])),
        F::new("purpose", T::Choice(&["maker", "check"])),
        F::new("taken_at", T::Time),
        F::new("method", T::Text).opt(),
        F::new("instrument", T::Ref(&["instruments"])).opt(),
        F::new("set_aside_by", T::Text).opt().hand(Hand::Decision),
        F::new("set_aside_reason", T::Text).opt().hand(Hand::Decision),
    ],
)
.time("taken_at")
.instrument("instrument");

pub static ANALYSIS_VALUES: Kind = Kind::new(
    "analysis_values",
    "analysis value",
    LAB,
    "One element of an analysis; 1 wt% is 10,000 ppm.",
    &[
        F::new("analysis", T::Ref(&["analyses"])).key(),
        F::new("element", T::Text).key(),
        F::new("value", T::Number),
        F::new("unit", T::Choice(&["wt%", "ppm"])),
        F::new("uncertainty", T::Number).opt(),
    ],
);

pub static POUR_PLANS: Kind = Kind::new(
    "pour_plans",
    "pour plan",
    POUR,
    "A mould planned for pouring.",
    &[
        F::new("mould", T::Ref(&["moulds"])).key(),
        F::new("planned_on", T::Date),
        F::new("furnace", T::Text).opt(),
        F::new("pour_order", T::Count).opt(),
        F::new("target_c", T::Number).opt().guard(1350.0, 1600.0).cause(),
    ],
)
.time("planned_on");

pub static POURS: Kind = Kind::new(
    "pours",
    "pour",
    POUR,
    "A mould filled; once, and a failed pour is one too.",
    &[
        F::new("mould", T::Ref(&["moulds"])).key(),
        F::new("heat", T::Ref(&["heats"])).parent(),
        F::new("pour_order", T::Count).opt().cause(),
        F::new("poured_at", T::Time),
        F::new("indicated_c", T::Number).opt().guard(1350.0, 1600.0).cause(),
        F::new("pyrometer", T::Ref(&["instruments"])).opt().cause(),
        F::new("mould_c", T::Number).opt().guard(800.0, 1250.0).cause(),
        F::new("transfer_s", T::Number).opt().guard(0.0, 1_800.0).cause(),
        F::new("pour_s", T::Number).opt().guard(1.0, 10.0).cause(),
        F::new("mass_kg", T::Number).opt().guard(0.0, 1_000.0).cause(),
        F::new("seal_state", T::Choice(&["tight", "weep", "leak"])).opt().cause(),
        F::new("run_out", T::Choice(&["yes", "no"])).opt().cause(),
        F::new("person", T::Text).opt().cause(),
    ],
)
.time("poured_at")
.child("mould")
.late(15.0)
.instrument("pyrometer");

pub static TEST_BARS: Kind = Kind::new(
    "test_bars",
    "test bar",
    LAB,
    "A bar cast from a heat, tested.",
    &[
        F::new("test_bar", T::Tag).key(),
        F::new("heat", T::Ref(&["heats"])),
        F::new("instrument", T::Text).opt(),
        F::new("uts_mpa", T::Number).opt().guard(100.0, 2_500.0),
        F::new("yield_mpa", T::Number).opt().guard(100.0, 2_500.0),
        F::new("elongation_pct", T::Number).opt().guard(0.0, 100.0),
        F::new("rupture_h", T::Number).opt().guard(0.0, 20_000.0),
        F::new("hardness_hrc", T::Number).opt().guard(10.0, 70.0),
    ],
)
.instrument("instrument");
