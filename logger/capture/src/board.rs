//! The sentences of the pulse board. The wire is described in `PULSE-BOARD.md`.

use crate::nmea::{Fault, crc16, hex_digit};

/// A sentence of the board: its running number, its tick, and what it says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sentence {
    /// Running number of the sentence, modulo 256.
    pub sequence: u8,
    /// Board clock in microseconds, modulo 2^32: when the values were taken; for a switch, when
    /// its edge came.
    pub tick: u32,
    /// What it says.
    pub says: Says,
}

/// What a board sentence says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Says {
    /// `$PWWNI`: who the board is.
    Identity(Identity),
    /// `$PWWNA`, `$PWWNB`: pulse counts of four channels.
    Counts(Counts),
    /// `$PWWNS`: one edge of a switch input.
    Switch(Switch),
    /// `$PWWNL`: the levels of all 16 switch inputs; bit 0 is input 1.
    Levels(u16),
    /// `$PWWNV`: six analog inputs, in millivolts.
    Analog([u16; 6]),
    /// `$PWWNE`: what the board could not do.
    Errors(Errors),
    /// `$PWWNZ`: how many sentences there were.
    Tally(Tally),
}

/// Who a board is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Identity {
    /// Version of the wire, 1 so far.
    pub wire_version: u8,
    /// Goes up by one at each power-up or reset.
    pub boot_number: u16,
    /// Serial number of the board.
    pub serial: u32,
    /// Rounds of counts a second.
    pub rounds_per_s: u16,
    /// Capability bits; see `PULSE-BOARD.md`.
    pub capabilities: u16,
}

/// Half a round: four pulse channels, latched at the sentence's tick.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Counts {
    /// Number of the first of the four channels: 1 or 5.
    pub first_channel: u8,
    /// The four channels.
    pub channels: [Channel; 4],
}

/// One pulse channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Channel {
    /// Edges counted since the board started, modulo 65536.
    pub count: u16,
    /// How long before the tick the last edge came, in microseconds; `None` when that is 65.535 ms
    /// or longer ago, or when there was no edge yet.
    pub age_us: Option<u16>,
}

/// One edge of a switch input.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Switch {
    /// Number of the input, 1 to 16.
    pub input: u8,
    /// Electrical level after the edge.
    pub high: bool,
    /// Edges of this input since the board started, this one included, modulo 65536.
    pub edges: u16,
}

/// What the board could not do, cumulative since it started.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Errors {
    /// Sentences that were never sent, because the line was full, modulo 65536.
    pub dropped: u16,
    /// Channels whose edge capture overran; bit 0 is channel 1.
    pub overrun_channels: u8,
    /// Switch edges that got no sentence of their own, modulo 65536.
    pub switch_edges_unsent: u16,
}

/// How many sentences a board has sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tally {
    /// Boot number.
    pub boot_number: u16,
    /// Sentences sent since the board started, this one included, modulo 2^32.
    pub sent: u32,
    /// Nothing follows.
    pub closing: bool,
}

/// Whether a sentence with this body is one of the board's: then it carries a CRC-16.
pub fn is_board(body: &[u8]) -> bool {
    body.starts_with(b"PWWN")
}

/// Decodes the body of a board sentence whose checksum holds. `Ok(None)` is an undamaged sentence
/// of a kind that this wire version does not know.
pub fn decode(body: &[u8]) -> Result<Option<Sentence>, Fault> {
    let Some((covered, written)) = body.split_at_checked(body.len().saturating_sub(4)) else {
        return Err(Fault::Length);
    };
    let computed = crc16(covered);
    if !covered.ends_with(b",") || hex(written) != Some(u32::from(computed)) {
        return Err(Fault::Crc { computed });
    }
    let Some((&kind, fields)) = covered[4..].split_first() else { return Err(Fault::Length) };
    let Some(layout) = layout(kind) else { return Ok(None) };
    let mut fields = Fields::of(fields, layout)?;
    let sequence = fields.u8("sentence number")?;
    let tick = fields.u32("tick")?;
    let says = says(kind, &mut fields)?;
    Ok(Some(Sentence { sequence, tick, says }))
}

/// The exact shape of what follows the sentence's name: each `_` is a digit or letter.
fn layout(kind: u8) -> Option<&'static [u8]> {
    Some(match kind {
        b'I' => b",__,________,__,____,________,___,___,",
        b'A' | b'B' => b",__,________,________,________,________,________,",
        b'S' => b",__,________,__,_,____,",
        b'L' => b",__,________,____,",
        b'V' => b",__,________,____,____,____,____,____,____,",
        b'E' => b",__,________,____,__,____,",
        b'Z' => b",__,________,____,________,_,",
        _ => return None,
    })
}

fn says(kind: u8, fields: &mut Fields<'_>) -> Result<Says, Fault> {
    Ok(match kind {
        b'I' => Says::Identity(Identity {
            wire_version: fields.u8("wire version")?,
            boot_number: fields.u16("boot number")?,
            serial: fields.u32("serial number")?,
            rounds_per_s: fields.u16("rounds per second")?,
            capabilities: fields.u16("capabilities")?,
        }),
        b'A' | b'B' => Says::Counts(Counts {
            first_channel: if kind == b'A' { 1 } else { 5 },
            channels: [fields.channel()?, fields.channel()?, fields.channel()?, fields.channel()?],
        }),
        b'S' => Says::Switch(Switch {
            input: fields.within("switch input", 1, 16)? as u8,
            high: fields.within("level", 0, 1)? == 1,
            edges: fields.u16("edge count")?,
        }),
        b'L' => Says::Levels(fields.u16("levels")?),
        b'V' => {
            let mut millivolts = [0; 6];
            for value in &mut millivolts {
                *value = fields.u16("millivolts")?;
            }
            Says::Analog(millivolts)
        }
        b'E' => Says::Errors(Errors {
            dropped: fields.u16("dropped sentences")?,
            overrun_channels: fields.u8("overrun channels")?,
            switch_edges_unsent: fields.u16("unsent switch edges")?,
        }),
        _ => Says::Tally(Tally {
            boot_number: fields.u16("boot number")?,
            sent: fields.u32("sentences sent")?,
            closing: fields.closing()?,
        }),
    })
}

/// The fields of a sentence that has its one exact shape.
struct Fields<'a> {
    rest: &'a [u8],
}

impl<'a> Fields<'a> {
    fn of(fields: &'a [u8], layout: &[u8]) -> Result<Self, Fault> {
        let fits = |(field, shape): (&u8, &u8)| (*shape == b',') == (*field == b',');
        if fields.len() != layout.len() || !fields.iter().zip(layout).all(fits) {
            return Err(Fault::Length);
        }
        Ok(Fields { rest: &fields[1..] })
    }

    fn next(&mut self) -> &'a [u8] {
        let end = self.rest.iter().position(|&byte| byte == b',').unwrap_or(self.rest.len());
        let field = &self.rest[..end];
        self.rest = self.rest.get(end + 1..).unwrap_or(&[]);
        field
    }

    fn u32(&mut self, name: &'static str) -> Result<u32, Fault> {
        hex(self.next()).ok_or(Fault::Field(name))
    }

    fn u16(&mut self, name: &'static str) -> Result<u16, Fault> {
        self.u32(name)?.try_into().map_err(|_| Fault::Field(name))
    }

    fn u8(&mut self, name: &'static str) -> Result<u8, Fault> {
        self.u32(name)?.try_into().map_err(|_| Fault::Field(name))
    }

    fn within(&mut self, name: &'static str, low: u32, high: u32) -> Result<u32, Fault> {
        let value = self.u32(name)?;
        if (low..=high).contains(&value) { Ok(value) } else { Err(Fault::Field(name)) }
    }

    fn channel(&mut self) -> Result<Channel, Fault> {
        let both = self.u32("count")?;
        let age_us = both as u16;
        Ok(Channel { count: (both >> 16) as u16, age_us: (age_us != u16::MAX).then_some(age_us) })
    }

    fn closing(&mut self) -> Result<bool, Fault> {
        match self.next() {
            b"T" => Ok(false),
            b"C" => Ok(true),
            _ => Err(Fault::Field("tally kind")),
        }
    }
}

/// Upper-case hexadecimal digits, at most eight.
fn hex(digits: &[u8]) -> Option<u32> {
    let (value, seen) = digits.iter().fold((0, 0), |(value, seen), &digit| {
        let digit = HEX[usize::from(digit)];
        (value << 4 | u32::from(digit & 15), seen | digit)
    });
    (matches!(digits.len(), 1..=8) && seen < 16).then_some(value)
}

/// Value of every byte as an upper-case hexadecimal digit; 16 where it is none.
static HEX: [u8; 256] = {
    let mut table = [16; 256];
    let mut byte = 0;
    while byte < 256 {
        if let Some(digit) = hex_digit(byte as u8) {
            table[byte] = digit;
        }
        byte += 1;
    }
    table
};
