//! Tags that follow each other, as one writes them on paper: `M31-049-1 to 8`.

/// A tag up to its last number, and the number: what may be counted on.
fn parted(tag: &str) -> Option<(&str, &str, u64)> {
    let at = tag.rfind(|c: char| !c.is_ascii_digit())? + 1;
    let number = tag.get(at..)?;
    Some((tag.get(..at)?, number, number.parse().ok()?))
}

/// Tags of one beginning that follow each other in a list. Counted together are numbers without a zero before them, or
/// numbers of one length.
struct Group<'t> {
    beginning: &'t str,
    bare: bool,
    length: Option<usize>,
    numbers: Vec<(&'t str, u64)>,
}

impl<'t> Group<'t> {
    fn takes(&mut self, beginning: &str, number: &'t str, value: u64) -> bool {
        let bare = number == "0" || !number.starts_with('0');
        let same = self.length == Some(number.len());
        if self.beginning != beginning || !(self.bare && bare || same) {
            return false;
        }
        self.bare &= bare;
        self.length = self.length.filter(|_| same);
        self.numbers.push((number, value));
        true
    }
}

/// The tags in their order, those of one beginning together, runs of three and more by their ends: `M31-049-1 to 5, 7`.
///
/// ```
/// use meltkin::show::ranges::ranges;
/// let tags = ["M31-049-1", "M31-049-2", "M31-049-3", "M31-049-5", "M31-050-8", "B7x"];
/// assert_eq!(ranges(&tags), ["M31-049-1 to 3, 5", "M31-050-8", "B7x"]);
/// ```
pub fn ranges<T: AsRef<str>>(tags: &[T]) -> Vec<String> {
    let mut groups: Vec<Group> = Vec::new();
    for tag in tags.iter().map(AsRef::as_ref) {
        let Some((beginning, number, value)) = parted(tag) else {
            groups.push(Group { beginning: tag, bare: false, length: None, numbers: Vec::new() });
            continue;
        };
        if !groups.last_mut().is_some_and(|g| g.takes(beginning, number, value)) {
            let mut group = Group { beginning, bare: true, length: Some(number.len()), numbers: Vec::new() };
            group.takes(beginning, number, value);
            groups.push(group);
        }
    }
    groups.into_iter().map(|g| format!("{}{}", g.beginning, runs(&g.numbers))).collect()
}

fn runs(numbers: &[(&str, u64)]) -> String {
    let mut out: Vec<String> = Vec::new();
    let mut rest = numbers;
    while let Some(first) = rest.first() {
        let follow = rest.windows(2).take_while(|w| w[0].1.checked_add(1) == Some(w[1].1)).count();
        let (run, after) = rest.split_at(follow + 1);
        match run {
            [_, _, .., last] => out.push(format!("{} to {}", first.0, last.0)),
            few => out.extend(few.iter().map(|n| n.0.to_string())),
        }
        rest = after;
    }
    out.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every tag that a range stands for, by counting: what is written must be what was meant.
    fn written_out(range: &str) -> Vec<String> {
        let (first, rest) = range.split_once(", ").map_or((range, None), |(a, b)| (a, Some(b)));
        let tag = first.split(" to ").next().unwrap();
        let Some((beginning, ..)) = parted(tag) else { return vec![range.to_string()] };
        let mut out = Vec::new();
        for part in
            std::iter::once(&first[beginning.len()..]).chain(rest.into_iter().flat_map(|r| r.split(", ")))
        {
            let (from, to) = part.split_once(" to ").unwrap_or((part, part));
            let (low, high): (u64, u64) = (from.parse().unwrap(), to.parse().unwrap());
            out.extend(
                (low..=high).map(|n| format!("{beginning}{n:0width$}", width = from.len().min(to.len()))),
            );
        }
        out
    }

    #[test]
    fn a_range_stands_for_its_tags_and_no_others() {
        let cases: &[&[&str]] = &[
            &[],
            &["M31-049-1"],
            &["M31-049-1", "M31-049-2"],
            &["M31-049-7", "M31-049-8", "M31-049-9", "M31-049-10", "M31-049-12"],
            &["B-008", "B-009", "B-010", "B-012"],
            &["B-8", "B-09", "B-10"],
            &["B-9", "B-10", "B-011"],
            &["x", "y", "12", "13", "14"],
            &["A1", "A2", "A3", "B1", "A4"],
            &["Z18446744073709551615", "Z99999999999999999999"],
        ];
        for tags in cases {
            let back: Vec<String> = ranges(tags).iter().flat_map(|r| written_out(r)).collect();
            assert_eq!(&back, tags, "{:?}", ranges(tags));
        }
        assert_eq!(ranges(&["M1-1", "M1-2", "M1-3", "M1-4", "M1-6", "M1-7"]), ["M1-1 to 4, 6, 7"]);
    }
}
