//! What a sheet would be taken over as, as text.

use crate::cli::sheet_hints::quoted;
use crate::jobs::sheets::take::plan::Plan;
use records::value::tag::shown;
use records::value::words::counted;

impl Plan {
    /// The sheet as it was read, and what is proposed.
    pub fn text(&self) -> String {
        self.as_read() + &self.proposal()
    }

    /// The sheet as it was read, and the mappings that were made for such a one.
    pub(super) fn as_read(&self) -> String {
        let mut out = self.look.as_read("");
        for (name, kind) in &self.fits {
            let name = shown(name);
            out.push_str(&format!(
                "the mapping {name} ({kind}) fits it: meltkin import FILE --mapping {name}\n"
            ));
        }
        out
    }

    /// What is proposed, and of what nobody can be sure.
    pub(super) fn proposal(&self) -> String {
        if self.mapping.kind.is_empty() {
            return String::new();
        }
        let mut out = format!("as {}\n", self.mapping.kind);
        for (field, column) in &self.mapping.columns {
            let taken = self.unsure.iter().any(|u| u.0 == *field);
            out.push_str(&format!(
                "  {field} = {}{}\n",
                shown(column),
                if taken { " ? (not sure)" } else { "" }
            ));
        }
        for (field, value) in &self.mapping.fill {
            out.push_str(&format!("  {field} = {} in every row\n", shown(value)));
        }
        if let Some(pattern) = &self.mapping.tag {
            out.push_str(&format!("  tags by {}\n", shown(pattern)));
        }
        let left = self.unsure.iter().filter(|u| self.mapping.columns.iter().all(|c| c.0 != u.0));
        for (field, column) in left {
            let option = format!("{field}={}", quoted(column));
            out.push_str(&format!("  {} is not taken; it may be {field}: {option}\n", shown(column)));
        }
        for blank in &self.mapping.habits.blanks {
            out.push_str(&format!("  {} stands where nothing is recorded\n", shown(blank)));
        }
        out
    }

    /// The first records as they would be written, and what would be left out.
    pub fn records(&self) -> String {
        let mut out = String::new();
        if !self.first.is_empty() {
            let of = counted(self.rows, "record");
            out.push_str(&format!("the first of {of}, as they would be written:\n"));
        }
        for record in &self.first {
            let cells: Vec<String> = record.iter().map(|(f, v)| format!("{f}={}", quoted(v))).collect();
            out.push_str(&format!("  {}\n", cells.join(" ")));
        }
        for remark in &self.remarks {
            out.push_str(&format!("  {}\n", shown(remark)));
        }
        out
    }
}
