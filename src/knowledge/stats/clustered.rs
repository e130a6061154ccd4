//! Proportions counted in clusters (moulds, litters, shifts): pieces of one cluster are alike, and a
//! test that takes them as independent claims too much.

use crate::stats::dist::chi2_sf;
use crate::stats::finite;
use crate::stats::proportion::check;

/// One cluster: x of n with the mark, in a group.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cluster {
    /// The group it belongs to, from 0.
    pub group: usize,
    /// Pieces.
    pub n: u64,
    /// Pieces with the mark.
    pub x: u64,
}

/// Clusters in a group below which a note warns that p may be far too small. Common practice, no source; both
/// tests rest on the normal approximation over clusters (Donner and Klar 2000, ch. 6).
const FEW: usize = 10;

/// Groups of clusters against each other. `None` where the clusters do not determine a figure.
#[derive(Clone, Debug, PartialEq)]
pub struct Clustered {
    /// Share with the mark in each group.
    pub shares: Vec<Option<f64>>,
    /// Variance inflation of each group's share (Rao and Scott 1992).
    pub design_effects: Vec<Option<f64>>,
    /// Rao and Scott's adjusted chi-square and its p.
    pub rao_scott: Option<(f64, f64)>,
    /// Intracluster correlation by analysis of variance, pooled over groups.
    pub icc: Option<f64>,
    /// Donner's correction factor of each group.
    pub corrections: Vec<Option<f64>>,
    /// Donner's adjusted chi-square and its p.
    pub donner: Option<(f64, f64)>,
    /// Groups less one.
    pub df: usize,
    /// Why figures are missing or assumed, a sentence each.
    pub notes: Vec<String>,
}

/// Compares the shares of groups whose pieces come in clusters.
///
/// - design effect of group i: d = n v/(p(1-p)), v = m/(m-1) Σ (x_j - n_j p)²/n², m its clusters. Rao and
///   Scott's test is Pearson's chi-square on x/d and n/d (Rao and Scott 1992, Biometrics 48:577-585).
///   A group with none or all marked has no design effect; 1 is taken and said.
/// - intracluster correlation (MSC - MSW)/(MSC + (m0-1) MSW), within groups (Donner and Klar 2000)
/// - Donner's test: Σ n_i (p_i - p)²/(C_i p(1-p)), C_i = Σ n_ij (1 + (n_ij - 1) ρ)/n_i; a negative ρ
///   counts as 0 there (Donner 1987; Donner and Klar 1993)
///
/// Both on groups - 1 degrees of freedom. Empty clusters are left out. Both tests are of many clusters: a group
/// of one shows no spread between clusters, so there is none, and below `FEW` in a group that is said.
///
/// # Errors
/// x above n; fewer than two groups with pieces.
///
/// ```
/// use knowledge::stats::clustered::{Cluster, compare};
/// let c = |group, n, x| Cluster { group, n, x };
/// let r = compare(&[c(0, 10, 1), c(0, 10, 3), c(1, 10, 5), c(1, 10, 8)], &["a", "b"]).unwrap();
/// assert_eq!(r.df, 1);
/// ```
pub fn compare(clusters: &[Cluster], names: &[&str]) -> Result<Clustered, String> {
    for (i, c) in clusters.iter().enumerate() {
        check(c.x, c.n).map_err(|e| format!("row {}: {e}", i + 1))?;
    }
    let groups: Vec<Group> = (0..names.len()).map(|g| Group::of(clusters, g)).collect();
    let filled = groups.iter().filter(|g| g.n > 0.0).count();
    if filled < 2 || filled < names.len() {
        return Err(format!(
            "{filled} of {} groups hold pieces; the comparison needs two, and none empty",
            names.len()
        ));
    }
    let mut notes = Vec::new();
    let design_effects: Vec<Option<f64>> = groups.iter().map(Group::design_effect).collect();
    let rao_scott = rao_scott(&groups, &design_effects, names, &mut notes);
    let icc = correlation(&groups);
    if icc.is_none() {
        notes.push("no intracluster correlation: it needs a cluster of two or more, more clusters than groups, and pieces with and without the mark".into());
    }
    if icc.is_some_and(|r| r < 0.0) {
        notes.push("the intracluster correlation is negative; Donner's correction takes it as 0".into());
    }
    let corrections: Vec<Option<f64>> =
        groups.iter().map(|g| icc.map(|r| g.correction(r.max(0.0)))).collect();
    let single = groups.iter().any(|g| g.clusters.len() < 2);
    let donner = corrections.iter().copied().collect::<Option<Vec<f64>>>().filter(|_| !single);
    let donner = donner.and_then(|c| adjusted(&groups, &c));
    few_clusters(&groups, names, &mut notes);
    if donner.is_none() && icc.is_some() && !single {
        notes.push("no adjusted test: the groups do not differ in a mark that all or no pieces have".into());
    }
    Ok(Clustered {
        shares: groups.iter().map(|g| finite(g.p())).collect(),
        design_effects,
        rao_scott: with_tail(rao_scott, groups.len()),
        icc,
        corrections,
        donner: with_tail(donner, groups.len()),
        df: groups.len() - 1,
        notes,
    })
}

struct Group {
    clusters: Vec<(f64, f64)>,
    n: f64,
    x: f64,
}

impl Group {
    fn of(clusters: &[Cluster], group: usize) -> Self {
        let own = clusters.iter().filter(|c| c.group == group && c.n > 0);
        let clusters: Vec<(f64, f64)> = own.map(|c| (c.n as f64, c.x as f64)).collect();
        let n = clusters.iter().map(|c| c.0).sum();
        let x = clusters.iter().map(|c| c.1).sum();
        Self { clusters, n, x }
    }

    fn p(&self) -> f64 {
        self.x / self.n
    }

    fn design_effect(&self) -> Option<f64> {
        let m = self.clusters.len() as f64;
        let p = self.p();
        let squares: f64 = self.clusters.iter().map(|(n, x)| (x - n * p) * (x - n * p)).sum();
        finite(m / (m - 1.0) * squares / self.n / (p * (1.0 - p)))
    }

    fn correction(&self, icc: f64) -> f64 {
        self.clusters.iter().map(|(n, _)| n / self.n * (1.0 + (n - 1.0) * icc)).sum()
    }
}

fn with_tail(chi2: Option<f64>, groups: usize) -> Option<(f64, f64)> {
    chi2.and_then(|v| Some((v, chi2_sf(v, groups as f64 - 1.0)?)))
}

/// Says which groups have one cluster, or few.
fn few_clusters(groups: &[Group], names: &[&str], notes: &mut Vec<String>) {
    for (g, name) in groups.iter().zip(names) {
        match g.clusters.len() {
            1 => notes.push(format!(
                "group {name} is one cluster: whether it differs by more than clusters do cannot be told, so \
                 there is no test"
            )),
            n if n < FEW => notes.push(format!(
                "few clusters: group {name} has {n}, and the tests are of many; below about {FEW} p may be far \
                 too small (common practice, no source)"
            )),
            _ => {}
        }
    }
}

fn rao_scott(
    groups: &[Group],
    effects: &[Option<f64>],
    names: &[&str],
    notes: &mut Vec<String>,
) -> Option<f64> {
    let mut sizes = Vec::new();
    for ((g, d), name) in groups.iter().zip(effects).zip(names) {
        let d = match d {
            None if g.clusters.len() < 2 => return None,
            None => {
                notes.push(format!(
                    "no design effect: in group {name} all pieces or none have the mark; 1 is taken"
                ));
                1.0
            }
            Some(0.0) => {
                notes.push(format!("no Rao-Scott test: every cluster of group {name} has the same share"));
                return None;
            }
            Some(d) => *d,
        };
        sizes.push(g.n / d);
    }
    let total: f64 = sizes.iter().sum();
    let p = sizes.iter().zip(groups).map(|(n, g)| n * g.p()).sum::<f64>() / total;
    let chi2 =
        sizes.iter().zip(groups).map(|(n, g)| n * (g.p() - p) * (g.p() - p)).sum::<f64>() / (p * (1.0 - p));
    let chi2 = finite(chi2);
    if chi2.is_none() {
        notes.push("no Rao-Scott test: all pieces or none have the mark".into());
    }
    chi2
}

fn correlation(groups: &[Group]) -> Option<f64> {
    let pieces: f64 = groups.iter().map(|g| g.n).sum();
    let clusters: f64 = groups.iter().map(|g| g.clusters.len() as f64).sum();
    let spare = clusters - groups.len() as f64;
    let (mut between, mut within, mut uneven) = (0.0, 0.0, 0.0);
    for g in groups {
        for (n, x) in &g.clusters {
            let p = x / n;
            between += n * (p - g.p()) * (p - g.p());
            within += x * ((n - x) / n);
            uneven += n / g.n * n;
        }
    }
    let m0 = (pieces - uneven) / spare;
    let (msc, msw) = (between / spare, within / (pieces - clusters));
    finite((msc - msw) / (msc + (m0 - 1.0) * msw))
}

fn adjusted(groups: &[Group], corrections: &[f64]) -> Option<f64> {
    let n: f64 = groups.iter().map(|g| g.n).sum();
    let p = groups.iter().map(|g| g.x).sum::<f64>() / n;
    let sum: f64 = groups.iter().zip(corrections).map(|(g, c)| g.n * (g.p() - p) * (g.p() - p) / c).sum();
    finite(sum / (p * (1.0 - p)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_cluster_is_no_proof() {
        let c = |group, n, x| Cluster { group, n, x };
        // one heat of 60 with 20 against three heats with hardly any
        let found =
            compare(&[c(0, 60, 20), c(1, 60, 1), c(1, 60, 2), c(1, 60, 0)], &["bad", "rest"]).unwrap();
        assert_eq!((found.rao_scott, found.donner), (None, None));
        assert!(found.notes.iter().any(|n| n.contains("group bad is one cluster")), "{:?}", found.notes);
        assert!(
            found.notes.iter().any(|n| n.contains("few clusters: group rest has 3")),
            "{:?}",
            found.notes
        );
        let many: Vec<Cluster> = (0..24).map(|i| c(i % 2, 10, (i / 2 % 4) as u64)).collect();
        let found = compare(&many, &["a", "b"]).unwrap();
        assert!(found.donner.is_some() && found.notes.is_empty(), "{:?}", found.notes);
    }
}
