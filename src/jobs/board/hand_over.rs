//! The hand-over: what the next shift must know, who took it over, and from whom.

use serde::Serialize;

use crate::jobs::furnace::shift;
use crate::jobs::records::ask::{Logged, log_texts};
use records::catalogue::{HandOvers, Pours, YesNo};
use records::value::tag::shown;
use records::write::draft::Draft;
use records::{Result, Stamp, Store, Who};

/// Hours of a shift and the one before it.
const SHIFT_H: i64 = 24;

/// A hand-over on record.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HandOver {
    /// Who took over.
    pub person: String,
    pub at: String,
    /// From whom; blank where nobody is named.
    pub given_by: String,
}

impl HandOver {
    /// `taken over by ANNE 2031-05-26T06:02:00+00:00 from BEN`.
    pub fn words(&self) -> String {
        let from = if self.given_by.is_empty() { String::new() } else { format!(" from {}", self.given_by) };
        format!("taken over by {} {}{from}", self.person, self.at)
    }
}

/// The last hand-over.
pub fn last(store: &Store) -> Result<Option<HandOver>> {
    let of = store.newest::<HandOvers>(1)?;
    Ok(of.first().map(|h| HandOver {
        person: h.cell(HandOvers::person).to_text(),
        at: h.cell(HandOvers::taken_at).to_text(),
        given_by: h.cell(HandOvers::given_by).to_text(),
    }))
}

/// Records that somebody takes over.
///
/// # Errors
/// Nobody is named, or the file cannot be written.
pub fn take_over(store: &mut Store, who: &Who, given_by: Option<&str>) -> Result<Logged> {
    let draft = Draft::<HandOvers>::default()
        .with_some(HandOvers::person, who.person.as_deref())
        .with(HandOvers::taken_at, who.now.to_string())
        .with_some(HandOvers::given_by, given_by);
    log_texts(store, who, HandOvers::KIND, draft.texts(), None)
}

/// The page that is read before it is taken over: headings, and below each its lines.
pub fn page(store: &Store, now: Stamp) -> Result<String> {
    store.snapshot(|| {
        let since = now.later_ms(-SHIFT_H * 3_600_000);
        let mut out = String::new();
        let mut list = |title: &str, lines: Vec<String>| {
            let n = if lines.is_empty() { "none".into() } else { lines.len().to_string() };
            out.push_str(&format!("{title}: {n}\n"));
            for line in lines {
                out.push_str(&format!("  {}\n", shown(&line)));
            }
        };
        let pours = store.newest::<Pours>(80)?;
        let recent = pours.iter().filter(|p| p.own_time().is_some_and(|t| t.ms() >= since.ms()));
        let (mut ran_out, mut missing) = (Vec::new(), Vec::new());
        for pour in recent {
            let (mould, heat) = (pour.cell(Pours::mould).to_text(), pour.cell(Pours::heat).to_text());
            let at = pour.cell(Pours::poured_at).to_text();
            if pour.get(Pours::run_out) == Some(YesNo::Yes) {
                ran_out.push(format!("{mould} from {heat} at {at}"));
            }
            if pour.cell(Pours::indicated_c).is_blank() {
                missing.push(format!("{mould} from {heat} at {at}: no temperature"));
            }
        }
        list("run-outs since yesterday", ran_out);
        list("pours with details missing", missing);
        let reason = |e: records::write::journal::Entry| {
            let by = e.person.unwrap_or_else(|| "no person given".into());
            format!(
                "{} {}: {} ({by}, {})",
                e.action,
                e.tag.unwrap_or_default(),
                e.reason.unwrap_or_default(),
                e.at
            )
        };
        list("reasons typed since yesterday", store.reasons_since(since)?.into_iter().map(reason).collect());
        out.push('\n');
        // The rest is what `shift` says, whole.
        out.push_str(&shift::shift(store, now)?.text());
        Ok(out)
    })
}
