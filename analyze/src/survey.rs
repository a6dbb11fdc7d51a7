//! The first pass: what is in the capture, what is missing, and what the later passes must know
//! beforehand (clock lines, tooth patterns, courses).

use crate::fixes::Fixes;
use crate::result::{Hole, SourceInfo};
use crate::sleep::Sleeps;
use crate::ticks::{AdapterTrack, BoardTrack};
use crate::wall::ClockSets;
use std::collections::BTreeMap;
use wheelwitness_capture::board::{Says, Sentence};
use wheelwitness_capture::can::{Frame, Received};
use wheelwitness_capture::clock::Stamp;
use wheelwitness_capture::decode::{Decoder, Reading, Value};
use wheelwitness_capture::nmea::Fault;
use wheelwitness_capture::read::{CaptureReader, Item, ReadError};
use wheelwitness_capture::record::{Kind, RECORDER, Record, title};
use wheelwitness_capture::storage::Storage;
use wheelwitness_driveline::clock::Envelope;

/// What the first pass found.
#[derive(Debug, Default)]
pub struct Survey {
    /// Records read.
    pub records: u64,
    /// Stretches that could not be read.
    pub holes: Vec<Hole>,
    /// Ended as it should.
    pub closed: bool,
    /// Clocks at the first block.
    pub first_stamp: Option<Stamp>,
    /// Boot-time of the first and the last record, nanoseconds.
    pub span_ns: Option<(i64, i64)>,
    /// Text of the vehicle file that travels inside.
    pub vehicle_text: Option<String>,
    /// Declared clock scale of a simulation.
    pub clock_scale: Option<f64>,
    /// Records that the recorder had to let go, of no source in particular.
    pub dropped_records: u64,
    /// The receiver's courses and speeds.
    pub fixes: Fixes,
    /// When the computer slept.
    pub sleeps: Sleeps,
    /// When its wall clock was set.
    pub clock_sets: ClockSets,
    /// The sources by number.
    pub sources: BTreeMap<u16, Source>,
}

/// What the first pass found about one source.
#[derive(Debug, Default)]
pub struct Source {
    /// Facts for the result.
    pub info: SourceInfo,
    /// Declared kind.
    pub declared: Option<String>,
    /// Board or receiver, by what it spoke.
    pub board: bool,
    /// Sentence numbers and ticks followed (boards).
    pub track: BoardTrack,
    /// One clock line per boot of the board.
    pub clocks: Vec<Envelope>,
    /// First and last record.
    pub records: (u64, u64),
    /// Frames on a bus.
    pub can: bool,
    /// What was lost of it, counted by the kernel or the recorder.
    pub lost: u64,
    /// Frames that say that the controller went off the bus.
    pub bus_off: u64,
    /// Filters that the recorder set: what they kept out is not in the capture.
    pub filters: Option<String>,
    /// Clock line of a serial-line adapter that stamps its frames.
    pub adapter_clock: Envelope,
    adapter: AdapterTrack,
}

/// Class of an error frame: bus off (`linux/can/error.h`, from memory).
const BUS_OFF: u32 = 0x40;

/// Calls `each` for every reading of a capture, and `hole` for what cannot be read.
pub fn readings<S: Storage>(
    reader: &mut CaptureReader<S>,
    each: impl FnMut(Reading),
    hole: impl FnMut(Hole),
) -> Result<u64, ReadError> {
    records_and_readings(reader, |_, _| {}, each, hole)
}

/// The same, with `whole` called for every record before its readings, with the clocks at the
/// beginning of its block.
fn records_and_readings<S: Storage>(
    reader: &mut CaptureReader<S>,
    mut whole: impl FnMut(&Record, Option<Stamp>),
    mut each: impl FnMut(Reading),
    mut hole: impl FnMut(Hole),
) -> Result<u64, ReadError> {
    reader.rewind();
    let mut decoder = Decoder::new();
    let mut records = 0;
    while let Some(item) = reader.next_item()? {
        match item {
            Item::Record(record) => {
                records += 1;
                whole(&record, reader.stamp());
                decoder.push(&record, &mut each);
            }
            Item::Hole(h) => {
                decoder.finish(&mut each);
                hole(Hole {
                    segment: h.segment,
                    offset: h.offset,
                    bytes: h.bytes,
                    records_missing: h.records_missing,
                });
            }
        }
    }
    decoder.finish(&mut each);
    Ok(records)
}

impl Survey {
    /// From the first record to the last, in seconds; None where there is none. A capture that
    /// somebody made may claim any times.
    pub fn duration_s(&self) -> Option<f64> {
        self.span_ns.map(|(first, last)| last.saturating_sub(first) as f64 * 1e-9)
    }

    /// Reads the whole capture once.
    pub fn of<S: Storage>(reader: &mut CaptureReader<S>) -> Result<Survey, ReadError> {
        let mut survey = Survey::default();
        let mut holes = Vec::new();
        let mut bytes = BTreeMap::new();
        let (mut sleeps, mut clock_sets) = (Sleeps::default(), ClockSets::default());
        let count = |r: &Record, stamp| {
            sleeps.push(stamp, r.boot_ns);
            clock_sets.push(stamp);
            if matches!(r.kind, Kind::Bytes | Kind::CanFrame) {
                *bytes.entry(r.source).or_insert(0) += r.bytes.len() as u64;
            }
        };
        let records = records_and_readings(reader, count, |r| survey.take(&r), |h| holes.push(h))?;
        survey.records = records;
        (survey.sleeps, survey.clock_sets) = (sleeps, clock_sets);
        bytes.into_iter().for_each(|(number, n)| survey.source(number).info.bytes = n);
        survey.holes = holes;
        survey.closed = reader.is_closed();
        survey.first_stamp = reader.first_stamp();
        Ok(survey)
    }

    fn take(&mut self, reading: &Reading) {
        self.fixes.take(reading);
        let (first, last) = self.span_ns.get_or_insert((reading.boot_ns, reading.boot_ns));
        *first = (*first).min(reading.boot_ns);
        *last = (*last).max(reading.boot_ns);
        match &reading.value {
            Value::Text(text) => self.take_text(reading.source, &text.title, &text.body),
            Value::Losses(losses) if reading.source == RECORDER => {
                self.dropped_records += losses.records;
            }
            Value::Losses(losses) => self.source(reading.source).lost += losses.records,
            Value::Closed => {}
            _ => self.take_from_source(reading),
        }
    }

    fn take_text(&mut self, source: u16, what: &str, body: &str) {
        match what {
            title::VEHICLE_FILE => self.vehicle_text = Some(body.to_owned()),
            title::CLOCK_SCALE => self.clock_scale = body.trim().parse().ok(),
            title::SOURCE_NAME => self.source(source).info.name = body.trim().to_owned(),
            title::SOURCE_FILTERS => self.source(source).filters = Some(body.trim().to_owned()),
            title::SOURCE_KIND => self.source(source).declared = Some(body.trim().to_owned()),
            _ => {}
        }
    }

    fn source(&mut self, number: u16) -> &mut Source {
        self.sources.entry(number).or_insert_with(|| Source {
            info: SourceInfo {
                number,
                name: format!("source {number}"),
                speaks: "unknown".into(),
                ..SourceInfo::default()
            },
            ..Source::default()
        })
    }

    fn take_from_source(&mut self, reading: &Reading) {
        let source = self.source(reading.source);
        if source.info.accepted == 0 {
            source.records.0 = reading.first_record;
        }
        source.records.1 = reading.record;
        for fault in &reading.faults {
            *source.info.faults.entry(fault_name(fault).into()).or_default() += 1;
        }
        match &reading.value {
            Value::Board(sentence) => source.take_board(sentence, reading.boot_ns),
            Value::Gnss(_) => {
                source.info.accepted += 1;
                source.info.speaks = "GNSS".into();
            }
            Value::Can(received) => source.take_can(received, reading.boot_ns),
            Value::Lost(_) => {
                source.info.interruptions += 1;
                source.track.sequence.source_lost();
            }
            _ => {}
        }
    }

    /// Number of the source that is the pulse board: the first that spoke like one.
    pub fn board(&self) -> Option<u16> {
        self.sources.iter().find(|(_, s)| s.board).map(|(n, _)| *n)
    }

    /// Facts about the sources, for the result.
    pub fn source_infos(&self) -> Vec<SourceInfo> {
        self.sources
            .values()
            .map(|s| SourceInfo {
                missing: match (s.board, s.can) {
                    (true, _) => Some(s.track.sequence.totals().lost),
                    (false, true) => Some(s.lost),
                    (false, false) => None,
                },
                ..s.info.clone()
            })
            .collect()
    }
}

impl Source {
    /// An error on the bus is no frame of it: it stands with the faults.
    fn take_can(&mut self, received: &Received, boot_ns: i64) {
        self.info.speaks = "CAN".into();
        self.can = true;
        if let Some(ms) = received.adapter_ms {
            let adapter_ms = self.adapter.push(ms, boot_ns / 1_000_000);
            self.adapter_clock.push(adapter_ms as f64 * 1e-3, boot_ns as f64 * 1e-9);
        }
        match received.frame {
            Frame::Error { classes, .. } => {
                self.bus_off += u64::from(classes & BUS_OFF != 0);
                *self.info.faults.entry("CAN error frame".into()).or_default() += 1;
            }
            _ => self.info.accepted += 1,
        }
    }

    fn take_board(&mut self, sentence: &Sentence, boot_ns: i64) {
        self.info.accepted += 1;
        self.info.speaks = "pulse board".into();
        self.board = true;
        let Some(placed) = self.track.push(sentence, boot_ns / 1_000) else { return };
        if self.clocks.len() <= placed.epoch {
            self.clocks.resize_with(placed.epoch + 1, Envelope::default);
        }
        if matches!(sentence.says, Says::Counts(_)) {
            self.clocks[placed.epoch].push(placed.tick_us as f64 * 1e-6, boot_ns as f64 * 1e-9);
        }
    }
}

fn fault_name(fault: &Fault) -> &'static str {
    match fault {
        Fault::Garbage { .. } => "bytes outside sentences",
        Fault::Unfinished { .. } => "unfinished sentence",
        Fault::TooLong => "too long",
        Fault::NoChecksum => "no checksum",
        Fault::Checksum { .. } => "checksum",
        Fault::Crc { .. } => "CRC",
        Fault::Character => "forbidden character",
        Fault::Length => "wrong length",
        Fault::Field(_) => "impossible field",
    }
}
