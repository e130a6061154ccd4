//! The demo foundry: invented records that come in through the ordinary import.

use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::io::Write;
use std::path::Path;

use serde::Serialize;

use crate::demo::maker;
use crate::demo::maker::{Made, Plan};
use crate::jobs::causes::ask::Ask;
use crate::jobs::file::bundle;
use crate::jobs::file::bundle::{ImportProgress, import_texts};
use crate::jobs::file::output;
use crate::jobs::file::output::{Output, Pending};
use crate::jobs::trace::show::Trace;
use crate::jobs::{causes, trace};
use knowledge::causes::{Cause, Comparison, Settings};
use records::catalogue::typed::Key;
use records::catalogue::{Blades, SlurryBatches, SlurryUse};

use records::{Error, Result, Store, Who};

/// The clock of the demo store: the Monday after its last pour.
pub const CLOCK: &str = "2031-05-26T08:00:00+00:00";

/// Opens the demo store, and makes it if it isn't there.
pub fn open(path: &Path, progress: ImportProgress) -> Result<Store> {
    if std::fs::symlink_metadata(path).is_ok() {
        return Store::open(path);
    }
    let mut store = Store::create_for_load(path)?;
    let now = records::Stamp::parse(CLOCK).map_err(Error::untrusted)?;
    import_texts(&mut store, &Who::new(None, now), crate::demo::SAMPLE, false, progress)?;
    bundle::carried_knowledge(&mut store, &Who::new(None, now), false, true, progress)?;
    // Another program may have made it meanwhile: then that one is opened.
    store.settle()?;
    Store::open(path)
}

/// The defect whose cause the demo's records can tell, with its zone.
const TOLD: (&str, &str) = ("misrun", "TE");

/// What the demo tells without a screen: first what its records can tell, then what they cannot yet.
#[derive(Serialize)]
pub struct DemoStory {
    /// The parentage of one rejected blade.
    pub trace: Trace,
    /// What goes along with the defect that it was rejected for.
    pub causes: serde_json::Map<String, serde_json::Value>,
    /// A lot that looks bad, and what is true of it.
    pub suspected: Option<Suspicion>,
    #[serde(skip)]
    pub(crate) ranked: String,
}

/// A lot that looks bad.
#[derive(Serialize)]
pub struct Suspicion {
    /// The defect, in words.
    pub defect: String,
    /// Its row in the ranking.
    pub cause: Cause,
    /// Factors tried beside it.
    pub tests: usize,
    /// Against all else that was poured in the same heats.
    pub same_heats: Comparison,
}

/// Tells the demo's stories, each figure as the program finds it now.
pub fn tell(store: &Store) -> Result<DemoStory> {
    let (defect, zone) = TOLD;
    let ask = Ask { defect: Some(defect.into()), zone: Some(zone.into()), ..Ask::default() };
    let answer = causes::ask::causes(store, &ask, settings())?;
    let blade = a_blade_of_the_worst_heat(store, &ask)?;
    Ok(DemoStory {
        trace: trace::ask::trace(store, &blade)?,
        ranked: answer.text(),
        causes: answer.json(),
        suspected: suspicion(store)?,
    })
}

fn settings() -> Settings<'static> {
    Settings { threads: 2, ..Settings::default() }
}

/// The first blade with the defect from the heat that has most of them.
fn a_blade_of_the_worst_heat(store: &Store, ask: &Ask) -> Result<String> {
    let scope = causes::ask::scope(store, ask)?;
    let parents = store.blade_parents()?;
    let mut of_heat: BTreeMap<Option<i64>, Vec<i64>> = BTreeMap::new();
    for (blade, _) in scope.outcomes.blades.iter().zip(&scope.outcomes.with).filter(|(_, with)| **with) {
        of_heat.entry(parents.get(&blade).and_then(|(_, heat)| *heat)).or_default().push(blade);
    }
    let most =
        of_heat.into_values().max_by_key(|blades| (blades.len(), Reverse(blades.iter().min().copied())));
    let first = most.and_then(|blades| blades.into_iter().min());
    let first = first.ok_or_else(|| Error::untrusted("the demo holds no rejected blade"))?;
    store.tag_at(Key::<Blades>::new(first))
}

/// The pot of face coat that looks worst, for the defect of the blade that it spoilt.
fn suspicion(store: &Store) -> Result<Option<Suspicion>> {
    let Some(blade) = store.a_rejected_blade()? else { return Ok(None) };
    let Some((defect, zone, method, _)) = store.findings_of(store.link(&blade)?.0.id)?.into_iter().next()
    else {
        return Ok(None);
    };
    let ask = Ask { defect: Some(defect), zone, method: Some(method), ..Ask::default() };
    let answer = causes::ask::causes(store, &ask, settings())?;
    let pot = format!("{}/{}", SlurryBatches::slurry_batch.name, SlurryUse::Prime.word());
    let row = answer.ranking.causes.iter().find(|c| c.factor == pot && c.level.is_some());
    let Some((cause, level)) = row.and_then(|c| Some((c.clone(), c.level.clone()?))) else { return Ok(None) };
    let same_heats = causes::ask::beside(store, &answer.ask, &pot, &level, answer.ranking.seed)?;
    let defect = answer.ask.words();
    Ok(Some(Suspicion { defect, cause, tests: answer.ranking.tests, same_heats }))
}

/// Writes the bundle of an invented foundry of any size into a new or empty folder.
pub fn make(folder: &Path, plan: &Plan) -> Result<Made> {
    let cannot = |e: std::io::Error| output::cannot(folder, &e);
    if plan.moulds == 0 || plan.moulds > 10_000_000 {
        return Err(Error::input(format!("{} moulds: 1 to 10,000,000 can be made", plan.moulds)));
    }
    bundle::fresh_folder(folder)?;
    let mut pages = Vec::new();
    let made = maker::make(plan, &mut |kind| {
        let file = folder.join(format!("{kind}.csv"));
        let begun = Pending::begin(Output { file: &file, replace: false, store: None });
        let mut page = begun.map_err(|e| std::io::Error::other(e.to_string()))?;
        let bytes = page.file().try_clone()?;
        pages.push(page);
        Ok(Box::new(bytes) as Box<dyn Write>)
    })
    .map_err(cannot)?;
    bundle::give_names(pages)?;
    Ok(made)
}
