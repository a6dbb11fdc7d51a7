//! How fast one hour of a busy drive is written, read and decoded, against reading the same bytes.
//!
//! `cargo run --release -p wheelwitness-capture --example throughput`
//!
//! The figures depend on the machine; the ratios less so.

use std::error::Error;
use std::hint::black_box;
use std::time::Instant;
use wheelwitness_capture::board::{Channel, Counts, Says, Sentence};
use wheelwitness_capture::clock::{Clock, SimClock};
use wheelwitness_capture::decode::{Decoder, Value};
use wheelwitness_capture::encode;
use wheelwitness_capture::read::CaptureReader;
use wheelwitness_capture::record::{Kind, RecordingId};
use wheelwitness_capture::sequence::Sequence;
use wheelwitness_capture::storage::SimStorage;
use wheelwitness_capture::write::{Limits, Writer};

const ROUNDS: u32 = 3600 * 100;

fn main() -> Result<(), Box<dyn Error>> {
    let chunks: Vec<Vec<u8>> = (0..ROUNDS).map(round).collect();
    let storage = SimStorage::new();
    timed("write", || write(&storage, &chunks))?;
    let mut reader = CaptureReader::from_storage(storage)?;
    let mut crc = 0;
    let bytes = timed("read the bytes with CRC-32C", || {
        reader.read_bytes(|piece| crc = crc32c::crc32c_append(crc, piece))
    })?;
    timed("read the records", || reader.try_for_each(|item| item.map(|item| _ = black_box(item))))?;
    reader.rewind();
    let sentences = timed("read, decode and follow the sequence", || decode(&mut reader))?;
    let wire_bytes: usize = chunks.iter().map(Vec::len).sum();
    println!("{wire_bytes} bytes on the wire, {bytes} in the capture, {sentences} sentences");
    Ok(())
}

fn timed<T>(what: &str, work: impl FnOnce() -> T) -> T {
    let (begun, cpu) = (Instant::now(), cpu_s());
    let result = work();
    let wall = begun.elapsed().as_secs_f64();
    println!("{wall:8.3} s wall, {:8.3} s CPU  {what}", cpu_s() - cpu);
    result
}

/// Time that this thread has spent on a processor, where the system tells (Linux); else not a
/// number, and printed as such.
fn cpu_s() -> f64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let first = told.split_whitespace().next().and_then(|ns| ns.parse::<f64>().ok());
    first.map_or(f64::NAN, |ns| ns * 1e-9)
}

fn round(number: u32) -> Vec<u8> {
    let half = |first_channel, sequence: u32| {
        let channel = Channel { count: (number * 30) as u16, age_us: Some(number as u16 & 0xfff) };
        let says = Says::Counts(Counts { first_channel, channels: [channel; 4] });
        let tick = number.wrapping_mul(10_000);
        encode::board(&Sentence { sequence: sequence as u8, tick, says })
    };
    [half(1, number * 2), half(5, number * 2 + 1)].concat()
}

fn write(storage: &SimStorage, chunks: &[Vec<u8>]) -> Result<(), Box<dyn Error>> {
    let clock = SimClock::default();
    let id = RecordingId::random();
    let mut writer = Writer::create(storage.clone(), clock.clone(), id, Limits::default())?;
    for chunk in chunks {
        writer.append(0, Kind::Bytes, clock.now().boot_ns, chunk)?;
        clock.advance_ns(10_000_000);
        if let Some(trouble) = writer.pump().trouble {
            return Err(trouble.into());
        }
    }
    Ok(())
}

fn decode(reader: &mut CaptureReader<SimStorage>) -> Result<u64, Box<dyn Error>> {
    let (mut decoder, mut sequence) = (Decoder::new(), Sequence::new());
    for item in reader {
        decoder.push_item(&item?, &mut |reading| {
            if let Value::Board(sentence) = &reading.value {
                sequence.push_at(sentence, reading.boot_ns / 1000);
            }
        });
    }
    Ok(sequence.totals().received)
}
