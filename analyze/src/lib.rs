//! UNDERSTAND: from a capture to claims with evidence.
//!
//! Modules go from inner to outer; a module uses only those above it.

// What a library has to say is in its results.
#![warn(clippy::print_stdout, clippy::print_stderr)]

pub mod result;
pub mod series;
pub mod report;
pub mod ticks;
pub mod sleep;
pub mod wall;
pub mod fixes;
pub mod survey;
pub mod axis;
pub mod bus;
mod drawn;
pub mod learning;
pub mod motion;
pub mod switching;
pub mod sound;
mod stray;
pub mod hand;
pub mod witness;
pub mod three;
pub mod assemble;
pub mod claims;
pub mod judge;
pub mod explain;
pub mod signature;
