//! How a kind lies in its table: the SQL that the catalogue makes.

use std::sync::OnceLock;

use crate::catalogue;
use crate::catalogue::field::{FieldInfo, Type};
use crate::catalogue::kind::Kind;
use crate::catalogue::typed::{Field, KindType, Kinds, Ref};
use crate::record;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ColumnRole {
    /// The field's value itself.
    Plain,
    /// The id of a record of this kind.
    Id(&'static str),
    /// The name of the kind of the subject.
    SubjectKind,
    SubjectId,
}

/// A column of a field.
#[derive(Clone, Debug)]
pub struct Column {
    /// Position of the field among all fields of the kind.
    pub field: usize,
    /// Name in the table.
    pub name: String,
    /// What it holds.
    pub role: ColumnRole,
}

/// What a field refers to.
#[derive(Clone, Copy, Debug)]
pub enum Reference {
    /// A definition, and the field that names its revision where there is one.
    Definition(&'static Kind, Option<usize>),
    /// A record of one of these kinds.
    Record(&'static [&'static str]),
    /// A record of any kind.
    Anything,
}

/// The table of a kind.
#[derive(Debug)]
pub struct KindTable {
    pub kind: &'static Kind,
    /// The columns of the fields, in order, the common three last.
    pub columns: Vec<Column>,
    /// Has an integer key of its own.
    pub has_id: bool,
    /// `SELECT id?, columns…, extra, entry, digest FROM table`.
    pub select: String,
    /// `INSERT INTO table (…) VALUES (…)`.
    pub insert: String,
    /// Positions of the fields in alphabetical order, for the canonical text.
    pub order: Vec<usize>,
    /// A field of its key is spread over several columns, of which one is filled.
    pub split_key: bool,
    /// The columns of the key of a kind without tag.
    pub key: Vec<usize>,
    /// The fields that refer to other records.
    pub references: Vec<(usize, Reference)>,
    /// Position of the field with the record's own tag.
    pub tag: Option<usize>,
    /// Position of the note.
    pub note: usize,
}

impl KindTable {
    fn new(kind: &'static Kind) -> Self {
        let mut columns = Vec::new();
        for (field, f) in kind.all_fields().enumerate() {
            for (i, name) in f.columns().into_iter().enumerate() {
                let role = match f.ty {
                    Type::Ref(kinds) => ColumnRole::Id(kinds[i]),
                    Type::AnyTag if i == 0 => ColumnRole::SubjectKind,
                    Type::AnyTag => ColumnRole::SubjectId,
                    _ => ColumnRole::Plain,
                };
                columns.push(Column { field, name, role });
            }
        }
        // A charge has one of two sources, a finish step one of two subjects: their key is an expression, their row has an
        // id.
        let split_key =
            !kind.tagged() && kind.key_fields().any(|f| matches!(f.ty, Type::Ref(kinds) if kinds.len() > 1));
        let has_id = kind.tagged() || split_key;
        let mut names: Vec<String> = columns.iter().map(|c| format!("\"{}\"", c.name)).collect();
        names.extend(["extra", "entry", "digest"].map(String::from));
        if has_id {
            names.insert(0, "id".into());
        }
        let list = names.join(", ");
        let marks = (1..=names.len()).map(|i| format!("?{i}")).collect::<Vec<_>>().join(", ");
        let all: Vec<_> = kind.all_fields().collect();
        let key = (0..columns.len()).filter(|&c| all[columns[c].field].key).collect();
        let references = all.iter().enumerate().filter_map(|(i, f)| Some((i, refers(kind, f)?))).collect();
        Self {
            references,
            tag: all.iter().position(|f| f.ty == Type::Tag),
            note: all.len() - 1,
            kind,
            select: format!("SELECT {list} FROM {}", kind.name),
            insert: format!("INSERT INTO {} ({list}) VALUES ({marks})", kind.name),
            has_id,
            split_key,
            columns,
            order: record::alphabetical(kind),
            key,
        }
    }

    /// ` WHERE key = …`, with parameters from `?first` on: the id of a tagged record, else the
    /// columns of the key.
    pub fn by_key(&self, first: usize) -> String {
        if self.kind.tagged() {
            return format!(" WHERE id = ?{first}");
        }
        let parts: Vec<String> = self
            .key
            .iter()
            .enumerate()
            .map(|(i, &c)| format!("\"{}\" IS ?{}", self.columns[c].name, first + i))
            .collect();
        format!(" WHERE {}", parts.join(" AND "))
    }

    /// As [`KindTable::by_key`] for a kind without tag, but for the case of letters.
    pub fn by_key_in_any_case(&self, first: usize) -> String {
        let part = |(i, &c): (usize, &usize)| {
            let column = &self.columns[c];
            let any = if column.role == ColumnRole::Plain { " COLLATE NOCASE" } else { "" };
            format!("\"{}\" IS ?{}{any}", column.name, first + i)
        };
        let parts: Vec<String> = self.key.iter().enumerate().map(part).collect();
        format!(" WHERE {}", parts.join(" AND "))
    }

    /// The order in which rows are exported: by tag, or by the key.
    pub fn ordered(&self) -> &'static str {
        if self.has_id { " ORDER BY id" } else { "" }
    }
}

fn refers(kind: &'static Kind, field: &FieldInfo) -> Option<Reference> {
    match field.ty {
        Type::Ref([one]) => match crate::catalogue::kind(one).filter(|k| k.revisioned) {
            Some(target) => {
                let of = Type::RevisionOf(field.name);
                Some(Reference::Definition(target, kind.fields.iter().position(|f| f.ty == of)))
            }
            None => match field.ty {
                Type::Ref(kinds) => Some(Reference::Record(kinds)),
                _ => None,
            },
        },
        Type::Ref(kinds) => Some(Reference::Record(kinds)),
        Type::AnyTag => Some(Reference::Anything),
        _ => None,
    }
}

/// The column by which a field that may refer to several kinds refers to this one; none where it may not.
pub(crate) fn column_to<K: KindType, S: Kinds, P>(field: Field<K, Ref<S>, P>, kind: &str) -> Option<String> {
    S::NAMES.contains(&kind).then(|| K::KIND.fields[field.index].column_to(kind))
}

/// The tables of all kinds, in writing order.
pub fn all() -> &'static [KindTable] {
    static SHAPES: OnceLock<Vec<KindTable>> = OnceLock::new();
    SHAPES.get_or_init(|| catalogue::all().map(KindTable::new).collect())
}

/// The table of a kind.
pub fn of(kind: &Kind) -> &'static KindTable {
    &all()[catalogue::position(kind)]
}
