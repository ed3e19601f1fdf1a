//! How a message becomes bytes: postcard with a trailing CRC-32 (ISO-HDLC), stuffed by COBS, closed by a zero.
//!
//! The reader takes bytes as they come, in any pieces, and gives whole frames. A frame that is too long,
//! torn or altered costs that frame only: the next zero byte starts afresh.

use crc::{CRC_32_ISO_HDLC, Crc};
use serde::{Serialize, de::DeserializeOwned};

use crate::MAX_FRAME;

/// CRC-32/ISO-HDLC, check value CBF43926 over "123456789" (catalogue of parametrised CRC algorithms).
static CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// Longest packed message before COBS: one byte of overhead (MAX_FRAME ≤ 256) and the closing zero.
const MAX_PACKED: usize = MAX_FRAME - 2;

/// Longest frame without its closing zero.
const MAX_STUFFED: usize = MAX_FRAME - 1;

/// Why bytes are not a frame.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum FrameError {
    /// Longer than [`MAX_FRAME`].
    TooLong,
    /// The COBS stuffing is broken: bytes are missing or added.
    Stuffing,
    /// The checksum does not fit, or what is packed is no message of this protocol.
    Content,
}

/// Packs a message into a frame, closing zero included, and returns the used part of `buffer`.
pub fn encode<'b, T: Serialize>(
    message: &T,
    buffer: &'b mut [u8; MAX_FRAME],
) -> Result<&'b [u8], FrameError> {
    let mut packed = [0; MAX_PACKED];
    let packed =
        postcard::to_slice_crc32(message, &mut packed, CRC.digest()).map_err(|_| FrameError::TooLong)?;
    let used = cobs::encode(packed, buffer);
    // Room for the zero: MAX_PACKED leaves two bytes.
    *buffer.get_mut(used).ok_or(FrameError::TooLong)? = 0;
    buffer.get(..=used).ok_or(FrameError::TooLong)
}

/// Unpacks one frame, given without its closing zero.
pub fn decode<T: DeserializeOwned>(frame: &[u8]) -> Result<T, FrameError> {
    let mut packed = [0; MAX_FRAME];
    if frame.len() > MAX_STUFFED {
        return Err(FrameError::TooLong);
    }
    let length = cobs::decode(frame, &mut packed).map_err(|_| FrameError::Stuffing)?;
    let packed = packed.get(..length).ok_or(FrameError::Stuffing)?;
    match postcard::take_from_bytes_crc32(packed, CRC.digest()) {
        Ok((message, [])) => Ok(message),
        _ => Err(FrameError::Content),
    }
}

/// Collects bytes until a frame is whole.
#[derive(Debug)]
pub struct FrameReader {
    bytes: [u8; MAX_STUFFED],
    length: usize,
    /// The frame under way is already longer than allowed; wait for its end.
    overlong: bool,
}

impl FrameReader {
    /// A reader at the start of a frame.
    pub const fn new() -> Self {
        Self { bytes: [0; MAX_STUFFED], length: 0, overlong: false }
    }

    /// Takes one byte. `None`: not all here yet.
    pub fn push<T: DeserializeOwned>(&mut self, byte: u8) -> Option<Result<T, FrameError>> {
        if byte != 0 {
            match self.bytes.get_mut(self.length) {
                Some(slot) => {
                    *slot = byte;
                    self.length += 1;
                }
                None => self.overlong = true,
            }
            return None;
        }
        let length = core::mem::take(&mut self.length);
        if core::mem::take(&mut self.overlong) {
            return Some(Err(FrameError::TooLong));
        }
        // A zero on its own is a harmless resynchronisation.
        (length > 0).then(|| decode(self.bytes.get(..length).unwrap_or_default()))
    }
}

impl Default for FrameReader {
    fn default() -> Self {
        Self::new()
    }
}
