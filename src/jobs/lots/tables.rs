//! Test bars, treatments, revisions, files and checks of instruments, as tables.

use crate::jobs::lots::facts::Facts;
use crate::jobs::lots::samples;
use crate::jobs::lots::show::Sheet;
use records::Record;

fn sheet<'a>(
    title: &str,
    note: &str,
    head: &[&str],
    records: impl Iterator<Item = &'a Record<'static>>,
    fields: &[&str],
) -> Sheet {
    let mut rows = vec![head.iter().map(ToString::to_string).collect::<Vec<_>>()];
    rows.extend(
        records.map(|r| {
            fields.iter().map(|f| if *f == "@" { r.address() } else { r.get(f).to_text() }).collect()
        }),
    );
    Sheet { title: title.into(), note: note.into(), rows }
}

/// The tables.
pub fn sheets(facts: &Facts) -> Vec<Sheet> {
    let of = |kind: &'static str| facts.behind.of(kind).map(|r| &r.record);
    let bars = facts.test_bars();
    let grain = of("inspections").filter(|r| r.get("method").text() == Some("grain"));
    let definitions = ["parts", "alloys", "running_systems", "shell_recipes"].into_iter().flat_map(of);
    let mut revisions = vec![["kind", "revision", "approved by", "approved"].map(String::from).to_vec()];
    revisions.extend(definitions.map(|r| {
        let approved = r.get("approved_at").to_text();
        let approved = if approved.is_empty() { "NOT APPROVED".into() } else { approved };
        // Anybody may type an approval in: who did is said, as a name claimed.
        let mut by = r.get("approved_by").to_text();
        match r.get("recorded_by").text() {
            Some(typist) if by.is_empty() || !by.eq_ignore_ascii_case(typist) => {
                by.push_str(&format!(" (entered by {typist})"));
            }
            _ => {}
        }
        vec![r.kind.noun.to_string(), r.address(), by.trim().to_string(), approved]
    }));
    vec![
        samples::sheet(facts),
        sheet(
            "Test bars",
            "",
            &["bar", "heat", "UTS MPa", "yield MPa", "elongation %", "rupture h", "HRC", "instrument"],
            bars,
            &[
                "@",
                "heat",
                "uts_mpa",
                "yield_mpa",
                "elongation_pct",
                "rupture_h",
                "hardness_hrc",
                "instrument",
            ],
        ),
        sheet(
            "Treatments",
            "",
            &["treatment", "kind", "schedule", "started", "°C", "h", "MPa", "instrument"],
            of("treatments"),
            &["@", "kind", "schedule", "started_at", "temp_c", "hold_h", "pressure_mpa", "instrument"],
        ),
        sheet(
            "Grain",
            "",
            &["inspection", "blade", "result", "person", "note"],
            grain,
            &["@", "blade", "result", "person", "note"],
        ),
        Sheet { title: "Revisions in force".into(), note: String::new(), rows: revisions },
        sheet(
            "Checks of the instruments used",
            "Those that bound a reading of the lot: the last before it, the first after it.",
            &["instrument", "checked", "check", "result", "difference", "unit", "due"],
            of("calibrations"),
            &["instrument", "checked_at", "check", "result", "difference", "unit", "due_at"],
        ),
        sheet(
            "Attached files",
            "Paths are taken from the store's folder.",
            &["attachment", "of", "path", "SHA-256", "bytes"],
            of("attachments"),
            &["@", "subject", "path", "sha256", "bytes"],
        ),
        sheet(
            "Holds on records behind the lot",
            "",
            &["hold", "on", "placed", "reason", "lifted", "by", "why"],
            of("holds"),
            &["@", "subject", "placed_at", "reason", "lifted_at", "lifted_by", "lifted_reason"],
        ),
    ]
}
