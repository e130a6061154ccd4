//! Summaries, analysis of variance, components, ranks, spreads, gauge.

use knowledge::stats::anova;
use knowledge::stats::dist;
use knowledge::stats::gauge;
use knowledge::stats::ranks;
use knowledge::stats::spread;
use knowledge::stats::summary;
use serde_json::Value;

use super::Check;
use super::close;
use super::csv_groups;
use super::csv_rows;
use super::holds;
use super::number_rows;
use super::numbers;

pub const RUN: &[Check] = &[
    ("strd-anova-SiRstv", one_way),
    ("strd-anova-SmLs01", one_way),
    ("strd-anova-SmLs02", one_way),
    ("strd-anova-SmLs03", one_way),
    ("strd-anova-SmLs04", one_way),
    ("strd-anova-SmLs06", one_way),
    ("strd-anova-SmLs08", one_way),
    ("welch-anova-sleep", sleep),
    ("varcomp-dyestuff", dyestuff),
    ("varcomp-nested-pastes", pastes),
    ("gauge-rr-anova", gauge_study),
    ("kruskal-hollander", kruskal),
    ("bartlett-insectsprays", bartlett),
    ("levene-gear", levene),
    ("strd-univariate-LOTTERY3", univariate),
    ("strd-univariate-MAVRO", univariate),
    ("strd-univariate-MICHELSO", univariate),
    ("strd-univariate-NUMACC1", univariate),
    ("strd-univariate-NUMACC3", univariate),
];

#[test]
fn groups_hold() {
    super::run(RUN);
}

fn one_way(c: &Value) {
    let a = anova::one_way(&csv_groups(c, "group", "y")).unwrap();
    holds(c, "/df_between", a.df_between as f64);
    holds(c, "/df_within", a.df_within as f64);
    holds(c, "/ss_between", a.ss_between);
    holds(c, "/ss_within", a.ss_within);
    holds(c, "/ms_between", a.ms_between);
    holds(c, "/ms_within", a.ms_within.unwrap());
    holds(c, "/F", a.f.unwrap());
}

/// Welch's test is not built; the classical figures are held.
fn sleep(c: &Value) {
    let a = anova::one_way(&number_rows(&c["data"]["groups"])).unwrap();
    holds(c, "/F", a.f.unwrap());
    holds(c, "/p", a.p.unwrap());
}

fn dyestuff(c: &Value) {
    let groups = number_rows(&c["data"]["yield_by_batch"]);
    let a = anova::one_way(&groups).unwrap();
    holds(c, "/ms_between", a.ms_between);
    holds(c, "/ms_within", a.ms_within.unwrap());
    let v = anova::components(&groups).unwrap();
    holds(c, "/var_between", v.outer.unwrap());
    holds(c, "/var_within", v.residual);
}

fn pastes(c: &Value) {
    let rows = csv_rows(c, &["batch", "cask", "strength"]);
    let mut nest: Vec<(String, Vec<(String, Vec<f64>)>)> = Vec::new();
    for r in rows {
        if nest.last().is_none_or(|n| n.0 != r[0]) {
            nest.push((r[0].clone(), Vec::new()));
        }
        let casks = &mut nest.last_mut().unwrap().1;
        if casks.last().is_none_or(|n| n.0 != r[1]) {
            casks.push((r[1].clone(), Vec::new()));
        }
        casks.last_mut().unwrap().1.push(r[2].parse().unwrap());
    }
    let nest: Vec<Vec<Vec<f64>>> =
        nest.into_iter().map(|(_, casks)| casks.into_iter().map(|k| k.1).collect()).collect();
    let v = anova::nested(&nest).unwrap();
    holds(c, "/sd_batch", v.outer.unwrap().sqrt());
    holds(c, "/sd_cask", v.inner.unwrap().sqrt());
    holds(c, "/sd_assay", v.residual.sqrt());
    assert!(!v.cut);
}

fn gauge_study(c: &Value) {
    let (mut part, mut person, mut value) = (Vec::new(), Vec::new(), Vec::new());
    for (i, row) in number_rows(&c["data"]["part_rows_operator_test"]).iter().enumerate() {
        for (j, v) in row.iter().enumerate() {
            part.push(i.to_string());
            person.push((j / 3).to_string());
            value.push(*v);
        }
    }
    let part: Vec<&str> = part.iter().map(String::as_str).collect();
    let person: Vec<&str> = person.iter().map(String::as_str).collect();
    let g = gauge::study(&part, &person, &value).unwrap();
    holds(c, "/var_repeatability", g.repeatability);
    holds(c, "/var_operator", g.reproducibility);
    holds(c, "/var_part_operator", g.interaction);
    holds(c, "/var_part", g.part);
    let all = c["recomputed"]["var_gauge"].as_f64().unwrap() + g.part;
    close(c, "total", g.total, all, 1e-12);
}

fn kruskal(c: &Value) {
    let t = ranks::kruskal_wallis(&number_rows(&c["data"]["groups"])).unwrap();
    holds(c, "/H", t.statistic.unwrap());
    holds(c, "/df", t.df as f64);
    holds(c, "/p", t.p.unwrap());
}

fn bartlett(c: &Value) {
    let t = spread::bartlett(&number_rows(&c["data"]["groups"])).unwrap();
    holds(c, "/K2", t.statistic.unwrap());
    holds(c, "/df", t.df as f64);
    holds(c, "/p", t.p.unwrap());
}

fn levene(c: &Value) {
    let a = spread::levene(&csv_groups(c, "batch", "diameter")).unwrap();
    holds(c, "/W", a.f.unwrap());
    holds(c, "/df1", a.df_between as f64);
    holds(c, "/df2", a.df_within as f64);
    holds(c, "/critical_05", dist::f_quantile(0.95, 9.0, 90.0).unwrap());
}

fn univariate(c: &Value) {
    let y = match c["data"].get("y") {
        Some(y) => numbers(y),
        None => csv_rows(c, &["y"]).iter().map(|r| r[0].parse().unwrap()).collect(),
    };
    let s = summary::summarise(&y);
    holds(c, "/n", s.n as f64);
    holds(c, "/mean", s.mean.unwrap());
    holds(c, "/sd", s.sd.unwrap());
    holds(c, "/r1", s.lag1.unwrap());
}
