//! The life of a source on simulated lines and simulated time.

use crate::harness::Noise;
use std::sync::Arc;
use std::time::Duration;
use tokio::time::Instant;
use wheelwitness_capture::clock::{Clock, Stamp};
use wheelwitness_capture::record::{Kind, Losses};
use wheelwitness_logger::bus::sim::SimBuses;
use wheelwitness_logger::port::OpenError;
use wheelwitness_logger::queue::{Entry, Queue};
use wheelwitness_logger::settings::{Limits, SourceSettings};
use wheelwitness_logger::sim::{Opening, SimPorts, Step};
use wheelwitness_logger::source::{Event, Shared, Source};
use wheelwitness_logger::status::Status;
use wheelwitness_logger::stop::{Reason, Stop};

/// The paused clock of the simulation.
struct SimulatedTime(Instant);

impl Clock for SimulatedTime {
    fn now(&self) -> Stamp {
        let ns = self.0.elapsed().as_nanos() as i64;
        Stamp { boot_ns: ns, mono_ns: ns, wall_ns: ns }
    }
}

/// One thing that was recorded: source, time in milliseconds, what.
#[derive(Clone, Debug, PartialEq)]
enum Seen {
    Bytes(Vec<u8>),
    Event(Event),
}

/// What a recording kept and said.
pub struct Told {
    all: Vec<(u16, i64, Seen)>,
    ended_ms: i64,
    pub messages: Vec<String>,
}

/// Records `sources` from scripted lines for some simulated time, then finishes.
fn play(ports: &SimPorts, sources: &[&str], time: Duration) -> Told {
    play_and(ports, sources, time, |stop| stop.finish(Reason::Asked))
}

/// Records `sources` from scripted lines and interfaces for some simulated time, then finishes.
pub fn play_on(ports: &SimPorts, buses: &SimBuses, sources: &[&str], time: Duration) -> Told {
    play_all(ports, buses, sources, time, |stop| stop.finish(Reason::Asked))
}

fn play_and(ports: &SimPorts, sources: &[&str], time: Duration, end: fn(&Stop)) -> Told {
    play_all(ports, &SimBuses::new(), sources, time, end)
}

fn play_all(
    ports: &SimPorts,
    buses: &SimBuses,
    sources: &[&str],
    time: Duration,
    end: fn(&Stop),
) -> Told {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .start_paused(true)
        .build()
        .unwrap();
    runtime.block_on(async {
        let clock: Arc<dyn Clock> = Arc::new(SimulatedTime(Instant::now()));
        let settings: Vec<SourceSettings> = sources.iter().map(|s| s.parse().unwrap()).collect();
        let (status, messages) = Status::new(clock.clone(), &settings);
        let queue = Arc::new(Queue::<Event>::new(&vec![1; settings.len()], 1 << 24));
        let stop = Stop::new();
        let shared = Arc::new(Shared {
            clock: clock.clone(),
            ports: Arc::new(ports.clone()),
            buses: Arc::new(buses.clone()),
            queue: queue.clone(),
            status,
            stop: stop.clone(),
            limits: Limits::default(),
            clock_scale: 1.0,
        });
        let numbered = (0u16..).zip(settings);
        let tasks: Vec<_> = numbered
            .map(|(n, s)| tokio::spawn(Source::new(shared.clone(), n, s).keep_alive(None)))
            .collect();
        tokio::time::sleep(time).await;
        end(&stop);
        for task in tasks {
            task.await.unwrap();
        }
        let ended_ms = clock.now().boot_ns / 1_000_000;
        let all = queue.take(usize::MAX, Duration::ZERO).unwrap().into_iter();
        let all = all.map(|w| (w.source, w.boot_ns / 1_000_000, seen(w.entry))).collect();
        let messages = messages.try_iter().map(|message| message.text).collect();
        Told { all, ended_ms, messages }
    })
}

fn seen(entry: Entry<Event>) -> Seen {
    match entry {
        Entry::Bytes(bytes) => Seen::Bytes(bytes),
        Entry::Event(event) => Seen::Event(event),
        Entry::Dropped(dropped) => panic!("dropped {dropped:?}"),
    }
}

impl Told {
    fn bytes(&self, source: u16) -> Vec<u8> {
        self.chunks(source).concat()
    }

    /// All chunks of a source.
    pub fn chunks(&self, source: u16) -> Vec<&[u8]> {
        let of_source = self.all.iter().filter(|(s, ..)| *s == source);
        let chunks = of_source.filter_map(|(_, _, seen)| match seen {
            Seen::Bytes(bytes) => Some(bytes.as_slice()),
            Seen::Event(_) => None,
        });
        chunks.collect()
    }

    /// Times of all chunks of a source, in milliseconds.
    pub fn chunk_times(&self, source: u16) -> Vec<i64> {
        let of_source = self.all.iter().filter(|(s, ..)| *s == source);
        let chunks = of_source.filter(|(.., seen)| matches!(seen, Seen::Bytes(_)));
        chunks.map(|(_, ms, _)| *ms).collect()
    }

    /// What a source's losses say, in records.
    pub fn losses(&self, source: u16) -> Vec<u64> {
        let of_source = self.all.iter().filter(|(s, ..)| *s == source);
        let losses = of_source.filter_map(|(.., seen)| match seen {
            Seen::Event(Event { kind: Kind::Losses, bytes }) => Losses::from_bytes(bytes),
            _ => None,
        });
        losses.map(|losses| losses.records).collect()
    }

    /// What happened to a source in order, texts left out.
    pub fn kinds(&self, source: u16) -> Vec<String> {
        let of_source = self.all.iter().filter(|(s, ..)| *s == source);
        let kinds = of_source.filter_map(|(.., seen)| match seen {
            Seen::Bytes(_) => Some("chunk".to_owned()),
            Seen::Event(Event { kind: Kind::Text, .. }) => None,
            Seen::Event(event) => Some(format!("{:?}", event.kind)),
        });
        kinds.collect()
    }

    /// Times of all events of a kind, in milliseconds.
    pub fn times(&self, source: u16, wanted: Kind) -> Vec<i64> {
        let of_source = self.all.iter().filter(|(s, ..)| *s == source);
        let wanted =
            of_source.filter(|(.., seen)| matches!(seen, Seen::Event(e) if e.kind == wanted));
        wanted.map(|(_, ms, _)| *ms).collect()
    }

    /// Times of all notes that contain `text`, in milliseconds.
    pub fn notes(&self, text: &str) -> Vec<i64> {
        let said =
            |e: &Event| e.kind == Kind::Text && String::from_utf8_lossy(&e.bytes).contains(text);
        let has = |seen: &Seen| matches!(seen, Seen::Event(e) if said(e));
        self.all.iter().filter(|(.., seen)| has(seen)).map(|(_, ms, _)| *ms).collect()
    }
}

pub fn s(seconds: f64) -> Duration {
    Duration::from_secs_f64(seconds)
}

fn line(steps: &[Step]) -> Opening {
    Opening::Line(steps.to_vec())
}

fn bytes(text: &str) -> Step {
    Step::Bytes(text.as_bytes().to_vec())
}

fn absent() -> Opening {
    Opening::Refuse(OpenError::Absent("/sim/a".into()))
}

fn sentence(body: &str) -> String {
    format!("${body}*{:02X}\r\n", body.bytes().fold(0, |sum, byte| sum ^ byte))
}

#[test]
fn bytes_are_kept_in_order_and_stamped_when_they_come() {
    let steps =
        [bytes("one "), Step::Wait(s(1.5)), bytes("two "), Step::Wait(s(0.5)), bytes("three")];
    let ports = SimPorts::new().script("/sim/a", [line(&steps)]);
    let told = play(&ports, &["a=/sim/a"], s(10.0));
    assert_eq!(told.bytes(0), b"one two three");
    let chunks: Vec<_> = told.all.iter().filter(|(.., s)| matches!(s, Seen::Bytes(_))).collect();
    let opened = told.times(0, Kind::Opened)[0];
    assert_eq!(chunks.iter().map(|(_, ms, _)| ms - opened).collect::<Vec<_>>(), [0, 1500, 2000]);
}

#[test]
fn every_way_of_hanging_up_ends_in_lost_and_then_found() {
    // Linux error numbers (errno(3)): EIO 5, ENXIO 6, EBADF 9, ENODEV 19.
    for end in [Step::HangUp, Step::Fail(5), Step::Fail(6), Step::Fail(9), Step::Fail(19)] {
        let first = line(&[bytes("before "), end.clone()]);
        let ports = SimPorts::new().script("/sim/a", [first, line(&[bytes("after")])]);
        let told = play(&ports, &["a=/sim/a"], s(10.0));
        assert_eq!(told.bytes(0), b"before after", "{end:?}");
        let (lost, found) = (told.times(0, Kind::Lost), told.times(0, Kind::Found));
        assert_eq!((lost.len(), found.len()), (1, 1), "{end:?}");
        assert_eq!(found[0] - lost[0], 100, "{end:?}");
    }
}

#[test]
fn a_lost_device_is_looked_for_with_pauses_growing_from_a_tenth_to_two_seconds() {
    let first = line(&[bytes("x"), Step::HangUp]);
    let openings = std::iter::once(first).chain(vec![absent(); 7]).chain([line(&[bytes("y")])]);
    let ports = SimPorts::new().script("/sim/a", openings);
    let told = play(&ports, &["a=/sim/a"], s(30.0));
    let waited = told.times(0, Kind::Found)[0] - told.times(0, Kind::Lost)[0];
    // 0.1 + 0.2 + 0.4 + 0.8 + 1.6 + 2 + 2 + 2 s
    assert_eq!(waited, 9_100);
}

#[test]
fn a_line_that_opens_and_hangs_up_for_ever_makes_no_storm() {
    let ports = SimPorts::new().script("/sim/a", vec![line(&[Step::HangUp]); 1000]);
    let told = play(&ports, &["a=/sim/a"], s(100.0));
    assert!(
        (40..=55).contains(&told.times(0, Kind::Lost).len()),
        "{:?}",
        told.times(0, Kind::Lost)
    );
}

#[test]
fn a_device_absent_at_the_start_is_opened_not_found_again() {
    let ports = SimPorts::new().script("/sim/a", [absent(), absent(), line(&[bytes("x")])]);
    let told = play(&ports, &["a=/sim/a"], s(10.0));
    assert_eq!(told.times(0, Kind::Opened).len(), 1);
    assert!(told.times(0, Kind::Found).is_empty());
    assert_eq!(told.bytes(0), b"x");
}

#[test]
fn a_panic_in_one_source_ends_neither_it_nor_the_others() {
    let faulty = [line(&[bytes("one "), Step::Panic]), line(&[bytes("two")])];
    let ticking: Vec<_> = (0..50).flat_map(|_| [bytes("."), Step::Wait(s(0.1))]).collect();
    let ports = SimPorts::new().script("/sim/a", faulty).script("/sim/b", [line(&ticking)]);
    let told = play(&ports, &["a=/sim/a", "b=/sim/b"], s(10.0));
    assert_eq!(told.bytes(0), b"one two");
    assert_eq!(told.times(0, Kind::Lost).len(), 1);
    assert_eq!(told.bytes(1), [b'.'; 50]);
    assert!(told.times(1, Kind::Lost).is_empty());
}

#[test]
fn silence_is_noted_once_and_so_is_its_end() {
    let gga = sentence("GPGGA,,,,,,0,,,,,,,,");
    let steps = [bytes(&gga), Step::Wait(s(20.0)), bytes(&gga)];
    let ports = SimPorts::new().script("/sim/a", [line(&steps)]);
    let told = play(&ports, &["a=/sim/a,gnss"], s(22.0));
    let (silent, again) = (told.notes("silent"), told.notes("whole sentences again"));
    assert_eq!((silent.len(), again.len()), (1, 1), "{:?}", told.all);
    let opened = told.times(0, Kind::Opened)[0];
    assert!((3000..=3500).contains(&(silent[0] - opened)), "{}", silent[0] - opened);
    assert!(told.times(0, Kind::Lost).is_empty(), "silence is no reason to close the line");
}

#[test]
fn noise_brings_one_hint_within_four_seconds_and_a_source_of_another_kind_none() {
    let mut noise = Noise::new(5);
    let steps: Vec<_> =
        (0..100).flat_map(|_| [Step::Bytes(noise.bytes(100)), Step::Wait(s(0.1))]).collect();
    let ports = SimPorts::new().script("/sim/a", [line(&steps)]).script("/sim/b", [line(&steps)]);
    let told = play(&ports, &["a=/sim/a,gnss", "b=/sim/b"], s(10.0));
    let hints = told.notes("no valid sentence");
    assert_eq!(hints.len(), 1);
    assert!(hints[0] <= 4000, "{hints:?}");
}

#[test]
fn a_board_that_answers_the_finish_request_ends_the_recording_early() {
    let closing = sentence("PWWNZ,01,00000000,0001,00000007,C,0000");
    let steps = [bytes("$PW"), Step::AwaitWriting, Step::Wait(s(0.2)), bytes(&closing)];
    let ports = SimPorts::new().script("/sim/a", [line(&steps)]);
    let told = play(&ports, &["a=/sim/a,pulse-board"], s(2.0));
    assert_eq!(ports.written("/sim/a"), b"$PWWNQ*4F\r\n");
    assert!(told.bytes(0).ends_with(closing.as_bytes()));
    assert!((2200..2900).contains(&told.ended_ms), "{}", told.ended_ms);
    assert!(told.notes("no closing sentence").is_empty());
}

#[test]
fn a_board_that_does_not_answer_is_waited_for_one_second() {
    let ports = SimPorts::new().script("/sim/a", [line(&[bytes("$PW")])]);
    let told = play(&ports, &["a=/sim/a,pulse-board"], s(2.0));
    assert!((3000..3300).contains(&told.ended_ms), "{}", told.ended_ms);
    assert_eq!(told.notes("no closing sentence").len(), 1);
}

#[test]
fn a_board_that_keeps_sending_does_not_keep_the_recording_open() {
    let steps: Vec<_> = (0..10_000).flat_map(|_| [bytes("x"), Step::Wait(s(0.001))]).collect();
    let ports = SimPorts::new().script("/sim/a", [line(&steps)]);
    let told = play(&ports, &["a=/sim/a,pulse-board"], s(2.0));
    assert!((3000..3300).contains(&told.ended_ms), "{}", told.ended_ms);
}

#[test]
fn what_an_adapter_still_holds_when_the_recording_stops_is_kept() {
    // A latency timer of 16 ms is the default of a common family of adapters.
    let steps =
        [Step::Wait(s(2.0)), Step::Wait(s(0.016)), bytes("late"), Step::Wait(s(0.016)), bytes("r")];
    let ports = SimPorts::new().script("/sim/a", [line(&steps)]);
    let told = play(&ports, &["a=/sim/a"], s(2.1));
    assert_eq!(told.bytes(0), b"later");
    assert!(told.ended_ms < 2_400, "{}", told.ended_ms);
}

#[test]
fn stopping_at_once_waits_for_nothing() {
    let ports = SimPorts::new().script("/sim/a", [line(&[bytes("x")])]);
    let told = play_and(&ports, &["a=/sim/a,pulse-board", "b=/sim/b"], s(2.0), Stop::at_once);
    assert!((2000..2100).contains(&told.ended_ms), "{}", told.ended_ms);
    assert_eq!(told.bytes(0), b"x");
}

#[test]
fn another_board_in_the_same_place_is_noted() {
    let identity = |serial| sentence(&format!("PWWNI,00,00000000,01,0001,{serial},064,00,0000"));
    let first = line(&[bytes(&identity("00000017")), Step::HangUp]);
    let ports = SimPorts::new().script("/sim/a", [first, line(&[bytes(&identity("00000018"))])]);
    let told = play(&ports, &["a=/sim/a,pulse-board"], s(2.0));
    assert_eq!(told.notes("another pulse board answers now: serial 00000018").len(), 1);
}

#[test]
fn a_can_adapter_is_told_to_listen_and_at_the_end_to_leave_the_bus() {
    // Commands of the kernel's driver (slcan-core.c) and of adapters (common practice): close,
    // 500 kbit/s, times, listen.
    let frames = "t7E8804410C1AF800000003E8\r";
    let steps = [
        // Left open by somebody: it still sends, and a part of a line at that.
        bytes("55\rt1232AABB\r"),
        Step::AwaitWriting,
        Step::Wait(s(0.2)),
        bytes("\r"),
        Step::Wait(s(0.1)),
        bytes("\r"),
        Step::Wait(s(0.1)),
        bytes("\r"),
        bytes(frames),
    ];
    let ports = SimPorts::new().script("/sim/a", [line(&steps)]);
    let told = play(&ports, &["a=/sim/a,serial-can"], s(2.0));
    assert_eq!(ports.written("/sim/a"), b"C\rS6\rZ1\rL\rC\r");
    assert_eq!(told.bytes(0), format!("55\rt1232AABB\r\r\r\r{frames}").as_bytes(), "all is kept");
    assert_eq!(told.notes("the adapter only listens").len(), 1);
}

#[test]
fn an_adapter_that_refuses_to_listen_is_never_opened_in_another_way() {
    let refusals = [Step::AwaitWriting, Step::Wait(s(0.2)), bytes("\u{7}")];
    let steps = [&refusals[..], &[Step::Wait(s(0.1)), bytes("\u{7}")]].concat();
    let steps = [&steps[..], &[Step::Wait(s(0.1)), bytes("\u{7}")]].concat();
    let ports = SimPorts::new().script("/sim/a", [line(&steps)]);
    let told = play(&ports, &["a=/sim/a,115200,serial-can,250000"], s(2.0));
    assert_eq!(ports.written("/sim/a"), b"C\rS5\rZ1\rL\rC\r");
    assert_eq!(told.notes("refuses 250000 bit/s: choose").len(), 1);
    assert_eq!(told.notes("refuses to listen only, and stays closed").len(), 1);
}

#[test]
fn an_adapter_that_never_answers_is_listened_to_all_the_same_and_found_again_is_asked_again() {
    let first = [Step::Wait(s(5.0)), bytes("t1230\r"), Step::Wait(s(0.5)), Step::HangUp];
    let second = [Step::Wait(s(3.0)), bytes("t1240\r")];
    let ports = SimPorts::new().script("/sim/a", [line(&first), line(&second)]);
    let told = play(&ports, &["a=/sim/a,serial-can"], s(12.0));
    assert_eq!(told.bytes(0), b"t1230\rt1240\r");
    assert_eq!(ports.written("/sim/a"), b"C\rS6\rZ1\rL\rC\rS6\rZ1\rL\rC\r");
}
