//! The files of a bundle on their way into the store: all of them, or nothing.

use std::collections::{HashMap, HashSet};

use crate::jobs::file::bundle::{FileFault, ImportProgress, Imported, SourceFile};
use records::catalogue::{ConcessionItems, People, Retags, WaxLots};
use records::check::Fault;
use records::exchange::Reader;
use records::graph::fit::Late;
use records::value::tag;
use records::value::words::counted;
use records::write::bulk::{Load, Outcome};
use records::{Error, Kind, Record, Result, Store, Type, Value, Who, catalogue};

/// The field that counts the records of one key; its name is the same in every kind that has it.
const ITEM: &str = ConcessionItems::item.name;

/// A load under way.
struct Loading<'a> {
    load: Load<'a>,
    /// Tags that have a new label.
    relabelled: HashSet<String>,
    out: Imported,
    /// Bytes read, and bytes in all.
    done: u64,
    total: u64,
    causes: Causes,
}

/// Faults of which others are only what follows: a row that names a record whose own row is at fault is counted there.
#[derive(Default)]
struct Causes {
    /// Tags of rows at fault, folded: their kind, and the fault that is the cause.
    tags: HashMap<String, (&'static str, usize)>,
    /// Kinds whose file could not be read at all.
    files: HashMap<&'static str, usize>,
    /// Rows that follow from a fault.
    follow: HashMap<usize, usize>,
}

impl Causes {
    /// The fault that this one follows from.
    fn of(&self, kind: &Kind, fault: &Fault) -> Option<usize> {
        let admits: &dyn Fn(&str) -> bool = match kind.field(&fault.column)?.ty {
            Type::Ref(kinds) => &|kind| kinds.contains(&kind),
            Type::AnyTag => &|_| true,
            _ => return None,
        };
        if !fault.message.starts_with("there is no ") {
            return None;
        }
        let tag = tag::folded(fault.value.split('@').next().unwrap_or_default());
        let row = self.tags.get(&tag).filter(|(kind, _)| admits(kind)).map(|(_, cause)| *cause);
        let file = || match kind.field(&fault.column)?.ty {
            Type::Ref([one]) => self.files.get(one).copied(),
            _ => None,
        };
        row.or_else(file)
    }

    /// Says beside each cause what follows from it.
    fn tell(&self, faults: &mut [FileFault]) {
        for (cause, rows) in &self.follow {
            let Some(fault) = faults.get_mut(*cause) else { continue };
            let whole = self.files.values().any(|c| c == cause);
            let named = if whole { "what stands in it" } else { "it" };
            let verb = if *rows == 1 { "names" } else { "name" };
            fault.message.push_str(&format!("; and {} that {verb} {named}", counted(*rows, "row")));
        }
    }
}

pub(super) fn load(
    store: &mut Store,
    who: &Who,
    mut sources: Vec<SourceFile>,
    faults: Vec<FileFault>,
    check: bool,
    starter: bool,
    progress: ImportProgress,
) -> Result<Imported> {
    sources.sort_by_key(|s| catalogue::position(s.kind));
    let total: u64 = sources.iter().map(|s| s.bytes).sum();
    let load = store.load(who, starter)?;
    let relabelled = load.relabelled()?;
    let out = Imported { faults, ..Imported::default() };
    let mut all = Loading { load, relabelled, out, done: 0, total, causes: Causes::default() };
    for source in sources.iter().filter(|s| s.kind.is::<Retags>() || s.kind.is::<People>()) {
        all.read_ahead(source);
    }
    for source in &sources {
        progress(all.done, total, &source.name);
        match all.one_file(source, progress) {
            Ok(()) => {}
            Err(e) if e.is_input() => all.fault(source, 0, Fault::new("", "", e.sentence)),
            Err(e) => {
                let refusal = e.is_refused().then(|| e.to_string());
                let early = e.wants_pin() && who.asks;
                drop(all);
                if let Some(sentence) = refusal.filter(|_| !early) {
                    store.note_refusal(who, &sentence)?;
                }
                return Err(e);
            }
        }
        all.done += source.bytes;
    }
    let late = all.load.late_faults(all.out.faults.is_empty())?;
    if !late.is_empty() {
        all.locate(&sources, &late)?;
    }
    let Loading { load, mut out, causes, .. } = all;
    causes.tell(&mut out.faults);
    progress(total, total, "writing");
    load.finish(!check && out.faults.is_empty())?;
    if !out.faults.is_empty() {
        out.records.clear();
    }
    Ok(out)
}

fn opened<'a>(source: &SourceFile<'a>) -> Result<Box<dyn std::io::Read + 'a>> {
    (source.open)().map_err(|e| Error::input(format!("cannot be read: {e}")))
}

impl Loading<'_> {
    fn fault(&mut self, source: &SourceFile, line: u64, fault: Fault) {
        self.out.faults.push(FileFault::new(&source.name, line, fault));
    }

    /// Notes the faults of a row: its own, and where they only follow from those of another row, that.
    fn row_faults(&mut self, source: &SourceFile, line: u64, tag: Option<String>, faults: Vec<Fault>) {
        let (mut own, mut from) = (None, Vec::new());
        for fault in faults {
            match self.causes.of(source.kind, &fault) {
                Some(cause) if !from.contains(&cause) => from.push(cause),
                Some(_) => {}
                None => {
                    own = own.or(Some(self.out.faults.len()));
                    self.fault(source, line, fault);
                }
            }
        }
        for cause in &from {
            *self.causes.follow.entry(*cause).or_insert(0) += 1;
        }
        if let (Some(tag), Some(cause)) = (tag, own.or(from.first().copied())) {
            self.causes.tags.entry(tag).or_insert((source.kind.name, cause));
        }
    }

    /// New tags and people must be known before the rows that use them. What is wrong in the file is said when it is
    /// loaded.
    fn read_ahead(&mut self, source: &SourceFile) {
        let Ok(reader) = (source.open)() else { return };
        let Ok(mut reader) = Reader::new(reader, source.kind, &[]) else { return };
        while let Ok(true) = reader.advance() {
            let record = reader.record(&mut Vec::new());
            let Some(retag) = record.of::<Retags>() else {
                self.load.meet(record.tag().unwrap_or_default());
                continue;
            };
            if let (Some(old), Some(new)) = (retag.get(Retags::old_tag), retag.get(Retags::new_tag)) {
                self.load.alias(new, old, retag.get(Retags::changed_at));
                self.relabelled.insert(tag::folded(old));
            }
        }
    }

    /// Finds the lines of rows that other rows show to be at fault, by reading their files once more.
    fn locate(&mut self, sources: &[SourceFile], late: &[Late]) -> Result<()> {
        let nowhere = late.iter().filter(|l| !sources.iter().any(|s| s.kind.name == l.kind));
        let unplaced = nowhere.map(|l| FileFault::new(&format!("{}.csv", l.kind), 0, l.fault.clone()));
        self.out.faults.extend(unplaced);
        for source in sources {
            let mut left: Vec<&Late> = late.iter().filter(|l| l.kind == source.kind.name).collect();
            let Ok(mut reader) = Reader::new(opened(source)?, source.kind, self.load.own()) else { continue };
            reader.takes(&self.relabelled);
            let mut items: HashMap<String, i64> = HashMap::new();
            while !left.is_empty() && reader.advance().unwrap_or(false) {
                let mut record = self.load.as_written(reader.record(&mut Vec::new()))?;
                // Rows without an item are counted as they were when they came in.
                if source.kind.field(ITEM).is_some() && record.get(ITEM).is_blank() {
                    let n = items.entry(record.address()).and_modify(|n| *n += 1).or_insert(1);
                    record.set(ITEM, Value::Count(*n));
                }
                let (here, rest) = left.into_iter().partition(|late| late.means(&record));
                let (here, line): (Vec<&Late>, u64) = (here, reader.line());
                here.into_iter().for_each(|late| self.fault(source, line, late.fault.clone()));
                left = rest;
            }
            left.into_iter().for_each(|late| self.fault(source, 0, late.fault.clone()));
        }
        Ok(())
    }

    fn one_file(&mut self, source: &SourceFile, progress: &mut dyn FnMut(u64, u64, &str)) -> Result<()> {
        let mut reader = match Reader::new(opened(source)?, source.kind, self.load.own()) {
            Ok(reader) => reader,
            Err(found) => {
                self.causes.files.insert(source.kind.name, self.out.faults.len());
                found.into_iter().for_each(|f| self.fault(source, 1, f));
                return Ok(());
            }
        };
        reader.takes(&self.relabelled);
        // A row has about so many bytes; room for too many tags would cost memory.
        self.load.begin(source.kind, (source.bytes / 96) as usize, |field| reader.has(field))?;
        let mut waiting = Vec::new();
        let mut rows = 0_u64;
        loop {
            match reader.advance() {
                Ok(true) => {}
                Ok(false) => break,
                Err(fault) => {
                    self.fault(source, reader.line(), fault);
                    break;
                }
            }
            rows += 1;
            if rows.is_multiple_of(20_000) {
                progress(self.done + reader.bytes(), self.total, &source.name);
            }
            let mut faults = Vec::new();
            let record = reader.record(&mut faults);
            let line = reader.line();
            if !faults.is_empty() {
                let tag = record.tag().map(tag::folded);
                self.row_faults(source, line, tag, faults);
                continue;
            }
            // A lot may be split from one that stands further down: such rows wait for the end of the file.
            if split_from(&record).is_some() {
                waiting.push((line, record.owned()));
                continue;
            }
            self.take(source, line, record)?;
        }
        self.split_lots(source, waiting)?;
        let written = self.load.end(self.out.faults.is_empty())?;
        if written > 0 {
            self.out.records.insert(source.kind.name, written);
        }
        Ok(())
    }

    /// Each pass writes what the one before made possible; what is left after them is at fault.
    fn split_lots(&mut self, source: &SourceFile, mut waiting: Vec<(u64, Record<'static>)>) -> Result<()> {
        while !waiting.is_empty() {
            let known: Vec<String> = waiting.iter().filter_map(|(_, r)| r.tag().map(tag::folded)).collect();
            let (ready, rest): (Vec<_>, Vec<_>) = waiting
                .into_iter()
                .partition(|(_, r)| split_from(r).is_none_or(|from| !known.contains(&tag::folded(from))));
            if ready.is_empty() {
                let all: Vec<&Record> = rest.iter().map(|(_, r)| r).collect();
                for (line, record) in &rest {
                    let from = split_from(record).unwrap_or_default();
                    let message = format!("a record cannot be its own ancestor: {}", ring(record, &all));
                    self.fault(source, *line, Fault::new(WaxLots::split_from.name, from, message));
                }
                return Ok(());
            }
            for (line, record) in ready {
                self.take(source, line, record)?;
            }
            waiting = rest;
        }
        Ok(())
    }

    fn take(&mut self, source: &SourceFile, line: u64, record: Record) -> Result<()> {
        let tag = record.tag().map(str::to_string);
        match self.load.row(record)? {
            Outcome::Written => {}
            Outcome::Unchanged => self.out.unchanged += 1,
            Outcome::Proposed => (self.out.proposals, self.out.proposal) = (self.out.proposals + 1, true),
            Outcome::Faults(faults) => {
                self.row_faults(source, line, tag.as_deref().map(tag::folded), faults);
            }
        }
        Ok(())
    }
}

/// The lot that a lot of wax was split from.
fn split_from<'r>(record: &'r Record) -> Option<&'r str> {
    record.of::<WaxLots>()?.get(WaxLots::split_from)
}

/// From a lot up the lots that it was split from, until one stands there again.
fn ring(start: &Record, all: &[&Record]) -> String {
    let mut path = vec![start.tag().unwrap_or_default()];
    let mut at = start;
    loop {
        let from = split_from(at).unwrap_or_default();
        let again = path.iter().any(|t| t.eq_ignore_ascii_case(from));
        path.push(from);
        match all.iter().find(|r| r.tag().is_some_and(|t| t.eq_ignore_ascii_case(from))) {
            Some(next) if !again => at = next,
            _ => return path.join(" < "),
        }
    }
}
