//! What to check: the known causes in the order in which to look, and the record of what is ranked first.

use crate::jobs::causes::columns::stem;
use crate::jobs::causes::instruments::is_check;
use crate::jobs::causes::known::KnownCause;
use knowledge::causes::{Cause, Ranking};
use records::catalogue;
use records::catalogue::Strength;

/// Known causes that are listed under what to check.
const CHECKS: usize = 6;

/// The instruments behind a shown factor about their checks.
#[derive(Clone, Debug)]
pub struct Doubted {
    pub(crate) factor: String,
    /// Each with the bad blades that it read for, most first.
    pub(crate) instruments: Vec<(String, u32)>,
}

impl Doubted {
    pub(crate) fn tags(&self) -> String {
        let tags: Vec<&str> = self.instruments.iter().map(|(tag, _)| tag.as_str()).collect();
        tags.join(", ")
    }
}

/// Which record to look at for a factor that no known cause names.
fn where_to_look(cause: &Cause, doubted: &[Doubted]) -> String {
    if is_check(&cause.factor) {
        let tags = doubted.iter().find(|d| d.factor == cause.factor).map_or(String::new(), Doubted::tags);
        let of = if tags.is_empty() { "the instruments that it names".to_string() } else { tags };
        return format!("the checks of {of}: what the last ones found, what was read since, and what is due");
    }
    let head = cause.factor.split(['/', '.']).next().unwrap_or_default();
    let noun = catalogue::all().find(|k| stem(k) == head).map(|k| k.noun);
    match (noun, cause.kind, &cause.level) {
        (Some(noun), "level", Some(level)) if head == cause.factor.split('/').next().unwrap_or_default() => {
            format!(
                "the record of {noun} {level}: what went into it, its checks, when it was made, what else came of it"
            )
        }
        (Some(noun), ..) => {
            format!("the records of each {noun} behind the bad blades, against those behind the good ones")
        }
        (None, ..) => "the records that it is made of, at the bad blades and at the good ones".into(),
    }
}

/// What to look at: what is shown, then the primary ones that nothing excludes, then the others; what could not be
/// tried before what was tried. Nothing that is shown on the other side.
///
/// The factor that is ranked first is always among them, first, by its known cause or by the record that it is of.
pub(crate) fn checks(causes: &[KnownCause], ranking: &Ranking, doubted: &[Doubted]) -> Vec<String> {
    let place = |c: &&KnownCause| {
        let word = ["supported", "unclear", "not tested", "not recorded", "not supported"];
        let word = word.iter().position(|w| *w == c.records);
        (word > Some(1), c.strength != Strength::Primary.word(), word)
    };
    let mut wanted: Vec<&KnownCause> = causes.iter().filter(|c| c.records != "against").collect();
    wanted.sort_by_key(place);
    let line = |c: &&KnownCause| format!("{} ({}, {}): {}", c.factor, c.strength, c.records, c.check);
    let mut out = Vec::new();
    if let Some(first) = ranking.causes.first() {
        let name = match &first.level {
            Some(level) => format!("{} {level}", first.factor),
            None => first.factor.clone(),
        };
        match wanted.iter().position(|c| c.factor == first.factor) {
            Some(at) => out.push(line(&wanted.remove(at))),
            None => out.push(format!(
                "{name} (ranked first, {}): look at {}",
                first.wording,
                where_to_look(first, doubted)
            )),
        }
        let known_of_it = doubted.iter().find(|d| d.factor == first.factor && !d.instruments.is_empty());
        if let (Some(of), Some(line)) = (known_of_it, out.first_mut()) {
            if !line.contains(&of.tags()) {
                line.push_str(&format!(" Read by {}.", of.tags()));
            }
        }
    }
    out.extend(wanted.iter().take(CHECKS).map(line));
    out
}
