//! One record: a value for each field of its kind, and for a foundry's own fields.

use std::borrow::Cow;

use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::value::Value;
use crate::value::stamp::Stamp;

/// The revision of a definition that a field of a record is tied to. It is settled when the record is
/// written, and a later revision changes nothing about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Tie<'a> {
    /// Position of the field.
    pub field: usize,
    /// The revision; blank is one too.
    pub revision: Cow<'a, str>,
    /// Somebody named it, and it stands in the field's text: `TAG@REV`. Else that is the tag alone.
    pub typed: bool,
}

/// A record of a kind. `values` stand in the order of [`Kind::all_fields`].
#[derive(Clone, Debug)]
pub struct Record<'a> {
    pub kind: &'static Kind,
    /// A value for each field.
    pub values: Vec<Value<'a>>,
    /// Values of a foundry's own fields, by name.
    pub own: Vec<(String, Value<'a>)>,
    /// The revisions of definitions that its fields refer to.
    pub tied: Vec<Tie<'a>>,
}

impl<'a> Record<'a> {
    /// A record with every field blank.
    pub fn blank(kind: &'static Kind) -> Self {
        Self { kind, values: vec![Value::Blank; kind.fields.len() + 3], own: Vec::new(), tied: Vec::new() }
    }

    /// The value of a field; blank for a field that the kind does not have.
    pub fn get(&self, field: &str) -> &Value<'a> {
        const BLANK: Value<'static> = Value::Blank;
        match self.kind.index(field) {
            Some(i) => &self.values[i],
            None => self.own.iter().find(|(name, _)| name == field).map_or(&BLANK, |(_, v)| v),
        }
    }

    /// Sets a field of the kind; nothing happens for a field that it does not have.
    pub fn set(&mut self, field: &str, value: Value<'a>) {
        if let Some(i) = self.kind.index(field) {
            self.values[i] = value;
        }
    }

    /// Says when and by whom it is typed in.
    pub fn set_recorded(&mut self, at: Stamp, by: Option<String>) {
        let n = self.kind.fields.len();
        self.values[n] = Value::Time(at, None);
        self.values[n + 1] = by.map_or(Value::Blank, |person| Value::Text(person.into()));
    }

    pub fn set_note(&mut self, note: impl Into<Cow<'a, str>>) {
        self.values[self.kind.fields.len() + 2] = Value::Text(note.into());
    }

    /// The tag as text, where it has one.
    pub fn tag(&self) -> Option<&str> {
        self.kind.tag_field().and_then(|f| self.get(f.name).text())
    }

    /// When it was typed in.
    pub fn recorded_at(&self) -> Option<Stamp> {
        self.values.get(self.kind.fields.len()).and_then(Value::time)
    }

    /// Who typed it in.
    pub fn recorded_by(&self) -> Option<&str> {
        self.values.get(self.kind.fields.len() + 1).and_then(Value::text)
    }

    pub fn note(&self) -> Option<&str> {
        self.values.get(self.kind.fields.len() + 2).and_then(Value::text)
    }

    /// The revision of a definition.
    pub fn revision(&self) -> Option<&str> {
        self.get(REVISION).text().filter(|_| self.kind.revisioned)
    }

    /// The record's own time: that of its time field, else when it was typed in.
    pub fn own_time(&self) -> Option<Stamp> {
        let of = |name: &str| match self.get(name) {
            Value::Time(t, _) => Some(*t),
            Value::Text(date) => Stamp::parse_date(date).ok(),
            _ => None,
        };
        self.kind.time.and_then(of).or_else(|| self.recorded_at())
    }

    /// Minutes from the record's own time to when it was typed in, where both are known.
    pub fn delay_min(&self) -> Option<f64> {
        let own = self.kind.time.and_then(|f| self.get(f).time())?;
        Some(self.recorded_at()?.minutes_since(own))
    }

    /// Typed in later than its kind allows.
    pub fn is_late(&self) -> bool {
        matches!((self.kind.late_min, self.delay_min()), (Some(limit), Some(delay)) if delay > limit)
    }

    /// The tag (`TAG@REV` for a revision of a definition), or the address of a record without one:
    /// `coats:M31-070/4`.
    pub fn address(&self) -> String {
        self.write_address(true)
    }

    /// The address as it was before it named every revision: only those that were typed.
    pub fn address_as_typed(&self) -> String {
        self.write_address(false)
    }

    fn write_address(&self, every: bool) -> String {
        if let Some(tag) = self.tag() {
            return match self.revision() {
                Some(revision) => format!("{tag}@{revision}"),
                None => tag.to_string(),
            };
        }
        let mut out = format!("{}:", self.kind.name);
        for (i, field) in self.kind.key_fields().enumerate() {
            if i > 0 {
                out.push('/');
            }
            match self.kind.index(field.name).and_then(|i| self.full(i)).filter(|_| every) {
                Some(full) => out.push_str(&full),
                None => self.get(field.name).write(&mut out),
            }
            let revision = self.kind.fields.iter().find(|f| f.ty == Type::RevisionOf(field.name));
            if let Some(revision) = revision.and_then(|f| self.get(f.name).text()) {
                out.push('@');
                out.push_str(revision);
            }
        }
        out
    }

    /// The revision that a field is tied to.
    pub fn tie(&self, field: usize) -> Option<&Tie<'a>> {
        self.tied.iter().find(|t| t.field == field)
    }

    /// The value of a field as bundles and canonical texts hold it, where that is not its text: a
    /// definition whose revision nobody named, with its revision.
    pub fn full(&self, field: usize) -> Option<String> {
        let tie = self.tie(field).filter(|t| !t.typed)?;
        Some(format!("{}@{}", self.values[field].text()?, tie.revision))
    }

    /// Fields whose revision nobody named, by name, with blanks between.
    pub fn untyped(&self) -> String {
        let names = self.tied.iter().filter(|t| !t.typed).map(|t| self.kind.fields[t.field].name);
        names.collect::<Vec<_>>().join(" ")
    }

    /// The record as one line of text that is the same for the same content: the kind, then a JSON
    /// object of all fields that are not blank, names in alphabetical order, values as bundles hold
    /// them: a definition always with its revision. Its SHA-256 is the record's digest.
    pub fn canonical(&self, order: &[usize], out: &mut String) {
        self.write_canonical(order, true, out);
    }

    /// The canonical text as it was before it named every revision: only those that were typed.
    pub fn canonical_as_typed(&self, order: &[usize], out: &mut String) {
        self.write_canonical(order, false, out);
    }

    fn write_canonical(&self, order: &[usize], every: bool, out: &mut String) {
        out.push_str(self.kind.name);
        out.push_str(" {");
        let mut own = self.own.iter().filter(|(_, v)| !v.is_blank()).peekable();
        let mut first = true;
        let mut put = |name: &str, value: &Value, out: &mut String| {
            if !first {
                out.push(',');
            }
            first = false;
            out.push('"');
            out.push_str(name);
            out.push_str("\":");
            match value {
                Value::Text(t) => json_string(t, out),
                other => {
                    out.push('"');
                    other.write(out);
                    out.push('"');
                }
            }
        };
        for &i in order {
            let value = &self.values[i];
            if value.is_blank() {
                continue;
            }
            let name = field_name(self.kind, i);
            while let Some((own_name, own_value)) = own.next_if(|(n, _)| n.as_str() < name) {
                put(own_name, own_value, out);
            }
            match self.full(i).filter(|_| every) {
                None => put(name, value, out),
                Some(full) => put(name, &Value::Text(full.into()), out),
            }
        }
        for (name, value) in own {
            put(name, value, out);
        }
        out.push('}');
    }

    /// The same record, owning its text.
    pub fn owned(&self) -> Record<'static> {
        Record {
            kind: self.kind,
            values: self.values.iter().map(Value::owned).collect(),
            own: self.own.iter().map(|(n, v)| (n.clone(), v.owned())).collect(),
            tied: self
                .tied
                .iter()
                .map(|t| Tie { revision: Cow::Owned(t.revision.to_string()), ..*t })
                .collect(),
        }
    }
}

/// The field of a definition that says its revision: every kind with revisions has one of this name.
const REVISION: &str = "revision";

/// Positions of a kind's fields in alphabetical order of their names, for [`Record::canonical`].
pub fn alphabetical(kind: &Kind) -> Vec<usize> {
    let names: Vec<&str> = kind.all_fields().map(|f| f.name).collect();
    let mut order: Vec<usize> = (0..names.len()).collect();
    order.sort_by_key(|&i| names[i]);
    order
}

fn field_name(kind: &'static Kind, i: usize) -> &'static str {
    match kind.fields.get(i) {
        Some(f) => f.name,
        None => crate::catalogue::kind::COMMON[i - kind.fields.len()].name,
    }
}

/// A JSON string, escaped as SQLite's `json_quote` and serde do.
pub fn json_string(text: &str, out: &mut String) {
    out.push('"');
    if text.bytes().all(|b| b >= 0x20 && b != b'"' && b != b'\\') {
        out.push_str(text);
    } else {
        for c in text.chars() {
            match c {
                '"' => out.push_str("\\\""),
                '\\' => out.push_str("\\\\"),
                '\n' => out.push_str("\\n"),
                '\r' => out.push_str("\\r"),
                '\t' => out.push_str("\\t"),
                '\u{8}' => out.push_str("\\b"),
                '\u{c}' => out.push_str("\\f"),
                c if (c as u32) < 0x20 => out.push_str(&format!("\\u{:04x}", c as u32)),
                c => out.push(c),
            }
        }
    }
    out.push('"');
}
