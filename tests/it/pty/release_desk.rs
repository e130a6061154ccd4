//! A lot that may not go, and a trial that cannot tell, in a real terminal.

use std::path::Path;

use super::{Terminal, store};

#[test]
fn a_lot_is_blocked_and_a_trial_cannot_tell() {
    let (_folder, path) = store();
    let folder = path.parent().unwrap();
    let arguments = ["--store", path.to_str().unwrap(), "--as", "OP-51"];
    let mut t = Terminal::start(Path::new(env!("CARGO_BIN_EXE_meltkin")), &arguments, folder, &[]);
    t.wait("not every check");
    t.press("l", "L31-02");
    t.press("\x1b[B", "▸ lot   L31-02");
    t.press("\r", "may not go");
    t.wait("H31-025");
    // Nothing that blocks can be signed.
    t.press("g", "L31-02 is blocked by ");
    t.wait("may not go");
    t.press("\x1b", "▸ lot   L31-02");
    t.press("\x1b[B", "▸ lot   L31-01");
    t.press("\x1b[B", "▸ trial T31-01");
    // The question stands in the list too; this line only on the page.
    t.press("\r", "is taken as the control");
    t.press("\x1b[6~", "Deviations");
    t.press("\x1b[6~", "Cannot tell");
    t.send("\x03");
    assert_eq!(t.end(), 0);
}
