//! The words of a title, and how well they name a field.

use crate::catalogue::field::{FieldInfo, Type};
use crate::exchange::titles::bare;

/// Words that say nothing of what stands below them.
const FILLERS: [&str; 19] = [
    "no", "nr", "nos", "num", "number", "nummer", "id", "tag", "code", "the", "of", "in", "at", "on", "ref",
    "der", "des", "is", "and",
];

/// What shops call things, and the word that fields use. Common practice, no source.
const SYNONYMS: [(&str, &str); 61] = [
    ("mold", "mould"),
    ("form", "mould"),
    ("tree", "mould"),
    ("melt", "heat"),
    ("schmelze", "heat"),
    ("schaufel", "blade"),
    ("serial", "blade"),
    ("legierung", "alloy"),
    ("ofen", "oven"),
    ("tiegel", "crucible"),
    ("teil", "part"),
    ("drawing", "part"),
    ("layer", "coat"),
    ("dip", "coat"),
    ("schicht", "coat"),
    ("schlicker", "slurry"),
    ("sand", "stucco"),
    ("ein", "in"),
    ("aus", "out"),
    ("raum", "room"),
    ("feuchte", "rh"),
    ("humidity", "rh"),
    ("box", "lot"),
    ("batch", "batch"),
    ("maker", "maker"),
    ("lieferant", "maker"),
    ("weight", "mass"),
    ("masse", "mass"),
    ("gewicht", "mass"),
    ("qty", "count"),
    ("quantity", "count"),
    ("pieces", "count"),
    ("pcs", "count"),
    ("amount", "count"),
    ("anzahl", "count"),
    ("menge", "count"),
    ("stk", "count"),
    ("pores", "ppi"),
    ("date", WHEN),
    ("datum", WHEN),
    ("when", WHEN),
    ("day", WHEN),
    ("time", WHEN),
    ("zeit", WHEN),
    ("uhrzeit", WHEN),
    ("temp", TEMPERATURE),
    ("temperature", TEMPERATURE),
    ("temperatur", TEMPERATURE),
    ("remark", "note"),
    ("comment", "note"),
    ("bemerkung", "note"),
    ("verdict", "result"),
    ("ergebnis", "result"),
    ("outcome", "result"),
    ("operator", "person"),
    ("inspector", "person"),
    ("who", "person"),
    ("by", "person"),
    ("prüfer", "person"),
    ("place", "position"),
    ("pos", "position"),
];

/// Of a title that asks when, whatever it is of.
pub(super) const WHEN: &str = "when";
/// Of a title that asks how hot, whatever it is.
pub(super) const TEMPERATURE: &str = "temperature";

/// The words of a text but for those that say nothing, unless it has no others; of several things the word for one.
fn parts(text: &str) -> Vec<String> {
    let lower = text.to_lowercase();
    let all: Vec<&str> = lower.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).collect();
    let telling: Vec<&str> = all.iter().copied().filter(|w| !FILLERS.contains(w)).collect();
    let words = if telling.is_empty() { all } else { telling };
    let one = |w: &str| {
        let several = w.len() > 4 && w.ends_with('s') && !w.ends_with("ss");
        if several { &w[..w.len() - 1] } else { w }.to_string()
    };
    words.into_iter().map(one).collect()
}

/// The words of a title as they stand, and in the words of fields. Its unit is none of them.
pub(super) struct TitleWords {
    plain: Vec<String>,
    meant: Vec<String>,
}

impl TitleWords {
    pub(super) fn of(title: &str) -> Self {
        let plain = parts(bare(title));
        let one = |word: &str| word.strip_suffix('s').unwrap_or(word).to_string();
        let synonym = |w: &String| {
            let found = SYNONYMS.iter().find(|(theirs, _)| one(theirs) == one(w));
            found.map_or_else(|| w.clone(), |(_, ours)| (*ours).to_string())
        };
        Self { meant: plain.iter().map(synonym).collect(), plain }
    }

    /// It asks when, or how hot, among other things.
    pub(super) fn asks(&self, what: &str) -> bool {
        self.meant.iter().any(|w| w == what)
    }

    /// How well it names a field, from 0 to 1. What it asks in general says nothing more of a field that is of that sort.
    pub(super) fn names(&self, field: &FieldInfo) -> f64 {
        let of_field = field_words(field);
        let general = match field.ty {
            Type::Time | Type::Date | Type::Moment => WHEN,
            Type::Number if field.unit() == "°C" => TEMPERATURE,
            _ => "",
        };
        let meant: Vec<&String> = self.meant.iter().filter(|w| *w != general).collect();
        let plain: Vec<&String> = self.plain.iter().collect();
        alike(&plain, &of_field).max(0.97 * alike(&meant, &of_field))
    }

    /// Nothing but what any field of that sort would be called.
    pub(super) fn only(&self, what: &str) -> bool {
        !self.meant.is_empty() && self.meant.iter().all(|w| w == what)
    }
}

/// The words of a field's name without its unit, and without what only says that it is a time.
fn field_words(field: &FieldInfo) -> Vec<String> {
    let name = field.name.strip_suffix("_at").or(field.name.strip_suffix("_on")).unwrap_or(field.name);
    let mut words: Vec<&str> = name.split('_').collect();
    let unit = match field.unit() {
        "" => 0,
        "mbar l/s" | "ml/100 g" => 3,
        "g/cm³" => 2,
        _ => 1,
    };
    words.truncate(words.len().saturating_sub(unit).max(1));
    let words = words.into_iter().map(|w| if w == "by" { "person" } else { w });
    parts(&words.collect::<Vec<_>>().join(" "))
}

fn alike(title: &[&String], field: &[String]) -> f64 {
    if title.is_empty() || field.is_empty() {
        return 0.0;
    }
    let best = |word: &str, among: &mut dyn Iterator<Item = &String>| {
        among.map(|a| same(word, a)).fold(0.0, f64::max)
    };
    let found: Vec<f64> = field.iter().map(|f| best(f, &mut title.iter().copied())).collect();
    let meant: Vec<f64> = title.iter().map(|t| best(t, &mut field.iter())).collect();
    let whole = |scores: &[f64]| scores.iter().all(|s| *s > 0.0);
    let mean = found.iter().sum::<f64>() / found.len() as f64;
    let (all, of) = (title.len() as f64, field.len() as f64);
    match (whole(&found), whole(&meant)) {
        (true, true) => mean,
        (true, false) => mean * (0.6 + 0.2 * of / all),
        (false, true) => 0.55 + 0.25 * all / of,
        _ => 0.3 * mean * of / of.max(all),
    }
}

/// How alike two words are: the same, the beginning of the other, one letter apart.
fn same(a: &str, b: &str) -> f64 {
    let (short, long) = if a.len() < b.len() { (a, b) } else { (b, a) };
    let apart = || a.chars().zip(b.chars()).filter(|(x, y)| x != y).count();
    match () {
        () if a == b => 1.0,
        () if short.len() >= 4 && long.starts_with(short) => 0.88,
        () if short.len() >= 5 && long.len() == short.len() && apart() == 1 => 0.85,
        () => 0.0,
    }
}
