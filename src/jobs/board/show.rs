//! The board as text and as JSON.

use serde::{Serialize, Serializer};
use serde_json::json;

use crate::jobs::board::ask::{Wall, first_reason};
use crate::jobs::furnace::clocks::minutes;
use crate::jobs::records::show::HoldLine;
use crate::show::columns;
use records::value::tag::shown;

/// The mark of what is so, is not so, or cannot be told.
pub fn sign(ok: Option<bool>) -> &'static str {
    match ok {
        Some(true) => "✓",
        Some(false) => "✗",
        None => "?",
    }
}

impl Serialize for Wall {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mould = |m: &crate::jobs::board::ask::MouldOnBoard| {
            let ready = m.at(self.now);
            let clock = m.clock.as_ref().map(|c| {
                json!({"oven_run": c.oven_run, "out_at": c.out_at.to_string(), "seconds": c.seconds(self.now),
                    "limit_s": c.limit_s, "limit": c.limit(self.now)})
            });
            json!({"mould": m.mould, "planned_on": m.planned_on, "furnace": m.furnace, "ready": ready.ready,
                "reason": first_reason(&ready), "out_of_oven": clock})
        };
        let all = json!({
            "now": self.now.to_string(), "standing": self.standing,
            "moulds": self.moulds.iter().map(mould).collect::<Vec<_>>(),
            "drying": self.drying, "due": self.due, "holds": self.holds, "hand_over": self.hand_over,
        });
        all.serialize(to)
    }
}

impl Wall {
    /// As a page.
    pub fn text(&self) -> String {
        let mut out = format!("board at {}\n", self.now);
        if let Some(last) = &self.hand_over {
            out.push_str(&format!("{}\n", shown(&last.words())));
        }
        out.push_str(&format!("\nto be poured: {}\n", self.standing));
        let row = |m: &crate::jobs::board::ask::MouldOnBoard| {
            let ready = m.at(self.now);
            let clock = m.clock.as_ref().map_or(String::new(), |c| {
                let most = c.limit_s.map(|s| format!(" of {}", minutes(s as i64))).unwrap_or_default();
                format!(
                    "{}{most} out of {}, {}",
                    minutes(c.seconds(self.now)),
                    c.oven_run,
                    c.limit(self.now).words()
                )
            });
            let reason = first_reason(&ready).unwrap_or_else(|| "may be poured by these records".into());
            vec![sign(ready.ready).to_string(), m.mould.clone(), clock, shown(&reason).into_owned()]
        };
        let rows: Vec<Vec<String>> = self.moulds.iter().map(row).collect();
        out.push_str(&columns(&rows));
        if self.standing > self.moulds.len() {
            out.push_str(&format!("… and {} more\n", self.standing - self.moulds.len()));
        }
        let mut list = |title: &str, lines: Vec<String>| {
            let n = if lines.is_empty() { "none".into() } else { lines.len().to_string() };
            out.push_str(&format!("\n{title}: {n}\n"));
            for line in lines {
                out.push_str(&format!("  {}\n", shown(&line)));
            }
        };
        list("drying", self.dry_lines());
        list("due", self.due.iter().map(|d| d.said.clone()).collect());
        list("held", self.holds.iter().map(held).collect());
        out.push_str("\nCharge and mould dry? Inspected? Site rules and qualified people decide; take the time it needs.\n");
        out
    }

    /// What dries until when.
    pub fn dry_lines(&self) -> Vec<String> {
        let line = |d: &crate::jobs::board::ask::Dries| match &d.until {
            Some(until) if d.dry => format!("{} coat {} dry by its recipe since {until}", d.mould, d.coat),
            Some(until) => format!("{} coat {} until {until}", d.mould, d.coat),
            None => format!("{} coat {} since {}", d.mould, d.coat, d.since),
        };
        self.drying.iter().map(line).collect()
    }
}

/// A hold as the board prints it.
pub fn held(h: &HoldLine) -> String {
    format!("{} on {}: {}", h.hold, h.subject, h.reason)
}
