//! One simulated drive, seen by the pulse board, by the vehicle's bus, and by both.

mod drive;
mod truth;
mod verdicts;
