//! What hangs on what, for a release. Everything else follows from the catalogue: a record stands on
//! what its fields refer to, all the way.

/// Which of the records that hang on an owner count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    /// All of them.
    All,
    /// Those of the lot itself: a blade may have a row in another lot too.
    OfTheLot,
    /// The checks of a pot up to the first after the lot's last coat from it.
    ToTheCheckAfterTheLastCoat,
    /// The checks of an instrument that bound one of the lot's readings: the last that was done before it,
    /// the first after it.
    ThatBoundAReading,
    /// Qualifications of the methods that the person read, and that may have been valid then.
    OfTheMethodsRead,
}

/// Records of a kind hang on the record that their field names.
#[derive(Clone, Copy, Debug)]
pub struct Hangs {
    /// On what.
    pub owner: &'static str,
    /// What.
    pub kind: &'static str,
    /// By which field.
    pub field: &'static str,
    /// Which of them.
    pub which: Which,
}

const fn on(owner: &'static str, kind: &'static str, field: &'static str) -> Hangs {
    Hangs { owner, kind, field, which: Which::All }
}

const fn some(owner: &'static str, kind: &'static str, field: &'static str, which: Which) -> Hangs {
    Hangs { owner, kind, field, which }
}

/// By owner.
pub const HANGS: &[Hangs] = &[
    on("moulds", "pours", "mould"),
    on("moulds", "coats", "mould"),
    on("moulds", "investments", "mould"),
    on("moulds", "oven_loads", "mould"),
    on("moulds", "pour_plans", "mould"),
    on("moulds", "trial_moulds", "mould"),
    on("heats", "charges", "heat"),
    on("heats", "analyses", "subject"),
    on("heats", "test_bars", "heat"),
    on("revert_lots", "revert_sources", "revert_lot"),
    on("revert_lots", "analyses", "subject"),
    on("ingot_lots", "analyses", "subject"),
    on("analyses", "analysis_values", "analysis"),
    some("blades", "lot_blades", "blade", Which::OfTheLot),
    on("blades", "treatment_loads", "blade"),
    on("blades", "inspections", "blade"),
    on("blades", "dispositions", "blade"),
    on("inspections", "findings", "inspection"),
    on("inspections", "measurements", "inspection"),
    some("slurry_batches", "slurry_checks", "slurry_batch", Which::ToTheCheckAfterTheLastCoat),
    some("instruments", "calibrations", "instrument", Which::ThatBoundAReading),
    on("concessions", "concession_items", "concession"),
    on("alloys", "alloy_limits", "alloy"),
    on("parts", "zones", "part"),
    on("parts", "inspection_plans", "part"),
    some("people", "qualifications", "person", Which::OfTheMethodsRead),
];

/// Kinds that hang on any record, by this field. Re-tags do too, by both of their tags.
pub const ON_ANY: &[(&str, &str)] =
    &[("holds", "subject"), ("attachments", "subject"), ("samples", "subject")];

/// References that are not followed: a trial is a question asked of the moulds, not a parent of them; what
/// an item of a concession is narrowed to either stands behind the lot anyway, or has no bearing on it.
pub const NOT_FOLLOWED: &[(&str, &str)] = &[("trial_moulds", "trial"), ("concession_items", "only_for")];

/// Kinds of which no record stands behind a release, and why.
pub const APART: &[(&str, &str)] = &[
    ("shipments", "sending a released lot, and its return, changes nothing about what was released"),
    ("signatures", "a signature stands on the records, not they on it"),
    ("costs", "what a blade is worth"),
    ("own_fields", "says what may be recorded; the values stand in the records"),
    ("trials", "a question, its answer and its decision"),
    ("settings", "how the program reads a shop's sheets; what came of it stands in the records"),
];

/// The kinds that the first rules bound a release to. Signatures made under them are judged by these.
pub const FIRST_RULES: &[&str] = &[
    "lots",
    "lot_blades",
    "blades",
    "moulds",
    "pours",
    "coats",
    "investments",
    "oven_loads",
    "oven_runs",
    "shell_batches",
    "filter_lots",
    "slurry_batches",
    "stucco_lots",
    "powder_lots",
    "core_lots",
    "pattern_runs",
    "wax_lots",
    "heats",
    "charges",
    "ingot_lots",
    "revert_lots",
    "revert_sources",
    "analyses",
    "analysis_values",
    "test_bars",
    "treatment_loads",
    "treatments",
    "inspections",
    "findings",
    "measurements",
    "dispositions",
    "concessions",
    "parts",
    "zones",
    "inspection_plans",
    "alloys",
    "alloy_limits",
    "running_systems",
    "shell_recipes",
    "instruments",
    "calibrations",
    "qualifications",
    "holds",
    "attachments",
];

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::catalogue;
    use crate::catalogue::field::Type;

    /// Every kind of the catalogue is either reached from a blade, or stands apart for a written reason. A new
    /// kind that is neither fails here.
    #[test]
    fn every_kind_is_reached_or_stands_apart() {
        let mut reached =
            BTreeSet::from(["lots", "blades", "people", "instruments", "process_limits", "retags"]);
        reached.extend(ON_ANY.iter().map(|(k, _)| *k));
        loop {
            let before = reached.len();
            for kind in catalogue::all().filter(|k| reached.clone().contains(k.name)).collect::<Vec<_>>() {
                for field in kind.fields {
                    if let (Type::Ref(to), false) =
                        (field.ty, NOT_FOLLOWED.contains(&(kind.name, field.name)))
                    {
                        reached.extend(to);
                    }
                }
            }
            let hanging =
                HANGS.iter().filter(|h| reached.contains(h.owner)).map(|h| h.kind).collect::<Vec<_>>();
            reached.extend(hanging);
            if reached.len() == before {
                break;
            }
        }
        let apart: BTreeSet<&str> = APART.iter().map(|(k, _)| *k).collect();
        assert_eq!(reached.intersection(&apart).count(), 0, "{reached:?}");
        for kind in catalogue::all() {
            assert!(reached.contains(kind.name) || apart.contains(kind.name), "{}", kind.name);
        }
    }

    #[test]
    fn the_rules_name_fields_that_refer_to_the_owner() {
        for h in HANGS {
            let field = catalogue::kind(h.kind).and_then(|k| k.field(h.field)).map(|f| f.ty);
            assert!(matches!(field, Some(Type::Ref(to)) if to.contains(&h.owner)), "{h:?}");
        }
        for name in FIRST_RULES {
            assert!(catalogue::kind(name).is_some(), "{name}");
        }
    }
}
