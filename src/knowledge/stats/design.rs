//! The columns of a regression, with their names.

use crate::stats::orthogonal::Orthogonal;
use crate::stats::twofold::Twofold;

/// A design matrix by columns. Powers are taken in double-double numbers, so that they are exact.
#[derive(Clone, Debug)]
pub struct Design {
    rows: usize,
    names: Vec<String>,
    columns: Vec<Vec<Twofold>>,
}

impl Design {
    /// A design of so many rows, without columns.
    ///
    /// ```
    /// let design = knowledge::stats::design::Design::new(3).constant();
    /// assert_eq!(design.names(), ["constant"]);
    /// ```
    #[must_use]
    pub fn new(rows: usize) -> Self {
        Self { rows, names: Vec::new(), columns: Vec::new() }
    }

    /// Adds a column of ones.
    #[must_use]
    pub fn constant(mut self) -> Self {
        self.names.push("constant".into());
        self.columns.push(vec![Twofold::from(1.0); self.rows]);
        self
    }

    /// Adds a column.
    ///
    /// # Errors
    /// The column has another number of rows, or a value that is not finite.
    pub fn column(self, name: &str, values: &[f64]) -> Result<Self, String> {
        self.powers(name, values, 1)
    }

    /// Adds a column and its powers up to `degree`.
    ///
    /// # Errors
    /// The column has another number of rows, or a power leaves the range of numbers.
    pub fn powers(mut self, name: &str, values: &[f64], degree: u32) -> Result<Self, String> {
        if values.len() != self.rows {
            return Err(format!("column {name} has {} rows, the others {}", values.len(), self.rows));
        }
        for power in 1..=degree {
            let column: Vec<Twofold> = values.iter().map(|&v| Twofold::from(v).power(power)).collect();
            if column.iter().any(|v| !v.value().is_finite()) {
                return Err(format!("power {power} of column {name} leaves the range of numbers"));
            }
            self.names.push(if power == 1 { name.to_string() } else { format!("{name}^{power}") });
            self.columns.push(column);
        }
        Ok(self)
    }

    /// Adds a category as columns of 0 and 1, one for each level but the first. Levels stand in the order
    /// of their numbers where all are numbers, and of the alphabet otherwise.
    ///
    /// # Errors
    /// The column has another number of rows, or a single level, which says nothing.
    pub fn category(mut self, name: &str, labels: &[&str]) -> Result<Self, String> {
        let mut levels: Vec<&str> = labels.to_vec();
        levels.sort_unstable();
        levels.dedup();
        if levels.len() < 2 {
            return Err(format!(
                "the category {name} has one level; a category that does not vary explains nothing"
            ));
        }
        let numbers: Option<Vec<f64>> = levels.iter().map(|l| l.parse().ok()).collect();
        if numbers.is_some() {
            levels.sort_by(|a, b| a.parse().unwrap_or(0.0f64).total_cmp(&b.parse().unwrap_or(0.0)));
        }
        for level in &levels[1..] {
            let column: Vec<f64> = labels.iter().map(|l| f64::from(u8::from(l == level))).collect();
            self = self.column(&format!("{name}={level}"), &column)?;
        }
        Ok(self)
    }

    /// The names, in order.
    #[must_use]
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// The number of rows.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Takes the columns apart, for a fit.
    pub(crate) fn orthogonal(&self) -> Result<Orthogonal, String> {
        if self.names.is_empty() {
            return Err("no column to fit".into());
        }
        if self.rows < self.names.len() {
            return Err(format!("{} rows cannot determine {} coefficients", self.rows, self.names.len()));
        }
        Orthogonal::of(&self.columns).map_err(|j| {
            if j == 0 || self.columns[j].iter().all(|v| v.value() == 0.0) {
                return format!("column {} is all zero, so its coefficient is not determined", self.names[j]);
            }
            format!(
                "column {} is a combination of the columns before it ({}) to 13 digits, so the coefficients are not \
                 determined; leave one out",
                self.names[j],
                self.names[..j].join(", ")
            )
        })
    }
}
