use proptest::prelude::*;

use super::*;
use crate::exchange::grid::Moment;
use crate::exchange::unread::SheetHint;

fn german() -> Habits {
    let given = |t: &str| Some(t.to_string());
    Habits {
        decimal_comma: true,
        dates: Some(Order::DayFirst),
        offset: given("+01:00"),
        hour: None,
        blanks: vec!["-".into()],
        ..Habits::default()
    }
}

fn in_field(ty: Type, cells: &[&CellValue], habits: &Habits) -> Result<Written, String> {
    read(Wanted { ty, unit: "" }, cells, habits, &Seen::default()).map_err(|e| e.message)
}

fn one(ty: Type, text: &str, habits: &Habits) -> Result<String, String> {
    in_field(ty, &[&CellValue::Text(text.into())], habits).map(|w| w.text)
}

/// A column of numbers in kg.
fn column(texts: &[&str], habits: &Habits) -> Vec<Result<String, Unread>> {
    let cells: Vec<CellValue> = texts.iter().map(|t| CellValue::Text((*t).into())).collect();
    let (seen, of) = (Seen::of(cells.iter()), Wanted { ty: Type::Number, unit: "kg" });
    cells.iter().map(|c| read(of, &[c], habits, &seen).map(|w| w.text)).collect()
}

#[test]
fn numbers_with_either_mark_and_their_unit() {
    let none = Habits::default();
    for (text, wanted) in [
        ("12,5", "12.5"),
        ("12.5", "12.5"),
        ("12,5 kg", "12.5"),
        ("12.5kg", "12.5"),
        ("0,125", "0.125"),
        ("1450,125", "1450.125"),
        ("-0.5", "-0.5"),
        ("−0.5", "-0.5"),
        ("<5", "<5"),
        ("< 0,02 kg", "<0.02"),
        ("1.2e-3", "1.2e-3"),
        ("1.250", "1.250"),
        ("N/A", "n/a"),
        ("12.5 \u{a0}", "12.5"),
    ] {
        for habits in [&none, &german()] {
            let read = &column(&[text], habits)[0];
            // With decimal commas 1.250 may be a thousand and a quarter of one.
            if text == "1.250" && habits.decimal_comma {
                assert!(read.as_ref().unwrap_err().message.contains("1250 or 1.250"), "{read:?}");
                continue;
            }
            assert_eq!(read.as_deref().ok(), Some(wanted), "{text}: {read:?}");
        }
    }
    for (text, part) in [
        ("1,250", "may be 1250 or 1.250"),
        ("1.25,5", "part neither thousands nor decimals"),
        ("12.5 g", "is in g; the field is in kg"),
        ("12.5 lbs", "is in lbs"),
    ] {
        let read = column(&[text], &none);
        assert!(read[0].as_ref().unwrap_err().message.contains(part), "{read:?}");
    }
    assert_eq!(column(&["1,250"], &german())[0].as_deref().ok(), Some("1.250"));
    let pct = Wanted { ty: Type::Number, unit: "%" };
    let share = read(pct, &[&CellValue::Text("0.02 %".into())], &none, &Seen::default()).unwrap();
    assert_eq!(share.text, "0.02");
    assert!(one(Type::Number, "0.02 %", &none).unwrap_err().contains("\"%\" beside the number"));
    assert_eq!(one(Type::Count, "24 pcs", &none).unwrap(), "24");
    assert_eq!(one(Type::Count, "24,0", &none).unwrap(), "24");
}

#[test]
fn a_column_that_mixes_both_marks_says_what_it_does_not_decide() {
    let mixed = column(&["12,5", "12.5", "1.450"], &Habits::default());
    assert_eq!(mixed[..2], [Ok("12.5".to_string()), Ok("12.5".to_string())]);
    let asked = mixed[2].as_ref().unwrap_err();
    assert_eq!(asked.hint, Some(SheetHint::Marks));
    assert!(asked.message.contains("1450 or 1.450"), "{asked:?}");
}

#[test]
fn a_column_of_dates_shows_its_order_where_one_of_them_does() {
    let none = Habits::default();
    let dates = |texts: &[&str]| -> Vec<Result<String, Unread>> {
        let cells: Vec<CellValue> = texts.iter().map(|t| CellValue::Text((*t).into())).collect();
        let (seen, of) = (Seen::of(cells.iter()), Wanted { ty: Type::Date, unit: "" });
        cells.iter().map(|c| read(of, &[c], &none, &seen).map(|w| w.text)).collect()
    };
    let texts = |d: Vec<Result<String, Unread>>| d.into_iter().map(Result::unwrap).collect::<Vec<_>>();
    assert_eq!(texts(dates(&["3.11.2031", "15.11.2031"])), ["2031-11-03", "2031-11-15"]);
    assert_eq!(texts(dates(&["3/11/2031", "11/15/2031"])), ["2031-03-11", "2031-11-15"]);
    assert_eq!(texts(dates(&["3.3.2031"])), ["2031-03-03"]);
    for undecided in [dates(&["3.11.2031"]), dates(&["3.11.2031", "15.11.2031", "11.15.2031"])] {
        let asked = undecided[0].as_ref().unwrap_err();
        assert_eq!(asked.hint, Some(SheetHint::Dates));
        assert!(asked.message.contains("2031-11-03 or 2031-03-11"), "{asked:?}");
        assert!(undecided[1..].iter().all(Result::is_ok));
    }
    let named = ["3 Nov 2031", "3. November 2031", "Nov 3, 2031", "3-nov-2031", "2031-Nov-03"];
    assert_eq!(texts(dates(&named)), ["2031-11-03"; 5]);
    assert_eq!(texts(dates(&["4. März 2031", "4 Dez 2031"])), ["2031-03-04", "2031-12-04"]);
}

#[test]
fn days_as_a_spreadsheet_counts_them() {
    // 45306 is 2024-01-15 by the table of any spreadsheet; a third of a day is eight o'clock.
    for cell in [CellValue::Number(45306.0), CellValue::Text("45306".into())] {
        let day = in_field(Type::Date, &[&cell], &german()).unwrap();
        assert_eq!((day.text.as_str(), day.taken), ("2024-01-15", vec![Taken::DayNumber]));
    }
    assert_eq!(one(Type::Time, "45306,333333333", &german()).unwrap(), "2024-01-15T08:00:00+01:00");
    assert!(one(Type::Time, "45306.999999999", &german()).unwrap_err().contains("date alone"));
    let (day, clock) = (CellValue::Text("15.1.2024".into()), CellValue::Number(0.375));
    let joined = in_field(Type::Time, &[&day, &clock], &german()).unwrap();
    assert_eq!(joined.text, "2024-01-15T09:00:00+01:00");
    assert!(one(Type::Date, "4530", &german()).is_err());
}

#[test]
fn midnight_is_a_time_where_the_cell_shows_hours() {
    let midnight = CellValue::Moment(Moment { date: Some((2031, 3, 4)), time: Some((0, 0, 0, 0)) });
    let at = in_field(Type::Time, &[&midnight], &german()).unwrap();
    assert_eq!((at.text.as_str(), at.hour_given), ("2031-03-04T00:00:00+01:00", false));
}

#[test]
fn times_as_people_write_them() {
    // By hand: 12 AM is midnight, 12 PM noon; a time with its own offset keeps it.
    let american =
        Habits { dates: Some(Order::MonthFirst), offset: Some("-05:00".into()), ..Habits::default() };
    for (text, habits, wanted) in [
        ("3.11.2031 7:45", german(), "2031-11-03T07:45:00+01:00"),
        ("03-11-2031, 07:45:30", german(), "2031-11-03T07:45:30+01:00"),
        ("2031/3/4 7:45", german(), "2031-03-04T07:45:00+01:00"),
        ("2031-03-04T07:45", german(), "2031-03-04T07:45:00+01:00"),
        ("2031-03-04T07:45:00Z", german(), "2031-03-04T07:45:00Z"),
        ("4.3.2031 7:45+02:00", german(), "2031-03-04T07:45:00+02:00"),
        ("3/4/2031 12:05 AM", american.clone(), "2031-03-04T00:05:00-05:00"),
        ("3/4/2031 12:05 PM", american.clone(), "2031-03-04T12:05:00-05:00"),
        ("3/4/2031 1:05 pm", american, "2031-03-04T13:05:00-05:00"),
    ] {
        assert_eq!(one(Type::Time, text, &habits).as_deref(), Ok(wanted), "{text}");
    }
}

#[test]
fn what_may_be_read_in_two_ways_is_asked() {
    let none = Habits::default();
    for (ty, text, habits, part) in [
        (Type::Date, "3.11.2031", none.clone(), "two ways"),
        (Type::Date, "3.11.31", none.clone(), "2031-11-03 or 2031-03-11"),
        (Type::Date, "03/10/31", none.clone(), "three ways, 2031-10-03 or 2031-03-10 or 2003-10-31"),
        (Type::Date, "31-11-03", none.clone(), "may be"),
        (Type::Date, "99-11-03", german(), "two figures in front"),
        (Type::Date, "31.2.2031", german(), "no such day"),
        (Type::Time, "3.11.2031", german(), "date alone"),
        (Type::Time, "2031-11-03 7:45", none.clone(), "no offset"),
        (Type::Time, "7:45", german(), "without a date"),
        (Type::Time, "3.11.2031 13:05 PM", german(), "1 to 12"),
        (Type::Time, "3.11.2031 4.11.2031", german(), "second date"),
        (Type::Number, "1,500", none, "1500 or 1.500"),
        (Type::Number, "1.23,5", german(), "thousands"),
        (Type::Number, "1.500", german(), "1500 or 1.500"),
    ] {
        let fault = one(ty, text, &habits).unwrap_err();
        assert!(fault.contains(part), "{text}: {fault}");
    }
}

#[test]
fn cells_of_a_spreadsheet() {
    let date = CellValue::Moment(Moment { date: Some((2031, 3, 4)), time: None });
    let clock = CellValue::Moment(Moment { date: None, time: Some((7, 45, 0, 0)) });
    let both = in_field(Type::Time, &[&date, &clock], &german()).unwrap();
    assert_eq!(both, Written { text: "2031-03-04T07:45:00+01:00".into(), ..Written::default() });
    let alone = in_field(Type::Time, &[&date], &Habits { hour: Some("00:00".into()), ..german() }).unwrap();
    assert_eq!(
        alone,
        Written { text: "2031-03-04T00:00:00+01:00".into(), hour_given: true, taken: Vec::new() }
    );
    assert!(in_field(Type::Tag, &[&date], &german()).unwrap_err().contains("text"));
    let formula = CellValue::Formula("A1*2".into(), Box::new(CellValue::Number(12.0)));
    assert_eq!(in_field(Type::Count, &[&formula], &german()).unwrap().text, "12");
    let yes = in_field(Type::Choice(&["yes", "no"]), &[&CellValue::Truth(true)], &german()).unwrap();
    assert_eq!(yes.text, "yes");
    assert_eq!(one(Type::Number, "<1,5", &german()).unwrap(), "<1.5");
    assert_eq!(one(Type::Number, "-", &german()).unwrap(), "");
}

#[test]
fn thousands_where_the_column_shows_them() {
    let none = Habits::default();
    let all = |texts: &[&str], habits: &Habits| -> Vec<String> {
        column(texts, habits).into_iter().map(|r| r.unwrap_or_else(|e| e.message)).collect()
    };
    // ISO 80000-1, 7.3.1: digits in groups of three, parted by a small gap; the others as offices write them.
    let own = [
        "1 234,5",
        "1\u{a0}234,5",
        "1\u{202f}234.5 kg",
        "1'234.5",
        "1’234,5",
        "1.234,5",
        "1,234.5",
        "< 1 234,5",
    ];
    let wanted = ["1234.5", "1234.5", "1234.5", "1234.5", "1234.5", "1234.5", "1234.5", "<1234.5"];
    assert_eq!(all(&own, &none), wanted);
    assert_eq!(all(&["1.234.567", "12 000", "-1 200"], &none), ["1234567", "12000", "-1200"]);
    // One that shows its marks settles those that do not.
    assert_eq!(all(&["1.234,5", "1.450", "12,25"], &none), ["1234.5", "1450", "12.25"]);
    assert_eq!(all(&["1,234.5", "1,450", "12.25"], &none), ["1234.5", "1450", "12.25"]);
    // What shows both ways settles nothing.
    assert_eq!(all(&["1.234,5", "1,234.5", "1.450"], &none)[2], "may be 1450 or 1.450");
    assert_eq!(all(&["1,450"], &Habits { thousands: true, ..Habits::default() }), ["1450"]);
    assert_eq!(all(&["1.450"], &Habits { thousands: true, ..german() }), ["1450"]);
    for odd in ["1 23,5", "1'23", "1.23.456", "12 34"] {
        assert!(column(&[odd], &none)[0].is_err(), "{odd}");
    }
    let taken = read(
        Wanted { ty: Type::Number, unit: "" },
        &[&CellValue::Text("1 234".into())],
        &none,
        &Seen::default(),
    );
    assert_eq!(taken.unwrap().taken, [Taken::Thousands]);
}

#[test]
fn years_of_two_figures_are_filled_up_and_said() {
    // POSIX.1-2017, strptime, %y: 00 to 68 are of the twenty-first century, 69 to 99 of the twentieth.
    for (text, wanted) in [
        ("3.11.31", "2031-11-03"),
        ("3.11.68", "2068-11-03"),
        ("3.11.69", "1969-11-03"),
        ("3/11/31", "2031-11-03"),
        ("3-Nov-31", "2031-11-03"),
        ("Nov 3, 31", "2031-11-03"),
    ] {
        let read = in_field(Type::Date, &[&CellValue::Text(text.into())], &german()).unwrap();
        assert_eq!((read.text.as_str(), read.taken), (wanted, vec![Taken::ShortYear]), "{text}");
    }
    // The thirteenth of a month shows the order of the others; with points the year stands last.
    let cells = ["3.11.31", "13.11.31"].map(|t| CellValue::Text(t.into()));
    let seen = Seen::of(cells.iter());
    let of = Wanted { ty: Type::Date, unit: "" };
    assert_eq!(read(of, &[&cells[0]], &Habits::default(), &seen).unwrap().text, "2031-11-03");
    // 13-11-31 may be a day of 2013 as well.
    assert_eq!(Seen::of([CellValue::Text("13-11-31".into())].iter()), Seen::default());
}

#[test]
fn times_by_the_clock_of_a_zone() {
    let berlin =
        Habits { zone: Some("Europe/Berlin".into()), dates: Some(Order::DayFirst), ..Habits::default() };
    berlin.check().unwrap();
    // Directive 2000/84/EC: summer time from 2024-03-31 to 2024-10-27, 01:00 UTC.
    for (text, wanted) in [
        ("30.3.2024 7:45", Ok("2024-03-30T07:45:00+01:00")),
        ("31.3.2024 7:45", Ok("2024-03-31T07:45:00+02:00")),
        ("31.3.2024 2:15", Err("never comes on the clock of Europe/Berlin")),
        ("27.10.2024 2:15", Err("write it with its offset, +02:00 or +01:00")),
        ("27.10.2024 2:15+01:00", Ok("2024-10-27T02:15:00+01:00")),
        ("31.2.2024 2:15", Err("no such day")),
    ] {
        let read = one(Type::Time, text, &berlin);
        match wanted {
            Ok(wanted) => assert_eq!(read.as_deref(), Ok(wanted), "{text}"),
            Err(part) => assert!(read.as_ref().is_err_and(|e| e.contains(part)), "{text}: {read:?}"),
        }
    }
    let both = Habits { offset: Some("+01:00".into()), ..berlin };
    assert!(both.check().unwrap_err().message.contains("not both"));
}

/// A number as somebody writes it: with this mark between thousands, and that one before the decimals.
fn written(n: u32, decimals: u32, gap: &str, mark: &str) -> String {
    let whole = n.to_string();
    let mut out = String::new();
    for (i, c) in whole.chars().enumerate() {
        if i > 0 && (whole.len() - i).is_multiple_of(3) {
            out.push_str(gap);
        }
        out.push(c);
    }
    format!("{out}{mark}{decimals:02}")
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// A number with two decimals leaves no reading but one, however its thousands are parted; and it settles its column.
    #[test]
    fn a_number_is_read_as_it_was_meant(
        n in 0..10_000_000_u32,
        decimals in 0..100_u32,
        other in 1_000..1_000_000_u32,
        style in prop::sample::select(vec![("", "."), ("", ","), (" ", ","), (" ", "."), ("'", "."), ("’", ","), (".", ","), (",", "."), ("\u{a0}", ",")]),
    ) {
        let (gap, mark) = style;
        let text = written(n, decimals, gap, mark);
        let read = column(&[&text], &Habits::default());
        let value: f64 = read[0].as_ref().map_err(|e| e.message.clone()).unwrap().parse().unwrap();
        prop_assert!((value - (f64::from(n) + f64::from(decimals) / 100.0)).abs() < 1e-6, "{text}: {value}");
        // 1.234.567,25 shows how 1.450 is meant.
        if n >= 1_000 && !gap.is_empty() {
            let alone = written(other, 0, gap, "|");
            let alone = alone.split('|').next().unwrap();
            let read = column(&[&text, alone], &Habits::default());
            prop_assert_eq!(read[1].clone().map_err(|e| e.message), Ok(other.to_string()), "{} {}", text, alone);
        }
    }
}
