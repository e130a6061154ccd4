//! Deviations and concessions: what they cover, and for which blades.
//!
//! A permission counts for a blade only where the blade's last disposition is to it, it was live then,
//! and its words name what is to be covered.

use std::collections::{BTreeMap, HashMap};

use crate::domain::Record;
use crate::ops::lots::facts::{Facts, day};
use crate::report::lot::{Block, Permission};
use crate::store::{Result, Store};

/// The permissions that blades of a lot were dispositioned to.
#[derive(Default)]
pub struct Permits {
    /// Blade → its live permission: tag and words.
    live: HashMap<String, (String, String)>,
    /// Concession tag → blades of all lots under it.
    used: BTreeMap<String, i64>,
    /// What is wrong with a permission.
    pub faults: Vec<Block>,
}

fn bare(tag: &str) -> &str {
    tag.split('@').next().unwrap_or(tag)
}

impl Permits {
    /// Reads the permissions of a lot.
    pub fn new(store: &Store, facts: &Facts) -> Result<Self> {
        let mut out = Self::default();
        let counts = store.conceded_counts()?;
        let mut known: HashMap<String, &Record> = HashMap::new();
        for row in facts.behind.of("concessions") {
            let tag = row.record.address();
            out.used.insert(tag.clone(), row.id.and_then(|id| counts.get(&id)).copied().unwrap_or(0));
            known.insert(tag, &row.record);
        }
        let part = facts.lot.record.get("part").to_text();
        for blade in facts.alive() {
            let Some(d) = facts.decision(&blade.tag) else { continue };
            if d.get("decision").text() != Some("concession") {
                continue;
            }
            let mut fault = |reason: String| {
                out.faults.push(Block {
                    blade: Some(blade.tag.clone()),
                    station: "concession".into(),
                    reason,
                    record: d.get("concession").text().map(String::from),
                    blades: Vec::new(),
                    code: "concession",
                });
            };
            let Some(c) = d.get("concession").text().and_then(|t| known.get(t)) else {
                fault("dispositioned to a concession that is not named".into());
                continue;
            };
            let tag = c.address();
            let decided = d.own_time();
            let expires = c.get("expires_on").to_text();
            if decided.is_some_and(|at| !expires.is_empty() && day(at) > expires) {
                fault(format!("{tag} had expired on {expires} when the blade was dispositioned to it"));
            } else if decided < c.own_time() {
                fault(format!("{tag} was granted after the blade was dispositioned to it"));
            } else if bare(&c.get("part").to_text()) != bare(&part) {
                fault(format!("{tag} is for part {}", c.get("part").to_text()));
            } else {
                out.live.insert(blade.tag.clone(), (tag, c.get("limits").to_text()));
            }
        }
        for (tag, c) in &known {
            let (used, quantity) = (out.used.get(tag).copied().unwrap_or(0), c.get("quantity").number());
            if quantity.is_some_and(|q| used as f64 > q) {
                out.faults.push(Block {
                    blade: None,
                    station: "concession".into(),
                    reason: format!(
                        "{tag} is for {} blades; {used} are dispositioned to it",
                        quantity.unwrap_or(0.0)
                    ),
                    record: Some(tag.clone()),
                    blades: Vec::new(),
                    code: "concession",
                });
            }
        }
        Ok(out)
    }

    /// The live permission of a blade names one of these words.
    pub fn names(&self, blade: &str, words: &[&str]) -> bool {
        self.live.get(blade).is_some_and(|(_, limits)| words.iter().any(|w| after(limits, w).is_some()))
    }

    /// The live permission of a blade names this element, and lets it go as far as the value.
    pub fn covers(&self, blade: &str, element: &str, value: Option<f64>, unit: &str, too_much: bool) -> bool {
        self.live
            .get(blade)
            .is_some_and(|(_, limits)| element_allowed(limits, element, value, unit, too_much))
    }

    /// The live permissions that some blades stand under.
    pub fn over(&self, blades: &[String]) -> Vec<String> {
        let mut tags: Vec<String> =
            blades.iter().filter_map(|b| self.live.get(b)).map(|l| l.0.clone()).collect();
        tags.sort();
        tags.dedup();
        tags
    }

    /// As the summary lists them.
    pub fn list(&self, facts: &Facts) -> Vec<Permission> {
        let under = |tag: &str| -> Vec<String> {
            let to = |b: &str| {
                facts.decision(b).is_some_and(|d| {
                    d.get("decision").text() == Some("concession") && d.get("concession").text() == Some(tag)
                })
            };
            facts.blades.iter().filter(|b| to(&b.tag)).map(|b| b.tag.clone()).collect()
        };
        let one = |r: &Record| {
            let tag = r.address();
            let used = self.used.get(&tag).copied().unwrap_or(0);
            let quantity = r.get("quantity").number().map(|q| q as i64);
            Permission {
                kind: r.get("type").to_text(),
                limits: r.get("limits").to_text(),
                quantity,
                used,
                left: quantity.map(|q| q - used),
                granted: format!("{} {}", r.get("granted_at").to_text(), r.get("granted_by").to_text()),
                expires_on: r.get("expires_on").to_text(),
                blades: under(&tag),
                concession: tag,
            }
        };
        facts.behind.of("concessions").map(|r| one(&r.record)).collect()
    }
}

/// What stands after a word in a text; none where the word is not there. Short words (symbols, zones)
/// are compared as written, others without regard to case.
fn after<'a>(text: &'a str, word: &str) -> Option<&'a str> {
    if word.is_empty() {
        return None;
    }
    let (hay, needle) = match word.len() {
        ..=2 => (text.to_string(), word.to_string()),
        _ => (text.to_ascii_lowercase(), word.to_ascii_lowercase()),
    };
    let part = |c: char| c.is_alphanumeric();
    for (at, _) in hay.match_indices(&needle) {
        let end = at + needle.len();
        let free_before = hay[..at].chars().next_back().is_none_or(|c| !part(c));
        let free_after = hay[end..].chars().next().is_none_or(|c| !part(c));
        if free_before && free_after {
            return text.get(end..);
        }
    }
    None
}

/// Symbols and names of the elements that a specification of such an alloy limits.
const NAMES: &[(&str, &str)] = &[
    ("O", "oxygen"),
    ("N", "nitrogen"),
    ("S", "sulphur"),
    ("C", "carbon"),
    ("B", "boron"),
    ("P", "phosphorus"),
    ("Al", "aluminium"),
    ("Ti", "titanium"),
    ("Cr", "chromium"),
    ("Mo", "molybdenum"),
    ("Nb", "niobium"),
    ("Zr", "zirconium"),
    ("Fe", "iron"),
    ("Co", "cobalt"),
    ("Si", "silicon"),
    ("Mn", "manganese"),
    ("Cu", "copper"),
    ("Pb", "lead"),
    ("Bi", "bismuth"),
    ("Ag", "silver"),
    ("W", "tungsten"),
    ("Ta", "tantalum"),
];

fn name(symbol: &str) -> Option<&'static str> {
    NAMES.iter().find(|(s, _)| s.eq_ignore_ascii_case(symbol)).map(|(_, n)| *n)
}

/// How far the words of a permission let an element go. They must name it, by symbol or by name; what counts is the
/// clause up to the next element or semicolon. A figure with a unit is the limit, else the first figure; where
/// there is none the element is allowed as it is.
fn element_allowed(limits: &str, element: &str, value: Option<f64>, unit: &str, too_much: bool) -> bool {
    let Some(rest) = after(limits, element).or_else(|| after(limits, name(element)?)) else { return false };
    let (Some(value), figures) = (value, limits_in(clause(rest), unit)) else { return true };
    figures.is_empty() || figures.iter().any(|f| if too_much { *f >= value } else { *f <= value })
}

/// The words up to a semicolon or the next element.
fn clause(rest: &str) -> &str {
    let mut end = rest.find([';', '\n']).unwrap_or(rest.len());
    for (symbol, name) in NAMES {
        for word in [*symbol, *name] {
            if let Some(behind) = after(&rest[..end], word) {
                end = (end - behind.len()).saturating_sub(word.len());
            }
        }
    }
    &rest[..end]
}

/// The figures that limit an element, in the unit asked for.
fn limits_in(clause: &str, unit: &str) -> Vec<f64> {
    let spaced = clause.replace(['–', '—', '≤', '≥', '<', '>', '=', '(', ')', ',', ':'], " ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let (mut plain, mut with_unit): (Vec<(usize, f64)>, Vec<f64>) = (Vec::new(), Vec::new());
    for (at, word) in words.iter().enumerate() {
        let word = word.trim_end_matches('.');
        let digits = word.trim_end_matches(|c: char| c.is_ascii_alphabetic() || c == '%');
        let Ok(figure) = digits.parse::<f64>() else { continue };
        let tail = &word[digits.len()..];
        let said =
            if tail.is_empty() { words.get(at + 1).map_or("", |w| w.trim_end_matches('.')) } else { tail };
        match (said.to_ascii_lowercase().as_str(), unit) {
            ("ppm", "ppm") | ("wt%" | "%" | "wt.%" | "wt", "wt%") => with_unit.push(figure),
            ("ppm", "wt%") => with_unit.push(figure / 10_000.0),
            ("wt%" | "%" | "wt.%" | "wt", "ppm") => with_unit.push(figure * 10_000.0),
            _ if tail.is_empty() => plain.push((at, figure)),
            _ => {}
        }
    }
    if !with_unit.is_empty() {
        return with_unit;
    }
    plain.first().map(|(_, f)| *f).into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_whole() {
        assert_eq!(after("O up to 32 ppm", "O"), Some(" up to 32 ppm"));
        assert_eq!(after("up to 32 ppm of oxygen, Oxygen", "oxygen"), Some(", Oxygen"));
        assert_eq!(after("Only cosmetic", "O"), None);
    }

    /// Sentences as a quality lead would write them; the figures are the ones in the sentence.
    #[test]
    fn a_limit_is_the_elements_own() {
        let allowed = |limits: &str, v: f64| element_allowed(limits, "O", Some(v), "ppm", true);
        let limits = "O up to 32 ppm in H31-025";
        assert!(allowed(limits, 32.0) && !allowed(limits, 33.0));
        assert!(!element_allowed(limits, "N", Some(3.0), "ppm", true));
        for limits in [
            "O up to 32 ppm for 128 blades",
            "O up to 32 ppm, N up to 40 ppm",
            "N up to 40 ppm; oxygen at most 32 ppm",
            "oxygen 26-32: O ≤ 32 ppm",
            "O<=32ppm, heats H31-025 to H31-032",
            "O 32, nitrogen 40",
            "O between 25 and 32 ppm",
            "O up to 0.0032 wt%",
        ] {
            assert!(allowed(limits, 32.0), "{limits}");
            assert!(!allowed(limits, 33.0), "{limits}");
        }
        assert!(allowed("oxygen as analysed", 60.0));
        assert!(!allowed("Only cosmetic", 1.0));
        // Too little: the limit is a lower one.
        let little = |v: f64| element_allowed("Al not under 5.3 %", "Al", Some(v), "wt%", false);
        assert!(little(5.4) && !little(5.2));
    }
}
