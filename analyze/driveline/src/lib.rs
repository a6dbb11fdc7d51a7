//! THE PHYSICS: quantities with units and uncertainty, the vehicle description, pulse-to-speed
//! estimation, kinematics, evidence and verdicts.
//!
//! Streaming, no I/O, no clock, no device. Modules go from inner to outer; a module uses only
//! those above it.

// What a library has to say is in its results.
#![warn(clippy::print_stdout, clippy::print_stderr)]

pub mod stats;
pub mod quantity;
pub mod verdict;
pub mod units;
pub mod tyre;
pub mod kinematics;
pub mod effect;
pub mod shaft;
pub mod joints;
pub mod speedometer;
pub mod scale;
pub mod vehicle;
pub mod clock;
pub mod published;
pub mod signal;
pub mod turn;
pub mod rate;
pub mod pulse;
mod jumps;
pub mod tooth;
pub mod course;
pub mod fastest;
pub mod steady;
pub mod demand;
pub mod share;
pub mod segment;
pub mod range;
pub mod free_front;
pub mod allowance;
pub mod scrub;
pub mod mismatch;
pub mod agreement;
pub mod places;
pub mod switches;
pub mod selection;
pub mod hand;
