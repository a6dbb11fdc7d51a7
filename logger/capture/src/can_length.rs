//! How long a classic frame holds the bus: its bits, with stuff bits and the pause after it.
//!
//! Bus load is the sum of these lengths over what the bit rate offers in the same time.
//!
//! ```
//! use wheelwitness_capture::can::{Frame, Id};
//! use wheelwitness_capture::can_length::{bits, worst_bits};
//!
//! let frame = Frame::data(Id::Standard(0x7e8), &[0x04, 0x41, 0x0c, 0x1a, 0xf8, 0, 0, 0]);
//! let frame = frame.expect("eight bytes");
//! assert_eq!(bits(&frame), Some(122));
//! assert_eq!(worst_bits(false, 8), 135);
//! ```

use crate::can::{Frame, Id};

/// Delimiters, acknowledgement, end of frame and the pause of 3 bits; never stuffed (ISO 11898-1).
const TAIL_BITS: u32 = 13;
const CRC_BITS: u32 = 15;
/// The generator of CAN's CRC-15, without its highest bit (ISO 11898-1).
const CRC_GENERATOR: u16 = 0x4599;
/// After so many equal bits one of the other kind is stuffed in.
const EQUAL_BITS: u32 = 5;

/// A row of bits, the first one highest. The longest, of 118 bits, has room.
#[derive(Debug, Clone, Copy, Default)]
struct Bits {
    row: u128,
    count: u32,
}

impl Bits {
    fn with(self, value: u32, count: u32) -> Bits {
        let mask = (1_u128 << count) - 1;
        Bits { row: self.row << count | (u128::from(value) & mask), count: self.count + count }
    }

    fn each(self) -> impl Iterator<Item = bool> {
        (0..self.count).rev().map(move |at| self.row >> at & 1 != 0)
    }
}

/// The bits of a classic frame on the bus, with stuff bits and the pause of 3 bits after it.
/// `None` for FD frames, whose bits are not all of one length, and for errors.
pub fn bits(frame: &Frame) -> Option<u32> {
    let body = with_crc(frame)?;
    Some(body.count + stuff_bits(body) + TAIL_BITS)
}

/// The CRC of a classic frame; `None` for other frames.
pub fn crc(frame: &Frame) -> Option<u16> {
    before_crc(frame).map(crc15)
}

/// The most bits that a classic frame with so many data bytes can have, with the pause (Davis,
/// Burns, Bril, Lukkien, Real-Time Systems 35 (2007) 239-272).
pub fn worst_bits(extended: bool, data_bytes: u8) -> u32 {
    let stuffable = stuffable_bits(extended, data_bytes);
    stuffable + TAIL_BITS + (stuffable - 1) / 4
}

/// The fewest: as if nothing had to be stuffed.
pub fn least_bits(extended: bool, data_bytes: u8) -> u32 {
    stuffable_bits(extended, data_bytes) + TAIL_BITS
}

/// From the start of the frame to its CRC.
fn stuffable_bits(extended: bool, data_bytes: u8) -> u32 {
    let head = if extended { 54 } else { 34 };
    head + 8 * u32::from(data_bytes)
}

/// From the start bit to the data. A dominant bit is 0.
fn before_crc(frame: &Frame) -> Option<Bits> {
    let (remote, length) = match frame {
        Frame::Data { data, .. } => (0, data.len() as u32),
        Frame::Remote { length, .. } => (1, u32::from(*length)),
        Frame::Fd { .. } | Frame::Error { .. } => return None,
    };
    let start = Bits::default().with(0, 1);
    let head = match frame.id()? {
        // Id, remote bit, one id only, reserved.
        Id::Standard(id) => start.with(u32::from(id), 11).with(remote, 1).with(0b00, 2),
        // High part of the id, two recessive bits, low part, remote bit, two reserved.
        Id::Extended(id) => {
            start.with(id >> 18, 11).with(0b11, 2).with(id, 18).with(remote, 1).with(0b00, 2)
        }
    };
    let bytes = frame.payload().iter();
    Some(bytes.fold(head.with(length, 4), |bits, byte| bits.with(u32::from(*byte), 8)))
}

fn with_crc(frame: &Frame) -> Option<Bits> {
    let bits = before_crc(frame)?;
    Some(bits.with(u32::from(crc15(bits)), CRC_BITS))
}

fn crc15(bits: Bits) -> u16 {
    bits.each().fold(0, |crc, bit| {
        let feedback = (crc >> (CRC_BITS - 1) & 1 != 0) != bit;
        let shifted = crc << 1 & 0x7fff;
        if feedback { shifted ^ CRC_GENERATOR } else { shifted }
    })
}

/// A stuffed bit is the first of the next run.
fn stuff_bits(bits: Bits) -> u32 {
    let (mut last, mut run, mut stuffed) = (None, 0, 0);
    for bit in bits.each() {
        run = if last == Some(bit) { run + 1 } else { 1 };
        last = Some(bit);
        if run == EQUAL_BITS {
            (last, run) = (Some(!bit), 1);
            stuffed += 1;
        }
    }
    stuffed
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Check value of CRC-15/CAN in the catalogue of parametrised CRC algorithms, from memory.
    #[test]
    fn the_crc_is_the_published_one() {
        let digits = b"123456789".iter().fold(Bits::default(), |b, d| b.with(u32::from(*d), 8));
        assert_eq!(crc15(digits), 0x059e);
    }
}
