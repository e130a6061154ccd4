//! Units as people write them.

/// A unit as people write it, in one spelling; what is no unit of a field stays as it is.
pub(crate) fn unit_of(text: &str) -> String {
    let plain: String = text.to_lowercase().chars().filter(|c| !c.is_whitespace() && *c != '.').collect();
    match plain.as_str() {
        "°c" | "c" | "degc" | "grad" | "gradc" | "℃" => "°c",
        "%" | "pct" | "percent" | "prozent" | "%rh" | "%rf" => "%",
        "s" | "sec" | "secs" | "sek" | "seconds" => "s",
        "min" | "mins" | "minutes" => "min",
        "h" | "hr" | "hrs" | "std" | "hours" => "h",
        "g/cm3" | "g/cm³" | "g/cc" => "g/cm³",
        "mm2" | "mm²" => "mm²",
        "mpa" | "n/mm2" | "n/mm²" => "mpa",
        "mbarl/s" | "mbar·l/s" | "mbar*l/s" => "mbarl/s",
        other => other,
    }
    .to_string()
}

/// It is a unit where it stands in brackets: there a letter or two mean one, which as the last word of a title may be a name.
pub(crate) fn is_bracketed_unit(text: &str) -> bool {
    const MORE: [&str; 44] = [
        "w", "mw", "gw", "hp", "ps", "va", "kva", "t", "mg", "µg", "ug", "oz", "k", "f", "degf", "r", "torr",
        "mmhg", "psi", "ksi", "kpa", "gpa", "atm", "n/mm", "in", "inch", "\"", "ft", "mil", "nm", "um", "l",
        "ml", "cm3", "cm³", "d", "days", "ms", "ppb", "mg/g", "mg/kg", "g/kg", "at%", "g/l",
    ];
    is_unit(text) || MORE.contains(&unit_of(text).as_str())
}

/// It is a unit that a field may have, or one that is often written where a field has another.
pub(crate) fn is_unit(text: &str) -> bool {
    const ALL: [&str; 26] = [
        "°c", "%", "s", "min", "h", "g/cm³", "mm²", "mpa", "mbarl/s", "kg", "g", "mm", "ppm", "bar", "mbar",
        "hrc", "kw", "°f", "cm", "m", "µm", "lb", "lbs", "pa", "hpa", "ml/100g",
    ];
    ALL.contains(&unit_of(text).as_str())
}
