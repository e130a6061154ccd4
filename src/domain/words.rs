//! Words in front of nouns, as people write them.

/// So many of something: `1 blade`, `2 blades`, `0 blades`.
#[must_use]
pub fn counted(n: usize, one: &str) -> String {
    format!("{n} {one}{}", if n == 1 { "" } else { "s" })
}

/// A noun with its article: `a mould`, `an ingot lot`.
#[must_use]
pub fn articled(noun: &str) -> String {
    let article = if noun.starts_with(['a', 'e', 'i', 'o', 'u']) { "an" } else { "a" };
    format!("{article} {noun}")
}

#[cfg(test)]
mod tests {
    use super::{articled, counted};

    #[test]
    fn nouns_are_as_people_write_them() {
        assert_eq!([0, 1, 2].map(|n| counted(n, "blade")), ["0 blades", "1 blade", "2 blades"]);
        assert_eq!(["oven run", "mould"].map(articled), ["an oven run", "a mould"]);
        // The rule goes by letters: no noun of the catalogue may sound otherwise.
        for kind in crate::domain::catalogue::all() {
            assert!(
                !kind.noun.starts_with(['u', 'h']) || ["heat", "hold"].contains(&kind.noun),
                "{}",
                kind.noun
            );
        }
    }
}
