//! Says what is in a capture: sources, readings by kind, faults by kind, what became of the board's
//! sentences.
//!
//! `cargo run -p wheelwitness-capture --example summary -- FOLDER`

use std::collections::BTreeMap;
use std::error::Error;
use std::path::Path;
use wheelwitness_capture::board::Says;
use wheelwitness_capture::decode::{Decoder, Reading, Value};
use wheelwitness_capture::gnss;
use wheelwitness_capture::read::{CaptureReader, Item};
use wheelwitness_capture::sequence::Sequence;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args().nth(1).ok_or("which capture? give its folder")?;
    let mut reader = CaptureReader::open(Path::new(&folder))?;
    let (mut decoder, mut summary) = (Decoder::new(), Summary::default());
    for item in reader.by_ref() {
        let item = item?;
        if let Item::Hole(hole) = &item {
            println!("{hole:?}");
        }
        decoder.push_item(&item, &mut |reading| summary.take(&reading));
    }
    decoder.finish(&mut |reading| summary.take(&reading));
    summary.print();
    println!("closed: {}", reader.is_closed());
    Ok(())
}

#[derive(Default)]
struct Summary {
    readings: BTreeMap<(u16, &'static str), u64>,
    faults: BTreeMap<(u16, String), u64>,
    boards: BTreeMap<u16, Sequence>,
}

impl Summary {
    fn take(&mut self, reading: &Reading) {
        let source = reading.source;
        *self.readings.entry((source, name(&reading.value))).or_default() += 1;
        for fault in &reading.faults {
            *self.faults.entry((source, fault.to_string())).or_default() += 1;
        }
        let board = self.boards.entry(source);
        match &reading.value {
            Value::Board(sentence) => {
                board.or_default().push_at(sentence, reading.boot_ns / 1000);
            }
            Value::Lost(_) => board.or_default().source_lost(),
            _ => {}
        }
    }

    fn print(&self) {
        for ((source, name), count) in &self.readings {
            println!("source {source}: {count} {name}");
        }
        for ((source, fault), count) in &self.faults {
            println!("source {source}: {count} times {fault}");
        }
        for (source, board) in self.boards.iter().filter(|(_, b)| b.totals().received > 0) {
            println!("source {source}: {:?}, closed: {}", board.totals(), board.is_closed());
        }
    }
}

fn name(value: &Value) -> &'static str {
    match value {
        Value::Board(sentence) => match sentence.says {
            Says::Identity(_) => "identities",
            Says::Counts(_) => "counts",
            Says::Switch(_) => "switch edges",
            Says::Levels(_) => "levels",
            Says::Analog(_) => "analog",
            Says::Errors(_) => "errors",
            Says::Tally(_) => "tallies",
        },
        Value::Gnss(gnss::Sentence::Rmc(_)) => "RMC",
        Value::Gnss(gnss::Sentence::Vtg(_)) => "VTG",
        Value::Gnss(gnss::Sentence::Gga(_)) => "GGA",
        Value::Unknown(_) => "unknown sentences",
        Value::Refused => "refused",
        Value::Opened(_) | Value::Lost(_) | Value::Found(_) => "source events",
        Value::Text(_) => "texts",
        Value::Losses(_) => "losses of the recorder",
        Value::Can(_) => "CAN frames",
        Value::Closed => "ends",
    }
}
