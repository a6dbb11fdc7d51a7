//! WHAT ARRIVED: the capture format and the pure decoders of what devices send.
//!
//! Modules are listed from inner to outer; each uses only those above it.

pub mod clock;
pub mod storage;
pub mod record;
pub mod block;
pub mod write;
pub mod read;
pub mod nmea;
pub mod board;
pub mod gnss;
pub mod decode;
pub mod sequence;
pub mod encode;
pub mod import;
