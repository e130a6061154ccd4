//! The working behind the figures of charts: formula, inputs, records, source.

use crate::jobs::charts::kinds::{By, P_PRIME};
use crate::jobs::charts::show::{BEYOND_LIMITS, Chart, short};
use crate::jobs::charts::show_against::{Against, Slope, span};
use crate::jobs::charts::show_places::Rates;
use crate::show::working::{INSPECTED, Working, share, share_between};

impl Chart {
    /// The working of one point and of its limits.
    pub fn workings(&self, at: usize) -> Vec<Working> {
        let Some(p) = self.points.get(at) else { return Vec::new() };
        let value = self.figure(p.value);
        let title = format!("{}: {value}", p.label);
        let moulds = p.moulds.unwrap_or(0);
        let mut out = vec![match p.with {
            Some(with) => {
                let formula = if self.share { "with / inspected" } else { "number with it" };
                Working::new(title, formula, "counts of the foundry's own inspections", &[INSPECTED])
                    .with("with", format!("{with} blades"))
                    .with("inspected", format!("{} blades in {moulds} moulds", p.n))
                    .first_of("moulds inspected", p.records.clone(), moulds)
            }
            None => {
                let formula = match p.n {
                    1 => "the reading as recorded",
                    _ => "sum of the readings / their number",
                };
                let left_out = "blank, illegible and below-detection readings are left out";
                Working::new(title, formula, "the foundry's own records", &[left_out])
                    .with("readings", p.n)
                    .first_of("readings from", p.records.clone(), p.n)
            }
        }];
        let line = |l: &[f64]| l.get(at).copied().filter(|v| v.is_finite());
        let limits = (line(&self.centre), line(&self.lower), line(&self.upper));
        if let (Some(kind), (Some(centre), Some(lower), Some(upper))) = (self.kind, limits) {
            let assumptions = [
                self.limits_from.as_str(),
                "three standard errors: about 3 points in 1000 of a steady process lie outside",
            ];
            let title = format!("limits {} to {}", self.figure(lower), self.figure(upper));
            let limits = Working::new(title, kind.formula, kind.source, &assumptions)
                .with("centre", self.figure(centre))
                .with("n of this point", p.n)
                .with("points", self.points.len());
            out.push(match self.sigma_z.filter(|_| *kind == P_PRIME) {
                Some(sigma) => limits.with("σ_z", short(sigma)),
                None => limits,
            });
        }
        out.extend(self.signals.iter().filter(|s| s.index == at + 1).map(|s| {
            let (formula, source) = match s.rule {
                BEYOND_LIMITS => ("point < lower limit, or point > upper limit".into(), "Shewhart 1931"),
                rule => (format!("run rule {}", rule.replace('_', " ")), "Nelson 1984"),
            };
            let title = format!("signal: {}", s.words);
            Working::new(title, formula, source, &["it says that something changed, not what"])
                .with("value", &value)
                .record(&p.label)
        }));
        out
    }
}

impl Against {
    /// The working of the slope, of one point and of one part.
    pub fn workings(&self, point: Option<usize>, part: Option<usize>) -> Vec<Working> {
        let mut out = Vec::new();
        if let Some(p) = part.and_then(|i| self.parts.get(i)) {
            let inside = self.points.iter().filter(|q| p.span[0] <= q.reading && q.reading <= p.span[1]);
            let rate = share_between(p.with, p.inspected, p.interval);
            let listed = match self.by {
                By::Mould => "moulds in this part",
                _ => "heats in this part",
            };
            let working = Working::new(
                format!("{} {}: {rate}", self.reading, span(p.span)),
                "with / inspected; limits by Wilson on counts divided by the design effect",
                "Wilson 1927; Rao and Scott 1992, heats as clusters",
                &[INSPECTED, "parts of about equal number, equal readings together"],
            );
            out.push(
                working
                    .with("with", p.with)
                    .with("inspected", p.inspected)
                    .with("design effect", short(self.design_effect))
                    .first_of(listed, inside.map(|q| q.label.clone()), p.points),
            );
        }
        if let Some(p) = point.and_then(|i| self.points.get(i)) {
            let working = Working::new(
                format!("{}: {}", p.label, share(p.with, p.inspected)),
                "with / inspected; pull = (slope − slope without it) / its standard error without it",
                "pull after Belsley, Kuh and Welsch 1980; above 1 it is marked, as is common practice",
                &[INSPECTED],
            );
            let reading = format!("{} {}", short(p.reading), self.unit);
            let working = working
                .with("with", p.with)
                .with("inspected", p.inspected)
                .with(&self.reading, reading.trim_end())
                .record(&p.label);
            out.push(match p.influence {
                Some(d) => working.with("pull on the slope", format!("{} standard errors", short(d))),
                None => working,
            });
        }
        let one = |title: &str, f: &Slope| {
            let working = Working::new(
                format!("{title}{}", self.odds(f)),
                "ln(p/(1−p)) = a + b × reading, by maximum likelihood; limits b ± t × error",
                "McCullagh and Nelder 1989; error by Liang and Zeger 1986; Student's t on heats less 2",
                &[
                    "heats are independent of each other; blades of one heat need not be",
                    "log odds change in a straight line with the reading",
                    "association, not cause",
                ],
            );
            let [low, high] = f.interval.map(short);
            working
                .with("a", short(f.intercept))
                .with("b", format!("{} ({low} to {high})", short(f.slope)))
                .with("standard error of b", short(f.std_error))
                .with("heats, as clusters", f.heats)
                .record(format!("{} {}s with reading and rate", self.points.len(), self.by))
        };
        out.extend(self.fit.iter().map(|f| one("slope: ", f)));
        out.extend(self.without.iter().map(|f| one("without the strongest: ", f)));
        out
    }
}

impl Rates {
    /// The working of one line.
    pub fn workings(&self, at: usize) -> Vec<Working> {
        let one = self.lines.get(at).map(|l| {
            let working = Working::new(
                format!("{}: {}", l.label, share_between(l.with, l.inspected, l.interval)),
                "with / inspected; limits by Wilson",
                "Wilson 1927",
                &[
                    INSPECTED,
                    "blades are independent; those of one mould are not, so the limits are too narrow",
                ],
            );
            working
                .with("with", format!("{} blades in {} moulds", l.with, l.moulds_with))
                .with("inspected", format!("{} blades in {} moulds", l.inspected, l.moulds))
                .with("made", format!("{} blades", l.made))
                .record(format!("{} moulds of {} heats", l.moulds, self.heats))
        });
        one.into_iter().collect()
    }
}
