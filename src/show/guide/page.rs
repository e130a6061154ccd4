//! Markdown as the guide uses it, as rows of plain text: headings, paragraphs, lists, tables, and
//! blocks of what is typed. Nothing else of Markdown is read.

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// What a row is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    Title,
    Heading,
    Text,
    /// What is typed or stands in a file; never wrapped.
    Typed,
}

/// A row of the page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    pub look: Look,
    /// Its text, without marks.
    pub text: String,
}

/// A page at a width. Text is wrapped; what is typed stands as it is, two blanks in.
///
/// ```
/// use meltkin::show::guide::{Look, rows};
/// let page = rows("# Wax\n\nScan the *tray*, then\nthe lot.\n\n    meltkin shift\n", 40);
/// let text: Vec<&str> = page.iter().map(|r| r.text.as_str()).collect();
/// assert_eq!(text, ["Wax", "", "Scan the tray, then the lot.", "", "  meltkin shift"]);
/// assert_eq!(page[4].look, Look::Typed);
/// ```
pub fn rows(markdown: &str, width: usize) -> Vec<Row> {
    let width = width.max(20);
    let mut out = PageRows { rows: Vec::new(), width };
    let mut lines = markdown.lines().peekable();
    while let Some(line) = lines.next() {
        if line.starts_with("```") {
            out.gap();
            for typed in lines.by_ref().take_while(|l| !l.starts_with("```")) {
                out.push(Look::Typed, format!("  {typed}").trim_end().to_string());
            }
            out.gap();
        } else if let Some(typed) = line.strip_prefix("    ") {
            out.push(Look::Typed, format!("  {typed}"));
        } else if line.trim().is_empty() {
            out.gap();
        } else if let Some(title) = line.strip_prefix("# ") {
            out.gap();
            out.wrapped(Look::Title, "", "", &plain(title));
            out.gap();
        } else if line.starts_with("##") {
            out.gap();
            out.wrapped(Look::Heading, "", "", &plain(line.trim_start_matches('#').trim()));
        } else if line.starts_with('|') {
            let mut table = vec![cells(line)];
            while let Some(row) = lines.next_if(|l| l.starts_with('|')) {
                table.push(cells(row));
            }
            out.table(&table);
        } else {
            let (mark, first) = item(line);
            let mut text = first.to_string();
            // A picture is for readers with a browser.
            if text.starts_with("![") {
                continue;
            }
            while let Some(more) = lines.next_if(|l| goes_on(l, mark.is_empty())) {
                text.push(' ');
                text.push_str(more.trim());
            }
            let under = " ".repeat(mark.width());
            out.wrapped(Look::Text, mark, &under, &plain(&text));
        }
    }
    while out.rows.last().is_some_and(|r| r.text.is_empty()) {
        out.rows.pop();
    }
    out.rows
}

struct PageRows {
    rows: Vec<Row>,
    width: usize,
}

impl PageRows {
    fn push(&mut self, look: Look, text: String) {
        self.rows.push(Row { look, text });
    }

    /// One blank row, never two, none at the top.
    fn gap(&mut self) {
        if self.rows.last().is_some_and(|r| !r.text.is_empty()) {
            self.push(Look::Text, String::new());
        }
    }

    fn wrapped(&mut self, look: Look, first: &str, under: &str, text: &str) {
        let lines = wrap(text, self.width.saturating_sub(first.width()));
        for (i, line) in lines.into_iter().enumerate() {
            self.push(look, format!("{}{line}", if i == 0 { first } else { under }).trim_end().to_string());
        }
    }

    /// Columns side by side, the widest made narrower until all of them fit.
    fn table(&mut self, table: &[Vec<String>]) {
        let columns = table.iter().map(Vec::len).max().unwrap_or(0);
        let wide = |c: usize| table.iter().filter_map(|r| r.get(c)).map(|s| s.width()).max().unwrap_or(0);
        let mut widths: Vec<usize> = (0..columns).map(wide).collect();
        let room = self.width.saturating_sub(2 * columns.saturating_sub(1));
        while widths.iter().sum::<usize>() > room {
            let Some(widest) = (0..columns).max_by_key(|c| widths[*c]) else { return };
            if widths[widest] <= 6 {
                break;
            }
            widths[widest] -= 1;
        }
        let mut head = true;
        for row in table {
            if row.iter().all(|c| !c.is_empty() && c.chars().all(|c| "-: ".contains(c))) {
                let rule: Vec<String> = widths.iter().map(|w| "─".repeat(*w)).collect();
                self.push(Look::Text, rule.join("  "));
                head = false;
                continue;
            }
            let wrapped: Vec<Vec<String>> = row.iter().zip(&widths).map(|(cell, w)| wrap(cell, *w)).collect();
            for line in 0..wrapped.iter().map(Vec::len).max().unwrap_or(0) {
                let mut text = String::new();
                for (cell, w) in wrapped.iter().zip(&widths) {
                    let part = cell.get(line).map_or("", String::as_str);
                    text.push_str(part);
                    text.push_str(&" ".repeat(w.saturating_sub(part.width()) + 2));
                }
                self.push(if head { Look::Heading } else { Look::Text }, text.trim_end().to_string());
            }
        }
    }
}

/// Cells of a line of a table.
fn cells(line: &str) -> Vec<String> {
    let inner = line.trim().trim_start_matches('|');
    let inner = inner.strip_suffix('|').unwrap_or(inner);
    inner.split('|').map(|c| plain(c.trim())).collect()
}

/// The mark of a list's item, and what follows it.
fn item(line: &str) -> (&str, &str) {
    if let Some(rest) = line.strip_prefix("- ") {
        return ("- ", rest);
    }
    let digits = line.len() - line.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    if digits > 0 && line[digits..].starts_with(". ") {
        return line.split_at(digits + 2);
    }
    ("", line)
}

/// The line belongs to the paragraph, or to the list's item, before it.
fn goes_on(line: &str, paragraph: bool) -> bool {
    let own = line.trim().is_empty()
        || ["    ", "#", "|", "```"].iter().any(|mark| line.starts_with(mark))
        || !item(line).0.is_empty();
    !own && (paragraph || line.starts_with(' '))
}

/// Text without Markdown's marks; what stands between back-ticks is kept as it is.
fn plain(text: &str) -> String {
    let mut out = String::new();
    for (i, part) in text.split('`').enumerate() {
        if i % 2 == 1 {
            out.push_str(part);
            continue;
        }
        let part = part.replace("**", "").replace("\\*", "\u{1}");
        let mut rest = part.as_str();
        // *stress* loses its stars; a star alone stays.
        while let Some((before, after)) = rest.split_once('*') {
            out.push_str(before);
            match after.split_once('*') {
                Some((inside, behind)) if !inside.is_empty() && !inside.starts_with(' ') => {
                    out.push_str(inside);
                    rest = behind;
                }
                _ => {
                    out.push('*');
                    rest = after;
                }
            }
        }
        out.push_str(rest);
    }
    out.replace('\u{1}', "*")
}

/// Text in lines of at most this width; a word that is longer is cut.
fn wrap(text: &str, width: usize) -> Vec<String> {
    let width = width.max(4);
    let mut out = vec![String::new()];
    for word in text.split_whitespace() {
        let used = out.last().map_or(0, |l| l.width());
        if used > 0 && used + 1 + word.width() > width {
            out.push(String::new());
        }
        let Some(mut line) = out.pop() else { break };
        if !line.is_empty() {
            line.push(' ');
        }
        for c in word.chars() {
            if line.width() + c.width().unwrap_or(0) > width {
                out.push(std::mem::take(&mut line));
            }
            line.push(c);
        }
        out.push(line);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(markdown: &str, width: usize) -> Vec<String> {
        rows(markdown, width).into_iter().map(|r| r.text).collect()
    }

    #[test]
    fn lists_hang_and_tables_shrink() {
        assert_eq!(
            text("- scan the hook of the tree\n  and the pot\n- dip\n\n12. wait", 20),
            ["- scan the hook of", "  the tree and the", "  pot", "- dip", "", "12. wait"]
        );
        assert_eq!(
            text("|key|does|\n|-|-|\n|`p`|opens the form of a pour|", 22),
            ["key  does", "───  ─────────────────", "p    opens the form of", "     a pour"]
        );
    }

    #[test]
    fn marks_go_and_what_is_typed_stays() {
        assert_eq!(text("**Never** `a*b*c` or *guess* 2 * 3 \\*", 60), ["Never a*b*c or guess 2 * 3 *"]);
        assert_eq!(
            text("a\n```sh\nmeltkin  shift | head\n\n# no heading\n```\nb", 60),
            ["a", "", "  meltkin  shift | head", "", "  # no heading", "", "b"]
        );
    }
}
