//! Lots and trials on the screen, on the demo: a lot that is blocked, a trial that cannot tell.

use crate::tui::Session;

#[test]
fn a_blocked_lot_and_a_trial_that_cannot_tell() {
    let mut s = Session::demo();
    s.keys("l");
    s.sees("Lots and trials");
    s.sees("L31-03");
    insta::assert_snapshot!("lots_80x24", s.screen(80, 24));
    // The newest lot first; L31-02 is the next.
    s.keys("<down><enter>");
    s.sees("L31-02");
    s.sees("may not go");
    s.sees("H31-025");
    insta::assert_snapshot!("lot_80x24", s.screen(80, 24));
    // What blocks it is said before a PIN is asked for, to whoever tries.
    s.keys("g");
    s.sees("L31-02 is blocked by 12 reasons");
    s.misses("your PIN");
    s.app.who = Some("OP-51".into());
    s.keys("g");
    s.sees("L31-02 is blocked by 12 reasons");
    s.sees("may not go");
    s.keys("<esc><down><down><enter>");
    s.sees("T31-01");
    s.keys("<pgdn><pgdn>");
    s.sees("Cannot tell");
    for width in 1..=30 {
        for height in 1..=14 {
            s.screen(width, height);
        }
    }
}
