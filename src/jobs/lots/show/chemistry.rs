//! Chemistry beside its limits.

use crate::jobs::lots::summary::{Chemistry, LotSummary, TextTable};

/// So many analyses stand side by side on a page.
const ABREAST: usize = 6;

const NOTE: &str = "OUTSIDE: what lifts it. ?: undecided, or no limit.";

fn title(purpose: &str) -> &'static str {
    match purpose {
        "maker" => "Chemistry, maker's certificate",
        "check" => "Chemistry, check analysis",
        _ => "Chemistry, no analysis on record",
    }
}

impl Chemistry {
    /// By what an element outside its limits is lifted.
    fn why(&self, element: &str) -> &str {
        self.lifted.get(element).map_or("", String::as_str)
    }

    fn cell(&self, element: &str, unit: &str) -> String {
        let mut of = self.elements.iter().filter(|e| e.0 == element && e.3 == unit);
        of.next().map_or(String::new(), |(_, value, _, _, ok)| {
            // A whole number stands as it was written, without the point of a JSON number.
            let value = value.strip_suffix(".0").unwrap_or(value);
            match ok {
                Some(true) => value.to_string(),
                Some(false) => format!("{value} OUTSIDE, {}", self.why(element)),
                None => format!("{value} ?"),
            }
        })
    }
}

impl LotSummary {
    /// A row for each analysis: one table for each purpose and set of elements, to be filtered and sorted.
    pub fn chemistry_sheets(&self) -> Vec<TextTable> {
        let mut out: Vec<TextTable> = Vec::new();
        for c in &self.chemistry {
            let title = format!("{}, against {}", title(c.purpose), c.alloy);
            let mut head = vec!["record".to_string(), "analysis".into()];
            let mut limits = vec!["limits".to_string(), String::new()];
            for (name, _, range, unit, _) in &c.elements {
                head.push(format!("{name} {unit}"));
                limits.push(range.clone());
            }
            let mut row = vec![c.subject.clone(), c.analysis.clone().unwrap_or_else(|| "none".into())];
            row.extend(c.elements.iter().map(|(name, _, _, unit, _)| c.cell(name, unit)));
            match out.iter_mut().find(|s| s.title == title && s.rows.first() == Some(&head)) {
                Some(sheet) => sheet.rows.push(row),
                None => out.push(TextTable { title, note: NOTE.into(), rows: vec![head, limits, row] }),
            }
        }
        out
    }

    /// For reading: elements down, each beside its limits, analyses across.
    pub fn chemistry_down(&self) -> Vec<TextTable> {
        let mut groups: Vec<(String, Vec<&Chemistry>)> = Vec::new();
        for c in &self.chemistry {
            let title = format!("{}, against {}", title(c.purpose), c.alloy);
            match groups.iter_mut().find(|g| g.0 == title) {
                Some(g) => g.1.push(c),
                None => groups.push((title, vec![c])),
            }
        }
        let mut out = Vec::new();
        for (title, all) in groups {
            if all.iter().all(|c| c.elements.is_empty()) {
                let records = all.iter().map(|c| [c.subject.clone()]);
                out.push(TextTable::new(&title, "", ["record"], records));
                continue;
            }
            let tables = all.len().div_ceil(ABREAST);
            for (i, some) in all.chunks(ABREAST).enumerate() {
                let of = if tables > 1 { format!(" ({} of {tables})", i + 1) } else { String::new() };
                out.push(down(format!("{title}{of}"), some));
            }
        }
        out
    }
}

fn down(title: String, all: &[&Chemistry]) -> TextTable {
    let mut head = ["element", "unit", "limits"].map(String::from).to_vec();
    head.extend(all.iter().map(|c| format!("{} {}", c.subject, c.analysis.as_deref().unwrap_or("none"))));
    let mut elements: Vec<(&str, &str, &str)> = Vec::new();
    for (name, _, range, unit, _) in all.iter().flat_map(|c| &c.elements) {
        if !elements.contains(&(name, unit, range)) {
            elements.push((name, unit, range));
        }
    }
    let row = |(name, unit, range): &(&str, &str, &str)| {
        let cells = all.iter().map(|c| c.cell(name, unit));
        [*name, *unit, *range].map(String::from).into_iter().chain(cells).collect()
    };
    let rows = std::iter::once(head).chain(elements.iter().map(row)).collect();
    TextTable { title, note: NOTE.into(), rows }
}
