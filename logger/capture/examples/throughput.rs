//! How fast one hour of a busy drive is written, read and decoded, against reading the same bytes.
//!
//! `cargo run --release -p wheelwitness-capture --example throughput`
//!
//! The figures depend on the machine; the ratios less so.

use std::error::Error;
use std::hint::black_box;
use std::time::Instant;
use wheelwitness_capture::board::{Channel, Counts, Says, Sentence};
use wheelwitness_capture::clock::SimClock;
use wheelwitness_capture::decode::{Decoder, Value};
use wheelwitness_capture::encode;
use wheelwitness_capture::read::{CaptureReader, Item};
use wheelwitness_capture::record::{Kind, RecordingId};
use wheelwitness_capture::sequence::Sequence;
use wheelwitness_capture::storage::SimStorage;
use wheelwitness_capture::write::{Limits, Writer};

const ROUNDS: u32 = 3600 * 100;

fn main() -> Result<(), Box<dyn Error>> {
    let storage = SimStorage::new();
    let wire_bytes = timed("write", || write(&storage))?;
    let mut reader = CaptureReader::from_storage(storage)?;
    let mut crc = 0;
    let bytes = timed("read the bytes with CRC-32C", || {
        reader.read_bytes(|piece| crc = crc32c::crc32c_append(crc, piece))
    })?;
    timed("read the records", || reader.try_for_each(|item| item.map(|item| _ = black_box(item))))?;
    reader.rewind();
    let sentences = timed("read, decode and follow the sequence", || decode(&mut reader))?;
    println!("{wire_bytes} bytes on the wire, {bytes} in the capture, {sentences} sentences");
    Ok(())
}

fn timed<T>(what: &str, work: impl FnOnce() -> T) -> T {
    let begun = Instant::now();
    let result = work();
    println!("{:8.3} s  {what}", begun.elapsed().as_secs_f64());
    result
}

fn write(storage: &SimStorage) -> Result<usize, Box<dyn Error>> {
    let clock = SimClock::default();
    let id = RecordingId::random();
    let mut writer = Writer::create(storage.clone(), clock.clone(), id, Limits::default())?;
    let mut total = 0;
    for round in 0..ROUNDS {
        let mut chunk = Vec::with_capacity(128);
        for (first_channel, sequence) in [(1, round * 2), (5, round * 2 + 1)] {
            let channel =
                Channel { count: (round * 30) as u16, age_us: Some(round as u16 & 0xfff) };
            let says = Says::Counts(Counts { first_channel, channels: [channel; 4] });
            let tick = round.wrapping_mul(10_000);
            let sentence = Sentence { sequence: sequence as u8, tick, says };
            chunk.extend_from_slice(&encode::board(&sentence));
        }
        total += chunk.len();
        writer.append(0, Kind::Bytes, i64::from(round) * 10_000_000, &chunk)?;
        clock.advance_ns(10_000_000);
        if let Some(trouble) = writer.pump().trouble {
            return Err(trouble.into());
        }
    }
    Ok(total)
}

fn decode(reader: &mut CaptureReader<SimStorage>) -> Result<u64, Box<dyn Error>> {
    let (mut decoder, mut sequence) = (Decoder::new(), Sequence::new());
    for item in reader {
        if let Item::Record(record) = item? {
            decoder.push(&record, &mut |reading| {
                if let Value::Board(sentence) = &reading.value {
                    sequence.push(sentence);
                }
            });
        }
    }
    Ok(sequence.totals().received)
}
