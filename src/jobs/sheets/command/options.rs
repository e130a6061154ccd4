//! What a person says of a sheet on the command line, and the choices that it makes.

use crate::jobs::sheets::ask::{Habits, Mapping, Order};
use crate::jobs::sheets::texts::{TitleRows, pairs, title_rows, word};
use records::Result;

/// What is said of a sheet and of the way in which it is written.
#[derive(clap::Args, Clone, Debug, Default)]
pub struct SheetOptions {
    /// The row of the titles, from 1, or the rows as 2-3
    #[arg(long, value_name = "ROW", value_parser = title_rows)]
    pub header: Option<TitleRows>,
    /// The sheet; else the only visible one
    #[arg(long)]
    pub sheet: Option<String>,
    /// The table, where several stand on the sheet: its name or number
    #[arg(long)]
    pub table: Option<String>,
    /// What is the same in every row
    #[arg(long, value_name = "FIELD=VALUE")]
    pub fill: Vec<String>,
    /// What a word of the sheet means: result:OK=accept
    #[arg(long, value_name = "FIELD:THEIRS=OURS")]
    pub word: Vec<String>,
    /// Leave out rows in which this field's column is blank
    #[arg(long, value_name = "FIELD")]
    pub only: Vec<String>,
    /// What the sheet writes where nothing was recorded
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    pub blank: Vec<String>,
    /// Tags for what has none of its own in the sheet: {blade}-{method}-{n}; {n} counts, {row} is the row
    #[arg(long, value_name = "PATTERN")]
    pub tag: Option<String>,
    /// Numbers have a decimal comma
    #[arg(long)]
    pub decimal_comma: bool,
    /// The mark that parts no decimals parts thousands, as in 1.450 with decimal commas
    #[arg(long)]
    pub thousands: bool,
    /// How 3.11.2031 is read
    #[arg(long, value_parser = ["day-first", "month-first"])]
    pub dates: Option<String>,
    /// The shop's clock, with summer time, where a time has no offset to UTC: Europe/Berlin
    #[arg(long, value_name = "ZONE", conflicts_with = "offset")]
    pub zone: Option<String>,
    /// The same, of a clock that never changes: +01:00
    #[arg(long, value_name = "OFFSET", allow_hyphen_values = true)]
    pub offset: Option<String>,
    /// The time of day for a date alone: 00:00; the note says that it is not known
    #[arg(long, value_name = "TIME")]
    pub hour: Option<String>,
}

impl SheetOptions {
    /// As a mapping of this kind and these columns; the titles stand in the first row where nothing is said.
    ///
    /// # Errors
    /// A text that is not what belongs there.
    pub fn mapping(&self, kind: &str, columns: &[String]) -> Result<Mapping> {
        let header = self.header.unwrap_or((1, None));
        let order = |d: &str| if d == "day-first" { Order::DayFirst } else { Order::MonthFirst };
        Ok(Mapping {
            kind: kind.to_string(),
            header: header.0,
            header_to: header.1.filter(|to| *to != header.0),
            tag: self.tag.clone(),
            sheet: self.sheet.clone(),
            table: self.table.clone(),
            columns: pairs(columns, "FIELD=COLUMN")?,
            fill: pairs(&self.fill, "FIELD=VALUE")?,
            words: self.word.iter().map(|w| word(w)).collect::<Result<_>>()?,
            only: self.only.clone(),
            habits: Habits {
                decimal_comma: self.decimal_comma,
                thousands: self.thousands,
                dates: self.dates.as_deref().map(order),
                offset: self.offset.clone(),
                zone: self.zone.clone(),
                hour: self.hour.clone(),
                blanks: self.blank.clone(),
            },
        })
    }
}
