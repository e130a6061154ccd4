//! What a person writes of a sheet: rows of titles, fields with their columns, words with their meaning.

use records::{Error, Result};

/// The row of the titles from 1, and the last of them where they stand in several.
pub type TitleRows = (u32, Option<u32>);

/// `2`, or `2-3`.
pub fn title_rows(text: &str) -> std::result::Result<TitleRows, String> {
    let row =
        |t: &str| t.trim().parse::<u32>().map_err(|_| "a row is a number from 1; 2-3 are two".to_string());
    match text.split_once('-') {
        Some((from, to)) => Ok((row(from)?, Some(row(to)?))),
        None => Ok((row(text)?, None)),
    }
}

/// `FIELD=VALUE`, each.
pub fn pairs(texts: &[String], like: &str) -> Result<Vec<(String, String)>> {
    let split = |t: &String| {
        let pair = t.split_once('=').map(|(a, b)| (a.trim().to_string(), b.trim().to_string()));
        pair.ok_or_else(|| Error::input(format!("{t} is not {like}")))
    };
    texts.iter().map(split).collect()
}

/// `FIELD:THEIRS=OURS`.
pub fn word(text: &str) -> Result<(String, String, String)> {
    let parts = text.split_once(':').and_then(|(field, rest)| Some((field, rest.rsplit_once('=')?)));
    let Some((field, (theirs, ours))) = parts else {
        return Err(Error::input(format!("{text} is not FIELD:THEIRS=OURS, as result:OK=accept is")));
    };
    Ok((field.to_string(), theirs.to_string(), ours.to_string()))
}
