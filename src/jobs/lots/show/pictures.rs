//! Pictures of a lot: yield by station, findings by zone, actuals against their limits. Each stands with its heading.

use crate::jobs::lots::summary::{Actual, LotSummary};
use crate::show::html::{element, escaped as e};

/// A picture with its heading and what to know of it: they are not parted by the end of a page.
fn figure(title: &str, note: &str, drawn: &str) -> String {
    format!(
        "<figure class=\"keep\">{}{}{drawn}</figure>",
        element("h2", title),
        element("p class=\"n\"", note)
    )
}

impl LotSummary {
    pub(crate) fn pictures(&self) -> String {
        let mut out = String::new();
        let presented = self.methods.iter().filter(|m| m.presented > 0);
        let bars: Vec<(&str, i64, i64)> =
            presented.map(|m| (m.method, m.accepted_first, m.presented)).collect();
        if !bars.is_empty() {
            out.push_str(&figure(
                "First-pass yield by station",
                "Accepted at first presentation, of presented. Dark: accepted.",
                &yield_bars(&bars),
            ));
        }
        if self.zones.iter().any(|z| z.2 > 0) {
            out.push_str(&figure(
                "Findings by zone",
                "Product inspections; light: blades scrapped since. A count, not a rate: zones differ in size.",
                &zone_map(&self.zones),
            ));
        }
        let enough = |a: &&Actual| a.values.len() >= 25 && a.limits.0.is_some() && a.limits.1.is_some();
        let note = "From 25 values on. Lines: limits. A picture of this lot, no statement of capability.";
        for a in self.actuals.iter().filter(enough) {
            out.push_str(&figure(
                &format!("Actuals of {} against their limits", a.characteristic),
                note,
                &histogram(a),
            ));
        }
        out
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
