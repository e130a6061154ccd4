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

/// A heading with a list below it; nothing where there are no lines.
pub fn list(title: &str, lines: &[String]) -> String {
    if lines.is_empty() {
        return String::new();
    }
    let lines: String = lines.iter().map(|l| element("li", l)).collect();
    format!("{}<ul>{lines}</ul>", element("h2", title))
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
