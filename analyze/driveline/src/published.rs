//! Published messages on a bus: where their signals are, as a table.
//!
//! Sources: SAE J1939-71 (December 2003) for the messages named `j1939-`, from memory and from
//! several public decoders that agree, the standard itself was not opened; SAE J1979 and
//! ISO 15031-5 for the answers named `obd-`, on ISO 15765-4, likewise.

use crate::vehicle::{LockField, Message, Place, Signal};

/// How a frame is found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Address {
    /// By the parameter group number alone: any priority, any source address.
    Group(u32),
    /// The answer to a request for this parameter, of one responder or of any.
    Answer {
        /// Parameter identifier.
        pid: u8,
        /// The responder's identifier, where one is meant.
        responder: Option<u32>,
    },
    /// Exactly this identifier.
    Exact {
        /// Identifier.
        id: u32,
        /// 29 bits.
        extended: bool,
    },
}

/// What raw values of a part mean besides a quantity.
#[derive(Debug, Clone, PartialEq)]
pub enum Codes {
    /// Every raw value is a quantity.
    None,
    /// SAE J1939-71: the highest byte up to 0xFA is a quantity, 0xFE is an error, 0xFF is not
    /// available, and nothing is said by what lies between.
    Parameter,
    /// The same, and both ends of the scale mean "this or beyond".
    Relative,
    /// SAE J1939-71, two bits: 00 off, 01 on, 10 error, 11 not available.
    TwoBits,
    /// As a vehicle file says.
    Own {
        /// Not available.
        not_available: Vec<i64>,
        /// Error.
        error: Vec<i64>,
        /// Least and largest quantity.
        valid: Option<[f64; 2]>,
    },
}

/// A run of bits that is a quantity; some quantities are the sum of two.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// First bit, see [`crate::vehicle::ByteOrder`].
    pub start_bit: u16,
    /// Number of bits.
    pub length: u8,
    /// Most significant byte first.
    pub big: bool,
    /// Two's complement.
    pub signed: bool,
    /// Quantity per raw step.
    pub factor: f64,
    /// Quantity at raw 0.
    pub offset: f64,
    /// What raw values mean besides.
    pub codes: Codes,
}

const fn part(start_bit: u16, length: u8, factor: f64, offset: f64, codes: Codes) -> Part {
    Part { start_bit, length, big: false, signed: false, factor, offset, codes }
}

/// Largest raw value of a one-byte parameter that is a quantity (SAE J1939-71).
pub const BYTE_MAX: i64 = 0xFA;

/// Parameter groups by message, with their parameter group number.
const GROUPS: [(Message, u32); 6] = [
    (Message::J1939Ebc2, 65_215),
    (Message::J1939Hrw, 65_134),
    (Message::J1939Ccvs, 65_265),
    (Message::J1939Eac1, 61_446),
    (Message::J1939Fwd, 64_991),
    (Message::J1939Etc1, 61_442),
];

/// Wheels in the order in which both wheel speed messages have them (front axle, first rear axle).
const WHEELS: [Place; 4] = [Place::FrontLeft, Place::FrontRight, Place::RearLeft, Place::RearRight];

/// Locks of `j1939-eac1`, two bits each from the second byte on (SPN 567 to 570, 564 to 566).
const LOCKS: [LockField; 7] = [
    LockField::FrontAxle1,
    LockField::FrontAxle2,
    LockField::RearAxle1,
    LockField::RearAxle2,
    LockField::Central,
    LockField::CentralFront,
    LockField::CentralRear,
];

/// How the frame of a published message is found.
pub fn address(message: Message, responder: Option<u32>) -> Address {
    let group = GROUPS.iter().find(|g| g.0 == message);
    match group {
        Some((_, pgn)) => Address::Group(*pgn),
        None => {
            let pid = if message == Message::ObdEngineSpeed { 0x0C } else { 0x0D };
            Address::Answer { pid, responder }
        }
    }
}

/// The parts of a signal of a published message; their sum is the quantity. Empty where the place
/// or lock is not in the message.
pub fn parts(signal: &Signal, message: Message) -> Vec<Part> {
    let wheel = WHEELS.iter().position(|w| signal.place == Some(*w)).map(|k| k as u16);
    let lock = LOCKS.iter().position(|l| signal.field == Some(*l)).map(|k| k as u16);
    let speed = |start_bit| part(start_bit, 16, 1.0 / 256.0, 0.0, Codes::Parameter);
    let relative = |k| part(16 + 8 * k, 8, 1.0 / 16.0, -7.8125, Codes::Relative);
    match message {
        Message::J1939Ebc2 => wheel.map_or(Vec::new(), |k| vec![speed(0), relative(k)]),
        Message::J1939Hrw => wheel.map_or(Vec::new(), |k| vec![speed(16 * k)]),
        Message::J1939Ccvs => vec![speed(8)],
        Message::J1939Eac1 => {
            lock.map_or(Vec::new(), |k| vec![part(8 + 2 * k, 2, 1.0, 0.0, Codes::TwoBits)])
        }
        Message::J1939Fwd => vec![part(0, 2, 1.0, 0.0, Codes::TwoBits)],
        Message::J1939Etc1 => vec![part(8, 16, 0.125, 0.0, Codes::Parameter)],
        Message::ObdVehicleSpeed => vec![part(0, 8, 1.0, 0.0, Codes::None)],
        Message::ObdEngineSpeed => {
            vec![Part { big: true, ..part(7, 16, 0.25, 0.0, Codes::None) }]
        }
    }
}

/// An identifier of 29 bits as SAE J1939-21 divides it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct GroupId {
    /// Priority, 0 to 7; 0 goes first.
    pub priority: u8,
    /// Parameter group number.
    pub pgn: u32,
    /// Address that it is meant for, where the group has one.
    pub destination: Option<u8>,
    /// Address that sent it.
    pub source: u8,
}

/// Divides an identifier of 29 bits.
///
/// ```
/// use wheelwitness_driveline::published::group_id;
/// // Wheel speed information, priority 6, from address 0x0B.
/// let id = group_id(0x18FE_BF0B);
/// assert_eq!((id.priority, id.pgn, id.destination, id.source), (6, 65_215, None, 0x0B));
/// // Below 240 the second byte is a destination, not part of the group.
/// let id = group_id(0x18EA_FF0B);
/// assert_eq!((id.pgn, id.destination), (59_904, Some(0xFF)));
/// ```
pub fn group_id(id: u32) -> GroupId {
    let [source, specific, format, top] = id.to_le_bytes();
    let whole = (id >> 8) & 0x3_FFFF;
    let to_one = format < 240;
    GroupId {
        priority: top >> 2 & 7,
        pgn: if to_one { whole & 0x3_FF00 } else { whole },
        destination: to_one.then_some(specific),
        source,
    }
}

/// Data of a parameter in an answer of the current-data service, if the frame is one: a single
/// frame by its length byte, service 0x01 + 0x40, and the parameter among those answered.
///
/// A negative answer (0x7F), another service and a segmented one hold no data.
pub fn answer(id: u32, extended: bool, data: &[u8], pid: u8) -> Option<&[u8]> {
    let responds = match extended {
        false => (0x7E8..=0x7EF).contains(&id),
        true => id & 0xFFFF_FF00 == 0x18DA_F100,
    };
    let length = usize::from(*data.first()?);
    let answer = data.get(1..=length).filter(|a| responds && length <= 7 && !a.is_empty())?;
    let mut rest = answer.strip_prefix(&[0x41])?;
    while let Some((found, tail)) = rest.split_first() {
        let size = match found {
            0x0C => 2,
            0x0D => 1,
            _ => return None,
        };
        let value = tail.get(..size)?;
        if *found == pid {
            return Some(value);
        }
        rest = &tail[size..];
    }
    None
}
