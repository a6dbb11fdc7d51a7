//! One source: its name, its port, the speed of the line, what kind of device it is.

use serde::{Deserialize, Serialize};
use std::path::PathBuf;
use std::str::FromStr;

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
    /// Anything else. Its bytes are kept and nothing is expected of them.
    Other,
}

impl SourceKind {
    /// Name, kind, usual speed of the line in baud (NMEA 0183 for GNSS; common practice for
    /// others).
    const TABLE: [(&'static str, SourceKind, u32); 3] = [
        ("pulse-board", SourceKind::PulseBoard, 250_000),
        ("gnss", SourceKind::Gnss, 9_600),
        ("other", SourceKind::Other, 9_600),
    ];

    fn named(name: &str) -> Option<SourceKind> {
        Self::TABLE.iter().find(|row| row.0 == name).map(|row| row.1)
    }

    /// Its name, as it is written in settings and in the capture.
    pub fn name(self) -> &'static str {
        Self::TABLE.iter().find(|row| row.1 == self).map_or("other", |row| row.0)
    }

    pub(super) fn usual_baud(self) -> u32 {
        Self::TABLE.iter().find(|row| row.1 == self).map_or(9_600, |row| row.2)
    }

    /// Whether the device speaks in framed lines, so that silence or noise is worth a warning.
    pub fn is_framed(self) -> bool {
        self != SourceKind::Other
    }
}

/// One source of bytes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct SourceSettings {
    /// Its name in the capture, as the vehicle file uses it.
    pub name: String,
    /// The device, best by a stable name.
    pub port: PathBuf,
    /// Speed of the line in baud.
    pub baud: u32,
    /// What kind of device it is.
    pub kind: SourceKind,
}

impl FromStr for SourceSettings {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let shape = || {
            format!(
                "`{text}`: write name=port[,baud][,kind], for example \
                 board=/dev/ttyUSB0,250000,pulse-board"
            )
        };
        let (name, mut rest) = text.split_once('=').ok_or_else(shape)?;
        let mut kind = SourceKind::Other;
        if let Some((before, last)) = rest.rsplit_once(',')
            && !last.bytes().all(|b| b.is_ascii_digit())
        {
            kind = SourceKind::named(last).ok_or_else(|| {
                format!("`{last}` is no kind of source: write pulse-board, gnss or other")
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
        let source = SourceSettings { name: name.into(), port: rest.into(), baud, kind };
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
        if self.baud == 0 || self.baud > BAUD_MAX {
            return Err(format!("source {}: speed must be 1 to {BAUD_MAX} baud", self.name));
        }
        Ok(())
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
