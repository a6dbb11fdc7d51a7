//! The real program on real CAN interfaces: virtual ones of Linux, in a guest.
//!
//! Run by `.ci/run`, and by hand as
//!
//! ```text
//! CARGO_TARGET_X86_64_UNKNOWN_LINUX_GNU_RUNNER=$PWD/logger/can-guest/run \
//!     cargo test -p wheelwitness-logger --test recording vcan::
//! ```
//!
//! Outside the guest nothing is touched, and one line says what was left out. Facts about the
//! kernel: `Documentation/networking/can.rst` and headers of Linux 6.1, and measured in the guest.

use crate::harness::{Bench, Program, read, text};
use nix::sys::signal::Signal;
use nix::time::{ClockId, clock_gettime};
use socketcan::{CanFdSocket, Socket};
use std::io::Write;
use std::path::Path;
use std::process::Command;
use std::sync::Once;
use std::time::{Duration, Instant};
use wheelwitness_capture::can::{ERROR, EXTENDED, FD_FORMAT, Frame, Received};
use wheelwitness_capture::can_error::BusError;
use wheelwitness_capture::record::{Kind, Losses, Record, Text, title};

const SECOND_NS: i64 = 1_000_000_000;

/// A virtual interface, removed at the end.
struct Interface(&'static str);

impl Interface {
    /// Makes it and switches it on; `None` outside the guest.
    fn new(name: &'static str) -> Option<Interface> {
        static TOLD: Once = Once::new();
        if std::env::var_os("WHEELWITNESS_GUEST").is_none() {
            // Past the test runner, which shows only what failing tests print.
            TOLD.call_once(|| {
                let line = "left out: tests on CAN interfaces; logger/can-guest/run runs them\n";
                let _ = std::io::stderr().write_all(line.as_bytes());
            });
            return None;
        }
        let interface = Interface(name);
        interface.add();
        Some(interface)
    }

    fn add(&self) {
        ip(&["link", "add", self.0, "type", "vcan"]);
        ip(&["link", "set", self.0, "up"]);
    }

    fn remove(&self) {
        ip(&["link", "del", self.0]);
    }

    fn set(&self, state: &str) {
        ip(&["link", "set", self.0, state]);
    }

    fn sender(&self) -> Sender {
        Sender(CanFdSocket::open(self.0).unwrap())
    }

    /// The program, recording from it; `more` arguments after the source.
    fn record(&self, folder: &Path, more: &[&str]) -> Program {
        let source = format!("bus={},can", self.0);
        let args = [&["--source", &source, "--into", text(folder)], more].concat();
        Program::record(&args)
    }
}

impl Drop for Interface {
    fn drop(&mut self) {
        let _ = Command::new("ip").args(["link", "del", self.0]).status();
    }
}

fn ip(args: &[&str]) {
    let done = Command::new("ip").args(args).status().expect("ip runs");
    assert!(done.success(), "ip {args:?}");
}

/// What puts frames on the bus: test code, in the layout of `linux/can.h`.
struct Sender(CanFdSocket);

impl Sender {
    fn send(&self, word: u32, length: u8, data: &[u8]) {
        self.put(word, [length, 0, 0, 0], data, 8);
    }

    fn send_fd(&self, word: u32, flags: u8, data: &[u8]) {
        self.put(word, [data.len() as u8, flags, 0, 0], data, 64);
    }

    #[expect(clippy::host_endian_bytes, reason = "the kernel's structures are the host's")]
    fn put(&self, word: u32, head: [u8; 4], data: &[u8], room: usize) {
        let mut bytes = [&word.to_ne_bytes()[..], &head, data].concat();
        bytes.resize(8 + room, 0);
        assert_eq!(nix::unistd::write(&self.0, &bytes), Ok(bytes.len()));
    }

    fn number(&self, id: u32, number: u64) {
        self.send(id, 8, &number.to_le_bytes());
    }
}

fn frames(records: &[Record]) -> Vec<Received> {
    let of_bus = records.iter().filter(|r| r.kind == Kind::CanFrame);
    of_bus.map(|r| Received::from_bytes(&r.bytes).unwrap()).collect()
}

fn lost(records: &[Record]) -> u64 {
    let losses = records.iter().filter(|r| r.kind == Kind::Losses);
    losses.map(|r| Losses::from_bytes(&r.bytes).unwrap().records).sum()
}

/// The numbers that frames with this id carry.
fn numbers(records: &[Record], id: u32) -> Vec<u64> {
    let all = frames(records);
    let with_id = all.iter().filter(|r| r.frame.id().is_some_and(|i| i.number() == id));
    with_id.map(|r| u64::from_le_bytes(*r.frame.payload().first_chunk().unwrap())).collect()
}

fn boot_ns() -> i64 {
    let now = clock_gettime(ClockId::CLOCK_BOOTTIME).unwrap();
    now.tv_sec() * SECOND_NS + now.tv_nsec()
}

/// Sends a last frame until one is in the capture: the kernel's count of losses rides on the next
/// frame that finds room. Returns how many were sent.
fn close_with_sentinel(sender: &Sender, folder: &Path) -> u64 {
    for sent in 1..=100 {
        sender.number(SENTINEL, sent);
        let until = Instant::now() + Duration::from_secs(2);
        while Instant::now() < until {
            if !numbers(&read(folder).0, SENTINEL).is_empty() {
                return sent;
            }
            std::thread::sleep(Duration::from_millis(300));
        }
    }
    panic!("no sentinel was ever stored");
}

/// No other frame of these tests has this id.
const SENTINEL: u32 = 0x7fe;

#[test]
fn of_200_000_frames_each_is_stored_or_counted_as_lost() {
    const FRAMES: u64 = 200_000;
    let Some(bus) = Interface::new("ww0") else { return };
    for stopped in [false, true] {
        let bench = Bench::new();
        let folder = bench.path("c");
        let mut program = bus.record(&folder, &["--quiet"]);
        program.wait_for("opened");
        let sender = bus.sender();
        for number in 0..FRAMES {
            sender.number(0x123, number);
            if stopped && number == FRAMES / 4 {
                program.signal(Signal::SIGSTOP);
            }
            if stopped && number == FRAMES / 2 {
                // The bus goes on for 50,000 frames, then stands still for as long as a card may.
                std::thread::sleep(Duration::from_millis(200));
                program.signal(Signal::SIGCONT);
            }
        }
        let sentinels = close_with_sentinel(&sender, &folder);
        program.end_by(Signal::SIGINT);
        let (records, closed) = read(&folder);
        assert!(closed);
        let stored = frames(&records).len() as u64;
        let line = format!("sent {}, stored {stored}, lost {}", FRAMES + sentinels, lost(&records));
        println!("{line}");
        assert_eq!(FRAMES + sentinels, stored + lost(&records), "{line}");
        assert!(numbers(&records, 0x123).is_sorted_by(|a, b| a < b), "in order, none twice");
        if stopped {
            assert!(lost(&records) > 0, "50,000 frames are more than the buffer holds: {line}");
        }
    }
}

#[test]
fn frames_carry_the_kernels_time_and_records_their_arrival() {
    let Some(bus) = Interface::new("ww1") else { return };
    let bench = Bench::new();
    let folder = bench.path("c");
    let mut program = bus.record(&folder, &[]);
    program.wait_for("opened");
    let sender = bus.sender();
    let mut around = Vec::new();
    for number in 0..50 {
        let before = boot_ns();
        sender.number(0x123, number);
        around.push(before..=boot_ns());
        std::thread::sleep(Duration::from_millis(3));
    }
    close_with_sentinel(&sender, &folder);
    program.end_by(Signal::SIGINT);
    let (records, _) = read(&folder);
    let of_bus = records.iter().filter(|r| r.kind == Kind::CanFrame);
    let times: Vec<_> = of_bus.map(|r| r.boot_ns).collect();
    for (range, at) in around.iter().zip(times) {
        // Two clocks are read one after the other: a tenth of a second is far more than it takes.
        let slack = SECOND_NS / 10;
        assert!((range.start() - slack..=range.end() + slack).contains(&at), "{range:?} {at}");
    }
    assert!(frames(&records).iter().all(|r| r.stamp_ns.is_some()));
}

#[test]
fn every_kind_of_frame_comes_back_as_it_was_sent_and_nothing_is_added_to_the_bus() {
    let Some(bus) = Interface::new("ww2") else { return };
    let bench = Bench::new();
    let folder = bench.path("c");
    let mut program = bus.record(&folder, &[]);
    program.wait_for("opened");
    let (sender, witness) = (bus.sender(), CanFdSocket::open(bus.0).unwrap());
    let data: Vec<u8> = (1..=64).collect();
    let mut wanted = Vec::new();
    for word in [0, 0x7ff, EXTENDED, EXTENDED | 0x1fff_ffff] {
        let id = match word & EXTENDED {
            0 => wheelwitness_capture::can::Id::standard(word as u16),
            _ => wheelwitness_capture::can::Id::extended(word & !EXTENDED),
        };
        let id = id.unwrap();
        for length in 0..=8 {
            sender.send(word, length, &data[..usize::from(length)]);
            wanted.push(Frame::data(id, &data[..usize::from(length)]).unwrap());
            sender.send(word | wheelwitness_capture::can::REMOTE, length, &[]);
            wanted.push(Frame::remote(id, length).unwrap());
        }
        // The lengths that FD frames have (ISO 11898-1).
        for (flags, length) in [0, 1, 8, 12, 16, 20, 24, 32, 48, 64].into_iter().enumerate() {
            let (flags, data) = (flags as u8 % 4, &data[..length]);
            sender.send_fd(word, flags | FD_FORMAT, data);
            let frame = Frame::fd(id, data).unwrap();
            let Frame::Fd { id, data, .. } = frame else { unreachable!("an FD frame") };
            let (bit_rate_switch, error_state) = (flags & 1 != 0, flags & 2 != 0);
            wanted.push(Frame::Fd { id, data, bit_rate_switch, error_state });
        }
    }
    close_with_sentinel(&sender, &folder);
    let ended = program.end_by(Signal::SIGINT);
    assert_eq!(ended.code, Some(0), "{}", ended.said);
    let mut got: Vec<_> = frames(&read(&folder).0).iter().map(|r| r.frame).collect();
    let sentinels = got.split_off(wanted.len()).len();
    assert_eq!(got, wanted);
    witness.set_nonblocking(true).unwrap();
    let seen = std::iter::from_fn(|| witness.read_raw_frame().ok()).count();
    assert_eq!(seen, wanted.len() + sentinels, "on the bus: what the sender sent, no more");
}

#[test]
fn error_frames_of_all_nine_classes_are_stored_and_told() {
    let Some(bus) = Interface::new("ww3") else { return };
    let bench = Bench::new();
    let folder = bench.path("c");
    let mut program = bus.record(&folder, &[]);
    program.wait_for("opened");
    let sender = bus.sender();
    // Bits 0 to 8 of `linux/can/error.h`. A process may send what else a driver makes.
    for class in 0..9 {
        sender.send(ERROR | 1 << class, 8, &[0; 8]);
    }
    program.wait_for("bus off");
    close_with_sentinel(&sender, &folder);
    program.end_by(Signal::SIGINT);
    let all = frames(&read(&folder).0);
    let errors = all.iter().filter_map(|r| match r.frame {
        Frame::Error { classes, details } => Some(BusError { classes, details }),
        _ => None,
    });
    let classes: Vec<_> = errors
        .map(|error| {
            assert_eq!((error.classes().count(), error.unknown_classes()), (1, 0), "{error}");
            error.classes
        })
        .collect();
    assert_eq!(classes, [1, 2, 4, 8, 0x10, 0x20, 0x40, 0x80, 0x100]);
}

/// Takes the bus away and brings it back 100 times; every return is recorded within a second, and
/// the frame sent after it is stored.
fn comes_back(name: &'static str, away: fn(&Interface), back: fn(&Interface)) {
    const TIMES: u64 = 100;
    let Some(bus) = Interface::new(name) else { return };
    let bench = Bench::new();
    let folder = bench.path("c");
    let mut program = bus.record(&folder, &["--quiet"]);
    program.wait_for("opened");
    let mut returned = Vec::new();
    for time in 0..TIMES {
        away(&bus);
        program.wait_for("lost");
        back(&bus);
        returned.push(boot_ns());
        program.wait_for("found again");
        bus.sender().number(0x123, time);
    }
    let sentinels = close_with_sentinel(&bus.sender(), &folder);
    let ended = program.end_by(Signal::SIGINT);
    assert_eq!(ended.code, Some(4), "lost in between: {}", ended.said);
    let (records, _) = read(&folder);
    let times = |kind| records.iter().filter(move |r| r.kind == kind).map(|r| r.boot_ns);
    let found: Vec<_> = times(Kind::Found).collect();
    assert_eq!((found.len(), times(Kind::Lost).count()), (100, 100));
    let late = found.iter().zip(&returned).map(|(found, back)| found - back).max().unwrap();
    println!("latest return recorded after {:.3} s", late as f64 * 1e-9);
    assert!(late <= SECOND_NS, "{late} ns");
    assert_eq!(numbers(&records, 0x123), (0..TIMES).collect::<Vec<_>>());
    assert_eq!(frames(&records).len() as u64 + lost(&records), TIMES + sentinels);
}

#[test]
fn a_link_that_goes_down_and_up_a_hundred_times_is_back_within_a_second_each_time() {
    comes_back("ww4", |bus| bus.set("down"), |bus| bus.set("up"));
}

#[test]
fn an_interface_removed_and_put_back_a_hundred_times_is_back_within_a_second_each_time() {
    comes_back("ww5", Interface::remove, Interface::add);
}

#[test]
fn an_interface_that_is_down_or_absent_at_the_start_is_recorded_once_it_comes() {
    let Some(bus) = Interface::new("ww6") else { return };
    let bench = Bench::new();
    for (at, away) in ["down", "absent"].into_iter().enumerate() {
        if away == "down" {
            bus.set("down")
        } else {
            bus.remove()
        }
        let folder = bench.path(away);
        let mut program = bus.record(&folder, &[]);
        program.wait_for(["the interface is down", "not there"][at]);
        if away == "down" {
            bus.set("up")
        } else {
            bus.add()
        }
        program.wait_for("opened");
        bus.sender().number(0x123, 7);
        close_with_sentinel(&bus.sender(), &folder);
        let ended = program.end_by(Signal::SIGINT);
        assert_eq!(ended.code, Some(0), "{}", ended.said);
        assert_eq!(numbers(&read(&folder).0, 0x123), [7]);
    }
}

#[test]
fn a_filter_keeps_the_rest_away_and_marks_the_capture() {
    let Some(bus) = Interface::new("ww7") else { return };
    let bench = Bench::new();
    let (folder, file) = (bench.path("c"), bench.path("settings.toml"));
    let source = format!("[[source]]\nname = 'bus'\nport = '{}'\nkind = 'can'\n", bus.0);
    let filters = "filters = ['123', '7FE', '00000200/1FFFFF00']\n";
    std::fs::write(&file, format!("format = 1\n{source}{filters}")).unwrap();
    let args = ["--settings", text(&file), "--into", text(&folder)];
    let mut program = Program::record(&args);
    program.wait_for("opened");
    let sender = bus.sender();
    for word in [0x123, 0x124, EXTENDED | 0x123, EXTENDED | 0x2ab, 0x2ab, EXTENDED | 0x3ab] {
        sender.number(word, 1);
    }
    close_with_sentinel(&sender, &folder);
    program.end_by(Signal::SIGINT);
    let (records, _) = read(&folder);
    let ids: Vec<_> =
        frames(&records).iter().filter_map(|r| r.frame.id()).map(|id| id.to_string()).collect();
    assert_eq!(ids[..2], ["123", "000002AB"]);
    assert!(ids[2..].iter().all(|id| id == "7FE"));
    let texts = records.iter().filter(|r| r.kind == Kind::Text).map(|r| Text::from_bytes(&r.bytes));
    let mark = texts.into_iter().find(|t| t.title == title::SOURCE_FILTERS).expect("a mark");
    assert_eq!(mark.body, "123/7FF\n7FE/7FF\n00000200/1FFFFF00");
}

#[test]
fn the_list_of_ports_shows_an_interface_and_what_it_is_in() {
    let Some(bus) = Interface::new("ww8") else { return };
    let list = || {
        let program = Command::new(env!("CARGO_BIN_EXE_wheelwitness-log")).arg("ports").output();
        String::from_utf8(program.unwrap().stdout).unwrap()
    };
    assert!(list().contains("ww8\n    state   up"), "{}", list());
    bus.set("down");
    assert!(list().contains("sudo ip link set ww8 up"), "{}", list());
}
