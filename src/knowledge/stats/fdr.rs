//! The false discovery rate.

/// Benjamini and Hochberg's adjusted p values, in the order given: q_(i) = min over j ≥ i of
/// m p_(j)/j, cut at 1.
///
/// Source: Benjamini and Hochberg 1995, JRSS B 57:289-300.
///
/// # Errors
/// A p outside [0, 1].
///
/// ```
/// let q = knowledge::stats::fdr::benjamini_hochberg(&[0.04, 0.01]).unwrap();
/// assert_eq!(q, [0.04, 0.02]);
/// ```
pub fn benjamini_hochberg(p: &[f64]) -> Result<Vec<f64>, String> {
    if let Some(i) = p.iter().position(|p| !(0.0..=1.0).contains(p)) {
        return Err(format!("p value {} is {}; it belongs between 0 and 1", i + 1, p[i]));
    }
    let m = p.len() as f64;
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|&a, &b| p[a].total_cmp(&p[b]));
    let mut q = vec![1.0; p.len()];
    let mut least = 1.0f64;
    for (rank, &i) in order.iter().enumerate().rev() {
        least = least.min(p[i] * (m / (rank as f64 + 1.0)));
        q[i] = least;
    }
    Ok(q)
}
