//! The targets: what is fed with any bytes. One row each, one short function each.
//!
//! What a target asserts beyond "no panic" is a promise of the thing itself: what it writes it
//! reads back the same, and text made fit for a terminal commands none.

use crate::sealed;
use crate::seeds::{self, Seeds};
use std::path::Path;
use std::sync::OnceLock;
use wheelwitness_analyze::judge::judge;
use wheelwitness_analyze::report::json;
use wheelwitness_archive::disk::sha256;
use wheelwitness_archive::manifest::Manifest;
use wheelwitness_archive::name::{DriveId, FileName};
use wheelwitness_archive::unpack::read_pack;
use wheelwitness_capture::can::{Frame, Received};
use wheelwitness_capture::can_csv::Columns;
use wheelwitness_capture::can_length;
use wheelwitness_capture::decode::{Decoder, Value, decode_sentence};
use wheelwitness_capture::encode;
use wheelwitness_capture::exchange::{export_can, import_can};
use wheelwitness_capture::import::import_wire;
use wheelwitness_capture::make::Extras;
use wheelwitness_capture::pcapng;
use wheelwitness_capture::read::{CaptureReader, Item, tail};
use wheelwitness_capture::record::{Kind, Losses, Record, RecordingId, Text, title};
use wheelwitness_capture::serial_can;
use wheelwitness_capture::storage::SimStorage;
use wheelwitness_driveline::tyre::Size;
use wheelwitness_driveline::vehicle::Vehicle;
use wheelwitness_logger::recovery::settle;
use wheelwitness_logger::settings::{SourceSettings, Typed};
use wheelwitness_logger::text::printable;

/// What is fed.
pub struct Target {
    /// Its name on the command line.
    pub name: &'static str,
    /// What it is, for the table.
    pub what: &'static str,
    /// Feeds it.
    pub feed: fn(&[u8]),
    /// Well-formed inputs.
    pub seeds: Seeds,
    /// Longest input, in bytes.
    pub longest: usize,
}

const fn target(
    name: &'static str,
    what: &'static str,
    feed: fn(&[u8]),
    seeds: Seeds,
    longest: usize,
) -> Target {
    Target { name, what, feed, seeds, longest }
}

/// All targets.
pub const TARGETS: [Target; 22] = [
    target("segment", "a capture's segment, as it is", segment, seeds::segments, 16_384),
    target("blocks", "its blocks, checksums made right", blocks, seeds::segments, 16_384),
    target("segments", "two segments, their order and their end", segments, seeds::pairs, 16_384),
    target("records", "contents of records of every kind", records, seeds::contents, 1024),
    target("wire", "bytes of a serial line, in pieces", wire, seeds::lines, 4096),
    target("sentences", "sentences, checksums made right", sentences, seeds::lines, 1024),
    target("sentence", "one sentence, decoded and written", sentence, seeds::lines, 256),
    target("frame", "CAN frames and error frames", frame, seeds::frames, 128),
    target("serial-can", "lines of a serial-line CAN adapter", serial, seeds::serial_lines, 2048),
    target("pcapng", "pcapng packets", packets, seeds::pcapng, 8192),
    target("can-lines", "CAN frames as plain text", can_lines, seeds::can_lines, 4096),
    target("import-can", "CAN traffic to a capture and back", exchange, seeds::traffic, 8192),
    target("import-wire", "lines of wire bytes to a capture", lines, seeds::wire_lines, 8192),
    target("vehicle", "vehicle files", vehicle, seeds::vehicles, 16_384),
    target("result", "result.json", result, seeds::results, 32_768),
    target("manifest", "manifests, names made right", manifest, seeds::manifests, 16_384),
    target("names", "names of drives and files", names, seeds::names, 256),
    target("pack", "packs of a drive", pack, seeds::packs, 32_768),
    target("marks", "what recorders leave behind", marks, seeds::marks, 4096),
    target("settings", "logger settings", settings, seeds::settings, 4096),
    target("size", "tyre size designations", size, seeds::sizes, 64),
    target("judge", "blocks made right, judged to the end", judged, seeds::drives, 32_768),
];

/// The target of a name.
pub fn find(name: &str) -> Option<&'static Target> {
    TARGETS.iter().find(|target| target.name == name)
}

fn medium(segments: &[&[u8]]) -> SimStorage {
    let medium = SimStorage::new();
    for (n, bytes) in (1..).zip(segments) {
        medium.put(&format!("segment-{n:06}.wwc"), bytes);
    }
    medium
}

/// Everything in it, record by record and reading by reading.
fn read(medium: SimStorage) {
    let end = tail(medium.clone());
    let Ok(mut reader) = CaptureReader::from_storage(medium) else { return };
    let (mut decoder, mut before) = (Decoder::new(), None);
    // A block of a newer version ends it with an error.
    let whole = loop {
        let item = match reader.next_item() {
            Ok(Some(item)) => item,
            Ok(None) => break true,
            Err(_) => break false,
        };
        if let Item::Record(record) = &item {
            assert!(before.is_none_or(|n| n < record.number), "a record twice, or out of order");
            before = Some(record.number);
        }
        decoder.push_item(&item, &mut |_| {});
    };
    decoder.finish(&mut |_| {});
    assert!(end.is_ok() || !whole, "all of it can be read, and nobody finds its end");
}

fn segment(bytes: &[u8]) {
    read(medium(&[bytes]));
}

fn blocks(bytes: &[u8]) {
    read(medium(&[&sealed::blocks(bytes)]));
}

/// The first byte says where the second segment begins, in parts of 256.
fn segments(bytes: &[u8]) {
    let Some((cut, rest)) = bytes.split_first() else { return };
    let sealed = sealed::blocks(rest);
    let (first, second) = sealed.split_at(sealed.len() * usize::from(*cut) / 256);
    read(medium(&[first, second]));
}

/// The first byte says of which kind, the second how the rest is cut into records.
fn records(bytes: &[u8]) {
    let [code, every, rest @ ..] = bytes else { return };
    let Some(kind) = Kind::from_code(*code) else { return };
    let mut decoder = Decoder::new();
    for (n, content) in (0..).zip(rest.chunks(usize::from(*every).max(1))) {
        Losses::from_bytes(content);
        Text::from_bytes(content);
        let boot_ns = n as i64 * 1_000_000;
        let record =
            Record { number: n, source: n as u16 % 3, boot_ns, kind, bytes: content.into() };
        decoder.push(&record, &mut |_| {});
    }
    decoder.finish(&mut |_| {});
}

/// A source that speaks, in pieces of a length that the first byte says.
fn speak(kind: Option<&str>, every: u8, bytes: &[u8]) {
    let mut decoder = Decoder::new();
    let mut number = 0;
    let mut push = |kind, content: Vec<u8>| {
        let record = Record { number, source: 0, boot_ns: number as i64, kind, bytes: content };
        number += 1;
        decoder.push(&record, &mut |_| {});
    };
    if let Some(kind) = kind {
        push(Kind::Text, Text::new(title::SOURCE_KIND, kind).to_bytes());
    }
    bytes.chunks(usize::from(every).max(1)).for_each(|piece| push(Kind::Bytes, piece.into()));
    decoder.finish(&mut |_| {});
}

fn wire(bytes: &[u8]) {
    let Some((every, rest)) = bytes.split_first() else { return };
    speak(None, *every, rest);
}

fn sentences(bytes: &[u8]) {
    speak(None, u8::MAX, &sealed::sentences(bytes));
}

/// What is read without a fault is written and read the same.
fn sentence(bytes: &[u8]) {
    let sealed = sealed::sentences(bytes);
    let line = sealed.split(|byte| *byte == b'\r').next().unwrap_or_default();
    let (value, faults) = decode_sentence(line);
    if let (Value::Board(sentence), true) = (&value, faults.is_empty()) {
        let again = encode::board(sentence);
        let (same, faults) = decode_sentence(again.strip_suffix(b"\r\n").unwrap_or(&again));
        assert!(same == value && faults.is_empty(), "{value:?} became {same:?}");
    }
}

fn frame(bytes: &[u8]) {
    let _ = Received::from_bytes(bytes);
    let Ok(frame) = Frame::from_linktype_bytes(bytes) else { return };
    assert_eq!(Frame::from_linktype_bytes(&frame.to_linktype_bytes()).ok(), Some(frame));
    can_length::bits(&frame);
    can_length::crc(&frame);
    if let Some(line) = serial_can::encode(&frame, None) {
        speak(Some("serial-can"), u8::MAX, &line);
    }
    let record =
        Record { number: 0, source: 0, boot_ns: 0, kind: Kind::CanFrame, bytes: bytes.into() };
    Decoder::new().push(&record, &mut |_| {});
}

fn serial(bytes: &[u8]) {
    let Some((every, rest)) = bytes.split_first() else { return };
    speak(Some("serial-can"), *every, rest);
    for line in rest.split(|byte| *byte == b'\r') {
        let _ = serial_can::decode(line);
    }
}

fn packets(bytes: &[u8]) {
    let mut reader = pcapng::Reader::new(bytes);
    while let Ok(Some(_)) = reader.next_packet() {}
    reader.place();
}

fn can_lines(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let mut lines = text.lines();
    if let Ok(columns) = Columns::of(lines.next().unwrap_or_default()) {
        lines.for_each(|line| drop(columns.read(line)));
    }
}

/// What was imported is exported, and what was exported imported: no frame is lost on the way.
fn exchange(bytes: &[u8]) {
    let (medium, id) = (SimStorage::new(), RecordingId([1; 16]));
    if import_can(bytes, medium.clone(), id, &Extras::default()).is_err() {
        return;
    }
    let Ok(mut reader) = CaptureReader::from_storage(medium) else { return };
    if let Ok((done, file)) = export_can(&mut reader, Vec::new()) {
        let again = import_can(file.as_slice(), SimStorage::new(), id, &Extras::default());
        assert!(again.is_ok_and(|again| again.frames == done.frames), "frames are lost");
    }
}

fn lines(bytes: &[u8]) {
    let medium = SimStorage::new();
    let id = RecordingId([1; 16]);
    if import_wire(bytes, medium.clone(), id, &Extras::default()).is_ok() {
        read(medium);
    }
}

fn vehicle(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    if let Err(mistakes) = Vehicle::parse(&text, "vehicle.toml") {
        assert!(!mistakes.to_string().is_empty());
    }
}

fn result(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    if let Ok(result) = json::read(&text) {
        let written = json::write(&result);
        assert_eq!(json::read(&written).map(|again| json::write(&again)).ok(), Some(written));
    }
}

fn manifest(bytes: &[u8]) {
    let name = FileName::manifest(1, &sha256(bytes));
    if let Ok(manifest) = Manifest::read(&name, bytes) {
        assert_eq!(manifest.text().as_bytes(), bytes);
    }
}

/// No name that exists leads out of its folder.
fn names(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let folder = Path::new("/archive");
    if let Some(name) = FileName::parse(&text) {
        let path = name.below(folder);
        assert!(path.starts_with(folder) && !path.to_string_lossy().contains(".."), "{path:?}");
    }
    if let Some(drive) = DriveId::parse(&text) {
        assert!(!drive.as_str().contains(['/', '\\', '.']), "{drive:?}");
    }
    let shown = printable(&text);
    assert!(!shown.chars().any(|c| c.is_control()), "{shown:?}");
}

/// A place in memory for what must be a file.
fn scratch() -> &'static Path {
    static PLACE: OnceLock<std::path::PathBuf> = OnceLock::new();
    PLACE.get_or_init(|| {
        let shm = Path::new("/dev/shm");
        let parent = if shm.is_dir() { shm.to_owned() } else { std::env::temp_dir() };
        let place = parent.join(format!("wheelwitness-fuzz-{}", std::process::id()));
        std::fs::create_dir_all(&place).expect("a place for files");
        place
    })
}

/// Every entry of a pack is headed by a checksum of its own, which is made right.
fn pack(bytes: &[u8]) {
    let mut tar = bytes.to_vec();
    let entries = tar.len() / 512;
    for head in tar.chunks_exact_mut(512).take(entries) {
        if head[257..262] == *b"ustar" {
            head[148..156].fill(b' ');
            let sum: u32 = head.iter().map(|byte| u32::from(*byte)).sum();
            head[148..156].copy_from_slice(format!("{sum:06o}\0 ").as_bytes());
        }
    }
    let file = scratch().join("pack");
    std::fs::write(&file, &tar).expect("room for a pack");
    let _ = read_pack(&file, 1 << 20, None);
}

/// The first byte says what of it is the mark; the rest is a segment.
fn marks(bytes: &[u8]) {
    let Some((cut, rest)) = bytes.split_first() else { return };
    let (mark, segment) = rest.split_at(rest.len() * usize::from(*cut) / 256);
    let folder = scratch().join("drive");
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("room for a folder");
    std::fs::write(folder.join("recorder.lock"), mark).expect("room for a mark");
    std::fs::write(folder.join("segment-000001.wwc"), sealed::blocks(segment)).expect("room");
    if let Ok(Some(found)) = settle(&folder) {
        assert!(!found.message().is_empty());
        assert!(folder.join("recovered.txt").exists() && !folder.join("recorder.lock").exists());
    }
}

fn settings(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let _ = text.parse::<SourceSettings>();
    if let Ok(settings) = Typed::from_file(&text, Path::new("/")).and_then(Typed::meant) {
        settings.to_toml();
    }
}

fn size(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    if let Ok(size) = text.parse::<Size>() {
        let all = [size.rolling_circumference_mm(), size.turns_per_km(), size.section_height_mm()];
        assert!(all.iter().all(|v| v.is_finite() && *v > 0.0), "{text}: {all:?}");
    }
}

fn judged(bytes: &[u8]) {
    let medium = medium(&[&sealed::blocks(bytes)]);
    let Ok(mut reader) = CaptureReader::from_storage(medium) else { return };
    if let Ok((result, _)) = judge(&mut reader, Some((seeds::VEHICLES[0], "vehicle.toml"))) {
        let written = json::write(&result);
        assert!(!written.contains("NaN"));
        assert!(json::read(&written).is_ok(), "a result that cannot be read back");
    }
}
