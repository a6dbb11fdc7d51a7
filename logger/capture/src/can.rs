//! CAN frames: what a bus carried, and the bytes that a capture keeps of it.
//!
//! The bytes of a frame are those of LINKTYPE_CAN_SOCKETCAN (227), the published layout of the
//! link-layer header types registry, so that captures and exchange files share them.
//!
//! ```
//! use wheelwitness_capture::can::{Frame, Id, Received};
//!
//! let id = Id::standard(0x7e8).ok_or("an id of more than 11 bits")?;
//! let frame = Frame::data(id, &[0x04, 0x41, 0x0c, 0x1a, 0xf8]).ok_or("more than 8 bytes")?;
//! let received = Received { frame, stamp_ns: Some(1_700_000_000_123_456_789), adapter_ms: None };
//! assert_eq!(Received::from_bytes(&received.to_bytes()), Ok(received));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::nmea::Fault;
use std::fmt;
use std::ops::Deref;

/// The most data bytes of a classic frame.
pub const MAX_CLASSIC_BYTES: usize = 8;
/// The most data bytes of an FD frame.
pub const MAX_FD_BYTES: usize = 64;

/// Set in the 32-bit word of the id: the id has 29 bits.
pub const EXTENDED: u32 = 1 << 31;
/// Set in the 32-bit word of the id: a remote frame, which asks for data and carries none.
pub const REMOTE: u32 = 1 << 30;
/// Set in the 32-bit word of the id: no frame of the bus, but an error that the controller saw.
pub const ERROR: u32 = 1 << 29;
/// FD flag: the data went at a higher bit rate.
pub const BIT_RATE_SWITCH: u8 = 1;
/// FD flag: the sender was error passive.
pub const ERROR_STATE: u8 = 2;
/// FD flag: this is an FD frame.
pub const FD_FORMAT: u8 = 4;

/// Bytes of the layout before the payload.
const HEAD_BYTES: usize = 8;
/// The kernel's receive time of a frame that has none.
const NO_STAMP: i64 = i64::MIN;

/// The id of a frame; a lower one wins the bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Id {
    /// 11 bits; see [`Id::standard`].
    Standard(u16),
    /// 29 bits; see [`Id::extended`].
    Extended(u32),
}

impl Id {
    /// The highest id of 11 bits.
    pub const MAX_STANDARD: u16 = 0x7ff;
    /// The highest id of 29 bits.
    pub const MAX_EXTENDED: u32 = 0x1fff_ffff;

    /// An id of 11 bits.
    pub fn standard(id: u16) -> Option<Id> {
        (id <= Self::MAX_STANDARD).then_some(Id::Standard(id))
    }

    /// An id of 29 bits.
    pub fn extended(id: u32) -> Option<Id> {
        (id <= Self::MAX_EXTENDED).then_some(Id::Extended(id))
    }

    /// The number alone.
    pub fn number(self) -> u32 {
        match self {
            Id::Standard(id) => u32::from(id),
            Id::Extended(id) => id,
        }
    }

    /// The number, with [`EXTENDED`] where it belongs.
    fn word(self) -> u32 {
        match self {
            Id::Standard(id) => u32::from(id & Self::MAX_STANDARD),
            Id::Extended(id) => id & Self::MAX_EXTENDED | EXTENDED,
        }
    }

    fn from_word(word: u32) -> Option<Id> {
        match word & !(EXTENDED | REMOTE) {
            id if word & EXTENDED != 0 => Id::extended(id),
            id => u16::try_from(id).ok().and_then(Id::standard),
        }
    }
}

/// Three or eight hexadecimal digits, which tell the two lengths apart.
impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Id::Standard(id) => write!(f, "{id:03X}"),
            Id::Extended(id) => write!(f, "{id:08X}"),
        }
    }
}

/// The data bytes of a frame, at most [`MAX_FD_BYTES`]; a slice of them for all purposes.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Payload {
    length: u8,
    bytes: [u8; MAX_FD_BYTES],
}

impl Payload {
    /// These bytes, unless they are more than a frame can hold.
    pub fn new(data: &[u8]) -> Option<Payload> {
        let mut bytes = [0; MAX_FD_BYTES];
        bytes.get_mut(..data.len())?.copy_from_slice(data);
        Some(Payload { length: data.len() as u8, bytes })
    }
}

impl Deref for Payload {
    type Target = [u8];

    fn deref(&self) -> &[u8] {
        &self.bytes[..usize::from(self.length)]
    }
}

impl fmt::Debug for Payload {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:02X?}", &**self)
    }
}

/// What one frame is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Frame {
    /// A classic frame with data; see [`Frame::data`].
    Data {
        /// Its id.
        id: Id,
        /// At most [`MAX_CLASSIC_BYTES`].
        data: Payload,
    },
    /// A classic frame that asks for the data with this id; see [`Frame::remote`].
    Remote {
        /// The id asked for.
        id: Id,
        /// The length asked for, 0 to 8.
        length: u8,
    },
    /// An FD frame; see [`Frame::fd`].
    Fd {
        /// Its id.
        id: Id,
        /// At most [`MAX_FD_BYTES`].
        data: Payload,
        /// The data went at a higher bit rate.
        bit_rate_switch: bool,
        /// The sender was error passive.
        error_state: bool,
    },
    /// No frame of the bus, but what the controller or its driver said about the bus.
    Error {
        /// The classes of error, as bits of `linux/can/error.h`; unknown ones are kept.
        classes: u32,
        /// The details; 0 where nothing was specified.
        details: [u8; 8],
    },
}

impl Frame {
    /// A classic frame with at most 8 bytes.
    pub fn data(id: Id, data: &[u8]) -> Option<Frame> {
        let data = Payload::new(data).filter(|data| data.len() <= MAX_CLASSIC_BYTES)?;
        Some(Frame::Data { id, data })
    }

    /// A remote frame that asks for at most 8 bytes.
    pub fn remote(id: Id, length: u8) -> Option<Frame> {
        (usize::from(length) <= MAX_CLASSIC_BYTES).then_some(Frame::Remote { id, length })
    }

    /// An FD frame with at most 64 bytes, neither switched in bit rate nor error passive.
    pub fn fd(id: Id, data: &[u8]) -> Option<Frame> {
        let data = Payload::new(data)?;
        Some(Frame::Fd { id, data, bit_rate_switch: false, error_state: false })
    }

    /// The id; an error has none.
    pub fn id(&self) -> Option<Id> {
        match *self {
            Frame::Data { id, .. } | Frame::Remote { id, .. } | Frame::Fd { id, .. } => Some(id),
            Frame::Error { .. } => None,
        }
    }

    /// The data bytes; none in remote frames and errors.
    pub fn payload(&self) -> &[u8] {
        match self {
            Frame::Data { data, .. } | Frame::Fd { data, .. } => data,
            Frame::Remote { .. } | Frame::Error { .. } => &[],
        }
    }

    /// The frame in the layout of LINKTYPE_CAN_SOCKETCAN.
    pub fn to_linktype_bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::new();
        put_frame(&mut bytes, self);
        bytes
    }

    /// Reads a frame in the layout of LINKTYPE_CAN_SOCKETCAN. Bytes after the payload are the
    /// padding of the kernel's structures, which others write.
    pub fn from_linktype_bytes(bytes: &[u8]) -> Result<Frame, Fault> {
        let (head, rest) = bytes.split_first_chunk::<HEAD_BYTES>().ok_or(Fault::Length)?;
        let [w0, w1, w2, w3, length, flags, ..] = *head;
        let word = network_u32([w0, w1, w2, w3]);
        // Before FD frames had a flag of their own, the size of the kernel's structure told them.
        let fd = flags & FD_FORMAT != 0 || bytes.len() == HEAD_BYTES + MAX_FD_BYTES;
        let most = if fd { MAX_FD_BYTES } else { MAX_CLASSIC_BYTES };
        if usize::from(length) > most {
            return Err(Fault::Field("CAN length"));
        }
        if word & ERROR != 0 {
            return error_frame(word, rest.get(..usize::from(length)).ok_or(Fault::Length)?);
        }
        let id = Id::from_word(word).ok_or(Fault::Field("CAN id"))?;
        if word & REMOTE != 0 {
            let frame = if fd { None } else { Frame::remote(id, length) };
            return frame.ok_or(Fault::Field("FD frame without data"));
        }
        let data = rest.get(..usize::from(length)).and_then(Payload::new).ok_or(Fault::Length)?;
        let bit_rate_switch = flags & BIT_RATE_SWITCH != 0;
        let error_state = flags & ERROR_STATE != 0;
        Ok(match fd {
            true => Frame::Fd { id, data, bit_rate_switch, error_state },
            false => Frame::Data { id, data },
        })
    }
}

/// Details that are missing are zero, which means that nothing was specified.
fn error_frame(word: u32, stated: &[u8]) -> Result<Frame, Fault> {
    let mut details = [0; 8];
    let room = details.get_mut(..stated.len()).ok_or(Fault::Field("CAN length"))?;
    room.copy_from_slice(stated);
    Ok(Frame::Error { classes: word & Id::MAX_EXTENDED, details })
}

/// A frame, and the times at which others say that it arrived.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Received {
    /// The frame.
    pub frame: Frame,
    /// Wall clock of the host's kernel on arrival, in nanoseconds since 1970; unknown if the
    /// frame did not come through a kernel's interface.
    pub stamp_ns: Option<i64>,
    /// Clock of a serial-line adapter on arrival, in milliseconds modulo 60,000.
    pub adapter_ms: Option<u16>,
}

impl Received {
    /// The content of its [`crate::record::Kind::CanFrame`] record. The clock of an adapter is not
    /// in it: an adapter's lines are kept as the bytes that they are.
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = self.stamp_ns.unwrap_or(NO_STAMP).to_le_bytes().to_vec();
        put_frame(&mut bytes, &self.frame);
        bytes
    }

    /// Reads the content of a [`crate::record::Kind::CanFrame`] record.
    pub fn from_bytes(bytes: &[u8]) -> Result<Received, Fault> {
        let (stamp, frame) = bytes.split_first_chunk::<8>().ok_or(Fault::Length)?;
        let stamp = i64::from_le_bytes(*stamp);
        let frame = Frame::from_linktype_bytes(frame)?;
        Ok(Received { frame, stamp_ns: (stamp != NO_STAMP).then_some(stamp), adapter_ms: None })
    }
}

/// The content of a [`crate::record::Kind::CanFrame`] record from the parts that a kernel gives,
/// whatever they are: what is impossible about them is found when the record is decoded.
/// `id_word` holds the flags [`EXTENDED`], [`REMOTE`] and [`ERROR`].
pub fn record_bytes(
    stamp_ns: Option<i64>,
    id_word: u32,
    length: u8,
    fd_flags: u8,
    payload: &[u8],
) -> Vec<u8> {
    let mut bytes = stamp_ns.unwrap_or(NO_STAMP).to_le_bytes().to_vec();
    put_parts(&mut bytes, id_word, length, fd_flags, payload);
    bytes
}

fn put_frame(into: &mut Vec<u8>, frame: &Frame) {
    match *frame {
        Frame::Data { id, data } => put_parts(into, id.word(), data.length, 0, &data),
        Frame::Remote { id, length } => put_parts(into, id.word() | REMOTE, length, 0, &[]),
        Frame::Fd { id, data, bit_rate_switch, error_state } => {
            let switched = if bit_rate_switch { BIT_RATE_SWITCH } else { 0 };
            let passive = if error_state { ERROR_STATE } else { 0 };
            put_parts(into, id.word(), data.length, FD_FORMAT | switched | passive, &data);
        }
        Frame::Error { classes, details } => {
            put_parts(into, classes & Id::MAX_EXTENDED | ERROR, 8, 0, &details);
        }
    }
}

fn put_parts(into: &mut Vec<u8>, id_word: u32, length: u8, fd_flags: u8, payload: &[u8]) {
    for shift in [24, 16, 8, 0] {
        into.push((id_word >> shift) as u8);
    }
    into.extend_from_slice(&[length, fd_flags, 0, 0]);
    into.extend_from_slice(payload);
}

/// The id stands most significant byte first, whatever else a capture does.
fn network_u32(bytes: [u8; 4]) -> u32 {
    bytes.iter().fold(0, |word, byte| word << 8 | u32::from(*byte))
}
