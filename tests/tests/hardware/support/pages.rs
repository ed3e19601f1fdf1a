//! Tables in the documentation that are made from data: a test makes them again and compares.

#![allow(dead_code, reason = "each test file uses its own part of this")]

use std::{env, fs};

use super::bench;

/// The page holds this text between `<!-- begin NAME -->` and `<!-- end NAME -->`. With `UPDATE_DOCS` set in the
/// environment it is written there instead.
pub fn holds(page: &str, name: &str, text: &str) {
    let (begin, end) = (format!("<!-- begin {name} -->\n"), format!("<!-- end {name} -->"));
    let whole = bench::read(page);
    let (before, rest) = whole.split_once(&begin).unwrap_or_else(|| panic!("{page} lacks {begin}"));
    let (found, after) = rest.split_once(&end).unwrap_or_else(|| panic!("{page} lacks {end}"));
    if env::var_os("UPDATE_DOCS").is_some() {
        fs::write(bench::file(page), format!("{before}{begin}{text}{end}{after}")).unwrap();
    } else {
        assert!(
            found == text,
            "{page}: the {name} is not what the data say; UPDATE_DOCS=1 on this test writes it:\n{text}"
        );
    }
}

/// A generated file holds this text; written instead with `UPDATE_DOCS` set.
pub fn is(path: &str, text: &str) {
    if env::var_os("UPDATE_DOCS").is_some() {
        fs::write(bench::file(path), text).unwrap();
    } else {
        assert!(
            bench::read(path) == text,
            "{path} is not what the data say; UPDATE_DOCS=1 on this test writes it"
        );
    }
}
