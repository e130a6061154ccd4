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
    t.send("l");
    t.wait("L31-02");
    t.send("\x1b[B");
    t.wait("▸ lot   L31-02");
    t.send("\r");
    t.wait("may not go");
    t.wait("H31-025");
    // Nothing that blocks can be signed.
    t.send("g");
    t.wait("L31-02 is blocked by ");
    t.wait("may not go");
    t.send("\x1b");
    t.wait("▸ lot   L31-02");
    t.send("\x1b[B");
    t.wait("▸ lot   L31-01");
    t.send("\x1b[B");
    t.wait("▸ trial T31-01");
    t.send("\r");
    // The question stands in the list too; this line only on the page.
    t.wait("is taken as the control");
    t.send("\x1b[6~");
    t.wait("Deviations");
    t.send("\x1b[6~");
    t.wait("Cannot tell");
    t.send("\x03");
    assert_eq!(t.end(), 0);
}
