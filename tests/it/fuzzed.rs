//! What fuzzing has found, each once.

use crate::support::Foundry;

#[test]
fn swapped_tags_of_records_that_are_nowhere_are_refused() {
    let foundry = Foundry::new();
    let head = "old_tag,new_tag,changed_at\n";
    let rows = "M-1,M-2,2031-03-30T00:00:00Z\nM-2,M-1,2031-03-30T00:00:00Z\n";
    foundry.write_bundle("bad", &[("retags.csv", &format!("{head}{rows}"))]);
    foundry.run("import bad").fails(2, "M-1");
    foundry.run("show M-1").fails(3, "no store");
}
