use proptest::prelude::*;

use super::*;
use crate::catalogue::{FilterLots, Inspections, Pours};
use crate::error::Hint;
use crate::exchange::grid;
use crate::exchange::grid::SHEET;
use crate::exchange::grid::letters;

fn mapping(kind: &Kind, header: u32, columns: &[(&str, &str)]) -> Mapping {
    let columns = columns.iter().map(|(f, c)| ((*f).to_string(), (*c).to_string())).collect();
    let habits = Habits { offset: Some("+00:00".into()), hour: Some("00:00".into()), ..Habits::default() };
    Mapping { kind: kind.name.into(), header, columns, habits, ..Mapping::default() }
}

fn sheet(text: &str) -> Grid {
    grid::read(text.as_bytes(), None, &SHEET).unwrap()
}

fn csv(rows: &Rows) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(rows.csv.as_slice());
    reader.records().map(|r| r.unwrap().iter().map(str::to_string).collect()).collect()
}

/// A cell of a filter notebook, or of nothing in particular.
fn cell() -> impl Strategy<Value = String> {
    prop_oneof![
        3 => Just(String::new()),
        3 => "FL-[0-9]{1,2}",
        2 => "(1[3-9]|2[0-8])\\.0[1-9]\\.2031",
        2 => "[0-9]{1,3}",
        1 => Just("Total".to_string()),
        1 => Just("-".to_string()),
        1 => "[a-zA-Zäß ]{1,8}",
        1 => "\"[a-z\n;]{0,4}\"",
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// Every cell that holds something is in a record, at fault, or in a row or column that is named as left out.
    #[test]
    fn nothing_of_a_sheet_is_lost_in_silence(
        body in prop::collection::vec(prop::collection::vec(cell(), 0..7), 0..8),
        above in prop::collection::vec(cell(), 0..3),
        titles in prop::sample::subsequence(vec!["Nb+Ta", "Remark", "", "Pieces"], 0..=4),
        end in prop::sample::select(vec!["\n", "\r\n", "\r"]),
        only in any::<bool>(),
    ) {
        let head = ["Box", "Came in", "Got"].iter().chain(&titles).map(|t| (*t).to_string()).collect::<Vec<_>>();
        let rows = [vec![above], vec![head], body].concat();
        let text: Vec<String> = rows.iter().map(|r| r.join(";").replace('\n', end)).collect();
        let grid = grid::read(text.join(end).as_bytes(), None, &SHEET).unwrap();
        let columns = [("filter_lot", "Box"), ("received_at", "Came in"), ("received_count", "Got")];
        let mut by = mapping(FilterLots::KIND, 2, &columns);
        by.only = if only { vec!["filter_lot".into()] } else { Vec::new() };
        let out = by.rows(&grid, FilterLots::KIND, &[]);
        let records = csv(&out);
        for ((r, c), held) in &grid.cells {
            let row = u64::from(*r) + 1;
            let named = out.left_out.rows.iter().any(|(a, b)| (*a..=*b).contains(&row))
                || out.left_out.columns.iter().any(|(l, _)| *l == letters(*c));
            let title = row == 2 && *c < 3;
            let at_fault = out.faults.iter().any(|f| f.0 == row && f.1.column == columns[(*c as usize).min(2)].1);
            let record = out.lines.iter().position(|l| l.1 == row).and_then(|i| records.get(i + 1));
            let taken = record.is_some_and(|cells| {
                // A date comes in as a date, figures and texts as they stand.
                let text = held.text();
                let date = text.split('.').rev().collect::<Vec<_>>().join("-");
                match c {
                    0 | 2 => crate::exchange::natural(&cells[*c as usize]) == text,
                    1 => date.len() == 10 && cells[1].starts_with(&date),
                    _ => false,
                }
            });
            prop_assert!(named || title || at_fault || taken, "{row} {c} {held:?}\n{text:?}\n{out:?}");
        }
        // What is named in the data is said.
        for (letter, title) in &out.left_out.columns {
            let said = out.remarks.iter().any(|r| r.starts_with("columns not taken") && r.contains(title.as_str()));
            prop_assert!(said, "{letter} {title}: {:?}", out.remarks);
        }
        let rows: u64 = out.left_out.rows.iter().map(|(a, b)| b - a + 1).sum();
        let said: u64 = out.remarks.iter().filter(|r| r.contains("(row ")).filter_map(|r| r.split(' ').next()?.parse::<u64>().ok()).sum();
        prop_assert_eq!(rows, said, "{:?}", out.remarks);
    }
}

#[test]
fn columns_that_are_not_taken_are_named_titled_or_not() {
    for end in ["\n", "\r\n"] {
        let text = ["Box;Came in;Nb+Ta;;Note;Note", "FL-1;15.01.2031;2;lid open;a;b"].join(end);
        let by = mapping(FilterLots::KIND, 1, &[("filter_lot", "Box"), ("received_at", "Came in")]);
        let out = by.rows(&sheet(&text), FilterLots::KIND, &[]);
        let said = "columns not taken: Nb+Ta, #D (no title; first lid open), Note (#E), Note (#F)";
        assert!(out.remarks.contains(&said.to_string()), "{:?}", out.remarks);
        assert_eq!(out.lines, [(2, 2)]);
    }
}

#[test]
fn rows_that_are_left_out_are_named_with_what_stands_in_them() {
    let text = "Book 2031;;\nBox;Came in;Got\nFL-1;15.01.2031;4\n;;\nFL-2;16.01.2031;5\nTotal;;9\n;;12\nfl-2;16.01.2031;5\n";
    let mut by = mapping(
        FilterLots::KIND,
        2,
        &[("filter_lot", "Box"), ("received_at", "Came in"), ("received_count", "Got")],
    );
    by.only = vec!["filter_lot".into()];
    let out = by.rows(&sheet(text), FilterLots::KIND, &[]);
    assert_eq!(out.lines.iter().map(|l| l.1).collect::<Vec<_>>(), [3, 5]);
    for said in [
        "1 row: above the titles, not taken (row 1: Book 2031)",
        "1 row: left out: a total of what stands above (row 6: Total | 9)",
        "1 row: left out: nothing in it is asked for (row 7: 12)",
        "1 row: say again what stands above; counted once (row 8: fl-2 | 16.01.2031 | 5)",
    ] {
        assert!(out.remarks.iter().any(|r| r == said), "{said}: {:?}", out.remarks);
    }
    assert_eq!(out.left_out.rows, [(1, 1), (6, 8)]);
}

#[test]
fn a_question_of_a_whole_column_is_asked_once() {
    let text = "Box;Came in\nFL-1;3.11.2031\nFL-2;4.11.2031\nFL-3;5.11.2031\n";
    let by = mapping(FilterLots::KIND, 1, &[("filter_lot", "Box"), ("received_at", "Came in")]);
    let out = by.rows(&sheet(text), FilterLots::KIND, &[]);
    assert_eq!(out.faults.len(), 1, "{:?}", out.faults);
    let (row, fault) = &out.faults[0];
    assert_eq!(fault.hint, Some(Hint::Sheet(SheetHint::Dates)));
    assert_eq!((*row, fault.column.as_str(), fault.value.as_str()), (2, "Came in", "3.11.2031"));
    for part in ["2031-11-03 or 2031-03-11", "2 further cells of this sheet ask the same"] {
        assert!(fault.message.contains(part), "{part}: {}", fault.message);
    }
}

#[test]
fn titles_over_two_rows_and_units_in_them() {
    let mut grid = sheet("Form;Temp;;Masse [kg]\n;ein [°C];aus [°C];\nM-1;1450;1400;12,5 kg\n");
    grid.merged.push(((0, 1), (0, 2)));
    let by = Mapping {
        header_to: Some(2),
        fill: vec![("heat".into(), "H".into()), ("poured_at".into(), "2031-01-01T00:00:00Z".into())],
        ..mapping(
            Pours::KIND,
            1,
            &[("mould", "form"), ("indicated_c", "ein"), ("mould_c", "Temp aus"), ("mass_kg", "Masse")],
        )
    };
    by.check(Pours::KIND, &[]).unwrap();
    let out = by.rows(&grid, Pours::KIND, &[]);
    assert!(out.faults.is_empty(), "{:?}", out.faults);
    assert_eq!(csv(&out)[1][..4], ["M-1", "1450", "1400", "12.5"]);
    // A title in another unit is no field of this one.
    let other = sheet("Form;T [°F]\nM-1;2600\n");
    let by = mapping(Pours::KIND, 1, &[("mould", "Form"), ("indicated_c", "T")]);
    let fault = &by.rows(&other, Pours::KIND, &[]).faults[0];
    assert!(fault.0 == 1 && fault.1.message.contains("says °F; the field is in °C"), "{fault:?}");
    // Also one that no field has, and a letter alone, where it stands in brackets.
    for (title, field) in [
        ("Mass (t)", "mass_kg"),
        ("Mass [MG]", "mass_kg"),
        ("T (K)", "indicated_c"),
        ("T (F)", "indicated_c"),
    ] {
        let other = sheet(&format!("Form;{title}\nM-1;20\n"));
        let by = mapping(Pours::KIND, 1, &[("mould", "Form"), (field, title)]);
        let faults = &by.rows(&other, Pours::KIND, &[]).faults;
        assert!(
            faults.iter().any(|f| f.0 == 1 && f.1.message.contains("nothing is converted")),
            "{title}: {faults:?}"
        );
    }
    // A word in brackets is none.
    let fine = sheet("Form;T (mean)\nM-1;1450\n");
    let by = mapping(Pours::KIND, 1, &[("mould", "Form"), ("indicated_c", "T (mean)")]);
    assert!(!by.rows(&fine, Pours::KIND, &[]).faults.iter().any(|f| f.0 == 1));
}

#[test]
fn a_clock_in_a_title_is_the_sheet_s_clock_or_a_fault() {
    let clock = |title: &str, offset: Option<&str>, zone: Option<&str>| {
        let grid = sheet(&format!("Form;{title}\nM-1;2031-01-15 8:00\n"));
        let habits =
            Habits { offset: offset.map(String::from), zone: zone.map(String::from), ..Habits::default() };
        let by = Mapping { habits, ..mapping(Pours::KIND, 1, &[("mould", "Form"), ("poured_at", title)]) };
        let faults = by.rows(&grid, Pours::KIND, &[]).faults;
        faults.iter().any(|f| f.0 == 1 && f.1.message.contains("which clock"))
    };
    assert!(clock("at (UTC)", None, Some("Europe/Berlin")));
    assert!(clock("at (GMT+2)", Some("+01:00"), None));
    assert!(!clock("at (GMT+2)", Some("+02:00"), None));
    assert!(!clock("at [UTC]", Some("+00:00"), None) && !clock("at (local)", Some("+01:00"), None));
}

#[test]
fn what_has_no_tag_gets_one_by_a_pattern() {
    let text = "Blade;When;Res\nB-1;2031-01-15;accept\nB-1;2031-01-15;reject\nb-2;2031-01-16;accept\n";
    let by = Mapping {
        tag: Some("{blade}-VT-{inspected_at}-{n}".into()),
        fill: vec![("method".into(), "visual".into()), ("round".into(), "1".into())],
        ..mapping(Inspections::KIND, 1, &[("blade", "Blade"), ("inspected_at", "When"), ("result", "Res")])
    };
    by.check(Inspections::KIND, &[]).unwrap();
    let out = by.rows(&sheet(text), Inspections::KIND, &[]);
    let rows = csv(&out);
    let at = rows[0].iter().position(|f| f == "inspection").unwrap();
    let tags: Vec<&str> = rows[1..].iter().map(|r| r[at].as_str()).collect();
    assert_eq!(tags, ["B-1-VT-2031-01-15-1", "B-1-VT-2031-01-15-2", "b-2-VT-2031-01-16-1"]);
    for (pattern, part) in
        [("INS", "the same tag"), ("{blade", "not closed"), ("{nobody}", "nobody is no field")]
    {
        let by = Mapping { tag: Some(pattern.into()), ..by.clone() };
        assert!(by.check(Inspections::KIND, &[]).unwrap_err().message.contains(part), "{pattern}");
    }
    let pours = Mapping { tag: Some("{mould}".into()), ..mapping(Pours::KIND, 1, &[("mould", "x")]) };
    assert!(pours.check(Pours::KIND, &[]).unwrap_err().message.contains("no tag of its own"));
}

#[test]
fn one_column_shows_the_order_of_the_dates_of_all() {
    let text = "Box;Came in;Opened\nFL-1;3.11.2031;15.11.2031\nFL-2;4.11.2031;16.11.2031\n";
    let columns = [("filter_lot", "Box"), ("received_at", "Came in"), ("recorded_at", "Opened")];
    let out = mapping(FilterLots::KIND, 1, &columns).rows(&sheet(text), FilterLots::KIND, &[]);
    assert!(out.faults.is_empty(), "{:?}", out.faults);
    assert_eq!(csv(&out)[1][1], "2031-11-03T00:00:00+00:00");
    // Two columns that contradict each other settle nothing between them.
    let text = text.replace("16.11.2031", "11/16/2031");
    let out = mapping(FilterLots::KIND, 1, &columns).rows(&sheet(&text), FilterLots::KIND, &[]);
    assert!(
        out.faults[0].1.message.contains("1 further cell of this sheet asks the same"),
        "{:?}",
        out.faults
    );
}

#[test]
fn a_table_of_a_sheet_is_taken_and_the_others_are_named() {
    let text = "Filters;;;;Ovens\nBox;Came in;Got;;Run;At\nFL-1;15.01.2031;4;;O-1;9:00\nFL-2;16.01.2031;5;;O-2;9:30\n;;;;O-3;9:45\n\n\
                Box;Came in;Got\nFL-3;17.01.2031;6\n";
    let by = Mapping {
        table: Some("filters".into()),
        ..mapping(
            FilterLots::KIND,
            9,
            &[("filter_lot", "Box"), ("received_at", "Came in"), ("received_count", "Got")],
        )
    };
    let out = by.rows(&sheet(text), FilterLots::KIND, &[]);
    assert!(out.faults.is_empty(), "{:?}", out.faults);
    assert_eq!(out.lines.iter().map(|l| l.1).collect::<Vec<_>>(), [3, 4, 8]);
    assert_eq!(out.left_out.tables, ["Ovens (E2:F5)"]);
    for said in [
        "table 2, Ovens (E2:F5), was not read",
        "1 row: left out: the titles once more (row 7: Box | Came in | Got)",
    ] {
        assert!(out.remarks.iter().any(|r| r == said), "{said}: {:?}", out.remarks);
    }
    let none = Mapping { table: Some("Ofen".into()), ..by };
    let fault = &none.rows(&sheet(text), FilterLots::KIND, &[]).faults[0].1;
    assert!(fault.message.contains("has no table Ofen"), "{fault:?}");
}

#[test]
fn what_was_taken_as_meant_is_said_with_the_first() {
    let text = "Box;Came in;Got\nFL-1;15.01.31;1.200\nFL-2;45306;1.300,0\nFL-3;17.01.31;5\n";
    let columns = [("filter_lot", "Box"), ("received_at", "Came in"), ("received_count", "Got")];
    let out = mapping(FilterLots::KIND, 1, &columns).rows(&sheet(text), FilterLots::KIND, &[]);
    for said in [
        "2 cells: a year of two figures, 00 to 68 taken as 2000 to 2068 (first in row 2: 15.01.31 as 2031-01-15T00:00:00+00:00)",
        "1 cell: a date or time as a spreadsheet counts days (first in row 3: 45306 as 2024-01-15T00:00:00+00:00)",
        "2 cells: a mark between thousands (first in row 2: 1.200 as 1200)",
    ] {
        assert!(out.remarks.iter().any(|r| r == said), "{said}: {:?} {:?}", out.remarks, out.faults);
    }
}

#[test]
fn a_column_without_a_decimal_mark_is_written_as_the_others_are() {
    let text = |pores: &str| {
        format!("Box;Came in;Pores;Got\nFL-1;15.01.2031;{pores};1.020\nFL-2;16.01.2031;11;1.030\n")
    };
    let columns =
        [("filter_lot", "Box"), ("received_at", "Came in"), ("ppi", "Pores"), ("received_count", "Got")];
    let by = mapping(FilterLots::KIND, 1, &columns);
    // Nothing shows a mark: 1.020 stands with the point that bundles have. A decimal comma beside it: it may be a thousand.
    let out = by.rows(&sheet(&text("10,5")), FilterLots::KIND, &[]);
    let fault = &out.faults[0].1;
    assert_eq!((fault.column.as_str(), &fault.hint), ("Got", &Some(Hint::Sheet(SheetHint::Marks))));
    assert!(fault.message.contains("1020 or 1.020; 1 further cell of this column"), "{fault:?}");
    let out = by.rows(&sheet(&text("1.010,5")), FilterLots::KIND, &[]);
    assert_eq!(csv(&out)[1][2..4], ["1010.5", "1020"], "{:?}", out.faults);
}

#[test]
fn a_title_is_named_without_its_unit_in_brackets_or_behind() {
    for title in ["Pores ppm", "Pores [mm]", "Pores (mm)"] {
        let text = format!("Box;Came in;{title}\nFL-1;15.01.2031;11\n");
        let by = mapping(
            FilterLots::KIND,
            1,
            &[("filter_lot", "Box"), ("received_at", "Came in"), ("ppi", "pores")],
        );
        assert_eq!(csv(&by.rows(&sheet(&text), FilterLots::KIND, &[]))[1][2], "11", "{title}");
    }
    // Of two titles the whole one is meant.
    let by =
        mapping(FilterLots::KIND, 1, &[("filter_lot", "Box"), ("received_at", "Came in"), ("ppi", "Pores")]);
    let out = by.rows(&sheet("Box;Came in;Pores mm;Pores\nFL-1;15.01.2031;3;11\n"), FilterLots::KIND, &[]);
    assert_eq!(csv(&out)[1][2], "11");
}
