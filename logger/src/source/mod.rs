//! The life of one source: found, read, lost, found again.
//!
//! One task a source reads at once whatever the line has and hands it to the queue; it never
//! waits for the disk. A line that hangs up (`Ok(0)` or any error) is closed and looked for again
//! under its stable name. A panic in one source ends neither the others nor itself for long.

use crate::bus::{Buses, OpenedBus};
use crate::inventory::cure;
use crate::names::Seat;
use crate::port::{OpenError, Opened, Ports};
use crate::queue::Queue;
use crate::settings::{Limits, SourceKind, SourceSettings};
use crate::status::{SourceState, Status, Weight};
use crate::stop::Stop;
use crate::watch::{Noticed, Watcher};
use frames::Frames;
use line::Listening;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::time::sleep;
use wheelwitness_capture::clock::Clock;
use wheelwitness_capture::record::{Kind, Text};

mod adapter;
mod frames;
mod line;

/// Pause before the first and between later attempts to find a lost device.
const SEARCH_PAUSE: (Duration, Duration) = (Duration::from_millis(100), Duration::from_secs(2));
/// Pause for an interface: asking for one costs next to nothing, and disturbs nobody.
const BUS_PAUSE: Duration = Duration::from_millis(100);
/// How often silence is checked for.
const LOOK_EVERY: Duration = Duration::from_millis(250);

/// The title of text records in which the recorder tells what it noticed about a source.
pub const NOTE_TITLE: &str = "recorder note";

/// Something that happened to a source: the kind and content of its record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Event {
    /// The kind of record.
    pub kind: Kind,
    /// Its content.
    pub bytes: Vec<u8>,
}

/// What the sources of one recording share.
pub struct Shared {
    /// The clock that stamps arrivals.
    pub clock: Arc<dyn Clock>,
    /// The door to the lines.
    pub ports: Arc<dyn Ports>,
    /// The door to the CAN interfaces.
    pub buses: Arc<dyn Buses>,
    /// Where everything goes.
    pub queue: Arc<Queue<Event>>,
    /// What the user sees.
    pub status: Arc<Status>,
    /// Ends the recording.
    pub stop: Stop,
    /// Limits of the recording.
    pub limits: Limits,
    /// How much faster than real time the clock runs.
    pub clock_scale: f64,
}

impl Shared {
    /// A span of the user's time on the clock that stamps arrivals, in nanoseconds.
    fn span_ns(&self, time: Duration) -> i64 {
        (time.as_nanos() as f64 * self.clock_scale) as i64
    }
}

/// One source.
pub struct Source {
    shared: Arc<Shared>,
    number: u16,
    settings: SourceSettings,
    seat: Mutex<Seat>,
    was_open: AtomicBool,
    told_dropping: AtomicBool,
    /// The user knows whether the interface only listens.
    told_mode: AtomicBool,
    /// The user knows that the kernel lost frames.
    told_losing: AtomicBool,
}

enum Ended {
    Stopped,
    Lost(String),
    /// Lost, and the capture already says so.
    Gone,
}

/// What was opened for a source.
pub enum Door {
    /// A serial line.
    Line(Opened),
    /// A CAN interface.
    Bus(OpenedBus),
}

impl Source {
    /// Source `number` of a recording.
    pub fn new(shared: Arc<Shared>, number: u16, settings: SourceSettings) -> Arc<Self> {
        let seat = Mutex::new(Seat::new(&settings.port));
        Arc::new(Source {
            shared,
            number,
            settings,
            seat,
            was_open: AtomicBool::new(false),
            told_dropping: AtomicBool::new(false),
            told_mode: AtomicBool::new(false),
            told_losing: AtomicBool::new(false),
        })
    }

    /// Tries once to open the line or interface.
    pub async fn open(self: &Arc<Self>) -> Result<Door, OpenError> {
        let source = self.clone();
        // Opening may block for seconds on a sick device: other sources must not wait for that.
        let opening = tokio::task::spawn_blocking(move || source.open_now());
        opening.await.unwrap_or_else(|_| {
            let (path, text) = (self.settings.port.clone(), "opening failed (our bug)".into());
            Err(OpenError::Failed { path, text })
        })
    }

    fn open_now(&self) -> Result<Door, OpenError> {
        if self.settings.kind == SourceKind::Can {
            let name = self.settings.port.to_string_lossy();
            return self.shared.buses.open(&name, &self.settings.filters).map(Door::Bus);
        }
        let seat = self.seat.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let opened = self.shared.ports.open(&seat, self.settings.baud)?;
        *self.seat.lock().unwrap_or_else(PoisonError::into_inner) = opened.seat.clone();
        Ok(Door::Line(opened))
    }

    /// Records this source until the recording stops, beginning with what is already open if
    /// anything is.
    pub async fn keep_alive(self: Arc<Self>, mut opened: Option<Door>) {
        while tokio::spawn(self.clone().live(opened.take())).await.is_err() {
            self.lost("the reader failed (our bug); it was started again");
            if self.shared.stop.reason().is_some() {
                break;
            }
            sleep(SEARCH_PAUSE.0).await;
        }
        self.shared.status.source(self.number).state = SourceState::Ended;
    }

    async fn live(self: Arc<Self>, mut first: Option<Door>) {
        let mut pause = SEARCH_PAUSE.0;
        let mut watcher = match self.settings.kind {
            SourceKind::SerialCan => Watcher::of_adapter(),
            _ => Watcher::new(),
        };
        loop {
            let door = match first.take() {
                Some(door) => door,
                None => match self.find(&mut pause).await {
                    Some(door) => door,
                    None => return,
                },
            };
            let (ended, heard) = match door {
                Door::Line(opened) => self.listen(opened, &mut watcher).await,
                Door::Bus(opened) => self.gather(opened).await,
            };
            if heard {
                pause = SEARCH_PAUSE.0;
            }
            match ended {
                Ended::Stopped => return,
                Ended::Lost(why) => self.lost(&why),
                Ended::Gone => {}
            }
        }
    }

    /// Listens to a line until it is lost; whether anything was heard.
    async fn listen(&self, opened: Opened, watcher: &mut Watcher) -> (Ended, bool) {
        let device = opened.device.display();
        let at = format!("{device} at {} baud", self.settings.baud);
        let again_as = opened.seat.by_id.as_ref().map(|name| name.display().to_string());
        self.found(&device.to_string(), &at, again_as.as_deref());
        let mut listening = Listening::new(self, opened.port, watcher);
        let ended = listening.run().await;
        let (heard, line) = (listening.heard, listening.port);
        // Closing may block for long on a sick device.
        let closing = tokio::task::spawn_blocking(move || drop(line));
        if !matches!(ended, Ended::Stopped) {
            // Closed before it is looked for: a dead line that is held keeps its name occupied.
            let _ = closing.await;
        }
        (ended, heard)
    }

    /// Gathers the frames of an interface until it is lost; whether it was ever up.
    async fn gather(&self, opened: OpenedBus) -> (Ended, bool) {
        let mut frames = Frames::new(self, opened);
        let ended = frames.run().await;
        (ended, frames.was_up())
    }

    /// Looks for the device with growing pauses until it is there; `None` when stopped meanwhile.
    async fn find(self: &Arc<Self>, pause: &mut Duration) -> Option<Door> {
        let is_bus = self.settings.kind == SourceKind::Can;
        let most = if is_bus { BUS_PAUSE } else { SEARCH_PAUSE.1 };
        loop {
            let attempt = async {
                sleep(*pause).await;
                self.open().await
            };
            let outcome = tokio::select! {
                biased;
                () = self.shared.stop.wait() => return None,
                outcome = attempt => outcome,
            };
            *pause = (*pause * 2).min(most);
            match outcome {
                Ok(door) => return Some(door),
                Err(error) => self.awaiting(&error),
            }
        }
    }

    /// Shows why the device is not open; tells it once unless the reason changes.
    pub fn awaiting(&self, error: &OpenError) {
        let text = error.to_string();
        let mut shown = self.shared.status.source(self.number);
        let is_news = shown.detail != text;
        // That a lost device is not there needs no second message.
        let is_known = shown.state == SourceState::Lost
            && matches!(error, OpenError::Absent(_) | OpenError::Down(_));
        shown.detail.clone_from(&text);
        drop(shown);
        if is_news && !is_known {
            let next = if let OpenError::Down(_) = error { cure(error) } else { String::new() };
            self.tell(Weight::Warning, format!("{text}; waiting for it\n{next}").trim_end());
        }
    }

    /// Records that the device is there: `place` in the capture, `told` and the name under which
    /// it will be found again for the user.
    fn found(&self, place: &str, told: &str, again_as: Option<&str>) {
        let again = self.was_open.swap(true, Ordering::Relaxed);
        let (kind, word) =
            if again { (Kind::Found, "found again") } else { (Kind::Opened, "opened") };
        {
            let mut shown = self.shared.status.source(self.number);
            shown.state = SourceState::Receiving;
            shown.times_opened += 1;
            shown.detail = place.into();
        }
        self.event(kind, place.as_bytes().to_vec());
        match again_as {
            Some(name) if !again => {
                self.tell(Weight::Note, &format!("{word}: {told}; found again as {name}"));
            }
            _ => self.tell(Weight::Note, &format!("{word}: {told}")),
        }
    }

    fn lost(&self, why: &str) {
        {
            let mut shown = self.shared.status.source(self.number);
            shown.state = SourceState::Lost;
            shown.times_lost += 1;
            shown.detail = why.into();
        }
        self.event(Kind::Lost, why.as_bytes().to_vec());
        self.tell(Weight::Warning, &format!("lost: {why}; looking for it"));
    }

    /// Writes a note into the capture and tells the user.
    fn note(&self, text: &str) {
        self.event(Kind::Text, Text::new(NOTE_TITLE, text).to_bytes());
        self.tell(Weight::Warning, text);
    }

    /// The same when nothing has to be done about it.
    fn note_quietly(&self, text: &str) {
        self.event(Kind::Text, Text::new(NOTE_TITLE, text).to_bytes());
        self.tell(Weight::Note, text);
    }

    fn event(&self, kind: Kind, bytes: Vec<u8>) {
        self.event_at(self.shared.clock.now().boot_ns, kind, bytes);
    }

    fn event_at(&self, boot_ns: i64, kind: Kind, bytes: Vec<u8>) {
        self.shared.queue.push_event(self.number, boot_ns, Event { kind, bytes });
    }

    fn tell(&self, weight: Weight, text: &str) {
        self.shared.status.tell(weight, format!("{}: {text}", self.settings.name));
    }

    /// Takes bytes as they arrived.
    fn arrived(&self, boot_ns: i64, bytes: &[u8], noticed: &Noticed) {
        self.enqueue(boot_ns, bytes.to_vec());
        let mut shown = self.shared.status.source(self.number);
        shown.bytes += bytes.len() as u64;
        shown.chunks += 1;
        shown.valid_lines += noticed.valid;
        shown.damaged_lines += noticed.damaged;
        shown.last_boot_ns = Some(boot_ns);
    }

    /// Hands one chunk to storage.
    fn enqueue(&self, boot_ns: i64, chunk: Vec<u8>) {
        let dropped = self.shared.queue.push_bytes(self.number, boot_ns, chunk);
        if dropped > 0 && !self.told_dropping.swap(true, Ordering::Relaxed) {
            self.tell(
                Weight::Warning,
                "storage does not keep up: the oldest bytes of the least important source are \
                 dropped and counted",
            );
        }
    }
}
