//! The form machine by itself.

use crate::ui::form::*;
use crate::ui::order::Failure;
use records::Value;
use records::catalogue::kind;

fn now() -> Stamp {
    Stamp::parse("2031-05-26T08:00:00+02:00").unwrap()
}

fn form(name: &str) -> Form {
    Form::new(kind(name).unwrap(), &[])
}

fn fill(form: &mut Form, pairs: &[(&str, &str)]) {
    for (name, text) in pairs {
        form.set(name, text, Origin::Typed);
    }
}

#[test]
fn every_kind_has_a_form() {
    for kind in records::catalogue::all() {
        let form = Form::new(kind, &[]);
        assert_eq!(form.rows.len(), kind.fields.len() + 1, "{}", kind.name);
        for row in &form.rows {
            assert!(!row.label().is_empty());
        }
    }
}

#[test]
fn measurements_results_and_single_pieces_are_never_carried() {
    for kind in records::catalogue::all() {
        for field in kind.fields.iter().filter(|f| carried(kind, f)) {
            assert!(matches!(field.ty, Type::Text | Type::Ref(_)), "{}.{}", kind.name, field.name);
            assert!(!field.key);
        }
    }
    let pours = kind("pours").unwrap();
    let taken: Vec<&str> = pours.fields.iter().filter(|f| carried(pours, f)).map(|f| f.name).collect();
    assert_eq!(taken, ["heat", "pyrometer"]);
    let inspections = kind("inspections").unwrap();
    assert!(!carried(inspections, inspections.field("blade").unwrap()));
}

#[test]
fn who_did_it_is_who_works_here_and_nobody_else() {
    for kind in records::catalogue::all() {
        let people: Vec<&str> = kind.fields.iter().filter(|f| f.names_person()).map(|f| f.name).collect();
        let last: Vec<(String, String)> = people.iter().map(|n| ((*n).to_string(), "OP-99".into())).collect();
        for who in [None, Some("OP-07")] {
            let mut form = Form::new(kind, &[]);
            form.start(&[], &last, who);
            for name in &people {
                let text = form.text(name);
                // A new person, or whose qualification it is, is not who types it.
                let own = *name == "person" && kind.field(name).is_some_and(|f| f.ty == Type::Text);
                let right = if own { who.unwrap_or("") } else { "" };
                assert_eq!(text, right, "{}.{name}", kind.name);
            }
        }
    }
}

#[test]
fn the_last_pour_gives_heat_and_pyrometer_and_no_temperature() {
    let mut form = Form::new(kind("pours").unwrap(), &[("mould".into(), "M31-100".into())]);
    let last: Vec<(String, String)> = [
        ("mould", "M31-099"),
        ("heat", "H31-050"),
        ("pyrometer", "PYR-04"),
        ("indicated_c", "1487"),
        ("seal_state", "tight"),
    ]
    .map(|(a, b)| (a.to_string(), b.to_string()))
    .to_vec();
    form.start(&[], &last, Some("OP-07"));
    assert_eq!(form.text("mould"), "M31-100");
    assert_eq!(form.text("heat"), "H31-050");
    assert_eq!(form.text("person"), "OP-07");
    assert_eq!(form.text("indicated_c"), "");
    assert_eq!(form.text("seal_state"), "");
    // The cursor stands where the first thing is missing.
    assert_eq!(form.chosen().unwrap().name(), "pour_order");
}

#[test]
fn a_carried_text_is_replaced_by_the_first_letter() {
    let mut form = form("pours");
    form.set("heat", "H31-050", Origin::Carried);
    form.at = 1;
    form.type_char('H');
    form.type_char('9');
    assert_eq!(form.text("heat"), "H9");
    form.erase();
    assert_eq!(form.text("heat"), "H");
}

#[test]
fn missing_values_are_distinct() {
    let mut form = form("pours");
    fill(&mut form, &[("mould", "M1"), ("heat", "H1")]);
    form.at = form.rows.iter().position(|r| r.name() == "indicated_c").unwrap();
    form.put("illegible").unwrap();
    form.at += 1;
    form.put("n/a").unwrap();
    let Ok(Ready::New(pairs)) = form.accept(now(), "") else { panic!() };
    assert!(pairs.contains(&"indicated_c=illegible".to_string()));
    assert!(pairs.contains(&"pyrometer=n/a".to_string()));
    assert!(pairs.contains(&"poured_at=2031-05-26T08:00:00+02:00".to_string()));
    assert!(!pairs.iter().any(|p| p.starts_with("mould_c")));
    form.at = 0;
    assert!(form.put("n/a").is_err(), "a mould must be named");
    let record = form.record(now());
    assert_eq!(record.get("indicated_c"), &Value::Illegible);
    assert_eq!(record.get("mould_c"), &Value::Blank);
}

#[test]
fn a_required_field_stops_and_takes_the_cursor() {
    let mut form = form("pours");
    fill(&mut form, &[("mould", "M1")]);
    assert_eq!(form.accept(now(), ""), Err(Stop::Faults(1)));
    assert_eq!(form.at, 1);
    assert!(form.rows[1].fault.is_some());
}

#[test]
fn a_guard_asks_for_a_reason_and_takes_it() {
    let mut form = form("pours");
    fill(&mut form, &[("mould", "M1"), ("heat", "H1"), ("indicated_c", "148")]);
    assert!(form.row("indicated_c").unwrap().outside().is_some());
    let Err(Stop::Guards(guards)) = form.accept(now(), "") else { panic!() };
    assert_eq!(guards[0].field, "indicated_c");
    assert!(form.accept(now(), "read through a dirty window").is_ok());
    fill(&mut form, &[("note", "dirty window")]);
    assert!(form.accept(now(), "").is_ok());
}

/// A pour whose time is typed so.
fn poured(text: &str) -> Form {
    let mut form = form("pours");
    fill(&mut form, &[("mould", "M1"), ("heat", "H1"), ("poured_at", text)]);
    form.mark(now());
    form
}

#[test]
fn times_are_read_as_people_write_them() {
    let at = |text: &str| poured(text).row("poured_at").unwrap().resolved(now().into());
    assert_eq!(at("7:05"), "2031-05-26T07:05:00+02:00");
    assert_eq!(at("9:05"), "2031-05-25T09:05:00+02:00");
    assert_eq!(at("now"), "2031-05-26T08:00:00+02:00");
    assert_eq!(at("25:00"), "25:00");
    assert_eq!(at("2031-05-26T08:00:00Z"), "2031-05-26T08:00:00Z");
    let mut wrong = poured("25:00");
    assert!(matches!(wrong.accept(now(), ""), Err(Stop::Faults(_))));
    assert!(
        wrong.row("poured_at").unwrap().fault.as_ref().unwrap().starts_with("there is no such time of day")
    );
}

#[test]
fn minutes_ago_count_from_when_they_were_typed_and_now_from_saving() {
    let later = now().later_ms(20 * 60_000);
    let at = |text: &str| poured(text).row("poured_at").unwrap().resolved(later.into());
    assert_eq!(at("-10 min"), "2031-05-26T07:50:00+02:00");
    assert_eq!(at("8:10"), "2031-05-25T08:10:00+02:00", "as it was shown while it was typed");
    assert_eq!(at("now"), "2031-05-26T08:20:00+02:00");
    let back = Form::from_draft(&poured("-10 min").to_draft(7, later)).unwrap();
    assert_eq!(back.text("poured_at"), "2031-05-26T07:50:00+02:00");
}

#[test]
fn nothing_lands_in_the_future() {
    for text in ["+5", "31.12.2031 14:00", "2031-05-26T08:03:00+02:00"] {
        let mut form = poured(text);
        let place = form.rows.iter().position(|r| r.name() == "poured_at").unwrap();
        assert_eq!(form.accept(now(), "planned so"), Err(Stop::Faults(place)), "{text}");
        assert!(form.rows[place].fault.as_ref().unwrap().contains("in the future by the clock"));
    }
    assert!(poured("+2").accept(now(), "").is_ok(), "two clocks differ");
    let mut due = form("calibrations");
    fill(
        &mut due,
        &[("instrument", "P1"), ("check", "calibration"), ("result", "good"), ("due_at", "+90 d")],
    );
    let Ok(Ready::New(pairs)) = due.accept(now(), "") else { panic!() };
    assert!(pairs.contains(&"due_at=2031-08-24T08:00:00+02:00".to_string()), "{pairs:?}");
}

#[test]
fn a_late_entry_asks_why_whatever_its_kind() {
    let limited: Vec<&Kind> = records::catalogue::all().filter(|k| k.late_min.is_some()).collect();
    assert!(limited.len() >= 2);
    for kind in limited {
        let limit = kind.late_min.unwrap();
        for (minutes, late) in [(limit, false), (limit + 1.0, true)] {
            let mut form = Form::new(kind, &[]);
            for field in kind.fields.iter().filter(|f| !f.optional) {
                fill(&mut form, &[(field.name, "X-1")]);
            }
            fill(&mut form, &[(kind.time.unwrap(), &format!("-{minutes}"))]);
            let asked = form.accept(now(), "");
            assert_eq!(matches!(&asked, Err(Stop::Guards(g)) if g[0].field == LATE), late, "{asked:?}");
            let Ok(Ready::New(pairs)) = form.accept(now(), "the pad lay in the other bay") else { panic!() };
            let noted = pairs.contains(&"note=late entry: the pad lay in the other bay".to_string());
            assert_eq!(noted, late, "{pairs:?}");
        }
    }
}

#[test]
fn codes_go_where_their_kind_fits() {
    let mut form = form("pours");
    assert_eq!(form.place_of("M1", Some("moulds")), Some(0));
    assert_eq!(form.place_of("H1", Some("heats")), Some(1));
    assert_eq!(form.place_of("L1", Some("lots")), None);
    // A known record never lands in a number or a text.
    form.at = form.rows.iter().position(|r| r.name() == "indicated_c").unwrap();
    assert_eq!(form.place_of("H1", Some("heats")), Some(1));
    // Digits that are no tag are what they look like.
    assert_eq!(form.place_of("1480", None), Some(form.at));
    assert_eq!(form.place_of("XYZ", None), None);
    // On the line to accept a code presses nothing.
    form.at = form.rows.len();
    assert_eq!(form.place_of("XYZ", None), None);
    let moulds = Form::new(kind("moulds").unwrap(), &[]);
    assert_eq!(moulds.place_of("M31-200", None), Some(0), "a new tag goes to the record's own");
}

#[test]
fn choices_are_made_by_letter_or_by_turning() {
    let mut form = form("pours");
    form.at = form.rows.iter().position(|r| r.name() == "seal_state").unwrap();
    form.type_char('w');
    assert_eq!(form.text("seal_state"), "weep");
    form.turn(1);
    assert_eq!(form.text("seal_state"), "leak");
    form.turn(1);
    assert_eq!(form.text("seal_state"), "tight");
    form.type_char('z');
    assert_eq!(form.text("seal_state"), "tight");
    form.erase();
    assert_eq!(form.text("seal_state"), "");
}

#[test]
fn filling_blanks_needs_no_reason_and_changing_does() {
    let mut form = form("pours");
    let fields: Vec<(String, String)> =
        [("mould", "M1"), ("heat", "H1"), ("poured_at", "2031-05-26T08:00:00+02:00")]
            .map(|(a, b)| (a.to_string(), b.to_string()))
            .to_vec();
    form.load("pours:M1".into(), &fields);
    assert_eq!(form.accept(now(), ""), Err(Stop::Same));
    fill(&mut form, &[("indicated_c", "1480")]);
    let wanted = vec![("indicated_c".to_string(), "1480".to_string())];
    assert_eq!(form.accept(now(), ""), Ok(Ready::Changes(wanted, Some("details added later"))));
    fill(&mut form, &[("heat", "H2")]);
    assert_eq!(form.accept(now(), ""), Err(Stop::Reason));
    assert!(form.accept(now(), "wrong heat typed").is_ok());
}

#[test]
fn a_draft_comes_back_as_it_was() {
    let mut form = form("pours");
    fill(&mut form, &[("mould", "M1"), ("indicated_c", "14")]);
    form.set("heat", "H1", Origin::Carried);
    form.at = 4;
    let back = Form::from_draft(&form.to_draft(7, now())).unwrap();
    assert_eq!(back.text("indicated_c"), "14");
    assert_eq!(back.row("heat").unwrap().origin, Origin::Carried);
    assert_eq!(back.at, 4);
    // The pour happened when the form stood open, not when the program came back.
    assert_eq!(back.text("poured_at"), "2031-05-26T08:00:00+02:00");
}

#[test]
fn the_store_names_the_field() {
    let mut form = form("pours");
    let sentence = "pour: heat = H9: there is no heat H9".into();
    form.blame(&Failure { sentence, field: Some("heat".into()), wants_reason: false });
    assert_eq!(form.chosen().unwrap().name(), "heat");
}

#[test]
fn letters_of_a_code_are_taken_out_and_what_came_meanwhile_stays() {
    let mut form = form("pours");
    form.at = form.rows.iter().position(|r| r.name() == "mould").unwrap();
    let before = form.clone();
    form.type_char('M');
    let last = [("pyrometer".to_string(), "PYR-04".to_string())];
    form.start(&[], &last, Some("OP-07"));
    form.without_letters(&before);
    assert_eq!((form.text("mould"), form.text("pyrometer"), form.text("person")), ("", "PYR-04", "OP-07"));
}
