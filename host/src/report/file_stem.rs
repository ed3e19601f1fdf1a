//! A safe file name for a serial number, whatever was typed as one.

use crate::hash;

/// Longest stem that is kept as it is, in bytes; longer ones are cut and hashed. Far below the 255 bytes a file name
/// may have on common file systems, so that an extension and a folder always fit.
const LONGEST: usize = 48;

/// Hex digits of the hash behind a name that was made safe: two of 10,000 serials agree in them once in 20,000 stores.
const HASH_DIGITS: usize = 10;

/// Names a file on some systems cannot have, whatever its extension (device names of DOS descent, from memory).
const RESERVED: [&str; 4] = ["CON", "PRN", "AUX", "NUL"];

/// A file name, without extension, for a serial number: letters, digits and `-` only, at most 60 bytes, and no two
/// serials share one.
///
/// A serial of capitals, digits and `-` names its file itself. Anything else is made safe and gets `_` and ten hex
/// digits of its SHA-256: `a/b` and `a?b` stay apart, and so do `sn1` and `SN1` where file names have no case.
pub fn file_stem(serial: &str) -> String {
    if is_plain(serial) {
        return serial.to_owned();
    }
    let mut stem = String::new();
    for c in serial.chars() {
        if stem.len() == LONGEST {
            break;
        }
        if c.is_ascii_alphanumeric() {
            stem.push(c);
        } else if !stem.is_empty() && !stem.ends_with('-') {
            stem.push('-');
        }
    }
    let mut stem = stem.trim_end_matches('-').to_owned();
    stem.push('_');
    stem.extend(hash::of(serial).chars().take(HASH_DIGITS));
    stem
}

/// May the serial be its own file name?
fn is_plain(serial: &str) -> bool {
    let device = serial.strip_prefix("COM").or(serial.strip_prefix("LPT"));
    serial.starts_with(|c: char| c.is_ascii_uppercase() || c.is_ascii_digit())
        && serial.len() <= LONGEST
        && serial.bytes().all(|b| b.is_ascii_uppercase() || b.is_ascii_digit() || b == b'-')
        && !RESERVED.contains(&serial)
        && device.is_none_or(|rest| rest.len() != 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    const NASTY: [&str; 17] = [
        "",
        ".",
        "..",
        "../../etc/passwd",
        "a/b",
        "a?b",
        "a\\b",
        "sn1",
        "SN1",
        "Sn1",
        "CON",
        "COM1",
        "-rf",
        "x\0y",
        "<script>alert(1)</script>",
        "\"quoted\"",
        "日本語",
    ];

    #[test]
    fn a_plain_serial_names_its_own_file() {
        assert_eq!(file_stem("TG-0042"), "TG-0042");
        assert_eq!(file_stem("190731"), "190731");
    }

    #[test]
    fn nasty_serials_are_safe_and_stay_apart() {
        let stems: BTreeSet<String> = NASTY.iter().map(|serial| file_stem(serial).to_lowercase()).collect();
        assert_eq!(stems.len(), NASTY.len(), "{stems:?}");
        for stem in &stems {
            assert!(stem.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_'), "{stem}");
            assert!(
                !stem.starts_with('-') && !stem.is_empty() && !RESERVED.contains(&stem.as_str()),
                "{stem}"
            );
        }
        assert!(file_stem("../../etc/passwd").starts_with("etc-passwd_"));
    }

    proptest! {
        #[test]
        fn any_serial_gives_a_short_name_in_plain_letters(serial in "(?s).{0,400}") {
            let stem = file_stem(&serial);
            prop_assert!(!stem.is_empty() && stem.len() <= LONGEST + 11);
            prop_assert!(stem.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_'));
        }

        #[test]
        fn two_serials_never_share_a_name(a in "[a-cA-C/._-]{1,4}", b in "[a-cA-C/._-]{1,4}") {
            prop_assume!(a != b);
            prop_assert_ne!(file_stem(&a).to_lowercase(), file_stem(&b).to_lowercase());
        }
    }
}
