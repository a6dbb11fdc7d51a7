//! The light recorder.

fn main() {}
