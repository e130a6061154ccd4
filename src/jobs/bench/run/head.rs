//! What is said once, as a small form: rows, the cursor, what is proposed. Pure state.

use std::collections::BTreeMap;

use crate::jobs::bench::run::record::Texts;
use crate::jobs::bench::run::table::{Finds, Run};
use crate::jobs::lots::ask::product;
use crate::jobs::records::forms::form_start;
use crate::ui::form::{Form, Origin};
use records::catalogue::Inspections;
use records::value::tag::folded;
use records::{Result, Stamp, Store};

/// What a head is proposed from: the last record of its kind; of each method the last inspection by it.
#[derive(Clone, Debug, Default)]
pub struct Proposed {
    last: Texts,
    by_method: BTreeMap<String, Texts>,
}

/// What goes with the method; the first with the person who reads as well.
const OF_METHOD: [&str; 3] =
    [Inspections::technique.name, Inspections::class.name, Inspections::instrument.name];

/// So many of the newest inspections say what goes with each method.
const LATELY: usize = 300;

/// Reads what the head of a run is proposed from. The method is that of this person's own last inspection, the technique
/// that of their last by the method: how somebody else reads is theirs. The purpose is never taken over: a study is said
/// each time.
pub fn proposed(store: &Store, run: &Run, person: Option<&str>) -> Result<Proposed> {
    let mut out = Proposed { last: form_start(store, run.line)?.last, ..Proposed::default() };
    if run.finds != Finds::Inspection {
        return Ok(out);
    }
    let mut own: Option<Texts> = None;
    let is_own = |by: &str| person.is_some_and(|p| folded(p) == folded(by));
    // How a study was read is no word on how the product is.
    for inspection in store.newest::<Inspections>(LATELY)?.iter().filter(|i| product(i)) {
        let texts = |names: &[&'static str]| -> Texts {
            let text = |name: &&'static str| (name.to_string(), inspection.view().record.get(name).to_text());
            names.iter().map(text).collect()
        };
        let by = inspection.cell(Inspections::person).to_text();
        if own.is_none() && is_own(&by) {
            own = Some(texts(&[Inspections::method.name]));
        }
        let method = inspection.cell(Inspections::method).to_text();
        let of_method = out.by_method.entry(method).or_default();
        let names: &[&'static str] = if is_own(&by) { &OF_METHOD } else { &OF_METHOD[1..] };
        for (name, text) in texts(names) {
            if !of_method.iter().any(|(n, _)| *n == name) {
                of_method.push((name, text));
            }
        }
    }
    out.last = own.unwrap_or_default();
    Ok(out)
}

/// The head while it is filled in.
pub struct Head {
    pub form: Form,
    run: &'static Run,
    proposed: Proposed,
    method: String,
}

impl Head {
    pub fn new(run: &'static Run, given: &[(String, String)]) -> Self {
        let mut form = Form::new(run.line, given);
        form.rows.retain(|row| run.head.contains(&row.name()));
        form.at = 0;
        let mut head = Self { form, run, proposed: Proposed::default(), method: String::new() };
        head.form.at = head.next_blank(0);
        head
    }

    /// Takes what is proposed, and who works here.
    pub fn start(&mut self, proposed: Proposed, person: Option<&str>) {
        let untouched = !self.form.touched();
        self.form.start(&[], &proposed.last, person);
        for name in self.run.proposed {
            let text = proposed.last.iter().find(|(n, _)| n == name).map(|(_, t)| t.as_str());
            let text = text.filter(|t| !matches!(*t, "" | "n/a" | "illegible"));
            if let (Some(text), true) = (text, self.form.text(name).is_empty()) {
                self.form.set(name, text, Origin::Carried);
            }
        }
        self.proposed = proposed;
        self.method = String::new();
        self.follow();
        if untouched {
            self.form.at = self.next_blank(0);
        }
    }

    /// What goes with another method follows it; what somebody typed stays.
    pub fn follow(&mut self) {
        let method = self.form.text(Inspections::method.name).to_string();
        if self.run.finds != Finds::Inspection || method == self.method {
            return;
        }
        self.method.clone_from(&method);
        let of_method = self.proposed.by_method.get(&method).cloned().unwrap_or_default();
        for name in OF_METHOD {
            let typed =
                self.form.row(name).is_some_and(|r| matches!(r.origin, Origin::Typed | Origin::Scanned));
            let text = of_method.iter().find(|(n, _)| n == name).map_or("", |(_, t)| t.as_str());
            if !typed {
                self.form.set(name, text, Origin::Carried);
            }
        }
    }

    /// The next blank row that must be filled; the line to begin where there is none.
    pub fn next_blank(&self, from: usize) -> usize {
        let rows = self.form.rows.iter().enumerate().skip(from);
        let mut open = rows.filter(|(_, r)| r.text.is_empty() && (!r.optional() || r.name() == "person"));
        let found = |name: &str| self.run.found.contains(&name);
        open.find(|(_, r)| !found(r.name())).map_or(self.form.rows.len(), |(i, _)| i)
    }

    /// The head as it stands, where every row can be meant.
    ///
    /// # Errors
    /// The sentence of the first row that cannot.
    pub fn accept(&mut self, now: Stamp) -> std::result::Result<Texts, String> {
        let mut out = Texts::new();
        for i in 0..self.form.rows.len() {
            let clock = self.form.clock(now);
            let row = &mut self.form.rows[i];
            let text = row.resolved(clock);
            let found = text.is_empty() && self.run.found.contains(&row.name());
            row.fault = match row.understood(clock) {
                Some(Err(fault)) => Some(fault),
                _ if found => None,
                _ => row.value(&text).err(),
            };
            if let Some(fault) = &row.fault {
                self.form.at = i;
                return Err(format!("{} {fault}", row.label()));
            }
            if !text.is_empty() {
                out.push((row.name().to_string(), text));
            }
        }
        if !self.form.answered.is_empty() {
            out.push((records::catalogue::Coats::note.name.into(), self.form.answered.clone()));
        }
        Ok(out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::jobs::bench::run::table::{RUNS, inspection};
    use records::catalogue::{Coats, Method};

    fn now() -> Stamp {
        Stamp::parse("2031-05-26T08:00:00+00:00").unwrap()
    }

    fn texts(all: &[(&str, &str)]) -> Texts {
        all.iter().map(|(n, t)| (n.to_string(), t.to_string())).collect()
    }

    fn tray() -> Head {
        let penetrant = texts(&[("technique", "PT-4"), ("class", "2"), ("instrument", "UV-01")]);
        let visual = texts(&[("technique", "VT-2"), ("class", ""), ("instrument", "")]);
        let by_method = [("penetrant".to_string(), penetrant), ("visual".to_string(), visual)].into();
        let last =
            texts(&[("method", "penetrant"), ("technique", "PT-4"), ("person", "OP-22"), ("round", "2")]);
        let mut head = Head::new(inspection(), &[]);
        head.start(Proposed { last, by_method }, Some("OP-23"));
        head
    }

    #[test]
    fn a_tray_starts_from_the_last_one_but_never_with_its_person_or_round() {
        let mut head = tray();
        let all = head.accept(now()).unwrap();
        let wanted = [
            ("method", "penetrant"),
            ("technique", "PT-4"),
            ("class", "2"),
            ("person", "OP-23"),
            ("instrument", "UV-01"),
        ];
        assert_eq!(all, texts(&wanted));
    }

    #[test]
    fn what_goes_with_a_method_follows_it_and_what_was_typed_stays() {
        let mut head = tray();
        head.form.set("technique", "PT-9", Origin::Typed);
        head.form.set("method", Method::Visual.word(), Origin::Typed);
        head.follow();
        assert_eq!((head.form.text("technique"), head.form.text("instrument")), ("PT-9", ""));
        head.form.set("method", Method::Grain.word(), Origin::Typed);
        head.follow();
        assert_eq!(head.form.text("class"), "", "nothing is known of that method");
    }

    #[test]
    fn a_head_that_lacks_something_says_what() {
        let coats = RUNS.iter().find(|r| r.line.is::<Coats>()).unwrap();
        let mut head = Head::new(coats, &[]);
        assert!(head.accept(now()).unwrap_err().contains("must be filled"));
        head.form.set("slurry_batch", "PS31-05", Origin::Scanned);
        assert_eq!(head.accept(now()).unwrap(), texts(&[("slurry_batch", "PS31-05")]));
        head.form.set("room_c", "warm", Origin::Typed);
        assert!(head.accept(now()).is_err());
        assert_eq!(head.form.chosen().map(|r| r.name()), Some("room_c"));
    }
}
