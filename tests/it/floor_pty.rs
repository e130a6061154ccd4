//! The melter's short ways in a real terminal, with their keys counted.

use crate::pty::Terminal;
use crate::pty::{F2, store};

#[test]
fn the_wrong_mould_takes_three_keys() {
    let (_folder, path) = store();
    let mut t = Terminal::screens(&path);
    t.wait("not every check");
    t.press("x", "which mould was really poured");
    // Nothing is chosen by itself.
    t.press("\x1b[B", "▸ M31-098");
    t.press(F2, "saved pours:M31-098 and HOLD-");
    t.wait("to be poured: 1");
    t.send("q");
    assert_eq!(t.end(), 0);
}

#[test]
fn a_run_out_takes_two_keys() {
    let (_folder, path) = store();
    let mut t = Terminal::screens(&path);
    t.wait("not every check");
    t.press("o", "ran out?");
    t.press(F2, "saved pours:M31-097");
    t.wait("! ran out");
    t.send("q");
    assert_eq!(t.end(), 0);
}
