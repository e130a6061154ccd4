//! Kinds as columns, loaded once, and values carried along references.

use std::array;
use std::collections::HashMap;
use std::marker::PhantomData;
use std::rc::Rc;

use crate::jobs::causes::instruments::Register;
use knowledge::causes::{At, Column, MISSING, Packed, Values};
use records::catalogue::field::{FieldInfo, Type};
use records::catalogue::typed::{AnyField, Choice as Word, Field, KindType, One, Ref, Time};
use records::catalogue::{Blades, Heats, Moulds, Parts, ProcessLimits};
use records::check::OwnField;
use records::read::columns::{Cells, Choice, NO_WORD, NOTHING, Newest, Sheet, Wanted};
use records::{Error, Kind, Result, Stamp, Store, catalogue};

/// Every definition calls its revision so.
const REVISION: &str = Parts::revision.name;

/// A kind as columns, and where each record stands.
pub(crate) struct Loaded {
    pub sheet: Sheet,
    kind: &'static Kind,
    names: Vec<String>,
}

impl Loaded {
    /// A column by its name. One that was not loaded would be a candidate cause that vanishes: it is an error.
    pub fn column(&self, name: &str) -> Result<&Cells> {
        let at = self.names.iter().position(|n| n == name);
        at.and_then(|i| self.sheet.columns.get(i))
            .ok_or_else(|| Error::untrusted(format!("the column {name} of {} was not read", self.kind.name)))
    }

    /// The row of a record, or [`MISSING`].
    pub fn row(&self, id: i64) -> u32 {
        place(&self.sheet.ids, id).map_or(MISSING, |at| at as u32)
    }
}

/// The columns of kind `K`, asked for by its fields.
pub(crate) struct KindColumns<K> {
    loaded: Rc<Loaded>,
    of: PhantomData<fn() -> K>,
}

impl<K> std::ops::Deref for KindColumns<K> {
    type Target = Loaded;
    fn deref(&self) -> &Loaded {
        &self.loaded
    }
}

impl<K: KindType> KindColumns<K> {
    fn of(loaded: Rc<Loaded>) -> Self {
        Self { loaded, of: PhantomData }
    }

    pub fn cells(&self, field: impl Into<AnyField<K>>) -> Result<&Cells> {
        self.column(&field.into().column())
    }

    pub fn links(&self, field: impl Into<AnyField<K>>) -> Result<&[i64]> {
        self.cells(field).map(Cells::links)
    }

    pub fn times<P>(&self, field: Field<K, Time, P>) -> Result<&[i64]> {
        self.cells(field).map(Cells::times)
    }

    pub fn numbers(&self, field: impl Into<AnyField<K>>) -> Result<&[f64]> {
        self.cells(field).map(Cells::numbers)
    }

    /// Which of its words a field says, row by row.
    pub fn choices<C: Word, P>(&self, field: Field<K, One<C>, P>) -> Result<impl Fn(u32) -> Option<C>> {
        let cells = self.cells(field)?;
        Ok(|row: u32| cells.word(row as usize).and_then(C::of))
    }
}

/// Where a key stands among keys in order, which are mostly without gaps.
pub(crate) fn place(ids: &[i64], id: i64) -> Option<usize> {
    let at = ids.first().and_then(|first| usize::try_from(id.checked_sub(*first)?).ok());
    match at.filter(|&at| ids.get(at) == Some(&id)) {
        Some(at) => Some(at),
        None => ids.binary_search(&id).ok(),
    }
}

/// Columns of candidate causes in the making.
pub(crate) struct Maker<'a> {
    pub store: &'a Store,
    pub columns: Vec<Packed>,
    /// The weight of the columns that are added next.
    pub weight: f64,
    pub register: Register,
    /// The shop's limits of each kind and field.
    limits: HashMap<(String, String), Vec<f64>>,
    own: Vec<OwnField>,
    loaded: HashMap<&'static str, Rc<Loaded>>,
}

/// The word a kind's columns begin with: a slurry batch is `slurry_batch`.
pub(crate) fn stem(kind: &Kind) -> String {
    match kind.tag_field() {
        Some(tag) => tag.name.to_string(),
        None => kind.noun.replace(' ', "_"),
    }
}

/// Moulds, heats and blades are what is counted, not what is tried.
fn is_unit(kind: &Kind) -> bool {
    kind.is::<Blades>() || kind.is::<Moulds>() || kind.is::<Heats>()
}

impl<'a> Maker<'a> {
    pub fn new(store: &'a Store) -> Result<Self> {
        Ok(Self {
            store,
            columns: Vec::new(),
            weight: 1.0,
            register: Register::read(store)?,
            limits: limits(store)?,
            own: store.own_fields()?,
            loaded: HashMap::new(),
        })
    }

    /// The columns of a kind that the catalogue knows as tags, references, times, uses and causes.
    pub fn load(&mut self, kind: &'static Kind) -> Result<Rc<Loaded>> {
        if let Some(known) = self.loaded.get(kind.name) {
            return Ok(Rc::clone(known));
        }
        let names = self.names(kind, &[]);
        self.load_wanted(kind, names, &[], true, |_| Ok(Choice::Take))
    }

    /// As [`Maker::load`], by the type of the kind.
    pub fn table<K: KindType>(&mut self) -> Result<KindColumns<K>> {
        self.load(K::KIND).map(KindColumns::of)
    }

    /// Some columns of a kind, for the moment: they are not held.
    pub fn some<K: KindType, const N: usize>(&self, fields: [AnyField<K>; N]) -> Result<KindColumns<K>> {
        let names = fields.map(|f| f.column()).to_vec();
        let wanted: Vec<&str> = names.iter().map(String::as_str).collect();
        let sheet = self.store.sheet(K::KIND, &wanted)?;
        Ok(KindColumns::of(Rc::new(Loaded { sheet, kind: K::KIND, names })))
    }

    /// As [`Maker::table`], of rows chosen one by one, without their keys. What the choice looks at it finds
    /// at the places that it is given: those of the columns named in `looks`, then those of its glances,
    /// which are not kept.
    pub fn chosen<K: KindType, const L: usize, const G: usize>(
        &mut self,
        looks: [AnyField<K>; L],
        glances: [AnyField<K>; G],
        mut choose: impl FnMut(&Newest, [usize; L], [usize; G]) -> Result<Choice>,
    ) -> Result<KindColumns<K>> {
        let glances = glances.map(|f| f.column());
        let glances: Vec<&str> = glances.iter().map(String::as_str).collect();
        let names = self.names(K::KIND, &glances);
        let mut places = [0; L];
        for (place, field) in places.iter_mut().zip(looks) {
            let found = names.iter().position(|n| *n == field.column());
            *place = found.ok_or_else(|| Error::untrusted(format!("{} is not read", field.name)))?;
        }
        let behind = array::from_fn(|i| names.len() + i);
        self.load_wanted(K::KIND, names, &glances, false, |row| choose(row, places, behind))
            .map(KindColumns::of)
    }

    fn load_wanted(
        &mut self,
        kind: &'static Kind,
        names: Vec<String>,
        glances: &[&str],
        keys: bool,
        choose: impl FnMut(&Newest) -> Result<Choice>,
    ) -> Result<Rc<Loaded>> {
        let fields: Vec<&str> = names.iter().map(String::as_str).collect();
        let wanted = Wanted { fields: &fields, glances, keys, ..Wanted::default() };
        let sheet = self.store.sheet_chosen(kind, wanted, [], choose)?;
        let loaded = Rc::new(Loaded { sheet, kind, names });
        self.loaded.insert(kind.name, Rc::clone(&loaded));
        Ok(loaded)
    }

    /// The columns of a kind that are loaded, in their order; without those that are only glanced at.
    fn names(&self, kind: &'static Kind, glances: &[&str]) -> Vec<String> {
        let mut names: Vec<String> = Vec::new();
        for field in kind.fields {
            // Tags and times of a million blades would be held for nothing: no cause is one blade.
            let one_blade = kind.is::<Blades>() && !field.cause && !matches!(field.ty, Type::Ref(_));
            if !one_blade && !matches!(field.ty, Type::AnyTag | Type::RevisionOf(_)) {
                names.extend(field.columns());
            }
        }
        names.extend(self.own_of(kind).map(|o| o.name.clone()));
        names.retain(|n| !glances.contains(&n.as_str()));
        names
    }

    /// Lets go of a kind that was loaded and is not needed any more.
    pub fn forget<K: KindType>(&mut self) {
        self.loaded.remove(K::NAME);
    }

    pub fn forget_all(&mut self) {
        self.loaded.clear();
    }

    fn own_of(&self, kind: &'static Kind) -> impl Iterator<Item = &OwnField> {
        self.own.iter().filter(|o| o.record == kind.name && o.cause)
    }

    /// Adds what a kind has to say of each unit, and of all that went into it: its tag, its fields that
    /// are candidate causes, and the same of the parents its fields name. `rows` holds the row of each
    /// unit in the kind's sheet, or [`MISSING`].
    pub fn follow(&mut self, kind: &'static Kind, rows: &[u32], at: At, suffix: &str) -> Result<()> {
        let loaded = self.load(kind)?;
        let stem = stem(kind);
        if let (Some(tag), false) = (kind.tag_field(), is_unit(kind)) {
            let levels = if kind.revisioned {
                revisions(&loaded, tag.name, rows)?
            } else {
                match loaded.column(tag.name)? {
                    Cells::Words { codes, levels } => (codes.clone(), levels.clone()),
                    _ => Default::default(),
                }
            };
            self.words(format!("{stem}{suffix}"), rows, &levels.0, levels.1, at);
        }
        let causes = kind.fields.iter().filter(|f| f.cause && !f.parent).map(|f| f.name.to_string());
        let (times, own): (Vec<String>, Vec<String>) = {
            let (times, rest): (Vec<_>, Vec<_>) = self.own_of(kind).partition(|o| o.holds() == Type::Time);
            let names = |of: Vec<&OwnField>| of.into_iter().map(|o| o.name.clone()).collect();
            (names(times), names(rest))
        };
        for field in times {
            self.own_time((kind, &loaded), &field, rows, at, format!("{stem}.{field}_h{suffix}"))?;
        }
        for field in causes.chain(own).collect::<Vec<_>>() {
            self.field(&loaded, kind.field(&field), &field, rows, at, format!("{stem}.{field}{suffix}"))?;
        }
        self.checks((kind, &loaded), rows, at, (&stem, suffix))?;
        for field in kind.fields.iter().filter(|f| f.parent) {
            let Type::Ref([target]) = field.ty else { continue };
            let target = catalogue::find(target).map_err(Error::untrusted)?;
            if target.name == kind.name {
                self.origin(&loaded, field, rows, at, &format!("{stem}.{}{suffix}", field.name))?;
            } else if !is_unit(target) {
                let to = self.rows_along(&loaded, field.name, rows, target)?;
                self.follow(target, &to, at, suffix)?;
            }
        }
        Ok(())
    }

    /// The records that a field of references leads to: their table, and the row of each.
    pub fn along<K: KindType, T: KindType, P>(
        &mut self,
        from: &KindColumns<K>,
        field: Field<K, Ref<T>, P>,
        rows: &[u32],
    ) -> Result<(KindColumns<T>, Vec<u32>)> {
        let rows = self.rows_along(from, field.name, rows, T::KIND)?;
        Ok((self.table()?, rows))
    }

    fn rows_along(
        &mut self,
        from: &Loaded,
        field: &str,
        rows: &[u32],
        to: &'static Kind,
    ) -> Result<Vec<u32>> {
        let target = self.load(to)?;
        let links = from.column(field)?.links();
        Ok(rows.iter().map(|&r| links.get(r as usize).map_or(MISSING, |&id| target.row(id))).collect())
    }

    fn field(
        &mut self,
        loaded: &Loaded,
        field: Option<&FieldInfo>,
        column: &str,
        rows: &[u32],
        at: At,
        name: String,
    ) -> Result<()> {
        match loaded.column(column)? {
            Cells::Words { codes, levels } => self.words(name, rows, codes, levels.clone(), at),
            Cells::Numbers { values, below } => {
                let pick = |&r: &u32| values.get(r as usize).copied().unwrap_or(f64::NAN);
                let below = below.iter().collect::<std::collections::HashSet<_>>();
                let count =
                    if below.is_empty() { 0 } else { rows.iter().filter(|r| below.contains(r)).count() };
                self.numbers(name.clone(), rows.iter().map(pick).collect(), count, at);
                self.limit(&name, &self.limits_of(loaded.kind, column));
            }
            Cells::Links { .. } => {
                if let Some(Type::Ref([target])) = field.map(|f| f.ty) {
                    let target = catalogue::find(target).map_err(Error::untrusted)?;
                    let to = self.rows_along(loaded, column, rows, target)?;
                    let target_loaded = self.load(target)?;
                    let tag = target.tag_field().map_or("", |f| f.name);
                    if let Cells::Words { codes, levels } = target_loaded.column(tag)? {
                        self.words(name, &to, codes, levels.clone(), at);
                    }
                }
            }
            Cells::Times(_) => {}
        }
        Ok(())
    }

    /// A time of the foundry's own, as the hours from the record's own time to it: a moment is no level.
    fn own_time(
        &mut self,
        (kind, loaded): (&'static Kind, &Loaded),
        field: &str,
        rows: &[u32],
        at: At,
        name: String,
    ) -> Result<()> {
        let Some(own) = kind.time else { return Ok(()) };
        let (cells, from) = (loaded.column(field)?, loaded.column(own)?.times());
        let hours = |&r: &u32| {
            let from = from.get(r as usize).filter(|t| **t != NOTHING)?;
            let at = Stamp::parse(cells.word(r as usize)?).ok()?;
            Some(at.minutes_since(Stamp::from_packed(*from)) / 60.0)
        };
        let hours = rows.iter().map(|r| hours(r).unwrap_or(f64::NAN)).collect();
        self.numbers(name, hours, 0, at);
        Ok(())
    }

    /// The first of a chain of records of one kind, such as the lot that a wax lot was split from.
    fn origin(&mut self, loaded: &Loaded, field: &FieldInfo, rows: &[u32], at: At, name: &str) -> Result<()> {
        let links = loaded.column(field.name)?.links();
        if links.iter().all(|&l| l == NOTHING) {
            return Ok(());
        }
        let first = |&r: &u32| {
            let mut at = r;
            // A chain has no cycle; the bound is against a file that was tampered with.
            for _ in 0..links.len() {
                match links.get(at as usize).map(|&id| loaded.row(id)) {
                    Some(up) if up != MISSING => at = up,
                    _ => break,
                }
            }
            at
        };
        let firsts: Vec<u32> = rows.iter().map(first).collect();
        if let Some(Cells::Words { codes, levels }) = loaded.sheet.columns.first() {
            self.words(name.to_string(), &firsts, codes, levels.clone(), at);
        }
        Ok(())
    }

    /// Adds a column of words, carried from the rows of a sheet to the units.
    pub fn words(&mut self, name: String, rows: &[u32], codes: &[u32], levels: Vec<String>, at: At) {
        let pick = |&r: &u32| match codes.get(r as usize) {
            Some(&code) if code != NO_WORD => code,
            _ => MISSING,
        };
        let codes: Vec<u32> = rows.iter().map(pick).collect();
        if codes.iter().any(|&c| c != MISSING) {
            self.push(name, at, Values::Words { codes, levels }, 0);
        }
    }

    pub fn numbers(&mut self, name: String, values: Vec<f64>, below_detection: usize, at: At) {
        if values.iter().any(|v| v.is_finite()) {
            let values = values.into_iter().map(|v| if v.is_finite() { v } else { f64::NAN }).collect();
            self.push(name, at, Values::Numbers(values), below_detection);
        }
    }

    /// Adds a column of a few words, given one by one.
    pub fn said<'t>(&mut self, name: &str, of: impl Iterator<Item = Option<&'t str>>, at: At) {
        let mut levels: Vec<String> = Vec::new();
        let codes: Vec<u32> = of
            .map(|word| match word {
                Some(word) => levels.iter().position(|l| l == word).unwrap_or_else(|| {
                    levels.push(word.to_string());
                    levels.len() - 1
                }) as u32,
                None => MISSING,
            })
            .collect();
        if codes.iter().any(|&c| c != MISSING) {
            self.push(name.into(), at, Values::Words { codes, levels }, 0);
        }
    }

    pub fn push(&mut self, name: String, at: At, values: Values, below_detection: usize) {
        self.add(Column { below_detection, weight: self.weight, ..Column::new(&name, at, values) });
    }

    pub fn add(&mut self, column: Column) {
        self.columns.push(Packed::new(column));
    }

    /// The limits that the shop has on record for a field, whatever they are tied to: a cut where only some
    /// of the moulds have their limit does no harm.
    pub fn limits_of(&self, kind: &Kind, field: &str) -> Vec<f64> {
        self.limits.get(&(kind.name.to_string(), field.to_string())).cloned().unwrap_or_default()
    }

    /// Gives a column limits that are on record for it, where there is such a column.
    pub fn limit(&mut self, name: &str, limits: &[f64]) {
        if let Some(column) = self.columns.iter_mut().rev().find(|c| c.name == name) {
            column.limits.extend(limits.iter().copied().filter(|l| l.is_finite()));
            column.limits.sort_by(f64::total_cmp);
            column.limits.dedup();
        }
    }
}

/// The shop's limits of each kind and field.
fn limits(store: &Store) -> Result<HashMap<(String, String), Vec<f64>>> {
    let mut out: HashMap<(String, String), Vec<f64>> = HashMap::new();
    for limit in store.rows::<ProcessLimits>()? {
        let of =
            (limit.need(ProcessLimits::record)?.to_string(), limit.need(ProcessLimits::field)?.to_string());
        let bounds = [
            limit.get(ProcessLimits::warn_min),
            limit.get(ProcessLimits::warn_max),
            limit.get(ProcessLimits::stop_min),
            limit.get(ProcessLimits::stop_max),
        ];
        out.entry(of).or_default().extend(bounds.into_iter().flatten());
    }
    Ok(out)
}

/// The levels of a definition: its tag, with the revision where several are in use.
fn revisions(loaded: &Loaded, tag: &str, rows: &[u32]) -> Result<(Vec<u32>, Vec<String>)> {
    let used: std::collections::BTreeSet<u32> = rows.iter().copied().filter(|&r| r != MISSING).collect();
    let (tags, revision) = (loaded.column(tag)?, loaded.column(REVISION)?);
    let name = |r: u32| tags.word(r as usize).unwrap_or_default();
    let several = |r: u32| used.iter().any(|&o| o != r && name(o).eq_ignore_ascii_case(name(r)));
    let mut codes = vec![MISSING; loaded.sheet.rows];
    let mut levels = Vec::new();
    for &r in &used {
        let text = match revision.word(r as usize) {
            Some(rev) if !rev.is_empty() && several(r) => format!("{}@{rev}", name(r)),
            _ => name(r).to_string(),
        };
        if let Some(code) = codes.get_mut(r as usize) {
            *code = levels.len() as u32;
        }
        levels.push(text);
    }
    Ok((codes, levels))
}
