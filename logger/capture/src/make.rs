//! Making a capture of what was recorded or invented elsewhere.

use crate::clock::{Clock, Stamp};
use crate::record::{Kind, RECORDER, RecordingId, title};
use crate::storage::Storage;
use crate::write::{Limits, Refused, Trouble, Writer};
use std::collections::BTreeMap;
use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

/// What goes into a capture beside what was recorded.
#[derive(Debug, Clone, Default)]
pub struct Extras<'a> {
    /// Text of a vehicle file.
    pub vehicle_file: Option<&'a str>,
    /// How many times faster than real time it was made, if it is simulated.
    pub simulated_clock_scale: Option<f64>,
}

/// A clock that shows the time of what is at hand.
#[derive(Debug, Clone, Default)]
struct ShownClock {
    boot_ns: Arc<AtomicI64>,
    wall_ns: Arc<AtomicI64>,
}

impl Clock for ShownClock {
    fn now(&self) -> Stamp {
        let boot_ns = self.boot_ns.load(Ordering::Relaxed);
        Stamp { boot_ns, mono_ns: boot_ns, wall_ns: self.wall_ns.load(Ordering::Relaxed) }
    }
}

/// Why a capture cannot be gone on with.
#[derive(Debug)]
pub(crate) enum Stop {
    /// What is at hand is not what it should be.
    Problem(String),
    /// The capture cannot be written.
    Trouble(Trouble),
}

impl From<Refused> for Stop {
    fn from(refused: Refused) -> Self {
        Stop::Problem(refused.to_string())
    }
}

pub(crate) fn problem(text: &str) -> Stop {
    Stop::Problem(text.to_owned())
}

/// Makes one capture; its clocks are those of what is put in.
pub(crate) struct Maker<S: Storage> {
    writer: Writer<S>,
    clock: ShownClock,
    sources: BTreeMap<String, u16>,
    begun: bool,
}

impl<S: Storage> Maker<S> {
    pub(crate) fn create(storage: S, recording: RecordingId) -> io::Result<Self> {
        let clock = ShownClock::default();
        let writer = Writer::create(storage, clock.clone(), recording, Limits::default())?;
        Ok(Maker { writer, clock, sources: BTreeMap::new(), begun: false })
    }

    /// What follows happened at this time, and not more than `slack_ns` before what came already.
    /// Wall time is 0 where it is unknown.
    pub(crate) fn set_time(
        &mut self,
        boot_ns: i64,
        wall_ns: i64,
        slack_ns: i64,
    ) -> Result<(), Stop> {
        let before = self.clock.boot_ns.swap(boot_ns, Ordering::Relaxed);
        self.clock.wall_ns.store(wall_ns, Ordering::Relaxed);
        if self.begun && boot_ns < before.saturating_sub(slack_ns) {
            return Err(problem(&format!("time goes back from {before} to {boot_ns}")));
        }
        Ok(())
    }

    /// What stands at the beginning of every capture, once, at the time of what comes first.
    pub(crate) fn begin(&mut self, made_by: &str, extras: &Extras<'_>) -> Result<(), Stop> {
        if std::mem::replace(&mut self.begun, true) {
            return Ok(());
        }
        let scale = extras.simulated_clock_scale.map(|scale| scale.to_string());
        let made_by = format!("made by {made_by}, not by a recorder");
        let texts = [
            (title::LOGGER_SETTINGS, Some(made_by.as_str())),
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

    /// The number of a source that was opened.
    pub(crate) fn known(&self, name: &str) -> Option<u16> {
        self.sources.get(name).copied()
    }

    /// The lowest number that no source has.
    pub(crate) fn free(&self) -> Result<u16, Stop> {
        let mut free = (0..RECORDER).filter(|n| !self.sources.values().any(|used| used == n));
        free.next().ok_or_else(|| problem("too many sources"))
    }

    /// Opens a source: its name, its kind if that is known, and where it is from.
    pub(crate) fn open(
        &mut self,
        number: u16,
        name: &str,
        kind: Option<&str>,
        origin: &str,
    ) -> Result<(), Stop> {
        if self.sources.values().any(|used| *used == number) {
            return Err(problem(&format!(
                "source {number} already has a name: use one or the other"
            )));
        }
        self.sources.insert(name.to_owned(), number);
        self.writer.append_text(number, title::SOURCE_NAME, name)?;
        if let Some(kind) = kind {
            self.writer.append_text(number, title::SOURCE_KIND, kind)?;
        }
        let boot_ns = self.clock.now().boot_ns;
        self.writer.append(number, Kind::Opened, boot_ns, origin.as_bytes())?;
        Ok(())
    }

    /// Takes a record at the time that was set.
    pub(crate) fn append(&mut self, source: u16, kind: Kind, bytes: &[u8]) -> Result<(), Stop> {
        self.writer.append(source, kind, self.clock.now().boot_ns, bytes)?;
        self.writer.pump().trouble.map_or(Ok(()), |trouble| Err(Stop::Trouble(trouble)))
    }

    /// Ends the capture as it should; returns its id and its sources by number.
    pub(crate) fn finish(self) -> Result<(RecordingId, Vec<(u16, String)>), Trouble> {
        let recording = self.writer.recording();
        if let Some(trouble) = self.writer.close().0.trouble {
            return Err(trouble);
        }
        let mut sources: Vec<_> = self.sources.into_iter().map(|(name, n)| (n, name)).collect();
        sources.sort();
        Ok((recording, sources))
    }
}
