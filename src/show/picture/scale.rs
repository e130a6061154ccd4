//! From values to places, and ticks at numbers that a person would choose.

/// A linear scale.
#[derive(Clone, Copy, Debug)]
pub struct Scale {
    low: f64,
    high: f64,
    from: f64,
    to: f64,
}

impl Scale {
    /// Values `low..high` on places `from..to` (which may run backwards).
    pub fn new(low: f64, high: f64, from: f64, to: f64) -> Self {
        Self { low, high: if high > low { high } else { low + 1.0 }, from, to }
    }

    /// The place of a value; values outside stand at the edge.
    ///
    /// ```
    /// let s = meltkin::show::picture::scale::Scale::new(0.0, 10.0, 100.0, 0.0);
    /// assert_eq!((s.at(5.0), s.at(99.0)), (50.0, 0.0));
    /// ```
    pub fn at(&self, value: f64) -> f64 {
        let share = ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0);
        self.from + share * (self.to - self.from)
    }
}

/// At most `most` ticks (two at least) at steps of 1, 2 or 5 times a power of ten that lie in
/// `low..=high`, with the step.
///
/// ```
/// use meltkin::show::picture::scale::ticks;
/// let (at, step) = ticks(1452.0, 1507.0, 5);
/// assert_eq!((at, step), (vec![1460.0, 1480.0, 1500.0], 20.0));
/// ```
pub fn ticks(low: f64, high: f64, most: usize) -> (Vec<f64>, f64) {
    if !(low.is_finite() && high.is_finite() && high > low) {
        return (vec![low], 1.0);
    }
    let raw = (high - low) / most.max(2) as f64;
    let power = 10f64.powf(raw.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].iter().map(|m| m * power).find(|s| *s >= raw * 0.999_999).unwrap_or(raw);
    let first = (low / step - 1e-9).ceil();
    let last = (high / step + 1e-9).floor();
    let count = (last - first).clamp(0.0, 100.0) as usize;
    ((0..=count).map(|i| (first + i as f64) * step).collect(), step)
}

/// A value as its tick is labelled: as many decimals as the step needs.
///
/// ```
/// use meltkin::show::picture::scale::label;
/// assert_eq!((label(0.1 + 0.2, 0.1), label(1480.0, 20.0)), ("0.3".to_string(), "1480".to_string()));
/// ```
pub fn label(value: f64, step: f64) -> String {
    let decimals = (-(step.abs().log10() + 1e-9).floor()).clamp(0.0, 9.0) as usize;
    let text = format!("{value:.decimals$}");
    if text.trim_start_matches(['-', '0', '.']).is_empty() {
        text.trim_start_matches('-').into()
    } else {
        text
    }
}

/// Low and high with a little room, never of no width.
pub fn with_room(values: impl Iterator<Item = f64>) -> (f64, f64) {
    let (low, high) = values
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    if low > high {
        return (0.0, 1.0);
    }
    let room = ((high - low) * 0.06).max(low.abs().max(high.abs()) * 1e-6).max(1e-9);
    (low - room, high + room)
}

/// Which of `n` places carry a label, when only `most` fit: evenly, the first among them.
pub fn thinned(n: usize, most: usize) -> Vec<usize> {
    let every = n.div_ceil(most.max(1)).max(1);
    (0..n).step_by(every).collect()
}
