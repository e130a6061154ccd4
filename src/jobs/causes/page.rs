//! Ranked causes as one HTML page with its pictures, for reading and for A4, with nothing to fetch.

use crate::jobs::causes::show::{NEXT_BEST, rows};
use crate::jobs::charts::show::ASSOCIATION;
use crate::show::CAUTION;
use crate::show::html::{STYLE, escaped};
use crate::show::picture::{Bar, Bars, Picture, svg};
use knowledge::causes::{Cause, Detail, Ranking};

/// What the page is made of.
#[derive(Clone, Debug)]
pub struct CausesPage {
    /// The question in words.
    pub question: String,
    /// The answer.
    pub ranking: Ranking,
    /// Pictures, in the order in which they stand on the page.
    pub pictures: Vec<Picture>,
    /// The head of the journal that the answer was made from.
    pub head: String,
}

/// The causes that the page tells of: those found, else the next best.
pub fn told(ranking: &Ranking) -> impl Iterator<Item = &Cause> {
    let found = ranking.causes.iter().any(|c| c.flagged);
    ranking.causes.iter().filter(move |c| c.flagged || !found).take(NEXT_BEST)
}

/// Every level of a cause with its interval.
pub fn levels(cause: &Cause, detail: &Detail, all: Option<f64>) -> Picture {
    let bar = |l: &knowledge::causes::LevelRate| Bar {
        label: l.level.clone(),
        rate: l.rate,
        interval: l.interval.map(|[low, high]| (low, high)),
        counts: format!(
            "{} of {}, {} moulds, {} heats",
            l.group.with, l.group.blades, l.group.moulds, l.group.heats
        ),
    };
    Picture::Bars(Bars {
        title: format!("{}: every level", cause.factor),
        rows: detail.levels.iter().map(bar).collect(),
        all,
        chosen: detail.levels.iter().position(|l| l.named),
        caution: ASSOCIATION.into(),
    })
}

impl CausesPage {
    /// The whole page.
    pub fn html(&self) -> String {
        let (e, r) = (escaped, &self.ranking);
        let mut out = format!(
            "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>{0}</title><style>{STYLE}\
             @page{{size:A4;margin:16mm 14mm}}</style></head><body><h1>{0}</h1>\
             <p>{1} of {2} inspected blades, in {3} moulds of {4} heats; {5} made, {6} not inspected. {7} factors tried.</p>\
             <div class=\"box\">Association, not cause: a trial or the metal itself must confirm it. {CAUTION}</div>",
            e(&self.question),
            r.blades.with,
            r.blades.inspected,
            r.moulds,
            r.heats,
            r.blades.made,
            r.blades.not_inspected,
            r.tests,
        );
        let causes: Vec<&Cause> = told(r).collect();
        let title = match causes.first() {
            Some(first) if first.flagged => "Goes along with the defect (q below 0.1)",
            Some(_) => "Nothing is found; the first of those not shown, not to be taken as found",
            None => "No factor can be tested",
        };
        table(&mut out, title, &rows(&causes));
        if causes.first().is_some_and(|c| c.flagged) {
            let rest: Vec<&Cause> = r.causes.iter().filter(|c| !c.flagged).take(NEXT_BEST).collect();
            table(&mut out, "Not shown, and not to be taken as found: the first of them", &rows(&rest));
        }
        list(&mut out, "", causes.iter().filter_map(|c| c.note.clone()));
        for picture in &self.pictures {
            out.push_str(&svg::svg(picture));
        }
        list(
            &mut out,
            "What these records cannot tell apart",
            causes.iter().flat_map(|c| {
                c.inseparable_from
                    .iter()
                    .map(|n| format!("{} and {} {}", c.factor, n.factor, n.level.as_deref().unwrap_or("")))
            }),
        );
        list(&mut out, "Pour next", r.next.iter().map(|n| n.pour.clone()));
        list(&mut out, "Keep in mind", r.cautions.iter().cloned());
        list(&mut out, "Not testable", r.not_testable.iter().map(|n| format!("{}: {}.", n.factor, n.reason)));
        out.push_str(&format!(
            "<p class=\"mono\">journal head {}<br>seed of the draws {}</p></body></html>\n",
            e(&self.head),
            r.seed
        ));
        out
    }
}

fn table(out: &mut String, title: &str, rows: &[Vec<String>]) {
    let row = |cells: &[String], tag: &str| {
        let cells: String = cells.iter().map(|c| format!("<{tag}>{}</{tag}>", escaped(c))).collect();
        format!("<tr>{cells}</tr>")
    };
    out.push_str(&format!("<h2>{}</h2>", escaped(title)));
    if let Some((head, body)) = rows.split_first().filter(|(_, body)| !body.is_empty()) {
        let body: String = body.iter().map(|r| row(r, "td")).collect();
        out.push_str(&format!("<table><thead>{}</thead><tbody>{body}</tbody></table>", row(head, "th")));
    }
}

fn list(out: &mut String, title: &str, sentences: impl Iterator<Item = String>) {
    let items: String = sentences.map(|s| format!("<li>{}</li>", escaped(s.trim_end()))).collect();
    if items.is_empty() {
        return;
    }
    if !title.is_empty() {
        out.push_str(&format!("<h2>{title}</h2>"));
    }
    out.push_str(&format!("<ul>{items}</ul>"));
}
