//! What would help with a shop's own sheet, as options and commands.

use records::exchange::unread::SheetHint;
use records::value::tag::shown;

/// As a shell takes it.
pub fn quoted(text: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "._-/=+:#%".contains(c);
    if !text.is_empty() && text.chars().all(plain) {
        return shown(text).into_owned();
    }
    format!("'{}'", shown(text).replace('\'', r"'\''"))
}

/// Behind a sentence.
pub fn helping(hint: &SheetHint) -> String {
    match hint {
        SheetHint::Take => "; a sheet of your own: meltkin sheet take FILE".into(),
        SheetHint::Sheets(names) => {
            let each: Vec<String> = names.iter().map(|n| format!("--sheet {}", quoted(n))).collect();
            format!(": {}", each.join(" or "))
        }
        SheetHint::Tables => ": --table NAME or its number".into(),
        SheetHint::Titles => ": --header 2, or --header 2-3 for the first and the last of several".into(),
        SheetHint::Dates => ": --dates day-first or --dates month-first says which".into(),
        SheetHint::Marks => {
            ": --decimal-comma, if that is the decimal mark of this sheet; --thousands, if the other mark parts \
             thousands; else write it without"
                .into()
        }
        SheetHint::Clock => {
            ": --zone Europe/Berlin says which clock the shop keeps, or --offset +01:00 one that never changes".into()
        }
        SheetHint::Hour => {
            ": --hour 00:00 takes the start of the day, and says so in the note; COLUMN+COLUMN joins a date and a \
             time of day"
                .into()
        }
        SheetHint::Fill => {
            ": FIELD=COLUMN, or --fill FIELD=VALUE where it is the same in every row".into()
        }
        SheetHint::Column(field) => format!(": {}=COLUMN", shown(field)),
    }
}
