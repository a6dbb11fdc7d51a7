//! CAN frames as plain text: one line a frame, columns by name.
//!
//! The first line names the columns, in any order. `time_s`, `interface`, `id` and `data` must be
//! there; `extended`, `kind`, `length`, `bit_rate_switch` and `error_state` may be; others are
//! passed over. `analyze/SCHEMAS.md` has the table.

use crate::can::{Frame, Id, Payload};
use crate::import::hex_bytes;
use crate::make::{Stop, problem};

/// What the lines of one file have where.
#[derive(Debug)]
pub struct Columns {
    count: usize,
    places: [Option<usize>; NAMES.len()],
}

const NAMES: [&str; 9] = [
    "time_s",
    "interface",
    "id",
    "data",
    "extended",
    "kind",
    "length",
    "bit_rate_switch",
    "error_state",
];
const TIME: usize = 0;
const INTERFACE: usize = 1;
const ID: usize = 2;
const DATA: usize = 3;
const EXTENDED: usize = 4;
const KIND: usize = 5;
const LENGTH: usize = 6;
const SWITCHED: usize = 7;
const PASSIVE: usize = 8;
/// The first so many must be there.
const NEEDED: usize = 4;

/// One line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Nanoseconds on one clock.
    pub time_ns: i64,
    /// Name of the interface.
    pub interface: String,
    /// The frame.
    pub frame: Frame,
}

impl Columns {
    /// Reads the first line; the error says what is wrong with it.
    pub fn of(line: &str) -> Result<Columns, String> {
        let names: Vec<&str> = cells(line).collect();
        let mut places = [None; NAMES.len()];
        for (place, name) in places.iter_mut().zip(NAMES) {
            let mut found = (0..names.len()).filter(|at| names[*at] == name);
            *place = found.next();
            if found.next().is_some() {
                return Err(format!("two columns are called {name}"));
            }
        }
        match (0..NEEDED).find(|column| places[*column].is_none()) {
            Some(missing) => Err(format!("there is no column {}", NAMES[missing])),
            None => Ok(Columns { count: names.len(), places }),
        }
    }

    /// Reads a line after the first; the error says what is wrong with it.
    pub fn read(&self, line: &str) -> Result<Row, String> {
        self.row(line).map_err(|stop| match stop {
            Stop::Problem(problem) => problem,
            Stop::Trouble(trouble) => trouble.to_string(),
        })
    }

    fn row(&self, line: &str) -> Result<Row, Stop> {
        let cells: Vec<&str> = cells(line).collect();
        if cells.len() != self.count {
            return Err(problem(&format!("{} columns instead of {}", cells.len(), self.count)));
        }
        let cell = |column: usize| self.places[column].map_or("", |at| cells[at]);
        let wrong = |column: usize, why: &str| {
            problem(&format!("{} {:?} {why}", NAMES[column], cell(column)))
        };
        let flag = |column: usize| match cell(column) {
            "" | "0" => Ok(false),
            "1" => Ok(true),
            _ => Err(wrong(column, "is neither 0 nor 1")),
        };
        let time_ns =
            nanoseconds(cell(TIME)).ok_or_else(|| wrong(TIME, "is no time in seconds"))?;
        let data = hex_bytes(&cell(DATA).replace(' ', ""))?;
        let length = match cell(LENGTH) {
            "" => None,
            text => Some(text.parse::<u8>().map_err(|_| wrong(LENGTH, "is no length"))?),
        };
        let word = hex_word(cell(ID)).ok_or_else(|| wrong(ID, "is no hexadecimal id"))?;
        let frame = match cell(KIND) {
            "error" => error_frame(word, &data),
            kind => {
                let id = if flag(EXTENDED)? { Id::extended(word) } else { standard(word) };
                let id = id.ok_or_else(|| wrong(ID, "is too large"))?;
                match kind {
                    "" | "data" => Frame::data(id, &data),
                    "remote" if data.is_empty() => Frame::remote(id, length.unwrap_or(0)),
                    "fd" => fd_frame(id, &data, flag(SWITCHED)?, flag(PASSIVE)?),
                    "remote" => return Err(wrong(DATA, "in a remote frame, which has none")),
                    _ => return Err(wrong(KIND, "is not data, remote, fd or error")),
                }
            }
        };
        let frame = frame.ok_or_else(|| wrong(DATA, "does not fit into a frame of this kind"))?;
        let carried = if matches!(frame, Frame::Remote { .. }) { length } else { None };
        if length.is_some_and(|n| carried.is_none() && usize::from(n) != data.len()) {
            return Err(wrong(LENGTH, "is not that of the data"));
        }
        if cell(INTERFACE).is_empty() {
            return Err(problem("the interface has no name"));
        }
        Ok(Row { time_ns, interface: cell(INTERFACE).to_owned(), frame })
    }
}

fn cells(line: &str) -> impl Iterator<Item = &str> {
    line.split(',').map(str::trim)
}

fn standard(word: u32) -> Option<Id> {
    u16::try_from(word).ok().and_then(Id::standard)
}

fn fd_frame(id: Id, data: &[u8], bit_rate_switch: bool, error_state: bool) -> Option<Frame> {
    Some(Frame::Fd { id, data: Payload::new(data)?, bit_rate_switch, error_state })
}

/// The id of an error frame is its classes.
fn error_frame(classes: u32, data: &[u8]) -> Option<Frame> {
    let mut details = [0; 8];
    details.get_mut(..data.len())?.copy_from_slice(data);
    (classes <= Id::MAX_EXTENDED).then_some(Frame::Error { classes, details })
}

fn hex_word(text: &str) -> Option<u32> {
    let digits = text.strip_prefix("0x").unwrap_or(text);
    let plain = !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_hexdigit());
    plain.then(|| u32::from_str_radix(digits, 16).ok()).flatten()
}

/// Seconds with up to nine digits after the point, exactly; further digits are cut.
fn nanoseconds(text: &str) -> Option<i64> {
    let (negative, text) = text.strip_prefix('-').map_or((false, text), |rest| (true, rest));
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let plain = |digits: &str| digits.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || !plain(whole) || !plain(part) {
        return None;
    }
    let part = format!("{:0<9}", part.get(..9).unwrap_or(part));
    let seconds = whole.parse::<i64>().ok()?.checked_mul(1_000_000_000)?;
    let ns = seconds.checked_add(part.parse().ok()?)?;
    Some(if negative { -ns } else { ns })
}
