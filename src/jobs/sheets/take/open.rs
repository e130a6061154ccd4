//! What of a sheet nobody has said yet: how it is asked, which option says it, and what an answer changes.

use serde::Serialize;

use crate::cli::sheet_hints::{helping, quoted};
use crate::jobs::sheets::ask::Order;
use crate::jobs::sheets::take::plan::Choices;
use crate::jobs::sheets::texts::pairs;
use records::Hint;
use records::check::Fault;
use records::exchange::unread::SheetHint;
use records::value::tag::shown;

/// Something that is open.
#[derive(Debug, Clone, PartialEq)]
pub enum Open {
    /// Which of several sheets.
    Sheet(Vec<String>),
    /// Which of several tables.
    Table(Vec<String>),
    /// Which kind of record; the likeliest.
    Kind(Vec<&'static str>),
    /// A field that must be filled, and the column that may hold it.
    Unsure(String, String),
    /// A field that must be filled.
    Fill(String),
    /// The tag of what has none in the sheet, and a pattern for it.
    Tag(String, Option<String>),
    /// A date that may be read in two ways: its column and it, and how.
    Dates(String, String),
    /// A number that may be read in two ways: it, its column, and how.
    Marks(String, String, String),
    /// Times stand without their offset, such as this.
    Clock(String),
    /// Dates stand where times belong, such as this.
    Hour(String),
    /// A word of the sheet that a field does not have.
    Word { field: String, theirs: String, ours: &'static [&'static str], meant: Option<&'static str> },
}

impl Serialize for Open {
    /// What is open, and the option that says it.
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        use serde::ser::SerializeStruct;
        let mut out = serializer.serialize_struct("Open", 2)?;
        out.serialize_field("open", &self.sentence())?;
        out.serialize_field("option", self.option().trim_start_matches([':', ';', ' ']))?;
        out.end()
    }
}

impl Open {
    /// What a fault asks for that one answer settles.
    pub(super) fn of(fault: &Fault) -> Option<Self> {
        let value = || fault.value.trim().to_string();
        let at = || format!("{} = {}", fault.column, value());
        Some(match fault.hint.as_ref()? {
            Hint::Sheet(SheetHint::Dates) => Self::Dates(at(), readings(&fault.message)),
            Hint::Sheet(SheetHint::Marks) => {
                Self::Marks(value(), fault.column.clone(), readings(&fault.message))
            }
            Hint::Sheet(SheetHint::Clock) => Self::Clock(at()),
            Hint::Sheet(SheetHint::Hour) => Self::Hour(at()),
            _ => return None,
        })
    }

    /// Its turn: how dates are read comes before the clock that they are of, the columns before their cells.
    pub(super) fn turn(&self) -> u8 {
        match self {
            Self::Sheet(_) | Self::Table(_) | Self::Kind(_) => 0,
            Self::Unsure(..) | Self::Fill(_) => 1,
            Self::Tag(..) => 2,
            Self::Word { .. } => 3,
            Self::Dates(..) => 4,
            Self::Clock(_) => 5,
            Self::Hour(_) => 6,
            Self::Marks(..) => 7,
        }
    }

    /// What is open, in a sentence without its end.
    pub(super) fn sentence(&self) -> String {
        match self {
            Self::Sheet(all) => format!("it has several sheets, {}", list(all)),
            Self::Table(all) => {
                let all: Vec<String> = (1..).zip(all).map(|(n, t)| format!("{n}: {t}")).collect();
                format!("it has several tables, {}", list(&all))
            }
            Self::Kind(likely) if likely.is_empty() => "nothing shows which kind of record it holds".into(),
            Self::Kind(likely) => format!("it may hold {}", likely.join(" or ")),
            Self::Unsure(field, column) => {
                format!("{} may be {field}, and nothing shows it for sure", shown(column))
            }
            Self::Fill(field) => format!("{field} must be filled, and no column seems to hold it"),
            Self::Tag(field, _) => format!("no column holds a tag of their own ({field})"),
            Self::Dates(value, readings) => format!("{} {readings}", shown(value)),
            Self::Marks(value, column, readings) => {
                format!("{} = {} {readings}", shown(column), shown(value))
            }
            Self::Clock(value) => {
                format!("{} has no offset to UTC", shown(value))
            }
            Self::Hour(value) => format!("{} has no time of day, and a time belongs there", shown(value)),
            Self::Word { field, theirs, ours, .. } => {
                format!("{field} is one of {}; the sheet says {}", ours.join(", "), shown(theirs))
            }
        }
    }

    /// What says it on the command line, behind the sentence.
    pub(super) fn option(&self) -> String {
        match self {
            Self::Sheet(all) => helping(&SheetHint::Sheets(all.clone())),
            Self::Table(_) => format!("{}, or --table all for one table", helping(&SheetHint::Tables)),
            Self::Kind(_) => ": --kind KIND".into(),
            Self::Unsure(field, column) => format!(": {field}={}, or --fill {field}=VALUE", quoted(column)),
            Self::Fill(field) => {
                format!(": {field}=COLUMN, or --fill {field}=VALUE where it is the same in every row")
            }
            Self::Tag(field, pattern) => {
                let pattern = pattern.clone().unwrap_or_else(|| "PATTERN".into());
                format!(": {field}=COLUMN, or made by a pattern: --tag {}", quoted(&pattern))
            }
            Self::Dates(..) => helping(&SheetHint::Dates),
            Self::Marks(..) => helping(&SheetHint::Marks),
            Self::Clock(_) => helping(&SheetHint::Clock),
            Self::Hour(_) => helping(&SheetHint::Hour),
            Self::Word { field, theirs, meant, .. } => {
                let word = format!("{field}:{theirs}={}", meant.unwrap_or("WORD"));
                format!(": --word {}, or --blank {} where nothing is recorded", quoted(&word), quoted(theirs))
            }
        }
    }

    /// The question that a person answers, and the answer that Enter gives.
    pub(super) fn question(&self, clock: &str) -> (String, Option<String>) {
        let sentence = self.sentence();
        let some = |t: &str| Some(t.to_string());
        match self {
            Self::Sheet(all) => (format!("{sentence}. Which one?"), all.first().cloned()),
            Self::Table(_) => (format!("{sentence}. Which one (all: the sheet is one table)?"), some("1")),
            Self::Kind(likely) => {
                (format!("{sentence}. Which kind of record?"), likely.first().and_then(|k| some(k)))
            }
            Self::Unsure(field, column) => (
                format!("{sentence}. {field} =COLUMN, or a value for every row?"),
                some(&format!("={column}")),
            ),
            Self::Fill(field) => (format!("{sentence}. {field} =COLUMN, or a value for every row?"), None),
            Self::Tag(field, pattern) => {
                let ask =
                    format!("{sentence}. {field} =COLUMN, or a pattern ({{n}} counts, {{row}} is the row)?");
                (ask, pattern.clone())
            }
            Self::Dates(..) => (format!("{sentence}. day-first or month-first?"), some(DAY_FIRST)),
            Self::Marks(value, ..) => {
                let whole = value.replace([',', '.'], "");
                let ask = format!("{sentence}. Which, of this whole sheet: thousands ({whole}) or decimals?");
                (ask, some(if value.contains('.') { "thousands" } else { "decimals" }))
            }
            Self::Clock(_) => {
                let ask = "Which clock does the shop keep: a zone as Europe/Berlin, or an offset as +01:00?";
                (format!("{sentence}. {ask}"), some(clock))
            }
            Self::Hour(_) => (
                format!("{sentence}. Which hour is taken (each note says that it is not known)?"),
                some("00:00"),
            ),
            Self::Word { meant, .. } => {
                (format!("{sentence}. Which is it (- for nothing recorded)?"), meant.and_then(some))
            }
        }
    }

    /// Takes an answer over into what was said.
    ///
    /// # Errors
    /// What would be an answer.
    pub(super) fn answer(&self, text: &str, said: &mut Choices) -> Result<(), String> {
        let text = text.trim();
        match self {
            Self::Sheet(all) => {
                let number = text.parse::<usize>().ok().and_then(|n| all.get(n.checked_sub(1)?));
                let named = all.iter().find(|s| s.eq_ignore_ascii_case(text));
                said.by.sheet = Some(named.or(number).ok_or(format!("one of {}", list(all)))?.clone());
            }
            Self::Table(_) => said.by.table = Some(text.to_string()),
            Self::Kind(_) => {
                said.kind = Some(records::catalogue::find(text)?.name.to_string());
            }
            Self::Unsure(field, _) | Self::Fill(field) => fill(field, text, said),
            Self::Tag(field, _) => match text.starts_with('=') {
                true => fill(field, text, said),
                false => said.by.tag = Some(text.to_string()),
            },
            Self::Dates(..) => {
                said.by.habits.dates = Some(match text {
                    DAY_FIRST | "d" | "day" => Order::DayFirst,
                    MONTH_FIRST | "m" | "month" => Order::MonthFirst,
                    _ => return Err(format!("{DAY_FIRST} or {MONTH_FIRST}")),
                });
            }
            Self::Marks(value, ..) => {
                let point = value.contains('.');
                match (text, point) {
                    ("thousands" | "t", _) => {
                        (said.by.habits.thousands, said.by.habits.decimal_comma) = (true, point)
                    }
                    ("decimals" | "d", false) => said.by.habits.decimal_comma = true,
                    ("decimals" | "d", true) => {
                        return Err(
                            "decimal commas stand in this column too: then the sheet is to be put right"
                                .into(),
                        );
                    }
                    _ => return Err("thousands or decimals".into()),
                }
            }
            Self::Clock(_) => {
                let habits = &mut said.by.habits;
                let offset = text.starts_with(['+', '-']);
                (habits.offset, habits.zone) =
                    if offset { (Some(text.into()), None) } else { (None, Some(text.into())) };
                return said.by.habits.check().map_err(|e| e.message);
            }
            Self::Hour(_) => {
                said.by.habits.hour = Some(text.into());
                return said.by.habits.check().map_err(|e| e.message);
            }
            Self::Word { field, theirs, ours, .. } => {
                match ours.iter().find(|o| o.eq_ignore_ascii_case(text)) {
                    Some(word) => said.by.words.push((field.clone(), theirs.clone(), (*word).to_string())),
                    None if text == "-" => said.by.words.push((field.clone(), theirs.clone(), String::new())),
                    None => return Err(format!("one of {}", ours.join(", "))),
                }
            }
        }
        Ok(())
    }
}

pub(super) const DAY_FIRST: &str = "day-first";
pub(super) const MONTH_FIRST: &str = "month-first";

/// `=COLUMN`, or a value.
fn fill(field: &str, text: &str, said: &mut Choices) {
    match text.strip_prefix('=') {
        Some(column) => set_column(field, column.trim(), said),
        None => {
            set_column(field, "", said);
            said.by.columns.retain(|c| c.0 != field);
            said.by.fill.push((field.to_string(), text.to_string()));
        }
    }
}

fn set_column(field: &str, column: &str, said: &mut Choices) {
    said.by.columns.retain(|c| c.0 != field);
    said.by.fill.retain(|f| f.0 != field);
    said.by.columns.push((field.to_string(), column.to_string()));
}

/// `FIELD=COLUMN`, an empty column for none, several with commas between them.
///
/// # Errors
/// What would be an answer.
pub(super) fn set_columns(text: &str, said: &mut Choices) -> Result<(), String> {
    let parts: Vec<String> =
        text.split(',').map(|p| p.trim().to_string()).filter(|p| !p.is_empty()).collect();
    for (field, column) in pairs(&parts, "FIELD=COLUMN").map_err(|e| e.sentence)? {
        set_column(&field, &column, said);
    }
    Ok(())
}

fn list(all: &[String]) -> String {
    all.iter().map(|s| shown(s)).collect::<Vec<_>>().join(", ")
}

/// What a fault says behind the name of its field, without how many ask the same.
fn readings(message: &str) -> String {
    let behind = message.split_once(": ").map_or(message, |m| m.1);
    behind.split(';').next().unwrap_or_default().to_string()
}
