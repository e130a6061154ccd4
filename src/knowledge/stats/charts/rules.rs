//! Run rules on standardised points, z = (point - centre)/sigma.

/// A run rule that a point completes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rule {
    /// A point beyond 3 sigmas.
    Beyond3Sigma,
    /// Nine points in a row on one side of the centre.
    NineOnOneSide,
    /// Eight points in a row on one side (the rule of 1956).
    EightOnOneSide,
    /// Six points in a row, each above the one before it, or each below.
    SixRisingOrFalling,
    /// Fourteen points in a row, up and down in turn.
    FourteenAlternating,
    /// Two of three points beyond 2 sigmas on the same side.
    TwoOfThreeBeyond2Sigma,
    /// Four of five points beyond 1 sigma on the same side.
    FourOfFiveBeyond1Sigma,
    /// Fifteen points in a row within 1 sigma.
    FifteenWithin1Sigma,
    /// Eight points in a row outside 1 sigma, on either side.
    EightOutside1Sigma,
}

impl Rule {
    /// The rule's name in output.
    ///
    /// ```
    /// use knowledge::stats::charts::rules::Rule;
    /// assert_eq!(Rule::Beyond3Sigma.name(), "beyond_3_sigma");
    /// ```
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Beyond3Sigma => "beyond_3_sigma",
            Self::NineOnOneSide => "9_on_one_side",
            Self::EightOnOneSide => "8_on_one_side",
            Self::SixRisingOrFalling => "6_rising_or_falling",
            Self::FourteenAlternating => "14_alternating",
            Self::TwoOfThreeBeyond2Sigma => "2_of_3_beyond_2_sigma",
            Self::FourOfFiveBeyond1Sigma => "4_of_5_beyond_1_sigma",
            Self::FifteenWithin1Sigma => "15_within_1_sigma",
            Self::EightOutside1Sigma => "8_outside_1_sigma",
        }
    }
}

/// The eight tests of Nelson 1984, J. Quality Technology 16:237, in his order.
pub const NELSON: [Rule; 8] = [
    Rule::Beyond3Sigma,
    Rule::NineOnOneSide,
    Rule::SixRisingOrFalling,
    Rule::FourteenAlternating,
    Rule::TwoOfThreeBeyond2Sigma,
    Rule::FourOfFiveBeyond1Sigma,
    Rule::FifteenWithin1Sigma,
    Rule::EightOutside1Sigma,
];

/// The four rules of 1956 (Western Electric, Statistical Quality Control Handbook).
pub const OF_1956: [Rule; 4] =
    [Rule::Beyond3Sigma, Rule::TwoOfThreeBeyond2Sigma, Rule::FourOfFiveBeyond1Sigma, Rule::EightOnOneSide];

/// One point that completes a rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RuleSignal {
    /// The point, counted from 1.
    pub index: usize,
    /// The rule it completes.
    pub rule: Rule,
}

/// Every point that completes one of `rules`, by point, then in the order of the rules. Comparisons are
/// strict; the point itself lies in the rule's zone; points before the first count as none. A point that is
/// not a number breaks every run.
///
/// ```
/// use knowledge::stats::charts::rules;
/// let found = rules::signals(&[0.1, 2.2, -0.3, 2.1, 2.0], &rules::NELSON);
/// assert_eq!(found.len(), 1);
/// assert_eq!((found[0].index, found[0].rule.name()), (4, "2_of_3_beyond_2_sigma"));
/// ```
#[must_use]
pub fn signals(z: &[f64], rules: &[Rule]) -> Vec<RuleSignal> {
    let mut found = Vec::new();
    let mut state = State::default();
    for (i, &now) in z.iter().enumerate() {
        state.take(now);
        for &rule in rules {
            if state.completes(rule) {
                found.push(RuleSignal { index: i + 1, rule });
            }
        }
    }
    found
}

/// What the points up to now add up to.
#[derive(Default)]
struct State {
    now: f64,
    before: Option<f64>,
    /// Points in a row on the side of the last one.
    side: u32,
    /// Steps in a row in the direction of the last one.
    steps: u32,
    /// Steps in a row, each against the one before.
    turns: u32,
    /// The last step's direction: up 1, down -1, level or none 0.
    direction: i8,
    within: u32,
    outside: u32,
    /// The last points, one bit each, newest lowest: above 2, below -2, above 1, below -1 sigma.
    zones: [u8; 4],
}

impl State {
    fn take(&mut self, z: f64) {
        let run = |holds: bool, length: u32| if holds { length.saturating_add(1) } else { 0 };
        let side = i8::from(z > 0.0) - i8::from(z < 0.0);
        let previous = self.before.map_or(0, |b| i8::from(b > 0.0) - i8::from(b < 0.0));
        self.side = run(side != 0, if side == previous { self.side } else { 0 });
        let direction = self.before.map_or(0, |b| i8::from(z > b) - i8::from(z < b));
        let moved = direction != 0;
        self.steps = run(moved, if direction == self.direction { self.steps } else { 0 });
        self.turns = run(moved, if direction == -self.direction { self.turns } else { 0 });
        self.direction = direction;
        self.within = run(z.abs() < 1.0, self.within);
        self.outside = run(z.abs() > 1.0, self.outside);
        for (zone, inside) in self.zones.iter_mut().zip([z > 2.0, z < -2.0, z > 1.0, z < -1.0]) {
            *zone = *zone << 1 | u8::from(inside);
        }
        self.now = z;
        self.before = if z.is_nan() { None } else { Some(z) };
    }

    fn completes(&self, rule: Rule) -> bool {
        let of = |zone: u8, last: u8, enough: u32| zone & 1 == 1 && (zone & last).count_ones() >= enough;
        match rule {
            Rule::Beyond3Sigma => self.now.abs() > 3.0,
            Rule::NineOnOneSide => self.side >= 9,
            Rule::EightOnOneSide => self.side >= 8,
            // six points are five steps, fourteen are thirteen
            Rule::SixRisingOrFalling => self.steps >= 5,
            Rule::FourteenAlternating => self.turns >= 13,
            Rule::TwoOfThreeBeyond2Sigma => of(self.zones[0], 0b111, 2) || of(self.zones[1], 0b111, 2),
            Rule::FourOfFiveBeyond1Sigma => of(self.zones[2], 0b1_1111, 4) || of(self.zones[3], 0b1_1111, 4),
            Rule::FifteenWithin1Sigma => self.within >= 15,
            Rule::EightOutside1Sigma => self.outside >= 8,
        }
    }
}
