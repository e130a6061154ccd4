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
    t.send("k");
    t.wait("trace which tag?");
    t.send("M31-033-7\r");
    t.wait("what went into blade M31-033-7");
    for _ in 0..60 {
        if t.text().lines().any(|l| l.contains('▸') && l.contains("PS31-05")) {
            break;
        }
        let before = t.text();
        t.send("\x1b[B");
        t.wait_until("the next row", |s| s != before);
    }
    t.send("s");
    t.wait("shares PS31-05 with");
    t.send("\x1b");
    t.wait("what went into");
    t.send("h");
    t.wait("hold on PS31-05: why?");
    type_slowly(&mut t, "pH drifted");
    t.wait("✗ held");
    t.send("l");
    t.wait("lift the hold on PS31-05: why?");
    type_slowly(&mut t, "checked again");
    t.wait_until("the hold to be gone", |s| !s.contains("✗ held") && s.contains("What went"));
    t.send("\x03");
    assert_eq!(t.end(), 0);
}

/// As a person types: what comes in a burst with Enter at its end is a scanned code.
fn type_slowly(t: &mut Terminal, text: &str) {
    for c in text.chars() {
        t.send(&c.to_string());
        std::thread::sleep(std::time::Duration::from_millis(120));
    }
    std::thread::sleep(std::time::Duration::from_millis(200));
    t.send("\r");
}
