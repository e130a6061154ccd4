//! What hangs on what, for a release. Everything else follows from the catalogue: a record stands on
//! what its fields refer to, all the way.

use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::catalogue::typed::{Field, Kinds, Ref, leads};
use crate::catalogue::{
    AlloyLimits, Alloys, Analyses, AnalysisValues, Attachments, Blades, Calibrations, Charges, Coats,
    ConcessionItems, Concessions, CoreLots, Costs, Dispositions, FilterLots, Findings, FinishSteps,
    HandOvers, Heats, Holds, IngotLots, InspectionPlans, Inspections, Instruments, Investments, KindType,
    KnowledgeSources, KnownCauseReviews, KnownCauses, LotBlades, Lots, Measurements, Moulds, Organisations,
    OvenLoads, OvenRuns, OwnFields, Parts, PatternRuns, People, PourPlans, Pours, PowderLots, Qualifications,
    RevertLots, RevertSources, RunningSystems, Samples, Settings, ShellBatches, ShellRecipes, Shipments,
    Signatures, SlurryBatches, SlurryChecks, StuccoLots, TestBars, TreatmentLoads, Treatments, TrialMoulds,
    Trials, WaxLots, Zones,
};

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
    pub owner: &'static Kind,
    /// What.
    pub kind: &'static Kind,
    pub field: &'static str,
    /// Which of them.
    pub which: Which,
}

impl Hangs {
    /// The column that leads to the owner.
    pub fn column(&self) -> String {
        match self.kind.field(self.field).map(|f| (f, f.ty)) {
            Some((field, Type::Ref([_, _, ..]))) => field.column_to(self.owner.name),
            _ => self.field.to_string(),
        }
    }
}

const fn on<T: KindType, K: KindType, S: Kinds, P>(owner: T, field: Field<K, Ref<S>, P>) -> Hangs {
    some(owner, field, Which::All)
}

const fn some<T: KindType, K: KindType, S: Kinds, P>(
    _: T,
    field: Field<K, Ref<S>, P>,
    which: Which,
) -> Hangs {
    const { assert!(leads::<S, T>(), "the field does not refer to the owner") };
    Hangs { owner: T::KIND, kind: K::KIND, field: field.name, which }
}

/// By owner.
pub static HANGS: [Hangs; 28] = [
    on(Moulds, Pours::mould),
    on(Moulds, Coats::mould),
    on(Moulds, Investments::mould),
    on(Moulds, OvenLoads::mould),
    on(Moulds, PourPlans::mould),
    on(Moulds, TrialMoulds::mould),
    on(Moulds, FinishSteps::subject),
    on(Heats, Charges::heat),
    on(Heats, Analyses::subject),
    on(Heats, TestBars::heat),
    on(RevertLots, RevertSources::revert_lot),
    on(RevertLots, Analyses::subject),
    on(IngotLots, Analyses::subject),
    on(Analyses, AnalysisValues::analysis),
    some(Blades, LotBlades::blade, Which::OfTheLot),
    on(Blades, TreatmentLoads::blade),
    on(Blades, FinishSteps::subject),
    on(Blades, Inspections::blade),
    on(Blades, Dispositions::blade),
    on(Inspections, Findings::inspection),
    on(Inspections, Measurements::inspection),
    some(SlurryBatches, SlurryChecks::slurry_batch, Which::ToTheCheckAfterTheLastCoat),
    some(Instruments, Calibrations::instrument, Which::ThatBoundAReading),
    on(Concessions, ConcessionItems::concession),
    on(Alloys, AlloyLimits::alloy),
    on(Parts, Zones::part),
    on(Parts, InspectionPlans::part),
    some(People, Qualifications::person, Which::OfTheMethodsRead),
];

/// Kinds that hang on any record, by this field. Re-tags do too, by both of their tags.
pub const ON_ANY: &[(&str, &str)] = &[
    (Holds::NAME, Holds::subject.name),
    (Attachments::NAME, Attachments::subject.name),
    (Samples::NAME, Samples::subject.name),
];

/// References that are not followed, by kind and place of the field: a trial is a question asked of the moulds, not a
/// parent of them; what an item of a concession is narrowed to either stands behind the lot anyway, or has no bearing
/// on it.
pub const NOT_FOLLOWED: &[(&str, usize)] = &[
    (TrialMoulds::NAME, TrialMoulds::trial.index),
    (ConcessionItems::NAME, ConcessionItems::only_for.index),
];

/// Why what the trade knows stands apart.
const READING: &str = "a reading list: it says where to look first, and approves nothing";

/// Kinds of which no record stands behind a release, and why.
pub const APART: &[(&str, &str)] = &[
    (Shipments::NAME, "sending a released lot, and its return, changes nothing about what was released"),
    (Signatures::NAME, "a signature stands on the records, not they on it"),
    (Costs::NAME, "what a blade is worth"),
    (HandOvers::NAME, "who had the furnace when; what they did there stands in the records"),
    (
        Organisations::NAME,
        "a letterhead says nothing of the blades; its words of conformity stand only where they are no newer",
    ),
    (OwnFields::NAME, "says what may be recorded; the values stand in the records"),
    (Trials::NAME, "a question, its answer and its decision"),
    (KnowledgeSources::NAME, READING),
    (KnownCauses::NAME, READING),
    (KnownCauseReviews::NAME, READING),
    (Settings::NAME, "how the program reads a shop's sheets; what came of it stands in the records"),
];

/// The kinds that the first rules bound a release to. Signatures made under them are judged by these.
pub const FIRST_RULES: [&str; 44] = [
    Lots::NAME,
    LotBlades::NAME,
    Blades::NAME,
    Moulds::NAME,
    Pours::NAME,
    Coats::NAME,
    Investments::NAME,
    OvenLoads::NAME,
    OvenRuns::NAME,
    ShellBatches::NAME,
    FilterLots::NAME,
    SlurryBatches::NAME,
    StuccoLots::NAME,
    PowderLots::NAME,
    CoreLots::NAME,
    PatternRuns::NAME,
    WaxLots::NAME,
    Heats::NAME,
    Charges::NAME,
    IngotLots::NAME,
    RevertLots::NAME,
    RevertSources::NAME,
    Analyses::NAME,
    AnalysisValues::NAME,
    TestBars::NAME,
    TreatmentLoads::NAME,
    Treatments::NAME,
    Inspections::NAME,
    Findings::NAME,
    Measurements::NAME,
    Dispositions::NAME,
    Concessions::NAME,
    Parts::NAME,
    Zones::NAME,
    InspectionPlans::NAME,
    Alloys::NAME,
    AlloyLimits::NAME,
    RunningSystems::NAME,
    ShellRecipes::NAME,
    Instruments::NAME,
    Calibrations::NAME,
    Qualifications::NAME,
    Holds::NAME,
    Attachments::NAME,
];

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::catalogue::{self, ProcessLimits, Retags};

    /// Every kind of the catalogue is either reached from a blade, or stands apart for a written reason. A new
    /// kind that is neither fails here.
    #[test]
    fn every_kind_is_reached_or_stands_apart() {
        let mut reached = BTreeSet::from([
            Lots::NAME,
            Blades::NAME,
            People::NAME,
            Instruments::NAME,
            ProcessLimits::NAME,
            Retags::NAME,
        ]);
        reached.extend(ON_ANY.iter().map(|(k, _)| *k));
        loop {
            let before = reached.len();
            for kind in catalogue::all().filter(|k| reached.clone().contains(k.name)).collect::<Vec<_>>() {
                for (i, field) in kind.fields.iter().enumerate() {
                    if let (Type::Ref(to), false) = (field.ty, NOT_FOLLOWED.contains(&(kind.name, i))) {
                        reached.extend(to);
                    }
                }
            }
            let hanging: Vec<&str> =
                HANGS.iter().filter(|h| reached.contains(h.owner.name)).map(|h| h.kind.name).collect();
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

    /// Every field that may name any record at all hangs on it here, is left out here, or its kind stands apart.
    #[test]
    fn every_reference_to_any_record_is_judged() {
        for kind in catalogue::all().filter(|k| !APART.iter().any(|(apart, _)| *apart == k.name)) {
            for (i, field) in kind.fields.iter().enumerate().filter(|(_, f)| f.ty == Type::AnyTag) {
                let judged =
                    ON_ANY.contains(&(kind.name, field.name)) || NOT_FOLLOWED.contains(&(kind.name, i));
                assert!(judged, "{}.{}", kind.name, field.name);
            }
        }
    }

    /// A kind that is reached only from what hangs here would be lost with its row: each key that names a kind
    /// behind a lot is either followed from there, or written down above.
    #[test]
    fn what_is_keyed_by_a_record_behind_a_lot_hangs_on_it() {
        let known = |kind: &str, owner: &str| {
            HANGS.iter().any(|h| h.kind.name == kind && h.owner.name == owner)
                || APART.iter().any(|(apart, _)| *apart == kind)
        };
        for kind in catalogue::all().filter(|k| !k.tagged()) {
            let Some(first) = kind.key_fields().next() else { continue };
            let Type::Ref(owners) = first.ty else { continue };
            // A trial's moulds are found from the mould, a lot's blades from the blade, loads from the mould or blade.
            let by_another = kind.key_fields().skip(1).any(|f| match f.ty {
                Type::Ref(owners) => owners.iter().any(|owner| known(kind.name, owner)),
                _ => false,
            });
            for owner in owners {
                assert!(known(kind.name, owner) || by_another, "{} hangs on {owner}", kind.name);
            }
        }
    }
}
