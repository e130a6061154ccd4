//! What would lift a reason, by its code: a record, a reading or a decision of a person; never a way past it.

/// In a sentence.
pub fn by(code: &str) -> &'static str {
    match code {
        "chemistry" => {
            "a concession item for the element; scrap; the analysis that is missing, or a wrong one set aside"
        }
        "finding" => {
            "an accept that closes it, by another qualified reader and with a note; a concession whose item names it; or scrap"
        }
        "older" => "a new decision on the blade by quality, who has seen what came since",
        "hold" => "quality, who lifts the hold or decides on the blade, with the reason kept",
        "in_process" => "the inspections that the plan asks for, then a decision on the blade",
        "station" => "the record of that station, or a concession whose item names it",
        "sampling" | "switching" => "more of the lot inspected: the whole sample, or every blade",
        "plan" => "the inspection plan of that revision of the part",
        "instrument" => {
            "the check that was done and not recorded, or a concession whose item names the reading"
        }
        "suspect" => "a concession whose item names the reading, decided after the failed check; or scrap",
        "reader" => "the qualification of that day, where there was one; else the film or part read anew",
        "technique" => "the technique sheet that the film was made by, on its inspection",
        "definition" => {
            "the approval of that revision by who may give it, or a concession whose item names it"
        }
        "genealogy" | "totals" | "fit" => {
            "the record that is missing or wrong, corrected with the reason kept"
        }
        "attachment" => "the file as it was attached, in its place",
        "superseded" => "a new signature on what was changed",
        "concession" => "a concession that counts for the blade: granted, in force, of its part and number",
        "shipped" | "returned" => "a decision on the blade by quality",
        "pourer" => "the person who poured, on the record of the pour",
        _ => "the record that it lies in",
    }
}
