//! A question about causes as one page: the ranking, and the pictures that a person looks at beside it.

use crate::causes::Settings;
use crate::ops::causes::{self, Answer, Ask};
use crate::ops::chart::{self, ChartAsk, Of};
use crate::ops::{Result, Store};
use crate::report::causes_page::{CausesPage, levels, told};

/// The answer and its page.
///
/// # Errors
/// As [`causes::causes`].
pub fn page(store: &Store, ask: &Ask, settings: Settings) -> Result<(Answer, CausesPage)> {
    store.snapshot(|| {
        let board = causes::board(store, ask, settings)?;
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
            pictures.push(chart::chart(store, &of)?.picture());
            pictures.push(chart::positions(store, ask)?.picture());
            // The blade has a figure for every zone, whichever the question is about.
            let all_zones = Ask { zone: None, ..ask.clone() };
            pictures.push(chart::zones(store, &all_zones)?.picture());
        }
        let page =
            CausesPage { question: board.answer.ask.words(), ranking, pictures, head: store.head()?.1 };
        Ok((board.answer, page))
    })
}
