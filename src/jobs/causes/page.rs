//! Ranked causes as one HTML page with its pictures, for reading and for A4, with nothing to fetch.

use crate::jobs::causes::known::Known;
use crate::jobs::causes::known_show;
use crate::jobs::causes::show::{NEXT_BEST, rows, small, untested};
use crate::jobs::charts::show::ASSOCIATION;
use crate::show::CAUTION;
use crate::show::html::{STYLE, element, escaped, list, table};
use crate::show::picture::{Bar, Bars, Picture, svg};
use knowledge::causes::ranking::FactorLevel;
use knowledge::causes::{Cause, Detail, Ranking, Verdict};
use records::value::words::counted;

/// What the page is made of.
#[derive(Clone, Debug)]
pub struct CausesPage {
    pub question: String,
    pub ranking: Ranking,
    pub known: Known,
    /// Pictures, in the order in which they stand on the page.
    pub pictures: Vec<Picture>,
    /// The head of the journal that the answer was made from.
    pub head: String,
}

/// The causes that the page tells of: those shown, else the next best.
pub fn told(ranking: &Ranking) -> impl Iterator<Item = &Cause> {
    let found = ranking.causes.iter().any(|c| c.verdict().is_shown());
    ranking.causes.iter().filter(move |c| c.verdict().is_shown() || !found).take(NEXT_BEST)
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
    pub fn html(&self) -> String {
        let (e, r) = (escaped, &self.ranking);
        let mut out = format!(
            "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>{0}</title><style>{STYLE}\
             @page{{size:A4;margin:16mm 14mm}}</style></head><body><h1>{0}</h1>\
             <p>{1} of {2} inspected blades, in {3} of {4}; {5} made, {6} not inspected. {7} tried.</p>\
             <div class=\"box\">Association, not cause: a trial or the metal itself must confirm it. {CAUTION}</div>",
            e(&self.question),
            r.blades.with,
            r.blades.inspected,
            counted(r.moulds, "mould"),
            counted(r.heats, "heat"),
            r.blades.made,
            r.blades.not_inspected,
            counted(r.tests, "factor"),
        );
        let causes: Vec<&Cause> = told(r).collect();
        let found = causes.first().is_some_and(|c| c.verdict().is_shown());
        out += &element(
            "h2",
            match causes.is_empty() {
                false if found => "Goes along with the defect (q below 0.1)",
                false => "Nothing is found; the first of those not shown, not to be taken as found",
                true => "No factor can be tested",
            },
        );
        out += &table(&rows(&causes));
        if found {
            let explained = |c: &&Cause| c.verdict() == Verdict::Explained;
            let said = |c: &Cause| {
                let level = c.level.as_deref().map_or(String::new(), |l| format!(" {l}"));
                let by = c.explained_by.as_deref().unwrap_or_default();
                format!("{}{level}: explained by {by} (q {})", c.factor, small(c.q))
            };
            out += &list(
                "Goes along too, but its contrast goes once a better one is allowed for",
                r.causes.iter().filter(explained).map(said),
            );
            let not_shown = |c: &&Cause| c.verdict() == Verdict::NotShown;
            let rest: Vec<&Cause> = r.causes.iter().filter(not_shown).take(NEXT_BEST).collect();
            out += &element("h2", "Not shown, and not to be taken as found: the first of them");
            out += &table(&rows(&rest));
        }
        out += &list("", causes.iter().filter_map(|c| c.note.clone()));
        let known =
            |c: &&Cause| Some(format!("{}: {}", c.factor, known_show::below(self.known.of(&c.factor)?)));
        out += &list("Known of them", causes.iter().filter_map(known));
        out.extend(self.pictures.iter().map(svg::svg));
        let alike = causes.iter().flat_map(|c| {
            let named = |n: &FactorLevel| {
                format!("{} and {} {}", c.factor, n.factor, n.level.as_deref().unwrap_or(""))
            };
            c.inseparable_from.iter().map(named).collect::<Vec<_>>()
        });
        out += &list("What these records cannot tell apart", alike);
        out += &list("Keep in mind", r.cautions.iter().cloned());
        out += &list("Not testable", untested(r));
        out += &known_show::html(&self.known, r);
        out.push_str(&format!(
            "<p class=\"mono\">journal head {}<br>seed of the draws {}</p></body></html>\n",
            e(&self.head),
            r.seed
        ));
        out
    }
}
