//! An open line, being listened to: bytes as they come, silence and noise, and the farewell.

use super::{Ended, LOOK_EVERY, Source};
use crate::port::Port;
use crate::settings::{SourceKind, seconds};
use crate::status::SourceState;
use crate::watch::{HINT_AFTER, Noticed, Watcher, finish_request};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::{Instant, sleep, timeout, timeout_at};
use wheelwitness_capture::record::Kind;

/// One read takes at most this much; more than any serial driver holds.
const READ_BYTES: usize = 64 * 1024;
/// A line on which nothing comes for so long has given what was under way: adapters hold bytes
/// back for up to 16 ms, and a busy system is slow to hand them over.
pub(super) const QUIET: Duration = Duration::from_millis(100);
/// How long a request to a device may take to leave.
pub(super) const REQUEST_WAIT: Duration = Duration::from_millis(200);

/// An open line, being listened to.
pub(super) struct Listening<'a> {
    pub(super) source: &'a Source,
    pub(super) port: Box<dyn Port>,
    pub(super) buffer: Vec<u8>,
    watcher: &'a mut Watcher,
    pub(super) heard: bool,
    heard_ns: i64,
    valid_ns: i64,
    state: SourceState,
}

impl<'a> Listening<'a> {
    pub(super) fn new(source: &'a Source, port: Box<dyn Port>, watcher: &'a mut Watcher) -> Self {
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

    pub(super) async fn run(&mut self) -> Ended {
        let stop = self.source.shared.stop.clone();
        let stopping = stop.wait();
        tokio::pin!(stopping);
        if self.source.settings.kind == SourceKind::SerialCan {
            let opened = tokio::select! {
                biased;
                () = &mut stopping => return self.finish().await,
                opened = self.open_adapter() => opened,
            };
            if let Err(why) = opened {
                return Ended::Lost(why);
            }
        }
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
    pub(super) fn take(&mut self, read: std::io::Result<usize>) -> Result<Noticed, String> {
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

    /// The recording stops: asks a board for its closing sentence, tells an adapter to leave the
    /// bus, and takes what is still coming.
    async fn finish(&mut self) -> Ended {
        let stop = self.source.shared.stop.clone();
        let kind = self.source.settings.kind;
        let wait = seconds(self.source.shared.limits.closing_wait_s);
        let until = Instant::now() + wait;
        let draining = async {
            if kind == SourceKind::SerialCan {
                self.close_adapter().await;
            }
            if kind == SourceKind::PulseBoard {
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
