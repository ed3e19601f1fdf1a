//! Raw codes as bytes: the shots of a run with what they were for, their codes and times, in postcard.
//!
//! postcard writes integers as little-endian groups of seven bits, signed ones zigzag: a 24-bit code takes one to
//! four bytes. The bytes do not describe themselves, so the number of their layout is kept beside them.

use crate::measurement::RunShot;

/// Layout of what [`pack`] writes: counts every change of [`RunShot`], [`Role`](crate::plan::Role) or the wire's
/// [`Shot`](copperwalk_wire::Shot) by which older bytes would be misread. New variants at the end of an enum are no
/// such change.
pub(super) const LAYOUT: i64 = 1;

pub(super) fn pack(shots: &[RunShot]) -> Result<Vec<u8>, postcard::Error> {
    postcard::to_allocvec(shots)
}

/// Nothing may be left over.
pub(super) fn unpack(bytes: &[u8]) -> Result<Vec<RunShot>, postcard::Error> {
    match postcard::take_from_bytes(bytes)? {
        (shots, []) => Ok(shots),
        _ => Err(postcard::Error::DeserializeBadEncoding),
    }
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::message::ShotEnd;
    use copperwalk_wire::{Contacts, Gain, Method, Rate, Ratio, Settle, Shot, Source, Stop};
    use proptest::prelude::*;
    use sha2::{Digest, Sha256};

    use super::*;
    use crate::board::{PointId, SegmentId};
    use crate::plan::Role;

    fn shot(role: Role, source: Source, method: Method, codes: Vec<i32>) -> RunShot {
        let contacts = Contacts { force_plus: Some(3), sense_minus: Some(47), ..Default::default() };
        RunShot {
            role,
            shot: Shot { contacts, source, method },
            codes,
            why: ShotEnd::Decided,
            from_us: 1,
            to_us: u32::MAX,
        }
    }

    fn bleed(codes: Vec<i32>) -> RunShot {
        shot(Role::Bleed, Source::Off, Method::Bleed { millis: 5 }, codes)
    }

    /// Vectors from the postcard wire format specification, "varint" and "zigzag" (from memory): zigzag maps
    /// 0, -1, 1, -2 to 0, 1, 2, 3; a varint's groups come lowest first, all but the last with the high bit set.
    #[test]
    fn codes_are_zigzag_varints() {
        let packed = pack(&[bleed(vec![0, -1, 1, -2, 64, -8_388_608])]).unwrap();
        let codes = [6, 0x00, 0x01, 0x02, 0x03, 0x80, 0x01, 0xff, 0xff, 0xff, 0x07];
        assert!(packed.windows(codes.len()).any(|window| window == codes), "{packed:02x?}");
    }

    /// Fails when the layout changes. Then count up [`LAYOUT`] and keep a reader for the old one, because records
    /// outlive the program that wrote them.
    #[test]
    fn the_layout_is_the_one_that_has_been_written_since_layout_1() {
        let stop =
            Stop { lo: -1.0, hi: 2.0, close: 0.5, sigma_a: 3.0, sigma_b: 4.0, rel: 5.0, abs: 6.0, k: 7.0 };
        let ratio = Ratio {
            gain_a: Gain::X128,
            gain_b: Gain::X2,
            rate: Rate::Sps1000,
            contact_check: true,
            ends: false,
            triples_min: 1,
            wait_us: 0,
            triples_max: 16,
            stop: Some(stop),
            gate: None,
        };
        let settle = Settle {
            gain_a: Gain::X4,
            gain_b: Gain::X64,
            rate: Rate::Sps20,
            window: 8,
            windows_max: 500,
            pass: 1.0,
            slope: 2.0,
            floor: 3.0,
        };
        let segment = Role::Segment { segment: SegmentId(300), turned: true };
        let seek = Role::Seek { point: PointId(2) };
        let shots = [
            shot(segment, Source::Load, Method::Ratio(ratio), vec![1, -1]),
            shot(seek, Source::Isolation, Method::Settle(settle), vec![]),
            bleed(vec![i32::MIN]),
        ];
        let digest = Sha256::digest(pack(&shots).unwrap());
        let hex: String = digest.iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(hex, "e086ee6364294cf803f62a673579ba09775a4b33b79cfbfa04714d731b92c381");
    }

    #[test]
    fn torn_or_padded_bytes_are_refused() {
        let packed = pack(&[bleed(vec![1, 2, 3])]).unwrap();
        assert!(unpack(&packed[..packed.len() - 1]).is_err());
        assert!(unpack(&[&packed[..], &[0]].concat()).is_err());
    }

    proptest! {
        #[test]
        fn codes_come_back(codes in prop::collection::vec(any::<i32>(), 0..50)) {
            let shots = vec![bleed(codes.clone()), bleed(codes)];
            prop_assert_eq!(unpack(&pack(&shots).unwrap()).unwrap(), shots);
        }

        #[test]
        fn garbage_never_panics(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let _ = unpack(&bytes);
        }
    }
}
