//! The sampling plans that a lot's inspection plan asks for.

use knowledge::sampling::published::{InspectionLevel, Severity};
use knowledge::sampling::single::SinglePlan;
use knowledge::sampling::switching::Followed;
use knowledge::sampling::zero;

/// Shares nonconforming at which the operating curve is given.
const SHARES: [f64; 7] = [0.005, 0.01, 0.02, 0.05, 0.10, 0.15, 0.20];

/// A sampling plan for a lot.
#[derive(Default)]
pub struct SamplingOf {
    /// What the inspection plan says.
    pub says: String,
    /// Sample size; the whole lot where every blade is inspected.
    pub n: Option<u64>,
    /// Acceptance number.
    pub accept: Option<u64>,
    /// From so many rejected on the sample is not accepted: one more than the acceptance number, but for reduced plans.
    pub reject: Option<u64>,
    /// Points of the operating curve: share nonconforming in the lot, chance of accepting it.
    pub curve: Vec<[f64; 2]>,
    /// Why there is no plan, or which table it is from.
    pub note: String,
}

/// A sample by an AQL, as an inspection plan words it.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    pub aql: f64,
    pub level: InspectionLevel,
    /// Reduced inspection is agreed: desired by who answers for it, production steady, limit numbers dropped.
    pub reduced: bool,
    /// The lot behind which sampling goes on, where it had ended: what was wrong was put right.
    pub resumed: Option<String>,
}

/// The words of a plan, its marks taken as blanks.
fn words(text: &str) -> String {
    text.trim().to_lowercase().replace(['=', ',', ';', '%'], " ")
}

/// The word behind another.
fn after<'a>(words: &[&'a str], name: &str) -> Option<&'a str> {
    words.iter().position(|w| *w == name).and_then(|i| words.get(i + 1)).copied()
}

impl Asked {
    /// `AQL 1.0`, `level S-3` (else II), `reduced`, `resumed L31-07`; none where the words name no AQL.
    pub fn of(says: &str) -> Option<Result<Self, String>> {
        let text = words(says);
        let words: Vec<&str> = text.split_whitespace().collect();
        let aql = after(&words, "aql").and_then(|w| w.parse().ok())?;
        let level = after(&words, "level").map_or(Ok(InspectionLevel::II), InspectionLevel::read);
        let has = |any: &[&str]| words.iter().any(|w| any.contains(w));
        let twice = words.iter().filter(|w| **w == "aql").count() > 1;
        if twice || has(&["double", "multiple", "sequential", "tightened"]) {
            let why = "not a plan that can be reckoned with: one AQL, single sampling; how strictly follows from the lots before";
            return Some(Err(why.into()));
        }
        Some(level.map(|level| Self {
            aql,
            level,
            // Fewer blades are looked at only where the words say nothing against it.
            reduced: has(&["reduced"]) && !has(&["not", "no", "never", "without", "nor"]),
            resumed: after(&words, "resumed").map(String::from),
        }))
    }
}

/// What a method's words in an inspection plan come to for a lot of this many blades: sample size, acceptance number,
/// operating curve. Understood are `all` (or nothing), `AQL 1.0` with `level I` to `III` or S-1 to S-4 (else II),
/// `c=0 2 % 95 %` (quality, confidence), `n=13 c=1`, `13` or `13 blades` (none of them rejected). Anything else is passed on
/// as it stands. By an AQL the series of the lot says how strictly.
pub fn of_words(says: &str, required: bool, lot: u64, followed: Option<&Followed>) -> SamplingOf {
    let text = says.trim().to_lowercase();
    let mut out = SamplingOf { says: says.trim().to_string(), ..SamplingOf::default() };
    if text.is_empty() || text == "all" {
        if required || text == "all" {
            out.n = Some(lot);
            (out.accept, out.reject) = (Some(0), Some(1));
            out.note = "every blade".into();
        } else {
            out.note = "not required, and no sample is laid down".into();
        }
        return out;
    }
    let found = match Asked::of(says) {
        _ if lot == 0 => Err("no blade of this lot is made yet".into()),
        Some(asked) => asked.and_then(|_| by_aql(followed)),
        None => plan_in(&text, lot).map(|(plan, note)| (plan, plan.accept + 1, note)),
    };
    match found {
        Ok((plan, reject, note)) => {
            let plan = SinglePlan { n: plan.n.min(lot), ..plan };
            (out.n, out.accept, out.reject, out.note) = (Some(plan.n), Some(plan.accept), Some(reject), note);
            let passing = SinglePlan { accept: reject - 1, ..plan };
            let passes =
                |share: f64| Some([share, passing.accepts_lot(lot, zero::nonconforming(lot, share)).ok()?]);
            out.curve = SHARES.into_iter().filter_map(passes).collect();
        }
        Err(why) => out.note = why,
    }
    out
}

/// The plan by an AQL, with the rejection number, and where it is from.
fn by_aql(followed: Option<&Followed>) -> Result<(SinglePlan, u64, String), String> {
    let followed = followed.ok_or("the series of the lot is not known")?;
    let found = followed.plan.clone()?;
    let source = match followed.standing.severity {
        Severity::Normal | Severity::Tightened => "ISO 2859-1",
        Severity::Reduced => "MIL-STD-105E",
    };
    let severity = followed.standing.severity.word();
    let note = format!("letter {}, single {severity} inspection, {source}", found.letter);
    Ok((SinglePlan { n: found.n, accept: found.accept }, found.reject, note))
}

/// The plan that the words stand for, and where it is from.
fn plan_in(text: &str, lot: u64) -> Result<(SinglePlan, String), String> {
    let spaced = words(text);
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let number = |name: &str| after(&words, name).and_then(|w| w.parse::<f64>().ok());
    if let (Some(n), Some(c)) = (number("n"), number("c")) {
        if n >= 1.0 && c >= 0.0 && n.fract() == 0.0 && c.fract() == 0.0 {
            return Ok((SinglePlan { n: n as u64, accept: c as u64 }, "as laid down".into()));
        }
    }
    if let [count] | [count, "blades" | "blade" | "pieces"] = words.as_slice()
        && !text.contains('%')
        && let Ok(n) = count.parse::<u64>()
        && n > 0
    {
        return Ok((SinglePlan { n, accept: 0 }, "as laid down; no acceptance number is named, so 0".into()));
    }
    let shares: Vec<f64> = words.iter().filter_map(|w| w.parse::<f64>().ok()).collect();
    let zero_plan = number("c") == Some(0.0) || text.contains("zero");
    let shares = if number("c") == Some(0.0) { &shares[1..] } else { &shares[..] };
    if let (true, Some(&quality)) = (zero_plan, shares.first()) {
        let confidence = shares.get(1).copied().unwrap_or(95.0);
        let n = zero::sample(lot, quality / 100.0, confidence / 100.0)?;
        let note = format!(
            "zero acceptance: better than {quality} % with {confidence} % confidence, hypergeometric"
        );
        return Ok((SinglePlan { n, accept: 0 }, note));
    }
    Err("not a plan that can be reckoned with: AQL 1.0 level II, c=0 2 % 95 %, n=13 c=1, 13 blades, or all"
        .into())
}

#[cfg(test)]
mod tests {
    use super::Asked;

    #[test]
    fn reduced_is_only_where_nothing_is_said_against_it() {
        let reduced = |says: &str| Asked::of(says).unwrap().unwrap().reduced;
        assert!(reduced("AQL 2.5 level II, reduced"));
        for says in
            ["AQL 2.5, not reduced", "AQL 2.5; reduced inspection is not agreed", "AQL 2.5 no reduced"]
        {
            assert!(!reduced(says), "{says}");
        }
        // How strictly is typed nowhere, and other plans are none of these.
        for says in ["AQL 2.5 tightened", "AQL 2.5 double sampling", "AQL 2.5 level III or AQL 0.1 level I"] {
            assert!(Asked::of(says).unwrap().is_err(), "{says}");
        }
    }
}
