//! The program `wheelwitness`: every command, composed of the crates beside it.
