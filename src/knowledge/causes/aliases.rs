//! What the records cannot separate from the leading cause.

use crate::causes::draws::mean_model;
use crate::causes::factors::Factor;
use crate::causes::factors::FactorKind;
use crate::causes::factors::Labels;
use crate::causes::history::History;
use crate::causes::judge::Judged;
use crate::causes::parallel_map::parallel_map;
use crate::causes::ranking::Cause;
use crate::causes::ranking::FactorLevel;
use crate::causes::records::MISSING;
use crate::causes::rescan::Apart;
use crate::causes::rescan::fit;
use crate::causes::rows::add_note;
use crate::causes::rows::counted;
use crate::causes::scan::NamedSet;
use crate::causes::sets::Membership;
use crate::causes::sets::sides;
use crate::causes::sets::text;

/// Squared correlation from which two sets are the same for these records.
const SAME: f64 = 0.9;

/// Sets that differ in fewer heats than this are the same too.
const FEWEST_HEATS: usize = 3;

/// A score that stands by itself beside another, one-sided 5 %.
const STANDS: f64 = 1.64;

/// How two suspects stand to each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Separation {
    /// These records cannot separate them.
    Never,
    /// Neither stands by itself beside the other.
    NotYet,
    /// The first stands, the second does not.
    First,
    /// The second stands, the first does not.
    Second,
    /// Both stand.
    Both,
}

/// How the leading cause stands to the one in row `other`.
#[derive(Clone, Debug)]
pub(crate) struct Suspects {
    /// The row of the first, the leading one or another.
    pub one: usize,
    pub other: usize,
    pub named: FactorLevel,
    pub separation: Separation,
}

/// Compares the leading cause with every other, notes it on both rows, and gives the suspects that are
/// not separated.
pub(crate) fn aliases(
    history: &History,
    judged: &Judged,
    causes: &mut [Cause],
    apart: Vec<Apart>,
    threads: usize,
) -> Vec<Suspects> {
    // shown rows that were looked at both ways, and stay together
    let mut suspects: Vec<Suspects> = apart
        .into_iter()
        .map(|Apart { one, other }| Suspects {
            one,
            other,
            named: causes[other].named(),
            separation: Separation::NotYet,
        })
        .collect();
    let Some((&top, first)) = judged.order.first().zip(causes.first()) else { return suspects };
    let Some(score) = &judged.scores[top] else { return suspects };
    let first_named = first.named();
    if first.level.is_none() && first.kind != "trend" {
        return suspects;
    }
    let weights = weights(history, judged);
    let a = Indicator::of(history, &history.factors[top], score.what);
    let found = parallel_map(
        threads,
        causes.len() - 1,
        || (),
        |(), i| {
            let f = judged.order[i + 1];
            let other = judged.scores[f].as_ref()?;
            let factor = &history.factors[f];
            let named = compare(history, &weights, &a, &Indicator::of(history, factor, other.what));
            let mut best = (named, other.what);
            if let Some(level) = most_overlapping(history, factor, &a) {
                let what = NamedSet::Level(level);
                if what != other.what {
                    let overlap = compare(history, &weights, &a, &Indicator::of(history, factor, what));
                    if overlap.same() && !named.same() {
                        best = (overlap, what);
                    }
                }
            }
            let separation = best.0.separation(score.r, other.r);
            let level = text(factor, best.1);
            Some((
                best.0,
                Suspects {
                    one: 0,
                    other: i + 1,
                    named: FactorLevel { factor: factor.name.clone(), level },
                    separation,
                },
            ))
        },
    );
    let shown = causes[0].flagged;
    let belief = causes[0].share_of_belief;
    let with_first = fitted(history, judged);
    for (overlap, suspect) in found.into_iter().flatten() {
        let suspicious = shown && (causes[suspect.other].shortlisted || causes[suspect.other].flagged);
        let name = title(&suspect.named);
        let other = &causes[suspect.other];
        // what was told of two shown ones, each with the other allowed for, is not told otherwise here
        let explains = |gone: &Cause, by: &Cause| gone.explained_by.as_deref() == Some(by.factor.as_str());
        let told = explains(other, &causes[0])
            || explains(&causes[0], other)
            || with_first.is_some() && other.flagged
            || suspects.iter().any(|s| [s.one, s.other] == [0, suspect.other]);
        match suspect.separation {
            Separation::Never => {
                causes[0].inseparable_from.push(suspect.named.clone());
                causes[suspect.other].inseparable_from.push(first_named.clone());
                if shown {
                    let pairs = [(0, name), (suspect.other, title(&first_named))];
                    for (one, other) in pairs {
                        let reading = overlap.reading();
                        let sentence = format!("Cannot be separated from {other} by these records{reading}.");
                        add_note(&mut causes[one], &sentence);
                    }
                    suspects.push(suspect);
                }
            }
            Separation::NotYet if suspicious && !told => {
                let (mine, theirs) = (100.0 * belief, 100.0 * causes[suspect.other].share_of_belief);
                let first = title(&first_named);
                add_note(
                    &mut causes[0],
                    &format!(
                        "Not separated yet from {name} (belief {mine:.0} % against {theirs:.0} %){}.",
                        overlap.reading()
                    ),
                );
                add_note(&mut causes[suspect.other], &format!("Not separated yet from {first}."));
                suspects.push(suspect);
            }
            // of a shown one it was looked at both ways what becomes of it
            Separation::First if suspicious && !causes[suspect.other].flagged => {
                let f = judged.order[suspect.other];
                if let Some(taken) = taker(history, judged, f, with_first.as_deref(), &title(&first_named)) {
                    add_note(&mut causes[suspect.other], &taken);
                }
            }
            Separation::Second if suspicious && !causes[suspect.other].flagged => {
                let first = title(&first_named);
                add_note(
                    &mut causes[suspect.other],
                    &format!("The records favour it over {first} where the two differ."),
                );
            }
            _ => {}
        }
    }
    suspects
}

/// The expected counts with the leading cause fitted, where it can be.
fn fitted(history: &History, judged: &Judged) -> Option<Vec<f64>> {
    fit(history, judged, *judged.order.first()?, &history.expected)
}

/// A contrast of which less than this part is left is taken away.
const TAKEN: f64 = 0.5;

/// What takes a contrast away: the plain one is held against that with the leading cause fitted, and against that
/// which the pour order is allowed for in. None where the plain rates hardly differ, or both leave it.
fn taker(
    history: &History,
    judged: &Judged,
    f: usize,
    with_first: Option<&[f64]>,
    first: &str,
) -> Option<String> {
    let factor = &history.factors[f];
    let score = judged.scores[f].as_ref()?;
    let sides = sides(history, factor, score.what);
    // (ln ratio of observed over expected, in it against elsewhere), without moulds, heats or time
    let plain = |expected: &[f64]| {
        let (mut y, mut e) = ([0.0; 2], [0.0; 2]);
        for (m, side) in sides.iter().enumerate() {
            let side = match side {
                Membership::In => 0,
                Membership::Out => 1,
                Membership::Unknown => continue,
            };
            y[side] += history.y[m];
            e[side] += expected[m];
        }
        let [inside, outside] = [0, 1].map(|s| (y[s] + 0.5) / (e[s] + 0.5));
        (inside / outside).ln()
    };
    let before = plain(&history.expected);
    let left = with_first.map(|expected| plain(expected) * before.signum());
    if left.is_some_and(|left| left < TAKEN * before.abs()) {
        return Some(format!("Little of it is seen beside {first}."));
    }
    // by itself, with slow change allowed for, it does not stand: the pour order has it
    (score.r.abs() < STANDS && judged.time_p < GOES_WITH_TIME).then(|| {
        "Little of it is left once the pour order is allowed for: it goes with the pour order.".into()
    })
}

/// The pour order takes something away where the rate moves along it.
const GOES_WITH_TIME: f64 = 0.05;

/// Whether these records hold what two factors name for the same set: nothing can be said of the one
/// beside the other then.
pub(crate) fn inseparable(history: &History, judged: &Judged, a: usize, b: usize) -> bool {
    let named = |f: usize| {
        let what = judged.scores[f].as_ref().map_or(NamedSet::Nothing, |score| score.what);
        Indicator::of(history, &history.factors[f], what)
    };
    compare(history, &weights(history, judged), &named(a), &named(b)).same()
}

/// A factor with its level, as text.
pub(crate) fn title(named: &FactorLevel) -> String {
    match &named.level {
        Some(level) => format!("{} {level}", named.factor),
        None => named.factor.clone(),
    }
}

/// w = a g (1 − t) of each mould under the posterior mean model.
fn weights(history: &History, judged: &Judged) -> Vec<f64> {
    let base = &judged.base;
    let series = mean_model(base);
    let of = |m: usize| {
        let h = history.heat_of[m] as usize;
        (base.a[m] * base.heats[h].g * series.slots[h].open[0]).max(0.0)
    };
    (0..history.moulds()).map(of).collect()
}

/// A named set as numbers, NaN where it is not known.
enum Indicator {
    Moulds(Vec<f64>),
    Blades(Vec<f64>),
}

impl Indicator {
    fn of(history: &History, factor: &Factor, what: NamedSet) -> Self {
        match (&factor.labels, what) {
            (Labels::Cell(cell), NamedSet::Level(level)) => Self::Blades(
                (0..cell.code.len())
                    .map(|blade| cell.code.get(blade))
                    .map(|c| if c == MISSING { f64::NAN } else { f64::from(c == level) })
                    .collect(),
            ),
            (Labels::Number(number), NamedSet::Trend { rising }) => {
                let sign = if rising { 1.0 } else { -1.0 };
                let of = |m: usize| {
                    let i = if factor.kind == FactorKind::Heat { history.heat_of[m] as usize } else { m };
                    if number.raw[i].is_nan() { f64::NAN } else { sign * number.standard(i) }
                };
                Self::Moulds((0..history.moulds()).map(of).collect())
            }
            _ => Self::Moulds(
                sides(history, factor, what)
                    .into_iter()
                    .map(|side| match side {
                        Membership::In => 1.0,
                        Membership::Out => 0.0,
                        Membership::Unknown => f64::NAN,
                    })
                    .collect(),
            ),
        }
    }
}

/// How two columns overlap.
#[derive(Clone, Copy)]
struct Overlap {
    /// Their weighted correlation.
    phi: f64,
    /// Moulds in one only, and their heats; none where one is no set.
    differ: Option<(usize, usize)>,
    /// Moulds in both over moulds in either.
    jaccard: f64,
}

impl Overlap {
    fn same(&self) -> bool {
        self.phi * self.phi >= SAME
            || (self.phi > 0.0 && self.differ.is_some_and(|(_, heats)| heats < FEWEST_HEATS))
    }

    fn separation(&self, first: f64, second: f64) -> Separation {
        if self.same() {
            return Separation::Never;
        }
        let rest = (1.0 - self.phi * self.phi).sqrt();
        let alone = (first - self.phi * second) / rest;
        let other = (second - self.phi * first) / rest;
        match (alone.abs() >= STANDS, other.abs() >= STANDS) {
            (true, true) => Separation::Both,
            (true, false) => Separation::First,
            (false, true) => Separation::Second,
            (false, false) => Separation::NotYet,
        }
    }

    fn reading(&self) -> String {
        match self.differ {
            Some((moulds, heats)) => format!(
                "; they differ in {} of {}, {:.0} % in common",
                counted(moulds, "mould"),
                counted(heats, "heat"),
                100.0 * self.jaccard
            ),
            None => String::new(),
        }
    }
}

fn compare(history: &History, weights: &[f64], a: &Indicator, b: &Indicator) -> Overlap {
    let mut sums = [0.0f64; 6];
    let (mut both, mut differ, mut heats, mut last) = (0usize, 0usize, 0usize, u32::MAX);
    let mut set = true;
    let mut add = |w: f64, x: f64, y: f64| {
        for (sum, term) in sums.iter_mut().zip([1.0, x, y, x * x, y * y, x * y]) {
            *sum += w * term;
        }
    };
    let by_blade = matches!(a, Indicator::Blades(_)) || matches!(b, Indicator::Blades(_));
    for m in 0..history.moulds() {
        let blades = history.blade_start[m] as usize..history.blade_start[m + 1] as usize;
        let w = weights[m] / history.n[m];
        let (mut here_both, mut here_one) = (false, false);
        let places = if by_blade { blades } else { 0..1 };
        for blade in places {
            let at = |column: &Indicator| match column {
                Indicator::Moulds(x) => x[m],
                Indicator::Blades(x) => x[blade],
            };
            let (x, y) = (at(a), at(b));
            if x.is_nan() || y.is_nan() {
                continue;
            }
            add(if by_blade { w } else { weights[m] }, x, y);
            set &= (x == 0.0 || x == 1.0) && (y == 0.0 || y == 1.0);
            here_both |= x == 1.0 && y == 1.0;
            here_one |= x != y;
        }
        both += usize::from(here_both && !here_one);
        if here_one {
            differ += 1;
            heats += usize::from(last != history.heat_of[m]);
            last = history.heat_of[m];
        }
    }
    let [w, x, y, xx, yy, xy] = sums;
    let spread = (xx - x * x / w) * (yy - y * y / w);
    let phi = if w > 0.0 && spread > 0.0 { (xy - x * y / w) / spread.sqrt() } else { 0.0 };
    Overlap {
        phi: phi.clamp(-1.0, 1.0),
        differ: set.then_some((differ, heats)),
        jaccard: both as f64 / (both + differ).max(1) as f64,
    }
}

/// The level of a factor that shares most moulds with a set; none for a number.
fn most_overlapping(history: &History, factor: &Factor, a: &Indicator) -> Option<u32> {
    let Indicator::Moulds(a) = a else { return None };
    let mut shared = vec![0usize; factor.levels.len()];
    match &factor.labels {
        Labels::Heat(codes) => {
            for (m, &h) in history.heat_of.iter().enumerate() {
                if let Some(count) = shared.get_mut(codes[h as usize] as usize) {
                    *count += usize::from(a[m] == 1.0);
                }
            }
        }
        Labels::Lots(lots) => {
            for (m, &h) in history.heat_of.iter().enumerate() {
                for &level in
                    &lots.level[lots.start[h as usize] as usize..lots.start[h as usize + 1] as usize]
                {
                    shared[level as usize] += usize::from(a[m] == 1.0);
                }
            }
        }
        Labels::Mould(runs) => {
            for (moulds, code) in runs.iter() {
                if let Some(count) = shared.get_mut(code as usize) {
                    *count += a[moulds].iter().filter(|x| **x == 1.0).count();
                }
            }
        }
        Labels::Cell(_) | Labels::Number(_) => return None,
    }
    let most = shared.iter().copied().max().filter(|&most| most > 0)?;
    shared.iter().position(|&count| count == most).map(|level| level as u32)
}
