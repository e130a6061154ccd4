//! The working behind the rates of siblings.

use crate::jobs::trace::show::{Rate, Siblings};
use crate::show::working::{INSPECTED, Working, share};
use records::value::words::counted;

impl Siblings {
    /// The working of the three rates.
    pub fn workings(&self) -> Vec<Working> {
        let method = self.method.as_deref().unwrap_or("any method");
        let defect = self.defect.as_deref().unwrap_or("a reject");
        let of = |title: &str, r: Rate, with: &[String]| {
            let blades = |n: u64| counted(n as usize, "blade");
            let (moulds, heats) = (counted(r.moulds as usize, "mould"), counted(r.heats as usize, "heat"));
            let working = Working::new(
                format!("{title}: {}", share(r.with as usize, r.inspected as usize)),
                "with / inspected",
                format!("inspections by {method}, first round"),
                &[INSPECTED, "blades of one mould are alike: count moulds and heats"],
            );
            working
                .with("with", format!("{}: {defect}", blades(r.with)))
                .with("inspected", format!("{} of {} made", blades(r.inspected), r.made))
                .with("behind them", format!("{moulds}, {heats}"))
                .first_of("blades counted as with", with.to_vec(), r.with as usize)
        };
        let [below, same, others] = &self.with;
        vec![
            of(&format!("below {}", self.of), self.counts_in, below),
            of("same heats, without it", self.counts_same_heats, same),
            of("all others", self.counts_out, others),
        ]
    }
}
