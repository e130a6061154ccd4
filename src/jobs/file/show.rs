//! What the work on files came to, as text.

use crate::jobs::causes::show::small;
use crate::jobs::file::bundle::{FileFault, Imported};
use crate::jobs::file::demo::{DemoStory, Suspicion};
use crate::jobs::file::restore::RestoreReport;
use crate::jobs::file::verified::VerifyReport;
use crate::show::columns;
use knowledge::causes::BladeGroup;
use records::value::tag::shown;

impl FileFault {
    /// One line for a terminal.
    pub fn text(&self) -> String {
        let mut out = shown(&self.file).into_owned();
        if self.line > 0 {
            out.push_str(&format!(" line {}", self.line));
        }
        if !self.column.is_empty() {
            out.push_str(&format!(", {}", shown(&self.column)));
        }
        if !self.value.is_empty() {
            out.push_str(&format!(" = {}", shown(&brief(&self.value))));
        }
        out.push_str(&format!(": {}", shown(&self.message)));
        out
    }
}

/// A value of which nobody reads more on a line.
fn brief(value: &str) -> String {
    const LETTERS: usize = 200;
    match value.char_indices().nth(LETTERS) {
        Some((at, _)) => format!("{}… ({} letters)", &value[..at], value.chars().count()),
        None => value.to_string(),
    }
}

impl Imported {
    /// Records by kind, remarks, and the verdict. `check`: nothing was to be written.
    pub fn text(&self, check: bool) -> String {
        let n: usize = self.records.values().sum();
        let verdict = match (self.faults.len(), check) {
            (0, true) => "nothing is wrong; nothing was written (--check)".to_string(),
            (0, false) if self.proposals > 0 => format!(
                "wrote {n} records; {} kept as proposals, which quality decides: meltkin proposals",
                self.proposals
            ),
            (0, false) => format!("wrote {n} records"),
            (f, _) => format!("{f} faults; nothing was written"),
        };
        let kinds: Vec<Vec<String>> =
            self.records.iter().map(|(k, n)| vec![format!("  {k}"), n.to_string()]).collect();
        let remarks: String = self.remarks.iter().map(|r| format!("  {}\n", shown(r))).collect();
        format!("{}{remarks}{verdict}, {} unchanged", columns(&kinds), self.unchanged)
    }
}

impl RestoreReport {
    /// For a terminal.
    pub fn text(&self) -> String {
        let mut out = format!(
            "restored {} from {}: {} journal entries, head {}\n",
            self.store, self.restored, self.entries, self.head
        );
        if let (Some(head), Some(kept)) = (&self.replaced_head, &self.kept) {
            out.push_str(&format!("replaced the store with head {head}; it is kept as {kept}\n"));
        }
        match self.dropped {
            0 => {}
            1 => out.push_str("1 entry of it is not in the copy\n"),
            n => out.push_str(&format!("{n} entries of it are not in the copy\n")),
        }
        out
    }
}

impl DemoStory {
    pub fn text(&self) -> String {
        let mut out = format!(
            "Invented data. The parentage of one rejected blade:\n\n{}\n\nWhat goes along with its defect, over all blades:\n\n{}",
            self.trace.text().trim_end(),
            self.ranked.trim_end()
        );
        if let Some(suspected) = &self.suspected {
            out.push_str(&format!("\n\n{}\n", suspected.text()));
        }
        out
    }
}

impl Suspicion {
    /// What is true of it, and what would have to be poured to know.
    pub fn text(&self) -> String {
        let (cause, same) = (&self.cause, &self.same_heats);
        let level = shown(cause.level.as_deref().unwrap_or_default());
        let of = |group: &BladeGroup| format!("{} of {}", group.with, group.blades);
        let verdict = if cause.flagged { cause.wording } else { "suspected, not shown" };
        let mut out = format!(
            "Another lot of which everybody talks, {verdict}: {} = {level}, for {}.\n\
             - {} blades below it against {} elsewhere; {} moulds stand behind it.\n\
             - By its own test so much comes by chance about once in {:.0} such histories; with the {} factors that were \
             tried allowed for, q is {}.\n\
             - In the other moulds of the same heats it is {}.\n",
            shown(&cause.factor),
            shown(&self.defect),
            of(&cause.inside),
            of(&cause.outside),
            cause.inside.moulds,
            1.0 / cause.p.max(1e-6),
            self.tests,
            small(cause.q),
            of(&same.b.group),
        );
        if let Some(needed) = &same.figures.needed {
            out.push_str(&format!(
                "- To know: pour about {} moulds from a pot made like it beside as many from another, in the same heats \
                 (one-sided 5 %, power 80 %). Until then hold what came of it.\n",
                needed.moulds_per_arm
            ));
        }
        out.push_str("- Association, not cause: look at the pot before anybody writes to its maker.");
        out
    }
}

impl VerifyReport {
    /// Faults first, then the verdict.
    pub fn text(&self) -> String {
        let mut out = String::new();
        for f in &self.found.faults {
            let tag = f.tag.as_deref().map(|t| format!(" {}", shown(t))).unwrap_or_default();
            out.push_str(&format!("FAULT {}{tag}: {}\n", f.table, shown(&f.message)));
        }
        for odd in &self.found.odd_tags {
            out.push_str(&format!("tag refused today: {}\n", odd.text()));
        }
        out.push_str(&format!(
            "{}: {} journal entries, {} rows compared\nhead {}\n",
            if self.ok { "whole" } else { "NOT TO BE TRUSTED" },
            self.entries,
            self.rows,
            self.head
        ));
        if self.clock_given {
            out.push_str(&format!("{}\n", records::CLOCK_SAID));
        }
        if let Some(at) = self.anchored_at {
            out.push_str(&format!("the anchor is entry {at}: everything before it is unchanged\n"));
        }
        out
    }
}
