//! CAN traffic to and from other tools: pcapng both ways, and plain text in.

use crate::can::Frame;
use crate::can_csv::Columns;
use crate::decode::{Decoder, Reading, Value};
use crate::make::{Extras, Maker, Stop};
use crate::pcapng::{self, LINKTYPE_CAN, Packet, PcapngError};
use crate::read::{CaptureReader, Item, ReadError};
use crate::record::{Kind, RecordingId, Text, source_kind, title};
use crate::storage::Storage;
use crate::write::Trouble;
use crate::{can, clock::Stamp};
use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, BufRead, Read, Write};

const MADE_BY: &str = "import-can";
/// Frames of several interfaces are not always in order; times may go back by so much.
const SLACK_NS: i64 = 1_000_000_000;
/// A longer line is no line of frames.
const MAX_LINE_BYTES: u64 = 64 * 1024;
/// First bytes of the older format of packet captures, in both byte orders and both resolutions.
const OLDER: [[u8; 4]; 4] = [
    [0xa1, 0xb2, 0xc3, 0xd4],
    [0xd4, 0xc3, 0xb2, 0xa1],
    [0xa1, 0xb2, 0x3c, 0x4d],
    [0x4d, 0x3c, 0xb2, 0xa1],
];

/// Why CAN traffic could not be imported.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    /// The file is damaged, or of another kind.
    #[error("{0}; it was read as pcapng: save it again from the tool that recorded it")]
    Pcapng(#[from] PcapngError),
    /// The older format of packet captures.
    #[error("this is the older kind of packet capture: save it as pcapng and import that")]
    Older,
    /// A packet cannot be put into a capture.
    #[error("block {block} at byte {offset}: {problem}")]
    Packet {
        /// Number of the block, from 1.
        block: u64,
        /// Where it begins.
        offset: u64,
        /// What is wrong.
        problem: String,
    },
    /// There are packets, but no CAN frames.
    #[error("none of its {others} packets is a CAN frame of link type 227: record a CAN interface")]
    OtherTraffic {
        /// Packets of other link types.
        others: u64,
    },
    /// A line is not what it should be.
    #[error(
        "line {line}: {problem}; the first line names the columns, at least \
         time_s,interface,id,data, and each further line is one frame"
    )]
    Line {
        /// Its number, from 1.
        line: u64,
        /// What is wrong.
        problem: String,
    },
    /// The file cannot be read.
    #[error("cannot be read: {0}")]
    Reading(io::Error),
    /// The capture cannot be begun.
    #[error("the capture cannot be begun: {0}")]
    Beginning(io::Error),
    /// The capture cannot be written.
    #[error("the capture cannot be written: {0}")]
    Writing(#[from] Trouble),
}

/// What was imported.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Imported {
    /// The recording's id.
    pub recording: RecordingId,
    /// Frames and error frames.
    pub frames: u64,
    /// Frames that cannot be, which are in the capture all the same.
    pub refused: u64,
    /// Packets of other links than CAN, which are not in the capture.
    pub others: u64,
    /// The block, from 1, and the byte at which a pcapng file breaks off in the middle.
    pub cut_at: Option<(u64, u64)>,
    /// The sources: number and name.
    pub sources: Vec<(u16, String)>,
}

/// Makes a capture of a pcapng file or of lines of frames, whichever it is by its content. The
/// first frame is at boot-time 0; the recording id is the caller's, so that the same file can give
/// the same bytes.
pub fn import_can<S: Storage>(
    mut from: impl BufRead,
    storage: S,
    recording: RecordingId,
    extras: &Extras<'_>,
) -> Result<Imported, ImportError> {
    let maker = Maker::create(storage, recording).map_err(ImportError::Beginning)?;
    let mut import = Import { maker, extras, first_ns: None, frames: 0, refused: 0 };
    let mut begin = Vec::new();
    (&mut from).take(4).read_to_end(&mut begin).map_err(ImportError::Reading)?;
    let whole = begin.as_slice().chain(from);
    if OLDER.iter().any(|magic| begin == magic) {
        return Err(ImportError::Older);
    }
    let (others, cut_at) = match begin == pcapng::MAGIC {
        true => import.take_packets(whole)?,
        false => import.take_lines(whole).map(|()| (0, None))?,
    };
    if import.frames == 0 && others > 0 {
        return Err(ImportError::OtherTraffic { others });
    }
    import.maker.begin(MADE_BY, extras).map_err(|stop| line_error(0, stop))?;
    let (frames, refused) = (import.frames, import.refused);
    let (recording, sources) = import.maker.finish()?;
    Ok(Imported { recording, frames, refused, others, cut_at, sources })
}

struct Import<'e, S: Storage> {
    maker: Maker<S>,
    extras: &'e Extras<'e>,
    /// Time of the first frame, which becomes boot-time 0.
    first_ns: Option<i64>,
    frames: u64,
    refused: u64,
}

impl<S: Storage> Import<'_, S> {
    /// Returns how many packets were no CAN frames, and where the file breaks off.
    fn take_packets(&mut self, from: impl Read) -> Result<(u64, Option<(u64, u64)>), ImportError> {
        let mut reader = pcapng::Reader::new(from);
        let mut others = 0;
        while let Some(packet) = reader.next_packet()? {
            if packet.interface.link_type != LINKTYPE_CAN {
                others += 1;
                continue;
            }
            let (block, offset) = reader.place();
            self.take_packet(&packet).map_err(|stop| match stop {
                Stop::Problem(problem) => ImportError::Packet { block, offset, problem },
                Stop::Trouble(trouble) => ImportError::Writing(trouble),
            })?;
        }
        Ok((others, reader.is_cut().then(|| reader.place())))
    }

    /// The bytes go into the capture as they are, also where they make no frame.
    fn take_packet(&mut self, packet: &Packet) -> Result<(), Stop> {
        if Frame::from_linktype_bytes(&packet.bytes).is_err() {
            self.refused += 1;
        }
        let name = packet.interface.name.clone().filter(|name| !name.trim().is_empty());
        let name = name.unwrap_or_else(|| format!("interface-{}", packet.interface_number));
        let mut record = packet.time_ns.to_le_bytes().to_vec();
        record.extend_from_slice(&packet.bytes);
        self.take(&name, packet.time_ns, packet.time_ns, &record)
    }

    fn take_lines(&mut self, from: impl BufRead) -> Result<(), ImportError> {
        let mut from = from;
        let mut columns = None;
        for line in 1.. {
            let mut text = Vec::new();
            let read = (&mut from).take(MAX_LINE_BYTES).read_until(b'\n', &mut text);
            if read.map_err(ImportError::Reading)? == 0 {
                break;
            }
            self.take_line(&text, &mut columns).map_err(|stop| line_error(line, stop))?;
        }
        match columns {
            Some(_) => Ok(()),
            None => Err(ImportError::Line { line: 1, problem: "the file is empty".into() }),
        }
    }

    fn take_line(&mut self, text: &[u8], columns: &mut Option<Columns>) -> Result<(), Stop> {
        let text = std::str::from_utf8(text).map_err(|_| Stop::Problem("not UTF-8 text".into()))?;
        let text = text.trim_start_matches('\u{feff}').trim();
        if text.is_empty() || text.starts_with('#') {
            return Ok(());
        }
        let Some(columns) = columns else {
            *columns = Some(Columns::of(text).map_err(Stop::Problem)?);
            return Ok(());
        };
        let row = columns.read(text).map_err(Stop::Problem)?;
        let received = can::Received { frame: row.frame, stamp_ns: None, adapter_ms: None };
        self.take(&row.interface, row.time_ns, 0, &received.to_bytes())
    }

    fn take(
        &mut self,
        source: &str,
        time_ns: i64,
        wall_ns: i64,
        record: &[u8],
    ) -> Result<(), Stop> {
        let first_ns = *self.first_ns.get_or_insert(time_ns);
        let boot_ns = time_ns.checked_sub(first_ns);
        let boot_ns = boot_ns.ok_or_else(|| Stop::Problem("a time span of centuries".into()))?;
        self.maker.set_time(boot_ns, wall_ns, SLACK_NS)?;
        self.maker.begin(MADE_BY, self.extras)?;
        let number = match self.maker.known(source) {
            Some(number) => number,
            None => {
                let number = self.maker.free()?;
                self.maker.open(number, source, Some(source_kind::CAN), "imported CAN frames")?;
                number
            }
        };
        self.maker.append(number, Kind::CanFrame, record)?;
        self.frames += 1;
        Ok(())
    }
}

fn line_error(line: u64, stop: Stop) -> ImportError {
    match stop {
        Stop::Problem(problem) => ImportError::Line { line, problem },
        Stop::Trouble(trouble) => ImportError::Writing(trouble),
    }
}

/// Why CAN traffic could not be exported.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The capture cannot be read.
    #[error(transparent)]
    Capture(#[from] ReadError),
    /// The file cannot be written.
    #[error("cannot be written: {0}")]
    Writing(#[from] io::Error),
}

/// What was exported.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Exported {
    /// Frames and error frames.
    pub frames: u64,
    /// Sources that had any.
    pub interfaces: u32,
    /// Frames or lines of the same sources that were damaged, which are not in the file.
    pub refused: u64,
    /// Frames or reads that the recorder had lost.
    pub lost: u64,
    /// Stretches of the capture that could not be read.
    pub holes: u64,
}

/// Writes the CAN frames of a capture, those of serial-line adapters too, as pcapng. Times are
/// boot-time, moved to the wall clock as it was when the recording began: they never jump.
pub fn export_can<S: Storage, W: Write>(
    reader: &mut CaptureReader<S>,
    into: W,
) -> Result<(Exported, W), ExportError> {
    let mut export = Export::new(pcapng::Writer::new(into)?);
    let (mut done, mut decoder) = (Exported::default(), Decoder::new());
    reader.rewind();
    while let Some(item) = reader.next_item()? {
        export.first = reader.first_stamp();
        if matches!(item, Item::Hole(_)) {
            done.holes += 1;
        }
        let mut outcome = Ok(());
        decoder.push_item(&item, &mut |reading| {
            if outcome.is_ok() {
                outcome = export.take(&reading, &mut done);
            }
        });
        outcome?;
    }
    done.interfaces = export.sources.len() as u32;
    Ok((done, export.into.finish()))
}

fn declares_can(text: &Text) -> bool {
    let kinds = [source_kind::CAN, source_kind::SERIAL_CAN];
    text.title == title::SOURCE_KIND && kinds.contains(&text.body.trim())
}

struct Export<W> {
    into: pcapng::Writer<W>,
    /// The clocks when the recording began.
    first: Option<Stamp>,
    names: BTreeMap<u16, String>,
    /// Sources of CAN frames: declared to be, or known by a frame.
    can: BTreeSet<u16>,
    /// Number of the interface of each source that had frames.
    sources: BTreeMap<u16, u32>,
}

impl<W: Write> Export<W> {
    fn new(into: pcapng::Writer<W>) -> Self {
        let (first, names, can, sources) = Default::default();
        Export { into, first, names, can, sources }
    }

    fn take(&mut self, reading: &Reading, done: &mut Exported) -> io::Result<()> {
        match &reading.value {
            Value::Text(text) if text.title == title::SOURCE_NAME => {
                self.names.insert(reading.source, text.body.trim().to_owned());
            }
            Value::Text(text) if declares_can(text) => _ = self.can.insert(reading.source),
            Value::Can(received) => {
                let interface = self.interface(reading.source)?;
                let time_ns = self.wall_ns(reading.boot_ns);
                self.into.packet(interface, time_ns, &received.frame.to_linktype_bytes())?;
                done.frames += 1;
            }
            Value::Refused if self.can.contains(&reading.source) => done.refused += 1,
            Value::Losses(losses) if self.can.contains(&reading.source) => {
                done.lost += losses.records;
            }
            _ => {}
        }
        Ok(())
    }

    fn interface(&mut self, source: u16) -> io::Result<u32> {
        if let Some(number) = self.sources.get(&source) {
            return Ok(*number);
        }
        let number = self.into.interface(self.names.get(&source).map(String::as_str))?;
        self.can.insert(source);
        self.sources.insert(source, number);
        Ok(number)
    }

    /// Times before 1970, of captures without a wall clock, are 1970.
    fn wall_ns(&self, boot_ns: i64) -> u64 {
        let began = self.first.unwrap_or_default();
        let since = i128::from(boot_ns) - i128::from(began.boot_ns);
        u64::try_from(since + i128::from(began.wall_ns)).unwrap_or(0)
    }
}
