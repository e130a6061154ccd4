//! From a rejected blade to a hold on what it shares, and back, in a real terminal.

use std::path::Path;

use super::{Terminal, store};

#[test]
fn a_rejected_blade_leads_to_its_slurry_batch_and_a_hold() {
    let (_folder, path) = store();
    let folder = path.parent().unwrap();
    let arguments = ["--store", path.to_str().unwrap(), "--as", "OP-51"];
    let mut t = Terminal::start(Path::new(env!("CARGO_BIN_EXE_meltkin")), &arguments, folder, &[]);
    t.wait("not every check");
    t.press("k", "trace which tag?");
    t.typed("M31-033-7");
    t.wait("what went into blade M31-033-7");
    t.down_to(&["▸", "PS31-05"]);
    t.press("s", "shares PS31-05 with");
    t.press("\x1b", "what went into");
    t.press("h", "hold on PS31-05: why?");
    t.written("pH drifted");
    t.save("✗ held");
    t.press("l", "lift the hold on PS31-05: why?");
    t.written("checked again");
    t.save_until(|s| !s.contains("why?"));
    t.wait_until("the hold to be gone", |s| !s.contains("✗ held") && s.contains("What went"));
    t.send("\x03");
    assert_eq!(t.end(), 0);
}
