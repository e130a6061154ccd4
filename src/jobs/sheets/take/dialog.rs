//! The questions on a terminal, one a line: each has an answer for Enter where there is one, and can be taken back before
//! anything is written.

use std::io::{BufRead, Write};

use crate::jobs::sheets::ask::SheetFile;
use crate::jobs::sheets::take::open::{Open, set_columns};
use crate::jobs::sheets::take::plan::{Choices, Plan, plan};
use records::{Result, Store};

/// What a person reads and writes on.
pub(super) struct Terminal<'t> {
    pub(super) input: &'t mut dyn BufRead,
    pub(super) output: &'t mut dyn Write,
    /// What the clock of this place is called, for a shop that keeps the same: `Europe/Berlin`, or `+01:00`.
    pub(super) clock: String,
    /// Nothing is to be written.
    pub(super) check: bool,
    /// What was shown last of the sheet, and of what is proposed.
    pub(super) shown: (String, String),
}

/// A question of the dialogue.
#[derive(Debug, Clone, PartialEq)]
enum Question {
    Open(Open),
    /// Is it this kind?
    Kind,
    /// Are these the columns?
    Columns,
    /// They were, but for a change.
    Changed,
    /// The name that the mapping is kept under.
    Name,
    /// Shall it be written?
    Write,
}

const HELP: &str =
    "Enter takes the answer in brackets, < goes back, q leaves; nothing is written before the last question.";

impl Terminal<'_> {
    fn say(&mut self, text: &str) {
        // A terminal that is gone ends the reading as well.
        let _ = self.output.write_all(text.as_bytes());
        let _ = self.output.flush();
    }

    /// A line; none at the end.
    fn line(&mut self) -> Option<String> {
        let mut line = String::new();
        match self.input.read_line(&mut line) {
            Ok(0) | Err(_) => None,
            Ok(_) => Some(line.trim().to_string()),
        }
    }

    /// Asks until the person wants it written, or leaves. `tried` says what is wrong with it in this store.
    pub(super) fn ask(
        &mut self,
        store: &mut Store,
        file: &SheetFile,
        mut said: Choices,
        name: &dyn Fn(&Store, &Plan) -> String,
        tried: &mut dyn FnMut(&mut Store, &Plan) -> Result<Vec<String>>,
    ) -> Result<Option<(Choices, Plan)>> {
        said.unsure = true;
        let mut asked: Vec<(Question, Choices)> = Vec::new();
        let given = (said.kind.is_some(), said.name.is_some());
        self.say(&format!("{HELP}\n"));
        loop {
            let now = match plan(store, file, &said) {
                Ok(now) => now,
                Err(e) => {
                    let Some((_, before)) = asked.pop().filter(|_| e.is_input()) else { return Err(e) };
                    self.say(&format!("{}\n", e.sentence));
                    said = before;
                    continue;
                }
            };
            let question = next(&now, &asked, given);
            let faults = if question == Question::Write { tried(store, &now)? } else { Vec::new() };
            let (text, default) = self.put(store, &now, &question, &faults, name);
            if self.check && question == Question::Write {
                return Ok(Some((said, now)));
            }
            let shown = default.as_ref().map_or(String::new(), |d| format!(" [{d}]"));
            self.say(&format!("{text}{shown} "));
            let Some(line) = self.line() else { return Ok(None) };
            match line.as_str() {
                "q" => return Ok(None),
                "<" => {
                    match asked.pop() {
                        Some((_, before)) => said = before,
                        None => self.say("this is the first question\n"),
                    }
                    continue;
                }
                _ => {}
            }
            let Some(answer) = Some(line).filter(|l| !l.is_empty()).or(default) else {
                self.say("an answer is needed here\n");
                continue;
            };
            if question == Question::Write {
                match answer.as_str() {
                    "yes" | "y" if faults.is_empty() => return Ok(Some((said, now))),
                    "no" | "n" | "q" => return Ok(None),
                    _ => self.say("yes or no\n"),
                }
                continue;
            }
            let before = said.clone();
            match take(&question, &answer, &mut said) {
                Ok(asked_now) => asked.push((asked_now, before)),
                Err(wanted) => {
                    said = before;
                    self.say(&format!("{wanted}\n"));
                }
            }
        }
    }

    /// Shows what a question is about; its text and the answer that Enter gives.
    fn put(
        &mut self,
        store: &Store,
        now: &Plan,
        question: &Question,
        faults: &[String],
        name: &dyn Fn(&Store, &Plan) -> String,
    ) -> (String, Option<String>) {
        let some = |t: &str| Some(t.to_string());
        let sheet = now.as_read();
        if now.look.header > 0 && sheet != self.shown.0 && !matches!(question, Question::Columns) {
            self.say(&format!("\n{sheet}"));
            self.shown.0 = sheet;
        }
        match question {
            Question::Changed => (String::new(), None),
            Question::Open(open) => open.question(&self.clock),
            Question::Kind => {
                let others = match now.kinds.get(1..) {
                    Some(more) if !more.is_empty() => format!(" (or {})", more.join(", ")),
                    _ => String::new(),
                };
                (format!("Which kind of record is a row{others}?"), some(&now.mapping.kind))
            }
            Question::Columns => {
                let proposed = now.proposal();
                if proposed != self.shown.1 {
                    self.say(&format!("\n{proposed}"));
                    self.shown.1 = proposed;
                }
                ("Are these the columns? FIELD=COLUMN sets one, FIELD= takes it away".into(), some("yes"))
            }
            Question::Name => ("The mapping is kept under the name?".into(), Some(name(store, now))),
            Question::Write => {
                self.say(&format!("\n{}", now.records()));
                match faults {
                    [] => (format!("Write {} records of {}?", now.rows, now.mapping.kind), some("yes")),
                    faults => {
                        self.say(&format!("{}\n", faults.join("\n")));
                        ("Nothing can be written as it is. < goes back, q leaves".into(), some("q"))
                    }
                }
            }
        }
    }
}

/// The first question that is open; what is proposed is looked at once.
fn next(now: &Plan, asked: &[(Question, Choices)], (kind, name): (bool, bool)) -> Question {
    let was = |q: &Question| asked.iter().any(|(a, _)| a == q);
    match now.open.first() {
        Some(open @ (Open::Sheet(_) | Open::Table(_) | Open::Kind(_))) => {
            return Question::Open(open.clone());
        }
        _ if !kind
            && !was(&Question::Kind)
            && !asked.iter().any(|(a, _)| matches!(a, Question::Open(Open::Kind(_)))) =>
        {
            return Question::Kind;
        }
        _ if !was(&Question::Columns) => return Question::Columns,
        Some(open) => return Question::Open(open.clone()),
        None => {}
    }
    if name || was(&Question::Name) { Question::Write } else { Question::Name }
}

/// Takes an answer over; what was settled by it.
fn take(question: &Question, answer: &str, said: &mut Choices) -> std::result::Result<Question, String> {
    match question {
        Question::Open(open) => open.answer(answer, said)?,
        Question::Kind => Open::Kind(Vec::new()).answer(answer, said)?,
        Question::Columns if matches!(answer, "yes" | "y") => {}
        Question::Columns => {
            set_columns(answer, said)?;
            return Ok(Question::Changed);
        }
        Question::Name => said.name = Some(answer.to_string()),
        Question::Changed | Question::Write => {}
    }
    Ok(question.clone())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::jobs::sheets::ask::{Mapping, Order};

    const BOOK: &str = "Filter notebook;;;;\nBox;Came in;Pores;Got;Remark\nFL-1;3.2.2031 9:30;10,5;1.200;\n\
                        FL-2;4.2.2031 9:00;10;-;lid open\n";

    /// What comes of these answers, and everything that was said.
    fn told(sheet: &str, answers: &[&str]) -> (Option<(Choices, Plan)>, String) {
        let folder = tempfile::TempDir::new().unwrap();
        let path = folder.path().join("filters.csv");
        std::fs::write(&path, sheet).unwrap();
        let file = SheetFile::read(&path).unwrap();
        let mut store = Store::memory().unwrap();
        let (mut input, mut output) = (std::io::Cursor::new(answers.join("\n") + "\n"), Vec::new());
        let mut terminal = Terminal {
            input: &mut input,
            output: &mut output,
            clock: "+01:00".into(),
            check: false,
            shown: (String::new(), String::new()),
        };
        let name = |_: &Store, _: &Plan| "filters".to_string();
        let done =
            terminal.ask(&mut store, &file, Choices::default(), &name, &mut |_, _| Ok(Vec::new())).unwrap();
        (done, String::from_utf8(output).unwrap())
    }

    fn mapping(answers: &[&str]) -> Mapping {
        let (done, said) = told(BOOK, answers);
        done.unwrap_or_else(|| panic!("{answers:?}: {said}")).1.mapping
    }

    #[test]
    fn enter_takes_what_is_proposed() {
        // Kind, columns, order of dates, clock, thousands, name, write.
        let (done, said) = told(BOOK, &["filter_lots", "received_count=Got", "", "", "", "", "", ""]);
        let (choices, plan) = done.unwrap();
        let taken = |field: &str| plan.mapping.columns.iter().find(|c| c.0 == field).map(|c| c.1.as_str());
        assert_eq!(taken("filter_lot"), Some("Box"));
        assert_eq!((taken("received_at"), taken("received_count")), (Some("Came in"), Some("Got")));
        assert_eq!((taken("ppi"), taken("note")), (Some("Pores"), Some("Remark")));
        assert_eq!(
            (plan.mapping.header, plan.mapping.habits.blanks.as_slice()),
            (2, ["-".to_string()].as_slice())
        );
        assert_eq!(plan.mapping.habits.dates, Some(Order::DayFirst));
        assert_eq!(plan.mapping.habits.offset.as_deref(), Some("+01:00"));
        assert_eq!((choices.name.as_deref(), plan.rows), (Some("filters"), 2));
        // 1.200 beside 10,5: the person says that it is a thousand and more.
        assert!(plan.first[0].contains(&("received_count".into(), "1200".into())), "{:?}", plan.first);
        assert!(
            plan.first[0].contains(&("received_at".into(), "2031-02-03T09:30:00+01:00".into())),
            "{:?}",
            plan.first
        );
        for part in [
            "titles in row 2, 2 rows below",
            "2031-02-03 or 2031-03-02",
            "Write 2 records of filter_lots? [yes]",
        ] {
            assert!(said.contains(part), "{part}: {said}");
        }
    }

    #[test]
    fn an_answer_is_taken_back_before_anything_is_written() {
        let to_dates = ["filter_lots", "received_count=Got", ""];
        let first = mapping(&[&to_dates[..], &["", "", "", "", ""]].concat());
        // The order of dates, and again; the clock, and both again.
        for (detour, order) in [
            (&["month-first", "<", "day-first", "", "", "", ""][..], Order::DayFirst),
            (&["day-first", "+02:00", "<", "<", "month-first", "", "", "", ""][..], Order::MonthFirst),
        ] {
            let by = mapping(&[&to_dates[..], detour].concat());
            assert_eq!(by.habits.dates, Some(order));
            assert_eq!((&by.columns, by.habits.offset.as_deref()), (&first.columns, Some("+01:00")));
        }
        // A change of the columns alone is taken back alone.
        let by = mapping(&["filter_lots", "received_count=Got", "note=", "<", "", "", "", "", "", ""]);
        assert_eq!(by.columns, first.columns);
        // From the last question back to the name.
        let done = told(BOOK, &[&to_dates[..], &["", "", "", "a", "<", "b", "yes"]].concat()).0.unwrap();
        assert_eq!(done.0.name.as_deref(), Some("b"));
    }

    #[test]
    fn what_is_no_answer_is_asked_again_and_leaving_leaves() {
        let (done, said) =
            told(BOOK, &["castings", "filter_lots", "nothing", "mud=Box", "", "maybe", "", "Berlin", "q"]);
        assert!(done.is_none());
        for part in [
            "castings",
            "nothing is not FIELD=COLUMN",
            "no field mud",
            "day-first or month-first\n",
            "did you mean Europe/Berlin",
        ] {
            assert!(said.contains(part), "{part}: {said}");
        }
        for left in [&["q"][..], &["filter_lots"], &[]] {
            assert!(told(BOOK, left).0.is_none());
        }
    }

    #[test]
    fn one_of_several_tables_and_a_value_for_every_row() {
        let two = "Filters;;;Zones;\nBox;Got;;Zone;Name\nFL-1;3;;1;root\nFL-2;4;;;\n";
        let (done, said) =
            told(two, &["1", "filter_lots", "received_count=Got", "", "", "2031-02-03T09:00:00Z", "", "yes"]);
        let by = done.unwrap().1.mapping;
        assert!(said.contains("1: Filters (A2:B4), 2: Zones (D2:E3)"), "{said}");
        assert!(said.contains("an answer is needed here"), "{said}");
        assert_eq!(by.table.as_deref(), Some("Filters"));
        assert_eq!(by.fill, [("received_at".to_string(), "2031-02-03T09:00:00Z".to_string())]);
    }
}
