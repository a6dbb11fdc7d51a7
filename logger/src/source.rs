//! The life of one source: found, read, lost, found again.
//!
//! One task a source reads at once whatever the line has and hands it to the queue; it never
//! waits for the disk. A line that hangs up (`Ok(0)` or any error) is closed and looked for again
//! under its stable name. A panic in one source ends neither the others nor itself for long.

use crate::names::Seat;
use crate::port::{OpenError, Opened, Port, Ports};
use crate::queue::Queue;
use crate::settings::{Limits, SourceKind, SourceSettings, seconds};
use crate::status::{SourceState, Status, Weight};
use crate::stop::Stop;
use crate::watch::{HINT_AFTER, Noticed, Watcher, finish_request};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::{Instant, sleep, timeout, timeout_at};
use wheelwitness_capture::clock::Clock;
use wheelwitness_capture::record::{Kind, Text};

/// One read takes at most this much; more than any serial driver holds.
const READ_BYTES: usize = 64 * 1024;
/// Pause before the first and between later attempts to find a lost device.
const SEARCH_PAUSE: (Duration, Duration) = (Duration::from_millis(100), Duration::from_secs(2));
/// How often silence is checked for.
const LOOK_EVERY: Duration = Duration::from_millis(250);
/// A line on which nothing comes for so long has given what was under way: adapters hold bytes
/// back for up to 16 ms, and a busy system is slow to hand them over.
const QUIET: Duration = Duration::from_millis(100);
/// How long a request to the board may take to leave.
const REQUEST_WAIT: Duration = Duration::from_millis(200);

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
}

enum Ended {
    Stopped,
    Lost(String),
}

impl Source {
    /// Source `number` of a recording.
    pub fn new(shared: Arc<Shared>, number: u16, settings: SourceSettings) -> Arc<Self> {
        let seat = Mutex::new(Seat::new(&settings.port));
        let (was_open, told_dropping) = (AtomicBool::new(false), AtomicBool::new(false));
        Arc::new(Source { shared, number, settings, seat, was_open, told_dropping })
    }

    /// Tries once to open the line.
    pub async fn open(self: &Arc<Self>) -> Result<Opened, OpenError> {
        let source = self.clone();
        // Opening may block for seconds on a sick device: other sources must not wait for that.
        let opening = tokio::task::spawn_blocking(move || {
            let seat = source.seat.lock().unwrap_or_else(PoisonError::into_inner).clone();
            source.shared.ports.open(&seat, source.settings.baud)
        });
        let opened = opening.await.unwrap_or_else(|_| {
            let (path, text) = (self.settings.port.clone(), "opening failed (our bug)".into());
            Err(OpenError::Failed { path, text })
        })?;
        *self.seat.lock().unwrap_or_else(PoisonError::into_inner) = opened.seat.clone();
        Ok(opened)
    }

    /// Records this source until the recording stops, beginning with a line already open if any.
    pub async fn keep_alive(self: Arc<Self>, mut opened: Option<Opened>) {
        while tokio::spawn(self.clone().live(opened.take())).await.is_err() {
            self.lost("the reader failed (our bug); it was started again");
            if self.shared.stop.reason().is_some() {
                break;
            }
            sleep(SEARCH_PAUSE.0).await;
        }
        self.shared.status.source(self.number).state = SourceState::Ended;
    }

    async fn live(self: Arc<Self>, mut first: Option<Opened>) {
        let mut pause = SEARCH_PAUSE.0;
        let mut watcher = Watcher::new();
        loop {
            let opened = match first.take() {
                Some(opened) => opened,
                None => match self.find(&mut pause).await {
                    Some(opened) => opened,
                    None => return,
                },
            };
            self.found(&opened);
            let mut listening = Listening::new(&self, opened.port, &mut watcher);
            let ended = listening.run().await;
            if listening.heard {
                pause = SEARCH_PAUSE.0;
            }
            let line = listening.port;
            // Closing may block for long on a sick device.
            let closing = tokio::task::spawn_blocking(move || drop(line));
            let Ended::Lost(why) = ended else { return };
            self.lost(&why);
            // Closed before it is looked for: a dead line that is held keeps its name occupied.
            let _ = closing.await;
        }
    }

    /// Looks for the device with growing pauses until it is there; `None` when stopped meanwhile.
    async fn find(self: &Arc<Self>, pause: &mut Duration) -> Option<Opened> {
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
            *pause = (*pause * 2).min(SEARCH_PAUSE.1);
            match outcome {
                Ok(opened) => return Some(opened),
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
        let is_known = shown.state == SourceState::Lost && matches!(error, OpenError::Absent(_));
        shown.detail.clone_from(&text);
        drop(shown);
        if is_news && !is_known {
            self.tell(Weight::Warning, &format!("{text}; waiting for it"));
        }
    }

    fn found(&self, opened: &Opened) {
        let again = self.was_open.swap(true, Ordering::Relaxed);
        let at = opened.device.display().to_string();
        let (kind, word) =
            if again { (Kind::Found, "found again") } else { (Kind::Opened, "opened") };
        {
            let mut shown = self.shared.status.source(self.number);
            shown.state = SourceState::Receiving;
            shown.times_opened += 1;
            shown.detail.clone_from(&at);
        }
        self.event(kind, at.clone().into_bytes());
        let baud = self.settings.baud;
        match &opened.seat.by_id {
            Some(name) if !again => {
                let name = name.display();
                let text = format!("{word}: {at} at {baud} baud; found again as {name}");
                self.tell(Weight::Note, &text);
            }
            _ => self.tell(Weight::Note, &format!("{word}: {at} at {baud} baud")),
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

    fn event(&self, kind: Kind, bytes: Vec<u8>) {
        let boot_ns = self.shared.clock.now().boot_ns;
        self.shared.queue.push_event(self.number, boot_ns, Event { kind, bytes });
    }

    fn tell(&self, weight: Weight, text: &str) {
        self.shared.status.tell(weight, format!("{}: {text}", self.settings.name));
    }

    /// Takes bytes as they arrived.
    fn arrived(&self, boot_ns: i64, bytes: &[u8], noticed: &Noticed) {
        let dropped = self.shared.queue.push_bytes(self.number, boot_ns, bytes.to_vec());
        if dropped > 0 && !self.told_dropping.swap(true, Ordering::Relaxed) {
            self.tell(
                Weight::Warning,
                "storage does not keep up: the oldest bytes of the least important source are \
                 dropped and counted",
            );
        }
        let mut shown = self.shared.status.source(self.number);
        shown.bytes += bytes.len() as u64;
        shown.chunks += 1;
        shown.valid_lines += noticed.valid;
        shown.damaged_lines += noticed.damaged;
        shown.last_boot_ns = Some(boot_ns);
    }
}

/// An open line, being listened to.
struct Listening<'a> {
    source: &'a Source,
    port: Box<dyn Port>,
    buffer: Vec<u8>,
    watcher: &'a mut Watcher,
    heard: bool,
    heard_ns: i64,
    valid_ns: i64,
    state: SourceState,
}

impl<'a> Listening<'a> {
    fn new(source: &'a Source, port: Box<dyn Port>, watcher: &'a mut Watcher) -> Self {
        watcher.reopened();
        let now_ns = source.shared.clock.now().boot_ns;
        Listening {
            source,
            port,
            buffer: vec![0; READ_BYTES],
            watcher,
            heard: false,
            heard_ns: now_ns,
            valid_ns: now_ns,
            state: SourceState::Receiving,
        }
    }

    async fn run(&mut self) -> Ended {
        let stop = self.source.shared.stop.clone();
        let stopping = stop.wait();
        tokio::pin!(stopping);
        loop {
            let read = tokio::select! {
                biased;
                () = &mut stopping => return self.finish().await,
                read = self.port.read(&mut self.buffer) => Some(read),
                () = sleep(LOOK_EVERY) => None,
            };
            if let Some(read) = read
                && let Err(why) = self.take(read)
            {
                return Ended::Lost(why);
            }
            self.look();
        }
    }

    /// Takes the outcome of one read; `Err` says why the line is gone.
    fn take(&mut self, read: std::io::Result<usize>) -> Result<Noticed, String> {
        let boot_ns = self.source.shared.clock.now().boot_ns;
        let length = match read {
            Ok(0) => return Err("the line hung up".into()),
            Ok(length) => length,
            Err(e) if e.kind() == std::io::ErrorKind::Interrupted => return Ok(Noticed::default()),
            Err(e) => return Err(e.to_string()),
        };
        let bytes = &self.buffer[..length];
        let framed = self.source.settings.kind.is_framed();
        let noticed = if framed { self.watcher.see(bytes) } else { Noticed::default() };
        self.source.arrived(boot_ns, bytes, &noticed);
        (self.heard, self.heard_ns) = (true, boot_ns);
        if noticed.valid > 0 {
            self.valid_ns = boot_ns;
        }
        if let Some(serial) = &noticed.stranger {
            self.source.note(&format!("another pulse board answers now: serial {serial}"));
        }
        Ok(noticed)
    }

    /// Notices silence, noise and their end; tells each change once.
    fn look(&mut self) {
        if !self.source.settings.kind.is_framed() {
            return;
        }
        let now_ns = self.source.shared.clock.now().boot_ns;
        let shared = &self.source.shared;
        let silent_ns = shared.span_ns(seconds(shared.limits.silent_after_s));
        let hint_ns = shared.span_ns(HINT_AFTER);
        let state = if now_ns - self.heard_ns > silent_ns {
            SourceState::Silent
        } else if self.watcher.is_unframed() && now_ns - self.valid_ns > hint_ns {
            SourceState::Unframed
        } else {
            SourceState::Receiving
        };
        if state != self.state {
            self.changed(state, (now_ns - self.heard_ns) as f64 * 1e-9 / shared.clock_scale);
        }
    }

    fn changed(&mut self, state: SourceState, quiet_s: f64) {
        self.state = state;
        self.source.shared.status.source(self.source.number).state = state;
        match state {
            SourceState::Silent => self.source.note(&format!("silent for {quiet_s:.1} s")),
            SourceState::Unframed => self.source.note(&format!(
                "bytes arrive but no valid sentence: is {} baud the right speed, and this the \
                 right device?",
                self.source.settings.baud
            )),
            _ => self.source.note("whole sentences again"),
        }
    }

    /// The recording stops: asks a board for its closing sentence and takes what is still coming.
    async fn finish(&mut self) -> Ended {
        let stop = self.source.shared.stop.clone();
        let is_board = self.source.settings.kind == SourceKind::PulseBoard;
        let wait = seconds(self.source.shared.limits.closing_wait_s);
        let until = Instant::now() + wait;
        let draining = async {
            if is_board {
                let _ = timeout(REQUEST_WAIT, self.port.write_all(&finish_request())).await;
                self.drain_until_closing(until).await
            } else {
                self.drain_until_quiet(until).await
            }
        };
        tokio::select! {
            biased;
            () = stop.wait_at_once() => Ended::Stopped,
            ended = draining => ended,
        }
    }

    async fn drain_until_closing(&mut self, until: Instant) -> Ended {
        loop {
            let Ok(read) = timeout_at(until, self.port.read(&mut self.buffer)).await else {
                self.source.note("no closing sentence from the board");
                return Ended::Stopped;
            };
            match self.take(read) {
                Ok(noticed) if noticed.closing => return self.drain_until_quiet(until).await,
                Ok(_) => {}
                Err(why) => return self.gone(why),
            }
        }
    }

    async fn drain_until_quiet(&mut self, until: Instant) -> Ended {
        while Instant::now() < until {
            let Ok(read) = timeout(QUIET, self.port.read(&mut self.buffer)).await else {
                break;
            };
            if let Err(why) = self.take(read) {
                return self.gone(why);
            }
        }
        Ended::Stopped
    }

    /// Lost while stopping: recorded, but not looked for.
    fn gone(&self, why: String) -> Ended {
        self.source.event(Kind::Lost, why.into_bytes());
        Ended::Stopped
    }
}
