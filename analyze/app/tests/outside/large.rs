//! A capture larger than the memory that the program may have. `just large 20` makes it 20 GiB.

use crate::bench::{Folder, limited, said};
use std::path::Path;
use wheelwitness_capture::board::{Channel, Counts, Identity, Says, Sentence, Tally};
use wheelwitness_capture::can::{Frame, Id, Received};
use wheelwitness_capture::clock::{SimClock, Stamp};
use wheelwitness_capture::encode;
use wheelwitness_capture::gnss::{Rmc, TimeOfDay};
use wheelwitness_capture::record::{Kind, RecordingId, title};
use wheelwitness_capture::storage::DirStorage;
use wheelwitness_capture::write::{Limits, Writer};

/// Frames on the bus in a hundredth of a second: most of what fits at 500 kbit/s.
const FRAMES: u64 = 40;
/// Edges a second of both shafts, which turn alike: a straight road, nothing slips.
const EDGES_HZ: f64 = 40.0;

/// Writes a drive straight ahead with a board at 100 rounds a second, a receiver and a full bus,
/// until the capture has so many bytes.
fn drive_of(folder: &Path, bytes: u64) {
    let clock = SimClock::default();
    let storage = DirStorage::create(folder).unwrap();
    let limits = Limits { sync_bytes: 8 * 1024 * 1024, ..Limits::default() };
    let mut writer = Writer::create(storage, clock.clone(), RecordingId([9; 16]), limits).unwrap();
    let vehicle = include_str!("../../../../fixtures/vehicles/shafts-only.toml");
    writer.append_text(0, title::VEHICLE_FILE, vehicle).unwrap();
    let mut board = Board::default();
    let mut written = 0;
    for round in 0u64.. {
        if written >= bytes {
            break;
        }
        let boot_ns = 1_000_000_000 + round as i64 * 10_000_000;
        clock.set(Stamp { boot_ns, mono_ns: boot_ns, wall_ns: boot_ns });
        let mut put = |source: u16, kind, bytes: &[u8]| {
            writer.append(source, kind, boot_ns, bytes).unwrap();
            written += bytes.len() as u64 + 8;
        };
        put(0, Kind::Bytes, &board.round(round));
        if round.is_multiple_of(20) {
            put(1, Kind::Bytes, &fix(round));
        }
        for k in 0..FRAMES {
            put(2, Kind::CanFrame, &frame(round * FRAMES + k, boot_ns));
        }
        writer.pump();
    }
    let closing =
        board.say(0, Says::Tally(Tally { boot_number: 1, sent: board.sent + 1, closing: true }));
    writer.append(0, Kind::Bytes, clock_end(&clock), &closing).unwrap();
    writer.close();
}

fn clock_end(clock: &SimClock) -> i64 {
    use wheelwitness_capture::clock::Clock;
    clock.now().boot_ns
}

#[derive(Default)]
struct Board {
    sent: u32,
}

impl Board {
    fn say(&mut self, tick: u32, says: Says) -> Vec<u8> {
        let sequence = self.sent as u8;
        self.sent += 1;
        encode::board(&Sentence { sequence, tick, says })
    }

    /// What the board sends in a hundredth of a second.
    fn round(&mut self, round: u64) -> Vec<u8> {
        let tick = (round * 10_000) as u32;
        let phase = round as f64 * 0.01 * EDGES_HZ;
        let age_us = (phase.fract() / EDGES_HZ * 1e6) as u16;
        let channel = Channel { count: phase as u64 as u16, age_us: Some(age_us) };
        let idle = Channel { count: 0, age_us: None };
        let mut bytes = Vec::new();
        if round.is_multiple_of(100) {
            let rounds_per_s = 100;
            let is = Identity {
                wire_version: 1,
                boot_number: 1,
                serial: 7,
                rounds_per_s,
                capabilities: 0,
            };
            bytes.extend(self.say(tick, Says::Identity(is)));
        }
        if round.is_multiple_of(25) {
            bytes.extend(self.say(tick, Says::Levels(0b11)));
        }
        let a = Counts { first_channel: 1, channels: [channel, channel, idle, idle] };
        bytes.extend(self.say(tick, Says::Counts(a)));
        let b = Counts { first_channel: 5, channels: [idle; 4] };
        bytes.extend(self.say(tick, Says::Counts(b)));
        bytes
    }
}

fn fix(round: u64) -> Vec<u8> {
    let s = round / 100;
    let time = TimeOfDay {
        hour: (s / 3600 % 24) as u8,
        minute: (s / 60 % 60) as u8,
        second: (s % 60) as u8,
        nanosecond: (round % 100) as u32 * 10_000_000,
    };
    encode::rmc(&Rmc {
        talker: *b"GN",
        time: Some(time),
        status: Some(true),
        position: None,
        speed_kn: Some(12.0),
        course_deg: Some(90.0),
        date: None,
        mode: Some(b'A'),
    })
}

fn frame(number: u64, boot_ns: i64) -> Vec<u8> {
    let id = Id::standard(0x100 + (number % 40) as u16).unwrap();
    let frame = Frame::data(id, &number.to_le_bytes()).unwrap();
    Received { frame, stamp_ns: Some(boot_ns), adapter_ms: None }.to_bytes()
}

#[test]
fn a_capture_larger_than_the_memory_allowed_is_judged_with_progress_shown() {
    let gib: Option<f64> = std::env::var("WHEELWITNESS_LARGE_GIB").ok().map(|t| t.parse().unwrap());
    let (mebibytes, bytes) = match gib {
        Some(gib) => (256, (gib * (1u64 << 30) as f64) as u64),
        None => (96, 128 << 20),
    };
    assert!(bytes > mebibytes << 20, "larger than memory");
    let folder = Folder::new();
    drive_of(&folder.path("capture"), bytes);
    let begun = std::time::Instant::now();
    let judged = limited(&folder.0, mebibytes, &["judge", "capture", "--progress"]);
    let text = said(&judged);
    if gib.is_some() {
        println!(
            "{bytes} bytes under {mebibytes} MiB in {:.0} s\n{text}",
            begun.elapsed().as_secs_f64()
        );
    }
    assert_eq!(judged.status.code(), Some(0), "{text}");
    for tenth in 1..=10 {
        assert!(text.contains(&format!("judging: {} %\n", tenth * 10)), "{text}");
    }
    assert!(text.contains("0 disproven"), "{text}");
    assert!(folder.path("capture/report/result.json").is_file());
}
