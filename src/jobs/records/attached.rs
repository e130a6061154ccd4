//! Files that belong to records: named by a path from the folder of the store, told apart by size and digest. An absolute
//! path, and one that leads out of that folder, are taken as they are and said: a copy of the store elsewhere has no such file.

use std::io::{ErrorKind, Read};
use std::path::{Component, Path};

use sha2::{Digest, Sha256};

use records::Record;
use records::catalogue::Attachments;
use records::file::paths::{odd, open_plain};

/// What of a path should be known when it is typed in. An error: nothing of that sort can be attached.
///
/// # Errors
/// What stands there is a folder, a pipe, a socket or a device. A file that is not there yet is none.
pub fn look(folder: &Path, path: &str) -> Result<Option<String>, String> {
    if let Ok(there) = std::fs::metadata(folder.join(path))
        && let Some(what) = odd(there.file_type())
    {
        return Err(format!("is {what}; a plain file can be attached"));
    }
    let mut depth = 0_i32;
    let mut out = Path::new(path).is_absolute();
    for part in Path::new(path).components() {
        match part {
            Component::ParentDir => depth -= 1,
            Component::Normal(_) => depth += 1,
            _ => {}
        }
        out |= depth < 0;
    }
    Ok(out.then(|| {
        "leads out of the folder of the store; a copy of the store elsewhere won't find the file".into()
    }))
}

fn unread(e: &std::io::Error) -> String {
    match e.kind() {
        ErrorKind::NotFound => "is not there".into(),
        // What is no plain file says so itself.
        ErrorKind::Other => e.to_string(),
        _ => format!("cannot be read: {e}"),
    }
}

/// Whether the file of an attachment is the one that was recorded.
///
/// # Errors
/// Why not, in words that follow the name of the file.
pub fn check(folder: &Path, attachment: &Record) -> Result<(), String> {
    let Some(recorded) = attachment.of::<Attachments>() else { return Err("is no attachment".into()) };
    let path = recorded.cell(Attachments::path).to_text();
    let mut file = open_plain(&folder.join(path)).map_err(|e| unread(&e))?;
    let other = "is not the one recorded";
    let size = file.metadata().map_err(|e| unread(&e))?.len();
    if let Some(wanted) = recorded.get(Attachments::bytes).filter(|n| *n != size as i64) {
        return Err(format!("{other}: it has {size} bytes, not {wanted}"));
    }
    let mut hasher = Sha256::new();
    let mut block = vec![0; 65_536];
    let mut seen = 0_u64;
    loop {
        match file.read(&mut block) {
            Ok(0) => break,
            // Whoever appends to it while it is read does not keep us here.
            Ok(n) if seen + n as u64 > size => return Err("is being written just now".into()),
            Ok(n) => {
                hasher.update(&block[..n]);
                seen += n as u64;
            }
            Err(e) => return Err(unread(&e)),
        }
    }
    if seen < size {
        return Err("is being written just now".into());
    }
    let found: String = hasher.finalize().iter().map(|b| format!("{b:02x}")).collect();
    match found.eq_ignore_ascii_case(&recorded.cell(Attachments::sha256).to_text()) {
        true => Ok(()),
        false => Err(other.into()),
    }
}
