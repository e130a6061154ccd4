//! Gauge study: how much of the spread of readings is the gauge and the people, how much the parts.

use crate::stats::compensated::mean;
use crate::stats::compensated::sum;

/// Components of variance of a gauge study, each cut at 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gauge {
    /// Between readings of one part by one person.
    pub repeatability: f64,
    /// Between people.
    pub reproducibility: f64,
    /// Between people in how they read a part.
    pub interaction: f64,
    /// Between parts.
    pub part: f64,
    /// The four together.
    pub total: f64,
    /// The components that came out negative and were cut at 0, as (person, interaction, part).
    pub cut: (bool, bool, bool),
}

/// A crossed gauge study by two-way analysis of variance with interaction, parts and people taken as
/// random: every person reads every part the same number of times, at least twice.
///
/// repeatability = MSE; interaction = (MSI - MSE)/r; people = (MSO - MSI)/(p r); part = (MSP - MSI)/(o r), with
/// p parts, o people, r readings. Source: Houf and Berman 1988; Montgomery, Introduction to Statistical
/// Quality Control.
///
/// # Errors
/// Fewer than two parts, people or readings; a cell with more or fewer readings than the first; values
/// too large to be squared.
///
/// ```
/// let (part, person) = (["1", "1", "1", "1", "2", "2", "2", "2"], ["a", "a", "b", "b", "a", "a", "b", "b"]);
/// let g = knowledge::stats::gauge::study(&part, &person, &[5.0, 5.2, 5.1, 5.3, 9.0, 9.2, 9.1, 9.3]).unwrap();
/// assert!((g.repeatability - 0.02).abs() < 1e-12);
/// ```
pub fn study(part: &[&str], person: &[&str], value: &[f64]) -> Result<Gauge, String> {
    let levels = |labels: &[&str]| {
        let mut seen: Vec<String> = labels.iter().map(|l| (*l).to_string()).collect();
        seen.sort();
        seen.dedup();
        seen
    };
    let (parts, people) = (levels(part), levels(person));
    if parts.len() < 2 || people.len() < 2 {
        return Err(format!(
            "{} parts and {} people; a gauge study needs at least two of each",
            parts.len(),
            people.len()
        ));
    }
    let width = people.len();
    let mut cells: Vec<Vec<f64>> = vec![Vec::new(); parts.len() * width];
    let centre = mean(value).filter(|m| m.is_finite()).ok_or("the values are too large")?;
    for ((p, o), v) in part.iter().zip(person).zip(value) {
        let find =
            |levels: &[String], label: &str| levels.binary_search_by(|l| l.as_str().cmp(label)).unwrap_or(0);
        cells[find(&parts, p) * width + find(&people, o)].push(v - centre);
    }
    let readings = cells.iter().map(Vec::len).max().unwrap_or(0);
    if let Some(i) = cells.iter().position(|c| c.len() != readings) {
        return Err(format!(
            "person {} read part {} {} times, others {readings} times; the study must be balanced",
            people[i % width],
            parts[i / width],
            cells[i].len()
        ));
    }
    if readings < 2 {
        return Err("each person read each part once; repeatability needs at least two readings".into());
    }
    components(&cells, parts.len(), width)
}

fn components(cells: &[Vec<f64>], parts: usize, people: usize) -> Result<Gauge, String> {
    let (p, o, r) = (parts as f64, people as f64, cells[0].len() as f64);
    let means: Vec<f64> = cells.iter().map(|c| sum(c.iter().copied()) / r).collect();
    let grand = sum(means.iter().copied()) / (p * o);
    let by_part: Vec<f64> =
        (0..parts).map(|i| sum(means[i * people..(i + 1) * people].iter().copied()) / o).collect();
    let by_person: Vec<f64> =
        (0..people).map(|j| sum((0..parts).map(|i| means[i * people + j])) / p).collect();
    let square = |v: f64| v * v;
    let ms_part = o * r * sum(by_part.iter().map(|m| square(m - grand))) / (p - 1.0);
    let ms_person = p * r * sum(by_person.iter().map(|m| square(m - grand))) / (o - 1.0);
    let odd =
        (0..means.len()).map(|c| square(means[c] - by_part[c / people] - by_person[c % people] + grand));
    let ms_odd = r * sum(odd) / ((p - 1.0) * (o - 1.0));
    let error = cells.iter().zip(&means).map(|(c, m)| {
        // readings that are all the same do not vary, whatever their mean is rounded to
        if c.iter().all(|v| *v == c[0]) { 0.0 } else { sum(c.iter().map(|v| square(v - m))) }
    });
    let ms_error = sum(error) / (p * o * (r - 1.0));
    let raw = [(ms_odd - ms_error) / r, (ms_person - ms_odd) / (p * r), (ms_part - ms_odd) / (o * r)];
    let [interaction, reproducibility, part] = raw.map(|v| v.max(0.0));
    let total = ms_error + interaction + reproducibility + part;
    if !total.is_finite() {
        return Err("the values are too large to be squared".into());
    }
    Ok(Gauge {
        repeatability: ms_error,
        reproducibility,
        interaction,
        part,
        total,
        cut: (raw[1] < 0.0, raw[0] < 0.0, raw[2] < 0.0),
    })
}
