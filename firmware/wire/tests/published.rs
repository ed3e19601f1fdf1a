//! The three layers of a frame against what others have published about them.

// Everything here is a test; the lints know only functions marked so.
#![allow(clippy::unwrap_used)]

use core::fmt::Debug;

use copperwalk_wire::{MAX_FRAME, Packet, ToBench, decode, encode};
use crc::{
    Algorithm, CRC_16_IBM_3740, CRC_16_IBM_SDLC, CRC_16_KERMIT, CRC_16_XMODEM, CRC_32_ISCSI, CRC_32_ISO_HDLC,
    Crc,
};
use serde::{Serialize, de::DeserializeOwned};

/// Check values over "123456789" from the catalogue of parametrised CRC algorithms; those of XMODEM and KERMIT
/// recomputed. The neighbours must not be mistaken for the one the frames use.
#[test]
fn checksums_have_their_catalogued_check_values() {
    const DIGITS: &[u8] = b"123456789";
    let short = |algorithm: &'static Algorithm<u16>| Crc::<u16>::new(algorithm).checksum(DIGITS);
    let long = |algorithm: &'static Algorithm<u32>, bytes| Crc::<u32>::new(algorithm).checksum(bytes);
    assert_eq!(long(&CRC_32_ISO_HDLC, DIGITS), 0xCBF4_3926);
    assert_eq!(long(&CRC_32_ISO_HDLC, b""), 0);
    assert_eq!(long(&CRC_32_ISO_HDLC, b"a"), 0xE8B7_BE43);
    assert_eq!(long(&CRC_32_ISCSI, DIGITS), 0xE306_9283);
    assert_eq!(long(&CRC_32_ISCSI, b"a"), 0xC1D0_4330);
    assert_eq!(short(&CRC_16_IBM_SDLC), 0x906E);
    assert_eq!(short(&CRC_16_IBM_3740), 0x29B1);
    assert_eq!(short(&CRC_16_XMODEM), 0x31C3);
    assert_eq!(short(&CRC_16_KERMIT), 0x2189);
}

/// A whole frame by hand: postcard, then the CRC-32/ISO-HDLC of it, least significant byte first, then COBS and
/// the closing zero. Any other checksum in its place is refused.
#[test]
fn a_frame_is_postcard_with_the_iso_hdlc_checksum_in_cobs() {
    let packet = Packet { seq: 0x0102, body: ToBench::Hello { protocol: 1 } };
    // 0x0102 = 258 as varint, variant 0, protocol 1.
    let message = [0x82, 0x02, 0x00, 0x01];
    let frame = |algorithm: &'static Algorithm<u32>| {
        let check = Crc::<u32>::new(algorithm).checksum(&message).to_le_bytes();
        let packed = [message.as_slice(), check.as_slice()].concat();
        let mut stuffed = vec![0; MAX_FRAME];
        let used = cobs::encode(&packed, &mut stuffed);
        stuffed.truncate(used);
        stuffed
    };
    let right = frame(&CRC_32_ISO_HDLC);
    let mut buffer = [0; MAX_FRAME];
    assert_eq!(encode(&packet, &mut buffer), Ok([right.as_slice(), &[0]].concat().as_slice()));
    assert_eq!(decode(&right), Ok(packet));
    assert!(decode::<Packet<ToBench>>(&frame(&CRC_32_ISCSI)).is_err());
}

/// The table of Cheshire and Baker (IEEE/ACM Transactions on Networking 7(2), 1999) as commonly reprinted, with
/// the lengths of the long rows recomputed by an independent implementation. The closing zero is not shown.
#[test]
fn stuffing_follows_the_published_table() {
    let run = |range: std::ops::RangeInclusive<u8>| range.collect::<Vec<u8>>();
    let rows: [(Vec<u8>, Vec<u8>); 10] = [
        (vec![], vec![0x01]),
        (vec![0x00], vec![0x01, 0x01]),
        (vec![0x00, 0x00], vec![0x01, 0x01, 0x01]),
        (vec![0x11, 0x22, 0x00, 0x33], vec![0x03, 0x11, 0x22, 0x02, 0x33]),
        (vec![0x11, 0x22, 0x33, 0x44], vec![0x05, 0x11, 0x22, 0x33, 0x44]),
        (vec![0x11, 0x00, 0x00, 0x00], vec![0x02, 0x11, 0x01, 0x01, 0x01]),
        (run(0x00..=0xFE), [vec![0x01, 0xFF], run(0x01..=0xFE)].concat()),
        (run(0x01..=0xFF), [vec![0xFF], run(0x01..=0xFE), vec![0x02, 0xFF]].concat()),
        ([run(0x02..=0xFF), vec![0]].concat(), [vec![0xFF], run(0x02..=0xFF), vec![0x01, 0x01]].concat()),
        ([run(0x03..=0xFF), vec![0, 1]].concat(), [vec![0xFE], run(0x03..=0xFF), vec![0x02, 0x01]].concat()),
    ];
    for (plain, stuffed) in rows {
        let mut buffer = [0xAA; 300];
        let used = cobs::encode(&plain, &mut buffer);
        // The empty message is the one row this encoder leaves out; no frame is empty.
        assert_eq!(
            buffer[..used],
            stuffed[..if plain.is_empty() { 0 } else { stuffed.len() }],
            "{plain:02X?}"
        );
        let mut back = [0xAA; 300];
        let used = cobs::decode(&stuffed, &mut back).unwrap();
        assert_eq!(back[..used], plain);
    }
    // 254 bytes without a zero, the longest single block: some encoders end it with an empty one, and both forms
    // decode to the same.
    let mut buffer = [0; 300];
    let used = cobs::encode(&run(0x01..=0xFE), &mut buffer);
    assert_eq!(buffer[..255], [vec![0xFF], run(0x01..=0xFE)].concat());
    assert!(used == 255 || (used == 256 && buffer[255] == 0x01), "{used}");
}

fn both_ways<T: Serialize + DeserializeOwned + PartialEq + Debug>(value: T, bytes: &[u8]) {
    let mut buffer = [0; 64];
    assert_eq!(postcard::to_slice(&value, &mut buffer).unwrap(), bytes, "{value:?}");
    assert_eq!(postcard::from_bytes::<T>(bytes).as_ref(), Ok(&value));
}

/// Examples of the postcard wire format specification, version 1 (spec/src/wire-format.md of its repository).
///
/// The row for 32767 as i16 is by arithmetic: its zigzag is FFFEh, which is FE FF 03; a stored revision of the
/// specification prints FF FF 02 there, which would be 49151 unsigned.
#[test]
fn packing_follows_the_specification() {
    for (value, bytes) in [
        (0_u16, &[0x00][..]),
        (127, &[0x7F]),
        (128, &[0x80, 0x01]),
        (16_383, &[0xFF, 0x7F]),
        (16_384, &[0x80, 0x80, 0x01]),
        (16_385, &[0x81, 0x80, 0x01]),
        (65_535, &[0xFF, 0xFF, 0x03]),
    ] {
        both_ways(value, bytes);
    }
    for (value, bytes) in [
        (0_i16, &[0x00][..]),
        (-1, &[0x01]),
        (1, &[0x02]),
        (63, &[0x7E]),
        (-64, &[0x7F]),
        (64, &[0x80, 0x01]),
        (-65, &[0x81, 0x01]),
        (32_767, &[0xFE, 0xFF, 0x03]),
        (-32_768, &[0xFF, 0xFF, 0x03]),
    ] {
        both_ways(value, bytes);
    }
    // -32.005859375 in the specification; the nearest f32 is the same.
    both_ways(-32.005_86_f32, &[0x00, 0x06, 0x00, 0xC2]);
    both_ways(-32.005_859_375_f64, &[0x00, 0x00, 0x00, 0x00, 0xC0, 0x00, 0x40, 0xC0]);
    both_ways(true, &[1]);
    both_ways(Some(7_u8), &[1, 7]);
    both_ways(None::<u8>, &[0]);
    both_ways(-2_i8, &[0xFE]);
    both_ways([0x80_u16, 1], &[0x80, 0x01, 0x01]);
    // The longest u16, u32 and u64.
    both_ways(u32::MAX, &[0xFF, 0xFF, 0xFF, 0xFF, 0x0F]);
    both_ways(u64::MAX, &[0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x01]);
}

/// What the specification accepts and refuses of a u16 that is not in its shortest form.
#[test]
fn integers_that_are_too_long_or_too_large_are_refused() {
    for bytes in [&[0x80, 0x00][..], &[0x80, 0x80, 0x00]] {
        assert_eq!(postcard::from_bytes::<u16>(bytes), Ok(0));
    }
    for bytes in [&[0x80, 0x80, 0x80, 0x00][..], &[0xFF, 0xFF, 0x07], &[0xFF, 0xFF, 0x83, 0x00], &[0x80], &[]]
    {
        assert!(postcard::from_bytes::<u16>(bytes).is_err(), "{bytes:02X?}");
    }
    assert!(postcard::from_bytes::<bool>(&[2]).is_err());
}
