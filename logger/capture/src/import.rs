//! From lines of text to a capture, so that anybody's simulator can feed the analysis.
//!
//! One line a chunk of bytes: `boottime_ns source hexbytes`, separated by spaces or tabs. A source
//! is a number or a name; names get the numbers that are free, in the order of appearance.
//! Lines that are empty or begin with `#` are passed over. Times never go back.

use crate::clock::{Clock, Stamp};
use crate::record::{Kind, RECORDER, RecordingId, title};
use crate::storage::Storage;
use crate::write::{Limits, Refused, Trouble, Writer};
use std::collections::BTreeMap;
use std::io::{self, BufRead};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

/// Why an import stopped.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    /// A line is not what it should be.
    #[error("line {line}: {problem}; a line is: boottime_ns source hexbytes")]
    Line {
        /// Its number, from 1.
        line: u64,
        /// What is wrong.
        problem: String,
    },
    /// The lines cannot be read.
    #[error("line {line} cannot be read: {error}")]
    Reading {
        /// The number of the line, from 1.
        line: u64,
        /// Why.
        error: io::Error,
    },
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
    /// Lines with bytes.
    pub lines: u64,
    /// The sources: number and name.
    pub sources: Vec<(u16, String)>,
}

/// What goes into the capture beside the lines.
#[derive(Debug, Clone, Default)]
pub struct Extras<'a> {
    /// Text of a vehicle file.
    pub vehicle_file: Option<&'a str>,
    /// How many times faster than real time the lines were made, if they are simulated.
    pub simulated_clock_scale: Option<f64>,
}

/// Makes a capture of wire lines. The recording id is the caller's, so that the same lines can
/// give the same bytes; wall time is unknown and stays 0.
pub fn import_wire<S: Storage>(
    lines: impl BufRead,
    storage: S,
    recording: RecordingId,
    extras: &Extras<'_>,
) -> Result<Imported, ImportError> {
    let clock = LineClock::default();
    let writer = Writer::create(storage, clock.clone(), recording, Limits::default());
    let writer = writer.map_err(ImportError::Beginning)?;
    let mut import = Import { writer, clock, sources: BTreeMap::new(), lines: 0, begun: false };
    for (line, text) in (1..).zip(lines.split(b'\n')) {
        let text = text.map_err(|error| ImportError::Reading { line, error })?;
        import.take_line(&text, extras).map_err(|stop| stop.at(line))?;
    }
    import.finish(extras).map_err(|stop| stop.at(0))
}

/// A clock that shows the time of the line at hand.
#[derive(Debug, Clone, Default)]
struct LineClock {
    boot_ns: Arc<AtomicI64>,
}

impl Clock for LineClock {
    fn now(&self) -> Stamp {
        let boot_ns = self.boot_ns.load(Ordering::Relaxed);
        Stamp { boot_ns, mono_ns: boot_ns, wall_ns: 0 }
    }
}

enum Stop {
    Problem(String),
    Trouble(Trouble),
}

impl Stop {
    fn at(self, line: u64) -> ImportError {
        match self {
            Stop::Problem(problem) => ImportError::Line { line, problem },
            Stop::Trouble(trouble) => ImportError::Writing(trouble),
        }
    }
}

impl From<Refused> for Stop {
    fn from(refused: Refused) -> Self {
        Stop::Problem(refused.to_string())
    }
}

struct Import<S: Storage> {
    writer: Writer<S>,
    clock: LineClock,
    sources: BTreeMap<String, u16>,
    lines: u64,
    begun: bool,
}

impl<S: Storage> Import<S> {
    fn take_line(&mut self, text: &[u8], extras: &Extras<'_>) -> Result<(), Stop> {
        let text = std::str::from_utf8(text).map_err(|_| problem("not UTF-8 text"))?.trim();
        if text.is_empty() || text.starts_with('#') {
            return Ok(());
        }
        let words: Vec<&str> = text.split_ascii_whitespace().collect();
        let [time, source, hex] = words[..] else {
            return Err(problem(&format!("{} words instead of 3", words.len())));
        };
        let boot_ns = time.parse().map_err(|_| problem(&format!("{time:?} is no time in ns")))?;
        let bytes = hex_bytes(hex)?;
        self.set_time(boot_ns)?;
        self.begin(extras)?;
        let source = self.source(source, boot_ns)?;
        self.writer.append(source, Kind::Bytes, boot_ns, &bytes)?;
        self.lines += 1;
        self.pump()
    }

    fn set_time(&mut self, boot_ns: i64) -> Result<(), Stop> {
        let before = self.clock.boot_ns.swap(boot_ns, Ordering::Relaxed);
        if self.begun && boot_ns < before {
            return Err(problem(&format!("time goes back from {before} to {boot_ns}")));
        }
        Ok(())
    }

    /// What stands at the beginning of every capture, at the time of its first line.
    fn begin(&mut self, extras: &Extras<'_>) -> Result<(), Stop> {
        if std::mem::replace(&mut self.begun, true) {
            return Ok(());
        }
        let scale = extras.simulated_clock_scale.map(|scale| scale.to_string());
        let texts = [
            (title::LOGGER_SETTINGS, Some("made by import-wire, not by a recorder")),
            (title::VEHICLE_FILE, extras.vehicle_file),
            (title::CLOCK_SCALE, scale.as_deref()),
        ];
        for (title, body) in texts {
            if let Some(body) = body {
                self.writer.append_text(RECORDER, title, body)?;
            }
        }
        Ok(())
    }

    /// The number of a source; its first use opens it.
    fn source(&mut self, name: &str, boot_ns: i64) -> Result<u16, Stop> {
        if let Some(number) = self.sources.get(name) {
            return Ok(*number);
        }
        let free = || (0..RECORDER).find(|n| !self.sources.values().any(|used| used == n));
        let number = match name.parse::<u16>() {
            Ok(number) if number.to_string() == name && number != RECORDER => number,
            Ok(_) => return Err(problem(&format!("{name} cannot be the number of a source"))),
            Err(_) => free().ok_or_else(|| problem("too many sources"))?,
        };
        if self.sources.values().any(|used| *used == number) {
            return Err(problem(&format!(
                "source {number} already has a name: use one or the other"
            )));
        }
        self.sources.insert(name.to_owned(), number);
        self.writer.append_text(number, title::SOURCE_NAME, name)?;
        self.writer.append(number, Kind::Opened, boot_ns, b"imported wire lines")?;
        Ok(number)
    }

    fn pump(&mut self) -> Result<(), Stop> {
        self.writer.pump().trouble.map_or(Ok(()), |trouble| Err(Stop::Trouble(trouble)))
    }

    fn finish(mut self, extras: &Extras<'_>) -> Result<Imported, Stop> {
        self.begin(extras)?;
        let recording = self.writer.recording();
        if let Some(trouble) = self.writer.close().0.trouble {
            return Err(Stop::Trouble(trouble));
        }
        let mut sources: Vec<_> = self.sources.into_iter().map(|(name, n)| (n, name)).collect();
        sources.sort();
        Ok(Imported { recording, lines: self.lines, sources })
    }
}

fn problem(text: &str) -> Stop {
    Stop::Problem(text.to_owned())
}

fn hex_bytes(hex: &str) -> Result<Vec<u8>, Stop> {
    if !hex.len().is_multiple_of(2) {
        return Err(problem("an odd number of hexadecimal digits"));
    }
    let pair = |pair: &[u8]| {
        let digit = |byte: u8| char::from(byte).to_digit(16);
        Some((digit(pair[0])? << 4 | digit(pair[1])?) as u8)
    };
    let bytes: Option<Vec<u8>> = hex.as_bytes().chunks_exact(2).map(pair).collect();
    bytes.ok_or_else(|| problem("a character that is no hexadecimal digit"))
}
