//! Definitions: what other records are judged by.

use crate::catalogue::field::{Field as F, Hand, Type as T};
use crate::catalogue::kind::{Kind, Writer};

const AT: &str = "definitions";

/// The three fields every definition takes close each table below.
macro_rules! defined {
    ($($field:expr),+ $(,)?) => {
        &[$($field),+,
          F::new("effective_from", T::Moment).opt(),
          F::new("approved_by", T::Text).opt().hand(Hand::Quality),
          F::new("approved_at", T::Moment).opt().hand(Hand::Quality)]
    };
}

pub static ALLOYS: Kind = Kind::new(
    "alloys",
    "alloy",
    AT,
    "An alloy specification.",
    defined![
        F::new("alloy", T::Tag).key(),
        F::new("revision", T::Text).opt().key(),
        F::new("liquidus_c", T::Number).opt().guard(1100.0, 1600.0),
        F::new("solidus_c", T::Number).opt().guard(1000.0, 1600.0),
        F::new("density_g_cm3", T::Number).opt().guard(7.0, 10.0),
        F::new("revert_max_pct", T::Number).opt().guard(0.0, 100.0),
        F::new("source", T::Text).opt(),
    ],
)
.revisioned()
.writer(Writer::Quality);

pub static ALLOY_LIMITS: Kind = Kind::new(
    "alloy_limits",
    "alloy limit",
    AT,
    "What one element may be in an alloy.",
    defined![
        F::new("alloy", T::Ref(&["alloys"])).key(),
        F::new("revision", T::RevisionOf("alloy")).opt(),
        F::new("element", T::Text).key(),
        F::new("min", T::Number).opt(),
        F::new("max", T::Number).opt(),
        F::new("unit", T::Choice(&["wt%", "ppm"])),
        F::new("source", T::Text).opt(),
    ],
)
.writer(Writer::Quality);

pub static PARTS: Kind = Kind::new(
    "parts",
    "part",
    AT,
    "A part by its drawing.",
    defined![
        F::new("part", T::Tag).key(),
        F::new("revision", T::Text).opt().key(),
        F::new("alloy", T::Ref(&["alloys"])),
        F::new("mass_g", T::Number).opt().guard(1.0, 20_000.0),
        F::new("inspection_class", T::Text).opt(),
        F::new("description", T::Text).opt(),
    ],
)
.revisioned()
.writer(Writer::Quality);

pub static ZONES: Kind = Kind::new(
    "zones",
    "zone",
    AT,
    "A zone of a part, as findings name it.",
    defined![
        F::new("part", T::Ref(&["parts"])).key(),
        F::new("revision", T::RevisionOf("part")).opt(),
        F::new("zone", T::Text).key(),
        F::new("name", T::Text),
    ],
)
.writer(Writer::Quality);

pub static INSPECTION_PLANS: Kind = Kind::new(
    "inspection_plans",
    "inspection plan",
    AT,
    "Which inspections a part needs.",
    defined![
        F::new("part", T::Ref(&["parts"])).key(),
        F::new("revision", T::RevisionOf("part")).opt(),
        F::new("method", T::Choice(super::inspection::METHODS)).key(),
        F::new("required", T::Choice(&["yes", "no"])),
        F::new("sampling", T::Text).opt(),
    ],
)
.writer(Writer::Quality);

pub static DEFECT_TERMS: Kind = Kind::new(
    "defect_terms",
    "defect term",
    AT,
    "A word for what is seen, not why.",
    defined![
        F::new("defect", T::Tag).key(),
        F::new("name", T::Text),
        F::new("description", T::Text).opt(),
        F::new("source", T::Text).opt(),
    ],
)
.own_names()
.writer(Writer::Quality);

pub static SHELL_RECIPES: Kind = Kind::new(
    "shell_recipes",
    "shell recipe",
    AT,
    "How a shell is built, or a flask invested.",
    defined![
        F::new("recipe", T::Tag).key(),
        F::new("revision", T::Text).opt().key(),
        F::new("route", T::Choice(&["shell", "flask"])).cause(),
        F::new("coats", T::Count).opt(),
        F::new("min_dry_h", T::Number).opt(),
        F::new("preheat_c", T::Number).opt(),
        F::new("oven_to_pour_max_s", T::Number).opt(),
    ],
)
.revisioned()
.writer(Writer::Quality);

pub static RUNNING_SYSTEMS: Kind = Kind::new(
    "running_systems",
    "running system",
    AT,
    "Sprue to gate, with its positions.",
    defined![
        F::new("running_system", T::Tag).key(),
        F::new("revision", T::Text).opt().key(),
        F::new("fill", T::Choice(&["bottom", "top"])).cause(),
        F::new("positions", T::Count),
        F::new("head_mm", T::Number).opt(),
        F::new("gate_area_mm2", T::Number).opt(),
        F::new("filter", T::Choice(&["yes", "no"])),
    ],
)
.revisioned()
.writer(Writer::Quality);

pub static OWN_FIELDS: Kind = Kind::new(
    "own_fields",
    "own field",
    AT,
    "A field that a foundry adds to a record kind.",
    defined![
        F::new("record", T::Text).key(),
        F::new("field", T::Text).key(),
        F::new("type", T::Choice(&["number", "text", "time", "yes_no"])),
        F::new("min", T::Number).opt(),
        F::new("max", T::Number).opt(),
        F::new("cause", T::Choice(&["yes", "no"])),
    ],
);

pub static INSTRUMENTS: Kind = Kind::new(
    "instruments",
    "instrument",
    AT,
    "What a reading is taken with.",
    defined![
        F::new("instrument", T::Tag).key(),
        F::new("kind", T::Text),
        F::new("description", T::Text).opt(),
    ],
);

pub static CALIBRATIONS: Kind = Kind::new(
    "calibrations",
    "calibration",
    AT,
    "A check of an instrument, done, failed or missed.",
    defined![
        F::new("instrument", T::Ref(&["instruments"])).key(),
        F::new("checked_at", T::Time).key(),
        F::new("check", T::Choice(&["calibration", "cross_check"])),
        F::new("result", T::Choice(&["good", "failed", "not_done"])),
        F::new("difference", T::Number).opt(),
        F::new("unit", T::Text).opt(),
        F::new("due_at", T::Time).opt(),
        F::new("person", T::Text).opt(),
    ],
)
.time("checked_at")
.writer(Writer::QualityUnless("check", "cross_check"));

/// People.
pub static PEOPLE: Kind = Kind::new(
    "people",
    "person",
    AT,
    "A person, by code.",
    defined![
        F::new("person", T::Tag).key(),
        F::new("role", T::Choice(&["operator", "inspector", "metallurgist", "engineer", "quality"])),
    ],
)
.writer(Writer::Quality);

/// Qualifications: a renewal is a row of its own.
pub static QUALIFICATIONS: Kind = Kind::new(
    "qualifications",
    "qualification",
    AT,
    "What a person may inspect, and until when.",
    defined![
        F::new("person", T::Ref(&["people"])).key(),
        F::new("method", T::Choice(super::inspection::METHODS)).key(),
        F::new("level", T::Text),
        F::new("from_on", T::Date).opt().key(),
        F::new("expires_on", T::Date),
        F::new("eyesight_on", T::Date).opt(),
    ],
)
.writer(Writer::Quality);

/// Settings.
pub static SETTINGS: Kind = Kind::new(
    "settings",
    "setting",
    AT,
    "What a store is set to: a mapping of a shop's own sheets or certificates, a given clock.",
    &[F::new("setting", T::Text).key(), F::new("value", T::Text).hand(Hand::QualityChanges)],
);

pub static PROCESS_LIMITS: Kind = Kind::new(
    "process_limits",
    "process limit",
    AT,
    "A foundry's own limits for a field.",
    defined![
        F::new("record", T::Text).key(),
        F::new("field", T::Text).key(),
        F::new("scope", T::Text).opt().key(),
        F::new("warn_min", T::Number).opt(),
        F::new("warn_max", T::Number).opt(),
        F::new("stop_min", T::Number).opt(),
        F::new("stop_max", T::Number).opt(),
        F::new("source", T::Text).opt(),
    ],
)
.writer(Writer::Quality);
