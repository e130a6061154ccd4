//! Places worked out by hand; the file and the terminal show the same items.

use crate::jobs::charts::show;
use crate::show::picture::cells::cells;
use crate::show::picture::layout::LANES;
use crate::show::picture::*;

fn canvas(width: f64, height: f64) -> Canvas {
    Canvas { size: (width, height), letter: (1.0, 1.0) }
}

fn marks(picture: &Picture, canvas: Canvas) -> Vec<((f64, f64), Shape, Role)> {
    let of = |item: &Item| match item {
        Item::Mark { at, shape, role, .. } => Some((*at, *shape, *role)),
        _ => None,
    };
    picture.items(canvas).iter().filter_map(of).collect()
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-9
}

fn rising() -> Control {
    let point = |i: usize| ControlPoint {
        label: format!("H-{i}"),
        value: Some(i as f64),
        limits: Some([1.5, 0.5, 2.5]),
        signal: i == 3,
        ..ControlPoint::default()
    };
    Control { points: (0..4).map(point).collect(), ..Control::default() }
}

#[test]
fn a_control_chart_stands_where_it_must() {
    // Ten lines: 1 for names and 0.6 of air leave 8.4; the scale runs from half a line above that, 7.9, to
    // 0. The values 0 to 3 have 6 % of 3 as room on either side: -0.18 to 3.18, a span of 3.36.
    let found = marks(&Picture::Control(rising()), canvas(40.0, 10.0));
    assert_eq!(found.len(), 4);
    for (value, wanted) in
        [(0, 7.9 * (1.0 - 0.18 / 3.36)), (1, 7.9 * (1.0 - 1.18 / 3.36)), (2, 7.9 * (1.0 - 2.18 / 3.36))]
    {
        assert!(near(found[value].0.1, wanted), "{found:?}");
        assert_eq!((found[value].1, found[value].2), (Shape::Dot, Role::Data));
    }
    // The signal is put down last, with a shape of its own, at the top.
    assert!(near(found[3].0.1, 7.9 * (1.0 - 3.18 / 3.36)));
    assert_eq!((found[3].1, found[3].2), (Shape::Diamond, Role::Signal));
    // Points lie evenly side by side.
    let step = found[1].0.0 - found[0].0.0;
    assert!(near(found[2].0.0 - found[1].0.0, step) && near(found[3].0.0 - found[2].0.0, step) && step > 0.0);
}

#[test]
fn a_change_stands_at_its_point_or_between_two() {
    let mut picture = rising();
    let event = |at, words: &str| Event { at, lane: "checks", words: words.into() };
    picture.events = vec![event(2.0, "at the third"), event(0.5, "between the first two")];
    let of = Picture::Control(picture);
    let items = of.items(canvas(40.0, 20.0));
    let letters: Vec<f64> = items
        .iter()
        .filter_map(|i| match i {
            Item::Text { at, role: Role::Event, text, .. } if text == "C" => Some(at.0),
            _ => None,
        })
        .collect();
    let points = marks(&of, canvas(40.0, 20.0));
    assert!(near(letters[0], points[2].0.0));
    assert!(near(letters[1], (points[0].0.0 + points[1].0.0) / 2.0));
}

#[test]
fn the_lanes_are_those_of_the_changes() {
    assert_eq!(LANES.map(|(name, _)| name), show::LANES);
    let mut letters = LANES.map(|(_, letter)| letter);
    letters.sort_unstable();
    assert!(letters.windows(2).all(|w| w[0] != w[1]), "one letter each");
}

#[test]
fn the_curve_of_a_scatter_passes_one_half_where_its_log_odds_are_nought() {
    // ln(p/(1-p)) = -10 + 2 x is 0 at x = 5. The rates 0 to 1 have room up to 1; 2.6 lines of ticks
    // and names below, one of the axis above: the scale runs from 20 - 2.6 - 0.5 = 16.9 to 1, its middle is 8.95.
    let point = |x: f64, y: f64| ScatterPoint { label: format!("H-{x}"), x, y, flagged: x > 9.0 };
    let picture = Picture::Scatter(Scatter {
        points: vec![point(0.0, 0.0), point(10.0, 1.0)],
        curve: Some((-10.0, 2.0)),
        ..Scatter::default()
    });
    let items = picture.items(canvas(60.0, 20.0));
    let path = items
        .iter()
        .find_map(|i| match i {
            Item::Path { points, role: Role::Centre } => Some(points.clone()),
            _ => None,
        })
        .unwrap();
    let found = marks(&picture, canvas(60.0, 20.0));
    let middle = (found[0].0.0 + found[1].0.0) / 2.0;
    // Between the two neighbours of the middle the curve crosses one half.
    let after = path.iter().position(|p| p.0 >= middle).unwrap();
    let half = 8.95;
    assert!(path[after - 1].1 > half - 1e-9 && path[after].1 < half + 1e-9, "{path:?}");
    assert_eq!((found[0].1, found[1].1), (Shape::Ring, Shape::Triangle), "the flagged has its own shape");
}

#[test]
fn a_map_says_by_its_pattern_what_was_found() {
    let picture = Picture::Map(Map {
        rows: vec![("1".into(), "1 of 2".into()), ("2".into(), "0 of 1".into())],
        columns: ["M-1", "M-2", "M-3"].map(String::from).to_vec(),
        cells: vec![
            vec![State::With, State::Clean, State::Nothing],
            vec![State::NotInspected, State::Clean, State::Clean],
        ],
        chosen: Some((0, 1)),
        ..Map::default()
    });
    let text = cells(&picture, 40, 8, false).text();
    let row = |name: &str| text.lines().find(|l| l.trim_start_matches(['▸', ' ']).starts_with(name)).unwrap();
    let fills = |line: &str| line.chars().filter(|c| "█·▒".contains(*c)).collect::<String>();
    assert_eq!((fills(row("1")), fills(row("2"))), ("██··".into(), "▒▒····".into()), "{text}");
    assert!(row("1").starts_with('▸') && text.contains('▲'));
    // The same items in the file: three patterns, and a word for each cell that there is.
    let file = svg::svg(&picture);
    assert_eq!(file.matches("position 1: with<").count(), 1);
    assert_eq!(file.matches("position 2: not inspected<").count(), 1);
    assert_eq!(file.matches("position 1").count() + file.matches("position 2").count(), 5);
}

#[test]
fn the_drawn_blade_has_every_zone_that_its_name_tells() {
    let zone = |code: &str, name: &str, with| ZoneRate {
        zone: code.into(),
        name: name.into(),
        with,
        inspected: 100,
    };
    let picture = Picture::Zones(Zones {
        zones: vec![zone("TE", "trailing edge", 9), zone("RT", "root", 1), zone("XX", "somewhere else", 2)],
        ..Zones::default()
    });
    let boxes: Vec<(f64, Fill)> = picture
        .items(canvas(80.0, 20.0))
        .iter()
        .filter_map(|i| match i {
            Item::Box { at, fill, .. } => Some((at.1, *fill)),
            _ => None,
        })
        .collect();
    // The worst is solid, a ninth of it dotted; the root stands below the edge; what has no place on the
    // outline stands in the list only.
    assert_eq!(boxes.iter().map(|b| b.1).collect::<Vec<_>>(), [Fill::Solid, Fill::Dots]);
    assert!(boxes[1].0 > boxes[0].0);
    let text = cells(&picture, 80, 20, false).text();
    assert!(text.contains("XX somewhere else: 2 of 100 inspected, 2.0 %"), "{text}");
    assert!(text.contains("TE trailing edge: 9 of 100 inspected, 9.0 %"));
}
