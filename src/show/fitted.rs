//! Tables on paper: no column narrower than its longest word, on A4 as on Letter. The type is as large as the columns
//! allow; what fits no page at the least of it is laid out row by row, a line for each column.

use crate::show::html::{element, escaped};

/// Sizes of type in points, with the class that sets each.
const SIZES: [(f64, &str); 4] = [(8.0, ""), (7.0, "small"), (6.2, "tiny"), (5.5, "least")];

/// The narrower of the two papers between its margins (A4, 210 mm less twice 14 mm), in points.
const WIDTH: f64 = 182.0 / 25.4 * 72.0;

/// What a column takes beside its words, in ems: its padding twice, and a line.
const BESIDE: f64 = 0.9;

/// Widest letters of the widest of the page's typefaces, in ems: upper case and figures, the rest. Bold adds a tenth.
const WIDE: f64 = 0.7;
const NARROW: f64 = 0.62;

/// About how wide a word is, in ems; never less than it turns out.
fn word_width(word: &str) -> f64 {
    use unicode_width::UnicodeWidthChar;
    let of = |c: char| {
        let wide = c.is_uppercase() || c.is_ascii_digit() || !c.is_ascii() || "mw%@".contains(c);
        c.width().unwrap_or(0) as f64 * if wide { WIDE } else { NARROW }
    };
    word.chars().map(of).sum()
}

fn longest(text: &str) -> f64 {
    text.split_whitespace().map(word_width).fold(0.0, f64::max)
}

/// The least width of a table, in ems.
fn least_width(rows: &[Vec<String>]) -> f64 {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let head = rows.first();
    let column = |c: usize| {
        let body = rows.iter().skip(1).filter_map(|r| r.get(c)).map(|t| longest(t)).fold(0.0, f64::max);
        let title = head.and_then(|h| h.get(c)).map_or(0.0, |t| longest(t) * 1.1);
        body.max(title) + BESIDE
    };
    (0..columns).map(column).sum()
}

/// Text whose words stay whole: a browser breaks lines after hyphens and slashes, and a tag is one word.
pub fn words(text: &str) -> String {
    let whole = |word: &str| {
        let mut odd = word.chars().filter(|c| !c.is_alphanumeric() && !".,;:()'\"".contains(*c));
        if word.chars().count() < 2 || odd.next().is_none() {
            escaped(word)
        } else {
            format!("<span class=\"w\">{}</span>", escaped(word))
        }
    };
    // A figure and its per cent sign are one word to the eye.
    text.split(' ').map(whole).collect::<Vec<_>>().join(" ").replace(" %", "\u{a0}%")
}

/// A table, its head first, as wide as the page. A cell in which OUTSIDE stands is marked.
pub fn fitted(rows: &[Vec<String>]) -> String {
    let Some((head, body)) = rows.split_first().filter(|(_, body)| !body.is_empty()) else {
        return String::new();
    };
    let least = least_width(rows);
    let Some((_, class)) = SIZES.iter().find(|(points, _)| least * points <= WIDTH) else {
        return by_row(head, body);
    };
    let cell = |c: &String| {
        let tag = if c.contains("OUTSIDE") { "td class=\"out\"" } else { "td" };
        format!("<{tag}>{}</td>", words(c))
    };
    let line = |r: &Vec<String>| format!("<tr>{}</tr>", r.iter().map(cell).collect::<String>());
    let head: String = head.iter().map(|t| format!("<th scope=\"col\">{}</th>", words(t))).collect();
    let body: String = body.iter().map(line).collect();
    format!("<table class=\"fit {class}\"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>")
}

/// Each row as lines of title and text.
fn by_row(head: &[String], body: &[Vec<String>]) -> String {
    let one = |r: &Vec<String>| -> String {
        let filled = head.iter().zip(r).filter(|(_, text)| !text.is_empty());
        let lines = filled.map(|(title, text)| {
            let class = if text.contains("OUTSIDE") { "td class=\"long out\"" } else { "td class=\"long\"" };
            format!("<tr>{}{}</tr>", element("th scope=\"row\"", title), element(class, text))
        });
        format!("<table class=\"row\"><tbody>{}</tbody></table>", lines.collect::<String>())
    };
    body.iter().map(one).collect()
}

/// Two columns of names and values.
pub fn pairs(rows: &[(String, String)]) -> String {
    let line = |(name, value): &(String, String)| {
        format!("<tr>{}<td>{}</td></tr>", element("th scope=\"row\"", name), words(value))
    };
    format!("<table class=\"pairs\">{}</table>", rows.iter().map(line).collect::<String>())
}

/// The looks of these tables.
pub const STYLE: &str = "
.w{white-space:nowrap}.fit th,.fit td,.pairs th,.pairs td{overflow-wrap:normal;hyphens:manual;padding:.6mm .4em}
.small{font-size:7pt}.tiny{font-size:6.2pt}.least{font-size:5.5pt}.out{font-weight:bold;color:#b00}
.row{margin-bottom:1.5mm;break-inside:avoid}.row th{width:32mm}.long{overflow-wrap:anywhere}.pairs th{width:36mm}
";

#[cfg(test)]
mod tests {
    use super::*;

    fn table(columns: usize, word: &str) -> Vec<Vec<String>> {
        vec![vec!["x".to_string(); columns], vec![word.to_string(); columns]]
    }

    #[test]
    fn type_is_as_large_as_the_columns_allow_and_no_word_is_ever_cut() {
        assert!(fitted(&table(6, "M31-049-1")).contains("class=\"fit \""));
        assert!(fitted(&table(10, "M31-049-1")).contains("class=\"fit small\""));
        assert!(fitted(&table(12, "M31-049-1")).contains("class=\"fit least\""));
        let long = fitted(&table(20, "M31-049-1"));
        assert_eq!(long.matches("class=\"row\"").count(), 1, "{long}");
        // A tag is one word to the browser; a plain word needs no telling.
        assert_eq!(
            words("as M31-049-1 <b>"),
            "as <span class=\"w\">M31-049-1</span> <span class=\"w\">&lt;b&gt;</span>"
        );
        assert!(fitted(&[vec!["x".into()], vec!["32 OUTSIDE, CN-1/1".into()]]).contains("td class=\"out\""));
        assert_eq!(fitted(&table(3, "x")[..1]), "");
    }
}
