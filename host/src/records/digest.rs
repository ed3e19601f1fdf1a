//! Digests: SHA-256 over what a row says, so that an altered one does not pass for the one that was written.
//!
//! The bytes under a digest are canonical and independent of the database: every value is a byte for its kind and then
//! 1 byte (a truth value), 8 little-endian bytes (a whole number; the IEEE 754 bits of a real one), or a length in 8
//! little-endian bytes and the bytes themselves (text in UTF-8, bytes). A list is a whole number, its length, and the
//! values of its rows. What a digest is over begins with a word that says so.
//!
//! A digest proves nothing against somebody who alters a row and its digest: it is no signature.

use sha2::{Digest as _, Sha256};

use super::rows::Line;
use super::value::Value;

/// A digest under way.
pub(super) struct Digest(Sha256);

impl Digest {
    /// Over a `kind` of row.
    pub fn of(kind: &str) -> Self {
        let mut digest = Self(Sha256::new());
        digest.put(Value::Text(kind));
        digest
    }

    pub fn put<'v>(&mut self, value: impl Into<Value<'v>>) {
        let (kind, bytes): (u8, &[u8]) = match value.into() {
            Value::Empty => return self.0.update([0]),
            Value::Flag(flag) => return self.0.update([1, flag.into()]),
            Value::Whole(number) => return self.eight(2, number.to_le_bytes()),
            Value::Real(number) => return self.eight(3, number.to_bits().to_le_bytes()),
            Value::Text(text) => (4, text.as_bytes()),
            Value::Bytes(bytes) => (5, bytes),
        };
        self.eight(kind, (bytes.len() as u64).to_le_bytes());
        self.0.update(bytes);
    }

    fn eight(&mut self, kind: u8, [a, b, c, d, e, f, g, h]: [u8; 8]) {
        self.0.update([kind, a, b, c, d, e, f, g, h]);
    }

    pub fn values<'v>(mut self, values: impl IntoIterator<Item = Value<'v>>) -> Self {
        values.into_iter().for_each(|value| self.put(value));
        self
    }

    pub fn list<L: Line>(mut self, lines: &[L]) -> Self {
        self.put(lines.len() as i64);
        lines.iter().fold(self, |digest, line| digest.values(line.values()))
    }

    pub fn finish(self) -> Vec<u8> {
        self.0.finalize().to_vec()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The canonical bytes written out by hand from the rule above, under SHA-256 (FIPS 180-4) by the library.
    #[test]
    fn the_bytes_are_canonical() {
        let digest = Digest::of("k").values([Value::Empty, true.into(), (-2_i64).into(), 1.5.into()]);
        let mut bytes = vec![4, 1, 0, 0, 0, 0, 0, 0, 0, b'k', 0, 1, 1];
        bytes.extend([2, 0xfe, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff]);
        bytes.extend([3, 0, 0, 0, 0, 0, 0, 0xf8, 0x3f]);
        assert_eq!(digest.finish(), Sha256::digest(bytes).to_vec());
    }

    #[test]
    fn neighbours_do_not_run_together() {
        let of = |a: &str, b: &str| Digest::of("k").values([a.into(), b.into()]).finish();
        assert_ne!(of("ab", "c"), of("a", "bc"));
        assert_eq!(Value::from(-0.0), Value::from(0.0), "as SQLite gives it back");
        assert_eq!(Value::from(f64::NAN), Value::Empty);
    }
}
