//! What every page in HTML shares: text that cannot break out, and one look for reading and for A4.

use records::value::tag::shown;

/// Text as it may stand in HTML, in attributes too.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 8);
    for c in shown(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// An element with text; the tag and its attributes are the program's own.
pub fn element(tag: &str, text: &str) -> String {
    let name = tag.split(' ').next().unwrap_or(tag);
    format!("<{tag}>{}</{name}>", escaped(text))
}

/// A row of cells, all by the same tag.
pub fn row<'a>(tag: &str, cells: impl IntoIterator<Item = &'a str>) -> String {
    let cells: String = cells.into_iter().map(|c| element(tag, c)).collect();
    format!("<tr>{cells}</tr>")
}

/// A table, its head first; nothing where there is no row below it.
pub fn table(rows: &[Vec<String>]) -> String {
    let row = |cells: &[String], tag: &str| {
        let cells: String = cells.iter().map(|c| element(tag, c)).collect();
        format!("<tr>{cells}</tr>")
    };
    match rows.split_first() {
        Some((head, body)) if !body.is_empty() => {
            let body: String = body.iter().map(|r| row(r, "td")).collect();
            format!("<table><thead>{}</thead><tbody>{body}</tbody></table>", row(head, "th"))
        }
        _ => String::new(),
    }
}

/// A list below its title; nothing where there is nothing to list.
pub fn list(title: &str, sentences: impl Iterator<Item = String>) -> String {
    let items: String = sentences.map(|s| element("li", s.trim_end())).collect();
    match (items.is_empty(), title.is_empty()) {
        (true, _) => String::new(),
        (false, true) => format!("<ul>{items}</ul>"),
        (false, false) => format!("{}<ul>{items}</ul>", element("h2", title)),
    }
}

/// The look of a page.
pub const STYLE: &str = "
body{font:10pt/1.35 system-ui,'DejaVu Sans',sans-serif;color:#111;max-width:190mm;margin:8mm auto;padding:0 4mm}
h1{font-size:16pt;margin:0 0 2mm}h2{font-size:11.5pt;margin:6mm 0 1.5mm;border-bottom:.3mm solid #888;break-after:avoid}
table{border-collapse:collapse;width:100%;font-size:8pt}thead{display:table-header-group}
th,td{text-align:left;padding:.6mm 1.4mm;border-bottom:.15mm solid #bbb;vertical-align:top;overflow-wrap:anywhere}
th{background:#eee}tr{break-inside:avoid}.n{font-size:8pt;color:#444;margin:0 0 1mm}svg{max-width:100%;height:auto;break-inside:avoid}
.box{border:.6mm solid #b00;padding:2mm 3mm;margin:3mm 0}.mono{font-family:'DejaVu Sans Mono',monospace;font-size:7.5pt;overflow-wrap:anywhere}
@media print{body{margin:0;max-width:none;padding:0}}
";
