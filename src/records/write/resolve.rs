//! References of a record to ids, and what is wrong with them.

use std::borrow::Cow;

use crate::catalogue::kind;
use crate::check::Fault;
use crate::error::Result;
use crate::read::rows::{Link, Resolved};
use crate::read::shape;
use crate::read::shape::Reference;
use crate::read::tags::{Tags, all_plain};
use crate::record::Tie;
use crate::value::words::articled;
use crate::{Record, Value};

/// Resolves every reference of a record. Faults name the column, the value and near matches. What the
/// record is tied to already stays so where its field still holds the tag alone.
pub fn resolve<'a>(mut record: Record<'a>, tags: &Tags) -> Result<(Resolved<'a>, Vec<Fault>)> {
    let mut links = vec![None; record.values.len()];
    let (mut named, mut faults) = (Vec::new(), Vec::new());
    for &(i, reference) in &shape::of(record.kind).references {
        let field = &record.kind.fields[i];
        let Some(text) = record.values[i].text() else { continue };
        match reference {
            Reference::Definition(target, revision) => {
                let exactly = |wanted: &str| -> Result<_> {
                    let all = tags.revisions(target, text)?;
                    Ok(all.into_iter().find(|r| r.revision == wanted).map(|r| (r, false)))
                };
                let asked = match (revision.map(|f| &record.values[f]), record.tie(i)) {
                    // The revision stands in its own column: exactly that one is meant.
                    (Some(value), _) => exactly(value.text().unwrap_or(""))?,
                    (None, Some(tie)) if !tie.typed => exactly(&tie.revision)?,
                    (None, _) => tags.definition(target, text, record.own_time())?,
                };
                let Some((found, by_name)) = asked else {
                    let mut message = tags.unknown(text, &[target.name])?;
                    let mut at = (field.name, text.to_string());
                    let revisions = tags.revisions(target, text.split('@').next().unwrap_or(text))?;
                    if !revisions.is_empty() {
                        let all: Vec<_> = revisions.iter().map(|r| format!("{:?}", r.revision)).collect();
                        message = format!("there is no such revision; there are {}", all.join(", "));
                        if let Some(f) = revision {
                            at = (record.kind.fields[f].name, record.values[f].to_text());
                        }
                    }
                    faults.push(Fault::new(at.0, &at.1, message));
                    continue;
                };
                links[i] = Some(Link { kind: target.name, id: found.id });
                let mut shown = found.tag;
                // A blank revision that was named is said by the tie alone.
                let typed = by_name && !found.revision.is_empty();
                if by_name {
                    named.push(i);
                }
                if typed {
                    shown = format!("{shown}@{}", found.revision);
                }
                if shown != text {
                    record.values[i] = Value::Text(Cow::Owned(shown));
                }
                if revision.is_none() {
                    tie(&mut record, i, found.revision, typed);
                }
            }
            Reference::Record(kinds) => match tags.find_in_turn(i, text, kinds)? {
                Some((link, primary)) => {
                    links[i] = Some(link);
                    if let Some(primary) = primary {
                        record.values[i] = Value::Text(Cow::Owned(primary));
                    }
                }
                None => faults.push(Fault::new(field.name, text, unknown(tags, text, kinds)?)),
            },
            Reference::Anything => match subject(&record, i, text, tags)? {
                Some((link, primary)) => {
                    links[i] = Some(link);
                    let mut shown = primary;
                    if let Some(found) = tags.revision_of(link)? {
                        let by_name =
                            shown.eq_ignore_ascii_case(&format!("{}@{}", found.tag, found.revision));
                        if by_name {
                            named.push(i);
                        }
                        let typed = by_name && !found.revision.is_empty();
                        if by_name && !typed {
                            shown = found.tag;
                        }
                        tie(&mut record, i, found.revision, typed);
                    }
                    if record.values[i].text() != Some(&shown) {
                        record.values[i] = Value::Text(Cow::Owned(shown));
                    }
                }
                None => faults.push(Fault::new(field.name, text, tags.unknown(text, all_plain())?)),
            },
        }
    }
    Ok((Resolved { record, links, named }, faults))
}

/// A subject of any kind; of a definition the revision that the record is tied to already.
fn subject(record: &Record, i: usize, text: &str, tags: &Tags) -> Result<Option<(Link, String)>> {
    match record.tie(i).filter(|t| !t.typed) {
        Some(tie) => {
            let found = tags.anything(&format!("{text}@{}", tie.revision))?;
            Ok(found.map(|(link, _)| (link, text.to_string())))
        }
        None => tags.anything(text),
    }
}

fn tie(record: &mut Record, field: usize, revision: String, typed: bool) {
    record.tied.retain(|t| t.field != field);
    record.tied.push(Tie { field, revision: Cow::Owned(revision), typed });
}

/// A tag that leads nowhere, or to a record of another kind.
fn unknown(tags: &Tags, text: &str, kinds: &'static [&'static str]) -> Result<String> {
    if let Some((link, _)) = tags.anything(text)? {
        if let (Some(is), Some(want)) = (kind(link.kind), kind(kinds[0])) {
            return Ok(format!("is the tag of {}; {} belongs here", articled(is.noun), articled(want.noun)));
        }
    }
    tags.unknown(text, kinds)
}
