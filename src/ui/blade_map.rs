//! A blade drawn in letters, root below and tip above, with the zones of its part. Zones are picked by
//! their digit or with the arrows.

/// Where zones stand on the drawing, by the usual codes of a blade; row and column of the code.
const PLACES: [(&str, usize, usize); 7] =
    [("TP", 0, 9), ("LE", 2, 1), ("AF", 2, 8), ("TE", 2, 16), ("PL", 4, 8), ("RT", 5, 8), ("GT", 6, 8)];

const BLADE: [&str; 7] = [
    "      ╭──────╮      ",
    "      │      │      ",
    "     ╱        │     ",
    "     │        │     ",
    "   ╔════════════╗   ",
    "    ╲          ╱    ",
    "     ╲________╱     ",
];

const ASCII: [&str; 7] = [
    "      .------.      ",
    "      |      |      ",
    "     /        |     ",
    "     |        |     ",
    "   +============+   ",
    "    \\          /    ",
    "     \\________/     ",
];

/// The drawing, and the zones that have no place on it, each with its digit; the chosen one in
/// brackets.
pub fn draw(zones: &[(String, String)], chosen: &str, width: usize, ascii: bool) -> Vec<String> {
    let mut rows: Vec<Vec<char>> =
        (if ascii { ASCII } else { BLADE }).iter().map(|r| r.chars().collect()).collect();
    let mut lists: Vec<String> = Vec::new();
    for (i, (zone, name)) in zones.iter().enumerate() {
        let here = zone.eq_ignore_ascii_case(chosen);
        let digit = if i < 9 { (i + 1).to_string() } else { " ".into() };
        let mark = if here { ">" } else { " " };
        lists.push(format!("{mark}{digit} {zone} {name}"));
        if let Some((_, row, column)) = PLACES.iter().find(|(z, ..)| z.eq_ignore_ascii_case(zone)) {
            let text = if here { format!("[{zone}]") } else { format!(" {zone} ") };
            for (k, c) in text.chars().enumerate() {
                if let Some(cell) = rows[*row].get_mut((column + k).saturating_sub(1)) {
                    *cell = c;
                }
            }
        }
    }
    // The names stand beside the drawing, in as many columns as they need.
    let columns = lists.len().div_ceil(rows.len()).max(1);
    let wide = width.saturating_sub(24) / columns;
    rows.into_iter()
        .enumerate()
        .map(|(i, row)| {
            let mut line: String = row.into_iter().collect::<String>() + "  ";
            for c in 0..columns {
                let text = lists.get(i + c * 7).map_or("", String::as_str);
                line.push_str(&format!("{:wide$.wide$}", text));
            }
            line.trim_end().to_string()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_chosen_zone_stands_in_brackets_and_every_zone_has_its_digit() {
        let zones: Vec<(String, String)> = ["AF", "GT", "LE", "PL", "RT", "TE", "TP", "XX"]
            .map(|z| (z.to_string(), format!("name of {z}")))
            .into();
        for ascii in [true, false] {
            for (zone, _) in &zones {
                let text = draw(&zones, zone, 78, ascii).join("\n");
                assert_eq!(text.contains(&format!("[{zone}]")), zone != "XX", "{text}");
                assert_eq!(text.matches('>').count(), 1, "{text}");
                assert!(text.contains("8 XX name of XX"), "{text}");
                assert!(!ascii || text.is_ascii());
            }
        }
        assert_eq!(draw(&[], "", 10, true).len(), 7);
    }
}
