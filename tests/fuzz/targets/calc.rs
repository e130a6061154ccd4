//! The CSV of a `calc` command (the first byte chooses it; `causes` takes three, cut at lines `==`):
//! an answer of finite numbers or a sentence.
#![no_main]
use clap::Parser;
use libfuzzer_sys::fuzz_target;
use meltkin::calc::{Calc, run};
use meltkin_fuzz::{begin, finite, scratch};

#[derive(Parser)]
struct Line {
    #[command(subcommand)]
    what: Calc,
}

/// FILE stands for the path.
const WAYS: &[&str] = &[
    "table FILE",
    "clustered FILE",
    "strata FILE",
    "trend FILE",
    "kappa --fleiss FILE",
    "kappa --cohen FILE",
    "summary FILE",
    "anova FILE",
    "kruskal FILE",
    "bartlett FILE",
    "levene FILE",
    "gauge FILE",
    "regress FILE",
    "regress --no-constant FILE",
    "regress --polynomial 3 FILE",
    "logistic FILE",
    "chart --type p FILE",
    "chart --type np FILE",
    "chart --type c FILE",
    "chart --type u FILE",
    "chart --type p-prime FILE",
    "chart --type u-prime FILE",
    "chart --type i-mr FILE",
    "chart --type xbar-r FILE",
    "chart --type xbar-s FILE",
    "chart --type ewma --target 1 --sigma 1 --lambda 0.2 --width 2.7 FILE",
    "chart --type cusum --target 1 --sigma 1 FILE",
    "rules FILE",
    "capability --lower 1 --upper 5 FILE",
    "causes --blades FILE --moulds MORE --heats LAST --threads 1",
    "causes --blades FILE --moulds MORE --heats LAST --threads 1 --numeric temp,hours --stratify part",
];

fuzz_target!(|data: &[u8]| {
    begin();
    let Some((first, text)) = data.split_first() else { return };
    let way = WAYS[usize::from(*first) % WAYS.len()];
    // The ranking draws at random in proportion to the rows.
    if text.len() > 4000 {
        return;
    }
    let folder = scratch("calc");
    let paths = ["FILE", "MORE", "LAST"].map(|n| folder.join(format!("{n}.csv")));
    if way.starts_with("causes") {
        let text = String::from_utf8_lossy(text);
        let mut parts = text.splitn(3, "==\n");
        for path in &paths {
            std::fs::write(path, parts.next().unwrap_or("")).expect("a file in memory");
        }
    } else {
        std::fs::write(&paths[0], text).expect("a file in memory");
    }
    let words = way.split(' ').map(|w| match w {
        "FILE" => paths[0].to_string_lossy().into_owned(),
        "MORE" => paths[1].to_string_lossy().into_owned(),
        "LAST" => paths[2].to_string_lossy().into_owned(),
        w => w.to_string(),
    });
    let line = Line::try_parse_from(std::iter::once("calc".to_string()).chain(words)).expect("a command");
    match run(&line.what) {
        Ok(answer) => {
            let says = |needle: &[u8]| text.windows(needle.len()).any(|w| w.eq_ignore_ascii_case(needle));
            if !says(b"nan") && !says(b"inf") {
                finite(&answer.to_text());
                finite(&answer.to_json().to_string());
            }
        }
        Err(sentence) => assert!(sentence.len() > 10, "{sentence:?}"),
    }
});
