//! Answers that are kept with a note, and found again.

use serde::{Deserialize, Serialize};

use crate::jobs::causes::ask::{Answer, Ask};
use records::value::tag::shown;
use records::{Error, Result, Store, Who};

/// What is kept in the journal.
#[derive(Serialize, Deserialize)]
struct KeptText {
    note: String,
    question: Ask,
    seed: u64,
    page: String,
}

/// An answer as it was kept.
#[derive(Serialize, Debug, Clone)]
pub struct Kept {
    /// Its number: that of its journal entry.
    pub answer: i64,
    pub at: String,
    /// By whom, as claimed.
    pub person: Option<String>,
    pub note: String,
    pub question: String,
    pub seed: u64,
    /// The page as it was read then.
    pub page: String,
    /// Journal entries since then that wrote or changed a record: asked again, the answer may be another.
    pub written_since: i64,
    /// The question, to be asked again.
    #[serde(skip)]
    pub ask: Ask,
}

impl Kept {
    pub fn line(&self) -> String {
        let who = self.person.as_deref().unwrap_or("no person given");
        let day = self.at.get(..10).unwrap_or(&self.at);
        format!("{:>6}  {day}  {}  {}: {}", self.answer, shown(who), shown(&self.question), shown(&self.note))
    }

    /// The page with what was noted.
    pub fn text(&self) -> String {
        let who = self.person.as_deref().unwrap_or("no person given");
        let since = match self.written_since {
            0 => "Nothing was written since.".to_string(),
            1 => "1 entry was written since: asked again, the answer may be another.".into(),
            n => format!("{n} entries were written since: asked again, the answer may be another."),
        };
        let (n, at) = (self.answer, &self.at);
        format!(
            "Answer {n}, kept by {} at {at}\nNote: {}\n{since}\n\n{}",
            shown(who),
            shown(&self.note),
            self.page
        )
    }
}

/// Keeps an answer with a note. Gives its number.
pub fn keep(store: &mut Store, who: &Who, answer: &Answer, note: &str) -> Result<i64> {
    if note.trim().is_empty() {
        return Err(Error::input("keep an answer with a note: what it was asked for, what came of it"));
    }
    let sheet = KeptText {
        note: note.trim().into(),
        question: answer.ask.clone(),
        seed: answer.ranking.seed,
        page: answer.text(),
    };
    let text = serde_json::to_string(&sheet).map_err(|e| Error::untrusted(e.to_string()))?;
    store.keep_answer(who, &text)
}

/// The answers that were kept, the latest first.
pub fn kept(store: &Store) -> Result<Vec<Kept>> {
    store.snapshot(|| {
        let mut out = Vec::new();
        for entry in store.kept_answers()? {
            let Some(sheet) = entry.reason.as_deref().and_then(|t| serde_json::from_str::<KeptText>(t).ok())
            else {
                continue;
            };
            out.push(Kept {
                answer: entry.seq,
                at: entry.at,
                person: entry.person,
                note: sheet.note,
                question: sheet.question.words(),
                seed: sheet.seed,
                page: sheet.page,
                written_since: store.writes_after(entry.seq)?,
                ask: sheet.question,
            });
        }
        Ok(out)
    })
}

/// One of them.
pub fn one(store: &Store, answer: i64) -> Result<Kept> {
    let all = kept(store)?;
    let known: Vec<String> = all.iter().take(8).map(|k| k.answer.to_string()).collect();
    all.into_iter().find(|k| k.answer == answer).ok_or_else(|| {
        let there =
            if known.is_empty() { "none is kept".into() } else { format!("kept are {}", known.join(", ")) };
        Error::input(format!("there is no answer {answer}; {there}"))
    })
}
