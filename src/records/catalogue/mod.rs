//! Every record kind, in an order in which a kind refers only to earlier ones (or to itself).

pub(crate) mod definitions;
pub mod field;
pub(crate) mod inspection;
pub mod kind;
pub(crate) mod melt;
pub mod reference;
pub(crate) mod release;
pub(crate) mod shop;
pub mod starter;

use crate::catalogue::kind::Kind;
use crate::value::tag;

pub use crate::catalogue::definitions::PEOPLE;
pub use crate::catalogue::definitions::QUALIFICATIONS;
pub use crate::catalogue::definitions::SETTINGS;
pub use crate::catalogue::inspection::FINDINGS;
pub use crate::catalogue::inspection::INSPECTIONS;
pub use crate::catalogue::inspection::METHODS;
pub use crate::catalogue::release::CONCESSION_ITEMS;
pub use crate::catalogue::release::DISPOSITIONS;
pub use crate::catalogue::release::HOLDS;

/// The kinds in writing order.
pub static ALL: [&Kind; 53] = [
    &definitions::ALLOYS,
    &definitions::ALLOY_LIMITS,
    &definitions::PARTS,
    &definitions::ZONES,
    &definitions::INSPECTION_PLANS,
    &definitions::DEFECT_TERMS,
    &definitions::SHELL_RECIPES,
    &definitions::RUNNING_SYSTEMS,
    &definitions::OWN_FIELDS,
    &definitions::INSTRUMENTS,
    &definitions::CALIBRATIONS,
    &definitions::PEOPLE,
    &definitions::QUALIFICATIONS,
    &definitions::PROCESS_LIMITS,
    &definitions::SETTINGS,
    &melt::INGOT_LOTS,
    &melt::REVERT_LOTS,
    &melt::HEATS,
    &melt::REVERT_SOURCES,
    &melt::CHARGES,
    &melt::ANALYSES,
    &melt::ANALYSIS_VALUES,
    &shop::WAX_LOTS,
    &shop::PATTERN_RUNS,
    &shop::CORE_LOTS,
    &shop::FILTER_LOTS,
    &shop::POWDER_LOTS,
    &shop::SLURRY_BATCHES,
    &shop::SLURRY_CHECKS,
    &shop::STUCCO_LOTS,
    &shop::SHELL_BATCHES,
    &shop::MOULDS,
    &shop::COATS,
    &shop::INVESTMENTS,
    &shop::OVEN_RUNS,
    &shop::OVEN_LOADS,
    &melt::POUR_PLANS,
    &melt::POURS,
    &melt::TEST_BARS,
    &shop::BLADES,
    &shop::TREATMENTS,
    &shop::TREATMENT_LOADS,
    &inspection::INSPECTIONS,
    &inspection::FINDINGS,
    &inspection::MEASUREMENTS,
    // Shipments before lots: a blade comes into a second lot only after it came back.
    &release::SHIPMENTS,
    &release::LOTS,
    &release::LOT_BLADES,
    &release::CONCESSIONS,
    // Before the dispositions: an item counts only for those that are journalled after it.
    &release::CONCESSION_ITEMS,
    &release::DISPOSITIONS,
    &release::TRIALS,
    &release::TRIAL_MOULDS,
];

/// Kinds whose subject may be any record (an item of a concession is for what stands before it): written after all others.
pub static LAST: [&Kind; 6] = [
    &release::HOLDS,
    &release::RETAGS,
    &release::ATTACHMENTS,
    &release::SIGNATURES,
    &release::COSTS,
    &release::SAMPLES,
];

/// Every kind, in writing order.
pub fn all() -> impl Iterator<Item = &'static Kind> {
    ALL.into_iter().chain(LAST)
}

/// A kind by its name.
#[must_use]
pub fn kind(name: &str) -> Option<&'static Kind> {
    all().find(|k| k.name == name)
}

/// A kind by its name, or by one such record in words.
///
/// # Errors
/// No such kind; the sentence offers near matches.
pub fn find(name: &str) -> Result<&'static Kind, String> {
    all().find(|k| k.name == name || k.noun.replace(' ', "_") == name).ok_or_else(|| {
        let near = tag::near(name, all().map(|k| k.name));
        format!("there is no record kind {}{}", tag::shown(name), tag::hint(&near))
    })
}

/// Position of a kind in writing order; stands for it where a number must.
#[must_use]
pub fn position(kind: &Kind) -> usize {
    // A kind is one static: its place in memory names it.
    all().position(|k| std::ptr::eq(k, kind)).unwrap_or(usize::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::field::Type;

    #[test]
    fn kinds_refer_to_earlier_kinds_or_themselves() {
        let mut seen: Vec<&str> = Vec::new();
        for kind in all() {
            seen.push(kind.name);
            for field in kind.fields {
                match field.ty {
                    Type::Ref(kinds) => {
                        for k in kinds {
                            assert!(seen.contains(k), "{}.{} refers to {k}", kind.name, field.name);
                        }
                    }
                    Type::RevisionOf(of) => assert!(kind.field(of).is_some()),
                    _ => {}
                }
            }
            if let Some(time) = kind.time {
                let ty = kind.field(time).map(|f| f.ty);
                assert!(ty == Some(Type::Time) || ty == Some(Type::Date), "{}.{time}", kind.name);
            }
            for named in [kind.child, kind.instrument].into_iter().flatten() {
                assert!(kind.field(named).is_some(), "{}.{named}", kind.name);
            }
        }
    }

    #[test]
    fn names_are_well_formed_and_unique() {
        for kind in all() {
            assert_eq!(all().filter(|k| k.name == kind.name).count(), 1);
            let mut names: Vec<_> = kind.all_fields().map(|f| f.name).collect();
            assert!(
                names
                    .iter()
                    .all(|n| n.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_'))
            );
            let n = names.len();
            names.sort_unstable();
            names.dedup();
            assert_eq!(n, names.len(), "{}: a field stands there twice", kind.name);
            assert!(kind.key_fields().count() > 0, "{} has no key", kind.name);
            assert!(kind.fields.iter().filter(|f| f.ty == Type::Tag).count() <= 1);
        }
    }
}
