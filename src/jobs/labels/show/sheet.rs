//! Sheets of labels as SVG, in millimetres.

use std::fmt::Write;

use crate::jobs::labels::show::Label;
use records::catalogue::{Blades, Heats, IngotLots, Moulds, RevertLots, Samples, ShellBatches, TestBars};
use records::value::tag::shown;

/// Sizes of a sheet of labels, in mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layout {
    /// A label's width and height.
    pub label: (f64, f64),
    /// The paper's width and height.
    pub page: (f64, f64),
    /// What stays free at the paper's edges.
    pub margin: f64,
    /// Between labels.
    pub gap: f64,
}

impl Layout {
    /// On A4, with the size that suits the largest of these kinds: a hook tag for a mould, a tray's
    /// edge, the bag of a blade.
    pub fn suited(labels: &[Label]) -> Self {
        let size = |kind: Option<&str>| -> (f64, f64) {
            match kind {
                Some(Blades::NAME | TestBars::NAME | Samples::NAME) => (30.0, 12.0),
                Some(
                    Moulds::NAME | Heats::NAME | IngotLots::NAME | RevertLots::NAME | ShellBatches::NAME,
                ) => (70.0, 30.0),
                _ => (50.0, 20.0),
            }
        };
        let sizes = labels.iter().map(|l| size(l.kind));
        let label = sizes.max_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or((50.0, 20.0));
        Self { label, page: (210.0, 297.0), margin: 8.0, gap: 2.0 }
    }

    /// Labels across and down.
    ///
    /// # Errors
    /// Not one label fits the page, or a size is no size.
    pub fn grid(&self) -> Result<(usize, usize), String> {
        let all = [self.label.0, self.label.1, self.page.0, self.page.1];
        if all.iter().any(|v| !v.is_finite() || *v < 5.0 || *v > 2000.0) {
            return Err("a label and a page measure from 5 to 2000 mm".into());
        }
        let fit = |page: f64, label: f64| {
            ((page - 2.0 * self.margin + self.gap + 1e-9) / (label + self.gap)).floor().max(0.0) as usize
        };
        match (fit(self.page.0, self.label.0), fit(self.page.1, self.label.1)) {
            (0, _) | (_, 0) => Err(format!(
                "a label of {} by {} mm does not fit a page of {} by {} mm with a margin of {} mm",
                self.label.0, self.label.1, self.page.0, self.page.1, self.margin
            )),
            grid => Ok(grid),
        }
    }
}

/// The narrowest module that a hand scanner and an office printer manage, in mm (common practice, no
/// source).
const LEAST_MODULE: f64 = 0.25;

/// The sheets: one SVG a page.
///
/// # Errors
/// The sizes do not work: [`Layout::grid`], or a code's modules would be too narrow to scan.
pub fn pages(labels: &[Label], layout: &Layout) -> Result<Vec<String>, String> {
    let (across, down) = layout.grid()?;
    let mut out = Vec::new();
    for page in labels.chunks(across * down) {
        let (w, h) = layout.page;
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\">\n\
             <rect width=\"{w}\" height=\"{h}\" fill=\"#fff\"/>\n"
        );
        for (i, label) in page.iter().enumerate() {
            let x = layout.margin + (i % across) as f64 * (layout.label.0 + layout.gap);
            let y = layout.margin + (i / across) as f64 * (layout.label.1 + layout.gap);
            one(&mut svg, label, x, y, layout.label)?;
        }
        svg.push_str("</svg>\n");
        out.push(svg);
    }
    Ok(out)
}

fn one(svg: &mut String, label: &Label, x: f64, y: f64, (w, h): (f64, f64)) -> Result<(), String> {
    let code = &label.code;
    let across = code.width.max(code.height) as f64 + 4.0;
    // The code with two modules of quiet zone fills the height, but at most half of the width.
    let module = (h / across).min(w * 0.5 / across);
    if module < LEAST_MODULE {
        return Err(format!(
            "on a label of {w} by {h} mm the code of {} would have modules of {module:.2} mm; scanners need \
             {LEAST_MODULE}: take labels of {:.0} by {:.0} mm at least",
            shown(&label.tag),
            (across * LEAST_MODULE * 2.0).ceil(),
            (across * LEAST_MODULE).ceil()
        ));
    }
    let (cx, cy) = (x + 2.0 * module, y + (h - code.height as f64 * module) / 2.0);
    let _ = writeln!(
        svg,
        "<rect x=\"{x:.3}\" y=\"{y:.3}\" width=\"{w}\" height=\"{h}\" fill=\"none\" stroke=\"#bbb\" stroke-width=\"0.1\"/>"
    );
    // One path of rectangles, a run of dark modules each: no seams between neighbours.
    let mut path = String::new();
    for (row, modules) in code.rows().enumerate() {
        let mut at = 0;
        while at < modules.len() {
            let run = modules[at..].iter().take_while(|d| **d).count();
            if run > 0 {
                let _ = write!(path, "M{at} {row}h{run}v1h-{run}z");
            }
            at += run.max(1);
        }
    }
    let _ = writeln!(
        svg,
        "<path transform=\"translate({cx:.3} {cy:.3}) scale({module:.4})\" fill=\"#000\" \
         shape-rendering=\"crispEdges\" d=\"{path}\"/>"
    );
    let left = x + across * module + 0.5;
    let room = x + w - 1.0 - left;
    let tag = shown(&label.tag);
    let small = (h * 0.16).clamp(1.6, 4.0);
    let size = fitted(&tag, room, (h - 2.6 * small).max(1.0));
    text(svg, left, y + small * 1.2, fitted(&label.noun, room, small), &label.noun, false);
    text(svg, left, y + h / 2.0 + size * 0.36, size, &tag, true);
    if !label.line.is_empty() {
        text(svg, left, y + h - small * 0.5, fitted(&label.line, room, small), &label.line, false);
    }
    Ok(())
}

/// A letter of a monospaced face is about 0.6 of its size wide (0.62 leaves room).
fn fitted(text: &str, room: f64, most: f64) -> f64 {
    let n = unicode_width::UnicodeWidthStr::width(text).max(1) as f64;
    (room / (0.62 * n)).min(most)
}

fn text(svg: &mut String, x: f64, y: f64, size: f64, words: &str, bold: bool) {
    let weight = if bold { " font-weight=\"bold\"" } else { "" };
    let words = shown(words).replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
    let _ = writeln!(
        svg,
        "<text x=\"{x:.3}\" y=\"{y:.3}\" font-family=\"monospace\" font-size=\"{size:.3}\"{weight}>{words}</text>"
    );
}
