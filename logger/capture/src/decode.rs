//! From records to readings: pure, streaming, and never at a loss for any bytes.

use crate::board;
use crate::can;
use crate::gnss;
use crate::nmea::{self, Fault, Framer, Line};
use crate::read::{Hole, Item};
use crate::record::{Kind, Losses, Record, Text, source_kind, title};
use crate::serial_can::{self, Says};
use std::collections::{BTreeMap, BTreeSet};

/// One thing that a source said, with what was wrong about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The record in which it ended.
    pub record: u64,
    /// The record in which it began; often the same.
    pub first_record: u64,
    /// Arrival of the record in which it ended, in nanoseconds of boot-time.
    pub boot_ns: i64,
    /// The source.
    pub source: u16,
    /// What it says.
    pub value: Value,
    /// What is wrong with it. A refused line has its reasons here.
    pub faults: Vec<Fault>,
}

/// What a reading says.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A sentence of a pulse board.
    Board(board::Sentence),
    /// A sentence of a GNSS receiver.
    Gnss(gnss::Sentence),
    /// A frame of a CAN bus, or an error on one.
    Can(can::Received),
    /// An undamaged sentence of a kind that is not decoded, by its address (such as `GPGSV`).
    Unknown(String),
    /// A line or bytes that are no sentence; the reasons are in the faults.
    Refused,
    /// The source was opened.
    Opened(String),
    /// The source went away.
    Lost(String),
    /// The source is back.
    Found(String),
    /// A text of the recording.
    Text(Text),
    /// The recorder had to let go of something.
    Losses(Losses),
    /// The recording ended as it should.
    Closed,
}

/// Sources whose lines are put together at the same time; a capture that claims more is not one
/// that the recorder wrote, and the source heard from least recently begins anew.
const MOST_SOURCES: usize = 256;

/// Decodes the records of a capture, in the order of their numbers.
#[derive(Debug, Default)]
pub struct Decoder {
    sources: BTreeMap<u16, Stream>,
    /// Sources that were said to be serial-line CAN adapters.
    serial_can: BTreeSet<u16>,
}

/// What is known of one source's byte stream.
#[derive(Debug, Default)]
struct Stream {
    framer: Framing,
    /// Record and arrival of the last bytes.
    last: (u64, i64),
}

/// How a source's bytes make lines.
#[derive(Debug)]
enum Framing {
    Nmea(Framer),
    SerialCan(serial_can::Framer, serial_can::LineDecoder),
}

impl Default for Framing {
    fn default() -> Self {
        Framing::Nmea(Framer::default())
    }
}

impl Decoder {
    /// A decoder that has seen nothing.
    pub fn new() -> Self {
        Self::default()
    }

    /// Decodes one record; `out` gets every reading that it completes.
    pub fn push(&mut self, record: &Record, out: &mut impl FnMut(Reading)) {
        let (value, faults) = match record.kind {
            Kind::Bytes => return self.push_bytes(record, out),
            Kind::Opened => (Value::Opened(lossy(&record.bytes)), Vec::new()),
            Kind::Lost => (Value::Lost(lossy(&record.bytes)), Vec::new()),
            Kind::Found => (Value::Found(lossy(&record.bytes)), Vec::new()),
            Kind::Text => (Value::Text(Text::from_bytes(&record.bytes)), Vec::new()),
            Kind::Losses => losses(&record.bytes),
            Kind::Closed => (Value::Closed, Vec::new()),
            Kind::CanFrame => can_frame(&record.bytes),
        };
        if matches!(record.kind, Kind::Opened | Kind::Lost | Kind::Found | Kind::Losses) {
            self.restart(record.source, out);
        }
        if let Value::Text(text) = &value {
            self.take_kind(record.source, text, out);
        }
        out(Reading {
            record: record.number,
            first_record: record.number,
            boot_ns: record.boot_ns,
            source: record.source,
            value,
            faults,
        });
    }

    /// Decodes the next item of a capture. After a hole that cost records, every source begins
    /// anew, as if it had just been opened.
    pub fn push_item(&mut self, item: &Item, out: &mut impl FnMut(Reading)) {
        match item {
            Item::Record(record) => self.push(record, out),
            Item::Hole(Hole { records_missing: Some(0), .. }) => {}
            Item::Hole(_) => self.finish(out),
        }
    }

    /// Tells what was still unfinished when the capture ended.
    pub fn finish(&mut self, out: &mut impl FnMut(Reading)) {
        let sources: Vec<u16> = self.sources.keys().copied().collect();
        for source in sources {
            self.restart(source, out);
        }
    }

    fn push_bytes(&mut self, record: &Record, out: &mut impl FnMut(Reading)) {
        if self.sources.len() >= MOST_SOURCES && !self.sources.contains_key(&record.source) {
            self.forget_one(out);
        }
        let serial_can = self.serial_can.contains(&record.source);
        let stream = self.sources.entry(record.source).or_insert_with(|| Stream::new(serial_can));
        stream.last = (record.number, record.boot_ns);
        stream.push(record, out);
    }

    /// Bytes after a declared kind are read as that kind's.
    fn take_kind(&mut self, source: u16, text: &Text, out: &mut impl FnMut(Reading)) {
        if text.title != title::SOURCE_KIND {
            return;
        }
        let is = text.body.trim() == source_kind::SERIAL_CAN;
        let was =
            if is { !self.serial_can.insert(source) } else { self.serial_can.remove(&source) };
        if is != was {
            self.restart(source, out);
            self.sources.remove(&source);
        }
    }

    fn restart(&mut self, source: u16, out: &mut impl FnMut(Reading)) {
        if let Some(stream) = self.sources.get_mut(&source) {
            stream.restart(source, out);
        }
    }

    fn forget_one(&mut self, out: &mut impl FnMut(Reading)) {
        let oldest = self.sources.iter().min_by_key(|(_, stream)| stream.last.0);
        if let Some(source) = oldest.map(|(source, _)| *source) {
            self.restart(source, out);
            self.sources.remove(&source);
        }
    }
}

impl Stream {
    fn new(serial_can: bool) -> Self {
        let framer = match serial_can {
            true => Framing::SerialCan(Default::default(), Default::default()),
            false => Framing::default(),
        };
        Stream { framer, last: (0, 0) }
    }

    fn push(&mut self, record: &Record, out: &mut impl FnMut(Reading)) {
        let at = (record.source, record.number, record.boot_ns);
        match &mut self.framer {
            Framing::Nmea(framer) => {
                framer.push(record.number, &record.bytes, &mut |first, line| {
                    out(reading(at, first, line, decode_sentence));
                })
            }
            Framing::SerialCan(framer, lines) => {
                framer.push(record.number, &record.bytes, &mut |first, line| {
                    out(reading(at, first, line, |line| decode_line(line, lines)));
                });
            }
        }
    }

    fn restart(&mut self, source: u16, out: &mut impl FnMut(Reading)) {
        let at = (source, self.last.0, self.last.1);
        let mut tell = |first, line: Line<'_>| out(reading(at, first, line, decode_sentence));
        match &mut self.framer {
            Framing::Nmea(framer) => framer.restart(&mut tell),
            Framing::SerialCan(framer, _) => framer.restart(&mut tell),
        }
    }
}

fn reading(
    at: (u16, u64, i64),
    first_record: u64,
    line: Line<'_>,
    decode: impl FnOnce(&[u8]) -> (Value, Vec<Fault>),
) -> Reading {
    let (source, record, boot_ns) = at;
    let (value, faults) = match line {
        Line::Sentence(sentence) => decode(sentence),
        Line::Fault(fault) => (Value::Refused, vec![fault]),
    };
    Reading { record, first_record, boot_ns, source, value, faults }
}

/// Decodes one sentence, from `$` to before the line end.
pub fn decode_sentence(sentence: &[u8]) -> (Value, Vec<Fault>) {
    let mut faults = Vec::new();
    let value = nmea::check(sentence).and_then(|body| decode_body(body, &mut faults));
    match value {
        Ok(value) => (value, faults),
        Err(fault) => (Value::Refused, vec![fault]),
    }
}

fn decode_body(body: &[u8], faults: &mut Vec<Fault>) -> Result<Value, Fault> {
    if board::is_board(body) {
        return Ok(board::decode(body)?.map_or_else(|| unknown(body), Value::Board));
    }
    match gnss::decode(body, faults) {
        Some(sentence) => sentence.map(Value::Gnss),
        None => Ok(unknown(body)),
    }
}

fn unknown(body: &[u8]) -> Value {
    let address = body.split(|&byte| byte == b',').next().unwrap_or_default();
    Value::Unknown(lossy(&address[..address.len().min(16)]))
}

fn decode_line(line: &[u8], lines: &mut serial_can::LineDecoder) -> (Value, Vec<Fault>) {
    let value = match lines.decode(line) {
        Ok(Says::Frame { frame, adapter_ms }) => {
            Value::Can(can::Received { frame, stamp_ns: None, adapter_ms })
        }
        Ok(Says::Answer) => Value::Unknown(lossy(line)),
        Ok(Says::Refusal) => Value::Unknown("BEL".into()),
        Err(fault) => return (Value::Refused, vec![fault]),
    };
    (value, Vec::new())
}

fn can_frame(bytes: &[u8]) -> (Value, Vec<Fault>) {
    match can::Received::from_bytes(bytes) {
        Ok(received) => (Value::Can(received), Vec::new()),
        Err(fault) => (Value::Refused, vec![fault]),
    }
}

fn losses(bytes: &[u8]) -> (Value, Vec<Fault>) {
    match Losses::from_bytes(bytes) {
        Some(losses) => (Value::Losses(losses), Vec::new()),
        None => (Value::Refused, vec![Fault::Field("losses")]),
    }
}

fn lossy(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}
