//! The status line: messages as they come, and one line that says how the recording is doing.
//!
//! Runs on its own thread: a terminal that is stopped or gone holds up nothing.

use crate::settings::SourceKind;
use crate::status::{BusStatus, Message, Snapshot, SourceState, SourceStatus, Status, Weight};
use crate::text::{bytes, clock_face, printable};
use std::io::Write;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::{Duration, Instant};

/// How often the line is renewed, on a terminal and as plain lines.
const RENEW: (Duration, Duration) = (Duration::from_millis(500), Duration::from_secs(10));
/// How long the last words may take.
const LAST_WORDS_WAIT: Duration = Duration::from_millis(500);

/// The thread that writes to the screen.
pub struct Screen {
    over: SyncSender<Message>,
    done: Receiver<()>,
}

struct Painter<W> {
    out: W,
    is_terminal: bool,
    with_line: bool,
    status: Arc<Status>,
    before: Option<(Instant, Snapshot)>,
}

impl Screen {
    /// Starts writing messages, and the status line if wanted, to `out` until [`Screen::end`].
    pub fn start<W: Write + Send + 'static>(
        out: W,
        is_terminal: bool,
        with_line: bool,
        status: Arc<Status>,
        messages: Receiver<Message>,
    ) -> Screen {
        let (over, ended) = sync_channel(1);
        let (finished, done) = sync_channel(1);
        std::thread::spawn(move || {
            let mut painter = Painter { out, is_terminal, with_line, status, before: None };
            painter.run(&messages, &ended);
            let _ = finished.send(());
        });
        Screen { over, done }
    }

    /// Writes what is left to say, with `last` as the final line. Does not wait for a dead screen.
    pub fn end(self, last: Message) {
        let _ = self.over.try_send(last);
        let _ = self.done.recv_timeout(LAST_WORDS_WAIT);
    }
}

impl<W: Write> Painter<W> {
    fn run(&mut self, messages: &Receiver<Message>, ended: &Receiver<Message>) {
        let every = if self.is_terminal { RENEW.0 } else { RENEW.1 };
        let mut next = Instant::now() + every;
        loop {
            if let Ok(last) = ended.try_recv() {
                messages.try_iter().for_each(|message| self.message(&message));
                return self.message(&last);
            }
            // Short waits, so that the end is noticed soon.
            let wait =
                next.saturating_duration_since(Instant::now()).min(Duration::from_millis(50));
            match messages.recv_timeout(wait) {
                Ok(message) => self.message(&message),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => std::thread::sleep(wait),
            }
            if self.with_line && Instant::now() >= next {
                next += every;
                self.renew();
            }
        }
    }

    fn message(&mut self, message: &Message) {
        let mark = if message.weight == Weight::Warning { "! " } else { "" };
        let clear = if self.is_terminal { "\r\x1b[K" } else { "" };
        let time = clock_face(self.status.recorded_ns());
        // A screen that cannot be written to is no reason to stop recording.
        for line in message.text.lines() {
            let _ = writeln!(self.out, "{clear}{time} {mark}{}", printable(line));
        }
        let _ = self.out.flush();
    }

    fn renew(&mut self) {
        let now = Instant::now();
        let snapshot = self.status.snapshot();
        let line = line(&snapshot, self.before.as_ref().map(|(at, old)| (now - *at, old)));
        let _ = if self.is_terminal {
            // Without automatic line breaks a long line is cut at the edge instead of wrapping.
            write!(self.out, "\r\x1b[?7l{line}\x1b[K\x1b[?7h")
        } else {
            writeln!(self.out, "{line}")
        };
        let _ = self.out.flush();
        self.before = Some((now, snapshot));
    }
}

/// The status line, with rates over the time since an earlier snapshot if there is one.
pub fn line(now: &Snapshot, before: Option<(Duration, &Snapshot)>) -> String {
    let mut parts = vec![clock_face(now.recorded_ns)];
    for (number, source) in now.sources.iter().enumerate() {
        let old = before.and_then(|(time, old)| Some((time, old.sources.get(number)?)));
        parts.push(source_part(source, old));
    }
    parts.push(storage_part(now));
    printable(&parts.join(" | "))
}

fn source_part(now: &SourceStatus, before: Option<(Duration, &SourceStatus)>) -> String {
    let mut words = vec![now.name.clone()];
    words.push(match now.state {
        SourceState::Awaited => "not there yet".into(),
        SourceState::Lost => "LOST, looking for it".into(),
        SourceState::Silent => "SILENT".into(),
        SourceState::Unframed => "no valid sentence: BAUD?".into(),
        SourceState::Ended => "ended".into(),
        SourceState::Receiving => rate(now, before),
    });
    if now.kind != SourceKind::Other && now.valid_lines > 0 {
        let what = if now.kind == SourceKind::SerialCan { "frames" } else { "sentences" };
        words.push(format!("{} {what}", now.valid_lines));
    }
    for (count, before, after) in [
        (now.bus.errors, "", " bus errors"),
        (now.bus.lost_frames, "", " frames LOST"),
        (now.damaged_lines, "", " damaged"),
        (now.times_lost, "lost ", "x"),
        (now.dropped_bytes, "", " bytes DROPPED"),
    ] {
        if count > 0 {
            words.push(format!("{before}{count}{after}"));
        }
    }
    words.join(" ")
}

fn rate(now: &SourceStatus, before: Option<(Duration, &SourceStatus)>) -> String {
    if now.kind == SourceKind::Can {
        return bus_rate(&now.bus, before.map(|(time, old)| (time, &old.bus)));
    }
    match before {
        Some((time, old)) if !time.is_zero() => {
            let per_second = |now: u64, old| now.saturating_sub(old) as f64 / time.as_secs_f64();
            if now.kind == SourceKind::SerialCan {
                return format!("{:.0} frames/s", per_second(now.valid_lines, old.valid_lines));
            }
            format!("{}/s", bytes(per_second(now.bytes, old.bytes) as u64))
        }
        _ => bytes(now.bytes),
    }
}

/// Frames a second, and how busy the bus is if its bit rate is known.
fn bus_rate(now: &BusStatus, before: Option<(Duration, &BusStatus)>) -> String {
    match before {
        Some((time, old)) if !time.is_zero() => {
            let per_second = now.frames.saturating_sub(old.frames) as f64 / time.as_secs_f64();
            let load = now.load(old, time).map(|load| format!(", bus {:.0} % busy", 100.0 * load));
            format!("{per_second:.0} frames/s{}", load.unwrap_or_default())
        }
        _ => format!("{} frames", now.frames),
    }
}

fn storage_part(now: &Snapshot) -> String {
    let storage = &now.storage;
    if let Some(trouble) = &storage.trouble {
        return format!(
            "MEDIUM FAILS ({trouble}), {} held in memory",
            bytes(storage.queued_bytes as u64)
        );
    }
    let kept = format!("{} kept", bytes(storage.taken_bytes));
    match (storage.hours_left, storage.free_bytes) {
        (Some(hours), _) if hours < 1000.0 => format!("{kept}, space for {hours:.1} h"),
        (_, Some(free)) => format!("{kept}, {} free", bytes(free)),
        _ => kept,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::SourceSettings;
    use std::sync::{Mutex, PoisonError};
    use wheelwitness_capture::clock::SimClock;

    #[derive(Clone, Default)]
    struct Page(Arc<Mutex<Vec<u8>>>);

    impl Write for Page {
        fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
            self.0.lock().unwrap_or_else(PoisonError::into_inner).extend_from_slice(bytes);
            Ok(bytes.len())
        }
        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }

    fn status() -> (Arc<Status>, Receiver<Message>) {
        let sources: [SourceSettings; 2] =
            ["board=/dev/x,pulse-board".parse().unwrap(), "radio=/dev/y".parse().unwrap()];
        Status::new(Arc::new(SimClock::default()), &sources)
    }

    #[test]
    fn nothing_that_a_device_sends_can_command_the_terminal() {
        let (status, messages) = status();
        let page = Page::default();
        let screen = Screen::start(page.clone(), false, true, status.clone(), messages);
        status.tell(Weight::Warning, "board: \u{1b}]0;title\u{7}\u{9b}2J\u{202e}\nnext");
        screen.end(Message { weight: Weight::Note, text: "over".into() });
        let text = String::from_utf8(page.0.lock().unwrap().clone()).unwrap();
        assert_eq!(text.lines().count(), 3, "{text:?}");
        assert!(text.chars().all(|c| c == '\n' || !c.is_control()), "{text:?}");
    }

    #[test]
    fn the_line_tells_frames_load_and_losses_of_a_bus() {
        let source: SourceSettings = "bus=can0,can".parse().unwrap();
        let (status, _messages) = Status::new(Arc::new(SimClock::default()), &[source]);
        let old = status.snapshot();
        {
            let mut shown = status.source(0);
            shown.state = SourceState::Receiving;
            // 2,000 frames of 123 bits in a second of 500 kbit/s.
            let bus =
                BusStatus { frames: 2_000, bits: 246_000, lost_frames: 7, ..BusStatus::default() };
            shown.bus = BusStatus { bit_rate: Some(500_000), ..bus };
        }
        let line = line(&status.snapshot(), Some((Duration::from_secs(1), &old)));
        assert!(line.contains("| bus 2000 frames/s, bus 49 % busy 7 frames LOST |"), "{line}");
    }

    #[test]
    fn the_line_tells_state_rate_losses_and_space() {
        let (status, _messages) = status();
        let old = status.snapshot();
        {
            let mut board = status.source(0);
            (board.state, board.bytes, board.valid_lines) = (SourceState::Receiving, 25_000, 390);
            status.source(1).state = SourceState::Lost;
            status.source(1).dropped_bytes = 12;
            let mut storage = status.storage();
            (storage.taken_bytes, storage.hours_left) = (25_000, Some(40.04));
        }
        let line = line(&status.snapshot(), Some((Duration::from_secs(1), &old)));
        let wanted = "0:00:00 | board 25.0 kB/s 390 sentences | \
            radio LOST, looking for it 12 bytes DROPPED | 25.0 kB kept, space for 40.0 h";
        assert_eq!(line, wanted);
    }
}
