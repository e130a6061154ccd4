//! Test bars, treatments, revisions, files and checks of instruments, as tables.

use crate::jobs::lots::facts::Facts;
use crate::jobs::lots::reasons::samples;
use crate::jobs::lots::summary::{BarLimit, TextTable};
use records::catalogue::{
    Alloys, AnyField, Attachments, Calibrations, Holds, Inspections, KindType, Method, Parts, ProcessLimits,
    RunningSystems, ShellRecipes, TestBars, Treatments,
};
use records::read::typed::RowOf;
use records::{Result, Value};

/// A table of these fields, behind the records' own tags where their column has a name.
fn table<'b, K: KindType, const N: usize>(
    title: &str,
    note: &str,
    tag: Option<&str>,
    records: impl Iterator<Item = RowOf<'b, K>>,
    columns: [(&str, AnyField<K>); N],
) -> TextTable {
    let row = |r: RowOf<'b, K>| {
        let cells = columns.iter().map(|c| r.values[c.1.index].to_text());
        tag.map(|_| r.address()).into_iter().chain(cells).collect()
    };
    let head = tag.into_iter().chain(columns.iter().map(|c| c.0)).map(String::from).collect();
    let rows = std::iter::once(head).chain(records.map(row)).collect();
    TextTable { title: title.into(), note: note.into(), rows }
}

/// The table of what was read from test bars.
pub const BARS: &str = "Test bars";

const BAR_COLUMNS: [(&str, AnyField<TestBars>); 7] = [
    ("heat", TestBars::heat.any()),
    ("UTS MPa", TestBars::uts_mpa.any()),
    ("yield MPa", TestBars::yield_mpa.any()),
    ("elongation %", TestBars::elongation_pct.any()),
    ("rupture h", TestBars::rupture_h.any()),
    ("HRC", TestBars::hardness_hrc.any()),
    ("instrument", TestBars::instrument.any()),
];

/// The shop's limits for test bars: what stops, not what warns.
pub fn bar_limits(facts: &Facts) -> Vec<BarLimit> {
    let one = |r: RowOf<ProcessLimits>| {
        let field = r.text(ProcessLimits::field);
        let (property, _) = BAR_COLUMNS.iter().find(|c| c.1.name == field)?;
        let (min, max) = (r.get(ProcessLimits::stop_min), r.get(ProcessLimits::stop_max));
        (min.is_some() || max.is_some()).then(|| BarLimit {
            property,
            scope: r.text(ProcessLimits::scope),
            min,
            max,
            source: r.text(ProcessLimits::source),
        })
    };
    let of_bars = facts.behind.each().filter(|r| r.get(ProcessLimits::record) == Some(TestBars::NAME));
    of_bars.filter_map(one).collect()
}

/// Definitions of every kind, and who approved them.
fn revisions(facts: &Facts) -> TextTable {
    let kinds = [Parts::NAME, Alloys::NAME, RunningSystems::NAME, ShellRecipes::NAME];
    let row = |r: &records::Record| {
        let approved = r.get(Parts::approved_at.name);
        let approved = if *approved == Value::Blank { "NOT APPROVED".into() } else { approved.to_text() };
        // Anybody may type an approval in: who did is said, as a name claimed.
        let mut by = r.get(Parts::approved_by.name).to_text();
        if let Some(typist) = r.recorded_by().filter(|t| by.is_empty() || !by.eq_ignore_ascii_case(t)) {
            by.push_str(&format!(" (entered by {typist})"));
        }
        [r.kind.noun.to_string(), r.address(), by.trim().to_string(), approved]
    };
    let all = kinds.into_iter().flat_map(|kind| facts.behind.of(kind));
    TextTable::new(
        "Revisions in force",
        "",
        ["kind", "revision", "approved by", "approved"],
        all.map(|r| row(&r.record)),
    )
}

pub fn tables(facts: &Facts) -> Result<Vec<TextTable>> {
    let behind = facts.behind;
    let grain = |r: &RowOf<Inspections>| r.get(Inspections::method) == Some(Method::Grain);
    Ok(vec![
        samples::table(facts)?,
        table(BARS, "", Some("bar"), facts.test_bars(), BAR_COLUMNS),
        table(
            "Treatments",
            "",
            Some("treatment"),
            behind.each(),
            [
                ("kind", Treatments::kind.any()),
                ("schedule", Treatments::schedule.any()),
                ("started", Treatments::started_at.any()),
                ("°C", Treatments::temp_c.any()),
                ("h", Treatments::hold_h.any()),
                ("MPa", Treatments::pressure_mpa.any()),
                ("instrument", Treatments::instrument.any()),
            ],
        ),
        table(
            "Grain",
            "",
            Some("inspection"),
            behind.each().filter(grain),
            [
                ("blade", Inspections::blade.any()),
                ("result", Inspections::result.any()),
                ("person", Inspections::person.any()),
                ("note", Inspections::note.any()),
            ],
        ),
        revisions(facts),
        table(
            "Checks of the instruments used",
            "Those that bound a reading of the lot: the last before it, the first after it.",
            None,
            behind.each(),
            [
                ("instrument", Calibrations::instrument.any()),
                ("checked", Calibrations::checked_at.any()),
                ("check", Calibrations::check.any()),
                ("result", Calibrations::result.any()),
                ("difference", Calibrations::difference.any()),
                ("unit", Calibrations::unit.any()),
                ("due", Calibrations::due_at.any()),
            ],
        ),
        table(
            "Attached files",
            "Paths are taken from the store's folder.",
            Some("attachment"),
            behind.each(),
            [
                ("of", Attachments::subject.any()),
                ("path", Attachments::path.any()),
                ("SHA-256", Attachments::sha256.any()),
                ("bytes", Attachments::bytes.any()),
            ],
        ),
        table(
            "Holds on records behind the lot",
            "",
            Some("hold"),
            behind.each(),
            [
                ("on", Holds::subject.any()),
                ("placed", Holds::placed_at.any()),
                ("reason", Holds::reason.any()),
                ("lifted", Holds::lifted_at.any()),
                ("by", Holds::lifted_by.any()),
                ("why", Holds::lifted_reason.any()),
            ],
        ),
    ])
}
