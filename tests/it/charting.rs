//! Charts, positions and zones on the demo. Counts are those that the foundry was invented with.

use serde_json::Value;

use crate::support::Foundry;

fn demo() -> Foundry {
    let foundry = Foundry::new();
    foundry.json("demo --no-screen");
    foundry
}

fn signals(chart: &Value) -> Vec<&str> {
    chart["signals"].as_array().unwrap().iter().map(|s| s["label"].as_str().unwrap()).collect()
}

fn said(chart: &Value, part: &str) -> bool {
    chart["changes"].as_array().unwrap().iter().any(|c| c["what"].as_str().unwrap().contains(part))
}

#[test]
fn a_flat_pyrometer_beside_rising_misruns() {
    let foundry = demo();
    let rate = foundry.json("chart --defect misrun --zone TE --against pours.indicated_c");
    assert_eq!(rate["points"].as_array().unwrap().len(), 48);
    let with: u64 = rate["points"].as_array().unwrap().iter().map(|p| p["with"].as_u64().unwrap()).sum();
    assert_eq!(with, 45);
    // Rises late in the drift of heats 13 to 22, and nowhere else.
    let found = signals(&rate);
    assert!(!found.is_empty());
    assert!(found.iter().all(|h| (13..=22).contains(&h[4..].parse::<u32>().unwrap())), "{found:?}");
    assert_eq!(rate["signals"][0]["rule"], "beyond_limits");
    // Three weekly checks were not done, then one failed by 36 on 9 April.
    let changes = rate["changes"].as_array().unwrap();
    let missed = changes.iter().filter(|c| c["what"].as_str().unwrap() == "PYR-02: check not done").count();
    assert_eq!(missed, 3);
    let failed = changes.iter().find(|c| c["what"].as_str().unwrap().contains("check failed by 36")).unwrap();
    assert!(failed["at"].as_str().unwrap().starts_with("2031-04-09"));
    let readings = foundry.json("chart --field pours.indicated_c");
    assert_eq!(signals(&readings), [""; 0], "the indicated temperature is flat");
    assert_eq!(readings["by"], "heat");
    assert_eq!(readings["points"].as_array().unwrap().len(), 48);
}

#[test]
fn a_pot_going_off_and_its_checks_filled_in() {
    let foundry = demo();
    let chart = foundry.json("chart --field slurry_checks.ph --since 2031-03-20 --until 2031-04-20");
    assert!(signals(&chart).contains(&"PS31-05"), "{chart}");
    assert!(said(&chart, "filled in afterwards by OP-11"));
}

#[test]
fn the_same_points_as_the_chart_at_the_desk() {
    let foundry = demo();
    let chart = foundry.json("chart --defect misrun --zone TE --type p");
    let rows: Vec<String> =
        chart["points"].as_array().unwrap().iter().map(|p| format!("{},{}", p["n"], p["with"])).collect();
    std::fs::write(foundry.path("rates.csv"), format!("n,x\n{}\n", rows.join("\n"))).unwrap();
    let file = foundry.path("rates.csv");
    let desk = foundry.json(&format!("calc chart --type p {}", file.display()));
    let upper = |v: &Value, i: usize| match v {
        Value::Array(all) => all[i].as_f64().unwrap(),
        one => one.as_f64().unwrap(),
    };
    for i in 0..rows.len() {
        assert!((chart["upper"][i].as_f64().unwrap() - upper(&desk["upper"], i)).abs() < 1e-12);
    }
    let of_desk: Vec<&Value> = desk["signals"].as_array().unwrap().iter().map(|s| &s["index"]).collect();
    let of_chart: Vec<&Value> = chart["signals"].as_array().unwrap().iter().map(|s| &s["index"]).collect();
    assert_eq!(of_chart, of_desk);
}

#[test]
fn positions_and_zones_say_what_was_looked_at() {
    let foundry = demo();
    let positions = foundry.json("positions --defect misrun");
    let lines = positions["lines"].as_array().unwrap();
    let made: u64 = lines.iter().map(|l| l["made"].as_u64().unwrap()).sum();
    assert_eq!((made, lines.len()), (768, 9), "eight positions and one blade without");
    let zones = foundry.json("zones --defect inclusion --method penetrant");
    let af = zones["lines"].as_array().unwrap().iter().find(|l| l["label"] == "AF").unwrap().clone();
    assert_eq!((&af["with"], &af["inspected"], &af["made"]), (&27.into(), &723.into(), &768.into()));
    foundry.run("zones --defect inclusion --zone AF").fails(2, "leave --zone out");
    // A rejection lies in no zone: it is not counted into every one.
    foundry.run("zones").fails(2, "choose the defect");
    foundry.run("positions --zone AF").fails(2, "choose the defect");
    foundry.run("chart --zone AF").fails(2, "choose the defect");
}

#[test]
fn what_cannot_be_charted_is_told() {
    let foundry = demo();
    foundry.run("chart --field pours.indicatd_c").fails(2, "did you mean pours.indicated_c");
    foundry.run("chart --characteristic wal").fails(2, "did you mean wall");
    foundry.run("chart --defect misrun --type i-mr").fails(2, "p, np or p-prime");
    foundry.run("chart --field slurry_checks.ph --by heat").fails(2, "not a reading of one heat");
    let few = foundry.json("chart --defect misrun --since 2031-03-04 --until 2031-03-06");
    assert!(few["limits_from"].as_str().unwrap().contains("would say nothing"));
    let none = foundry.json("chart --defect misrun --since 2032-01-01");
    assert_eq!(none["points"], serde_json::json!([]));
}

#[test]
fn a_chart_fits_eighty_columns() {
    let foundry = demo();
    for ask in
        ["chart --defect misrun --zone TE --against pours.superheat_c", "chart --characteristic wall --rules"]
    {
        let out = foundry.run(ask).done().out;
        let wide = |l: &&str| l.chars().count() > 80;
        let picture: Vec<&str> = out.lines().filter(|l| l.contains('│')).collect();
        assert!(picture.len() >= 11 && picture.iter().any(|l| l.chars().count() >= 60), "{out}");
        assert_eq!(picture.iter().copied().find(wide), None);
        // A sentence and an entry of what changed stand on one line each, however long; figures and tables do not.
        let sentence = |l: &&str| l.ends_with('.') && l.starts_with(|c: char| c == '-' || c.is_alphabetic());
        let change = |l: &&str| l.starts_with("  20");
        let rest: Vec<&str> = out.lines().filter(|l| !sentence(l) && !change(l)).collect();
        assert!(rest.len() > picture.len() + 10, "{out}");
        assert_eq!(rest.into_iter().find(wide), None);
    }
}

#[test]
fn pictures_are_files_that_stand_alone() {
    let foundry = demo();
    for (ask, words) in [
        ("chart --defect misrun --zone TE", "H31-001"),
        ("positions --defect misrun", "position 8"),
        ("zones --defect inclusion", "AF"),
    ] {
        foundry.run(&format!("{ask} --svg picture.svg --replace")).done();
        let svg = std::fs::read_to_string(foundry.path("picture.svg")).unwrap();
        assert!(svg.starts_with("<svg") || svg.starts_with("<?xml"), "{ask}");
        assert!(svg.trim_end().ends_with("</svg>") && svg.contains(words), "{ask}");
        assert!(svg.contains("<title") && svg.contains("Association, not cause"), "{ask}");
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{ask}");
        // Nothing is fetched from elsewhere; the name of the format is no address to go to.
        let links = svg.replace("http://www.w3.org/2000/svg", "");
        assert!(!links.contains("http"), "{ask}");
    }
}

/// Reference: statsmodels 0.15, `GLM([[x, n - x]], [1, N], Binomial()).fit(cov_type='cluster', cov_kwds={'groups':
/// heat, 'use_correction': False}, tol=1e-14)` on the counts and readings of the 48 heats; limits with scipy's
/// `t.ppf(0.975, heats - 2)`.
#[test]
fn pores_against_nitrogen_hang_on_one_heat() {
    let foundry = demo();
    let chart = foundry.json("chart --defect microporosity --against heat.N");
    let relation = &chart["relation"];
    let close = |v: &Value, wanted: f64| {
        let v = v.as_f64().unwrap();
        assert!((v - wanted).abs() < 1e-6 * wanted.abs(), "{v} {wanted}");
    };
    let fit = &relation["fit"];
    close(&fit["intercept"], -5.88118783);
    close(&fit["slope"], 0.09241568);
    close(&fit["std_error"], 0.06283121);
    close(&fit["interval"][0], -0.03405698);
    close(&fit["interval"][1], 0.21888834);
    close(&relation["without"]["slope"], -0.04262251);
    close(&relation["without"]["std_error"], 0.02736943);
    let heats = relation["points"].as_array().unwrap();
    assert_eq!((heats.len(), &relation["moulds"], &relation["unit"]), (48, &96.into(), &"ppm".into()));
    let flagged: Vec<&str> =
        heats.iter().filter(|p| p["influential"] == true).map(|p| p["label"].as_str().unwrap()).collect();
    assert!(flagged.contains(&"H31-038"), "{flagged:?}");
    let words = relation["words"].to_string();
    assert!(words.contains("Without H31-038 odds") && words.contains("n = 1 heat"), "{words}");
    let with: u64 = relation["parts"].as_array().unwrap().iter().map(|p| p["with"].as_u64().unwrap()).sum();
    assert_eq!(with, 21, "the parts hold every blade");
}

#[test]
fn a_rate_is_held_against_what_moulds_and_heats_have() {
    let foundry = demo();
    foundry.run("chart --defect misrun --against heat.Nn").fails(2, "heat.N");
    let none = foundry.json("chart --defect misrun --since 2032-01-01 --against heat.N");
    assert!(none["relation"]["words"].to_string().contains("No slope is given"), "{none}");
    let svg = |words: &str| {
        foundry.run(&format!("{words} --svg picture.svg --replace")).done();
        std::fs::read_to_string(foundry.path("picture.svg")).unwrap()
    };
    let points = svg("chart --defect microporosity --against heat.N");
    assert!(points.contains("H31-038: 44 % at 46") && points.contains("96 moulds, 48 heats"));
    let parts = svg("chart --defect microporosity --against heat.N --picture parts");
    assert!(parts.contains("48 heats") && !parts.contains("H31-038"));
    let time = svg("chart --defect microporosity --against heat.N --picture time");
    assert!(time.contains(">checks<") && time.contains("H31-001"));
    foundry.run("chart --defect misrun --picture points --svg x.svg").fails(2, "--against");
    // Zones lie on the drawn blade, positions against moulds.
    let zones = svg("zones --defect misrun");
    assert!(zones.contains("TE 45/768") && zones.contains("url(#dots)") | zones.contains("#222"));
    let map = svg("positions --defect misrun --zone TE");
    assert_eq!(map.matches(": with<").count(), 45, "every blade with it has its cell");
    assert_eq!(map.matches(": inspected, without<").count(), 768 - 45);
}

#[test]
fn changes_are_told_by_sort() {
    let foundry = demo();
    let chart = foundry.json("chart --defect misrun --zone TE");
    let of = |lane: &str| {
        let all = chart["changes"].as_array().unwrap().iter().filter(|c| c["lane"] == lane);
        all.map(|c| c["what"].as_str().unwrap().to_string()).collect::<Vec<_>>()
    };
    assert_eq!(of("checks").len(), 4, "three not done, one failed");
    assert!(of("tools").iter().any(|w| w.contains("PYR-04 first in M31-045")), "{:?}", of("tools"));
    assert!(of("revisions").iter().any(|w| w.contains("SR-7@C first in M31-081")), "{:?}", of("revisions"));
    assert!(of("people").iter().any(|w| w.contains("OP-04")), "{:?}", of("people"));
    assert!(of("lots").iter().any(|w| w.contains("FL31-04")), "{:?}", of("lots"));
    // Every run of an oven is none.
    assert!(!chart["changes"].to_string().contains("OR31-"));
}
