//! From a frame on the bus to what it says about the driveline: bits, codes, quantities.
//!
//! Nothing is silent: a raw value that is no quantity has its flaw beside it, and a quantity that
//! may be beyond its scale too.

use crate::published::{Address, BYTE_MAX, Codes, Part, address, answer, group_id, parts};
use crate::vehicle::{ByteOrder, Measures, Signal};

/// A data frame as the bus carried it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frame<'a> {
    /// Identifier.
    pub id: u32,
    /// 29 bits.
    pub extended: bool,
    /// Payload.
    pub data: &'a [u8],
}

/// Why a signal says nothing that can be counted on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Flaw {
    /// The unit says that it does not know.
    NotAvailable,
    /// The unit reports an error.
    Error,
    /// Outside of what is believed, or a raw value that has no meaning.
    OutOfRange,
    /// At the end of its scale: this, or beyond.
    Saturated,
    /// The payload ends before the signal does.
    Short,
}

impl Flaw {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Flaw::NotAvailable => "not available",
            Flaw::Error => "error",
            Flaw::OutOfRange => "out of range",
            Flaw::Saturated => "saturated",
            Flaw::Short => "payload too short",
        }
    }
}

/// What a signal says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Said {
    /// A speed, in km/h or turns a minute.
    Speed(f64),
    /// A running count and the number of values it wraps after.
    Count(u64, u64),
    /// A state.
    State(bool),
}

/// One signal of one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// What it says; None where the raw value is no quantity.
    pub said: Option<Said>,
    /// What is wrong with it.
    pub flaw: Option<Flaw>,
    /// Identifier of the frame.
    pub id: u32,
}

impl Sample {
    /// What it says, if nothing is wrong with it.
    pub fn sound(&self) -> Option<Said> {
        self.said.filter(|_| self.flaw.is_none())
    }
}

/// Decodes one signal of a vehicle file.
#[derive(Debug, Clone, PartialEq)]
pub struct SignalDecoder {
    address: Address,
    parts: Vec<Part>,
    measures: Measures,
    on: Vec<i64>,
    off: Vec<i64>,
}

impl SignalDecoder {
    /// A decoder for a signal of a file that parsed.
    ///
    /// ```
    /// use wheelwitness_driveline::signal::{Frame, Said, SignalDecoder};
    /// use wheelwitness_driveline::vehicle::{Message, Place, Signal};
    /// let rear_right = Signal {
    ///     message: Some(Message::J1939Ebc2),
    ///     place: Some(Place::RearRight),
    ///     ..Signal::default()
    /// };
    /// let data = [0x80, 0x25, 0x8D, 0x6D, 0x85, 0x75, 0xFF, 0xFF];
    /// let frame = Frame { id: 0x18FE_BF0B, extended: true, data: &data };
    /// let sample = SignalDecoder::new(&rear_right).decode(&frame).unwrap();
    /// assert_eq!(sample.sound(), Some(Said::Speed(37.0)));
    /// ```
    pub fn new(signal: &Signal) -> Self {
        let (address, parts) = match signal.message {
            Some(message) => (address(message, signal.id), parts(signal, message)),
            None => (own_address(signal), vec![own_part(signal)]),
        };
        let two_bits = signal.message.is_some() && signal.measured() == Measures::State;
        SignalDecoder {
            address,
            parts,
            measures: signal.measured(),
            on: if two_bits { vec![1] } else { signal.on.clone() },
            off: if two_bits { vec![0] } else { signal.off.clone() },
        }
    }

    /// Quantity per raw step: what the unit rounds, or cuts off, to.
    pub fn resolution(&self) -> f64 {
        self.parts.iter().map(|p| p.factor.abs()).fold(0.0, f64::hypot)
    }

    /// The signal in a frame; None where the frame does not carry it.
    pub fn decode(&self, frame: &Frame<'_>) -> Option<Sample> {
        let data = self.payload(frame)?;
        let (mut sum, mut raw, mut flaw) = (Some(0.0), 0, None);
        for part in &self.parts {
            let (one, wrong) = match bits(data, part) {
                Some(value) => {
                    raw = value;
                    quantity(part, value)
                }
                None => (None, Some(Flaw::Short)),
            };
            sum = sum.zip(one).map(|(a, b)| a + b);
            flaw = flaw.or(wrong);
        }
        let said = sum.map(|q| self.say(q, raw));
        let said = said.unwrap_or_else(|| Err(flaw.unwrap_or(Flaw::OutOfRange)));
        Some(Sample { said: said.ok(), flaw: flaw.or(said.err()), id: frame.id })
    }

    fn say(&self, quantity: f64, raw: i64) -> Result<Said, Flaw> {
        match self.measures {
            Measures::SpeedKmh | Measures::SpeedRpm => Ok(Said::Speed(quantity)),
            Measures::EdgeCount => {
                let length = self.parts.first().map_or(1, |p| p.length);
                Ok(Said::Count(raw.unsigned_abs(), 1 << length))
            }
            Measures::State if self.on.contains(&raw) => Ok(Said::State(true)),
            Measures::State if self.off.contains(&raw) => Ok(Said::State(false)),
            Measures::State => Err(Flaw::OutOfRange),
        }
    }

    fn payload<'a>(&self, frame: &Frame<'a>) -> Option<&'a [u8]> {
        match self.address {
            Address::Exact { id, extended } => {
                (id == frame.id && extended == frame.extended).then_some(frame.data)
            }
            Address::Group(pgn) => {
                (frame.extended && group_id(frame.id).pgn == pgn).then_some(frame.data)
            }
            Address::Answer { pid, responder } => responder
                .is_none_or(|id| id == frame.id)
                .then(|| answer(frame.id, frame.extended, frame.data, pid))?,
        }
    }
}

fn own_address(signal: &Signal) -> Address {
    Address::Exact { id: signal.id.unwrap_or(0), extended: signal.extended }
}

fn own_part(signal: &Signal) -> Part {
    Part {
        start_bit: signal.start_bit.unwrap_or(0),
        length: signal.length.unwrap_or(1),
        big: signal.byte_order == Some(ByteOrder::Big),
        signed: signal.signed,
        factor: signal.factor.unwrap_or(1.0),
        offset: signal.offset.unwrap_or(0.0),
        codes: Codes::Own {
            not_available: signal.not_available.clone(),
            error: signal.error.clone(),
            valid: signal.valid,
        },
    }
}

/// The raw value of a part; None where the payload is too short (or the part no part).
fn bits(data: &[u8], part: &Part) -> Option<i64> {
    let mut raw = 0u64;
    let (start, length) = (usize::from(part.start_bit), usize::from(part.length.min(63)));
    for k in 0..length {
        // The n-th bit from the least significant one (little), or from the most significant one.
        let (at, weight) = match part.big {
            false => (start + k, k),
            true => {
                let sent = start / 8 * 8 + (7 - start % 8) + k;
                (sent / 8 * 8 + (7 - sent % 8), length - 1 - k)
            }
        };
        let bit = data.get(at / 8)? >> (at % 8) & 1;
        raw |= u64::from(bit) << weight;
    }
    let negative = part.signed && length > 0 && raw >> (length - 1) & 1 == 1;
    let raw = i64::try_from(raw).ok()?;
    Some(if negative { raw - (1 << length) } else { raw })
}

/// The quantity of a raw value, and what is wrong with it.
fn quantity(part: &Part, raw: i64) -> (Option<f64>, Option<Flaw>) {
    let quantity = raw as f64 * part.factor + part.offset;
    let top = raw >> i64::from(part.length.saturating_sub(8));
    let flaw = match &part.codes {
        Codes::None => None,
        Codes::Parameter | Codes::Relative => match top {
            0xFF => Some(Flaw::NotAvailable),
            0xFE => Some(Flaw::Error),
            0xFB..=0xFD => Some(Flaw::OutOfRange),
            _ if part.codes == Codes::Relative && (raw == 0 || raw == BYTE_MAX) => {
                return (Some(quantity), Some(Flaw::Saturated));
            }
            _ => None,
        },
        Codes::TwoBits => match raw {
            2 => Some(Flaw::Error),
            3 => Some(Flaw::NotAvailable),
            _ => None,
        },
        Codes::Own { not_available, .. } if not_available.contains(&raw) => {
            Some(Flaw::NotAvailable)
        }
        Codes::Own { error, .. } if error.contains(&raw) => Some(Flaw::Error),
        Codes::Own { valid: Some([low, high]), .. } if !(*low..=*high).contains(&quantity) => {
            Some(Flaw::OutOfRange)
        }
        Codes::Own { .. } => None,
    };
    if flaw.is_some() { (None, flaw) } else { (Some(quantity), None) }
}
