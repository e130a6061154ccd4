//! The daily check of the pyrometer in use: what the last one said, when the next is due.

use records::catalogue::{Calibrations, CheckKind, CheckResult, Instruments, Recorded};
use records::{Result, Stamp, Store};

/// What is known of the instrument before it is checked.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LastCheck {
    pub instrument: String,
    /// What it is.
    pub about: String,
    /// The last check that was done: when, what came of it, its difference with the unit.
    pub last: Option<(Stamp, CheckResult, String)>,
    /// When the next is due by it.
    pub due: Option<Stamp>,
    /// The largest difference, in size, of its good checks, where three or more say one.
    pub most: Option<f64>,
    /// Earlier good checks of it gave their difference.
    pub figures: bool,
    /// What the new record starts with: field and text.
    pub given: Vec<(String, String)>,
}

impl LastCheck {
    /// What is odd about a difference that is called good: it is far beyond every good one before. (More than twice: a
    /// convention of this tool.)
    pub fn odd(&self, difference: f64) -> Option<String> {
        let most = self.most.filter(|most| difference.abs() > 2.0 * most)?;
        let tag = &self.instrument;
        Some(format!("{difference} and good: no good check of {tag} differed by more than {most} so far"))
    }

    /// What is odd about a check that is called good and gives no difference: the one before failed, or others gave theirs.
    pub fn no_figure(&self) -> Option<String> {
        let tag = &self.instrument;
        match &self.last {
            Some((at, CheckResult::Failed, off)) => {
                let off = if off.is_empty() { String::new() } else { format!(", difference {off}") };
                Some(format!("no figure, and good: {tag} failed its last check {}{off}", day(at)))
            }
            _ if self.figures => Some(format!("no figure, and good: earlier good checks of {tag} gave one")),
            _ => None,
        }
    }

    /// Its offset and when it is due, in a line; whether that stands against using it.
    pub fn line(&self, now: Stamp) -> (bool, String) {
        let tag = &self.instrument;
        let Some((at, result, difference)) = &self.last else {
            return (true, format!("{tag}: no check on record"));
        };
        if *result == CheckResult::Failed {
            return (true, format!("{tag} failed its check {}", day(at)));
        }
        let off = if difference.is_empty() { "no figure".into() } else { format!("difference {difference}") };
        match self.due {
            Some(due) if due.ms() < now.ms() => (true, format!("{tag}: {off}, overdue since {}", day(&due))),
            Some(due) => (false, format!("{tag}: {off}, due {}", day(&due))),
            None => (false, format!("{tag}: {off}, read {}", day(at))),
        }
    }
}

/// Day and time. Its year is this one, or what is said tells that it is long ago.
fn day(t: &Stamp) -> String {
    t.to_string().get(5..16).unwrap_or_default().replace('T', " ")
}

/// Of the pyrometer of the latest pour; none where no pour names one.
pub fn of_the_pyrometer(store: &Store, now: Stamp) -> Result<Option<LastCheck>> {
    store.snapshot(|| {
        let Some(tag) = store.last_pyrometer()? else { return Ok(None) };
        of(store, &tag, now).map(Some)
    })
}

/// Of this instrument.
pub fn of(store: &Store, tag: &str, now: Stamp) -> Result<LastCheck> {
    let (key, instrument) = store.named::<Instruments>(tag)?;
    let mut checks: Vec<Recorded<Calibrations>> = store.rows_of(Calibrations::instrument, key)?;
    checks.retain(|c| {
        c.get(Calibrations::result).is_some_and(|r| r != CheckResult::NotDone)
            && c.get(Calibrations::checked_at).is_some_and(|at| at.ms() <= now.ms())
    });
    checks.sort_by_key(|c| c.get(Calibrations::checked_at).map_or(i64::MIN, Stamp::ms));
    let about = |field: &str| instrument.view().record.get(field).to_text();
    let kind = [about(Instruments::kind.name), about(Instruments::description.name)];
    let mut out = LastCheck {
        instrument: instrument.address(),
        about: kind.into_iter().filter(|t| !t.is_empty()).collect::<Vec<_>>().join(", "),
        ..LastCheck::default()
    };
    let mut given = vec![
        (Calibrations::instrument.name, out.instrument.clone()),
        (Calibrations::check.name, CheckKind::CrossCheck.word().to_string()),
        (Calibrations::result.name, CheckResult::Good.word().to_string()),
    ];
    let good = checks.iter().filter(|c| c.get(Calibrations::result) == Some(CheckResult::Good));
    let sizes: Vec<f64> = good.filter_map(|c| c.get(Calibrations::difference)).map(f64::abs).collect();
    out.figures = !sizes.is_empty();
    out.most =
        (sizes.len() >= 3).then(|| sizes.iter().copied().fold(0.0, f64::max)).filter(|most| *most > 0.0);
    if let Some(last) = checks.last() {
        let unit = last.cell(Calibrations::unit).to_text();
        let at = last.need(Calibrations::checked_at)?;
        out.due = last.get(Calibrations::due_at);
        let difference = last.cell(Calibrations::difference).to_text();
        let difference = if difference.is_empty() { difference } else { format!("{difference} {unit}") };
        out.last = Some((at, last.need(Calibrations::result)?, difference.trim().to_string()));
        if !matches!(unit.as_str(), "" | "n/a" | "illegible") {
            given.push((Calibrations::unit.name, unit));
        }
    }
    if let Some(due) = next_due(&checks, now) {
        given.push((Calibrations::due_at.name, due.to_string()));
    }
    out.given = given.into_iter().map(|(name, text)| (name.to_string(), text)).collect();
    Ok(out)
}

/// After as long as the last cross-check was good for: the shop's own interval, no rule of ours.
fn next_due(checks: &[Recorded<Calibrations>], now: Stamp) -> Option<Stamp> {
    let of_this_sort =
        |c: &&Recorded<Calibrations>| c.get(Calibrations::check) == Some(CheckKind::CrossCheck);
    let last = checks.iter().filter(of_this_sort).rfind(|c| c.get(Calibrations::due_at).is_some())?;
    let (at, due) = (last.get(Calibrations::checked_at)?, last.get(Calibrations::due_at)?);
    (due.ms() > at.ms()).then(|| Stamp::new(now.ms() + (due.ms() - at.ms()), now.offset_min()))
}
