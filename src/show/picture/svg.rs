//! A picture as a self-contained SVG: no script, no outside font, dark on light, state told by shape
//! and pattern.

use std::fmt::Write;

use crate::show::html::escaped;
use crate::show::picture::{Anchor, Canvas, Fill, Item, Picture, Role, Shape};

/// Width and height of a character at the size of the text.
const LETTER: (f64, f64) = (7.3, 15.0);
const MARGIN: f64 = 14.0;

/// The picture as SVG, its size chosen by what it holds.
pub fn svg(picture: &Picture) -> String {
    let rows = match picture {
        Picture::Control(_) => 27.0,
        Picture::Bars(p) => (p.rows.len() as f64 * 1.6 + 5.0).max(8.0),
        Picture::Scatter(_) => 26.0,
        Picture::Map(p) => p.rows.len() as f64 * 1.6 + 6.0,
        Picture::Zones(_) => 26.0,
    };
    sized(picture, 900.0, rows * LETTER.1)
}

/// The picture as SVG of a given size.
pub fn sized(picture: &Picture, width: f64, height: f64) -> String {
    let canvas = Canvas { size: (width, height), letter: LETTER };
    let (w, h) = (width + 2.0 * MARGIN, height + 2.0 * MARGIN);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" viewBox=\"0 0 {w:.0} {h:.0}\" width=\"{w:.0}\" height=\"{h:.0}\" \
         font-family=\"ui-monospace, DejaVu Sans Mono, monospace\" font-size=\"12\">\n\
         <title>{}</title>\n<desc>{}</desc>\n{DEFS}<rect width=\"{w:.0}\" height=\"{h:.0}\" fill=\"#fff\"/>\n\
         <g transform=\"translate({MARGIN} {MARGIN})\">\n",
        escaped(picture.title()),
        escaped(picture.caution()),
    );
    for item in picture.items(canvas) {
        put(&mut out, &item);
    }
    out.push_str("</g>\n</svg>\n");
    out
}

const DEFS: &str = "<defs>\
<pattern id=\"hatch\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\">\
<rect width=\"5\" height=\"5\" fill=\"#fff\"/><path d=\"M0 0V5\" stroke=\"#444\" stroke-width=\"2.4\"/></pattern>\
<pattern id=\"dots\" width=\"4\" height=\"4\" patternUnits=\"userSpaceOnUse\">\
<rect width=\"4\" height=\"4\" fill=\"#fff\"/><circle cx=\"2\" cy=\"2\" r=\"0.8\" fill=\"#777\"/></pattern></defs>\n";

fn put(out: &mut String, item: &Item) {
    let _ = match item {
        Item::Rule { from, to, role } => {
            let (colour, width, dash) = stroke(*role);
            writeln!(
                out,
                "<line x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\" stroke=\"{colour}\" stroke-width=\"{width}\"{dash}/>",
                from.0, from.1, to.0, to.1
            )
        }
        Item::Path { points, role } => {
            let (colour, width, dash) = stroke(*role);
            let list: Vec<String> = points.iter().map(|p| format!("{:.1},{:.1}", p.0, p.1)).collect();
            writeln!(
                out,
                "<polyline points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\"{dash}/>",
                list.join(" ")
            )
        }
        Item::Mark { at, shape, role, words } => {
            let colour = stroke(*role).0;
            let (x, y) = *at;
            let body = match shape {
                Shape::Dot => format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3\" fill=\"{colour}\">"),
                Shape::Ring => format!(
                    "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\" fill=\"#fff\" fill-opacity=\"0.6\" stroke=\"{colour}\" stroke-width=\"1.5\">"
                ),
                Shape::Triangle => {
                    format!("<path d=\"M{x:.1} {:.1}l6 11h-12z\" fill=\"{colour}\" stroke=\"#fff\">", y - 7.0)
                }
                Shape::Diamond => format!(
                    "<path d=\"M{x:.1} {:.1}l7 7-7 7-7-7z\" fill=\"{colour}\" stroke=\"#fff\">",
                    y - 7.0
                ),
            };
            let end = if matches!(shape, Shape::Dot | Shape::Ring) { "circle" } else { "path" };
            writeln!(out, "{body}<title>{}</title></{end}>", escaped(words))
        }
        Item::Box { at, size, fill, border, role: _, words } => {
            let paint = match fill {
                Fill::Empty => "#fff",
                Fill::Solid => "#222",
                Fill::Hatch => "url(#hatch)",
                Fill::Dots => "url(#dots)",
            };
            let edge = if *border { " stroke=\"#222\"" } else { "" };
            let title =
                if words.is_empty() { String::new() } else { format!("<title>{}</title>", escaped(words)) };
            writeln!(
                out,
                "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"{paint}\"{edge}>{title}</rect>",
                at.0, at.1, size.0, size.1
            )
        }
        Item::Text { at, anchor, text, role } => {
            let anchor = match anchor {
                Anchor::Start => "",
                Anchor::Middle => " text-anchor=\"middle\"",
                Anchor::End => " text-anchor=\"end\"",
            };
            let style = match role {
                Role::Ink => " fill=\"#111\"",
                Role::Event => " fill=\"#111\" font-weight=\"bold\"",
                Role::Caution => " fill=\"#111\" font-style=\"italic\"",
                _ => " fill=\"#444\"",
            };
            let text = escaped(text);
            let place = format!("x=\"{:.1}\" y=\"{:.1}\"{anchor}", at.0, at.1 + 4.0);
            // a rim keeps a text readable that stands on a pattern
            if *role == Role::Ink && anchor.contains("middle") {
                let _ = writeln!(
                    out,
                    "<text {place} aria-hidden=\"true\" stroke=\"#fff\" stroke-width=\"4\" fill=\"#fff\">{text}</text>"
                );
            }
            writeln!(out, "<text {place}{style}>{text}</text>")
        }
    };
}

/// Colour, width and dashes of a stroke: roles differ by dash and width too.
fn stroke(role: Role) -> (&'static str, &'static str, &'static str) {
    match role {
        Role::Signal => ("#b00020", "2", ""),
        Role::Limit => ("#333", "1.4", " stroke-dasharray=\"6 4\""),
        Role::Centre => ("#333", "1", " stroke-dasharray=\"1 3\""),
        Role::Axis => ("#222", "1", ""),
        Role::Data => ("#1f4e79", "1", ""),
        _ => ("#444", "1", ""),
    }
}
