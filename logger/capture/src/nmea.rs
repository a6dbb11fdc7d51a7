//! NMEA 0183 framing: `$` body `*hh` CR LF, for everything that arrives on a serial line.

use std::fmt;

/// The longest sentence taken, from `$` to before the line end. NMEA 0183 allows 80; receivers
/// exceed it.
pub const MAX_SENTENCE_BYTES: usize = 250;

/// What is wrong with bytes on the wire. Faults lie beside the data; none of them stops anything.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Fault {
    /// Bytes that belong to no sentence.
    Garbage {
        /// How many.
        bytes: u64,
    },
    /// A sentence that was never finished: the next one began, or the source went away.
    Unfinished {
        /// Bytes of it that arrived.
        bytes: u64,
    },
    /// A sentence longer than [`MAX_SENTENCE_BYTES`].
    TooLong,
    /// A sentence without `*hh` at its end.
    NoChecksum,
    /// The XOR checksum differs from the one computed.
    Checksum {
        /// As written.
        written: u8,
        /// As computed.
        computed: u8,
    },
    /// A board sentence whose CRC-16 is missing or differs from the one computed.
    Crc {
        /// As computed.
        computed: u16,
    },
    /// A character that no sentence may contain.
    Character,
    /// A sentence with too few or too many fields, or (board) not of its one exact length.
    Length,
    /// A field that cannot be what it says, by its name.
    Field(&'static str),
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Fault::Garbage { bytes } => write!(f, "{bytes} bytes outside any sentence"),
            Fault::Unfinished { bytes } => write!(f, "sentence broken off after {bytes} bytes"),
            Fault::TooLong => write!(f, "sentence longer than {MAX_SENTENCE_BYTES} bytes"),
            Fault::NoChecksum => f.write_str("sentence without checksum"),
            Fault::Checksum { written, computed } => {
                write!(f, "checksum {written:02X} where {computed:02X} was computed")
            }
            Fault::Crc { computed } => write!(f, "CRC-16 is not the {computed:04X} computed"),
            Fault::Character => f.write_str("character that no sentence may contain"),
            Fault::Length => f.write_str("wrong number or length of fields"),
            Fault::Field(name) => write!(f, "impossible {name}"),
        }
    }
}

/// The NMEA 0183 checksum: all bytes between `$` and `*`, combined by exclusive or.
pub fn checksum(body: &[u8]) -> u8 {
    body.iter().fold(0, |sum, byte| sum ^ byte)
}

/// The CRC-16 of board sentences: polynomial 0x1021, initial value 0xFFFF, most significant bit
/// first, no final inversion. Four bytes at a time: every judgement computes it for every sentence
/// several times.
pub fn crc16(bytes: &[u8]) -> u16 {
    let (fours, rest) = bytes.as_chunks::<4>();
    let crc = fours.iter().fold(0xffff_u16, |crc, &[a, b, c, d]| {
        CRC16[3][usize::from(a ^ (crc >> 8) as u8)]
            ^ CRC16[2][usize::from(b ^ crc as u8)]
            ^ CRC16[1][usize::from(c)]
            ^ CRC16[0][usize::from(d)]
    });
    rest.iter().fold(crc, |crc, &byte| (crc << 8) ^ CRC16[0][usize::from((crc >> 8) as u8 ^ byte)])
}

/// What a byte leaves in the register when 0 to 3 bytes follow it.
static CRC16: [[u16; 256]; 4] = crc16_tables();

const fn crc16_tables() -> [[u16; 256]; 4] {
    let mut tables = [[0; 256]; 4];
    let mut index = 0;
    while index < 256 {
        let mut crc = (index as u16) << 8;
        let mut bit = 0;
        while bit < 32 {
            crc = if crc & 0x8000 == 0 { crc << 1 } else { (crc << 1) ^ 0x1021 };
            bit += 1;
            if bit % 8 == 0 {
                tables[bit / 8 - 1][index] = crc;
            }
        }
        index += 1;
    }
    tables
}

/// The body of a sentence (`$` body `*hh`, without line end) whose checksum holds.
pub fn check(sentence: &[u8]) -> Result<&[u8], Fault> {
    // Every byte is looked at, without a way out early: so the compiler takes many at once.
    if !sentence.iter().fold(true, |good, byte| good & (0x20..0x7f).contains(byte)) {
        return Err(Fault::Character);
    }
    let [b'$', body @ .., b'*', high, low] = sentence else { return Err(Fault::NoChecksum) };
    // Some receivers write small letters; a board never does, and one flipped bit makes them.
    let proprietary = body.first() == Some(&b'P');
    let upper = |digit: &u8| if proprietary { *digit } else { digit.to_ascii_uppercase() };
    let digits = (hex_digit(upper(high)), hex_digit(upper(low)));
    let (Some(high), Some(low)) = digits else { return Err(Fault::NoChecksum) };
    let (written, computed) = (high << 4 | low, checksum(body));
    if written == computed { Ok(body) } else { Err(Fault::Checksum { written, computed }) }
}

/// The value of an upper-case hexadecimal digit.
pub(crate) const fn hex_digit(byte: u8) -> Option<u8> {
    match byte {
        b'0'..=b'9' => Some(byte - b'0'),
        b'A'..=b'F' => Some(byte - b'A' + 10),
        _ => None,
    }
}

/// What the framer found.
#[derive(Debug, PartialEq, Eq)]
pub enum Line<'a> {
    /// A sentence, from `$` to before the line end; nothing about it is checked yet.
    Sentence(&'a [u8]),
    /// Bytes that are no sentence.
    Fault(Fault),
}

/// Cuts one source's bytes into sentences, however they were split into records.
///
/// What comes before the first `$` or line end after opening a source is the rest of a sentence
/// that began earlier: no fault.
#[derive(Debug)]
pub struct Framer {
    partial: Vec<u8>,
    /// The record in which `partial` began.
    first_record: u64,
    garbage: u64,
    state: State,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// The source was just opened: the line may have begun before.
    Joining,
    /// Between sentences.
    Between,
    /// In a sentence.
    Within,
}

impl Default for Framer {
    fn default() -> Self {
        Framer { partial: Vec::new(), first_record: 0, garbage: 0, state: State::Joining }
    }
}

impl Framer {
    /// Takes the bytes of record `number`; `out` gets each line with the record it began in.
    pub fn push(&mut self, number: u64, mut bytes: &[u8], out: &mut impl FnMut(u64, Line<'_>)) {
        while !bytes.is_empty() {
            bytes = match self.state {
                State::Within => self.continue_sentence(number, bytes, out),
                State::Between | State::Joining => self.find_start(number, bytes, out),
            };
        }
    }

    /// The source went away or was opened anew: what is unfinished stays so.
    pub fn restart(&mut self, out: &mut impl FnMut(u64, Line<'_>)) {
        if self.state == State::Within {
            let bytes = self.partial.len() as u64;
            out(self.first_record, Line::Fault(Fault::Unfinished { bytes }));
        }
        self.tell_garbage(self.first_record, out);
        self.partial.clear();
        self.state = State::Joining;
    }

    fn find_start<'b>(
        &mut self,
        number: u64,
        bytes: &'b [u8],
        out: &mut impl FnMut(u64, Line<'_>),
    ) -> &'b [u8] {
        for (at, &byte) in bytes.iter().enumerate() {
            match byte {
                b'$' => {
                    self.tell_garbage(number, out);
                    self.first_record = number;
                    self.state = State::Within;
                    self.partial.clear();
                    return &bytes[at..];
                }
                b'\r' | b'\n' => self.end_joining(),
                _ => self.garbage += 1,
            }
        }
        &[]
    }

    /// A line end while joining: what came before it was the rest of a sentence.
    fn end_joining(&mut self) {
        if self.state == State::Joining {
            self.state = State::Between;
            if self.garbage <= MAX_SENTENCE_BYTES as u64 {
                self.garbage = 0;
            }
        }
    }

    fn tell_garbage(&mut self, number: u64, out: &mut impl FnMut(u64, Line<'_>)) {
        self.end_joining();
        let bytes = std::mem::take(&mut self.garbage);
        if bytes > 0 {
            out(number, Line::Fault(Fault::Garbage { bytes }));
        }
    }

    /// `bytes` continue a sentence (or begin with its `$`).
    fn continue_sentence<'b>(
        &mut self,
        number: u64,
        bytes: &'b [u8],
        out: &mut impl FnMut(u64, Line<'_>),
    ) -> &'b [u8] {
        let begun = usize::from(self.partial.is_empty());
        let end = bytes[begun..].iter().position(|byte| matches!(byte, b'\r' | b'\n' | b'$'));
        let end = end.map_or(bytes.len(), |at| at + begun);
        let (piece, rest) = bytes.split_at(end);
        if self.partial.len() + piece.len() > MAX_SENTENCE_BYTES {
            return self.give_up(piece, rest, out);
        }
        match rest.first() {
            None => {
                self.partial.extend_from_slice(piece);
                return rest;
            }
            Some(b'$') => {
                let bytes = (self.partial.len() + piece.len()) as u64;
                out(self.first_record, Line::Fault(Fault::Unfinished { bytes }));
            }
            Some(_) if self.partial.is_empty() => out(number, Line::Sentence(piece)),
            Some(_) => {
                self.partial.extend_from_slice(piece);
                out(self.first_record, Line::Sentence(&self.partial));
            }
        }
        self.partial.clear();
        self.state = State::Between;
        rest
    }

    /// The sentence is too long to be one; all that belongs to it is garbage.
    fn give_up<'b>(
        &mut self,
        piece: &[u8],
        rest: &'b [u8],
        out: &mut impl FnMut(u64, Line<'_>),
    ) -> &'b [u8] {
        out(self.first_record, Line::Fault(Fault::TooLong));
        self.garbage = (self.partial.len() + piece.len()) as u64;
        self.partial.clear();
        self.state = State::Between;
        rest
    }
}
