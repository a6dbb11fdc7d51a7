//! The bus door: listening to a CAN interface of this computer, and asking how it is doing.
//!
//! There is no way to send: nothing in this module or above it can put a frame on a bus. The real
//! twin is in [`socket`] (Linux), the simulated one in [`sim`].

use crate::port::OpenError;
use std::future::Future;
use std::io;
use std::pin::Pin;
use wheelwitness_capture::can::{ERROR, EXTENDED, FD_FORMAT, MAX_FD_BYTES, REMOTE, record_bytes};

mod filter;
pub mod report;
pub mod sim;

#[cfg(target_os = "linux")]
pub mod link;
#[cfg(target_os = "linux")]
pub mod socket;

pub use filter::Filter;

/// One frame as the kernel gave it; it may be an impossible one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Raw {
    /// The id with its flags, as in [`wheelwitness_capture::can`].
    pub word: u32,
    /// The stated length.
    pub length: u8,
    /// The FD flags; 0 for a classic frame.
    pub fd_flags: u8,
    /// The data, and what stands behind it in the kernel's structure.
    pub data: [u8; MAX_FD_BYTES],
}

impl Raw {
    /// The content of its record.
    pub fn record_bytes(&self, stamp_ns: Option<i64>) -> Vec<u8> {
        let most = if self.fd_flags & FD_FORMAT != 0 { MAX_FD_BYTES } else { 8 };
        let is_remote = self.word & (REMOTE | ERROR) == REMOTE;
        let length = if is_remote { 0 } else { usize::from(self.length).min(most) };
        record_bytes(stamp_ns, self.word, self.length, self.fd_flags, &self.data[..length])
    }

    /// Whether the controller's driver made it, to tell about an error.
    pub fn is_error(&self) -> bool {
        self.word & ERROR != 0
    }

    /// About how many bits it took on the bus, the pause after it included: the mean of the
    /// fewest and the most stuff bits, at most a tenth off. `None` for what was not on the bus and
    /// for FD frames, whose bits differ in length.
    ///
    /// Classic frame of `s` bytes: `g + 8s + 13` bits and up to `(g + 8s - 1) / 4` stuff bits,
    /// `g` = 34 or 54 (ISO 11898-1; Davis, Burns, Bril, Lukkien: Real-Time Systems 35, 2007,
    /// formula from memory).
    ///
    /// ```
    /// use wheelwitness_logger::bus::Raw;
    /// let frame = Raw { word: 0x7e8, length: 8, fd_flags: 0, data: [0; 64] };
    /// assert_eq!(frame.bits(), Some((111 + 135) / 2));
    /// ```
    pub fn bits(&self) -> Option<u64> {
        if self.is_error() || self.fd_flags & FD_FORMAT != 0 {
            return None;
        }
        let head = if self.word & EXTENDED != 0 { 54 } else { 34 };
        let bytes = if self.word & REMOTE != 0 { 0 } else { u64::from(self.length.min(8)) };
        let stuffed = head + 8 * bytes;
        Some(stuffed + 13 + (stuffed - 1) / 8)
    }
}

/// What a read of the bus gave.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Arrival {
    /// When the kernel received it, on the wall clock.
    pub stamp_ns: Option<i64>,
    /// How long ago that was when it was read, in nanoseconds of the same clock.
    pub age_ns: i64,
    /// Frames that the kernel lost right before this one.
    pub lost: u32,
    /// What it is.
    pub what: What,
}

/// A frame, or something that is none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// A frame.
    Frame(Raw),
    /// So many bytes that cannot be a frame of any kind.
    NoFrame(usize),
}

/// How an interface is doing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Link {
    /// The interface is the one that was opened, not another that took its name.
    pub present: bool,
    /// It is switched on.
    pub up: bool,
    /// Whether its controller is kept from ever sending a bit; `None` if it has no controller that
    /// could be asked (a virtual interface).
    pub listen_only: Option<bool>,
    /// Bit rate of the bus, in bit/s.
    pub bit_rate: Option<u32>,
    /// What the controller says of itself.
    pub controller: Option<Controller>,
}

/// States of a CAN controller (ISO 11898-1), in the numbering of `linux/can/netlink.h`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Controller {
    /// In order.
    Active,
    /// 96 errors counted.
    Warning,
    /// 128 errors counted: it no longer disturbs others with its errors.
    Passive,
    /// 256 errors counted: it has left the bus.
    BusOff,
    /// Not started.
    Stopped,
    /// Asleep.
    Sleeping,
}

impl Controller {
    /// Its name for the user.
    pub fn name(self) -> &'static str {
        match self {
            Controller::Active => "error active",
            Controller::Warning => "error warning",
            Controller::Passive => "error passive",
            Controller::BusOff => "bus off",
            Controller::Stopped => "stopped",
            Controller::Sleeping => "asleep",
        }
    }
}

/// The commands that make an interface listen and never send.
pub fn listen_only_cure(name: &str, bit_rate: Option<u32>) -> String {
    let rate = bit_rate.map_or("500000".into(), |rate| rate.to_string());
    format!(
        "sudo ip link set {name} down\n    \
         sudo ip link set {name} type can bitrate {rate} listen-only on\n    \
         sudo ip link set {name} up"
    )
}

/// A wait for the bus.
pub type Ready<'a> = Pin<Box<dyn Future<Output = io::Result<()>> + Send + 'a>>;

/// An interface that is being listened to.
pub trait Bus: Send {
    /// Returns once frames or an error wait to be taken. Take until nothing is left before waiting
    /// again.
    fn ready(&mut self) -> Ready<'_>;
    /// Takes some of what waits; `Ok(false)` if nothing did. An error comes once, and frames may
    /// still wait behind it.
    fn take(&mut self, into: &mut Vec<Arrival>) -> io::Result<bool>;
    /// How the interface is doing now.
    fn link(&mut self) -> Link;
}

/// An interface that was just opened.
pub struct OpenedBus {
    /// The open interface.
    pub bus: Box<dyn Bus>,
    /// Its name.
    pub name: String,
    /// What the user should know about how it was opened.
    pub notes: Vec<String>,
}

/// The door: opens an interface by its name. May block; called off the reading thread, inside a
/// tokio runtime.
pub trait Buses: Send + Sync {
    /// Listens to the interface, to the frames that pass one of the filters, or to all if there
    /// are none.
    fn open(&self, name: &str, filters: &[Filter]) -> Result<OpenedBus, OpenError>;
}

/// All CAN interfaces of this computer, and how each is doing.
pub fn list() -> Vec<(String, Link)> {
    #[cfg(target_os = "linux")]
    return link::list();
    #[cfg(not(target_os = "linux"))]
    Vec::new()
}

/// The CAN interfaces of this computer.
#[derive(Clone, Copy, Debug, Default)]
pub struct HostBuses;

#[cfg(target_os = "linux")]
impl Buses for HostBuses {
    fn open(&self, name: &str, filters: &[Filter]) -> Result<OpenedBus, OpenError> {
        socket::open(name, filters)
    }
}

#[cfg(not(target_os = "linux"))]
impl Buses for HostBuses {
    fn open(&self, name: &str, _: &[Filter]) -> Result<OpenedBus, OpenError> {
        Err(OpenError::NoCan(name.into()))
    }
}
