//! What a sheet may hold: its kind of record, which column is which field, and of what nobody can be sure.

mod fit;
mod tags;
mod words;

pub use crate::exchange::propose::fit::{Column, columns};
pub use crate::exchange::propose::tags::pattern;

use crate::catalogue;
use crate::catalogue::field::{FieldInfo, Type};
use crate::catalogue::kind::{COMMON, Kind};
use crate::check::OwnField;
use crate::exchange::grid::letters;
use crate::exchange::mapped::must;
use crate::exchange::propose::fit::{BLANKS, Fit};
use crate::exchange::propose::words::{TEMPERATURE, WHEN};
use crate::exchange::titles::find;

/// From here on a column is proposed, and from there on it is sure if no other comes near.
const PROPOSED: f64 = 0.45;
const SURE: f64 = 0.8;
const NEAR: f64 = 0.08;

/// A field, and the column that may hold it.
#[derive(Debug, Clone, PartialEq)]
pub struct Guess {
    pub field: String,
    /// Its title, or its letter where another has the same; `DATE+TIME` joins two.
    pub column: String,
    /// Title and values leave no other field or column.
    pub sure: bool,
    score: f64,
}

/// A kind that a sheet may hold.
#[derive(Debug, Clone, Copy)]
pub struct KindGuess {
    pub kind: &'static Kind,
    /// No other comes near.
    pub sure: bool,
    score: f64,
}

/// The kinds that these columns may hold, the likeliest first. `called`: names of file, sheet and table.
pub fn kinds(columns: &[Column], own: &[OwnField], called: &[&str]) -> Vec<KindGuess> {
    let called: Vec<String> = called.iter().map(|c| c.to_lowercase().replace([' ', '-', '.'], "_")).collect();
    let mut all: Vec<KindGuess> = catalogue::all()
        .map(|kind| {
            let found = guesses(columns, kind, own, &[]);
            let weight = |g: &Guess| match kind.field(&g.field) {
                Some(f) if f.ty == Type::Tag || !f.optional => 1.5,
                _ => 1.0,
            };
            let matched: f64 = found.iter().map(|g| g.score * weight(g)).sum();
            let missing = must(kind).filter(|m| found.iter().all(|g| g.field != *m)).count() as f64;
            // A file called after what stands in it, in whole or by the first word of it.
            let begins = kind.noun.split(' ').next().unwrap_or_default();
            let (noun, named) =
                (kind.noun.replace(' ', "_"), |word: &str| called.iter().any(|c| c.contains(word)));
            let named = match () {
                () if named(kind.name) || named(&noun) => 1.0,
                () if named(begins) => 0.5,
                () => 0.0,
            };
            let score = matched - 0.6 * missing + named;
            KindGuess { kind, sure: false, score }
        })
        .collect();
    all.sort_by(|a, b| b.score.total_cmp(&a.score));
    let lead = all[0].score - all[1].score;
    all[0].sure = all[0].score > 1.5 && lead >= 0.5;
    all.retain(|g| g.score > 0.0);
    all
}

/// Which field each column may hold. What is `given`, a field and its column, is settled; a field without one is filled
/// from elsewhere, or not at all.
pub fn guesses(columns: &[Column], kind: &Kind, own: &[OwnField], given: &[(String, String)]) -> Vec<Guess> {
    let titles: Vec<(u32, String)> = columns.iter().map(|c| (c.at, c.title.clone())).collect();
    let at = |name: &str| find(&titles, name, true).ok();
    let settled: Vec<u32> = given
        .iter()
        .flat_map(|(_, name)| {
            at(name).map_or_else(|| name.split('+').filter_map(at).collect(), |one| vec![one])
        })
        .collect();
    let fields: Vec<(&str, FieldInfo)> = kind
        .all_fields()
        .map(|f| (f.name, *f))
        .chain(own.iter().filter(|o| o.record == kind.name).map(|o| (o.name.as_str(), o.info())))
        .collect();
    let mut all: Vec<(f64, usize, usize)> = Vec::new();
    for (c, column) in columns.iter().enumerate().filter(|(_, c)| !settled.contains(&c.at)) {
        for (f, (name, field)) in fields.iter().enumerate() {
            let score = score(column, kind, name, field);
            if score >= PROPOSED {
                all.push((score, c, f));
            }
        }
    }
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    let (mut columns_used, mut fields_used, mut out) = (Vec::new(), Vec::new(), Vec::new());
    for &(score, c, f) in &all {
        if columns_used.contains(&c) || fields_used.contains(&f) || given.iter().any(|g| g.0 == fields[f].0) {
            continue;
        }
        let beside = |other: &&(f64, usize, usize)| {
            (other.1 == c) != (other.2 == f)
                && !columns_used.contains(&other.1)
                && !fields_used.contains(&other.2)
        };
        let next = all.iter().filter(beside).map(|o| o.0).fold(0.0, f64::max);
        columns_used.push(c);
        fields_used.push(f);
        out.push((
            c,
            Guess {
                field: fields[f].0.to_string(),
                column: named(columns, c),
                sure: score >= SURE && score - next >= NEAR,
                score,
            },
        ));
    }
    join_clocks(columns, kind, &settled, &mut out);
    out.sort_by_key(|(c, _)| *c);
    out.into_iter().map(|(_, guess)| guess).collect()
}

/// A column as a mapping names it.
fn named(columns: &[Column], c: usize) -> String {
    let title = &columns[c].title;
    let same = columns.iter().filter(|o| o.title.eq_ignore_ascii_case(title)).count();
    if same > 1 || title.starts_with('#') { format!("#{}", letters(columns[c].at)) } else { title.clone() }
}

/// A column of times of day belongs to that of the dates of a time.
fn join_clocks(columns: &[Column], kind: &Kind, settled: &[u32], out: &mut [(usize, Guess)]) {
    let times: Vec<usize> = (0..out.len())
        .filter(|i| {
            kind.field(&out[*i].1.field).is_some_and(|f| f.ty == Type::Time) && columns[out[*i].0].is_days()
        })
        .collect();
    let clocks: Vec<usize> = (0..columns.len())
        .filter(|c| {
            columns[*c].is_clock() && !settled.contains(&columns[*c].at) && out.iter().all(|o| o.0 != *c)
        })
        .collect();
    if let ([time], [clock]) = (times.as_slice(), clocks.as_slice()) {
        let joined = format!("{}+{}", out[*time].1.column, named(columns, *clock));
        out[*time].1.column = joined;
    }
}

fn score(column: &Column, kind: &Kind, name: &str, field: &FieldInfo) -> f64 {
    let field = FieldInfo { name: kind.field(name).map_or("", |f| f.name), ..*field };
    let own = field.name.is_empty();
    let fit = column.fits(kind, &field);
    if fit == Fit::No {
        return 0.0;
    }
    let plain = column.title.trim().to_lowercase().replace([' ', '-'], "_");
    let names =
        if own { f64::from(u8::from(plain == name.to_lowercase())) } else { column.words.names(&field) };
    // When and by whom it was typed in is seldom what a sheet holds.
    if COMMON[..2].iter().any(|f| f.name == field.name) && plain != field.name {
        return 0.0;
    }
    let names = names.max(general(column, kind, &field));
    let more = match fit {
        Fit::Sure => 0.3,
        Fit::Good => 0.08,
        Fit::Plain | Fit::No => 0.0,
    };
    if plain == name {
        return 1.2;
    }
    if names > 0.95 {
        return 0.9 + more / 3.0;
    }
    if names > 0.0 {
        return (0.85 * names + more).min(0.99);
    }
    // Without a word for it the values alone may show it.
    match field.ty {
        Type::Ref(_) if fit == Fit::Sure => 0.6,
        Type::Choice(_) if fit == Fit::Sure => 0.55,
        Type::Time if fit == Fit::Good && kind.time == Some(field.name) => 0.5,
        Type::Number if column.in_unit_of(&field) => 0.46,
        _ => 0.0,
    }
}

/// A title that asks only when, or how hot, means the kind's own time, or its first temperature.
fn general(column: &Column, kind: &Kind, field: &FieldInfo) -> f64 {
    let hot = |f: &&FieldInfo| f.unit() == "°C";
    match field.ty {
        Type::Time | Type::Moment if column.words.only(WHEN) && kind.time == Some(field.name) => 0.95,
        Type::Time | Type::Date | Type::Moment if column.words.only(WHEN) => 0.5,
        Type::Number if column.words.only(TEMPERATURE) && field.unit() == "°C" => {
            let first = kind.all_fields().find(hot).is_some_and(|f| f.name == field.name);
            match kind.all_fields().filter(hot).count() {
                1 => 0.95,
                _ if first => 0.7,
                _ => 0.5,
            }
        }
        _ => 0.0,
    }
}

/// What a sheet writes where nothing is recorded, in the columns of these fields.
pub fn blanks<'c>(texts: impl Iterator<Item = &'c str>) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for text in texts.map(str::trim).filter(|t| BLANKS.contains(t)) {
        if !out.iter().any(|o| o == text) {
            out.push(text.to_string());
        }
    }
    out
}

/// What a word of a sheet may mean among the words of a field.
pub fn word(theirs: &str, ours: &'static [&'static str]) -> Option<&'static str> {
    /// What people write for a few words. Common practice, no source.
    const MEANT: [(&str, &[&str]); 6] = [
        ("accept", &["ok", "pass", "passed", "good", "accepted", "i.o.", "io", "a", "gut"]),
        ("reject", &["nok", "not ok", "fail", "failed", "bad", "rejected", "n.i.o.", "nio", "r", "ng"]),
        ("yes", &["y", "x", "ja", "j", "true", "1"]),
        ("no", &["n", "nein", "false", "0"]),
        ("penetrant", &["pt", "fpi", "fp", "dye"]),
        ("visual", &["vt", "vi"]),
    ];
    let theirs = theirs.trim().to_lowercase();
    let same = ours.iter().find(|o| o.replace('_', " ") == theirs.replace('_', " "));
    let meant = || {
        let of = MEANT.iter().find(|(_, all)| all.contains(&theirs.as_str()))?.0;
        ours.iter().find(|o| **o == of)
    };
    // The only word that begins so.
    let begun = || {
        let mut all = ours.iter().filter(|o| theirs.len() >= 3 && o.starts_with(theirs.as_str()));
        all.next().filter(|_| all.next().is_none())
    };
    same.or_else(meant).or_else(begun).copied()
}

#[cfg(test)]
mod tests;
