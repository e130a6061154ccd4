//! A pattern of tags for what has none of its own in a sheet.

use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;

/// A pattern for a kind whose tag stands in no column: what it is of, its day, and a count. None where the kind has no
/// tag, or nothing that is filled would tell one record from another.
pub fn pattern(kind: &Kind, filled: &[&str]) -> Option<String> {
    let tag = kind.tag_field()?;
    let fields = || kind.fields.iter().filter(|f| f.name != tag.name && filled.contains(&f.name));
    let of = fields().find(|f| matches!(f.ty, Type::Ref(_) | Type::AnyTag) && !f.optional);
    let when = fields().find(|f| kind.time == Some(f.name));
    if of.is_none() && when.is_none() {
        return None;
    }
    let short: String = kind.noun.chars().take(2).collect::<String>().to_uppercase();
    let parts = [of, when].into_iter().flatten().map(|f| format!("{{{}}}", f.name));
    Some([short].into_iter().chain(parts).chain(["{n}".to_string()]).collect::<Vec<_>>().join("-"))
}
