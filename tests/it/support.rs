//! The real program in a fresh folder.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;
use tempfile::TempDir;

/// A fresh folder with a store in it, and the program.
pub struct Foundry {
    folder: TempDir,
    now: &'static str,
}

/// The clock of the tests.
pub const NOW: &str = "2031-04-01T00:00:00+00:00";
/// The clock of the demo: after the last record of the sample data.
pub const DEMO_NOW: &str = "2031-05-26T08:00:00+00:00";

/// What the program answered.
pub struct Answer {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Answer {
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|e| panic!("{e}: {}\n{}", self.out, self.err))
    }

    #[track_caller]
    pub fn done(self) -> Self {
        assert_eq!(self.code, 0, "{}{}", self.out, self.err);
        self
    }

    #[track_caller]
    pub fn fails(self, code: i32, sentence: &str) -> Self {
        assert_eq!(self.code, code, "{}{}", self.out, self.err);
        assert!(self.err.contains(sentence), "wanted {sentence:?} in:\n{}", self.err);
        assert!(!self.err.contains("panicked"), "{}", self.err);
        self
    }
}

impl Foundry {
    /// An empty folder.
    pub fn new() -> Self {
        Self { folder: TempDir::new().unwrap(), now: NOW }
    }

    /// With another clock.
    pub fn at(self, now: &'static str) -> Self {
        Self { now, ..self }
    }

    /// With a small foundry imported: two heats, the second partly from revert of the first; two
    /// moulds of two blades; one pyrometer that failed a check.
    pub fn small() -> Self {
        let foundry = Self::new();
        foundry.write_bundle("bundle", SMALL);
        foundry.run("import bundle").done();
        foundry
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn store(&self) -> PathBuf {
        self.path("store.db")
    }

    pub fn write_bundle(&self, folder: &str, files: &[(&str, &str)]) {
        std::fs::create_dir_all(self.path(folder)).unwrap();
        for (name, text) in files {
            std::fs::write(self.path(folder).join(name), text).unwrap();
        }
    }

    /// Runs the program; arguments are split at blanks.
    pub fn run(&self, arguments: &str) -> Answer {
        self.run_with(&arguments.split(' ').collect::<Vec<_>>())
    }

    pub fn run_with(&self, arguments: &[&str]) -> Answer {
        answer(self.command(arguments).output().unwrap())
    }

    pub fn json(&self, arguments: &str) -> Value {
        self.run(&format!("{arguments} --json")).done().json()
    }

    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = program(self.folder.path(), &self.store(), arguments);
        command.env("MELTKIN_NOW", self.now);
        command
    }
}

pub fn program(folder: &Path, store: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_meltkin"));
    command
        .current_dir(folder)
        .args(arguments)
        .env("MELTKIN_STORE", store)
        .env("MELTKIN_NOW", NOW)
        .env("HOME", folder)
        .env("XDG_DATA_HOME", folder)
        // A sentence is looked for as a whole; `laid_out` looks at how it is broken.
        .env("COLUMNS", "100000")
        .env("XDG_CONFIG_HOME", folder)
        .env_remove("MELTKIN_AS")
        .stdin(std::process::Stdio::null());
    command
}

pub fn answer(output: Output) -> Answer {
    Answer {
        code: output.status.code().unwrap_or(-1),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// An invented foundry, small enough to work out by hand.
pub const SMALL: &[(&str, &str)] = &[
    ("alloys.csv", "alloy,revision,liquidus_c,revert_max_pct\nQA-713/3,,1288,50\n"),
    ("parts.csv", "part,revision,alloy\nQB-2207,C,QA-713/3\n"),
    ("defect_terms.csv", "defect,name\ninclusion,inclusion\nmisrun,misrun\n"),
    (
        "shell_recipes.csv",
        "recipe,revision,route,coats,min_dry_h,approved_at\nSR-7,B,shell,2,1,2030-01-01\nSR-7,C,shell,2,1,\n",
    ),
    ("running_systems.csv", "running_system,fill,positions,filter\nRS-1,bottom,2,yes\n"),
    (
        "ingot_lots.csv",
        "ingot_lot,alloy,received_at,mass_kg\nIL31-01,qa-713/3,2031-01-01T00:00:00Z,500\nIL31-02,QA-713/3,2031-01-01T00:00:00Z,500\n",
    ),
    ("revert_lots.csv", "revert_lot,alloy,made_at\nRV31-01,QA-713/3,2031-03-05T00:00:00Z\n"),
    (
        "heats.csv",
        "heat,alloy,furnace,melted_at,note\nH31-001,QA-713/3,F1,2031-03-04T09:00:00+00:00,\"=cmd|x\"\nH31-002,QA-713/3,F1,2031-03-06T09:00:00+00:00,\"a\nb\"\n",
    ),
    ("revert_sources.csv", "revert_lot,heat,mass_kg\nRV31-01,H31-001,5\n"),
    ("charges.csv", "heat,source,mass_kg\nH31-001,IL31-01,11\nH31-002,IL31-02,6\nH31-002,RV31-01,4\n"),
    (
        "filter_lots.csv",
        "filter_lot,received_at,received_count,rejected_count\nFL31-01,2031-01-01T00:00:00Z,10,n/a\n",
    ),
    ("slurry_batches.csv", "slurry_batch,use,made_at\nPS31-01,prime,2031-02-01T00:00:00Z\n"),
    ("shell_batches.csv", "shell_batch,recipe,started_at\nSB-1,SR-7@B,2031-02-20T00:00:00Z\n"),
    (
        "moulds.csv",
        "mould,part,running_system,shell_batch,filter_lot,assembled_at\nM31-001,QB-2207,RS-1,SB-1,FL31-01,2031-02-10T00:00:00Z\nM31-002,QB-2207,RS-1,SB-1,n/a,2031-02-10T00:00:00Z\n",
    ),
    (
        "coats.csv",
        "mould,coat,slurry_batch,in_at,out_at,rh_pct\nM31-001,1,PS31-01,2031-02-21T00:00:00Z,2031-02-21T03:00:00Z,<45\nM31-001,2,PS31-01,2031-02-22T00:00:00Z,2031-02-22T03:00:00Z,50\nM31-002,1,PS31-01,2031-02-21T00:00:00Z,2031-02-21T03:00:00Z,50\n",
    ),
    ("instruments.csv", "instrument,kind\nPYR-02,pyrometer\n"),
    (
        "calibrations.csv",
        "instrument,checked_at,check,result\nPYR-02,2031-03-05T00:00:00Z,cross_check,good\nPYR-02,2031-03-08T00:00:00Z,cross_check,not_done\nPYR-02,2031-03-09T00:00:00Z,cross_check,failed\n",
    ),
    (
        "pours.csv",
        "mould,heat,poured_at,pyrometer,indicated_c\nM31-001,H31-001,2031-03-04T10:00:00Z,PYR-02,1480\nM31-002,H31-002,2031-03-06T10:00:00Z,PYR-02,1480.5\n",
    ),
    (
        "blades.csv",
        "blade,mould,position\nM31-001-1,M31-001,1\nM31-001-2,M31-001,2\nM31-002-1,M31-002,1\nM31-002-2,M31-002,2\n",
    ),
    (
        "inspections.csv",
        "inspection,blade,method,round,inspected_at,result\nI1,M31-001-1,penetrant,1,2031-03-10T00:00:00Z,reject\nI2,M31-001-2,penetrant,1,2031-03-10T00:00:00Z,accept\nI3,M31-002-1,penetrant,1,2031-03-10T00:00:00Z,accept\n",
    ),
    ("findings.csv", "inspection,defect,zone\nI1,inclusion,AF\nI1,inclusion,RT\n"),
    ("people.csv", "person,role\nQL-01,quality\nOP-01,operator\n"),
    (
        "dispositions.csv",
        "blade,decided_at,decision\nM31-001-1,2031-03-11T00:00:00Z,scrap\nM31-001-2,2031-03-11T00:00:00Z,accept\n",
    ),
    ("shipments.csv", "blade,shipped_at,certificate\nM31-001-2,2031-03-20T00:00:00Z,C-1\n"),
    ("lots.csv", "lot,part,opened_at\nL31-01,QB-2207,2031-01-01T00:00:00Z\n"),
    ("lot_blades.csv", "lot,blade\nL31-01,M31-001-1\nL31-01,M31-001-2\n"),
    ("retags.csv", "old_tag,new_tag,changed_at\nM31-002-1,B-9,2031-03-10T00:00:00Z\n"),
];
