//! What has not happened yet is not recorded: a time of a record lies before its entry.

use crate::catalogue::Calibrations;
use crate::catalogue::field::{FieldInfo, Type};
use crate::catalogue::kind::Kind;
use crate::check::Fault;
use crate::record::Record;
use crate::value::stamp::Stamp;

/// So much later than the clock of the entry a time may lie: clocks are not set to the second.
pub const SLACK_MIN: f64 = 2.0;

/// Positions of a kind's fields that say when something happened. When a check is due is no such time, and dates alone are
/// none: they expire, take effect, plan.
pub fn fields(kind: &Kind) -> impl Iterator<Item = usize> {
    kind.all_fields().enumerate().filter(|(_, f)| f.ty == Type::Time && !may_lie_ahead(f)).map(|(i, _)| i)
}

/// What stands in this field may be still to come.
pub fn may_lie_ahead(field: &FieldInfo) -> bool {
    field.ty != Type::Time || field.name == Calibrations::due_at.name
}

/// The times of a record that are still to come by the clock of its entry. A note or a reason makes none of them right.
pub fn faults<'r>(
    record: &'r Record,
    now: Stamp,
    asked: impl Fn(&str) -> bool + 'r,
) -> impl Iterator<Item = Fault> + 'r {
    fields(record.kind).filter_map(move |i| {
        let field = record.kind.all_fields().nth(i)?;
        let at = record.values[i].time().filter(|at| at.minutes_since(now) > SLACK_MIN)?;
        asked(field.name).then(|| fault(field.name, &record.values[i].to_text(), at, now))
    })
}

/// What is said of a record that was typed in later than its kind allows; nothing of one that was not.
pub fn late(record: &Record) -> Option<String> {
    let limit = record.kind.late_min.filter(|_| record.is_late())?;
    let (by, limit) = (span(record.delay_min()?), span(limit));
    Some(format!(
        "typed in {by} after it happened; over {limit} it is marked as late, and reviewed at hand-over"
    ))
}

fn span(minutes: f64) -> String {
    if minutes < 120.0 {
        format!("{minutes:.0} min")
    } else if minutes < 2880.0 {
        format!("{:.0} h", minutes / 60.0)
    } else {
        format!("{:.0} days", minutes / 1440.0)
    }
}

fn fault(field: &str, value: &str, at: Stamp, now: Stamp) -> Fault {
    let by = span(at.minutes_since(now));
    let message = format!("is {by} in the future by the clock ({now}); if the clock is wrong, set it right");
    Fault::new(field, value, message)
}
