//! The summary for a terminal.

use crate::jobs::lots::grouped;
use crate::jobs::lots::summary::LotSummary;
use crate::show::columns;
use records::value::tag::shown;
use records::value::words::counted;

impl LotSummary {
    pub fn text(&self) -> String {
        let mut out = format!("{}  lot acceptance summary {}\n", self.mark(), shown(&self.lot));
        if let Some(of) = &self.papers.letterhead {
            out.push_str(&format!("{}; {}\n", shown(&of.name), shown(&self.document())));
        }
        for (i, line) in self.release_lines().iter().enumerate() {
            out.push_str(&format!("{}{}\n", if i == 0 { "" } else { "  " }, shown(line)));
        }
        if !self.reasons.is_empty() {
            out.push_str(&format!("may not go, for {}:\n", counted(self.reasons.len(), "reason")));
            out.push_str(&grouped::table(&self.reasons));
        }
        out.push('\n');
        let cell = |s: &str| shown(s).into_owned();
        let heading = self.heading_rows().into_iter().map(|(n, v)| vec![format!("  {n}"), cell(&v)]);
        let counts = self.count_rows().into_iter().map(|(n, v)| vec![format!("  {n}"), v]);
        out.push_str(&columns(&heading.chain(counts).collect::<Vec<_>>()));
        for line in self.papers.statement.iter().chain(&self.reconciliation) {
            out.push_str(&format!("  {}\n", shown(line)));
        }
        for sheet in self.tables().iter().filter(|s| s.rows.len() > 1) {
            out.push_str(&format!("\n{}\n", shown(&sheet.title)));
            let rows: Vec<Vec<String>> = sheet
                .rows
                .iter()
                .map(|r| {
                    let mut cells: Vec<String> = r.iter().map(|c| cell(c)).collect();
                    if let Some(first) = cells.first_mut() {
                        first.insert_str(0, "  ");
                    }
                    cells
                })
                .collect();
            out.push_str(&columns(&rows));
        }
        for (title, lines) in self.said() {
            let (first, rest) = title.split_at(1);
            out.push_str(&format!("\n{}{rest}\n", first.to_lowercase()));
            for line in lines {
                out.push_str(&format!("  {}\n", shown(&line)));
            }
        }
        out.push_str(&format!(
            "\njournal head {} ({} entries)\ncontent {}\n",
            self.journal_head, self.journal_entries, self.content
        ));
        for c in &self.cautions {
            out.push_str(&format!("{}\n", shown(c)));
        }
        out
    }
}
