//! One heat far off the others: it proves no factor, and a person must still be told where to look.

use knowledge::causes::Records;
use knowledge::stats::fisher;

/// The heat with the highest rate, as a sentence, where it holds a fifth of all that were found, at three
/// times the rate of the others or more, and p·heats < 0.001 (Fisher's exact test of its blades against the
/// others', times the number of heats, after Bonferroni; common practice, no source). Blades of one heat are
/// not independent: it is a place to look at, no evidence.
pub fn heat(records: &Records) -> Option<String> {
    if records.counts || records.heat_tags.len() < 3 {
        return None;
    }
    let mut heats = vec![(0_u64, 0_u64); records.heat_tags.len()];
    for (mould, with) in records.blade_mould.iter().zip(&records.defective) {
        let heat = heats.get_mut(*records.mould_heat.get(*mould as usize)? as usize)?;
        heat.0 += u64::from(*with > 0);
        heat.1 += 1;
    }
    let (all_with, all) = heats.iter().fold((0, 0), |s, h| (s.0 + h.0, s.1 + h.1));
    let rate = |h: &(u64, u64)| h.0 as f64 / h.1.max(1) as f64;
    let at = (0..heats.len()).max_by(|&a, &b| rate(&heats[a]).total_cmp(&rate(&heats[b])).then(b.cmp(&a)))?;
    let (with, n) = heats[at];
    let (rest_with, rest) = (all_with - with, all - n);
    if with < 4 || rest == 0 || with * 5 < all_with {
        return None;
    }
    let others = rest_with as f64 / rest as f64;
    let p = fisher::two_sided([[with, n - with], [rest_with, rest - rest_with]]).ok()?;
    if rate(&heats[at]) < 3.0 * others || p * heats.len() as f64 >= 0.001 {
        return None;
    }
    let tag = &records.heat_tags[at];
    Some(format!(
        "Heat {tag} stands out: {with} of its {n} inspected blades, against {rest_with} of {rest} in all others. One \
         heat cannot show which of its factors did it; look at what it alone had (trace {tag}), at its chart and siblings."
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn records(heats: &[(u32, u32)]) -> Records {
        let mut out = Records { made: 0, ..Records::default() };
        for (h, &(with, n)) in (0..).zip(heats) {
            out.heat_tags.push(format!("H-{h}"));
            out.mould_tags.push(format!("M-{h}"));
            out.mould_heat.push(h);
            out.blade_mould.extend((0..n).map(|_| h));
            out.defective.extend((0..n).map(|i| u32::from(i < with)));
        }
        out
    }

    #[test]
    fn one_heat_far_off_is_named_and_no_other() {
        // Hypergeometric terms no larger than that of the table, added up by hand in Python: 1.1e-14.
        let mut heats = vec![(1, 38); 8];
        heats.extend([(0, 38), (0, 38), (18, 41)]);
        let said = heat(&records(&heats)).unwrap();
        assert!(
            said.starts_with("Heat H-10 stands out: 18 of its 41 inspected blades, against 8 of 380"),
            "{said}"
        );
        assert_eq!(heat(&records(&[(3, 40); 12])), None);
        // Twice the rate of the others is no heat far off.
        assert_eq!(heat(&records(&[(40, 200), (20, 200), (20, 200), (20, 200)])), None);
        assert_eq!(heat(&records(&[(9, 9)])), None);
    }
}
