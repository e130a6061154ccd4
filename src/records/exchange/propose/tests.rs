//! Titles as shops write them. Which field each means is what a person of the trade would say.

use super::*;
use crate::exchange::grid;
use crate::exchange::grid::SHEET;
use crate::exchange::tables::tables;

/// The records that a store would hold: what a tag begins with says of which kind it is.
fn kind_of(tag: &str) -> Option<&'static str> {
    let known = [
        ("M31-", "moulds"),
        ("H31-", "heats"),
        ("B-", "blades"),
        ("PS31-", "slurry_batches"),
        ("ST31-", "stucco_lots"),
        ("IL31-", "ingot_lots"),
        ("WL31-", "wax_lots"),
        ("PYR-", "instruments"),
        ("RS-", "running_systems"),
        ("QB-", "parts"),
        ("QA-", "alloys"),
        ("OR31-", "oven_runs"),
        ("I31-", "inspections"),
    ];
    known.iter().find(|(begin, _)| tag.to_uppercase().starts_with(begin)).map(|(_, kind)| *kind)
}

fn proposed(sheet: &str, called: &str) -> (Vec<KindGuess>, Vec<Guess>) {
    let grid = grid::read(sheet.as_bytes(), None, &SHEET).unwrap();
    let columns = columns(&grid, tables(&grid)[0].head, &kind_of);
    let kinds = kinds(&columns, &[], &[called]);
    let found = kinds.first().map_or(Vec::new(), |k| guesses(&columns, k.kind, &[], &[]));
    (kinds, found)
}

#[test]
fn kinds_and_columns_of_sheets_as_shops_keep_them() {
    for (sheet, kind, wanted) in [
        (
            "Form;Schmelze;Datum;Zeit;Temp [°C];Form-Temp;Masse kg;Bemerkung\nM31-092;H31-048;3.6.2031;9:05;1477,5;1020;5,3;x\n",
            "pours",
            &[
                "mould=Form",
                "heat=Schmelze",
                "poured_at=Datum+Zeit",
                "indicated_c?Temp [°C]",
                "mould_c=Form-Temp",
                "mass_kg=Masse kg",
                "note=Bemerkung",
            ][..],
        ),
        (
            "Batch,Date,Time,Temp °C,Viscosity (s),Density,pH,Operator\nPS31-01,26/05/2031,7:55,21.4,39,2.72,9.78,OP-11\n",
            "slurry_checks",
            &[
                "slurry_batch=Batch",
                "occurred_at=Date+Time",
                "temp_c=Temp °C",
                "viscosity_s=Viscosity (s)",
                "density_g_cm3=Density",
                "ph=pH",
                "person=Operator",
            ],
        ),
        (
            "Blade,Method,Date,Inspector,Result,Remarks\nB-1,visual,2031-05-26,OP-23,accept,\nB-2,visual,2031-05-26,OP-23,reject,crack?\n",
            "inspections",
            &[
                "blade=Blade",
                "method=Method",
                "inspected_at=Date",
                "person=Inspector",
                "result=Result",
                "note=Remarks",
            ],
        ),
        (
            "Heat No,Alloy,Furnace,Crucible,Crucible life,Melted,Vacuum mbar,Power kW,Operator\nH31-101,QA-713/3,VF-1,CR-6,9,2031-06-02 08:11,0.0061,60.1,OP-07\n",
            "heats",
            &[
                "heat=Heat No",
                "alloy=Alloy",
                "furnace=Furnace",
                "crucible=Crucible",
                "crucible_life=Crucible life",
                "melted_at=Melted",
                "vacuum_mbar=Vacuum mbar",
                "power_kw=Power kW",
                "person=Operator",
            ],
        ),
        (
            "Mold;Coat;Slurry;Stucco;In;Out;Room [°C];RH %\nM31-001;1;PS31-01;ST31-01;2031-02-26 8:31;2031-02-26 12:18;22.4;49\n",
            "coats",
            &[
                "mould=Mold",
                "coat=Coat",
                "slurry_batch=Slurry",
                "stucco_lot=Stucco",
                "in_at=In",
                "out_at=Out",
                "room_c=Room [°C]",
                "rh_pct=RH %",
            ],
        ),
        ("Melt no\tMaterial\tkg\nH31-101\tIL31-01\t4.1\n", "charges", &["heat=Melt no", "mass_kg?kg"]),
        (
            "Heat,Ingot,Mass kg\nH31-101,IL31-01,4.1\nH31-101,IL31-02,6.2\n",
            "charges",
            &["heat=Heat", "source?Ingot", "mass_kg=Mass kg"],
        ),
        (
            "Inspection,Defect,Zone,Side,Size mm,Count\nI31-1,inclusion,RT,,1.2,1\n",
            "findings",
            &[
                "inspection=Inspection",
                "defect=Defect",
                "zone=Zone",
                "side=Side",
                "size_mm=Size mm",
                "count=Count",
            ],
        ),
        (
            "Run,Wax lot,Part,Die,Injected,Wax temp °C,Pressure bar,Dwell s,Made,Rejected\nWP-1,WL31-01,QB-2207,D-2,2031-02-24 10:32,63.5,22,44,36,2\n",
            "pattern_runs",
            &[
                "wax_lot=Wax lot",
                "part=Part",
                "die=Die",
                "injected_at=Injected",
                "wax_c=Wax temp °C",
                "pressure_bar=Pressure bar",
                "dwell_s=Dwell s",
            ],
        ),
        (
            "Lot,Maker heat,Alloy,Received,Mass kg,Certificate\nL-1,V-100,QA-713,2031-01-20 9:00,500,C-1\n",
            "ingot_lots",
            &[
                "maker_heat=Maker heat",
                "alloy=Alloy",
                "received_at=Received",
                "mass_kg=Mass kg",
                "certificate=Certificate",
            ],
        ),
    ] {
        let (kinds, found) = proposed(sheet, "book.csv");
        assert_eq!(kinds[0].kind.name, kind, "{sheet}: {kinds:?}");
        let said: Vec<String> = found
            .iter()
            .map(|g| format!("{}{}{}", g.field, if g.sure { '=' } else { '?' }, g.column))
            .collect();
        for one in wanted {
            assert!(said.iter().any(|s| s == one), "{kind}: {one} is not in {said:?}");
        }
    }
}

#[test]
fn what_two_fields_may_be_is_not_sure() {
    // Pieces may have been received or rejected; a temperature may be the metal's or the mould's.
    let (kinds, found) = proposed("Filter lot,Received,Pieces\nFL-1,2031-01-01 8:00,24\n", "filters.csv");
    assert!(kinds[0].kind.name == "filter_lots" && kinds[0].sure, "{kinds:?}");
    let pieces = found.iter().find(|g| g.column == "Pieces").unwrap();
    assert!(!pieces.sure, "{pieces:?}");
    // Titles that say nothing leave the kind open.
    let (kinds, _) = proposed("A,B,C\n1,2,3\n", "x.csv");
    assert!(kinds.first().is_none_or(|k| !k.sure), "{kinds:?}");
}

#[test]
fn values_and_units_rule_a_column_out() {
    // Degrees Fahrenheit are no field's; a column of words is no temperature; dates are no masses.
    let sheet = "Mould,Heat,Poured,Temp [°F],Mould temp °C,Mass kg\nM31-1,H31-1,2031-01-01 8:00,2600,hot,2031-01-01\n";
    let (kinds, found) = proposed(sheet, "x.csv");
    assert_eq!(kinds[0].kind.name, "pours");
    for column in ["Temp [°F]", "Mould temp °C", "Mass kg"] {
        assert!(found.iter().all(|g| g.column != column), "{found:?}");
    }
    // What leads to heats is no mould, whatever its title.
    let (_, found) = proposed("Mould,Heat,Poured\nH31-1,H31-2,2031-01-01 8:00\n", "pours.csv");
    assert!(found.iter().all(|g| g.field != "mould"), "{found:?}");
}

#[test]
fn days_as_a_spreadsheet_counts_them_are_dates_below_such_a_title_alone() {
    // 47867 is 2031-01-19: 45306 is 2024-01-15, and seven years with two leap days, and four days, are 2561 days.
    let dated = proposed("Filter lot;Date;Pores\nFL-1;47867;10\nFL-2;47868;20\n", "x.csv").1;
    assert!(dated.iter().any(|g| g.field == "received_at" && g.column == "Date"), "{dated:?}");
    let counted = proposed("Filter lot;Got;Pores\nFL-1;47867;10\nFL-2;47868;20\n", "filter_lots.csv").1;
    assert!(counted.iter().all(|g| g.field != "received_at"), "{counted:?}");
}

#[test]
fn what_is_given_is_settled_and_its_column_is_no_other_field_s() {
    let sheet = "Mould,Heat,Poured,Temp °C\nM31-1,H31-1,2031-01-01 8:00,1030\n";
    let grid = grid::read(sheet.as_bytes(), None, &SHEET).unwrap();
    let columns = columns(&grid, (0, 0), &kind_of);
    let kind = catalogue::find("pours").unwrap();
    let given = [("mould_c".to_string(), "Temp °C".to_string()), ("heat".to_string(), String::new())];
    let found = guesses(&columns, kind, &[], &given);
    assert!(
        found.iter().all(|g| !["mould_c", "heat", "indicated_c"].contains(&g.field.as_str())),
        "{found:?}"
    );
}

#[test]
fn patterns_words_and_blanks() {
    let kind = |name: &str| catalogue::find(name).unwrap();
    let all = |kind: &Kind| pattern(kind, &must(kind).collect::<Vec<_>>());
    assert_eq!(all(kind("inspections")).as_deref(), Some("IN-{blade}-{inspected_at}-{n}"));
    assert_eq!(all(kind("analyses")).as_deref(), Some("AN-{subject}-{taken_at}-{n}"));
    // A pour has no tag.
    assert_eq!(all(kind("pours")), None);
    let words = |kind_of: &str, field: &str| match kind(kind_of).field(field).unwrap().ty {
        Type::Choice(words) => words,
        other => panic!("{other:?}"),
    };
    let results = words("inspections", "result");
    assert_eq!(
        (word("OK", results), word("N.i.O.", results), word("maybe", results)),
        (Some("accept"), Some("reject"), None)
    );
    let methods = words("inspections", "method");
    assert_eq!(
        (word("FPI", methods), word("Radio", methods), word("wall thickness", methods)),
        (Some("penetrant"), Some("radiograph"), Some("wall_thickness"))
    );
    assert_eq!(blanks(["-", "3", " – ", "-", "x"].into_iter()), ["-", "–"]);
}
