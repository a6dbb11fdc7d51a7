//! WHAT ARRIVED: the capture format and the pure decoders of what devices send.
//!
//! The straight path through this crate: a device's bytes become [`record::Record`]s, a
//! [`write::Writer`] makes blocks of them in a [`storage::Storage`], a [`read::CaptureReader`]
//! gives them back, a [`decode::Decoder`] makes [`decode::Reading`]s of them. Nothing here knows a
//! vehicle, and nothing panics on any bytes.
//!
//! ```
//! use wheelwitness_capture::clock::SimClock;
//! use wheelwitness_capture::decode::{Decoder, Value};
//! use wheelwitness_capture::gnss::Sentence;
//! use wheelwitness_capture::read::CaptureReader;
//! use wheelwitness_capture::record::{Kind, RecordingId};
//! use wheelwitness_capture::storage::SimStorage;
//! use wheelwitness_capture::write::{Limits, Writer};
//!
//! let storage = SimStorage::new();
//! let clock = SimClock::default();
//! let id = RecordingId::random();
//! let mut writer = Writer::create(storage.clone(), clock, id, Limits::default())?;
//! writer.append(0, Kind::Bytes, 1_000, b"$GPVTG,,T,,M,10.0,N,18.5,K,")?;
//! writer.append(0, Kind::Bytes, 2_000, b"A*2E\r\n")?;
//! let (progress, _) = writer.close();
//! assert_eq!(progress.durable_records, 3);
//!
//! let (mut decoder, mut speeds_mps) = (Decoder::new(), Vec::new());
//! for item in CaptureReader::from_storage(storage)? {
//!     decoder.push_item(&item?, &mut |reading| {
//!         if let Value::Gnss(Sentence::Vtg(vtg)) = reading.value {
//!             speeds_mps.extend(vtg.speed_mps());
//!         }
//!     });
//! }
//! assert_eq!(speeds_mps, [10.0 * 1852.0 / 3600.0]);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Modules are listed from inner to outer; each uses only those above it.

pub mod clock;
pub mod wall;
pub mod storage;
pub mod record;
pub mod block;
pub mod write;
pub mod read;
pub mod nmea;
pub mod board;
pub mod gnss;
pub mod can;
pub mod can_error;
pub mod can_length;
pub mod serial_can;
pub mod decode;
pub mod sequence;
pub mod encode;
pub mod make;
pub mod import;
pub mod pcapng;
pub mod can_csv;
pub mod exchange;

#[doc = include_str!("../FORMAT.md")]
pub mod format {}

#[doc = include_str!("../PULSE-BOARD.md")]
pub mod pulse_board {}
