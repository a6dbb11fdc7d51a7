//! The promises of the capture crate, one file each.

mod board_sentences;
mod can_csv_lines;
mod can_errors;
mod can_frames;
mod can_lengths;
mod damage;
mod documents;
mod folder;
mod gnss_sentences;
mod import;
mod nmea_reference;
mod pcapng_files;
mod pcapng_reference;
mod power_cut;
mod sample;
mod sequence;
mod serial_can_lines;
mod wall_clock;
mod wire_damage;
mod write_read;
