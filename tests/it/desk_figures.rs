//! Figures at the desk: what cannot be meant is refused with what was probably meant, what few values cannot say is
//! said.

use serde_json::Value;

use crate::support::Foundry;

fn notes(answer: &Value) -> String {
    answer["notes"].to_string()
}

#[test]
fn units_that_were_mixed_up_are_asked_about() {
    let desk = Foundry::new();
    for (command, meant) in [
        ("leak --rate 5 --volume 0.5 --temperature 27 --time 20", "300.15 K"),
        ("gate-velocity --mass 5 --density 7.3 --time 4 --area 400", "7300 kg/m3"),
        ("gate-area --mass 5 --density 7300 --time 4 --velocity 400", "0.4 m/s"),
        ("critical-velocity --surface-tension 1800 --density 7300", "1.8 N/m"),
        ("choke --mass 5 --density 7300 --time 4 --coefficient 80 --head 0.2", "which is 0.8?"),
        ("choke --mass 5 --density 7300 --time 4 --coefficient 0.8 --head 200", "0.2 m"),
        ("superheat --metal 2700 --liquidus 1288", "1482.22 °C"),
        ("fall --height 150", "0.15 m"),
        ("modulus --box 0.02,0.03,0.06", "20 mm"),
    ] {
        desk.run(&format!("calc {command}")).fails(2, meant);
    }
    let wall = "--latent 220000 --heat-capacity 620 --transfer 1000 --melting 1288 --mould 1000";
    let freeze = |own: &str| desk.run(&format!("calc freeze {own} {wall}"));
    freeze("--density 7300 --thickness 0.6 --superheat 190").fails(2, "0.0006 m");
    freeze("--density 7300 --thickness 0.0006 --superheat -40").fails(2, "superheat = -40 K");
    freeze("--density 7300 --thickness 0.0006 --superheat 190").done();
    let below = desk.json("calc superheat --metal 1248 --liquidus 1288");
    assert_eq!(below["value"], -40.0);
    assert!(notes(&below).contains("below its liquidus"));
}

#[test]
fn a_composition_that_is_none_is_refused() {
    let desk = Foundry::new();
    for index in ["nv", "md", "density"] {
        let refused = |contents: &str, sentence: &str| {
            desk.run(&format!("calc {index} {contents}")).fails(2, sentence);
        };
        refused("Ni=62 Cr=12 Al=6 Ti=1 Mo=4 Nb=2", "sum to 87 wt%");
        refused("Cr=12 Al=6 Ti=1 Mo=4 N=35", "N=35ppm");
        refused("Al=6 Ti=1 Mo=4 Cr=<15", "it is not 0");
    }
    // from Mo = 0 to Mo = 0.5, each by itself
    let of = |contents: &str| desk.json(&format!("calc density Cr=12 Al=6 Ti=1{contents}"));
    let found = of(" Mo=<0.5");
    let (none, most) = (of(""), of(" Mo=0.5"));
    assert_eq!(found["value"], none["value"]);
    assert_eq!(found["at_detection_limits"], serde_json::json!([none["value"], most["value"]]));
    assert!(notes(&found).contains("Mo <0.5"));
}

#[test]
fn capability_says_what_it_rests_on() {
    let desk = Foundry::new();
    let found = desk.json("calc capability --mean 0.62 --sd 0.02 --n 2 --lower 0.55 --upper 0.70");
    assert!(notes(&found).contains("few values: from 2"));
    // exp of equally spaced normal quantiles: as lognormal as 40 values can be
    let quantile = |i: usize| knowledge::stats::dist::normal_quantile((i as f64 + 0.5) / 40.0).unwrap();
    let file = |name: &str, value: &dyn Fn(f64) -> f64| {
        let rows: Vec<String> = (0..40).map(|i| value(quantile(i)).to_string()).collect();
        std::fs::write(desk.path(name), format!("value\n{}\n", rows.join("\n"))).unwrap();
        let path = desk.path(name);
        desk.json(&format!("calc capability {} --lower -9 --upper 20", path.display()))
    };
    let skewed = file("skewed.csv", &f64::exp);
    assert!(skewed["normal_p"].as_f64().unwrap() < 0.001 && notes(&skewed).contains("do not look normal"));
    let normal = file("normal.csv", &|z| z);
    assert!(normal["normal_p"].as_f64().unwrap() > 0.5 && !notes(&normal).contains("do not look normal"));
}

/// Textbook (Montgomery, Introduction to Statistical Quality Control, table of cusum run lengths for k = 1/2, h = 5):
/// 465, 139, 38.0, 17.0, 10.4, 5.75, 4.01, 3.11, 2.57, 2.01.
#[test]
fn the_textbook_run_lengths_of_two_sides() {
    let desk = Foundry::new();
    let table = [
        (0.0, 465.0),
        (0.25, 139.0),
        (0.5, 38.0),
        (0.75, 17.0),
        (1.0, 10.4),
        (1.5, 5.75),
        (2.0, 4.01),
        (2.5, 3.11),
        (3.0, 2.57),
        (4.0, 2.01),
    ];
    for (shift, arl) in table {
        for shift in [shift, -shift] {
            let found = desk.json(&format!("calc arl --type cusum --k .5 --h 5 --two-sided --shift={shift}"));
            let found = found["arl"].as_f64().unwrap();
            assert!((found / arl - 1.0).abs() < 0.005, "{shift}: {found} instead of {arl}");
        }
    }
}

#[test]
fn what_belongs_to_both_levels_is_counted_in_neither() {
    let foundry = Foundry::new();
    foundry.json("demo --no-screen");
    let arms = |a: &str, b: &str| {
        let ask = ["compare", "--defect", "misrun", "--json", a, b];
        let found = foundry.run_with(&ask).done().json();
        let blades = |arm: &str| found[arm]["blades"].as_u64().unwrap();
        (blades("a"), blades("b"), found["in_both"].clone())
    };
    let (least, below, none) = arms("pour.mass_kg=>=5.28", "pour.mass_kg=<5.28");
    let (most, over, _) = arms("pour.mass_kg=<=5.32", "pour.mass_kg=>5.32");
    assert_eq!(none, serde_json::json!({"blades": 0, "moulds": 0}));
    assert_eq!(least + below, most + over);
    let (a, b, both) = arms("pour.mass_kg=>=5.28", "pour.mass_kg=<=5.32");
    let shared = least + most - (least + below);
    assert!(shared > 0, "no blade lies between");
    assert_eq!((a, b), (least - shared, most - shared));
    assert_eq!(both["blades"], shared);
    let text = foundry
        .run_with(&["compare", "--defect", "misrun", "pour.mass_kg=>=5.28", "pour.mass_kg=<=5.32"])
        .done()
        .out;
    assert!(text.contains("belong to both and are counted in neither"), "{text}");
    let refused = |a: &str, b: &str| foundry.run_with(&["compare", "--defect", "misrun", a, b]);
    refused("pour.mass_kg=>=5.28", "pour.mass_kg=>0").fails(2, "nothing is left");
    refused("filter_lot=FL31-03", "filter_lot=FL31-03").fails(2, "both levels are");
}

/// Fatigue life of specimens of three heats of a metal: Vardeman and Jobe, Basic Engineering Data Collection and
/// Analysis (data of R package BEDCA, CC BY 4.0). Nothing is different: F test p 0.72, Kruskal-Wallis p 0.77, by
/// scipy.stats.f_oneway and kruskal, printed to two places.
#[test]
fn three_heats_that_do_not_differ() {
    let desk = Foundry::new();
    let lives = [
        [313, 100, 235, 250, 457, 11, 315, 584, 249, 204],
        [349, 206, 163, 350, 189, 216, 170, 359, 267, 196],
        [289, 279, 142, 334, 192, 339, 87, 185, 262, 194],
    ];
    let mut table = String::from("group,value\n");
    for (heat, lives) in lives.iter().enumerate() {
        lives.iter().for_each(|life| table.push_str(&format!("{},{life}\n", heat + 1)));
    }
    let file = desk.path("lives.csv");
    std::fs::write(&file, table).unwrap();
    for (command, printed) in [("anova", 0.72), ("kruskal", 0.77)] {
        let p =
            desk.run_with(&["calc", command, file.to_str().unwrap(), "--json"]).done().json()["p"].as_f64();
        assert!((p.unwrap() - printed).abs() <= 0.005, "{command}: {p:?}");
    }
}
