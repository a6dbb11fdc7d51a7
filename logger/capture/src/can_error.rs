//! What an error frame says, in words: classes and details of `linux/can/error.h`.
//!
//! An error frame never travelled on the bus. The controller's driver made it, to tell what it saw
//! there: a transmission nobody acknowledged, a wire that is off, too many errors.

use std::fmt;

/// The error counters are in the details (byte 6 transmit, byte 7 receive).
pub const COUNTERS: u32 = 0x200;

/// Classes of error: bit, and what it means. The details of some stand in the bytes named.
const CLASSES: [(u32, &str); 9] = [
    (0x001, "transmission timed out"),
    (0x002, "lost arbitration"),
    (0x004, "controller problem"),
    (0x008, "protocol violation"),
    (0x010, "transceiver problem"),
    (0x020, "nobody acknowledged"),
    (0x040, "bus off"),
    (0x080, "bus error"),
    (0x100, "controller restarted"),
];

/// Byte 1: the controller.
const CONTROLLER: [(u8, &str); 7] = [
    (0x01, "receive buffer overflowed"),
    (0x02, "transmit buffer overflowed"),
    (0x04, "warning level of receive errors"),
    (0x08, "warning level of transmit errors"),
    (0x10, "error passive by receive errors"),
    (0x20, "error passive by transmit errors"),
    (0x40, "error active again"),
];

/// Byte 2: the kind of a protocol violation.
const PROTOCOL: [(u8, &str); 8] = [
    (0x01, "wrong bit"),
    (0x02, "wrong frame format"),
    (0x04, "wrong bit stuffing"),
    (0x08, "dominant bit not seen"),
    (0x10, "recessive bit not seen"),
    (0x20, "bus overload"),
    (0x40, "active error announced"),
    (0x80, "while transmitting"),
];

/// Byte 3: where in the frame a protocol was violated. Numbers, not bits.
const PLACE: [(u8, &str); 20] = [
    (0x03, "start of frame"),
    (0x02, "id bits 28 to 21"),
    (0x06, "id bits 20 to 18"),
    (0x04, "substitute remote request bit"),
    (0x05, "id extension bit"),
    (0x07, "id bits 17 to 13"),
    (0x0f, "id bits 12 to 5"),
    (0x0e, "id bits 4 to 0"),
    (0x0c, "remote request bit"),
    (0x0d, "reserved bit 1"),
    (0x09, "reserved bit 0"),
    (0x0b, "length"),
    (0x0a, "data"),
    (0x08, "CRC"),
    (0x18, "CRC delimiter"),
    (0x19, "acknowledge slot"),
    (0x1b, "acknowledge delimiter"),
    (0x1a, "end of frame"),
    (0x12, "intermission"),
    (0x00, ""),
];

/// Byte 4, low half: the wire CAN high. Numbers, not bits.
const HIGH_WIRE: [(u8, &str); 5] = [
    (0x00, ""),
    (0x04, "CAN high not connected"),
    (0x05, "CAN high shorted to battery"),
    (0x06, "CAN high shorted to supply"),
    (0x07, "CAN high shorted to ground"),
];

/// Byte 4, high half: the wire CAN low. Numbers, not bits.
const LOW_WIRE: [(u8, &str); 6] = [
    (0x00, ""),
    (0x40, "CAN low not connected"),
    (0x50, "CAN low shorted to battery"),
    (0x60, "CAN low shorted to supply"),
    (0x70, "CAN low shorted to ground"),
    (0x80, "CAN low shorted to CAN high"),
];

/// An error frame, to be looked into.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BusError {
    /// The classes, as bits.
    pub classes: u32,
    /// The details.
    pub details: [u8; 8],
}

/// The controller's error counters. From 96 on it warns, from 128 on it is error passive, and when
/// the transmit counter passes 255 it goes off the bus (ISO 11898-1, from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Counters {
    /// Of transmissions.
    pub transmit: u8,
    /// Of receptions.
    pub receive: u8,
}

impl BusError {
    /// What the known classes mean, from the lowest bit to the highest.
    pub fn classes(&self) -> impl Iterator<Item = &'static str> {
        let set = self.classes;
        CLASSES.iter().filter(move |(bit, _)| set & bit != 0).map(|(_, word)| *word)
    }

    /// Bits of classes that this program does not know.
    pub fn unknown_classes(&self) -> u32 {
        CLASSES.iter().fold(self.classes & !COUNTERS, |left, (bit, _)| left & !bit)
    }

    /// The error counters, if the driver says that they are there.
    pub fn counters(&self) -> Option<Counters> {
        let [.., transmit, receive] = self.details;
        (self.classes & COUNTERS != 0).then_some(Counters { transmit, receive })
    }

    /// Whether the controller has gone off the bus.
    pub fn is_bus_off(&self) -> bool {
        self.classes & 0x40 != 0
    }

    /// What the details mean; what is unknown stands there as a number.
    pub fn details(&self) -> Vec<String> {
        let [arbitration, controller, protocol, place, wires, ..] = self.details;
        let mut words = Vec::new();
        if arbitration != 0 {
            words.push(format!("lost at bit {arbitration}"));
        }
        bits(&mut words, 1, controller, &CONTROLLER);
        bits(&mut words, 2, protocol, &PROTOCOL);
        number(&mut words, 3, place, &PLACE);
        number(&mut words, 4, wires & 0x0f, &HIGH_WIRE);
        number(&mut words, 4, wires & 0xf0, &LOW_WIRE);
        let rest = if self.counters().is_some() { 5..6 } else { 5..8 };
        for byte in rest.filter(|byte| self.details[*byte] != 0) {
            words.push(unknown(byte, self.details[byte]));
        }
        words
    }
}

fn unknown(byte: usize, value: u8) -> String {
    format!("byte {byte}: {value:02X}")
}

fn bits(words: &mut Vec<String>, byte: usize, value: u8, table: &[(u8, &str)]) {
    let known = table.iter().filter(|(bit, _)| value & bit != 0);
    words.extend(known.map(|(_, word)| (*word).to_owned()));
    let left = table.iter().fold(value, |left, (bit, _)| left & !bit);
    if left != 0 {
        words.push(unknown(byte, left));
    }
}

fn number(words: &mut Vec<String>, byte: usize, value: u8, table: &[(u8, &str)]) {
    match table.iter().find(|(code, _)| *code == value) {
        Some((_, "")) => {}
        Some((_, word)) => words.push((*word).to_owned()),
        None => words.push(unknown(byte, value)),
    }
}

/// Such as `bus error, protocol violation (wrong bit stuffing, data)`.
impl fmt::Display for BusError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut classes: Vec<String> = self.classes().map(str::to_owned).collect();
        if self.unknown_classes() != 0 {
            classes.push(format!("class {:X}", self.unknown_classes()));
        }
        if classes.is_empty() {
            classes.push("error of no class".into());
        }
        let mut details = self.details();
        if let Some(Counters { transmit, receive }) = self.counters() {
            details.push(format!("transmit errors {transmit}, receive errors {receive}"));
        }
        f.write_str(&classes.join(", "))?;
        if details.is_empty() { Ok(()) } else { write!(f, " ({})", details.join(", ")) }
    }
}
