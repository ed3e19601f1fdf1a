//! The round in a terminal: serial numbers come line by line, as a scanner types them.

use std::{
    io::Write,
    process::{Output, Stdio},
};

use copperwalk_tests::program::{Place, gauge};

/// What comes of these lines.
fn round(place: &Place, more: &[&str], typed: &str) -> Output {
    let gauge = gauge();
    let arguments = [&["sweep", gauge.as_str(), "--each", "--virtual", "--lot", "L-1"], more].concat();
    let mut child = place
        .command(&arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(typed.as_bytes()).unwrap();
    child.wait_with_output().unwrap()
}

#[test]
fn each_line_is_a_unit_and_the_worst_one_is_the_status() {
    let place = Place::new();
    let done = round(&place, &[], "A-1\nA-2\r\n\nA-3\n");
    let (said, asked) = (String::from_utf8_lossy(&done.stdout), String::from_utf8_lossy(&done.stderr));
    assert_eq!(done.status.code(), Some(0), "{asked}");
    for serial in ["A-1", "A-2", "A-3"] {
        assert!(said.contains(serial), "{said}");
        assert!(place.run(&["unit", serial, "--json"]).out.contains("\"verdict\": \"pass\""));
    }
    assert_eq!(asked.matches("serial number of the next unit:").count(), 4, "{asked}");
    let failed = round(&place, &["--fault", "cell fuse=open"], "B-1\n");
    assert_eq!(failed.status.code(), Some(1));
    // The verdict stands last, where a person looks.
    let said = String::from_utf8_lossy(&failed.stdout).into_owned();
    let tail: Vec<&str> = said.lines().rev().take(6).collect();
    assert!(tail.iter().any(|line| line.to_lowercase().contains("fail")), "{said}");
}

#[test]
fn a_line_that_is_no_serial_number_is_said_and_a_slip_is_scanned_again() {
    let place = Place::new();
    let done = round(&place, &[], "A-1\nA\u{202e}1\na-1\na-1\n");
    let asked = String::from_utf8_lossy(&done.stderr);
    assert!(asked.contains("cannot be seen (U+202E"), "{asked}");
    assert!(asked.contains("scan it again if that is meant"), "{asked}");
    assert_eq!(place.run(&["units", "--json"]).out.matches("\"serial\"").count(), 2);
}
