//! The fault table: how the world goes wrong, what is promised then, and what holds the promise.
//!
//! [`table`] is the list. A row is held by named tests of the house, by a trial of this crate, or
//! it needs hardware, or it is not held, and then it says so. Trials end real recordings in the
//! ways that real ones end: power is cut, processes are killed, system calls fail, media stall.
//!
//! ```sh
//! cargo run -p wheelwitness-faults --bin faults               # all rows, short trials
//! cargo run -p wheelwitness-faults --bin faults -- --full     # all rows, the whole campaign
//! cargo run -p wheelwitness-faults --bin faults -- --row 1 --times 10000
//! ```
//!
//! Needs Linux, root, loop devices, cgroups, strace and libfaketime; a trial that cannot be made
//! counts as failed.

pub mod bench;
pub mod fat;
pub mod volume;
pub mod cut;
pub mod kill;
pub mod ending;
pub mod clock_set;
pub mod calls;
pub mod full;
pub mod memory;
pub mod soak;
pub mod guest;
pub mod unprotected;
pub mod table;
pub mod run;
