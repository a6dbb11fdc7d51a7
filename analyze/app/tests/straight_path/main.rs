//! The straight path, wire to paper, against what the rig knows to be true.

mod archive;
mod bench;
mod codes;
mod demo;
mod explain;
mod seeds;
