//! The starter definitions that a new store begins with: alloys with their limits, and the defect
//! terms of an equiaxed blade foundry, with what the trade knows of their causes. Each row says where it is from and whether that was seen,
//! second-hand, or from memory: none of them is an approved specification.

use std::sync::LazyLock;

/// Files of a bundle.
pub const FILES: &[(&str, &str)] = &[
    ("alloys.csv", include_str!("starter/alloys.csv")),
    ("alloy_limits.csv", include_str!("starter/alloy_limits.csv")),
    ("defect_terms.csv", include_str!("starter/defect_terms.csv")),
    KNOWLEDGE[0],
    KNOWLEDGE[1],
];

/// Those of them that say what the trade knows of causes, for a store that was made before they were there.
pub const KNOWLEDGE: [(&str, &str); 2] = [
    ("knowledge_sources.csv", include_str!("starter/knowledge_sources.csv")),
    ("known_causes.csv", include_str!("starter/known_causes.csv")),
];

/// What of a known cause decides its weight.
#[derive(Clone, Debug, PartialEq, Eq, serde::Deserialize)]
pub struct WeighedRow {
    pub defect: String,
    pub factor: String,
    pub direction: String,
    pub strength: String,
    #[serde(default)]
    pub doubtful: String,
}

/// Of every known cause that the program carries, what decides its weight.
pub fn published() -> &'static [WeighedRow] {
    static READ: LazyLock<Vec<WeighedRow>> = LazyLock::new(|| {
        // A test counts the rows: none is left out in silence.
        csv::Reader::from_reader(KNOWLEDGE[1].1.as_bytes()).deserialize().flatten().collect()
    });
    &READ
}

/// Fields that a foundry may add for itself, as a file: what known causes of defects act through, and no kind has. No
/// store begins with them, as each would be one more line in a form.
const SUGGESTED: &str = include_str!("starter/suggested_fields.csv");

/// A field that a foundry may add.
#[derive(Clone, Debug, PartialEq, serde::Deserialize, serde::Serialize)]
pub struct SuggestedField {
    /// The kind of record it belongs to.
    pub record: String,
    /// Its name.
    pub field: String,
    /// number, text, time or yes_no.
    pub r#type: String,
    /// Below it a reason is asked for.
    pub min: Option<f64>,
    /// Above it a reason is asked for.
    pub max: Option<f64>,
    /// yes, where it may be a cause of defects.
    pub cause: String,
    /// How it is measured.
    pub measured: String,
    /// What it is good for.
    pub why: String,
}

/// Every field that a foundry may add, those that reach most defects first.
///
/// # Errors
/// The file that the program carries is not what it should be.
pub fn suggested() -> Result<Vec<SuggestedField>, String> {
    csv::Reader::from_reader(SUGGESTED.as_bytes())
        .deserialize()
        .collect::<Result<_, _>>()
        .map_err(|e| e.to_string())
}

/// An element with its least, its most and their unit.
pub type StarterLimit = (String, Option<f64>, Option<f64>, String);

/// Every limit of every starter alloy.
pub fn limits() -> Vec<StarterLimit> {
    let text = FILES.iter().find(|(name, _)| *name == "alloy_limits.csv").map_or("", |(_, text)| text);
    let mut rows = csv::Reader::from_reader(text.as_bytes());
    let at = |name: &str, header: &csv::StringRecord| header.iter().position(|h| h == name);
    let Ok(header) = rows.headers().cloned() else { return Vec::new() };
    let (Some(element), Some(min), Some(max), Some(unit)) =
        (at("element", &header), at("min", &header), at("max", &header), at("unit", &header))
    else {
        return Vec::new();
    };
    let number = |row: &csv::StringRecord, i: usize| row.get(i).and_then(|t| t.parse().ok());
    let text = |row: &csv::StringRecord, i: usize| row.get(i).unwrap_or("").to_string();
    rows.records()
        .filter_map(Result::ok)
        .map(|row| (text(&row, element), number(&row, min), number(&row, max), text(&row, unit)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::FILES;
    use std::collections::BTreeSet;
    use std::collections::HashMap;

    type Row = HashMap<String, String>;

    fn rows(file: &str) -> Vec<Row> {
        let text = FILES.iter().find(|(name, _)| *name == file).unwrap().1;
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        reader.deserialize().map(Result::unwrap).collect()
    }

    /// How far a figure can be trusted, as the last words of its source say.
    fn says_its_status(source: &str) -> bool {
        ["(seen)", "(secondary)", "(memory)", "common practice, no source"].iter().any(|s| source.contains(s))
    }

    fn is_tag(text: &str) -> bool {
        (1..=40).contains(&text.len()) && !text.contains([' ', ','])
    }

    /// Each can be added as it stands: a known kind, a type, a name that the kind does not have yet.
    #[test]
    fn suggested_fields_can_be_added() {
        let mut seen = BTreeSet::new();
        for one in super::suggested().unwrap() {
            let kind = crate::catalogue::kind(&one.record).unwrap_or_else(|| panic!("{one:?}"));
            assert!(
                kind.field(&one.field).is_none() && !one.why.is_empty() && !one.measured.is_empty(),
                "{one:?}"
            );
            assert!(crate::catalogue::OwnType::WORDS.contains(&one.r#type.as_str()), "{one:?}");
            assert!(crate::catalogue::YesNo::WORDS.contains(&one.cause.as_str()), "{one:?}");
            // The hours to a time count from the record's own.
            assert!(one.r#type != "time" || kind.time.is_some(), "{one:?}");
            assert!(seen.insert((one.record, one.field)));
        }
        assert_eq!(seen.len(), 23);
    }

    #[test]
    fn every_limit_is_a_range_with_a_unit_and_a_source() {
        let mut seen = BTreeSet::new();
        for row in rows("alloy_limits.csv") {
            let number = |f: &str| (!row[f].is_empty()).then(|| row[f].parse::<f64>().unwrap());
            let (min, max) = (number("min"), number("max"));
            assert!(min.is_some() || max.is_some(), "{row:?}");
            assert!(min.unwrap_or(0.0) <= max.unwrap_or(f64::MAX) && min.unwrap_or(0.0) >= 0.0, "{row:?}");
            assert!(["wt%", "ppm"].contains(&row["unit"].as_str()), "{row:?}");
            assert!(says_its_status(&row["source"]), "{row:?}");
            assert!(
                seen.insert((row["alloy"].clone(), row["revision"].clone(), row["element"].clone())),
                "{row:?}"
            );
        }
        assert!(seen.len() > 100);
    }

    /// The nominal contents are published apart from the limits, so each must lie within its own.
    #[test]
    fn nominal_compositions_lie_within_their_limits() {
        let mut checked = 0;
        for row in rows("alloy_limits.csv") {
            let Some(rest) = row["note"].strip_prefix("nominal ") else { continue };
            let nominal: f64 = rest.split(';').next().unwrap().parse().unwrap();
            assert!(row["min"].parse().map_or(true, |m: f64| nominal >= m), "{row:?}");
            assert!(row["max"].parse().map_or(true, |m: f64| nominal <= m), "{row:?}");
            checked += 1;
        }
        assert!(checked > 90, "{checked}");
        // The alloy as its maker described it: Nickel Institute Publication 337.
        let maker = [
            ("C", 0.12),
            ("Cr", 12.5),
            ("Mo", 4.2),
            ("Nb", 2.2),
            ("Ti", 0.8),
            ("Al", 6.1),
            ("B", 0.012),
            ("Zr", 0.10),
        ];
        for row in rows("alloy_limits.csv").iter().filter(|r| r["alloy"] == "IN-713C") {
            if let Some((_, w)) = maker.iter().find(|(s, _)| *s == row["element"]) {
                assert!(
                    row["min"].parse::<f64>().unwrap() <= *w && *w <= row["max"].parse().unwrap(),
                    "{row:?}"
                );
            }
        }
    }

    #[test]
    fn alloys_have_tags_and_melt_in_order() {
        let alloys = rows("alloys.csv");
        let keys: BTreeSet<_> = alloys.iter().map(|r| (&r["alloy"], &r["revision"])).collect();
        assert_eq!(keys.len(), alloys.len());
        for row in &alloys {
            assert!(
                is_tag(&row["alloy"]) && (row["revision"].is_empty() || is_tag(&row["revision"])),
                "{row:?}"
            );
            let number = |f: &str| row[f].parse::<f64>().ok();
            if let (Some(solidus), Some(liquidus)) = (number("solidus_c"), number("liquidus_c")) {
                assert!(solidus < liquidus, "{row:?}");
            }
            assert!(number("density_g_cm3").is_none_or(|d| (7.5..9.5).contains(&d)), "{row:?}");
            assert!(!row["source"].is_empty(), "{row:?}");
        }
        for limit in rows("alloy_limits.csv") {
            assert!(keys.contains(&(&limit["alloy"], &limit["revision"])), "{limit:?}");
        }
    }

    /// The counts that the table's own description gives: 553 rows of 51 terms, 4 to 39 factors each; 283 read, 234
    /// practice, 26 memory, 10 cited; 37 doubtful, 10 disputed, 71 with a note.
    #[test]
    fn known_causes_are_whole_and_every_source_is_named() {
        let all = rows("known_causes.csv");
        let count = |field: &str, word: &str| all.iter().filter(|r| r[field].starts_with(word)).count();
        assert_eq!(all.len(), 553);
        assert_eq!(super::published().len(), 553, "each is read as what decides its weight");
        let seen = ["read", "practice", "memory", "cited"].map(|word| count("source_status", word));
        assert_eq!(seen, [283, 234, 26, 10]);
        assert_eq!(["doubtful:", "disputed:", "note:"].map(|word| count("doubtful", word)), [37, 10, 71]);
        let terms = rows("defect_terms.csv");
        let mut of_term: HashMap<&str, BTreeSet<&str>> = HashMap::new();
        for row in &all {
            assert!(terms.iter().any(|t| t["defect"] == row["defect"]), "{row:?}");
            assert!(of_term.entry(&row["defect"]).or_default().insert(&row["factor"]), "twice: {row:?}");
            assert!(!row["mechanism"].is_empty() && !row["check"].is_empty(), "{row:?}");
        }
        assert_eq!(of_term.len(), 51);
        assert!(of_term.values().all(|factors| (4..=39).contains(&factors.len())));
        let sources = rows("knowledge_sources.csv");
        for key in all.iter().flat_map(|r| r["source"].split(';')) {
            assert!(sources.iter().any(|s| s["source"] == key), "{key}");
        }
    }

    #[test]
    fn defect_terms_are_those_of_an_equiaxed_foundry() {
        let terms = rows("defect_terms.csv");
        let tags: BTreeSet<&str> = terms.iter().map(|r| r["defect"].as_str()).collect();
        assert_eq!(tags.len(), terms.len());
        for needed in [
            "misrun",
            "inclusion",
            "microporosity",
            "cold_shut",
            "hot_tear",
            "core_shift",
            "gas_hole",
            "shrinkage_sponge",
            "diffraction_pattern",
        ] {
            assert!(tags.contains(needed), "{needed}");
        }
        for single_crystal in ["freckle", "sliver", "stray_grain", "zebra", "hab"] {
            assert!(!tags.contains(single_crystal), "{single_crystal}");
        }
        for row in &terms {
            assert!(
                is_tag(&row["defect"]) && row["defect"].chars().all(|c| c == '_' || c.is_ascii_lowercase())
            );
            assert!(!row["name"].is_empty() && !row["description"].is_empty(), "{row:?}");
            assert!(says_its_status(&row["source"]), "{row:?}");
        }
    }
}
