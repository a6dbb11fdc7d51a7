//! An open CAN interface, being listened to: frames, what the kernel lost of them, and the link.
//!
//! The kernel stamps every frame, so the reader may come late: it rests between two looks and
//! takes what has gathered. An error of the link comes once and then never again (measured), so
//! the link is also asked how it is. A link that goes down and up again goes on with the same
//! socket; an interface that goes away is opened anew, because its socket stays deaf for ever.

use super::{BUS_PAUSE, Ended, LOOK_EVERY, Source};
use crate::bus::{Arrival, Bus, Controller, Link, OpenedBus, What, listen_only_cure};
use crate::port::OpenError;
use crate::settings::seconds;
use crate::status::{SourceState, Weight};
use nix::errno::Errno;
use std::sync::atomic::Ordering;
use std::time::Duration;
use tokio::time::{Instant, sleep_until, timeout};
use wheelwitness_capture::can::Frame;
use wheelwitness_capture::can_error::{BusError, COUNTERS};
use wheelwitness_capture::record::{Kind, Losses};

/// The rest between two looks: a fraction of what the kernel's smallest buffer holds (278 frames
/// are 30 ms of a full bus of 1 Mbit/s).
const REST: Duration = Duration::from_millis(5);
/// Errors in a row after which the socket counts as broken.
const ERRORS_MAX: usize = 8;
/// A controller that stumbles all the time is told about so often at most.
const TELL_EVERY: Duration = Duration::from_secs(1);
/// Classes of error that tell how the controller is: controller problem, bus off, restarted.
const CONTROLLER: u32 = 0x004 | 0x040 | 0x100;
/// The controller's own buffer overflowed (byte 1 of the details of a controller problem).
const OVERRUN: u8 = 0x01;

pub(super) struct Frames<'a> {
    source: &'a Source,
    bus: Box<dyn Bus>,
    name: String,
    notes: Vec<String>,
    batch: Vec<Arrival>,
    link: Link,
    was_up: bool,
    /// Arrival of the last frame: the next one did not come before it.
    last_ns: i64,
    /// Everything that had come before this was taken, and when what is taken now was begun.
    drained_ns: i64,
    begun_ns: i64,
    heard_ns: i64,
    silent: bool,
    next_look: Instant,
    told: Option<(Instant, BusError)>,
}

/// What a round of reading met besides frames.
#[derive(Default)]
struct Met {
    down: bool,
    broken: Option<String>,
}

impl<'a> Frames<'a> {
    pub(super) fn new(source: &'a Source, opened: OpenedBus) -> Self {
        let now_ns = source.shared.clock.now().boot_ns;
        let OpenedBus { bus, name, notes } = opened;
        Frames {
            source,
            bus,
            name,
            notes,
            batch: Vec::new(),
            link: Link::default(),
            was_up: false,
            last_ns: now_ns,
            drained_ns: now_ns,
            begun_ns: now_ns,
            heard_ns: now_ns,
            silent: false,
            // At once.
            next_look: Instant::now(),
            told: None,
        }
    }

    pub(super) fn was_up(&self) -> bool {
        self.was_up
    }

    pub(super) async fn run(&mut self) -> Ended {
        let stop = self.source.shared.stop.clone();
        // An interface that was down when it was opened leaves an error behind that is no news.
        let met = self.take_all();
        if let Some(ended) = self.react(Met { down: false, ..met }) {
            return ended;
        }
        let mut came = self.hand_over();
        loop {
            if stop.reason().is_some() {
                return Ended::Stopped;
            }
            if !came {
                tokio::select! {
                    biased;
                    () = stop.wait() => {}
                    // Its error is that of the runtime, not of the bus; the read tells of the bus.
                    _ = self.bus.ready() => {}
                    () = sleep_until(self.next_look) => {}
                }
            }
            // More may come in the same breath. A stop ends the rest, and the next round.
            let _ = timeout(REST, stop.wait()).await;
            let met = self.take_all();
            came = self.hand_over();
            if let Some(ended) = self.react(met) {
                return ended;
            }
        }
    }

    /// Takes everything that waits. Frames may wait behind an error: reading goes on.
    fn take_all(&mut self) -> Met {
        let mut met = Met::default();
        let mut errors = 0;
        self.drained_ns = self.begun_ns;
        let begun_ns = self.source.shared.clock.now().boot_ns;
        loop {
            match self.bus.take(&mut self.batch) {
                Ok(true) => {}
                Ok(false) => {
                    self.begun_ns = begun_ns;
                    return met;
                }
                Err(e) if e.kind() == std::io::ErrorKind::Interrupted => {}
                Err(e) => {
                    errors += 1;
                    let code = e.raw_os_error().map(Errno::from_raw);
                    met.down |= code == Some(Errno::ENETDOWN);
                    if code == Some(Errno::ENODEV) {
                        met.broken = Some("the interface is gone".into());
                    } else if code != Some(Errno::ENETDOWN) || errors > ERRORS_MAX {
                        met.broken = Some(e.to_string());
                    }
                    if errors > ERRORS_MAX {
                        return met;
                    }
                }
            }
        }
    }

    /// Acts on what was met besides frames.
    fn react(&mut self, met: Met) -> Option<Ended> {
        if let Some(why) = met.broken {
            return Some(self.gone(&why));
        }
        if met.down {
            self.went_down();
            return self.look();
        }
        if Instant::now() >= self.next_look { self.look() } else { None }
    }

    /// Asks how the interface is; `Some` if it is gone.
    fn look(&mut self) -> Option<Ended> {
        let link = self.bus.link();
        // What is waited for is looked for as often as an interface that is not there.
        self.next_look = Instant::now() + if link.up { LOOK_EVERY } else { BUS_PAUSE };
        if !link.present {
            return Some(self.gone("the interface is gone"));
        }
        let was = self.link;
        self.link = Link { up: was.up, ..link };
        match (was.up, link.up) {
            (false, true) => self.came_up(),
            (true, false) => self.went_down(),
            (false, false) => self.source.awaiting(&OpenError::Down(self.name.clone().into())),
            (true, true) => {
                self.mind_controller(was.controller);
                self.mind_silence();
            }
        }
        None
    }

    fn came_up(&mut self) {
        self.link.up = true;
        self.heard_ns = self.source.shared.clock.now().boot_ns;
        self.silent = false;
        let told = match self.link.bit_rate {
            Some(rate) => format!("{} at {rate} bit/s", self.name),
            None => self.name.clone(),
        };
        self.source.found(&self.name, &told, None);
        self.source.shared.status.source(self.source.number).bus.bit_rate = self.link.bit_rate;
        for note in std::mem::take(&mut self.notes) {
            self.source.tell(Weight::Note, &note);
        }
        if !self.was_up {
            self.mind_listen_only();
        }
        self.was_up = true;
    }

    fn went_down(&mut self) {
        if std::mem::replace(&mut self.link.up, false) {
            self.source.lost("the link is down");
        }
    }

    fn gone(&mut self, why: &str) -> Ended {
        if self.link.up { Ended::Lost(why.into()) } else { Ended::Gone }
    }

    /// Says once whether the interface can disturb the bus.
    fn mind_listen_only(&self) {
        if self.source.told_mode.swap(true, Ordering::Relaxed) {
            return;
        }
        let name = &self.name;
        match self.link.listen_only {
            Some(true) => self.source.note_quietly(&format!("{name} only listens")),
            Some(false) => self.source.note(&format!(
                "{name} is not in listen-only mode: this program never sends, but the interface \
                 acknowledges frames and signals errors. To make it listen only, type\n    {}",
                listen_only_cure(name, self.link.bit_rate)
            )),
            None => self.source.note_quietly(&format!(
                "{name} has no controller that could be asked for listen-only mode (a virtual \
                 interface); this program never sends"
            )),
        }
    }

    fn mind_controller(&mut self, before: Option<Controller>) {
        let now = self.link.controller;
        // An error frame may have told it already.
        let known =
            now == Some(Controller::BusOff) && self.told.is_some_and(|(_, news)| news.is_bus_off());
        if now != before
            && !known
            && let Some(state) = now
        {
            self.source.note(&format!("controller: {}{}", state.name(), self.bus_off_cure(state)));
        }
    }

    fn bus_off_cure(&self, state: Controller) -> String {
        if state == Controller::BusOff {
            let name = &self.name;
            format!(
                "; check wiring, termination and bit rate, then type\n    \
                 sudo ip link set {name} down && sudo ip link set {name} up"
            )
        } else {
            String::new()
        }
    }

    fn mind_silence(&mut self) {
        let shared = &self.source.shared;
        let quiet_ns = shared.clock.now().boot_ns - self.heard_ns;
        let silent = quiet_ns > shared.span_ns(seconds(shared.limits.silent_after_s));
        if silent == self.silent {
            return;
        }
        self.silent = silent;
        let state = if silent { SourceState::Silent } else { SourceState::Receiving };
        shared.status.source(self.source.number).state = state;
        if silent {
            let quiet_s = quiet_ns as f64 * 1e-9 / shared.clock_scale;
            self.source.note(&format!("no frame for {quiet_s:.1} s"));
        } else {
            self.source.note_quietly("frames again");
        }
    }

    /// Hands what was taken to storage, in order; whether it was anything.
    fn hand_over(&mut self) -> bool {
        if self.batch.is_empty() {
            return false;
        }
        // Frames came although nobody had told that the link is up again.
        if !self.link.up {
            self.came_up();
        }
        let now_ns = self.source.shared.clock.now().boot_ns;
        let mut sum = self.source.shared.status.source(self.source.number).bus.clone();
        let mut bytes = 0;
        for arrival in std::mem::take(&mut self.batch) {
            let boot_ns = self.arrival_ns(now_ns, &arrival);
            self.confess(boot_ns, &arrival, &mut sum.lost_frames);
            let What::Frame(raw) = arrival.what else { continue };
            sum.frames += 1;
            sum.errors += u64::from(raw.is_error());
            match raw.bits() {
                Some(bits) => sum.bits += bits,
                None => sum.unmeasured |= !raw.is_error(),
            }
            let content = raw.record_bytes(arrival.stamp_ns);
            if raw.is_error() {
                self.mind_error(&content);
            }
            bytes += content.len() as u64;
            self.source.enqueue(boot_ns, content);
            self.heard_ns = now_ns;
        }
        let mut shown = self.source.shared.status.source(self.source.number);
        shown.bytes += bytes;
        shown.chunks = sum.frames;
        shown.last_boot_ns = Some(self.last_ns);
        shown.bus = sum;
        true
    }

    /// Moves the kernel's stamp to boot time: as long before now as it says, but never before the
    /// frame that came before, nor before everything was taken the last time, whatever somebody
    /// did to the wall clock.
    fn arrival_ns(&mut self, now_ns: i64, arrival: &Arrival) -> i64 {
        let age_ns = (arrival.age_ns as f64 * self.source.shared.clock_scale) as i64;
        let boot_ns = now_ns.saturating_sub(age_ns);
        self.last_ns = boot_ns.min(now_ns).max(self.last_ns).max(self.drained_ns);
        self.last_ns
    }

    /// Records what is missing right before this arrival.
    fn confess(&self, boot_ns: i64, arrival: &Arrival, lost_frames: &mut u64) {
        let mut lost = |records, bytes, reason: &str| {
            *lost_frames += records;
            let losses = Losses { records, bytes, reason: reason.to_owned() };
            self.source.event_at(boot_ns, Kind::Losses, losses.to_bytes());
        };
        if arrival.lost > 0 {
            // How long they were is not known.
            lost(arrival.lost.into(), 0, "the kernel's buffer for frames was full");
        }
        if let What::NoFrame(length) = arrival.what {
            lost(1, length as u64, "it cannot be a frame: its length is none of the two");
        }
        if arrival.lost > 0 && !self.source.told_losing.swap(true, Ordering::Relaxed) {
            let text = "the kernel lost frames because this computer was too busy: counted in the \
                        capture";
            self.source.tell(Weight::Warning, text);
        }
    }

    /// Tells the user how the controller is, each news once and not too often.
    fn mind_error(&mut self, content: &[u8]) {
        let received = wheelwitness_capture::can::Received::from_bytes(content);
        let Some(Frame::Error { classes, details }) = received.ok().map(|r| r.frame) else {
            return;
        };
        if classes & CONTROLLER == 0 {
            return;
        }
        // The counters change all the time and are no news.
        let mut news = BusError { classes: classes & !COUNTERS, details };
        news.details[6..].fill(0);
        let is_fresh =
            self.told.is_none_or(|(at, told)| told != news && at.elapsed() >= TELL_EVERY);
        if !is_fresh && !news.is_bus_off() {
            return;
        }
        if self.told.is_some_and(|(_, told)| told == news) {
            return;
        }
        self.told = Some((Instant::now(), news));
        let state = if news.is_bus_off() { Controller::BusOff } else { Controller::Active };
        let overrun = classes & 0x004 != 0 && details[1] & OVERRUN != 0;
        let hint = if overrun { "; frames were lost before they reached the kernel" } else { "" };
        self.source.note(&format!("{news}{hint}{}", self.bus_off_cure(state)));
    }
}
