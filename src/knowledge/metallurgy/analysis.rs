//! An analysis as it stands on a certificate: contents in wt% or ppm, some below detection, some
//! not readable.

use crate::metallurgy::composition::Composition;
use crate::metallurgy::elements::canonical;
use crate::metallurgy::limits::Content;
use crate::metallurgy::limits::Unit;

/// One line of an analysis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AnalysisLine<'a> {
    /// The element's symbol as recorded, in any case.
    pub element: &'a str,
    /// What was found.
    pub content: Content,
    /// Unit of the content.
    pub unit: Unit,
}

/// Content of an element in a unit. A name such as `Al+Ti` is the sum of its elements; where one of them is unknown it is
/// what the analysis states of the sum itself, else unknown.
///
/// ```
/// use knowledge::metallurgy::analysis::{AnalysisLine, content};
/// use knowledge::metallurgy::limits::{Content, Unit};
/// let line = |element, v| AnalysisLine { element, content: Content::Value(v), unit: Unit::WtPct };
/// let lines = [line("Al", 3.5), line("Ti", 3.25), line("B", 0.011)];
/// assert_eq!(content(&lines, "Al+Ti", Unit::WtPct), Content::Value(6.75));
/// assert_eq!(content(&lines, "B", Unit::Ppm), Content::Value(110.0));
/// assert_eq!(content(&lines, "Al+Nb", Unit::WtPct), Content::Unknown);
/// assert_eq!(content(&[line("Nb+Ta", 2.1)], "Ta+Nb", Unit::WtPct), Content::Value(2.1));
/// ```
#[must_use]
pub fn content(lines: &[AnalysisLine], element: &str, unit: Unit) -> Content {
    let one = |name: &str| {
        let same = |l: &&AnalysisLine| match (canonical(l.element), canonical(name)) {
            (Some(a), Some(b)) => a == b,
            _ => l.element.eq_ignore_ascii_case(name),
        };
        lines.iter().find(same).map_or(Content::Unknown, |l| l.content.times(l.unit.factor_to(unit)))
    };
    let mut parts = element.split('+').map(|name| one(name.trim()));
    let first = parts.next().unwrap_or(Content::Unknown);
    match parts.fold(first, Content::plus) {
        Content::Unknown if element.contains('+') => stated_sum(lines, element, unit),
        sum => sum,
    }
}

/// A sum as one line of the analysis states it.
fn stated_sum(lines: &[AnalysisLine], element: &str, unit: Unit) -> Content {
    let symbols = |name: &str| {
        let mut all: Vec<_> = name.split('+').map(|part| canonical(part.trim())).collect();
        all.sort_unstable();
        all
    };
    let wanted = symbols(element);
    let same = |l: &&AnalysisLine| wanted.iter().all(Option::is_some) && symbols(l.element) == wanted;
    lines.iter().find(same).map_or(Content::Unknown, |l| l.content.times(l.unit.factor_to(unit)))
}

/// The composition that an analysis gives, and the recorded names that are no element here.
///
/// # Errors
/// Contents that sum to more than 100, or two lines for one element.
///
/// ```
/// use knowledge::metallurgy::analysis::{AnalysisLine, composition};
/// use knowledge::metallurgy::limits::{Content, Unit};
/// let lines = [
///     AnalysisLine { element: "Cr", content: Content::Value(16.0), unit: Unit::WtPct },
///     AnalysisLine { element: "B", content: Content::Value(100.0), unit: Unit::Ppm },
///     AnalysisLine { element: "Fe", content: Content::Below(0.05), unit: Unit::WtPct },
/// ];
/// let (c, strange) = composition(&lines).unwrap();
/// assert_eq!((c.wt("B"), c.wt("Fe"), strange.len()), (0.01, 0.0, 0));
/// assert_eq!(c.lacking(&["Fe", "Al"]), ["Al"]);
/// ```
pub fn composition<'a>(lines: &[AnalysisLine<'a>]) -> Result<(Composition, Vec<&'a str>), String> {
    let (mut parts, mut below, mut strange) = (Vec::new(), Vec::new(), Vec::new());
    for line in lines {
        let Some(symbol) = canonical(line.element) else {
            strange.push(line.element);
            continue;
        };
        match line.content.times(line.unit.factor_to(Unit::WtPct)) {
            Content::Value(v) => parts.push((symbol, v)),
            Content::Below(x) => below.push((symbol, x)),
            Content::Between(..) | Content::Unknown => {}
        }
    }
    Ok((Composition::new(&parts, &below)?, strange))
}
