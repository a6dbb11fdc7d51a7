//! One source: its name, its port, the speed of the line, what kind of device it is.

use crate::bus::Filter;
use serde::{Deserialize, Serialize};
use std::path::PathBuf;
use std::str::FromStr;
use wheelwitness_capture::record::Kind;
use wheelwitness_capture::serial_can::bit_rates;

/// The longest name of a source.
const NAME_LENGTH_MAX: usize = 32;
/// The fastest line that a serial driver of this decade accepts.
const BAUD_MAX: u32 = 12_000_000;

/// What kind of device a source is. It decides the default speed, whether lines are checked for
/// framing, and whether the device is asked to finish; never what is kept: every byte is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SourceKind {
    /// The pulse board: counts, switches, voltages. Gets a finish request at the end.
    PulseBoard,
    /// A GNSS receiver sending NMEA 0183 sentences.
    Gnss,
    /// A CAN interface of this computer, such as `can0`. Nothing is ever sent.
    Can,
    /// A CAN adapter on a serial line. Gets the commands that make it listen, and one at the end.
    SerialCan,
    /// Anything else. Its bytes are kept and nothing is expected of them.
    Other,
}

impl SourceKind {
    /// Name, kind, usual speed of the line in baud (NMEA 0183 for GNSS; common practice for
    /// others; an interface has none).
    const TABLE: [(&'static str, SourceKind, u32); 5] = [
        ("pulse-board", SourceKind::PulseBoard, 250_000),
        ("gnss", SourceKind::Gnss, 9_600),
        ("can", SourceKind::Can, 0),
        ("serial-can", SourceKind::SerialCan, 115_200),
        ("other", SourceKind::Other, 9_600),
    ];

    fn named(name: &str) -> Option<SourceKind> {
        Self::TABLE.iter().find(|row| row.0 == name).map(|row| row.1)
    }

    /// Its name, as it is written in settings and in the capture.
    pub fn name(self) -> &'static str {
        Self::TABLE.iter().find(|row| row.1 == self).map_or("other", |row| row.0)
    }

    /// All names, as a user would write them in a sentence.
    fn names() -> String {
        let names: Vec<_> = Self::TABLE.iter().map(|row| row.0).collect();
        names.join(", ")
    }

    /// The usual bit rate of a bus where one has to be told (ISO 15765-4 has 250 and 500 kbit/s).
    pub(super) fn usual_bit_rate(self) -> Option<u32> {
        (self == SourceKind::SerialCan).then_some(500_000)
    }

    pub(super) fn usual_baud(self) -> u32 {
        Self::TABLE.iter().find(|row| row.1 == self).map_or(9_600, |row| row.2)
    }

    /// Whether the device speaks in framed lines, so that silence or noise is worth a warning.
    pub fn is_framed(self) -> bool {
        self != SourceKind::Other
    }

    /// What one chunk of a source of this kind is in the capture.
    pub fn content(self) -> Kind {
        if self == SourceKind::Can { Kind::CanFrame } else { Kind::Bytes }
    }
}

/// One source of bytes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct SourceSettings {
    /// Its name in the capture, as the vehicle file uses it.
    pub name: String,
    /// The device, best by a stable name.
    pub port: PathBuf,
    /// Speed of the line in baud; 0 for an interface, which has none.
    #[serde(skip_serializing_if = "is_zero")]
    pub baud: u32,
    /// What kind of device it is.
    pub kind: SourceKind,
    /// Bit rate of the bus in bit/s, which a serial-line adapter has to be told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bit_rate: Option<u32>,
    /// The frames that are recorded; empty: all. Interfaces only.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub filters: Vec<Filter>,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "the shape that serde asks for")]
fn is_zero(number: &u32) -> bool {
    *number == 0
}

impl FromStr for SourceSettings {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let shape = || {
            format!(
                "`{text}`: write name=port[,baud][,kind[,bit rate]], for example \
                 board=/dev/ttyUSB0,250000,pulse-board"
            )
        };
        let (name, mut rest) = text.split_once('=').ok_or_else(shape)?;
        let mut kind = SourceKind::Other;
        let mut bit_rate = None;
        if let Some((before, last)) = rest.rsplit_once(',')
            && let Some((_, word)) = before.rsplit_once(',')
            && let (Some(_), Ok(rate)) = (SourceKind::named(word), last.parse())
        {
            bit_rate = Some(rate);
            rest = before;
        }
        if let Some((before, last)) = rest.rsplit_once(',')
            && !last.bytes().all(|b| b.is_ascii_digit())
        {
            kind = SourceKind::named(last).ok_or_else(|| {
                format!("`{last}` is no kind of source: write {}", SourceKind::names())
            })?;
            rest = before;
        }
        let mut baud = kind.usual_baud();
        if let Some((before, last)) = rest.rsplit_once(',') {
            baud = last
                .parse()
                .map_err(|_| format!("`{last}` is no speed in baud: write a number"))?;
            rest = before;
        }
        let bit_rate = bit_rate.or(kind.usual_bit_rate());
        let (name, port, filters) = (name.into(), rest.into(), Vec::new());
        let source = SourceSettings { name, port, baud, kind, bit_rate, filters };
        source.check().map(|()| source)
    }
}

impl SourceSettings {
    pub(super) fn check(&self) -> Result<(), String> {
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
        if self.name.is_empty()
            || self.name.len() > NAME_LENGTH_MAX
            || !self.name.chars().all(plain)
        {
            return Err(format!(
                "`{}` is no name for a source: use 1 to {NAME_LENGTH_MAX} letters, digits, - or _",
                self.name.escape_debug()
            ));
        }
        if self.port.as_os_str().is_empty() {
            return Err(format!("source {}: no port: `ports` lists what is there", self.name));
        }
        let is_bus = self.kind == SourceKind::Can;
        if is_bus && self.baud != 0 {
            return Err(format!("source {}: a CAN interface has no speed in baud", self.name));
        }
        if !is_bus && (self.baud == 0 || self.baud > BAUD_MAX) {
            return Err(format!("source {}: speed must be 1 to {BAUD_MAX} baud", self.name));
        }
        self.check_bus()
    }

    fn check_bus(&self) -> Result<(), String> {
        let name = &self.name;
        if !self.filters.is_empty() && self.kind != SourceKind::Can {
            return Err(format!("source {name}: only a source of kind can has filters"));
        }
        match (self.kind, self.bit_rate) {
            (SourceKind::SerialCan, Some(rate)) if !bit_rates().contains(&rate) => Err(format!(
                "source {name}: an adapter cannot be told {rate} bit/s: write one of {:?}",
                bit_rates()
            )),
            (SourceKind::SerialCan, _) | (_, None) => Ok(()),
            (SourceKind::Can, Some(rate)) => Err(format!(
                "source {name}: the bit rate of an interface is set by the system: type\n    \
                 sudo ip link set {} type can bitrate {rate} listen-only on",
                self.port.display()
            )),
            _ => Err(format!("source {name}: only a source of kind serial-can has a bit rate")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn mistyped_sources_say_which_word_is_wrong() {
        let said = |text: &str| text.parse::<SourceSettings>().unwrap_err();
        assert!(said("/dev/ttyUSB0").contains("name=port"));
        assert!(said("a=/dev/x,fast,gnss").contains("`fast` is no speed"));
        assert!(said("a=/dev/x,9600,radar").contains("`radar` is no kind"));
        assert!(said("a=/dev/x,0").contains("baud"));
        assert!(said("=/dev/x").contains("no name"));
    }

    proptest! {
        #[test]
        fn no_text_makes_the_parser_panic(text in any::<String>()) {
            let _ = text.parse::<SourceSettings>();
        }
    }
}
