//! What a run writes: one line for each scan, through the one door, and the last one taken back.

use crate::jobs::bench::run::inspect;
use crate::jobs::bench::run::table::{Finds, Run};
use crate::jobs::lots::ask::product;
use crate::jobs::records::ask::{Logged, build};
use crate::jobs::records::forms::part_of;
use records::catalogue::field::Type;
use records::catalogue::typed::{Key, Recorded};
use records::catalogue::{
    Blades, Coats, Decision, Dispositions, Findings, Holds, Inspections, LotBlades, Lots, Moulds, Pours,
    Shipments, Verdict, YesNo,
};
use records::value::place::Place;
use records::value::tag::{folded, shown};
use records::value::words::articled;
use records::write::UNDO_MIN;
use records::{Act, Error, Hint, Kind, Result, Stamp, Store, Who};

/// Fields with their texts.
pub type Texts = Vec<(String, String)>;

/// What the notes of every kind are called.
const NOTE: &str = Coats::note.name;

/// A head that is to be begun with.
#[derive(Clone, Debug)]
pub struct Begin {
    pub run: &'static Run,
    pub head: Texts,
    pub now: Stamp,
}

/// A head whose references all lead somewhere.
#[derive(Clone, Debug, Default)]
pub struct Begun {
    /// References by the tags that they have now.
    pub head: Texts,
    /// The defects that are numbered, where blades are inspected.
    pub defects: Vec<inspect::Defect>,
    /// Whoever reads has no valid qualification for the method: each line says so.
    pub unqualified: bool,
    /// What speaks against readings by this person with this instrument today; each is said as long as the run lasts.
    pub warnings: Vec<String>,
}

/// Looks whether what is said once can be meant.
///
/// # Errors
/// The first reference that leads nowhere, or to a record of another kind.
pub fn begin(store: &Store, Begin { run, head, now }: &Begin) -> Result<Begun> {
    let mut out = Begun { head: head.clone(), ..Begun::default() };
    for (name, text) in &mut out.head {
        let Some(field) = run.line.field(name) else { continue };
        let Type::Ref(kinds) = field.ty else { continue };
        if matches!(text.as_str(), "" | "n/a" | "illegible") {
            continue;
        }
        let found = store.find(text).map_err(|e| e.at(field.name))?;
        if !kinds.contains(&found.kind.name) {
            let wrong = format!("{} is {}: no {}", shown(text), articled(found.kind.noun), field.label());
            return Err(Error::input(wrong).at(field.name));
        }
        if !found.kind.revisioned {
            *text = found.record.address();
        }
    }
    if run.finds == Finds::Inspection {
        let method = text_of(&out.head, Inspections::method.name).unwrap_or_default().to_string();
        out.defects = inspect::defects(store, &method)?;
        let reader = inspect::unqualified(store, &out.head, *now)?;
        out.unqualified = reader.is_some();
        out.warnings =
            reader.into_iter().chain(inspect::instrument_warnings(store, &out.head, *now)?).collect();
    }
    Ok(out)
}

/// One scan, as it is to be recorded.
#[derive(Clone, Debug)]
pub struct Scan {
    pub run: &'static Run,
    pub head: Texts,
    /// The tag that was scanned.
    pub tag: String,
    /// The part of the blades before it, where that is known.
    pub part: Option<String>,
    /// Why it is right, where that was asked.
    pub reason: Option<String>,
    /// What is seen, where it is recorded as a reject at once.
    pub seen: Option<Seen>,
}

/// A defect, and where it is.
#[derive(Clone, Debug)]
pub struct Seen {
    pub defect: String,
    pub zone: Option<String>,
}

/// A line that is on record.
#[derive(Clone, Debug)]
pub struct Line {
    /// The tag that was scanned.
    pub tag: String,
    /// The record that says it.
    pub address: String,
    /// What was recorded of it, in words.
    pub what: String,
    /// What is to be known besides.
    pub besides: Vec<String>,
    /// The defect and zone of a reject.
    pub seen: String,
    pub part: Option<String>,
    /// The zones of the part, where it was inspected.
    pub zones: Vec<(String, String)>,
    pub logged: Vec<Logged>,
}

/// Records one scan.
///
/// # Errors
/// As every write; what cannot well be meant asks for a reason.
pub fn line(store: &mut Store, who: &Who, scan: &Scan) -> Result<Line> {
    let run = scan.run;
    let subject = Subject::of(store, run.scans(), &scan.tag)?;
    let mut doubts = subject.doubts(store, scan)?;
    if run.finds == Finds::Mark {
        if !doubts.is_empty() && scan.reason.is_none() {
            return Err(Error::input(doubts.join("; ")).hint(Hint::ReasonIfRight));
        }
        return mark(store, who, scan, subject);
    }
    let mut texts: Texts = scan.head.iter().filter(|(_, t)| !t.is_empty()).cloned().collect();
    texts.push((run.scanned.into(), subject.tag.clone()));
    if let Some(time) = run.time() {
        texts.push((time.name.into(), who.now.to_string()));
    }
    let mut what = String::new();
    match run.finds {
        Finds::Inspection => {
            let found = inspect::next(store, &subject.tag, &scan.head)?;
            if text_of(&texts, Inspections::round.name).is_none() {
                texts.push((Inspections::round.name.into(), found.round.to_string()));
            }
            what = format!("round {}", text_of(&texts, Inspections::round.name).unwrap_or_default());
            texts.push((Inspections::inspection.name.into(), found.tag));
            let result = if scan.seen.is_some() { Verdict::Reject } else { Verdict::Accept };
            texts.push((Inspections::result.name.into(), result.word().into()));
        }
        Finds::Coat => {
            let coat = next_coat(store, &subject.tag)?;
            texts.push((Coats::coat.name.into(), coat.to_string()));
            what = format!("coat {coat}");
        }
        Finds::Nothing | Finds::Mark => {}
    }
    if let Some(reason) = &scan.reason {
        let before = texts.iter().position(|(n, _)| n == NOTE).map(|i| texts.remove(i).1);
        let note: Vec<&str> = before.as_deref().into_iter().chain([reason.as_str()]).collect();
        texts.push((NOTE.into(), note.join("; ")));
    }
    let record = build(store, who, run.line, &texts)?;
    // What was answered before the run stands in the note of each line, and is no reason for any of them. One reason
    // answers for all that is asked: all of it is said before.
    if scan.reason.is_none() && (!doubts.is_empty() || record.note().is_some()) {
        let mut asked = record.clone();
        asked.set_recorded(who.now, None);
        let asked = store.fit_guards(&asked)?.into_iter().filter(|g| g.needs_reason);
        doubts.extend(asked.map(|g| g.message));
        if !doubts.is_empty() {
            return Err(Error::input(doubts.join("; ")).hint(Hint::ReasonIfRight));
        }
    }
    let mut acts = vec![Act::Log(record, scan.reason.clone())];
    if let (Some(seen), Some(tag)) = (&scan.seen, text_of(&texts, Inspections::inspection.name)) {
        let finding = inspect::finding(tag, &seen.defect, seen.zone.as_ref());
        acts.push(Act::Log(build(store, who, Findings::KIND, finding.texts())?, None));
    }
    let logged: Vec<Logged> = store.together(who, acts)?.iter().map(Logged::new).collect();
    let first = logged.first();
    let address = first.and_then(|l| l.tag.clone().or_else(|| l.address.clone())).unwrap_or_default();
    let seen = scan.seen.as_ref().map_or(String::new(), |s| seen_in(&s.defect, s.zone.as_deref()));
    let zones = match run.finds {
        Finds::Inspection => crate::jobs::records::forms::zones(store, &address)?,
        _ => Vec::new(),
    };
    Ok(Line {
        tag: subject.tag,
        address,
        what,
        besides: subject.besides,
        seen,
        part: subject.part,
        zones,
        logged,
    })
}

/// The blade record says when it was marked, and that its position is the one on record.
fn mark(store: &mut Store, who: &Who, scan: &Scan, subject: Subject) -> Result<Line> {
    let (_, blade) = store.named::<Blades>(&subject.tag)?;
    if let Some(at) = blade.get(Blades::marked_at) {
        return Err(Error::input(format!("{} was marked already, at {at}", shown(&subject.tag))));
    }
    let Some(position) = blade.get(Blades::position) else {
        let text = format!("{} has no position on record: say which in its form first", shown(&subject.tag));
        return Err(Error::input(text));
    };
    let changes = vec![
        (Blades::marked_at.name.to_string(), who.now.to_string()),
        (Blades::position_confirmed.name.to_string(), YesNo::Yes.word().to_string()),
    ];
    let reason = scan.reason.clone().unwrap_or_else(|| "marked at cut-off".into());
    let written = store.correct(who, &subject.tag, &changes, &reason)?;
    Ok(Line {
        address: subject.tag.clone(),
        tag: subject.tag,
        what: format!("position {position}, confirmed as on record"),
        besides: subject.besides,
        seen: String::new(),
        part: subject.part,
        zones: Vec::new(),
        logged: vec![Logged::new(&written)],
    })
}

/// The number after the highest coat of a mould.
fn next_coat(store: &Store, mould: &str) -> Result<i64> {
    let (key, _) = store.key_of::<Moulds>(mould)?;
    let coats = store.rows_of(Coats::mould, key)?;
    Ok(coats.iter().filter_map(|c: &Recorded<Coats>| c.get(Coats::coat)).max().unwrap_or(0) + 1)
}

/// The text of a field, where it is not blank.
pub fn text_of<'t>(texts: &'t [(String, String)], name: &str) -> Option<&'t str> {
    texts.iter().find(|(n, t)| n == name && !t.is_empty()).map(|(_, t)| t.as_str())
}

/// The tag of a definition without its revision.
fn base(text: &str) -> String {
    folded(text.split('@').next().unwrap_or(text))
}

/// What was scanned.
struct Subject {
    tag: String,
    part: Option<String>,
    blade: Option<Key<Blades>>,
    mould: Option<Key<Moulds>>,
    place: Option<Place>,
    besides: Vec<String>,
}

impl Subject {
    fn of(store: &Store, kind: &'static Kind, tag: &str) -> Result<Self> {
        let found = store.find(tag)?;
        if found.kind.name != kind.name {
            let text =
                format!("{} is {}, not {}", shown(tag), articled(found.kind.noun), articled(kind.noun));
            return Err(Error::input(text));
        }
        let mut out = Self {
            tag: found.record.address(),
            part: None,
            blade: found.key::<Blades>(),
            mould: found.key::<Moulds>(),
            place: None,
            besides: Vec::new(),
        };
        if let Some(blade) = out.blade {
            out.part = part_of(store, &out.tag)?;
            out.place = store.locate_blade(blade.id)?.map(|b| b.place);
        }
        if let Some(id) = found.id {
            for hold in store.holds_fencing(found.kind.name, id)? {
                let text = |name: &str| hold.get(name).to_text();
                let (hold, why) = (text(Holds::hold.name), text(Holds::reason.name));
                out.besides.push(format!("{} is held by {hold}: {why}", out.tag));
            }
        }
        Ok(out)
    }

    /// What can hardly be meant: it is recorded with a reason, or not at all. What the store asks itself is not
    /// asked here.
    fn doubts(&self, store: &Store, scan: &Scan) -> Result<Vec<String>> {
        let mut out = Vec::new();
        let kind = scan.run.line;
        if let Some(mould) = self.mould {
            if !store.rows_of(Pours::mould, mould)?.is_empty() {
                out.push(format!("{} was poured already", self.tag));
            }
        }
        if let Some(place @ (Place::Shipped | Place::Scrapped)) =
            self.place.filter(|_| !kind.is::<Shipments>())
        {
            out.push(format!("{} is {}", self.tag, place.word()));
        }
        let lot = match text_of(&scan.head, LotBlades::lot.name).filter(|_| kind.is::<LotBlades>()) {
            Some(lot) => {
                Some((store.named::<Lots>(lot)?.1.need(Lots::part)?.to_string(), format!("lot {lot}")))
            }
            None => None,
        };
        let before = || scan.part.clone().map(|part| (part, "the blades before it".to_string()));
        let wanted = lot.or_else(before);
        if let (Some(part), Some((of, whose))) = (&self.part, &wanted) {
            if base(part) != base(of) {
                out.push(format!("{} is of part {part}, {whose} of {of}", self.tag));
            }
        }
        // Of a shipment the store itself says what is held and not made.
        if !kind.is::<Shipments>() {
            if let Some(blade) = self.blade {
                out.extend(self.not_poured(store, blade)?);
            }
            out.extend(self.besides.iter().cloned());
        }
        if let (Finds::Inspection, Some(blade)) = (scan.run.finds, self.blade) {
            out.extend(self.read_before(store, scan, blade)?);
        }
        Ok(out)
    }

    /// The mould of the blade has no pour on record: another blade may be in somebody's hand.
    fn not_poured(&self, store: &Store, blade: Key<Blades>) -> Result<Option<String>> {
        let row = store.row(blade)?;
        let Some(mould) = row.get(Blades::mould) else { return Ok(None) };
        let (key, _) = store.key_of::<Moulds>(mould)?;
        let poured = !store.rows_of(Pours::mould, key)?.is_empty();
        Ok((!poured).then(|| format!("{}: no pour of {mould} is on record", self.tag)))
    }

    /// A result of this method stands already, and nothing was reworked since.
    fn read_before(&self, store: &Store, scan: &Scan, blade: Key<Blades>) -> Result<Option<String>> {
        let purpose = text_of(&scan.head, Inspections::purpose.name);
        if purpose.is_some_and(|p| p != records::catalogue::InspectionPurpose::Product.word()) {
            return Ok(None);
        }
        let method = text_of(&scan.head, Inspections::method.name).unwrap_or_default();
        let rework = store
            .rows_of(Dispositions::blade, blade)?
            .iter()
            .filter(|d: &&Recorded<Dispositions>| {
                matches!(d.get(Dispositions::decision), Some(Decision::Rework | Decision::Repair))
            })
            .filter_map(|d| d.own_time())
            .max_by_key(|t| t.ms());
        let standing =
            store.rows_of(Inspections::blade, blade)?.into_iter().filter(|i: &Recorded<Inspections>| {
                let later = rework.is_none_or(|r| i.own_time().is_some_and(|at| at.ms() > r.ms()));
                i.get(Inspections::method).is_some_and(|m| m.word() == method) && product(i) && later
            });
        let last = standing.max_by_key(|i| i.get(Inspections::round));
        if let Some(i) = last {
            let (tag, round) = (i.address(), i.cell(Inspections::round).to_text());
            let result = i.cell(Inspections::result).to_text();
            let text = format!("{} has {method} round {round} on record, {result} ({tag})", self.tag);
            return Ok(Some(format!("{text}, and no rework since")));
        }
        // A round that was said for the whole tray may be an older one of this blade.
        let said: Option<i64> = text_of(&scan.head, Inspections::round.name).and_then(|r| r.parse().ok());
        let next = inspect::next_round(store, blade, method)?;
        Ok(said.filter(|said| *said < next).map(|said| {
            format!("{} has {method} round {said} on record already; its next round is {next}", self.tag)
        }))
    }
}

/// What came of taking a line back.
#[derive(Clone, Debug)]
pub enum Back {
    /// It is taken back.
    Done(String),
    /// It would free something: it is only proposed, and the line stands.
    Proposed(String),
    /// It cannot be taken back any more, for this reason: the record is corrected instead.
    Late(String),
}

/// Takes back what these entries wrote together.
///
/// # Errors
/// The file cannot be read or written, or the person may not.
pub fn back(store: &mut Store, who: &Who, entries: &[i64]) -> Result<Back> {
    let proposals = store.proposals()?;
    if let Some(proposed) = proposals.iter().find(|p| p.came.is_some_and(|came| entries.contains(&came))) {
        let seq = proposed.seq;
        return Ok(Back::Proposed(format!(
            "that is proposed already, nothing more is written: it stands until quality decides proposal {seq}"
        )));
    }
    match store.undo_together(who, entries) {
        Ok(all) => Ok(match all.iter().find(|u| !u.frees.is_empty()) {
            Some(proposed) => Back::Proposed(format!(
                "it stands until quality decides proposal {}: this {}",
                proposed.seq,
                proposed.frees.join(", and ")
            )),
            None => Back::Done(all.iter().filter_map(|u| u.entry.tag.clone()).collect::<Vec<_>>().join(", ")),
        }),
        Err(e) if e.is_input() => Ok(Back::Late(e.sentence)),
        Err(e) => Err(e),
    }
}

/// The minutes within which a line can be taken back.
pub const MINUTES: f64 = UNDO_MIN;

/// A defect with its zone, in words.
fn seen_in(defect: &str, zone: Option<&str>) -> String {
    zone.map_or_else(|| defect.to_string(), |zone| format!("{defect} in {zone}"))
}

/// What stands on record of these lines now: the result of an inspection and what it saw, else that it is there.
pub fn standing(store: &Store, addresses: &[String]) -> Result<Vec<Option<(Verdict, String)>>> {
    let found = addresses.iter().map(|address| match store.find(address) {
        Ok(found) => Ok(match (found.record.of::<Inspections>(), found.key::<Inspections>()) {
            (Some(inspection), Some(key)) => {
                let findings: Vec<Recorded<Findings>> = store.rows_of(Findings::inspection, key)?;
                let seen = findings
                    .iter()
                    .map(|f| seen_in(f.get(Findings::defect).unwrap_or_default(), f.get(Findings::zone)));
                let seen = seen.collect::<Vec<_>>().join(", ");
                inspection.get(Inspections::result).map(|verdict| (verdict, seen))
            }
            _ => Some((Verdict::Accept, String::new())),
        }),
        Err(e) if e.is_input() => Ok(None),
        Err(e) => Err(e),
    });
    found.collect()
}

/// Records a reject of what was accepted a moment ago, with what is seen; or one more finding of a reject.
#[derive(Clone, Debug)]
pub struct Reject {
    pub inspection: String,
    /// It stands as an accept.
    pub accepted: bool,
    pub defect: String,
    pub zone: Option<String>,
}

/// The reason that stands with a reject that was scanned first.
pub const READ_AS_REJECT: &str = "read as reject at the bench";

/// Writes a reject with its finding, all or nothing.
pub fn reject(store: &mut Store, who: &Who, reject: &Reject) -> Result<Vec<Logged>> {
    let mut acts = Vec::new();
    if reject.accepted {
        let change = (Inspections::result.name.to_string(), Verdict::Reject.word().to_string());
        acts.push(Act::Correct(reject.inspection.clone(), vec![change], READ_AS_REJECT.into()));
    }
    acts.push(Act::Log(
        build(
            store,
            who,
            Findings::KIND,
            inspect::finding(&reject.inspection, &reject.defect, reject.zone.as_ref()).texts(),
        )?,
        None,
    ));
    Ok(store.together(who, acts)?.iter().map(Logged::new).collect())
}
