//! Plain files, and what else a path may lead to. Reading from a pipe or a device waits for whoever is at its
//! other end, and writing to one cannot be taken back, so both ends of the program ask here first.

use std::fs::FileType;

/// What a path leads to if it is no plain file; `None` if it is one.
pub fn not_plain(kind: FileType) -> Option<&'static str> {
    if kind.is_file() {
        return None;
    }
    if kind.is_dir() {
        return Some("a folder");
    }
    Some(special(kind))
}

#[cfg(unix)]
fn special(kind: FileType) -> &'static str {
    use std::os::unix::fs::FileTypeExt;
    if kind.is_fifo() {
        "a pipe"
    } else if kind.is_socket() {
        "a socket"
    } else {
        "a device"
    }
}

#[cfg(not(unix))]
fn special(_: FileType) -> &'static str {
    "no plain file"
}
