//! The promises of the capture crate, one file each.

mod board_sentences;
mod gnss_sentences;
mod sequence;
mod wire_damage;
mod write_read;
