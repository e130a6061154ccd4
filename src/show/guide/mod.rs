//! The guide: pages of Markdown under `src/guide/`, carried in the program, read as plain text.

pub(crate) mod page;

pub use crate::show::guide::page::{Look, Row, rows};

/// A page of the guide.
#[derive(Clone, Copy, Debug)]
pub struct Topic {
    /// What `help` calls it.
    pub name: &'static str,
    /// What it tells, in a few words.
    pub about: &'static str,
    /// The page as it is kept.
    pub markdown: &'static str,
}

macro_rules! topic {
    ($name:literal, $about:literal) => {
        Topic { name: $name, about: $about, markdown: include_str!(concat!("../../guide/", $name, ".md")) }
    };
}

/// Every page, in the order in which a new reader wants them.
pub const TOPICS: &[Topic] = &[
    topic!("morning", "A morning at each station: what is scanned, pressed, answered"),
    topic!("foundry", "Your own foundry in an afternoon: people, limits, files, tags"),
    topic!("evidence", "Reading the evidence: q, interval, cannot be separated"),
    topic!("lotday", "Lot day: from what blocks a lot to the signed summary"),
    topic!("wrong", "When something goes wrong: wrong mould, run-out, lost card"),
    topic!("signing", "Signing a lot: what a signature here proves, and what not"),
    topic!("copies", "Copies, several terminals, several sites"),
    topic!("faults", "What may go wrong with the file, and what is promised then"),
    topic!("shell", "The command line: settings, completions, JSON, exit codes"),
    topic!("views", "Your own questions: the store in SQL, pandas, DuckDB"),
    topic!("fields", "Every record kind and its fields"),
    topic!("changes", "What changed for you, newest first, and what broke"),
    topic!("commands", "Every command and its options"),
];

/// The page of this name, whatever its case.
pub fn topic(name: &str) -> Option<&'static Topic> {
    TOPICS.iter().find(|t| t.name.eq_ignore_ascii_case(name))
}

/// What the field reference says of one kind, as a page of its own.
pub fn fields_of(kind: &str) -> Option<String> {
    let page = topic("fields")?.markdown;
    let (_, rest) = page.split_once(&format!("\n## {kind} ("))?;
    let section = rest.split("\n## ").next()?;
    let marks = "`*` belongs to the key, `?` may be blank, `n/a` or `illegible`; a number may be `<x`. Every kind \
                 also takes `recorded_at?`, `recorded_by?`, `note?`.";
    Some(format!("# {kind} ({}\n\n{marks}\n", section.trim_end()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_page_can_be_read_at_every_width() {
        for topic in TOPICS {
            for width in [20, 40, 72, 80, 100, 200] {
                let rows = rows(topic.markdown, width);
                assert_eq!(rows[0].look, Look::Title, "{}", topic.name);
                let wide = rows.iter().find(|r| {
                    r.look != Look::Typed && unicode_width::UnicodeWidthStr::width(r.text.as_str()) > width
                });
                assert!(wide.is_none() || width < 40, "{} at {width}: {wide:?}", topic.name);
            }
        }
    }
}
