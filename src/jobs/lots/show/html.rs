//! The summary as one HTML file that prints on A4, with nothing to fetch.

use crate::jobs::lots::summary::{Actual, LotSummary, TextTable};
use records::value::words::counted;

use crate::show::html::{STYLE as PAGE, element, escaped as e, list, row};

/// Text inside a string of a style sheet: only what cannot end it.
fn css(text: &str) -> String {
    text.chars().filter(|c| c.is_alphanumeric() || " -_./:·".contains(*c)).collect()
}

const STYLE: &str = "
.why{table-layout:fixed}.why th:nth-child(1){width:22mm}.why th:nth-child(2){width:62mm}.why th:nth-child(3){width:15mm}.why th:nth-child(4){width:19mm}
.box h2{border:0;margin-top:0}.ok{border-color:#060}.two table{margin-bottom:2mm}.two th{width:40mm;text-align:left}
.wide table{font-size:6.6pt}.wide th,.wide td{padding:.5mm .7mm;overflow-wrap:normal}.out{font-weight:bold;color:#b00}
.mark{position:fixed;top:45%;left:0;width:100%;text-align:center;font-size:90pt;color:#b00;opacity:.09;transform:rotate(-35deg);z-index:-1}
.sign{display:flex;gap:8mm;margin-top:10mm}.sign div{flex:1;border-top:.3mm solid #111;font-size:8pt;padding-top:1mm}
";

impl LotSummary {
    pub fn html(&self) -> String {
        let mark = self.mark();
        let title = format!("{mark} lot acceptance summary {}", self.lot);
        let mut out = format!(
            "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">{}<style>{PAGE}{STYLE}\
             @page{{size:A4;margin:16mm 14mm 16mm;@top-left{{content:\"{mark} · lot {}\";font:bold 9pt sans-serif}}\
             @bottom-left{{content:\"head {} · not valid if altered\";font:6.5pt sans-serif}}\
             @bottom-right{{content:\"page \" counter(page) \" of \" counter(pages);font:8pt sans-serif}}}}</style></head><body>",
            element("title", &title),
            css(&self.lot),
            self.journal_head.get(..16).unwrap_or_default(),
        );
        if mark != "FINAL" {
            out.push_str(&element("div class=\"mark\"", mark));
        }
        out.push_str(&element("h1", &format!("{mark}: lot acceptance summary {}", self.lot)));
        self.verdict(&mut out);
        let pairs = |rows: Vec<(&str, String)>| -> String {
            let row = |(name, value): &(&str, String)| {
                format!("<tr>{}{}</tr>", element("th scope=\"row\"", name), element("td", value))
            };
            format!("<table>{}</table>", rows.iter().map(row).collect::<String>())
        };
        let (heading, counts) = (pairs(self.heading.clone()), pairs(self.count_rows()));
        out.push_str(&format!("<div class=\"two\">{heading}{counts}</div>"));
        out.push_str(&list("Reconciliation", self.reconciliation.iter().cloned()));
        self.pictures(&mut out);
        for table in self.tables() {
            out.push_str(&table.html());
        }
        for (title, lines) in self.said() {
            out.push_str(&list(title, lines.into_iter()));
        }
        out.push_str(&format!(
            "<h2>Seal</h2><p class=\"mono\">journal head {} ({} entries)<br>content {}</p>",
            e(&self.journal_head),
            self.journal_entries,
            e(&self.content)
        ));
        out.push_str(&list("Cautions", self.cautions.iter().cloned()));
        if mark == "FINAL" {
            out.push_str("<div class=\"sign\"><div>Signatory, date</div><div>Purchaser's representative, where agreed</div></div>");
        }
        out.push_str("</body></html>\n");
        out
    }

    fn verdict(&self, out: &mut String) {
        let class = if self.mark() == "FINAL" { "box ok" } else { "box" };
        out.push_str(&format!("<div class=\"{class}\">"));
        self.release_lines().iter().for_each(|l| out.push_str(&element("p", l)));
        if !self.blocked.is_empty() {
            out.push_str(&element(
                "h2",
                &format!("May not go, for {}", counted(self.reasons.len(), "reason")),
            ));
            out.push_str("<table class=\"why\"><thead>");
            out.push_str(&row("th", ["station", "reason", "how many", "since", "blades"]));
            out.push_str("</thead><tbody>");
            for r in &self.reasons {
                let (touched, ranges) = (r.touched(), r.ranges().join(", "));
                out.push_str(&row("td", [r.station.as_str(), &r.reason, &touched, r.day(), &ranges]));
            }
            out.push_str("</tbody></table>");
        } else if self.mark() == "DRAFT" {
            out.push_str("<p>Nothing blocks. Not signed: this is a draft.</p>");
        }
        out.push_str("</div>");
    }

    fn pictures(&self, out: &mut String) {
        let bars: Vec<(&str, i64, i64)> = self
            .methods
            .iter()
            .filter(|m| m.presented > 0)
            .map(|m| (m.method, m.accepted_first, m.presented))
            .collect();
        if !bars.is_empty() {
            out.push_str("<h2>First-pass yield by station</h2><p class=\"n\">Accepted at first presentation, of presented. Dark: accepted.</p>");
            out.push_str(&yield_bars(&bars));
        }
        if self.zones.iter().any(|z| z.2 > 0) {
            out.push_str("<h2>Findings by zone</h2><p class=\"n\">Product inspections; light: blades scrapped since. A count, not a rate: zones differ in size.</p>");
            out.push_str(&zone_map(&self.zones));
        }
        let shown: Vec<&Actual> = self
            .actuals
            .iter()
            .filter(|a| a.values.len() >= 25 && a.limits.0.is_some() && a.limits.1.is_some())
            .collect();
        if !shown.is_empty() {
            out.push_str("<h2>Actuals against their limits</h2><p class=\"n\">From 25 values on. Lines: limits. A picture of this lot, no statement of capability.</p>");
            shown.iter().for_each(|a| out.push_str(&histogram(a)));
        }
    }
}

impl TextTable {
    /// With its heading; a cell that says OUTSIDE stands out.
    fn html(&self) -> String {
        let heading = element("h2", &self.title);
        let Some((head, rows)) = self.rows.split_first().filter(|(_, r)| !r.is_empty()) else {
            return heading + "<p class=\"n\">None on record.</p>";
        };
        let note = if self.note.is_empty() { String::new() } else { element("p class=\"n\"", &self.note) };
        let class = if head.len() > 10 { " class=\"wide\"" } else { "" };
        let head = row("th", head.iter().map(String::as_str));
        let cell = |c: &String| element(if c.ends_with("OUTSIDE") { "td class=\"out\"" } else { "td" }, c);
        let row = |r: &Vec<String>| format!("<tr>{}</tr>", r.iter().map(cell).collect::<String>());
        let rows: String = rows.iter().map(row).collect();
        format!("{heading}{note}<div{class}><table><thead>{head}</thead><tbody>{rows}</tbody></table></div>")
    }
}

fn svg(label: &str, height: usize) -> String {
    format!(
        "<svg viewBox=\"0 0 640 {height}\" width=\"640\" role=\"img\" aria-label=\"{}\" font-size=\"13\">",
        e(label)
    )
}

fn yield_bars(bars: &[(&str, i64, i64)]) -> String {
    let most = bars.iter().map(|b| b.2).max().unwrap_or(1).max(1) as f64;
    let mut out = svg("First-pass yield by station", bars.len() * 26 + 4);
    for (i, (name, good, all)) in bars.iter().enumerate() {
        let y = i * 26 + 2;
        let width = |n: i64| n as f64 / most * 360.0;
        out.push_str(&format!(
            "<text x=\"0\" y=\"{}\">{}</text><rect x=\"110\" y=\"{y}\" width=\"{:.1}\" height=\"20\" fill=\"#ddd\" stroke=\"#555\"/><rect x=\"110\" y=\"{y}\" width=\"{:.1}\" height=\"20\" fill=\"#456\"/><text x=\"480\" y=\"{}\">{good} of {all} ({:.1} %)</text>",
            y + 15, e(name), width(*all), width(*good), y + 15, *good as f64 / (*all).max(1) as f64 * 100.0
        ));
    }
    out.push_str("</svg>");
    out
}

/// A blade as plain boxes in the order of the zone list: a schematic, no drawing of the part.
fn zone_map(zones: &[(String, String, i64, i64)]) -> String {
    let most = zones.iter().map(|z| z.2).max().unwrap_or(1).max(1) as f64;
    let mut out = svg("Findings by zone", zones.len() * 26 + 4);
    for (i, (zone, name, all, alive)) in zones.iter().enumerate() {
        let y = i * 26 + 2;
        let width = |n: i64| n as f64 / most * 300.0;
        out.push_str(&format!(
            "<rect x=\"0\" y=\"{y}\" width=\"40\" height=\"24\" fill=\"#b00\" fill-opacity=\"{:.2}\" stroke=\"#333\"/><text x=\"8\" y=\"{}\">{}</text><text x=\"50\" y=\"{}\">{}</text><rect x=\"190\" y=\"{y}\" width=\"{:.1}\" height=\"20\" fill=\"#dcc\" stroke=\"#855\"/><rect x=\"190\" y=\"{y}\" width=\"{:.1}\" height=\"20\" fill=\"#a33\"/><text x=\"500\" y=\"{}\">{all}, {alive} not scrapped</text>",
            *all as f64 / most * 0.6, y + 16, e(zone), y + 16, e(name), width(*all), width(*alive), y + 15
        ));
    }
    out.push_str("</svg>");
    out
}

fn histogram(a: &Actual) -> String {
    let (Some(lower), Some(upper)) = a.limits else { return String::new() };
    let (from, to) = (lower.min(a.least), upper.max(a.greatest));
    let span = (to - from).max(f64::MIN_POSITIVE);
    let mut bins = [0_usize; 40];
    for v in &a.values {
        let at = ((v - from) / span * 40.0) as usize;
        bins[at.min(39)] += 1;
    }
    let most = bins.iter().copied().max().unwrap_or(1).max(1) as f64;
    let x = |v: f64| 130.0 + (v - from) / span * 400.0;
    let mut out = format!(
        "<svg viewBox=\"0 0 640 62\" width=\"640\" role=\"img\" aria-label=\"{0}\" font-size=\"12\"><text x=\"0\" y=\"30\">{0}</text><text x=\"0\" y=\"46\">n = {1}</text>",
        e(&a.characteristic),
        a.n
    );
    for (i, n) in bins.iter().enumerate() {
        let h = *n as f64 / most * 42.0;
        out.push_str(&format!(
            "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"9.4\" height=\"{h:.1}\" fill=\"#456\"/>",
            130.0 + i as f64 * 10.0,
            46.0 - h
        ));
    }
    for v in [lower, upper] {
        out.push_str(&format!("<line x1=\"{0:.1}\" x2=\"{0:.1}\" y1=\"2\" y2=\"48\" stroke=\"#b00\" stroke-width=\"2\"/><text x=\"{0:.1}\" y=\"60\" text-anchor=\"middle\">{v}</text>", x(v)));
    }
    out.push_str(&format!("<text x=\"545\" y=\"30\">{}</text></svg>", e(&a.unit)));
    out
}
