//! A question about causes as one page: the ranking, and the pictures that a person looks at beside it.

use crate::jobs::causes::ask;
use crate::jobs::causes::ask::{Answer, Ask};
use crate::jobs::causes::page::{CausesPage, levels, told};
use crate::jobs::charts;
use crate::jobs::charts::ask::{ChartAsk, Of};
use knowledge::causes::Settings;
use records::{Result, Store};

/// The answer and its page.
pub fn page(store: &Store, ask: &Ask, settings: Settings) -> Result<(Answer, CausesPage)> {
    store.snapshot(|| {
        let board = ask::board(store, ask, settings)?;
        let ranking = board.answer.ranking.clone();
        let blades = ranking.blades;
        let all = (blades.inspected > 0).then(|| blades.with as f64 / blades.inspected as f64);
        let mut pictures = Vec::new();
        for cause in told(&ranking) {
            pictures.extend(board.detail(cause).map(|detail| levels(cause, detail, all)));
        }
        // Blades picked by hand are no rate over time or place.
        if ask.picked.is_empty() && blades.inspected > 0 {
            let of = ChartAsk {
                of: Of::Defect,
                ask: ask.clone(),
                by: None,
                kind: None,
                rules: false,
                against: None,
            };
            pictures.push(charts::ask::chart(store, &of)?.picture());
            pictures.push(charts::ask::positions(store, ask)?.picture());
            // The blade has a figure for every zone, whichever the question is about.
            let all_zones = Ask { zone: None, ..ask.clone() };
            pictures.push(charts::ask::zones(store, &all_zones)?.picture());
        }
        let page = CausesPage {
            question: board.answer.ask.words(),
            ranking,
            known: board.answer.known.clone(),
            pictures,
            head: store.head()?.1,
        };
        Ok((board.answer, page))
    })
}
