//! What the invented foundry is judged by: alloys, parts, people, instruments and their checks.

use std::io;

use crate::demo::maker::book::Book;
use crate::demo::maker::dice::Dice;

/// Elements of the analyses: name, unit, low and high of the draw, decimals.
pub const ELEMENTS: [(&str, &str, u64, u64, usize); 11] = [
    ("C", "wt%", 130, 170, 3),
    ("Cr", "wt%", 1180, 1320, 2),
    ("Co", "wt%", 850, 950, 2),
    ("Mo", "wt%", 380, 450, 2),
    ("Al", "wt%", 580, 620, 2),
    ("Ti", "wt%", 60, 90, 2),
    ("Nb", "wt%", 190, 230, 2),
    ("B", "wt%", 8, 14, 3),
    ("O", "ppm", 5, 24, 0),
    ("N", "ppm", 4, 20, 0),
    ("S", "ppm", 2, 12, 0),
];

/// The parts: name, whether its blades have cores, whether they are pressed hot. Even ones are of
/// the first alloy, odd ones of the second.
pub const PARTS: [(&str, bool, bool); 4] =
    [("PT-A", false, false), ("PT-B", false, true), ("PT-C", true, false), ("PT-D", false, false)];

/// The alloys.
pub const ALLOYS: [&str; 2] = ["AL-1", "AL-2"];
/// Zones of every part.
pub const ZONES: [&str; 6] = ["root", "platform", "airfoil", "leading", "trailing", "tip"];
/// Defect terms: code, name.
pub const DEFECTS: [(&str, &str); 8] = [
    ("inclusion", "Inclusion"),
    ("porosity", "Shrinkage porosity"),
    ("misrun", "Misrun"),
    ("hot-tear", "Hot tear"),
    ("scab", "Scab"),
    ("oversize", "Dimension out of limits"),
    ("coarse-grain", "Coarse grain"),
    ("core-shift", "Core shift"),
];
/// Pyrometers.
pub const PYROMETERS: [&str; 3] = ["PY-1", "PY-2", "PY-3"];
/// Operators.
pub const OPERATORS: [&str; 8] = ["op01", "op02", "op03", "op04", "op05", "op06", "op07", "op08"];
/// Inspectors.
pub const INSPECTORS: [&str; 6] = ["in01", "in02", "in03", "in04", "in05", "in06"];
/// Quality.
pub const QUALITY: [&str; 2] = ["qa01", "qa02"];

/// Writes the definitions.
pub fn write(book: &mut Book) -> io::Result<()> {
    for (a, alloy) in ALLOYS.iter().enumerate() {
        let shift = a as u64 * 15;
        book.alloys
            .t(alloy)
            .t("1")
            .i(1_335 + shift)
            .i(1_265 + shift)
            .d(796 + shift, 2)
            .i(60)
            .t("qa01")
            .end()?;
        for (element, unit, low, high, decimals) in ELEMENTS {
            let room = (high - low) / 8 + 1;
            let sheet = book.alloy_limits.t(alloy).t("1").t(element);
            if unit == "ppm" {
                sheet.blank().i(high + room).t(unit).end()?;
            } else {
                sheet.d(low - room, decimals).d(high + room, decimals).t(unit).end()?;
            }
        }
    }
    for (p, (part, _, pressed)) in PARTS.iter().enumerate() {
        let mass = 320 + 90 * p as u64;
        book.parts
            .t(part)
            .t("1")
            .t(ALLOYS[p % 2])
            .i(mass)
            .t(if *pressed { "1" } else { "2" })
            .t("qa01")
            .end()?;
        for zone in ZONES {
            book.zones.t(part).t("1").t(zone).t(zone).end()?;
        }
        for method in ["visual", "penetrant", "radiograph", "dimensional", "grain"] {
            book.inspection_plans.t(part).t("1").t(method).t("yes").t("all").end()?;
        }
    }
    for (code, name) in DEFECTS {
        book.defect_terms.t(code).t(name).end()?;
    }
    book.shell_recipes.t("SR-8").t("1").t("shell").i(8).i(4).i(1_050).i(120).t("qa01").end()?;
    book.running_systems.t("RS-B8").t("1").t("bottom").i(8).i(260).i(95).t("yes").t("qa01").end()?;
    book.running_systems.t("RS-T8").t("1").t("top").i(8).i(220).i(80).t("yes").t("qa01").end()?;
    for (instrument, kind) in [
        ("PY-1", "pyrometer"),
        ("PY-2", "pyrometer"),
        ("PY-3", "pyrometer"),
        ("TC-1", "thermocouple"),
        ("VC-1", "viscosity cup"),
        ("SP-1", "spectrometer"),
        ("GA-1", "gauge"),
        ("FV-1", "film viewer"),
        ("TM-1", "tensile machine"),
    ] {
        book.instruments.t(instrument).t(kind).end()?;
    }
    let roles: [(&[&str], &str); 5] = [
        (&OPERATORS, "operator"),
        (&INSPECTORS, "inspector"),
        (&["me01"], "metallurgist"),
        (&["en01"], "engineer"),
        (&QUALITY, "quality"),
    ];
    for (people, role) in roles {
        for person in people {
            book.people.t(person).t(role).end()?;
        }
    }
    for person in INSPECTORS {
        for method in ["visual", "penetrant", "radiograph", "dimensional", "grain"] {
            book.qualifications.t(person).t(method).t("2").t("2045-12-31").end()?;
        }
    }
    Ok(())
}

/// Writes the weekly checks of the instruments from one time to another. Few fail; the pyrometer
/// then reads high by some degrees until it is set right.
pub fn checks(book: &mut Book, dice: &mut Dice, from: i64, until: i64) -> io::Result<()> {
    let week = 7 * 1_440;
    let mut at = from;
    while at < until {
        for (n, pyrometer) in PYROMETERS.iter().enumerate() {
            let failed = dice.yes(6_000);
            let off = if failed { dice.from(80, 140) } else { dice.from(0, 30) };
            let sheet = book.calibrations.t(pyrometer).at(at + 20 * n as i64).t("cross_check");
            sheet
                .t(if failed { "failed" } else { "good" })
                .d(off, 1)
                .t("°C")
                .at(at + week + 1_440)
                .t("me01")
                .end()?;
            if failed {
                // Set right a day later.
                let sheet = book.calibrations.t(pyrometer).at(at + 1_440 + 20 * n as i64).t("calibration");
                sheet.t("good").d(dice.from(0, 10), 1).t("°C").at(at + week + 2_880).t("me01").end()?;
            }
        }
        if (at - from) / week % 26 == 0 {
            for instrument in ["TC-1", "VC-1", "SP-1", "GA-1", "FV-1", "TM-1"] {
                let sheet = book.calibrations.t(instrument).at(at + 90).t("calibration").t("good");
                sheet.blank().blank().at(at + 30 * week).t("me01").end()?;
            }
        }
        at += week;
    }
    Ok(())
}
