//! ARCHIVE: one folder per drive, plain files, found again by reading them.
//!
//! ```text
//! archive/
//!   2026-05-17-0b1c2d3e4f50/                a drive: date of its start and recording id
//!     manifest-000002-9f86d081884c7d65.json   what it is; newest whole one counts
//!     manifest-000001-60303ae22b998861.json   what was known before the last note or judgement
//!     capture/segment-000001.wwc ...          the recording
//!     vehicle-000001.toml                     the vehicle file as it was
//!     hand-000001.toml                        the hand sheet, where something was turned by hand
//!     report-000001/result.json ...           the report of judgement 1
//! ```
//!
//! Nothing is ever overwritten: what changes is written beside the old under a new number, and a
//! manifest proves itself by the hash in its name. There is no index and no daemon: a list of all
//! drives opens one manifest each. How a capture is judged is given as a function ([`judgement`]);
//! the time of day is given too. Text from a manifest may come from a stranger: whoever prints it
//! makes it visible first.
//!
//! Modules go from inner to outer; a module uses only those above it.

pub mod error;
pub mod name;
pub mod disk;
pub mod manifest;
pub mod archive;
pub mod search;
pub mod judgement;
pub mod keep;
pub mod difference;
pub mod change;
pub mod verify;
pub mod pack;
pub mod unpack;
pub mod thin;
