//! Well-formed inputs, written by our own encoders or by hand in this file: where fuzzing begins.

use std::path::PathBuf;
use wheelwitness_analyze::assemble::Beside;
use wheelwitness_archive::archive::Archive;
use wheelwitness_archive::judgement::{Bench, Texts};
use wheelwitness_capture::board::{
    Channel, Counts, Errors, Identity, Says, Sentence, Switch, Tally,
};
use wheelwitness_capture::can::{Frame, Id, record_bytes};
use wheelwitness_capture::clock::{SimClock, Stamp};
use wheelwitness_capture::encode;
use wheelwitness_capture::pcapng::Writer as PacketWriter;
use wheelwitness_capture::record::{Kind, Losses, RecordingId, Text, title};
use wheelwitness_capture::serial_can;
use wheelwitness_capture::storage::{DirStorage, SimStorage, Storage};
use wheelwitness_capture::write::{Limits, Writer};

/// Gives the seeds of a target.
pub type Seeds = fn() -> Vec<Vec<u8>>;

/// Vehicle files of invented vehicles.
pub const VEHICLES: [&str; 4] = [
    include_str!("../../../fixtures/vehicles/trail-wagon.toml"),
    include_str!("../../../fixtures/vehicles/bus-only.toml"),
    include_str!("../../../fixtures/vehicles/shafts-only.toml"),
    include_str!("../../../fixtures/vehicles/wheels-only.toml"),
];
const RESULT: &str = include_str!("../../../analyze/tests/report/result-1.json");

/// Texts as bytes.
fn texts(all: &[&str]) -> Vec<Vec<u8>> {
    all.iter().map(|text| text.as_bytes().to_vec()).collect()
}

/// With a first byte that a target reads as its choice.
fn chosen(choice: u8, all: Vec<Vec<u8>>) -> Vec<Vec<u8>> {
    all.into_iter().map(|bytes| [vec![choice], bytes].concat()).collect()
}

/// Some seconds of an invented board, its receiver and a bus into any storage.
fn record(storage: impl Storage, seconds: i64) {
    const MS: i64 = 1_000_000;
    let clock = SimClock::default();
    let id = RecordingId([7; 16]);
    let limits = Limits::default();
    let Ok(mut writer) = Writer::create(storage, clock.clone(), id, limits) else { return };
    let kinds = [(0, "pulse-board"), (1, "gnss"), (2, "can")];
    for (source, kind) in kinds {
        let _ = writer.append_text(source, title::SOURCE_KIND, kind);
    }
    let gnss = gnss_lines();
    for (n, says) in (0..seconds * 5).zip(all_says().into_iter().cycle()) {
        let boot_ns = n * 200 * MS;
        clock.set(Stamp {
            boot_ns,
            mono_ns: boot_ns,
            wall_ns: 1_779_021_000_000_000_000 + boot_ns,
        });
        let tick = (n * 200_000) as u32;
        let line = encode::board(&Sentence { sequence: n as u8, tick, says });
        let _ = writer.append(0, Kind::Bytes, boot_ns, &line);
        let _ = writer.append(1, Kind::Bytes, boot_ns, &gnss[n as usize % gnss.len()]);
        let frame = record_bytes(Some(boot_ns), 0x7E8, 8, 0, &[n as u8; 8]);
        let _ = writer.append(2, Kind::CanFrame, boot_ns, &frame);
        writer.pump();
    }
    writer.close();
}

fn segment(seconds: i64) -> Vec<u8> {
    let medium = SimStorage::new();
    record(medium.clone(), seconds);
    medium.get("segment-000001.wwc").unwrap_or_default()
}

/// One of each sentence of the board.
fn all_says() -> Vec<Says> {
    let channel = |count| Channel { count, age_us: Some(count / 3) };
    let counts = |first_channel, base: u16| {
        let channels = [1, 2, 3, 4].map(|n| channel(base.wrapping_mul(n)));
        Says::Counts(Counts { first_channel, channels })
    };
    vec![
        Says::Identity(Identity {
            wire_version: 1,
            boot_number: 3,
            serial: 0x1234_5678,
            rounds_per_s: 100,
            capabilities: 7,
        }),
        counts(1, 900),
        counts(5, 60_000),
        Says::Switch(Switch { input: 4, high: true, edges: 17 }),
        Says::Levels(0x00F1),
        Says::Analog([12_600, 11_000, 5_000, 0, 1, 2]),
        Says::Errors(Errors { dropped: 2, overrun_channels: 1, switch_edges_unsent: 5 }),
        Says::Tally(Tally { boot_number: 3, sent: 77, closing: false }),
        Says::Tally(Tally { boot_number: 3, sent: 78, closing: true }),
    ]
}

/// Sentences of a receiver: the usual ones, and those without a fix.
fn gnss_lines() -> Vec<Vec<u8>> {
    let bodies = [
        "GPRMC,123519.20,A,4807.03812,N,01131.00015,E,022.412,084.41,170526,,,A",
        "GNRMC,123520.00,V,,,,,,,170526,,,N",
        "GPVTG,084.4,T,,M,022.4,N,041.5,K,A",
        "GNGGA,123519.00,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,",
    ];
    bodies.iter().map(|body| encode::frame(body)).collect()
}

/// Segments: nothing, a moment, some seconds.
pub fn segments() -> Vec<Vec<u8>> {
    vec![segment(0), segment(1), segment(6)]
}

/// The same, with a place to cut.
pub fn pairs() -> Vec<Vec<u8>> {
    chosen(128, segments())
}

/// A capture to be judged.
pub fn drives() -> Vec<Vec<u8>> {
    vec![segment(2), segment(20)]
}

/// Contents of records: code of the kind, length of a piece, content.
pub fn contents() -> Vec<Vec<u8>> {
    let of = |kind: Kind, bytes: Vec<u8>| [vec![kind as u8, 255], bytes].concat();
    let losses = Losses { records: 3, bytes: 400, reason: "storage did not keep up".into() };
    let text = |what, body| of(Kind::Text, Text::new(what, body).to_bytes());
    let mut all: Vec<Vec<u8>> = lines().into_iter().map(|line| of(Kind::Bytes, line)).collect();
    all.extend(frames().into_iter().map(|frame| of(Kind::CanFrame, frame)));
    all.push(of(Kind::Losses, losses.to_bytes()));
    all.push(text(title::SOURCE_KIND, "serial-can"));
    all.push(text(title::CLOCK_SCALE, "8"));
    all.push(of(Kind::Lost, b"gone".to_vec()));
    all
}

/// Sentences of board and receiver.
pub fn lines() -> Vec<Vec<u8>> {
    let said = all_says().into_iter().enumerate();
    let board = said.map(|(n, says)| {
        encode::board(&Sentence { sequence: n as u8, tick: 1000 * n as u32, says })
    });
    board.chain(gnss_lines()).collect()
}

fn some_frames() -> Vec<Frame> {
    let ids = [Id::Standard(0x7E8), Id::Extended(0x18FE_BF0B)];
    let data = ids.iter().filter_map(|id| Frame::data(*id, &[1, 2, 3, 4, 5, 6, 7, 8]));
    let remote = ids.iter().filter_map(|id| Frame::remote(*id, 8));
    let fd = ids.iter().filter_map(|id| Frame::fd(*id, &[9; 48]));
    data.chain(remote).chain(fd).collect()
}

/// CAN frames as records hold them, one that is an error frame too.
pub fn frames() -> Vec<Vec<u8>> {
    let error = record_bytes(None, 0x2000_0044, 8, 0, &[0, 4, 0, 0, 0, 0, 96, 0]);
    let bare = some_frames().into_iter().map(|frame| frame.to_linktype_bytes());
    bare.flat_map(|bytes| [[[0; 8].as_slice(), &bytes].concat(), bytes]).chain([error]).collect()
}

/// Lines of an adapter, with and without its clock.
pub fn serial_lines() -> Vec<Vec<u8>> {
    let frames = some_frames();
    let all = |clock| -> Vec<u8> {
        frames.iter().filter_map(|frame| serial_can::encode(frame, clock)).flatten().collect()
    };
    chosen(7, vec![all(None), all(Some(0x1234)), b"V1013\rN12\rF00\r\x07z\r".to_vec()])
}

/// A packet file of CAN frames.
pub fn pcapng() -> Vec<Vec<u8>> {
    let written = || -> std::io::Result<Vec<u8>> {
        let mut writer = PacketWriter::new(Vec::new())?;
        let interface = writer.interface(Some("can0"))?;
        for (n, frame) in (0..).zip(some_frames()) {
            writer.packet(interface, 1_000_000 * n, &frame.to_linktype_bytes())?;
        }
        Ok(writer.finish())
    };
    written().into_iter().collect()
}

/// Frames as plain text.
pub fn can_lines() -> Vec<Vec<u8>> {
    texts(&[
        "time_s,interface,id,data\n0.000000001,can0,7E8,04410C1AF8\n1.5,can1,18FEBF0B,\n",
        "time_s,interface,id,extended,kind,length,data\n0.1,can0,7E8,0,remote,8,\n\
         0.2,can0,7E9,1,data,2,0102\n",
    ])
}

/// Both kinds of CAN traffic.
pub fn traffic() -> Vec<Vec<u8>> {
    [pcapng(), can_lines()].concat()
}

/// Lines of wire bytes.
pub fn wire_lines() -> Vec<Vec<u8>> {
    let mut text = "# invented\nsource board pulse-board\n".to_owned();
    for (n, line) in lines().iter().enumerate() {
        let hex: String = line.iter().map(|byte| format!("{byte:02X}")).collect();
        text += &format!("{} board {hex}\n", n * 1_000_000);
    }
    texts(&[&text, "0 0 24\n", "5 gnss 0D0A\n"])
}

/// Vehicle files.
pub fn vehicles() -> Vec<Vec<u8>> {
    texts(&VEHICLES)
}

/// Results.
pub fn results() -> Vec<Vec<u8>> {
    texts(&[RESULT])
}

/// A drive in an archive of its own, its manifest and its pack; nothing where there is no room.
fn kept() -> Option<(Vec<u8>, Vec<u8>)> {
    let place = Place(std::env::temp_dir().join(format!("fuzz-seeds-{}", std::process::id())));
    std::fs::create_dir_all(&place.0).ok()?;
    let capture = place.0.join("capture");
    record(DirStorage::create(&capture).ok()?, 2);
    let judge = |_: &std::path::Path, _: Beside<'_>, into: &std::path::Path| {
        let result = wheelwitness_analyze::report::json::read(RESULT).map_err(|e| e.to_string())?;
        let text = wheelwitness_analyze::report::json::write(&result);
        std::fs::create_dir_all(into).map_err(|e| e.to_string())?;
        std::fs::write(into.join("result.json"), text).map_err(|e| e.to_string())?;
        Ok(result)
    };
    let archive = Archive::open_or_make(&place.0.join("archive")).ok()?;
    let bench = Bench { judge: &judge, program: "0.0.1", now_ns: 1_779_021_100_000_000_000 };
    let drive = archive.keep(&capture, Texts::default(), None, &bench).ok()?;
    let pack = place.0.join("pack");
    archive.pack(&drive, &pack).ok()?;
    Some((drive.manifest.text().into_bytes(), std::fs::read(pack).ok()?))
}

struct Place(PathBuf);

impl Drop for Place {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// A manifest.
pub fn manifests() -> Vec<Vec<u8>> {
    kept().into_iter().map(|(manifest, _)| manifest).collect()
}

/// A pack.
pub fn packs() -> Vec<Vec<u8>> {
    kept().into_iter().map(|(_, pack)| pack).collect()
}

/// Names of files and drives.
pub fn names() -> Vec<Vec<u8>> {
    texts(&[
        "2026-05-17-0b1c2d3e4f50",
        "manifest-000002-9f86d081884c7d65.json",
        "capture/segment-000001.wwc",
        "vehicle-000001.toml",
        "report-000001/result.json",
    ])
}

/// What a recorder leaves behind.
pub fn marks() -> Vec<Vec<u8>> {
    chosen(1, vec![[b"1234\n".to_vec(), segment(2)].concat(), b"1\n".to_vec()])
}

/// Logger settings.
pub fn settings() -> Vec<Vec<u8>> {
    texts(&[
        "board=/dev/ttyUSB0,pulse-board,115200",
        "into = \"drive\"\nreserve-mib = 64\n[[source]]\nname = \"board\"\n\
         port = \"/dev/ttyACM0\"\nkind = \"pulse-board\"\nbaud = 115200\n",
    ])
}

/// Tyre sizes of trade and standards.
pub fn sizes() -> Vec<Vec<u8>> {
    texts(&["265/70R17", "LT285/75R16", "31x10.50R15LT", "7.50-16", "P235/75R15", "195R14C"])
}
