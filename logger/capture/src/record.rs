//! The record: one thing that arrived, and when.

use std::collections::hash_map::RandomState;
use std::fmt;
use std::hash::{BuildHasher, Hasher};

/// The longest content of one record, in bytes.
pub const MAX_RECORD_BYTES: usize = 512 * 1024;

/// The source number of what the recorder itself has to say.
pub const RECORDER: u16 = u16::MAX;

/// One thing that arrived from one source.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// Its number, from 0 across the whole recording.
    pub number: u64,
    /// Which source it came from; [`RECORDER`] for the recorder's own.
    pub source: u16,
    /// When it arrived at the host, in nanoseconds of boot-time.
    pub boot_ns: i64,
    /// What `bytes` are.
    pub kind: Kind,
    /// The content.
    pub bytes: Vec<u8>,
}

/// What the content of a record is. The numbers are those on disk (`FORMAT.md`).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum Kind {
    /// Raw bytes, as they were read from the source.
    Bytes = 0,
    /// The source was opened for the first time; the content says where, as text.
    Opened = 1,
    /// The source went away; the content says why, as text.
    Lost = 2,
    /// The source is back; the content says where, as text.
    Found = 3,
    /// Text that belongs to the recording: see [`Text`].
    Text = 4,
    /// The recorder lost something and counted it: see [`Losses`].
    Losses = 5,
    /// The recording ended as it should; nothing follows.
    Closed = 6,
    /// One frame of a CAN interface: see [`crate::can::Received`].
    CanFrame = 7,
}

/// Every kind, in the order of its number.
pub const KINDS: [Kind; 8] = [
    Kind::Bytes,
    Kind::Opened,
    Kind::Lost,
    Kind::Found,
    Kind::Text,
    Kind::Losses,
    Kind::Closed,
    Kind::CanFrame,
];

impl Kind {
    /// The kind with this number on disk.
    pub fn from_code(code: u8) -> Option<Kind> {
        KINDS.get(usize::from(code)).copied()
    }

    /// The format version that brought this kind; blocks of older versions never hold it.
    pub fn since_version(self) -> u16 {
        match self {
            Kind::CanFrame => 2,
            _ => 1,
        }
    }
}

/// Titles of the texts that have a meaning of their own.
pub mod title {
    /// The vehicle file, as it was when the recording began. Source: [`super::RECORDER`].
    pub const VEHICLE_FILE: &str = "vehicle file";
    /// The settings that the recorder ran with. Source: [`super::RECORDER`].
    pub const LOGGER_SETTINGS: &str = "logger settings";
    /// The name that the user gave to the record's source.
    pub const SOURCE_NAME: &str = "source name";
    /// What the user said the record's source is: `pulse-board`, `gnss`, `can`, `serial-can` or
    /// `other`.
    pub const SOURCE_KIND: &str = "source kind";
    /// Only frames that pass one of these were recorded from the record's source: a line each, id
    /// and mask in hexadecimal, 3 or 8 digits. Not there: all frames were.
    pub const SOURCE_FILTERS: &str = "source filters";
    /// How many times faster than real time the recorder's clock ran, as a decimal number; only
    /// in captures of simulated vehicles. Source: [`super::RECORDER`].
    pub const CLOCK_SCALE: &str = "simulated clock scale";
}

/// Source kinds of CAN; see [`title::SOURCE_KIND`].
pub mod source_kind {
    /// Frames of a CAN interface.
    pub const CAN: &str = "can";
    /// Raw bytes are lines of a serial-line CAN adapter.
    pub const SERIAL_CAN: &str = "serial-can";
}

/// The content of a [`Kind::Text`] record: a title in the first line, the body after it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Text {
    /// What the text is; see [`title`].
    pub title: String,
    /// The text.
    pub body: String,
}

impl Text {
    /// A text with a title. Line feeds in the title become spaces.
    pub fn new(title: &str, body: &str) -> Self {
        Text { title: title.replace('\n', " "), body: body.to_owned() }
    }

    /// The content of its record.
    pub fn to_bytes(&self) -> Vec<u8> {
        format!("{}\n{}", self.title, self.body).into_bytes()
    }

    /// Reads the content of a record; bytes that are not UTF-8 become U+FFFD.
    pub fn from_bytes(bytes: &[u8]) -> Self {
        let text = String::from_utf8_lossy(bytes);
        let (title, body) = text.split_once('\n').unwrap_or((&text, ""));
        Text { title: title.to_owned(), body: body.to_owned() }
    }
}

/// The content of a [`Kind::Losses`] record: what the recorder had to let go, of the record's
/// source.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Losses {
    /// Records that were never numbered.
    pub records: u64,
    /// Bytes in them.
    pub bytes: u64,
    /// Why, for the user.
    pub reason: String,
}

impl Losses {
    /// The content of its record: two little-endian numbers and the reason.
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = self.records.to_le_bytes().to_vec();
        bytes.extend_from_slice(&self.bytes.to_le_bytes());
        bytes.extend_from_slice(self.reason.as_bytes());
        bytes
    }

    /// Reads the content of a record; `None` if it is too short to be one.
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let (records, rest) = bytes.split_first_chunk::<8>()?;
        let (lost, reason) = rest.split_first_chunk::<8>()?;
        Some(Losses {
            records: u64::from_le_bytes(*records),
            bytes: u64::from_le_bytes(*lost),
            reason: String::from_utf8_lossy(reason).into_owned(),
        })
    }
}

/// What sets one recording apart from all others: 16 random bytes, shown as hexadecimal.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct RecordingId(pub [u8; 16]);

impl RecordingId {
    /// A new id, from the randomness that the standard library seeds its hash tables with.
    pub fn random() -> Self {
        let half = || RandomState::new().build_hasher().finish().to_le_bytes();
        let mut id = [0; 16];
        id[..8].copy_from_slice(&half());
        id[8..].copy_from_slice(&half());
        RecordingId(id)
    }
}

impl fmt::Display for RecordingId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for RecordingId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "RecordingId({self})")
    }
}
