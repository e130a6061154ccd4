//! Words and figures in sentences, as people write them.

/// So many of something: `1 blade`, `2 blades`, `0 blades`, `2 analyses`, `3 batches`.
pub fn counted(n: usize, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {}", plural(one)) }
}

/// Several of a noun.
fn plural(one: &str) -> String {
    if let Some(stem) = one.strip_suffix("person") {
        return format!("{stem}people");
    }
    if let Some(stem) = one.strip_suffix("sis") {
        return format!("{stem}ses");
    }
    match one.strip_suffix('y') {
        Some(stem) if !stem.ends_with(['a', 'e', 'o', 'u']) => format!("{stem}ies"),
        _ if ["s", "x", "ch", "sh"].iter().any(|end| one.ends_with(end)) => format!("{one}es"),
        _ => format!("{one}s"),
    }
}

/// A noun with its article: `a mould`, `an ingot lot`.
pub fn articled(noun: &str) -> String {
    let article = if noun.starts_with(['a', 'e', 'i', 'o', 'u']) { "an" } else { "a" };
    format!("{article} {noun}")
}

/// Seconds as minutes and seconds, with hours where there are any: `3:41`, `1:02:03`.
pub fn minutes(seconds: i64) -> String {
    let (h, m, s) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    if h > 0 { format!("{h}:{m:02}:{s:02}") } else { format!("{m}:{s:02}") }
}

#[cfg(test)]
mod tests {
    use super::{articled, counted};
    use crate::value::unseen::readable;

    #[test]
    fn nouns_are_as_people_write_them() {
        assert_eq!([0, 1, 2].map(|n| counted(n, "blade")), ["0 blades", "1 blade", "2 blades"]);
        assert_eq!(
            ["analysis", "shell batch", "person", "lot blade"].map(|n| counted(2, n)),
            ["2 analyses", "2 shell batches", "2 people", "2 lot blades"]
        );
        assert_eq!(counted(1, "analysis"), "1 analysis");
        assert_eq!(["oven run", "mould"].map(articled), ["an oven run", "a mould"]);
        // The rule goes by letters: no noun of the catalogue may sound otherwise.
        for kind in crate::catalogue::all() {
            assert!(
                !kind.noun.starts_with(['u', 'h']) || ["heat", "hold", "hand-over"].contains(&kind.noun),
                "{}",
                kind.noun
            );
        }
    }

    #[test]
    fn what_nobody_sees_is_no_reason() {
        for text in
            ["", "  ", "\t\n", "\u{200b}\u{200d}", " \u{3164} ", "\u{2800}", "\u{e0041}", "\u{ad}\u{feff}"]
        {
            assert!(!readable(text), "{text:?}");
        }
        assert!(readable("x") && readable("\u{200b}ok") && readable("später"));
    }
}
