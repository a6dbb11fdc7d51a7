//! FUZZING: every decoder and reader fed with what nobody meant it to read.
//!
//! [`targets::TARGETS`] is the list: a name, a function of any bytes, and what well-formed inputs
//! our own encoders write for it ([`seeds`]). A target holds if no bytes make it panic, take more
//! memory than its limit, or think for longer than a minute.
//!
//! ```sh
//! cargo run -p wheelwitness-fuzz -- --seconds 60                # every target, a minute each
//! cargo run -p wheelwitness-fuzz -- --seconds 600 --target vehicle
//! cargo run -p wheelwitness-fuzz -- --table                     # what has been done so far
//! ```
//!
//! The engine is libFuzzer, told by counters in our own crates which inputs reach new code
//! (`with-counters`, stable toolchain). What it finds worth keeping goes into `corpus/`, a line of
//! hexadecimal digits an input; hours add up in `corpus/hours.txt`. An input that breaks something
//! is written beside it, and becomes a test of the crate that broke.

pub mod seeds;
pub mod sealed;
pub mod targets;
pub mod corpus;
pub mod ledger;
