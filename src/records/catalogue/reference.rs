//! The field reference, made from the catalogue.

use crate::catalogue;
use crate::catalogue::field::{FieldInfo, Hand, Type};
use crate::catalogue::kind::Writer;

/// The field reference as Markdown: every kind with its fields, types, units, guards.
pub fn field_reference() -> String {
    let mut out = String::from(
        "# Record kinds and their fields\n\n\
         Made from the catalogue in `src/records/catalogue/`; a test holds this page current.\n\n\
         `*` belongs to the key · `?` may be blank, `n/a` or `illegible` · a number may be `<x` · every kind also\n\
         takes `recorded_at?`, `recorded_by?`, `note?`. A guard is no specification: outside it a reason is asked for.\n",
    );
    for kind in catalogue::all() {
        out.push_str(&format!(
            "\n## {} ({})\n\n{} Station: {}.",
            kind.name, kind.noun, kind.about, kind.station
        ));
        match kind.writer {
            Writer::Anyone => {}
            Writer::Quality => out.push_str(" Written by quality, once the store has a quality person."),
            Writer::QualityOrMetallurgist => {
                out.push_str(" Written by quality or a metallurgist, once the store has one of them.");
            }
            Writer::Decision => {
                out.push_str(
                    " Decided by quality, once the store has a quality person; never without a name.",
                );
            }
            Writer::QualityUnless(field, word) => out.push_str(&format!(
                " Written by quality, once the store has a quality person; by anyone where {field} is {word}."
            )),
        }
        let fields = |hands: &[Hand]| -> Vec<&str> {
            kind.handed().filter(|f| hands.contains(&f.hand)).map(|f| f.name).collect()
        };
        if matches!(kind.writer, Writer::Anyone | Writer::QualityUnless(..)) {
            let filled = fields(&[Hand::Quality, Hand::Decision]);
            if !filled.is_empty() {
                out.push_str(&format!(" {} by quality.", filled.join(", ")));
            }
            let changed = fields(&[Hand::QualityChanges]);
            if !changed.is_empty() {
                out.push_str(&format!(" {} changed by quality only.", changed.join(", ")));
            }
        }
        out.push_str("\n\n|field|holds|guard|\n|-|-|-|\n");
        for field in kind.fields {
            let mark = if field.key { "\\*" } else { "" };
            let optional = if field.optional { "?" } else { "" };
            let guard = match field.guard {
                Some((low, high)) => format!("{low} to {high}"),
                None => String::new(),
            };
            out.push_str(&format!("|{}{mark}{optional}|{}|{guard}|\n", field.name, holds(field)));
        }
    }
    out
}

fn holds(field: &FieldInfo) -> String {
    let mut out = match field.ty {
        Type::Tag => "tag".to_string(),
        Type::Text => "text".into(),
        Type::Number if field.unit().is_empty() => "number".into(),
        Type::Number => format!("number, {}", field.unit()),
        Type::Count => "whole number".into(),
        Type::Time => "time".into(),
        Type::Date => "date".into(),
        Type::Moment => "date or time".into(),
        Type::Choice(words) => words.join(", "),
        Type::Ref(kinds) => format!("tag of {}", kinds.join(" or ")),
        Type::AnyTag => "tag of any record".into(),
        Type::RevisionOf(of) => format!("revision of {of}"),
    };
    if field.parent {
        out.push_str("; a parent");
    }
    if field.cause {
        out.push_str("; a candidate cause");
    }
    out
}
