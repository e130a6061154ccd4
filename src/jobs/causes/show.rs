//! Ranked causes as JSON and as a page that a foundryman can read.

use serde_json::{Map, Value};

use crate::jobs::causes::known::Known;
use crate::jobs::causes::known_show;
use crate::show::{columns, percent};
use knowledge::causes::{Cause, Ranking, Verdict};
use records::value::tag::shown;
use records::value::words::counted;

/// Factors without a finding that are listed below the found ones.
pub(crate) const NEXT_BEST: usize = 5;

/// The JSON of a ranking, the question first, what the trade knows last.
pub fn json(question: Map<String, Value>, ranking: &Ranking, known: Option<&Known>) -> Map<String, Value> {
    let mut map = Map::new();
    map.insert("question".into(), Value::Object(question));
    if let Ok(Value::Object(rest)) = serde_json::to_value(ranking) {
        map.extend(rest);
    }
    if let Some(known) = known {
        known_show::add_json(&mut map, known);
    }
    map
}

/// The page: what was asked, what is found, what is not, what to keep in mind, where to look first, what to do next.
pub fn text(defect: &str, ranking: &Ranking, known: Option<&Known>) -> String {
    let mut out = format!(
        "{}: {} of {} inspected blades, in {} of {} ({} made, {} not inspected).\n{} tried{}, seed {}.\n",
        shown(defect),
        ranking.blades.with,
        ranking.blades.inspected,
        counted(ranking.moulds, "mould"),
        counted(ranking.heats, "heat"),
        ranking.blades.made,
        ranking.blades.not_inspected,
        counted(ranking.tests, "factor"),
        match ranking.causes.len().saturating_sub(ranking.tests) {
            0 => String::new(),
            twins => format!(", and {twins} that say the same as one of them"),
        },
        ranking.seed,
    );
    let of = |wanted: fn(Verdict) -> bool| -> Vec<&Cause> {
        ranking.causes.iter().filter(|c| wanted(c.verdict())).collect()
    };
    let found = of(Verdict::is_shown);
    let (explained, rest) = (of(|v| v == Verdict::Explained), of(|v| v == Verdict::NotShown));
    if !found.is_empty() {
        out.push_str("\nGoes along with the defect (q below 0.1):\n");
        out.push_str(&table(&found, known));
    }
    if !explained.is_empty() {
        out.push_str("\nGoes along too, but its contrast goes once a better one is allowed for:\n");
        for cause in explained {
            let level = cause.level.as_ref().map_or(String::new(), |l| format!(" {}", shown(l)));
            let by = cause.explained_by.as_deref().unwrap_or_default();
            let (name, by, q) = (shown(&cause.factor), shown(by), small(cause.q));
            out.push_str(&format!("{} {name}{level}: explained by {by} (q {q})\n", cause.rank));
        }
    }
    if !rest.is_empty() {
        let listed: Vec<&Cause> = rest.iter().take(NEXT_BEST).copied().collect();
        out.push_str(&format!(
            "\nNot shown, and not to be taken as found (q 0.1 or more): the first {} of {}.\n",
            listed.len(),
            rest.len()
        ));
        out.push_str(&table(&listed, known));
        let short = ranking.causes.iter().filter(|c| c.shortlisted).count();
        if found.is_empty() && short > 0 {
            out.push_str(&format!(
                "If one of the factors tried is to blame at all, it was among the first {short} in {} simulated histories:\nworth a look, not a finding.\n",
                if ranking.moulds < 100 { "9 of 10" } else { "19 of 20" }
            ));
        }
    }
    let pairs: Vec<&Cause> = ranking.pairs.iter().collect();
    if !pairs.is_empty() {
        out.push_str("\nThe pair that was asked for, beyond what each of the two does singly:\n");
        out.push_str(&table(&pairs, None));
    }
    if let Some(p) = ranking.time.p {
        let at =
            ranking.time.changed_at.as_ref().map_or(String::new(), |t| format!(", about mould {}", shown(t)));
        let word = if p < 0.05 { "changes" } else { "no change is shown" };
        out.push_str(&format!("\nOver the pour order: {word} (p {}){at}.\n", small(p)));
    }
    if known.is_none() {
        list(&mut out, "Pour next", ranking.next.iter().map(|n| n.pour.clone()));
    }
    list(&mut out, "Keep in mind", ranking.cautions.iter().cloned());
    list(&mut out, "Not testable", untested(ranking));
    out.truncate(out.trim_end().len());
    if let Some(known) = known {
        out.push_str(&known_show::text(known, ranking));
    }
    out
}

/// Names of factors that cannot be tested, of one reason, that a line has room for; the JSON has them all.
const NAMED: usize = 6;

/// A line for each reason why factors cannot be tested, with their names.
pub(crate) fn untested(ranking: &Ranking) -> impl Iterator<Item = String> {
    let mut of: Vec<(&str, Vec<&str>)> = Vec::new();
    for one in &ranking.not_testable {
        match of.iter_mut().find(|(reason, _)| *reason == one.reason) {
            Some((_, factors)) => factors.push(&one.factor),
            None => of.push((&one.reason, vec![&one.factor])),
        }
    }
    of.into_iter().map(|(reason, factors)| {
        let named = factors[..factors.len().min(NAMED)].join(", ");
        match factors.len().saturating_sub(NAMED) {
            0 => format!("{named}: {reason}."),
            more => format!("{named} and {more} more: {reason}."),
        }
    })
}

fn list(out: &mut String, title: &str, sentences: impl Iterator<Item = String>) {
    let mut first = true;
    for sentence in sentences {
        if first {
            out.push_str(&format!("\n{title}:\n"));
            first = false;
        }
        out.push_str(&format!("- {}\n", shown(&sentence)));
    }
}

/// A head, and a row for each cause.
pub(crate) fn rows(causes: &[&Cause]) -> Vec<Vec<String>> {
    let mut rows = vec![
        ["", "factor", "level", "in it", "elsewhere", "ratio (95 %)", "q", ""].map(String::from).to_vec(),
    ];
    for cause in causes {
        rows.push(vec![
            cause.rank.to_string(),
            shown(&cause.factor).into_owned(),
            cause.level.as_deref().map_or("-".into(), |l| shown(l).into_owned()),
            share(cause.inside.with, cause.inside.blades, cause.rate_in),
            share(cause.outside.with, cause.outside.blades, cause.rate_out),
            ratio(cause),
            small(cause.q),
            cause.wording.to_string(),
        ]);
    }
    rows
}

fn table(causes: &[&Cause], known: Option<&Known>) -> String {
    let aligned = columns(&rows(causes));
    let mut out = String::new();
    for (i, line) in aligned.lines().enumerate() {
        out.push_str(line);
        out.push('\n');
        let Some(cause) = i.checked_sub(1).and_then(|i| causes.get(i)) else { continue };
        out.push_str(&format!(
            "   {} of {} in it, {} of {} elsewhere",
            counted(cause.inside.moulds, "mould"),
            counted(cause.inside.heats, "heat"),
            cause.outside.moulds,
            cause.outside.heats
        ));
        if let (Some(explained), true) = (cause.explained, cause.verdict().is_shown()) {
            out.push_str(&format!("; explains about {explained:.0}"));
            if let [Some(low), Some(high)] = cause.explained_interval {
                out.push_str(&format!(" ({low:.0} to {high:.0})"));
            }
        }
        if cause.share_of_belief > 0.0 {
            out.push_str(&format!("; belief {}", percent(cause.share_of_belief)));
        }
        out.push_str(".\n");
        if let Some(note) = &cause.note {
            out.push_str(&format!("   {}\n", shown(note)));
        }
        if let Some(known) = known.and_then(|k| k.of(&cause.factor)) {
            out.push_str(&format!("   {}\n", shown(&known_show::below(known))));
        }
        if known.is_some_and(|k| k.table.weights) {
            let (rank, q) = (cause.rank_unweighted, small(cause.q_unweighted));
            out.push_str(&format!("   Without the weights of what is known: place {rank}, q {q}.\n"));
        }
    }
    out
}

fn share(with: usize, of: usize, rate: Option<f64>) -> String {
    match rate {
        Some(rate) => format!("{with} of {of} ({})", percent(rate)),
        None => "none".into(),
    }
}

fn ratio(cause: &Cause) -> String {
    let figure = |v: f64| if v >= 10.0 { format!("{v:.0}") } else { format!("{v:.2}") };
    let limits = match cause.interval {
        [Some(low), Some(high)] => format!(" ({} to {})", figure(low), figure(high)),
        [Some(low), None] => format!(" (at least {})", figure(low)),
        [None, Some(high)] => format!(" (at most {})", figure(high)),
        [None, None] => String::new(),
    };
    format!("{}{limits}", cause.ratio.map_or("-".into(), figure))
}

/// A p or q; below a millionth it is not told more exactly. One that is not given is a dash.
pub(crate) fn small(p: f64) -> String {
    if p.is_nan() {
        "-".into()
    } else if p < 1e-6 {
        "<1e-6".into()
    } else if p < 0.001 {
        format!("{p:.1e}")
    } else {
        format!("{p:.3}")
    }
}
