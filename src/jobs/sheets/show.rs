//! What a sheet holds, and the commands that map it, as text.

use crate::cli::sheet_hints::quoted;
use crate::jobs::sheets::ask::{Mapping, Order, SheetLook};
use crate::show::columns;
use records::value::tag::shown;
use records::value::words::counted;

impl SheetLook {
    /// The sheet as it was read: its columns with their first values, its tables, what was left out.
    /// `mark` stands behind a field that a column may be.
    pub(crate) fn as_read(&self, mark: &str) -> String {
        let sheet =
            if self.sheet.is_empty() { String::new() } else { format!("sheet {}, ", shown(&self.sheet)) };
        let header = rows(self.header, self.header_to);
        let mut out =
            format!("{sheet}titles in row {header}, {} below\n", counted(self.rows as usize, "row"));
        let rows: Vec<Vec<String>> = self
            .columns
            .iter()
            .map(|c| {
                let values: Vec<_> = c.values.iter().map(|v| shown(v)).collect();
                let field = c.field.as_ref().map_or(String::new(), |f| format!("{f}{mark}"));
                vec![format!("  #{}", c.letter), title(&c.title), field, values.join(" | ")]
            })
            .collect();
        out.push_str(&columns(&rows));
        for (n, table) in (1..).zip(&self.tables) {
            out.push_str(&format!("  table {n}: {table}\n"));
        }
        for remark in &self.remarks {
            out.push_str(&format!("  {}\n", shown(remark)));
        }
        out
    }

    /// For a terminal.
    pub fn text(&self) -> String {
        let mut out = self.as_read("?");
        let header = rows(self.header, self.header_to);
        let Some(kind) = &self.kind else {
            out.push_str(
                "--kind KIND says what a kind of record asks for; meltkin help fields lists the kinds\n",
            );
            return out;
        };
        out.push_str(&format!(
            "{kind}: must have {}; may have {}\n",
            self.must.join(", "),
            self.may.join(", ")
        ));
        let mut fields: Vec<String> = Vec::new();
        for column in self.columns.iter().filter(|c| c.field.is_some()) {
            let field = column.field.as_deref().unwrap_or_default();
            let called =
                if column.title.is_empty() { format!("#{}", column.letter) } else { column.title.clone() };
            match fields.iter_mut().find(|f| f.starts_with(&format!("{field}="))) {
                Some(first) => first.push_str(&format!("+{}", quoted(&called))),
                None => fields.push(format!("{field}={}", quoted(&called))),
            }
        }
        let open = self.must.iter().filter(|m| self.columns.iter().all(|c| c.field.as_deref() != Some(**m)));
        fields.extend(open.map(|m| format!("{m}=COLUMN")));
        out.push_str(&format!("meltkin sheet map NAME {kind} --header {header} {}\n", fields.join(" ")));
        out
    }
}

/// `2`, or `2-3`.
fn rows(from: u32, to: Option<u32>) -> String {
    to.map_or(from.to_string(), |to| format!("{from}-{to}"))
}

fn title(text: &str) -> String {
    if text.is_empty() { "(no title)".into() } else { shown(text).into_owned() }
}

/// The command that would make it again.
pub(crate) fn as_command(name: &str, mapping: &Mapping) -> String {
    let header = rows(mapping.header, mapping.header_to);
    let mut out = format!("meltkin sheet map {name} {} --header {header}", mapping.kind);
    let mut option = |name: &str, value: String| out.push_str(&format!(" --{name} {}", quoted(&value)));
    mapping.sheet.iter().for_each(|s| option("sheet", s.clone()));
    mapping.table.iter().for_each(|t| option("table", t.clone()));
    mapping.fill.iter().for_each(|(f, v)| option("fill", format!("{f}={v}")));
    mapping.words.iter().for_each(|(f, theirs, ours)| option("word", format!("{f}:{theirs}={ours}")));
    mapping.only.iter().for_each(|f| option("only", f.clone()));
    mapping.tag.iter().for_each(|t| option("tag", t.clone()));
    mapping.habits.blanks.iter().for_each(|b| option("blank", b.clone()));
    let order = |o: Order| if o == Order::DayFirst { "day-first" } else { "month-first" };
    mapping.habits.dates.iter().for_each(|o| option("dates", order(*o).into()));
    mapping.habits.offset.iter().for_each(|o| option("offset", o.clone()));
    mapping.habits.zone.iter().for_each(|z| option("zone", z.clone()));
    mapping.habits.hour.iter().for_each(|h| option("hour", h.clone()));
    if mapping.habits.decimal_comma {
        out.push_str(" --decimal-comma");
    }
    if mapping.habits.thousands {
        out.push_str(" --thousands");
    }
    for (field, column) in &mapping.columns {
        out.push_str(&format!(" {field}={}", quoted(column)));
    }
    out
}
