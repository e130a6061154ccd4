//! Fields of its own that a foundry may want: each with what it is good for, and the line that adds it.

use serde::Serialize;

use records::catalogue::YesNo;
use records::catalogue::starter::{SuggestedField, suggested};
use records::{Error, Result};

/// The list.
#[derive(Serialize)]
#[serde(transparent)]
pub struct SuggestedFields(Vec<SuggestedField>);

pub fn list() -> Result<SuggestedFields> {
    suggested().map(SuggestedFields).map_err(Error::untrusted)
}

impl SuggestedFields {
    pub fn text(&self) -> String {
        let mut out = String::from(
            "Worth a field of your own where you can measure it. Each is tried among the causes once recorded.\n",
        );
        for one in &self.0 {
            out.push_str(&format!(
                "\n{}.{}: {}.\n  measured: {}\n",
                one.record, one.field, one.why, one.measured
            ));
            out.push_str(&format!("  meltkin field add {}.{} --type {}", one.record, one.field, one.r#type));
            for (option, bound) in [("--min", one.min), ("--max", one.max)] {
                if let Some(bound) = bound {
                    out.push_str(&format!(" {option} {bound}"));
                }
            }
            out.push_str(if one.cause == YesNo::Yes.word() { " --cause\n" } else { "\n" });
        }
        out
    }
}
