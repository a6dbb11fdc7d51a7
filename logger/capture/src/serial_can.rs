//! CAN over a serial line: the ASCII lines that the Linux kernel's slcan driver speaks.
//!
//! A line is a type, an id, a length and the data, and ends with a carriage return. There is no
//! checksum, so only the exact shape of a line says that it is whole.
//!
//! ```
//! use wheelwitness_capture::can::{Frame, Id};
//! use wheelwitness_capture::serial_can::{Says, decode};
//!
//! let said = decode(b"t456311223303E8").expect("a line of the right shape");
//! let frame = Frame::data(Id::Standard(0x456), &[0x11, 0x22, 0x33]).expect("three bytes");
//! assert_eq!(said, Says::Frame { frame, adapter_ms: Some(1000) });
//! ```

use crate::can::{Frame, Id};
use crate::can_error::COUNTERS;
use crate::nmea::{Fault, Line};

/// The longest line taken, without its end. The longest frame has 30 characters.
pub const MAX_LINE_BYTES: usize = 64;
/// The clock of an adapter wraps after this many milliseconds (common practice).
pub const ADAPTER_WRAP_MS: u16 = 60_000;

/// Asks the adapter to leave the bus.
pub const CLOSE: &[u8] = b"C\r";
/// Asks the adapter to listen and never to send, not even an acknowledgement. Common practice of
/// adapters; the kernel's driver sends it for its listen-only mode.
pub const LISTEN: &[u8] = b"L\r";
/// Asks the adapter for its clock behind every frame (common practice of adapters).
pub const TIMESTAMPS: &[u8] = b"Z1\r";

/// A command was refused; also ends a line as a carriage return does.
const BEL: u8 = 7;
/// Bit rates of the commands `S0` to `S8`, in bit/s (the table of the kernel's driver).
const BIT_RATES: [u32; 9] =
    [10_000, 20_000, 50_000, 100_000, 125_000, 250_000, 500_000, 800_000, 1_000_000];

/// The bit rates that an adapter can be asked for, in bit/s.
pub fn bit_rates() -> &'static [u32] {
    &BIT_RATES
}

/// The command that sets a bit rate, while the adapter is closed.
pub fn set_bit_rate(bit_rate: u32) -> Option<Vec<u8>> {
    let number = BIT_RATES.iter().position(|rate| *rate == bit_rate)?;
    Some(format!("S{number}\r").into_bytes())
}

/// What a line says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Says {
    /// A frame was received, or something is wrong with the bus ([`Frame::Error`]).
    Frame {
        /// The frame.
        frame: Frame,
        /// The adapter's clock, if it was asked for.
        adapter_ms: Option<u16>,
    },
    /// The answer to a command.
    Answer,
    /// A command was refused.
    Refusal,
}

/// Decodes one line, without its end.
pub fn decode(line: &[u8]) -> Result<Says, Fault> {
    let Some((kind, rest)) = line.split_first() else { return Ok(Says::Answer) };
    match kind {
        b't' | b'r' => frame(rest, 3, *kind == b'r'),
        b'T' | b'R' => frame(rest, 8, *kind == b'R'),
        b's' => state(rest).map(bare),
        b'e' => errors(rest).map(bare),
        b'z' | b'Z' if rest.is_empty() => Ok(Says::Answer),
        b'V' | b'v' | b'N' if is_version(rest) => Ok(Says::Answer),
        &BEL if rest.is_empty() => Ok(Says::Refusal),
        _ => Err(Fault::Garbage { bytes: line.len() as u64 }),
    }
}

/// Versions and serial numbers: four characters, in some adapters of their own fashion.
fn is_version(rest: &[u8]) -> bool {
    (2..=8).contains(&rest.len()) && rest.iter().all(u8::is_ascii_alphanumeric)
}

fn bare(frame: Frame) -> Says {
    Says::Frame { frame, adapter_ms: None }
}

fn frame(rest: &[u8], id_digits: usize, remote: bool) -> Result<Says, Fault> {
    let (id, rest) = rest.split_at_checked(id_digits).ok_or(Fault::Length)?;
    let id = hex_number(id).ok_or(Fault::Field("CAN id"))?;
    let id = match id_digits {
        3 => Id::standard(id as u16),
        _ => Id::extended(id),
    };
    let id = id.ok_or(Fault::Field("CAN id"))?;
    let (length, rest) = rest.split_first().ok_or(Fault::Length)?;
    let length = length.wrapping_sub(b'0');
    if length > 8 {
        return Err(Fault::Field("CAN length"));
    }
    let digits = if remote { 0 } else { 2 * usize::from(length) };
    let (data, clock) = rest.split_at_checked(digits).ok_or(Fault::Length)?;
    let frame = if remote { Frame::remote(id, length) } else { data_frame(id, data) };
    let frame = frame.ok_or(Fault::Field("CAN data"))?;
    Ok(Says::Frame { frame, adapter_ms: adapter_clock(clock)? })
}

fn data_frame(id: Id, digits: &[u8]) -> Option<Frame> {
    let bytes: Option<Vec<u8>> =
        digits.chunks(2).map(|pair| hex_number(pair).map(|byte| byte as u8)).collect();
    Frame::data(id, &bytes?)
}

fn adapter_clock(digits: &[u8]) -> Result<Option<u16>, Fault> {
    match digits.len() {
        0 => Ok(None),
        4 => {
            let ms = hex_number(digits).map(|ms| ms as u16).filter(|ms| *ms < ADAPTER_WRAP_MS);
            ms.map(Some).ok_or(Fault::Field("adapter clock"))
        }
        _ => Err(Fault::Length),
    }
}

/// At most eight hexadecimal digits of either case.
fn hex_number(digits: &[u8]) -> Option<u32> {
    digits.iter().try_fold(0, |number, digit| Some(number << 4 | char::from(*digit).to_digit(16)?))
}

/// `a`, `w`, `p` or `b` (error active, warning, passive, bus off) and two counters of three
/// decimal digits, receive first. Becomes the error frame that the kernel's driver makes of it.
fn state(rest: &[u8]) -> Result<Frame, Fault> {
    let [state, r0, r1, r2, t0, t1, t2] = *rest else { return Err(Fault::Length) };
    let counters = decimal([r0, r1, r2]).zip(decimal([t0, t1, t2]));
    let (receive, transmit) = counters.ok_or(Fault::Field("error counter"))?;
    // Bits of the controller's state for receive and transmit; the larger counter is the cause.
    let (by_receive, by_transmit) = match state {
        b'a' => (0x40, 0x40),
        b'w' => (0x04, 0x08),
        b'p' => (0x10, 0x20),
        b'b' => (0, 0),
        _ => return Err(Fault::Field("bus state")),
    };
    let mut controller = 0;
    if receive >= transmit {
        controller |= by_receive;
    }
    if transmit >= receive {
        controller |= by_transmit;
    }
    let class = if state == b'b' { 0x40 } else { 0x04 };
    // Of a counter that has gone beyond a byte (bus off at 256), the largest byte is left.
    let [transmit, receive] = [transmit, receive].map(|n| n.min(255) as u8);
    let details = [0, controller, 0, 0, 0, 0, transmit, receive];
    Ok(Frame::Error { classes: class | COUNTERS, details })
}

fn decimal(digits: [u8; 3]) -> Option<u16> {
    digits.iter().try_fold(0, |number, digit| {
        let value = char::from(*digit).to_digit(10)?;
        Some(number * 10 + value as u16)
    })
}

/// Letter, classes, controller byte, protocol byte, place byte of `linux/can/error.h`.
const ERRORS: [(u8, u32, u8, u8, u8); 8] = [
    (b'a', 0x20, 0, 0, 0x19),
    (b'b', 0, 0, 0x08, 0),
    (b'B', 0, 0, 0x10, 0),
    (b'c', 0, 0, 0x01, 0x08),
    (b'f', 0, 0, 0x02, 0),
    (b'o', 0x04, 0x01, 0, 0),
    (b'O', 0x04, 0x02, 0, 0),
    (b's', 0, 0, 0x04, 0),
];

/// A count, and as many letters: acknowledge, bit 0, Bit 1, CRC, form, overrun of reception,
/// Overrun of transmission, stuffing. Becomes the error frame that the kernel's driver makes of it.
fn errors(rest: &[u8]) -> Result<Frame, Fault> {
    let (count, letters) = rest.split_first().ok_or(Fault::Length)?;
    if usize::from(count.wrapping_sub(b'0')) != letters.len() || letters.len() > 8 {
        return Err(Fault::Length);
    }
    let (mut classes, mut details) = (0x88, [0; 8]);
    for letter in letters {
        let row = ERRORS.iter().find(|row| row.0 == *letter);
        let (_, class, controller, protocol, place) =
            row.ok_or(Fault::Field("kind of bus error"))?;
        classes |= class;
        details[1] |= controller;
        details[2] |= protocol;
        if *place != 0 {
            details[3] = *place;
        }
    }
    Ok(Frame::Error { classes, details })
}

/// The line of a frame, with its end; `None` for FD frames and errors, which it has no words for.
pub fn encode(frame: &Frame, adapter_ms: Option<u16>) -> Option<Vec<u8>> {
    let (kind, length) = match frame {
        Frame::Data { data, .. } => ('t', data.len()),
        Frame::Remote { length, .. } => ('r', usize::from(*length)),
        Frame::Fd { .. } | Frame::Error { .. } => return None,
    };
    let mut line = match frame.id()? {
        Id::Standard(id) => format!("{kind}{id:03X}{length}"),
        Id::Extended(id) => format!("{}{id:08X}{length}", kind.to_ascii_uppercase()),
    };
    line.extend(frame.payload().iter().map(|byte| format!("{byte:02X}")));
    line.extend(adapter_ms.map(|ms| format!("{:04X}", ms % ADAPTER_WRAP_MS)));
    line.push('\r');
    Some(line.into_bytes())
}

/// Cuts one source's bytes into lines, however they were split into records.
///
/// The letters that begin a frame never occur within a line: where one does, a line was cut off
/// and the next one began. After opening a source, what comes before the first such letter or line
/// end is the rest of a line that began earlier: no fault.
#[derive(Debug, Default)]
pub struct Framer {
    partial: Vec<u8>,
    /// The record in which `partial` began.
    first_record: u64,
    state: State,
}

#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
enum State {
    /// The source was just opened: the line may have begun before.
    #[default]
    Joining,
    /// In a line, or between lines.
    Lines,
    /// In something too long to be a line, of which so many bytes were passed over.
    Skipping(u64),
}

impl Framer {
    /// Takes the bytes of record `number`; `out` gets each line with the record it began in.
    pub fn push(&mut self, number: u64, bytes: &[u8], out: &mut impl FnMut(u64, Line<'_>)) {
        for &byte in bytes {
            match byte {
                b'\r' | b'\n' | BEL => self.end_line(number, byte, out),
                b't' | b'T' | b'r' | b'R' => {
                    self.break_off(out);
                    self.state = State::Lines;
                    self.add(number, byte, out);
                }
                _ => self.add(number, byte, out),
            }
        }
    }

    /// The source went away or was opened anew: what is unfinished stays so.
    pub fn restart(&mut self, out: &mut impl FnMut(u64, Line<'_>)) {
        self.break_off(out);
        self.state = State::Joining;
    }

    fn add(&mut self, number: u64, byte: u8, out: &mut impl FnMut(u64, Line<'_>)) {
        if let State::Skipping(bytes) = &mut self.state {
            *bytes += 1;
            return;
        }
        if self.partial.is_empty() {
            self.first_record = number;
        }
        self.partial.push(byte);
        if self.partial.len() > MAX_LINE_BYTES {
            out(self.first_record, Line::Fault(Fault::TooLong));
            self.state = State::Skipping(self.partial.len() as u64);
            self.partial.clear();
        }
    }

    fn end_line(&mut self, number: u64, end: u8, out: &mut impl FnMut(u64, Line<'_>)) {
        match self.state {
            State::Lines if !self.partial.is_empty() => {
                out(self.first_record, Line::Sentence(&self.partial));
            }
            State::Lines if end == BEL => out(number, Line::Sentence(&[BEL])),
            State::Lines | State::Joining => {}
            State::Skipping(_) => self.break_off(out),
        }
        self.partial.clear();
        self.state = State::Lines;
    }

    /// Whatever was begun is not finished.
    fn break_off(&mut self, out: &mut impl FnMut(u64, Line<'_>)) {
        let bytes = self.partial.len() as u64;
        match self.state {
            State::Lines if bytes > 0 => {
                out(self.first_record, Line::Fault(Fault::Unfinished { bytes }));
            }
            State::Skipping(bytes) => out(self.first_record, Line::Fault(Fault::Garbage { bytes })),
            State::Lines | State::Joining => {}
        }
        self.partial.clear();
    }
}

/// So many lines in a row say whether an adapter sends its clock or does not.
const CLOCK_LINES: u8 = 4;

/// Decodes the lines of one adapter, one after the other.
///
/// A line that lost four characters looks like one without the adapter's clock, and its clock like
/// data: where clocks are sent, such a line is refused.
#[derive(Debug, Default)]
pub struct LineDecoder {
    clocks_sent: bool,
    contrary: u8,
}

impl LineDecoder {
    /// Decodes one line, without its end, by what is known from the lines before.
    pub fn decode(&mut self, line: &[u8]) -> Result<Says, Fault> {
        decode(line).and_then(|says| self.check(says))
    }

    fn check(&mut self, says: Says) -> Result<Says, Fault> {
        let Says::Frame { frame, adapter_ms } = says else { return Ok(says) };
        if matches!(frame, Frame::Error { .. }) {
            return Ok(says);
        }
        if adapter_ms.is_some() == self.clocks_sent {
            self.contrary = 0;
            return Ok(says);
        }
        self.contrary += 1;
        if self.contrary >= CLOCK_LINES {
            *self = LineDecoder { clocks_sent: !self.clocks_sent, contrary: 0 };
        } else if self.clocks_sent {
            return Err(Fault::Field("missing adapter clock"));
        }
        Ok(says)
    }
}
