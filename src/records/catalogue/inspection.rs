//! Inspections, what they found, what they measured.

use crate::catalogue::field::{Field as F, Type as T};
use crate::catalogue::kind::Kind;

const AT: &str = "inspect";

/// The inspection methods, in the order of the route.
pub const METHODS: &[&str] = &["visual", "penetrant", "radiograph", "dimensional", "grain", "wall_thickness"];

/// Inspections.
pub static INSPECTIONS: Kind = Kind::new(
    "inspections",
    "inspection",
    AT,
    "One inspection of a blade, with its result.",
    &[
        F::new("inspection", T::Tag).key(),
        F::new("blade", T::Ref(&["blades"])),
        F::new("method", T::Choice(METHODS)),
        F::new("round", T::Count).guard(1.0, 20.0),
        F::new("purpose", T::Choice(&["product", "overlap", "study"])).opt(),
        F::new("technique", T::Text).opt(),
        F::new("class", T::Text).opt(),
        F::new("inspected_at", T::Time),
        F::new("person", T::Text).opt(),
        F::new("instrument", T::Ref(&["instruments"])).opt(),
        F::new("result", T::Choice(&["accept", "reject"])),
        F::new("closes", T::Ref(&["inspections"])).opt(),
    ],
)
.time("inspected_at")
.instrument("instrument");

/// Findings.
pub static FINDINGS: Kind = Kind::new(
    "findings",
    "finding",
    AT,
    "What an inspection saw.",
    &[
        F::new("inspection", T::Ref(&["inspections"])).key(),
        F::new("defect", T::Ref(&["defect_terms"])).key(),
        F::new("item", T::Count).opt().key(),
        F::new("zone", T::Text).opt(),
        F::new("side", T::Text).opt(),
        F::new("size_mm", T::Number).opt().guard(0.0, 500.0),
        F::new("distance_mm", T::Number).opt().guard(0.0, 2_000.0),
        F::new("count", T::Count).opt(),
        F::new("severity", T::Count).opt().guard(0.0, 8.0),
    ],
);

pub static MEASUREMENTS: Kind = Kind::new(
    "measurements",
    "measurement",
    AT,
    "A measured characteristic with its limits.",
    &[
        F::new("inspection", T::Ref(&["inspections"])).key(),
        F::new("characteristic", T::Text).key(),
        F::new("value", T::Number),
        F::new("unit", T::Text),
        F::new("lower", T::Number).opt(),
        F::new("upper", T::Number).opt(),
    ],
);
