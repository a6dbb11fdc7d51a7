//! Makes a capture of wire lines on standard input.
//!
//! `cargo run -p wheelwitness-capture --example import_wire -- FOLDER < lines`

use std::error::Error;
use std::path::Path;
use wheelwitness_capture::import::{Extras, import_wire};
use wheelwitness_capture::record::RecordingId;
use wheelwitness_capture::storage::DirStorage;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args().nth(1).ok_or("into which folder? give one that is new")?;
    let storage = DirStorage::create(Path::new(&folder))?;
    let lines = std::io::stdin().lock();
    println!("{:?}", import_wire(lines, storage, RecordingId::random(), &Extras::default())?);
    Ok(())
}
