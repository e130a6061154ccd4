//! Mishaps at the furnace, recorded as they happened: the wrong mould poured, one tag on two moulds.

use crate::jobs::records::ask::{Logged, build};
use records::catalogue::typed::{AnyField, Field, Key, KindType, Recorded, Ref};
use records::catalogue::{Blades, Coats, Moulds, OvenLoads, Pours};
use records::value::tag::folded;
use records::write::draft::Draft;
use records::{Act, Error, Result, Stamp, Store, Who};

/// The wrong mould was poured.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WrongMould {
    /// The mould that was meant; it stays planned.
    pub planned: String,
    /// The mould that was poured.
    pub really: String,
    /// The heat; needed where the pour is not on record yet.
    pub heat: Option<String>,
    /// Its place in the order.
    pub order: Option<String>,
    /// A pour of the planned mould was logged already: it is moved to the mould really poured.
    pub logged: bool,
    /// When it was poured; blank is now.
    pub at: Option<Stamp>,
}

fn mould(store: &Store, text: &str) -> Result<String> {
    Ok(store.named::<Moulds>(text)?.1.address())
}

fn together(store: &mut Store, who: &Who, acts: Vec<Act>) -> Result<Vec<Logged>> {
    Ok(store.together(who, acts)?.iter().map(Logged::new).collect())
}

/// Records what happened in one transaction: a hold on the mould really poured, with the reason, and
/// its pour. The planned mould stays as it is, planned and not poured.
///
/// # Errors
/// One of the two is no mould, they are the same, or the one really poured has a pour already.
pub fn wrong_mould(store: &mut Store, who: &Who, what: &WrongMould) -> Result<Vec<Logged>> {
    let (planned, really) = (mould(store, &what.planned)?, mould(store, &what.really)?);
    if folded(&planned) == folded(&really) {
        return Err(Error::input(format!(
            "{planned} is the mould that was meant; scan the one that was poured"
        )));
    }
    let why = format!("wrong mould poured: {really} in place of {planned}");
    let pour = if what.logged {
        let changes = vec![(Pours::mould.name.to_string(), really.clone())];
        Act::Correct(format!("{}:{planned}", Pours::NAME), changes, why.clone())
    } else {
        let Some(heat) = &what.heat else {
            return Err(Error::input("no heat is in use; log the heat first, then the pour"));
        };
        let draft = Draft::<Pours>::default()
            .with(Pours::mould, &really)
            .with(Pours::heat, heat)
            .with(Pours::poured_at, what.at.unwrap_or(who.now).to_string())
            .with(Pours::note, format!("{why}; details to follow"))
            .with_some(Pours::pour_order, what.order.as_deref());
        Act::Log(build(store, who, Pours::KIND, draft.texts())?, None)
    };
    // The hold stands first: whatever is taken back alone, the mould stays fenced.
    together(store, who, vec![Act::Hold(really, why), pour])
}

/// Fences every mould that one tag may stand for.
pub fn double_tag(store: &mut Store, who: &Who, tag: &str, other: Option<&str>) -> Result<Vec<Logged>> {
    let first = mould(store, tag)?;
    let second = other.map(|o| mould(store, o)).transpose()?.filter(|o| folded(o) != folded(&first));
    let known = second.as_ref().map_or("the other is not known yet".into(), |o| format!("one may be {o}"));
    let why = format!("two moulds carry the tag {first}; {known}; tell them apart before either goes on");
    let mut acts = vec![Act::Hold(first, why.clone())];
    acts.extend(second.map(|o| Act::Hold(o, why)));
    together(store, who, acts)
}

/// One thing that is on record of two moulds.
#[derive(Clone, Debug, PartialEq)]
pub struct Evidence {
    pub what: &'static str,
    pub a: String,
    /// Of the other.
    pub b: String,
}

impl Evidence {
    /// It can tell them apart.
    pub fn separates(&self) -> bool {
        self.a != self.b
    }
}

/// What is on record of two moulds, what separates them first.
pub fn evidence(store: &Store, a: &str, b: &str) -> Result<Vec<Evidence>> {
    store.snapshot(|| {
        let (one, two) = (facts(store, a)?, facts(store, b)?);
        let mut out: Vec<Evidence> = one
            .into_iter()
            .zip(two)
            .map(|((what, a), (_, b))| Evidence { what, a, b })
            .filter(|e| !(e.a.is_empty() && e.b.is_empty()))
            .collect();
        out.sort_by_key(|e| !e.separates());
        Ok(out)
    })
}

fn facts(store: &Store, text: &str) -> Result<Vec<(&'static str, String)>> {
    let (key, mould) = store.named::<Moulds>(text)?;
    let blades = [Blades::position.any(), Blades::pattern_run.any(), Blades::core_lot.any()];
    let loads = [OvenLoads::oven_run.any(), OvenLoads::place.any(), OvenLoads::out_at.any()];
    let coats = [Coats::coat.any(), Coats::slurry_batch.any()];
    let pours = [Pours::heat.any(), Pours::poured_at.any()];
    Ok(vec![
        ("part", mould.cell(Moulds::part).to_text()),
        ("running system", mould.cell(Moulds::running_system).to_text()),
        ("shell batch", mould.cell(Moulds::shell_batch).to_text()),
        ("filter lot", mould.cell(Moulds::filter_lot).to_text()),
        ("assembled", mould.cell(Moulds::assembled_at).to_text()),
        ("cup seal", mould.cell(Moulds::seal).to_text()),
        ("coats, pots", listed(store, Coats::mould, key, &coats)?),
        ("ovens, places", listed(store, OvenLoads::mould, key, &loads)?),
        ("positions, patterns", listed(store, Blades::mould, key, &blades)?),
        ("poured", listed(store, Pours::mould, key, &pours)?),
    ])
}

/// What the records of one kind say about a mould, a record after the other.
fn listed<K: KindType, P>(
    store: &Store,
    of: Field<K, Ref<Moulds>, P>,
    mould: Key<Moulds>,
    fields: &[AnyField<K>],
) -> Result<String> {
    let said = |r: &Recorded<K>| {
        let texts = fields.iter().map(|f| r.values[f.index].to_text());
        texts.filter(|t| !t.is_empty()).collect::<Vec<_>>().join(" ")
    };
    Ok(store.rows_of(of, mould)?.iter().map(said).collect::<Vec<_>>().join(", "))
}
