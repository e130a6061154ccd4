//! Every record kind, in an order in which a kind refers only to earlier ones (or to itself).

#[macro_use]
pub mod typed;

mod choices;
mod definitions;
pub mod field;
mod inspection;
pub mod kind;
mod knowledge;
mod melt;
pub mod reference;
mod release;
mod shop;
pub mod starter;

use crate::catalogue::kind::Kind;
use crate::value::tag;

pub use choices::*;
pub use definitions::*;
pub use inspection::*;
pub use knowledge::*;
pub use melt::*;
pub use release::*;
pub use shop::*;
pub use typed::{AnyField, As, Choice, Field, Key, KindType, Recorded};

/// The kinds in writing order.
pub static ALL: [&Kind; 59] = [
    Alloys::KIND,
    AlloyLimits::KIND,
    Parts::KIND,
    Zones::KIND,
    InspectionPlans::KIND,
    DefectTerms::KIND,
    ShellRecipes::KIND,
    RunningSystems::KIND,
    OwnFields::KIND,
    Instruments::KIND,
    Calibrations::KIND,
    People::KIND,
    Qualifications::KIND,
    Organisations::KIND,
    ProcessLimits::KIND,
    Settings::KIND,
    KnowledgeSources::KIND,
    KnownCauses::KIND,
    KnownCauseReviews::KIND,
    IngotLots::KIND,
    RevertLots::KIND,
    Heats::KIND,
    RevertSources::KIND,
    Charges::KIND,
    Analyses::KIND,
    AnalysisValues::KIND,
    WaxLots::KIND,
    PatternRuns::KIND,
    CoreLots::KIND,
    FilterLots::KIND,
    PowderLots::KIND,
    SlurryBatches::KIND,
    SlurryChecks::KIND,
    StuccoLots::KIND,
    ShellBatches::KIND,
    Moulds::KIND,
    Coats::KIND,
    Investments::KIND,
    OvenRuns::KIND,
    OvenLoads::KIND,
    PourPlans::KIND,
    Pours::KIND,
    TestBars::KIND,
    Blades::KIND,
    FinishSteps::KIND,
    Treatments::KIND,
    TreatmentLoads::KIND,
    Inspections::KIND,
    Findings::KIND,
    Measurements::KIND,
    // Shipments before lots: a blade comes into a second lot only after it came back.
    Shipments::KIND,
    Lots::KIND,
    LotBlades::KIND,
    Concessions::KIND,
    // Before the dispositions: an item counts only for those that are journalled after it.
    ConcessionItems::KIND,
    Dispositions::KIND,
    Trials::KIND,
    TrialMoulds::KIND,
    HandOvers::KIND,
];

/// Kinds whose subject may be any record (an item of a concession is for what stands before it): written after all others.
pub static LAST: [&Kind; 6] =
    [Holds::KIND, Retags::KIND, Attachments::KIND, Signatures::KIND, Costs::KIND, Samples::KIND];

/// Every kind, in writing order.
pub fn all() -> impl Iterator<Item = &'static Kind> {
    ALL.into_iter().chain(LAST)
}

/// A kind by its name.
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
