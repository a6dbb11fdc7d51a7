//! What to record: typed (command line, settings file), then meant ([`Settings`]).
//!
//! ```
//! use wheelwitness_logger::settings::{SourceKind, SourceSettings};
//! let board = "board=/dev/serial/by-id/board-17,250000,pulse-board";
//! let board: SourceSettings = board.parse().unwrap();
//! assert_eq!((board.baud, board.kind), (250_000, SourceKind::PulseBoard));
//! let receiver: SourceSettings = "gnss=/dev/ttyUSB1,gnss".parse().unwrap();
//! assert_eq!(receiver.baud, 9_600);
//! ```

use crate::bus::Filter;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};
use std::time::Duration;

mod source;

pub use source::{SourceKind, SourceSettings};

/// The version of the settings file.
pub const FORMAT: u32 = 1;
/// More sources than any vehicle has; bounds the threads and memory of a recording.
const SOURCES_MAX: usize = 64;

/// Limits of a recording, each with a default that suits a drive.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Limits {
    /// Most bytes waiting for the disk, in MiB. 32 MiB hold at least
    /// 5 minutes of one pulse board, however small the chunks in which it comes.
    pub queue_mib: u32,
    /// Space that is never used, in MiB: the recording stops cleanly when only this is left.
    pub reserve_mib: u32,
    /// Warn when the space left lasts less than this many hours.
    pub warn_below_h: f64,
    /// A framed source that says nothing for this long is called silent, in seconds.
    pub silent_after_s: f64,
    /// How long a pulse board may take to send its closing sentence, in seconds.
    pub closing_wait_s: f64,
    /// How long failing storage is tried again before the recording gives up, in seconds.
    pub storage_patience_s: f64,
    /// Stop by itself after this many seconds; 0 means never.
    pub stop_after_s: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Limits {
            queue_mib: 32,
            reserve_mib: 64,
            warn_below_h: 2.0,
            silent_after_s: 3.0,
            closing_wait_s: 1.0,
            storage_patience_s: 60.0,
            stop_after_s: 0.0,
        }
    }
}

impl Limits {
    fn check(&self) -> Result<(), String> {
        let times = [
            ("warn_below_h", self.warn_below_h),
            ("silent_after_s", self.silent_after_s),
            ("closing_wait_s", self.closing_wait_s),
            ("storage_patience_s", self.storage_patience_s),
            ("stop_after_s", self.stop_after_s),
        ];
        for (name, value) in times {
            if !(0.0..=1e7).contains(&value) {
                return Err(format!("limits.{name}: must be 0 to 10000000, not {value}"));
            }
        }
        if !(1..=4096).contains(&self.queue_mib) {
            return Err(format!("limits.queue_mib: must be 1 to 4096, not {}", self.queue_mib));
        }
        Ok(())
    }
}

/// A limit in seconds as a duration.
pub fn seconds(value: f64) -> Duration {
    Duration::from_secs_f64(value.clamp(0.0, 1e7))
}

/// What to record, complete and checked. Its TOML text travels in the capture.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Settings {
    /// Version of the settings.
    pub format: u32,
    /// The capture folder to make; it must not exist yet.
    pub into: PathBuf,
    /// A second folder, best on another medium, that takes over when the first one fails.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub spare: Option<PathBuf>,
    /// The vehicle file that is copied into the capture.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub vehicle: Option<PathBuf>,
    /// Simulated time runs this much faster than real time (a simulated vehicle only).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clock_scale: Option<f64>,
    /// Limits of the recording.
    pub limits: Limits,
    /// The sources, in the order of their numbers in the capture.
    #[serde(rename = "source")]
    pub sources: Vec<SourceSettings>,
}

/// The settings as typed: anything may be missing. Also the shape of a settings file.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Typed {
    /// Version of the settings file.
    pub format: Option<u32>,
    /// The capture folder to make.
    pub into: Option<PathBuf>,
    /// The second folder.
    pub spare: Option<PathBuf>,
    /// The vehicle file.
    pub vehicle: Option<PathBuf>,
    /// Simulated time over real time.
    pub clock_scale: Option<f64>,
    /// Limits of the recording.
    pub limits: Option<Limits>,
    /// The sources.
    #[serde(default, rename = "source")]
    pub sources: Vec<TypedSource>,
}

/// One source as typed in a settings file.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TypedSource {
    name: String,
    port: PathBuf,
    baud: Option<u32>,
    kind: Option<SourceKind>,
    bit_rate: Option<u32>,
    #[serde(default)]
    filters: Vec<Filter>,
}

impl From<SourceSettings> for TypedSource {
    fn from(s: SourceSettings) -> Self {
        let (baud, kind) = (Some(s.baud), Some(s.kind));
        let (bit_rate, filters) = (s.bit_rate, s.filters);
        TypedSource { name: s.name, port: s.port, baud, kind, bit_rate, filters }
    }
}

impl Typed {
    /// Reads a settings file's text. Paths in it are relative to the folder of the file.
    pub fn from_file(text: &str, folder: &Path) -> Result<Typed, String> {
        let mut typed: Typed = toml::from_str(text).map_err(|e| e.to_string())?;
        match typed.format {
            Some(FORMAT) => {}
            Some(newer) => {
                return Err(format!(
                    "settings format {newer} is not known here: this program reads format {FORMAT}"
                ));
            }
            None => return Err(format!("the first line must be `format = {FORMAT}`")),
        }
        for path in [&mut typed.into, &mut typed.spare, &mut typed.vehicle].into_iter().flatten() {
            *path = folder.join(&*path);
        }
        Ok(typed)
    }

    /// These settings, with what is missing taken from `base`. A source of the same name replaces
    /// the one in `base`, any other is added to it.
    pub fn over(self, base: Typed) -> Typed {
        let mut sources = base.sources;
        for source in self.sources {
            match sources.iter_mut().find(|old| old.name == source.name) {
                Some(old) => *old = source,
                None => sources.push(source),
            }
        }
        Typed {
            format: self.format.or(base.format),
            into: self.into.or(base.into),
            spare: self.spare.or(base.spare),
            vehicle: self.vehicle.or(base.vehicle),
            clock_scale: self.clock_scale.or(base.clock_scale),
            limits: self.limits.or(base.limits),
            sources,
        }
    }

    /// From typed to meant: fills in defaults and refuses what makes no sense, saying what to
    /// write.
    pub fn meant(self) -> Result<Settings, String> {
        let into = self.into.ok_or("no target: add --into and the name of a new folder")?;
        let limits = self.limits.unwrap_or_default();
        limits.check()?;
        if let Some(scale) = self.clock_scale
            && !(0.001..=1000.0).contains(&scale)
        {
            return Err(format!("the clock scale must be 0.001 to 1000, not {scale}"));
        }
        let sources: Vec<_> = self.sources.into_iter().map(TypedSource::meant).collect();
        check_sources(&sources)?;
        let (spare, vehicle) = (self.spare, self.vehicle);
        if spare.as_ref() == Some(&into) {
            return Err("the second folder must be another one than the first".into());
        }
        Ok(Settings {
            format: FORMAT,
            into,
            spare,
            vehicle,
            clock_scale: self.clock_scale,
            limits,
            sources,
        })
    }
}

impl TypedSource {
    fn meant(self) -> SourceSettings {
        let kind = self.kind.unwrap_or(SourceKind::Other);
        let baud = self.baud.unwrap_or(kind.usual_baud());
        let bit_rate = self.bit_rate.or(kind.usual_bit_rate());
        let (name, port, filters) = (self.name, self.port, self.filters);
        SourceSettings { name, port, baud, kind, bit_rate, filters }
    }
}

fn check_sources(sources: &[SourceSettings]) -> Result<(), String> {
    if sources.is_empty() {
        return Err(
            "no source: add --source name=port,baud,kind (`ports` lists what is there)".into()
        );
    }
    if sources.len() > SOURCES_MAX {
        return Err(format!("{} sources: at most {SOURCES_MAX}", sources.len()));
    }
    for (at, source) in sources.iter().enumerate() {
        source.check()?;
        for other in &sources[..at] {
            if other.name == source.name {
                return Err(format!(
                    "two sources are called {}: give each its own name",
                    source.name
                ));
            }
            if other.port == source.port {
                return Err(format!(
                    "sources {} and {} are the same port",
                    other.name, source.name
                ));
            }
        }
    }
    Ok(())
}

impl Settings {
    /// The settings as TOML text, as it travels in the capture.
    pub fn to_toml(&self) -> String {
        toml::to_string(self).unwrap_or_else(|e| format!("# settings could not be written: {e}\n"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn file(text: &str) -> Result<Settings, String> {
        Typed::from_file(text, Path::new("/somewhere"))?.meant()
    }

    const WHOLE: &str = r#"
        format = 1
        into = "drives/first"
        vehicle = "vehicle.toml"
        [limits]
        reserve_mib = 10
        [[source]]
        name = "board"
        port = "/dev/serial/by-id/board-17"
        kind = "pulse-board"
        [[source]]
        name = "gnss"
        port = "/dev/ttyUSB1"
        baud = 38400
        kind = "gnss"
    "#;

    #[test]
    fn a_settings_file_is_completed_with_defaults_and_its_own_folder() {
        let settings = file(WHOLE).unwrap();
        assert_eq!(settings.into, Path::new("/somewhere/drives/first"));
        assert_eq!(settings.sources[0].baud, 250_000);
        assert_eq!(settings.sources[1].baud, 38_400);
        assert_eq!(settings.limits, Limits { reserve_mib: 10, ..Limits::default() });
    }

    #[test]
    fn the_text_in_the_capture_reads_back_as_the_same_settings() {
        let settings = file(WHOLE).unwrap();
        assert_eq!(file(&settings.to_toml()), Ok(settings));
    }

    #[test]
    fn the_command_line_wins_over_the_file_and_adds_to_it() {
        let base = Typed::from_file(WHOLE, Path::new("/somewhere")).unwrap();
        let typed = ["gnss=/dev/ttyACM0,gnss", "extra=/dev/ttyS0,4800"];
        let sources = typed.iter().map(|s| s.parse::<SourceSettings>().unwrap().into()).collect();
        let over = Typed { into: Some("elsewhere".into()), sources, ..Typed::default() };
        let settings = over.over(base).meant().unwrap();
        assert_eq!(settings.into, Path::new("elsewhere"));
        let ports: Vec<_> = settings.sources.iter().map(|s| s.port.to_str().unwrap()).collect();
        assert_eq!(ports, ["/dev/serial/by-id/board-17", "/dev/ttyACM0", "/dev/ttyS0"]);
    }

    #[test]
    fn every_mistake_is_answered_with_what_to_write() {
        let cases = [
            ("into = 'a'", "format = 1"),
            ("format = 2", "format 2 is not known"),
            ("format = 1\nbuad = 3", "unknown field `buad`"),
            ("format = 1", "--into"),
            ("format = 1\ninto = 'a'", "--source"),
            ("format = 1\ninto = 'a'\n[[source]]\nname = 'x y'\nport = 'p'", "letters"),
            ("format = 1\ninto = 'a'\n[[source]]\nname = 'x'\nport = ''", "`ports` lists"),
            ("format = 1\ninto = 'a'\n[limits]\nqueue_mib = 0\n", "1 to 4096"),
            ("format = 1\ninto = 'a'\n[limits]\nsilent_after_s = nan\n", "silent_after_s"),
        ];
        for (text, wanted) in cases {
            let said = file(text).unwrap_err();
            assert!(said.contains(wanted), "{text:?} gave {said:?}");
        }
    }

    #[test]
    fn a_source_given_twice_or_on_one_port_is_refused() {
        let twice = |a: &str, b: &str| {
            let sources = [a, b].map(|s| s.parse::<SourceSettings>().unwrap().into());
            let typed =
                Typed { into: Some("a".into()), sources: sources.into(), ..Typed::default() };
            typed.meant().unwrap_err()
        };
        assert!(twice("a=/dev/x", "a=/dev/y").contains("two sources are called a"));
        assert!(twice("a=/dev/x", "b=/dev/x").contains("same port"));
    }

    proptest! {
        #[test]
        fn no_text_makes_the_parsers_panic(text in any::<String>()) {
            let _ = file(&text);
        }
    }
}
