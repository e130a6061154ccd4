//! A tag for what has none of its own on a sheet, by a pattern such as `{blade}-{method}-{n}`.

use std::collections::HashMap;

/// The fields that a pattern of tags names.
pub(super) fn names(pattern: &str) -> Result<Vec<&str>, String> {
    let mut out = Vec::new();
    let mut rest = pattern;
    while let Some((before, after)) = rest.split_once('{') {
        let Some((name, behind)) = after.split_once('}').filter(|_| !before.contains('}')) else {
            return Err(format!(
                "the pattern {pattern}: a bracket is not closed; {{blade}}-{{method}}-{{n}} is a pattern"
            ));
        };
        out.push(name);
        rest = behind;
    }
    if out.is_empty() {
        return Err(format!(
            "the pattern {pattern} gives every row the same tag; {{row}} is the row, {{n}} counts"
        ));
    }
    Ok(out)
}

/// A tag by its pattern. Of a time its date is taken; what a tag cannot hold becomes a hyphen.
pub(super) fn made_tag(
    pattern: &str,
    fields: &[&str],
    cells: &[String],
    row: u64,
    numbers: &mut HashMap<String, u64>,
) -> String {
    let mut out = pattern.replace("{row}", &row.to_string());
    for (field, cell) in fields.iter().zip(cells) {
        let date = cell.split_once('T').map_or(cell.as_str(), |(d, _)| {
            if d.len() == 10 && d.matches('-').count() == 2 { d } else { cell }
        });
        let plain: String = date
            .chars()
            .map(|c| if c.is_whitespace() || c.is_control() || ",;:/".contains(c) { '-' } else { c })
            .collect();
        out = out.replace(&format!("{{{field}}}"), &plain);
    }
    if out.contains("{n}") {
        let n = numbers.entry(out.to_lowercase()).or_insert(0);
        *n += 1;
        out = out.replace("{n}", &n.to_string());
    }
    out
}
