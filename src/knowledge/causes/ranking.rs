//! The answer to "what made these blades bad": ranked factors with their evidence, and what it is worth.

use serde::Serialize;

use crate::causes::sets::BladeGroup;

/// A cause is shown when its q is below this.
pub(crate) const SHOWN: f64 = 0.1;

/// q below this is called strong.
const STRONG: f64 = 0.01;

/// What is decided of a row. Lists, words, holds and signs all come from it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// It goes along with the defect.
    Shown,
    /// It does, and what it names is one stretch of time in which the rate moved anyway.
    ShownPeriod,
    /// It goes along with the defect, and its contrast goes once one that is shown is allowed for.
    Explained,
    /// Nothing is to be said of it.
    NotShown,
}

impl Verdict {
    /// Shown, and explained by no other.
    #[must_use]
    pub fn is_shown(self) -> bool {
        matches!(self, Self::Shown | Self::ShownPeriod)
    }
}

/// The ranking of every testable factor, with what cannot be told.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Ranking {
    /// Blades in the scope of the question.
    pub blades: BladeCounts,
    /// Moulds with inspected blades.
    pub moulds: usize,
    /// Heats with inspected blades.
    pub heats: usize,
    /// Factors tested; each was a chance for a false finding.
    pub tests: usize,
    /// Every factor tested, best first.
    pub causes: Vec<Cause>,
    /// Two factors that were asked about together: what they do beyond what each does singly.
    pub pairs: Vec<Cause>,
    /// Why the two that were asked about cannot be looked at together.
    #[serde(skip)]
    pub pair_refused: Option<String>,
    /// The pour order itself.
    pub time: TimeRow,
    /// What would separate causes that the records cannot.
    pub next: Vec<NextPour>,
    /// What the reader must know, as sentences.
    pub cautions: Vec<String>,
    /// Factors that cannot be tested, each with its reason.
    pub not_testable: Vec<NotTestable>,
    /// How much moulds, heats and time move the rate beyond chance.
    pub clumping: Option<Clumping>,
    /// The seed of the draws.
    pub seed: u64,
    /// The most draws behind a p; the first 199 are the same for all.
    pub draws: usize,
}

/// Blades made, inspected, with the defect, and not inspected.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct BladeCounts {
    /// Blades made in the scope.
    pub made: usize,
    /// Of them inspected.
    pub inspected: usize,
    /// Of the inspected, with the defect.
    pub with: usize,
    /// Of the made, not inspected.
    pub not_inspected: usize,
}

/// One factor, or a pair, with what it names.
#[derive(Clone, Debug, Serialize)]
pub struct Cause {
    /// Place in the ranking, from 1.
    pub rank: usize,
    /// The place without what the shop's knowledge weighs.
    pub rank_unweighted: usize,
    /// The factor's name; a pair is `a with b`.
    pub factor: String,
    /// The level it names, `>= 9.4` or `< 9.4` for a threshold, none for a trend.
    pub level: Option<String>,
    /// heat, mould or cell: where the factor is constant.
    pub unit: &'static str,
    /// level, threshold or trend.
    pub kind: &'static str,
    /// `higher` or `lower`: the side of a reading that does harm; none for a category.
    pub side: Option<&'static str>,
    /// The share with the defect inside the named set and outside it.
    pub rate_in: Option<f64>,
    /// See `rate_in`.
    pub rate_out: Option<f64>,
    /// The blades behind the rates.
    #[serde(rename = "in")]
    pub inside: BladeGroup,
    /// See `inside`.
    #[serde(rename = "out")]
    pub outside: BladeGroup,
    /// The rate ratio, allowing for moulds, heats and time; per standard deviation for a trend.
    pub ratio: Option<f64>,
    /// Its 95 % interval; a limit that the data do not give is none.
    pub interval: [Option<f64>; 2],
    /// The chance of so much where nothing is the matter.
    pub p: f64,
    /// The same with the number of factors tried allowed for.
    pub q: f64,
    /// What its p was divided by, 1 on the mean of all that was tried.
    #[serde(skip)]
    pub weight: f64,
    /// q without what the shop's knowledge weighs; what repeats others at a quarter of the weight still does.
    pub q_unweighted: f64,
    /// Defective blades that the named set explains.
    pub explained: Option<f64>,
    /// The limits of `explained`.
    pub explained_interval: [Option<f64>; 2],
    /// The chance that it is this one, if exactly one of the listed is responsible.
    pub share_of_belief: f64,
    /// What these records cannot separate it from.
    pub inseparable_from: Vec<FactorLevel>,
    /// Whether q is below 0.1. Without it nothing is called found.
    pub flagged: bool,
    /// Whether it is among those that hold the true cause in 19 of 20 histories, if there is one.
    pub shortlisted: bool,
    /// The better cause that leaves nothing of it, once that one is allowed for.
    pub explained_by: Option<String>,
    /// strong, worth acting on, shown, may be the period, explained (by another), or not shown.
    pub wording: &'static str,
    /// What it names is one stretch of time, and the rate moves with time anyway.
    #[serde(skip)]
    pub period: bool,
    /// Expected with the defect in the named set, as if blades were independent; none for a trend.
    pub effective_expected: Option<f64>,
    /// Seen with the defect in the named set, on the same scale.
    pub effective_observed: Option<f64>,
    /// ln of the mean Bayes factor, by which the ranking goes.
    pub evidence: f64,
    /// Moulds of which the factor is known.
    pub known_moulds: usize,
    /// What else is to be said, as sentences.
    pub note: Option<String>,
}

impl Cause {
    /// What is decided of it: nothing below its q's bound is ever called not shown.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        match (self.flagged, &self.explained_by, self.period) {
            (false, ..) => Verdict::NotShown,
            (true, Some(_), _) => Verdict::Explained,
            (true, None, true) => Verdict::ShownPeriod,
            (true, None, false) => Verdict::Shown,
        }
    }

    /// The word for what is decided.
    pub(crate) fn word(&self) -> &'static str {
        match self.verdict() {
            Verdict::NotShown => "not shown",
            Verdict::Explained => "explained",
            Verdict::ShownPeriod if self.q < STRONG => "worth acting on",
            Verdict::ShownPeriod => "shown, may be the period",
            Verdict::Shown if self.q < STRONG => "strong",
            Verdict::Shown => "worth acting on",
        }
    }

    /// The factor with the level that it names.
    #[must_use]
    pub fn named(&self) -> FactorLevel {
        FactorLevel { factor: self.factor.clone(), level: self.level.clone() }
    }
}

/// A factor and a level.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FactorLevel {
    /// The factor's name.
    pub factor: String,
    /// Its level.
    pub level: Option<String>,
}

/// Whether the rate changed over the pour order, whatever the reason.
#[derive(Clone, Debug, Default, Serialize)]
pub struct TimeRow {
    /// The chance of so much change where the rate stands still; none where nothing was tested.
    pub p: Option<f64>,
    /// The first mould after the change, where there is one and p is below 0.05.
    pub changed_at: Option<String>,
}

/// A pair of arms that would separate two suspects.
#[derive(Clone, Debug, Serialize)]
pub struct NextPour {
    /// What to pour.
    pub pour: String,
    /// The two suspects.
    pub separates: [FactorLevel; 2],
    /// Moulds in each arm; none where it is not worth it.
    pub moulds: Option<u64>,
}

/// A factor that cannot be tested.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct NotTestable {
    /// Its name.
    pub factor: String,
    /// Why.
    pub reason: String,
}

/// Excess variances on the relative scale, and what they cost.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Clumping {
    /// σ² of moulds.
    pub mould: f64,
    /// τ² of heats.
    pub heat: f64,
    /// κ² of slow drift, averaged over the time models.
    pub drift: f64,
    /// The range of the drift in heats, averaged over the time models with drift.
    pub drift_range_heats: f64,
    /// The correlation of two blades of a mould.
    pub correlation: f64,
    /// How many times more blades are needed than if they were independent.
    pub design_effect: f64,
}
