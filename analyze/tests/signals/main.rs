//! One simulated drive, seen by the pulse board, by the vehicle's bus, and by both.

#[path = "../shared/capture.rs"]
mod capture;
mod dial;
mod drive;
mod truth;
mod verdicts;
