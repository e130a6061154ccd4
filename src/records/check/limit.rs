//! A foundry's own limits for a field: warning and stop, with where they come from.

use crate::check::Guard;

/// One limit that applies to a record.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Limit {
    pub field: String,
    /// The definition that it is tied to; blank for all.
    pub scope: String,
    /// Outside of these it is a warning.
    pub warn: (Option<f64>, Option<f64>),
    /// Outside of these work should stop.
    pub stop: (Option<f64>, Option<f64>),
    /// Where the limit comes from.
    pub source: String,
}

fn outside(v: f64, (low, high): (Option<f64>, Option<f64>)) -> bool {
    low.is_some_and(|l| v < l) || high.is_some_and(|h| v > h)
}

fn range((low, high): (Option<f64>, Option<f64>)) -> String {
    match (low, high) {
        (Some(low), Some(high)) => format!("{low} to {high}"),
        (Some(low), None) => format!("at least {low}"),
        (None, Some(high)) => format!("at most {high}"),
        (None, None) => "no limits".into(),
    }
}

impl Limit {
    /// What is said of a value that lies outside. It is never refused: a reason is asked, and outside
    /// the stop limits a hold is recommended.
    pub fn judge(&self, v: f64) -> Option<Guard> {
        let source = if self.source.is_empty() { "no source" } else { &self.source };
        let message = if outside(v, self.stop) {
            format!("{v} is outside the stop limits {} ({source}); a hold is recommended", range(self.stop))
        } else if outside(v, self.warn) {
            format!("{v} is outside the warning limits {} ({source})", range(self.warn))
        } else {
            return None;
        };
        Some(Guard { field: self.field.clone(), message, needs_reason: true })
    }

    /// A value lies outside the stop limits.
    pub fn stops(&self, v: f64) -> bool {
        outside(v, self.stop)
    }

    /// The limit and its source in a few words, to stand beside the field.
    pub fn text(&self) -> String {
        let mut out = range(if self.warn == (None, None) { self.stop } else { self.warn });
        if self.warn != (None, None) && self.stop != (None, None) {
            out.push_str(&format!(", stop {}", range(self.stop)));
        }
        if !self.source.is_empty() {
            out.push_str(&format!(" ({})", self.source));
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn warning_and_stop_ask_why_and_never_refuse() {
        let limit = Limit {
            field: "ph".into(),
            warn: (Some(9.5), Some(10.4)),
            stop: (Some(9.0), None),
            source: "S-1".into(),
            ..Limit::default()
        };
        assert_eq!(limit.judge(9.5), None);
        assert!(limit.judge(9.4).unwrap().message.contains("warning limits 9.5 to 10.4 (S-1)"));
        let stop = limit.judge(8.9).unwrap();
        assert!(
            stop.needs_reason && stop.message.contains("stop limits at least 9 (S-1); a hold is recommended")
        );
        assert!(limit.stops(8.9) && !limit.stops(9.4));
        assert_eq!(limit.text(), "9.5 to 10.4, stop at least 9 (S-1)");
    }
}
