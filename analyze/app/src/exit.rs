//! Exit codes: what the shell is told.

/// Done, whatever the verdicts are.
pub const DONE: i32 = 0;
/// Our bug.
pub const BUG: i32 = 1;
/// The command line was not understood.
pub const USAGE: i32 = 2;
/// An input could not be read, or says nothing that can be used.
pub const UNREADABLE: i32 = 3;
/// Done, but the capture has holes.
pub const HOLES: i32 = 4;
/// A device is missing, or permission for it.
pub const DEVICE: i32 = 5;
/// Nothing could be written.
pub const STORAGE: i32 = 6;
/// With `--require`: a claim is disproven.
pub const DISPROVEN: i32 = 10;
/// With `--require`: a claim is undecided.
pub const UNDECIDED: i32 = 11;
