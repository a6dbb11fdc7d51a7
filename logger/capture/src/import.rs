//! From lines of text to a capture, so that anybody's simulator can feed the analysis.
//!
//! One line a chunk of bytes: `boottime_ns source hexbytes`, separated by spaces or tabs. A source
//! is a number or a name; names get the numbers that are free, in the order of appearance.
//! A line `source NAME kind` says what kind of device a source is, before its first chunk. Lines
//! that are empty or begin with `#` are passed over. Times never go back.

pub use crate::make::Extras;
use crate::make::{Maker, Stop, problem};
use crate::record::{Kind, RECORDER, RecordingId};
use crate::storage::Storage;
use crate::write::Trouble;
use std::collections::BTreeMap;
use std::io::{self, BufRead};

const MADE_BY: &str = "import-wire";

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

/// Makes a capture of wire lines. The recording id is the caller's, so that the same lines can
/// give the same bytes; wall time is unknown and stays 0.
pub fn import_wire<S: Storage>(
    lines: impl BufRead,
    storage: S,
    recording: RecordingId,
    extras: &Extras<'_>,
) -> Result<Imported, ImportError> {
    let maker = Maker::create(storage, recording).map_err(ImportError::Beginning)?;
    let mut import = Import { maker, kinds: BTreeMap::new(), lines: 0 };
    for (line, text) in (1..).zip(lines.split(b'\n')) {
        let text = text.map_err(|error| ImportError::Reading { line, error })?;
        import.take_line(&text, extras).map_err(|stop| at(line, stop))?;
    }
    import.maker.begin(MADE_BY, extras).map_err(|stop| at(0, stop))?;
    let (recording, sources) = import.maker.finish()?;
    Ok(Imported { recording, lines: import.lines, sources })
}

fn at(line: u64, stop: Stop) -> ImportError {
    match stop {
        Stop::Problem(problem) => ImportError::Line { line, problem },
        Stop::Trouble(trouble) => ImportError::Writing(trouble),
    }
}

struct Import<S: Storage> {
    maker: Maker<S>,
    /// Declared kinds of sources, by name.
    kinds: BTreeMap<String, String>,
    lines: u64,
}

impl<S: Storage> Import<S> {
    fn take_line(&mut self, text: &[u8], extras: &Extras<'_>) -> Result<(), Stop> {
        let text = std::str::from_utf8(text).map_err(|_| problem("not UTF-8 text"))?.trim();
        if text.is_empty() || text.starts_with('#') {
            return Ok(());
        }
        let words: Vec<&str> = text.split_ascii_whitespace().collect();
        if let ["source", name, kind] = words[..] {
            return self.declare(name, kind);
        }
        let [time, source, hex] = words[..] else {
            return Err(problem(&format!("{} words instead of 3", words.len())));
        };
        let boot_ns = time.parse().map_err(|_| problem(&format!("{time:?} is no time in ns")))?;
        let bytes = hex_bytes(hex)?;
        self.maker.set_time(boot_ns, 0, 0)?;
        self.maker.begin(MADE_BY, extras)?;
        let source = self.source(source)?;
        self.maker.append(source, Kind::Bytes, &bytes)?;
        self.lines += 1;
        Ok(())
    }

    /// The number of a source; its first use opens it.
    fn source(&mut self, name: &str) -> Result<u16, Stop> {
        if let Some(number) = self.maker.known(name) {
            return Ok(number);
        }
        let number = match name.parse::<u16>() {
            Ok(number) if number.to_string() == name && number != RECORDER => number,
            Ok(_) => return Err(problem(&format!("{name} cannot be the number of a source"))),
            Err(_) => self.maker.free()?,
        };
        let kind = self.kinds.get(name).map(String::as_str);
        self.maker.open(number, name, kind, "imported wire lines")?;
        Ok(number)
    }

    fn declare(&mut self, name: &str, kind: &str) -> Result<(), Stop> {
        if self.maker.known(name).is_some() {
            return Err(problem(&format!("the kind of {name} comes after its first bytes")));
        }
        self.kinds.insert(name.to_owned(), kind.to_owned());
        Ok(())
    }
}

/// Bytes of two hexadecimal digits each.
pub(crate) fn hex_bytes(hex: &str) -> Result<Vec<u8>, Stop> {
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
