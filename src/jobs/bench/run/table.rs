//! Every run as data: what is said once, what a scan fills, what is worked out for each line.

use records::catalogue::kind::Kind;
use records::catalogue::{Blades, Coats, Inspections, LotBlades, OvenLoads, Shipments, TreatmentLoads};
use records::{FieldInfo, Type};

/// One sort of run.
#[derive(Debug)]
pub struct Run {
    /// In the list of runs.
    pub name: &'static str,
    /// What each scan records, in large letters.
    pub large: &'static str,
    /// The record that each scan writes.
    pub line: &'static Kind,
    /// Fields that are said once.
    pub head: &'static [&'static str],
    /// Of these, those that are found for each line where they are blank.
    pub found: &'static [&'static str],
    /// Fields that the last record of the kind proposes, beside those that every form takes over.
    pub proposed: &'static [&'static str],
    /// The field that a scan fills.
    pub scanned: &'static str,
    pub finds: Finds,
    /// Dry and inspected are asked before.
    pub dry: bool,
}

/// What is worked out for each line, beside the time that it happens at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Finds {
    Nothing,
    /// The next round of the blade by this method, and a tag for the inspection: an accept.
    Inspection,
    /// The number after the last coat.
    Coat,
    /// The blade record is there: it is marked now, and its position confirmed.
    Mark,
}

type I = Inspections;

/// The runs, in the order of the route.
pub static RUNS: &[Run] = &[
    Run {
        name: "coats",
        large: "COAT",
        line: Coats::KIND,
        head: &[
            Coats::slurry_batch.name,
            Coats::stucco_lot.name,
            Coats::room_c.name,
            Coats::rh_pct.name,
            Coats::person.name,
        ],
        found: &[],
        proposed: &[],
        scanned: Coats::mould.name,
        finds: Finds::Coat,
        dry: false,
    },
    Run {
        name: "into an oven",
        large: "INTO OVEN",
        line: OvenLoads::KIND,
        head: &[OvenLoads::oven_run.name],
        found: &[],
        proposed: &[],
        scanned: OvenLoads::mould.name,
        finds: Finds::Nothing,
        dry: true,
    },
    Run {
        name: "marking of blades",
        large: "MARKED CONFIRMED",
        line: Blades::KIND,
        head: &[],
        found: &[],
        proposed: &[],
        scanned: Blades::blade.name,
        finds: Finds::Mark,
        dry: false,
    },
    Run {
        name: "into a treatment",
        large: "TREATED",
        line: TreatmentLoads::KIND,
        head: &[TreatmentLoads::treatment.name],
        found: &[],
        proposed: &[],
        scanned: TreatmentLoads::blade.name,
        finds: Finds::Nothing,
        dry: false,
    },
    Run {
        name: "inspection of a tray",
        large: "ACCEPT",
        line: Inspections::KIND,
        head: &[
            I::method.name,
            I::round.name,
            I::purpose.name,
            I::technique.name,
            I::class.name,
            I::person.name,
            I::instrument.name,
        ],
        found: &[I::round.name],
        proposed: &[I::method.name],
        scanned: I::blade.name,
        finds: Finds::Inspection,
        dry: false,
    },
    Run {
        name: "into a lot",
        large: "INTO LOT",
        line: LotBlades::KIND,
        head: &[LotBlades::lot.name],
        found: &[],
        proposed: &[],
        scanned: LotBlades::blade.name,
        finds: Finds::Nothing,
        dry: false,
    },
    Run {
        name: "shipment",
        large: "SHIPPED",
        line: Shipments::KIND,
        head: &[Shipments::destination.name, Shipments::certificate.name],
        found: &[],
        proposed: &[Shipments::destination.name],
        scanned: Shipments::blade.name,
        finds: Finds::Nothing,
        dry: false,
    },
];

/// The run that inspects.
pub fn inspection() -> &'static Run {
    RUNS.iter().find(|r| r.finds == Finds::Inspection).unwrap_or(&RUNS[0])
}

impl Run {
    /// The kind of what is scanned.
    pub fn scans(&self) -> &'static Kind {
        match self.line.field(self.scanned).map(|f| f.ty) {
            Some(Type::Ref([kind])) => records::catalogue::kind(kind).unwrap_or(self.line),
            _ => self.line,
        }
    }

    /// The time that a line has: the moment of its scan, where the kind cannot be without one.
    pub fn time(&self) -> Option<&'static FieldInfo> {
        let time = self.line.field(self.line.time?)?;
        (self.finds != Finds::Mark && !time.optional).then_some(time)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_run_fills_every_field_that_its_record_cannot_be_without() {
        for run in RUNS {
            if run.finds == Finds::Mark {
                continue;
            }
            let found: &[&str] = match run.finds {
                Finds::Inspection => &[I::inspection.name, I::result.name],
                Finds::Coat => &[Coats::coat.name],
                Finds::Nothing | Finds::Mark => &[],
            };
            for field in run.line.fields.iter().filter(|f| !f.optional) {
                let name = field.name;
                let filled = run.head.contains(&name)
                    || run.scanned == name
                    || run.time().is_some_and(|t| t.name == name)
                    || found.contains(&name);
                assert!(filled, "{}: {name} stays blank", run.name);
            }
        }
    }

    #[test]
    fn what_is_named_is_there_and_said_in_letters_that_there_are() {
        for run in RUNS {
            for name in run.head.iter().chain(run.found).chain(run.proposed).chain([&run.scanned]) {
                assert!(run.line.field(name).is_some(), "{}: {name}", run.name);
            }
            assert!(run.found.iter().chain(run.proposed).all(|f| run.head.contains(f)), "{}", run.name);
            assert!(run.scans().tagged(), "{}", run.name);
            assert!(run.large.chars().all(|c| c.is_ascii_uppercase() || c == ' '), "{}", run.name);
        }
        assert_eq!(inspection().line.name, Inspections::NAME);
    }
}
