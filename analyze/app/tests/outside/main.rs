//! The program from outside, as a process: what it sends to a terminal, which doors of the system
//! it opens, how much memory it takes.

mod bench;
mod empty;
mod hostile_lengths;
mod large;
mod network;
mod terminal;
