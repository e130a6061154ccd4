//! The working behind a row of the ranking: formula, inputs, records, source.

use crate::jobs::causes::show::small;
use crate::jobs::charts::show::short;
use crate::show::working::{INSPECTED, Working, share_between};
use knowledge::causes::{BladeGroup, Cause, Detail, Ranking};
use records::value::words::counted;

fn group(g: BladeGroup) -> String {
    format!("{} of {} blades, {} moulds, {} heats", g.with, g.blades, g.moulds, g.heats)
}

/// The working of a row of the ranking, and of its levels.
pub fn cause(cause: &Cause, detail: Option<&Detail>, ranking: &Ranking) -> Vec<Working> {
    let limit = |x: Option<f64>| x.map_or("none".into(), short);
    let name = match &cause.level {
        Some(level) => format!("{} {level}", cause.factor),
        None => cause.factor.clone(),
    };
    let [low, high] = cause.interval.map(limit);
    let inside_moulds = cause.unit == "cell";
    let ratio = Working::new(
        format!("{name}: ratio {} ({low} to {high})", limit(cause.ratio)),
        match cause.kind {
            "trend" => "rate ratio for one standard deviation towards the worse third, exp(β)",
            _ if inside_moulds => "rate in it / rate elsewhere within the moulds that hold both, each mould a stratum",
            _ => "rate in it / rate elsewhere, exp(β)",
        },
        if inside_moulds {
            "Mantel and Haenszel; variance of Greenland and Robins 1985, normal limits"
        } else {
            "our method: β by Newton's steps on the score that allows for moulds, heats and slow time; limits by \
             Student's t on heats less 1"
        },
        &[
            "heats are independent but for slow drift",
            "the row was picked after looking, so the limits are too narrow",
            "association, not cause",
        ],
    )
    .with("in it", group(cause.inside))
    .with("elsewhere", group(cause.outside))
    .record(format!("the factor is known of {} moulds", cause.known_moulds));
    let q = Working::new(
        format!("q {}", small(cause.q)),
        "p = the share of draws that reach it, in which whole heats change places, and 1/200 for the margin; where few \
         reach it, the draws' own tail carried on as an exponential, if that is less; q = the least, from its place on, \
         of m (p(j)/w(j))/j, with w the weight among the tests",
        "Benjamini and Hochberg 1995; weights: Genovese, Roeder and Wasserman 2006; draws and tail: our method",
        &[
            "below 0.1 it counts as found: of ten findings, one may be none",
            "a factor that repeats others has a quarter of the weight; the weights are 1 on the mean",
        ],
    )
    .with("p", small(cause.p))
    .with("weight", short(cause.weight))
    .with("p / weight", small((cause.p / cause.weight).min(1.0)))
    .with("factors tried", ranking.tests)
    .with("draws", ranking.draws)
    .with("seed", ranking.seed)
    .record(format!("{} of {}", counted(ranking.moulds, "mould"), counted(ranking.heats, "heat")));
    let mut out = vec![ratio, q];
    let chosen = detail.and_then(|d| d.levels.iter().find(|l| l.named).or_else(|| d.levels.last()));
    out.extend(chosen.map(|l| {
        let effect = ranking.clumping.map_or(1.0, |c| c.design_effect);
        Working::new(
            format!("{}: {}", l.level, share_between(l.group.with, l.group.blades, l.interval)),
            "with / inspected; limits by Wilson on counts divided by the design effect",
            "Wilson 1927; design effect from the spread over moulds, heats and time",
            &[INSPECTED],
        )
        .with("level", group(l.group))
        .with("design effect", short(effect))
    }));
    out
}
