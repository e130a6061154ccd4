//! Known causes as lines of text and as a part of the page: where to look first, what to check, what to hold.

use serde_json::{Map, Value, json};

use crate::jobs::causes::known::{CAUTION, Known, KnownCause};
use crate::show::columns;
use crate::show::html::{element, list, table};
use knowledge::causes::Ranking;
use records::value::tag::shown;

/// The members that stand beside a ranking: the table's version, the known causes, what to check, what to hold; and
/// with each ranked factor what is known of it.
pub fn add_json(map: &mut Map<String, Value>, known: &Known) {
    if let Some(Value::Array(causes)) = map.get_mut("causes") {
        for cause in causes {
            let of = cause["factor"].as_str().and_then(|factor| known.of(factor));
            let brief = of.map(|k| {
                json!({
                    "direction": k.direction,
                    "strength": k.strength,
                    "mechanism": k.mechanism,
                    "check": k.check,
                    "source": k.source,
                    "source_status": k.source_status,
                    "doubtful": k.doubtful,
                    "records": k.records,
                })
            });
            cause["known"] = brief.into();
        }
    }
    map.insert("knowledge".into(), json!(known.table));
    map.insert("known".into(), json!(known.causes));
    map.insert("check".into(), json!(known.check));
    map.insert("hold".into(), json!(known.hold));
    map.insert("known_caution".into(), CAUTION.into());
}

/// What is known of a factor, for the lines below its row.
pub fn below(known: &KnownCause) -> String {
    let doubt = known.doubtful.as_ref().map_or(String::new(), |d| format!("; {d}"));
    let from = format!("{}, {}: {}{doubt}", known.strength, known.source_status, known.source);
    format!("Known ({from}): {} Look at: {}", known.mechanism, known.check)
}

/// Head and rows of where to look first.
fn rows(known: &Known) -> Vec<Vec<String>> {
    let mut rows = vec![["factor", "known", "seen", "the records say", ""].map(String::from).to_vec()];
    rows.extend(known.causes.iter().map(|k| {
        let said = k.q.map_or(k.said.clone(), |q| format!("{} (q {})", k.said, super::show::small(q)));
        vec![
            shown(&k.factor).into_owned(),
            format!("{}, {}", k.strength, k.direction),
            k.source_status.to_string(),
            k.records.to_string(),
            shown(&said).into_owned(),
        ]
    }));
    rows
}

/// What is said above the list.
fn head(known: &Known) -> Vec<String> {
    let table = &known.table;
    if table.rows == 0 {
        return vec![
            "No known causes are on record; `meltkin import --known-causes` takes those of the trade.".into(),
        ];
    }
    let mut out = vec![format!("Table {} of {} known causes; {}.", table.version, table.rows, table.review)];
    if !known.causes.is_empty() && !known.causes.iter().any(|k| k.records == "supported") {
        out.push(
            "Known causes of this defect in the trade; these records neither support nor exclude them, but where it is \
             said."
                .into(),
        );
    }
    out
}

fn holds(known: &Known, ranking: &Ranking) -> Vec<String> {
    let line = |h: &super::known::HoldCandidate| match (h.held, h.read_for) {
        (true, _) => format!("{} is held already ({}).", h.tag, h.factor),
        (false, Some(bad)) => format!(
            "hold what {0} read while in doubt, as containment of {0} lists it: {bad} of the bad blades here; whether to is \
             for people to say.",
            h.tag
        ),
        (false, None) => {
            format!("hold {}: it is shown ({}); whether to hold it is for people to say.", h.tag, h.factor)
        }
    };
    match known.hold.is_empty() {
        true if ranking.causes.iter().any(|c| c.verdict().is_shown()) => {
            vec!["nothing: what is shown is no lot, batch, run or instrument.".into()]
        }
        true => vec!["nothing: no lot, batch, run or instrument is shown.".into()],
        false => known.hold.iter().map(line).collect(),
    }
}

fn pours(known: &Known, ranking: &Ranking) -> Vec<String> {
    match ranking.next.is_empty() {
        true if known.in_doubt(ranking).is_some() => {
            let tags = known.in_doubt(ranking).unwrap_or_default();
            vec![format!(
                "nothing on a reading in doubt: check or replace {tags}, and compare before and after."
            )]
        }
        true => vec!["nothing: no two suspects wait to be told apart.".into()],
        false => ranking.next.iter().map(|n| n.pour.clone()).collect(),
    }
}

fn checks(known: &Known) -> Vec<String> {
    match known.check.is_empty() {
        true => vec!["no known cause of it is on record.".into()],
        false => known.check.clone(),
    }
}

/// The title of what to check.
pub(crate) const CHECK: &str = "What to check";

/// The three lists in which every answer ends.
fn ends(known: &Known, ranking: &Ranking) -> [(&'static str, Vec<String>); 3] {
    [
        (CHECK, checks(known)),
        ("What to hold", holds(known, ranking)),
        ("What to pour next", pours(known, ranking)),
    ]
}

/// Where to look first.
pub fn first(known: &Known) -> String {
    let mut out = String::from("Where to look first\n");
    head(known).iter().for_each(|line| out.push_str(&format!("{}\n", shown(line))));
    if !known.causes.is_empty() {
        out.push_str(&columns(&rows(known)));
        out.push_str(&format!("\n{CAUTION}\n"));
    }
    out
}

/// Where to look first, and the three lists.
pub fn text(known: &Known, ranking: &Ranking) -> String {
    let mut out = format!("\n\n{}", first(known));
    for (title, sentences) in ends(known, ranking) {
        out.push_str(&format!("\n{title}:\n"));
        sentences.iter().for_each(|s| out.push_str(&format!("- {}\n", shown(s))));
    }
    out.truncate(out.trim_end().len());
    out
}

/// The three lists for the first page behind a row: each with its title.
pub fn three(known: &Known, ranking: &Ranking) -> [(&'static str, Vec<String>); 3] {
    ends(known, ranking)
}

/// The whole of it for a screen: each known cause with its mechanism, its check and its sources.
pub fn page(known: &Known, ranking: &Ranking) -> String {
    let mut out = format!("{}\n", text(known, ranking).trim_start());
    for k in &known.causes {
        out.push_str(&format!("\n{}: {} ({})\n{}\n", k.factor, k.records, k.said, below(k)));
        k.references.iter().for_each(|r| out.push_str(&format!("- {r}\n")));
    }
    out
}

/// The same as a part of the HTML page.
pub fn html(known: &Known, ranking: &Ranking) -> String {
    let mut out = element("h2", "Where to look first");
    head(known).iter().for_each(|line| out += &element("p", line));
    if !known.causes.is_empty() {
        out += &table(&rows(known));
        out += &element("p", CAUTION);
        out += &list("", known.causes.iter().map(|k| format!("{}: {}", k.factor, below(k))));
    }
    for (title, sentences) in ends(known, ranking) {
        out += &list(title, sentences.into_iter());
    }
    out
}
