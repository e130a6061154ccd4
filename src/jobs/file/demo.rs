//! The demo foundry: invented records that come in through the ordinary import.

use std::io::Write;
use std::path::Path;

use serde::Serialize;

use crate::demo::maker;
use crate::demo::maker::{Made, Plan};
use crate::jobs::file::bundle;
use crate::jobs::file::bundle::{ImportProgress, import_texts};
use crate::jobs::file::output;
use crate::jobs::file::output::{Output, Pending};
use crate::jobs::trace::show::Trace;
use crate::jobs::{causes, trace};
use knowledge::causes::Settings;
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
    // Another program may have made it meanwhile: then that one is opened.
    store.settle()?;
    Store::open(path)
}

/// What the demo tells without a screen.
#[derive(Serialize)]
pub struct DemoStory {
    /// The parentage of one rejected blade.
    pub trace: Trace,
    /// What goes along with the defect that it was rejected for.
    pub causes: serde_json::Map<String, serde_json::Value>,
    #[serde(skip)]
    pub(crate) ranked: String,
}

/// Traces one rejected blade of the demo: the first that penetrant rejected for an inclusion in a
/// mould of the weak slurry.
pub fn tell(store: &Store) -> Result<DemoStory> {
    let blade =
        store.a_rejected_blade()?.ok_or_else(|| Error::untrusted("the demo holds no rejected blade"))?;
    let (link, _) = store.link(&blade)?;
    let finding = store.findings_of(link.id)?.into_iter().next();
    let (defect, zone, method) = match finding {
        Some((defect, zone, method, _)) => (Some(defect), zone, Some(method)),
        None => Default::default(),
    };
    let ask = causes::ask::Ask { defect, zone, method, ..causes::ask::Ask::default() };
    let answer = causes::ask::causes(store, &ask, Settings { threads: 2, ..Settings::default() })?;
    Ok(DemoStory { trace: trace::ask::trace(store, &blade)?, ranked: answer.text(), causes: answer.json() })
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
