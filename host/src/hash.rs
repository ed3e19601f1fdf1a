//! SHA-256 in lower-case hex: what files, limit sets and plans are named by in records and reports.

use sha2::{Digest, Sha256};

/// SHA-256 of bytes as they are, 64 digits.
pub fn of(bytes: impl AsRef<[u8]>) -> String {
    hex(&Sha256::digest(bytes))
}

/// Bytes in lower-case hex, two digits each.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    /// FIPS 180-4 example "abc", from memory.
    #[test]
    fn files_are_named_by_plain_sha_256() {
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(super::of("abc"), expected);
    }

    #[test]
    fn every_byte_takes_two_digits() {
        assert_eq!(super::hex(&[0, 0x0a, 0xff]), "000aff");
        assert_eq!(super::hex(&[]), "");
    }
}
