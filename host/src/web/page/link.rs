//! Addresses of the pages. What a person typed stands in them percent-encoded (RFC 3986), so that any serial number has a page.

use std::fmt::Write;

use crate::{records::SweepId, report::html::Links};

/// Ways from one report to the others.
pub const LINKS: Links<'static> = Links {
    lot: &|name| Some(lot(name)),
    unit: &|serial| Some(unit(serial)),
    sweep: &|_, id| Some(sweep(id)),
    ..Links::NONE
};

/// The page of a unit.
pub fn unit(serial: &str) -> String {
    format!("/units/{}", encoded(serial))
}

/// The page of a lot.
pub fn lot(name: &str) -> String {
    format!("/lots/{}", encoded(name))
}

/// The page of a sweep.
pub fn sweep(id: SweepId) -> String {
    format!("/sweeps/{id}")
}

/// The page of a fixture's board.
pub fn board(fixture: &str) -> String {
    format!("/boards/{}", encoded(fixture))
}

/// The editor of a board of the fixtures' folder.
pub fn editor(key: &str) -> String {
    format!("/editor/{}", encoded(key))
}

/// An address that a form sent back: one of the lists, or the list of units where it is anything else, so that nobody is
/// led away from here.
pub fn here_only(address: &str) -> String {
    let is_list =
        address == "/units" || address.starts_with("/lots/") && !address.contains([':', '\\', '\r', '\n']);
    if is_list { address.to_owned() } else { "/units".to_owned() }
}

/// Percent-encoded: everything but the unreserved characters of RFC 3986, section 2.3.
pub fn encoded(text: &str) -> String {
    let mut encoded = String::with_capacity(text.len());
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            encoded.push(char::from(byte));
        } else {
            // Writing to a string cannot fail.
            let _ = write!(encoded, "%{byte:02X}");
        }
    }
    encoded
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_serial_number_has_an_address() {
        assert_eq!(unit("A-1"), "/units/A-1");
        assert_eq!(unit("7/2024 #3?"), "/units/7%2F2024%20%233%3F");
        assert_eq!(unit("№ 1"), "/units/%E2%84%96%201");
    }

    #[test]
    fn nobody_is_led_away() {
        assert_eq!(here_only(&lot("a:b/c")), "/lots/a%3Ab%2Fc");
        for away in ["//elsewhere", "https://elsewhere/lots/", "/\\elsewhere", "/lots/\r\nSet-Cookie: a", ""]
        {
            assert_eq!(here_only(away), "/units");
        }
    }
}
