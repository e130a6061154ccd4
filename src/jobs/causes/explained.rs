//! The working behind the figures of charts, causes and siblings: formula, inputs, records, source.

use crate::jobs::charts::show::{Chart, short};
use crate::jobs::charts::show_against::{Against, Slope, span};
use crate::jobs::charts::show_places::Rates;
use crate::jobs::trace::show::{NAMED, Rate, Siblings};
use crate::show::percent;
use crate::show::working::Working;
use knowledge::causes::{BladeGroup, Cause, Detail, Ranking};
use records::value::words::counted;

const INSPECTED: &str = "a blade that was not inspected for it is left out, not counted as good; the first round of inspection decides";

fn input(name: &str, value: impl Into<String>) -> (String, String) {
    (name.into(), value.into())
}

fn some(mut all: Vec<String>, total: usize) -> Vec<String> {
    all.truncate(NAMED);
    if total > all.len() {
        all.push(format!("and {} more", total - all.len()));
    }
    all
}

fn share(with: usize, inspected: usize) -> String {
    match inspected {
        0 => "none inspected".into(),
        n => percent(with as f64 / n as f64),
    }
}

impl Chart {
    /// The working of one point and of its limits.
    #[must_use]
    pub fn workings(&self, at: usize) -> Vec<Working> {
        let Some(p) = self.points.get(at) else { return Vec::new() };
        let value = self.figure(p.value);
        let mut out = vec![match p.with {
            Some(with) => Working {
                title: format!("{}: {value}", p.label),
                formula: if self.share { "with / inspected" } else { "number with it" }.into(),
                inputs: vec![
                    input("with", format!("{with} blades")),
                    input("inspected", format!("{} blades in {} moulds", p.n, p.moulds.unwrap_or(0))),
                ],
                listed: "moulds inspected",
                records: some(p.records.clone(), p.moulds.unwrap_or(0)),
                source: "counts of the foundry's own inspections".into(),
                assumptions: vec![INSPECTED.into()],
            },
            None => Working {
                title: format!("{}: {value}", p.label),
                formula: if p.n == 1 {
                    "the reading as recorded"
                } else {
                    "sum of the readings / their number"
                }
                .into(),
                inputs: vec![input("readings", p.n.to_string())],
                listed: "readings from",
                records: some(p.records.clone(), p.n),
                source: "the foundry's own records".into(),
                assumptions: vec!["blank, illegible and below-detection readings are left out".into()],
            },
        }];
        let line = |l: &[f64]| l.get(at).copied().filter(|v| v.is_finite());
        if let (Some(centre), Some(lower), Some(upper)) =
            (line(&self.centre), line(&self.lower), line(&self.upper))
        {
            let (formula, source) = limits(self.kind);
            let mut inputs = vec![
                input("centre", self.figure(centre)),
                input("n of this point", p.n.to_string()),
                input("points", self.points.len().to_string()),
            ];
            let used = self.sigma_z.filter(|_| self.kind == "p-prime");
            inputs.extend(used.map(|s| input("σ_z", short(s))));
            out.push(Working {
                title: format!("limits {} to {}", self.figure(lower), self.figure(upper)),
                formula: formula.into(),
                inputs,
                listed: "",
                records: Vec::new(),
                source: source.into(),
                assumptions: vec![
                    self.limits_from.clone(),
                    "three standard errors: about 3 points in 1000 of a steady process lie outside".into(),
                ],
            });
        }
        out.extend(self.signals.iter().filter(|s| s.index == at + 1).map(|s| Working {
            title: format!("signal: {}", s.words),
            formula: match s.rule {
                "beyond_limits" => "point < lower limit, or point > upper limit".into(),
                rule => format!("run rule {}", rule.replace('_', " ")),
            },
            inputs: vec![input("value", value.clone())],
            listed: "",
            records: vec![p.label.clone()],
            source: if s.rule == "beyond_limits" { "Shewhart 1931" } else { "Nelson 1984" }.into(),
            assumptions: vec!["it says that something changed, not what".into()],
        }));
        out
    }
}

/// Formula and source of the limits of a kind of chart.
fn limits(kind: &str) -> (&'static str, &'static str) {
    match kind {
        "p" => {
            ("c ± 3 √(c(1−c)/n), c = Σ with / Σ inspected, the centre; the lower cut at 0", "Shewhart 1931")
        }
        "np" => ("n c ± 3 √(n c(1−c)), c = Σ with / Σ inspected; the lower cut at 0", "Shewhart 1931"),
        "p-prime" => (
            "c ± 3 σ_z √(c(1−c)/n), c = Σ with / Σ inspected, σ_z = mean step of the z scores / 1.128",
            "Laney 2002",
        ),
        "xbar-s" => ("centre ± 3 s/(c4 √n), s the mean standard deviation inside a group", "Shewhart 1931"),
        "xbar-r" => ("centre ± 3 R/(d2 √n), R the mean range inside a group", "Shewhart 1931; Tippett 1925"),
        _ => ("centre ± 3 M/1.128, M the mean step from each value to the next", "Shewhart 1931"),
    }
}

impl Against {
    /// The working of the slope, of one point and of one part.
    #[must_use]
    pub fn workings(&self, point: Option<usize>, part: Option<usize>) -> Vec<Working> {
        let mut out = Vec::new();
        if let Some(p) = part.and_then(|i| self.parts.get(i)) {
            let interval =
                p.interval.map_or(String::new(), |[a, b]| format!(" ({} to {})", percent(a), percent(b)));
            let inside = self.points.iter().filter(|q| p.span[0] <= q.reading && q.reading <= p.span[1]);
            out.push(Working {
                title: format!("{} {}: {}{interval}", self.reading, span(p.span), share(p.with, p.inspected)),
                formula: "with / inspected; limits by Wilson on counts divided by the design effect".into(),
                inputs: vec![
                    input("with", p.with.to_string()),
                    input("inspected", p.inspected.to_string()),
                    input("design effect", short(self.design_effect)),
                ],
                listed: if self.by == "mould" { "moulds in this part" } else { "heats in this part" },
                records: some(inside.map(|q| q.label.clone()).collect(), p.points),
                source: "Wilson 1927; Rao and Scott 1992, heats as clusters".into(),
                assumptions: vec![
                    INSPECTED.into(),
                    "parts of about equal number, equal readings together".into(),
                ],
            });
        }
        if let Some(p) = point.and_then(|i| self.points.get(i)) {
            let mut inputs = vec![
                input("with", p.with.to_string()),
                input("inspected", p.inspected.to_string()),
                input(&self.reading, format!("{} {}", short(p.reading), self.unit).trim_end().to_string()),
            ];
            inputs.extend(
                p.influence.map(|d| input("pull on the slope", format!("{} standard errors", short(d)))),
            );
            out.push(Working {
                title: format!("{}: {}", p.label, share(p.with, p.inspected)),
                formula:
                    "with / inspected; pull = (slope − slope without it) / its standard error without it"
                        .into(),
                inputs,
                listed: "",
                records: vec![p.label.clone()],
                source:
                    "pull after Belsley, Kuh and Welsch 1980; above 1 it is marked, as is common practice"
                        .into(),
                assumptions: vec![INSPECTED.into()],
            });
        }
        let one = |title: &str, f: &Slope| Working {
            title: format!("{title}{}", self.odds(f)),
            formula: "ln(p/(1−p)) = a + b × reading, by maximum likelihood; limits b ± t × error".into(),
            inputs: vec![
                input("a", short(f.intercept)),
                input(
                    "b",
                    format!("{} ({} to {})", short(f.slope), short(f.interval[0]), short(f.interval[1])),
                ),
                input("standard error of b", short(f.std_error)),
                input("heats, as clusters", f.heats.to_string()),
            ],
            listed: "",
            records: vec![format!("{} {}s with reading and rate", self.points.len(), self.by)],
            source: "McCullagh and Nelder 1989; error by Liang and Zeger 1986; Student's t on heats less 2"
                .into(),
            assumptions: vec![
                "heats are independent of each other; blades of one heat need not be".into(),
                "log odds change in a straight line with the reading".into(),
                "association, not cause".into(),
            ],
        };
        out.extend(self.fit.iter().map(|f| one("slope: ", f)));
        out.extend(self.without.iter().map(|f| one("without the strongest: ", f)));
        out
    }
}

impl Rates {
    /// The working of one line.
    #[must_use]
    pub fn workings(&self, at: usize) -> Vec<Working> {
        let Some(l) = self.lines.get(at) else { return Vec::new() };
        let interval =
            l.interval.map_or(String::new(), |[a, b]| format!(" ({} to {})", percent(a), percent(b)));
        vec![Working {
            title: format!("{}: {}{interval}", l.label, share(l.with, l.inspected)),
            formula: "with / inspected; limits by Wilson".into(),
            inputs: vec![
                input("with", format!("{} blades in {} moulds", l.with, l.moulds_with)),
                input("inspected", format!("{} blades in {} moulds", l.inspected, l.moulds)),
                input("made", format!("{} blades", l.made)),
            ],
            listed: "",
            records: vec![format!("{} moulds of {} heats", l.moulds, self.heats)],
            source: "Wilson 1927".into(),
            assumptions: vec![
                INSPECTED.into(),
                "blades are independent; those of one mould are not, so the limits are too narrow".into(),
            ],
        }]
    }
}

fn group(g: BladeGroup) -> String {
    format!("{} of {} blades, {} moulds, {} heats", g.with, g.blades, g.moulds, g.heats)
}

/// The working of a row of the ranking, and of its levels.
#[must_use]
pub fn cause(cause: &Cause, detail: Option<&Detail>, ranking: &Ranking) -> Vec<Working> {
    let limit = |x: Option<f64>| x.map_or("none".into(), short);
    let effect = ranking.clumping.map_or(1.0, |c| c.design_effect);
    let name = match &cause.level {
        Some(level) => format!("{} {level}", cause.factor),
        None => cause.factor.clone(),
    };
    let counts = vec![input("in it", group(cause.inside)), input("elsewhere", group(cause.outside))];
    let mut out = vec![
        Working {
            title: format!(
                "{name}: ratio {} ({} to {})",
                limit(cause.ratio),
                limit(cause.interval[0]),
                limit(cause.interval[1])
            ),
            formula: match cause.kind {
                "trend" => "rate ratio for one standard deviation more, exp(β)".into(),
                _ => "rate in it / rate elsewhere, exp(β)".into(),
            },
            inputs: counts.clone(),
            listed: "",
            records: vec![format!("the factor is known of {} moulds", cause.known_moulds)],
            source:
                "our method: β by Newton's steps on the score that allows for moulds, heats and slow time; \
                     limits by Student's t on heats less 1"
                    .into(),
            assumptions: vec![
                "heats are independent but for slow drift".into(),
                "the row was picked after looking, so the limits are too narrow".into(),
                "association, not cause".into(),
            ],
        },
        Working {
            title: format!("q {}", short(cause.q)),
            formula:
                "p among draws in which whole heats change places; q = least of m p(j)/j from its place on"
                    .into(),
            inputs: vec![
                input("p", short(cause.p)),
                input("factors tried", ranking.tests.to_string()),
                input("draws", ranking.draws.to_string()),
                input("seed", ranking.seed.to_string()),
            ],
            listed: "",
            records: vec![format!("{} moulds of {} heats", ranking.moulds, ranking.heats)],
            source: "Benjamini and Hochberg 1995; draws: our method".into(),
            assumptions: vec!["below 0.1 it counts as found: of ten findings, one may be none".into()],
        },
    ];
    let chosen = detail.and_then(|d| d.levels.iter().find(|l| l.named).or_else(|| d.levels.last()));
    if let Some(l) = chosen {
        let interval =
            l.interval.map_or(String::new(), |[a, b]| format!(" ({} to {})", percent(a), percent(b)));
        out.push(Working {
            title: format!("{}: {}{interval}", l.level, share(l.group.with, l.group.blades)),
            formula: "with / inspected; limits by Wilson on counts divided by the design effect".into(),
            inputs: vec![input("level", group(l.group)), input("design effect", short(effect))],
            listed: "",
            records: Vec::new(),
            source: "Wilson 1927; design effect from the spread over moulds, heats and time".into(),
            assumptions: vec![INSPECTED.into()],
        });
    }
    out
}

impl Siblings {
    /// The working of the three rates.
    #[must_use]
    pub fn workings(&self) -> Vec<Working> {
        let method = self.method.as_deref().unwrap_or("any method");
        let defect = self.defect.as_deref().unwrap_or("a reject");
        let of = |title: &str, r: Rate, with: &[String]| Working {
            title: format!("{title}: {}", share(r.with as usize, r.inspected as usize)),
            formula: "with / inspected".into(),
            inputs: vec![
                input("with", format!("{}: {defect}", counted(r.with as usize, "blade"))),
                input("inspected", format!("{} of {} made", counted(r.inspected as usize, "blade"), r.made)),
                input(
                    "behind them",
                    format!("{}, {}", counted(r.moulds as usize, "mould"), counted(r.heats as usize, "heat")),
                ),
            ],
            listed: "blades counted as with",
            records: some(with.to_vec(), r.with as usize),
            source: format!("inspections by {method}, first round"),
            assumptions: vec![
                INSPECTED.into(),
                "blades of one mould are alike: count moulds and heats".into(),
            ],
        };
        let [below, same, others] = &self.with;
        vec![
            of(&format!("below {}", self.of), self.counts_in, below),
            of("same heats, without it", self.counts_same_heats, same),
            of("all others", self.counts_out, others),
        ]
    }
}
