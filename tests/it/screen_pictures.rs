//! Pictures of the real screens for README, drawn from the cells of the real screens on the demo.
//! `MELTKIN_UPDATE=1 cargo test screen_pictures` writes them again.

use std::path::Path;

use meltkin::ui::frame;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::{Buffer, Cell};
use ratatui::style::{Color, Modifier};

use crate::tui::Session;

/// A cell's size; the width is that of most monospaced letters at 14 px.
const CELL: (f64, f64) = (8.4, 18.0);
const COLUMNS: u16 = 100;
const ROWS: u16 = 30;

/// Each picture: its name, what it shows, and the keys from the furnace desk to it.
const PICTURES: &[(&str, &str, &[&str])] = &[
    ("furnace", "The furnace desk: what may be poured, check by check", &[]),
    ("trace", "The trace desk: what went into a rejected blade", &["k", "scan M31-033-7"]),
    (
        "cause",
        "The cause desk: what goes along with misruns at the trailing edge",
        &["ydmisrun<enter>zte<enter>"],
    ),
    (
        "chart",
        "The chart desk: misruns of the trailing edge in time, with what changed",
        &["vdmisrun<enter>zte<enter>"],
    ),
    ("lot", "The lot desk: why lot L31-02 may not go", &["l<down><enter>"]),
];

fn hex(color: Color) -> String {
    match color {
        Color::Rgb(r, g, b) => format!("#{r:02x}{g:02x}{b:02x}"),
        other => panic!("{other:?}: the pictures are drawn in full colour"),
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

/// Neighbours that look the same are one piece.
fn pieces(row: &[Cell]) -> Vec<(usize, String, &Cell)> {
    let mut out: Vec<(usize, String, &Cell)> = Vec::new();
    for (x, cell) in row.iter().enumerate() {
        match out.last_mut() {
            Some((_, text, of)) if of.fg == cell.fg && of.bg == cell.bg && of.modifier == cell.modifier => {
                text.push_str(cell.symbol());
            }
            _ => out.push((x, cell.symbol().to_string(), cell)),
        }
    }
    out
}

fn svg(buffer: &Buffer, title: &str) -> String {
    let (columns, rows) = (usize::from(buffer.area.width), usize::from(buffer.area.height));
    let (width, height) = (columns as f64 * CELL.0, rows as f64 * CELL.1);
    // The commonest ground is painted once.
    let mut grounds = std::collections::BTreeMap::<String, usize>::new();
    buffer.content.iter().for_each(|c| *grounds.entry(hex(c.bg)).or_default() += 1);
    let ground = grounds.into_iter().max_by_key(|g| g.1).unwrap().0;
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width:.0} {height:.0}\" width=\"{width:.0}\" \
         height=\"{height:.0}\" font-family=\"monospace\" font-size=\"14\" xml:space=\"preserve\">\n\
         <title>{}</title>\n<rect width=\"100%\" height=\"100%\" fill=\"{ground}\"/>\n",
        escaped(title)
    );
    for (y, row) in buffer.content.chunks(columns).enumerate() {
        let base = y as f64 * CELL.1;
        for (x, text, cell) in pieces(row) {
            let n = text.chars().count() as f64;
            if hex(cell.bg) != ground {
                out.push_str(&format!(
                    "<rect x=\"{:.1}\" y=\"{base:.0}\" width=\"{:.1}\" height=\"{:.0}\" fill=\"{}\"/>\n",
                    x as f64 * CELL.0,
                    n * CELL.0,
                    CELL.1,
                    hex(cell.bg)
                ));
            }
            let kept = text.trim_end();
            let begin = kept.chars().take_while(|c| *c == ' ').count();
            let kept = kept.trim_start();
            if kept.is_empty() {
                continue;
            }
            let bold = if cell.modifier.contains(Modifier::BOLD) { " font-weight=\"bold\"" } else { "" };
            out.push_str(&format!(
                "<text x=\"{:.1}\" y=\"{:.0}\" textLength=\"{:.1}\" fill=\"{}\"{bold}>{}</text>\n",
                (x + begin) as f64 * CELL.0,
                base + 13.0,
                kept.chars().count() as f64 * CELL.0,
                hex(cell.fg),
                escaped(kept)
            ));
        }
    }
    out.push_str("</svg>\n");
    out
}

#[test]
fn the_screen_pictures_are_current() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/guide/pictures");
    for (name, title, steps) in PICTURES {
        let mut session = Session::demo();
        for step in *steps {
            match step.strip_prefix("scan ") {
                Some(code) => session.scan(code),
                None => session.keys(step),
            };
        }
        let mut terminal = Terminal::new(TestBackend::new(COLUMNS, ROWS)).unwrap();
        terminal.draw(|f| frame::draw(&session.app, f)).unwrap();
        let made = svg(terminal.backend().buffer(), title);
        let path = folder.join(format!("{name}.svg"));
        if std::env::var_os("MELTKIN_UPDATE").is_some() {
            std::fs::create_dir_all(&folder).unwrap();
            std::fs::write(&path, &made).unwrap();
        }
        let there = std::fs::read_to_string(&path).unwrap_or_default();
        assert!(there == made, "{} is stale: MELTKIN_UPDATE=1 cargo test screen_pictures", path.display());
    }
}
