//! Tags to ids: over all kinds, through re-tags, and definitions by the revision in force.

pub(crate) mod fresh;

use std::cell::RefCell;
use std::collections::HashMap;

use rusqlite::{Connection, OptionalExtension};

use crate::catalogue::kind;
use crate::catalogue::kind::Kind;
use crate::catalogue::{Blades, DefectTerms, Heats, Moulds, Retags};
use crate::error::{Error, Result};
use crate::read;
use crate::read::rows;
use crate::read::rows::Link;
use crate::read::shape;
use crate::read::tags::fresh::Fresh;
use crate::value::tag;
use crate::write::relabel::Relabelled;
use crate::{Stamp, catalogue};

/// A revision of a definition.
#[derive(Clone, Debug)]
pub struct Revision {
    /// Id in its table.
    pub id: i64,
    /// Tag as written.
    pub tag: String,
    /// Revision as written, blank is one too.
    pub revision: String,
    effective: Option<i64>,
    approved: bool,
}

/// Re-tags by a tag, folded.
type Ahead = HashMap<String, Vec<Relabelled>>;

/// Looks tags up. In a bulk load it also knows what has been written so far.
pub struct Tags<'db> {
    db: &'db Connection,
    /// Rows written in this load.
    fresh: Fresh,
    /// Kinds whose tables held rows before this load, and must be asked.
    asked: Vec<bool>,
    revisions: RefCell<HashMap<(&'static str, String), Vec<Revision>>>,
    found: RefCell<HashMap<String, Option<(Link, String)>>>,
    aliases: HashMap<String, String>,
    /// The re-tags of the bundle being loaded, by the old tag and by the new one, folded.
    ahead: (Ahead, Ahead),
    /// What the row before referred to, by field: the rows of a mould or a blade stand together.
    before: RefCell<Vec<(String, Link)>>,
    remember: bool,
    /// A table of a kind without revisions held rows before this load.
    asked_plain: bool,
}

impl<'db> Tags<'db> {
    /// For single lookups.
    pub fn new(db: &'db Connection) -> Result<Self> {
        Ok(Self {
            db,
            fresh: Fresh::default(),
            asked: vec![true; shape::all().len()],
            revisions: RefCell::default(),
            found: RefCell::default(),
            aliases: HashMap::new(),
            ahead: Default::default(),
            before: RefCell::default(),
            remember: false,
            asked_plain: true,
        })
    }

    /// For a bulk load: asks only tables that hold rows, and remembers what it was told.
    pub fn for_load(db: &'db Connection) -> Result<Self> {
        let mut tags = Self::new(db)?;
        for (i, shape) in shape::all().iter().enumerate() {
            let sql = format!("SELECT EXISTS (SELECT 1 FROM {})", shape.kind.name);
            tags.asked[i] = db.query_row(&sql, [], |r| r.get(0))?;
            if tags.asked[i] && shape.kind.revisioned {
                tags.know_definitions(shape.kind)?;
            }
        }
        tags.asked_plain =
            shape::all().iter().zip(&tags.asked).any(|(s, asked)| *asked && !s.kind.revisioned);
        tags.remember = true;
        Ok(tags)
    }

    /// Definitions are few: their tags are kept at hand, so that no row need ask whether its own is
    /// taken by one.
    fn know_definitions(&mut self, kind: &'static Kind) -> Result<()> {
        let Some(field) = kind.tag_field() else { return Ok(()) };
        let mut q = self.db.prepare(&format!("SELECT id, \"{}\" FROM {}", field.name, kind.name))?;
        let mut rows = q.query([])?;
        while let Some(row) = rows.next()? {
            let tag: String = row.get(1)?;
            self.fresh.insert(kind, &tag, row.get(0)?);
        }
        Ok(())
    }

    /// The store that is asked.
    pub fn db(&self) -> &'db Connection {
        self.db
    }

    /// The table of this kind held rows before.
    pub fn held_rows(&self, kind: &Kind) -> bool {
        self.asked[catalogue::position(kind)]
    }

    /// Re-tags of the bundle being loaded: a new tag leads to the record of the old one.
    pub fn alias(&mut self, new: &str, old: &str, at: Option<Stamp>) {
        self.aliases.insert(tag::folded(new), old.to_string());
        if let Some(at) = at {
            let row = Relabelled { old: old.to_string(), new: new.to_string(), at };
            self.ahead.0.entry(tag::folded(old)).or_default().push(row.clone());
            self.ahead.1.entry(tag::folded(new)).or_default().push(row);
        }
    }

    /// The re-tags of the bundle being loaded whose old tag this is, or whose new one.
    pub fn ahead(&self, text: &str, old: bool) -> &[Relabelled] {
        let all = if old { &self.ahead.0 } else { &self.ahead.1 };
        all.get(&tag::folded(text)).map_or(&[], Vec::as_slice)
    }

    /// The record whose own tag this is, by kind and tag. A kind with names of its own has them for itself.
    pub fn owner(&self, text: &str, by: &'static str) -> Result<Option<(&'static str, String)>> {
        let own: &[&'static str] = if kind(by).is_some_and(|k| k.own_names) { &[by] } else { all_plain() };
        if let Some((link, primary)) = self.direct(text, own)? {
            return Ok(Some((link.kind, primary.unwrap_or_else(|| text.to_string()))));
        }
        for kind in catalogue::all().filter(|k| k.revisioned && !k.own_names && own.len() > 1) {
            if let Some(r) = self.revisions(kind, text)?.into_iter().next() {
                return Ok(Some((kind.name, r.tag)));
            }
        }
        Ok(None)
    }

    /// Notes a row written in this load.
    pub fn wrote(&mut self, kind: &'static Kind, tag: &str, id: i64) {
        if kind.revisioned {
            self.revisions.borrow_mut().remove(&(kind.name, tag::folded(tag)));
            self.asked[catalogue::position(kind)] = true;
        }
        self.fresh.insert(kind, tag, id);
    }

    /// Finds the record of one of these kinds that a tag leads to, with the tag as its record has it
    /// where that differs from what was asked. Definitions with revisions are not found here.
    pub fn find(&self, text: &str, kinds: &[&'static str]) -> Result<Option<(Link, Option<String>)>> {
        if let Some(found) = self.direct(text, kinds)? {
            return Ok(Some(found));
        }
        let mut at = text.to_string();
        for _ in 0..20 {
            let Some(old) = self.old_tag(&at)? else { return Ok(None) };
            if let Some((link, primary)) = self.direct(&old, kinds)? {
                return Ok(Some((link, Some(primary.unwrap_or(old)))));
            }
            at = old;
        }
        Ok(None)
    }

    /// [`Tags::find`] for a field of the file being loaded, by its position: mostly it refers to what
    /// the row before referred to.
    pub fn find_in_turn(
        &self,
        field: usize,
        text: &str,
        kinds: &[&'static str],
    ) -> Result<Option<(Link, Option<String>)>> {
        if !self.remember {
            return self.find(text, kinds);
        }
        if let Some((known, link)) = self.before.borrow().get(field) {
            if known == text {
                return Ok(Some((*link, None)));
            }
        }
        let found = self.find(text, kinds)?;
        if let Some((link, None)) = found {
            let mut before = self.before.borrow_mut();
            while before.len() <= field {
                before.push((String::new(), link));
            }
            before[field].0.clear();
            before[field].0.push_str(text);
            before[field].1 = link;
        }
        Ok(found)
    }

    /// Another file begins, with about so many tags of its own.
    pub fn begin(&mut self, tags: usize) {
        self.before.borrow_mut().clear();
        self.fresh.make_room(tags);
    }

    fn direct(&self, text: &str, kinds: &[&'static str]) -> Result<Option<(Link, Option<String>)>> {
        if let Some((link, tag)) = self.fresh.get(text, kinds) {
            return Ok(Some((link, (tag != text).then(|| tag.to_string()))));
        }
        if self.remember && !self.asked_plain {
            return Ok(None);
        }
        if let Some(Some((link, primary))) = self.found.borrow().get(text) {
            if kinds.contains(&link.kind) {
                return Ok(Some((*link, (primary != text).then(|| primary.clone()))));
            }
        }
        for name in kinds {
            let kind = rows::named_kind(name)?;
            if kind.revisioned || !self.asked[catalogue::position(kind)] {
                continue;
            }
            let Some(field) = kind.tag_field() else { continue };
            let sql = format!(
                "SELECT id, \"{0}\" FROM {1} WHERE \"{0}\" = ?1 COLLATE NOCASE",
                field.name, kind.name
            );
            let row = self
                .db
                .prepare_cached(&sql)?
                .query_row([text], |r| Ok((r.get::<_, i64>(0)?, r.get::<_, String>(1)?)))
                .optional()?;
            if let Some((id, primary)) = row {
                let link = Link { kind: kind.name, id };
                let differs = (primary != text).then(|| primary.clone());
                if self.remember {
                    self.found.borrow_mut().insert(text.to_string(), Some((link, primary)));
                }
                return Ok(Some((link, differs)));
            }
        }
        Ok(None)
    }

    fn old_tag(&self, new: &str) -> Result<Option<String>> {
        if let Some(old) = self.aliases.get(&tag::folded(new)) {
            return Ok(Some(old.clone()));
        }
        let mut q = self.db.prepare_cached(
            "SELECT old_tag FROM retags WHERE new_tag = ?1 COLLATE NOCASE ORDER BY changed_at DESC LIMIT 1",
        )?;
        Ok(q.query_row([new], |r| r.get(0)).optional()?)
    }

    /// Every revision of a definition, oldest written first.
    pub fn revisions(&self, kind: &'static Kind, text: &str) -> Result<Vec<Revision>> {
        let key = (kind.name, tag::folded(text));
        if let Some(known) = self.revisions.borrow().get(&key) {
            return Ok(known.clone());
        }
        let Some(field) = kind.tag_field() else { return Ok(Vec::new()) };
        let sql = format!(
            "SELECT id, \"{0}\", revision, effective_from, approved_by, approved_at FROM {1}
             WHERE \"{0}\" = ?1 COLLATE NOCASE ORDER BY id",
            field.name, kind.name
        );
        let moment = |t: Option<String>| {
            t.and_then(|t| Stamp::parse(&t).or_else(|_| Stamp::parse_date(&t)).ok()).map(Stamp::ms)
        };
        let rows = self
            .db
            .prepare_cached(&sql)?
            .query_map([text], |r| {
                Ok(Revision {
                    id: r.get(0)?,
                    tag: r.get(1)?,
                    revision: r.get(2)?,
                    effective: moment(r.get(3)?),
                    approved: r.get::<_, Option<String>>(4)?.is_some()
                        || r.get::<_, Option<String>>(5)?.is_some(),
                })
            })?
            .collect::<rusqlite::Result<Vec<_>>>()?;
        self.revisions.borrow_mut().insert(key, rows.clone());
        Ok(rows)
    }

    /// The revision that a link leads to, where it leads to a definition.
    pub fn revision_of(&self, link: Link) -> Result<Option<Revision>> {
        let Some(kind) = kind(link.kind).filter(|k| k.revisioned) else { return Ok(None) };
        let field = kind.tag_field().map_or("", |f| f.name);
        let sql = format!("SELECT \"{field}\" FROM {} WHERE id = ?1", kind.name);
        let tag: String = self.db.prepare_cached(&sql)?.query_row([link.id], |r| r.get(0))?;
        Ok(self.revisions(kind, &tag)?.into_iter().find(|r| r.id == link.id))
    }

    /// The revision of a definition that a reference means: the one named (`TAG@REV`), else the
    /// approved one in force at that time, else the latest in force though not approved, else the
    /// first one there is. The flag says that the revision was named.
    pub fn definition(
        &self,
        kind: &'static Kind,
        text: &str,
        at: Option<Stamp>,
    ) -> Result<Option<(Revision, bool)>> {
        if let Some(named) = self.named(kind, text)? {
            return Ok(Some(named));
        }
        let mut all = self.revisions(kind, text)?;
        let mut asked = text.to_string();
        // Two tags that were swapped lead to each other: the walk must end.
        for _ in 0..20 {
            if !all.is_empty() {
                break;
            }
            if asked.contains('@') {
                return self.named(kind, &asked);
            }
            let Some(old) = self.old_tag(&asked)? else { return Ok(None) };
            all = self.revisions(kind, &old)?;
            asked = old;
        }
        let at = at.map_or(i64::MAX, Stamp::ms);
        let in_force = |r: &&Revision| r.effective.is_none_or(|from| from <= at);
        let latest = |of: &mut dyn Iterator<Item = &Revision>| {
            of.max_by_key(|r| (r.effective.unwrap_or(i64::MIN), r.id)).cloned()
        };
        let chosen = latest(&mut all.iter().filter(in_force).filter(|r| r.approved))
            .or_else(|| latest(&mut all.iter().filter(in_force)))
            .or_else(|| all.first().cloned());
        Ok(chosen.map(|r| (r, false)))
    }

    /// The revision that `TAG@REV` names. A tag of earlier rules that reads the same leads to it nowhere.
    fn named(&self, kind: &'static Kind, text: &str) -> Result<Option<(Revision, bool)>> {
        let Some((name, rev)) = text.rsplit_once('@') else { return Ok(None) };
        let all = self.revisions(kind, name)?;
        Ok(all.into_iter().find(|r| r.revision == rev).map(|r| (r, true)))
    }

    /// What any tag leads to, over all kinds. A definition's tag leads to its newest revision, or to
    /// the one named.
    pub fn anything(&self, text: &str) -> Result<Option<(Link, String)>> {
        if text.contains('@') {
            for kind in catalogue::all().filter(|k| k.revisioned) {
                if let Some((r, _)) = self.named(kind, text)? {
                    return Ok(Some((
                        Link { kind: kind.name, id: r.id },
                        format!("{}@{}", r.tag, r.revision),
                    )));
                }
            }
        }
        let plain: Vec<&'static str> = COMMON_FIRST
            .iter()
            .copied()
            .chain(catalogue::all().filter(|k| k.tagged() && !k.revisioned && !k.own_names).map(|k| k.name))
            .collect();
        if let Some((link, primary)) = self.find(text, &plain)? {
            return Ok(Some((link, primary.unwrap_or_else(|| text.to_string()))));
        }
        for kind in catalogue::all().filter(|k| k.revisioned) {
            if let Some((r, named)) = self.definition(kind, text, None)? {
                let tag = if named { format!("{}@{}", r.tag, r.revision) } else { r.tag };
                return Ok(Some((Link { kind: kind.name, id: r.id }, tag)));
            }
        }
        if let Some((link, primary)) = self.find(text, &[DefectTerms::NAME])? {
            return Ok(Some((link, primary.unwrap_or_else(|| text.to_string()))));
        }
        Ok(None)
    }

    /// The kind that already has this tag, other than definitions of the same kind.
    pub fn taken(&self, text: &str, by: &'static Kind) -> Result<Option<&'static str>> {
        if by.own_names {
            return Ok(self.direct(text, &[by.name])?.map(|(l, _)| l.kind));
        }
        let other = |kind: &'static Kind| !(kind.own_names || kind.revisioned && kind.name == by.name);
        if let Some((link, _)) = self.fresh.search(text, false, other) {
            return Ok(Some(link.kind));
        }
        if self.remember && !self.asked_plain {
            return Ok(None);
        }
        for (i, shape) in shape::all().iter().enumerate() {
            let kind = shape.kind;
            if kind.own_names || !self.asked[i] || !kind.tagged() {
                continue;
            }
            if kind.revisioned {
                // A load has them at hand already.
                if self.remember {
                    continue;
                }
                if kind.name != by.name && !self.revisions(kind, text)?.is_empty() {
                    return Ok(Some(kind.name));
                }
            } else if let Some((link, _)) = self.direct(text, &[kind.name])? {
                return Ok(Some(link.kind));
            }
        }
        // A label that a record was given later is taken too.
        let retags = self.held_rows(Retags::KIND);
        match self.old_tag(text)?.filter(|old| retags && !old.eq_ignore_ascii_case(text)) {
            Some(old) => Ok(self.anything(&old)?.map(|(link, _)| link.kind)),
            None => Ok(None),
        }
    }

    /// The tags of these kinds that are nearest to a text.
    pub fn near(&self, text: &str, kinds: &[&'static str]) -> Result<Vec<String>> {
        let mut known: Vec<String> = Vec::new();
        for name in kinds {
            let Some(field) = kind(name).and_then(Kind::tag_field) else { continue };
            // A misread tag mostly starts right; a whole table is only walked while it is small.
            let head: String = text.chars().take(2).collect();
            let sql = format!(
                "SELECT \"{0}\" FROM {1} WHERE \"{0}\" >= ?1 COLLATE NOCASE ORDER BY \"{0}\" COLLATE NOCASE LIMIT 2000",
                field.name, name
            );
            let mut q = self.db.prepare_cached(&sql)?;
            for start in ["", head.as_str(), text] {
                let rows = q.query_map([start], |r| r.get::<_, String>(0))?;
                known.extend(rows.collect::<rusqlite::Result<Vec<_>>>()?);
            }
        }
        let near = tag::near(text, known.iter().map(String::as_str));
        Ok(near.into_iter().map(String::from).collect())
    }

    /// The sentence for a tag that leads nowhere.
    pub fn unknown(&self, text: &str, kinds: &[&'static str]) -> Result<String> {
        let near = self.near(text, kinds)?;
        let near: Vec<&str> = near.iter().map(String::as_str).collect();
        let what = match kinds {
            [one] => kind(one).map_or("record", |k| k.noun).to_string(),
            _ if kinds.len() <= 3 => {
                kinds.iter().filter_map(|k| kind(k)).map(|k| k.noun).collect::<Vec<_>>().join(" or ")
            }
            _ => "record".into(),
        };
        let known = match kinds {
            [one] if near.is_empty() => self.all_there(one, &what)?,
            _ => String::new(),
        };
        Ok(format!("there is no {what} {}{}{known}", tag::shown(text), tag::hint(&near)))
    }

    /// All that there are of a kind, where they are few, as the rest of a sentence.
    fn all_there(&self, name: &str, noun: &str) -> Result<String> {
        const FEW: usize = 40;
        let Some(field) = kind(name).and_then(Kind::tag_field) else { return Ok(String::new()) };
        let sql = format!("SELECT DISTINCT \"{}\" FROM {name} LIMIT {}", field.name, FEW + 1);
        let all: Vec<String> = read::list(self.db, &sql, [], |r| r.get(0))?;
        Ok(match all.len() {
            0 => format!("; no {noun} is on record yet"),
            n if n > FEW => String::new(),
            _ => format!("; there are {}", all.iter().map(|t| tag::shown(t)).collect::<Vec<_>>().join(", ")),
        })
    }
}

/// The kinds most asked for, first.
const COMMON_FIRST: &[&str] = &[Blades::NAME, Moulds::NAME, Heats::NAME];

/// Names of all kinds whose tags share the one space.
pub fn all_plain() -> &'static [&'static str] {
    static NAMES: std::sync::OnceLock<Vec<&'static str>> = std::sync::OnceLock::new();
    NAMES.get_or_init(|| {
        catalogue::all().filter(|k| k.tagged() && !k.revisioned && !k.own_names).map(|k| k.name).collect()
    })
}

/// The error for a tag that leads nowhere.
pub fn unknown(tags: &Tags, text: &str) -> Error {
    match tags.unknown(text, all_plain()) {
        Ok(sentence) => Error::input(sentence),
        Err(e) => e,
    }
}
