//! A real folder keeps the same promises as the simulated medium.

use crate::sample::{ID, record};
use std::fs;
use std::io::ErrorKind;
use std::path::PathBuf;
use wheelwitness_capture::clock::SimClock;
use wheelwitness_capture::read::{CaptureReader, Item, ReadError};
use wheelwitness_capture::record::Record;
use wheelwitness_capture::storage::{DirStorage, SimStorage, Storage};
use wheelwitness_capture::write::{Limits, Writer};

/// A folder of our own, removed at the end.
struct Scratch(PathBuf);

impl Scratch {
    fn new(name: &str) -> Self {
        let folder =
            std::env::temp_dir().join(format!("wheelwitness-{}-{name}", std::process::id()));
        fs::create_dir(&folder).unwrap();
        Scratch(folder)
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        fs::remove_dir_all(&self.0).unwrap();
    }
}

fn fill<S: Storage>(storage: S) {
    let clock = SimClock::default();
    let limits = Limits { segment_bytes: 5000, ..Limits::default() };
    let mut writer = Writer::create(storage, clock.clone(), ID, limits).unwrap();
    for number in 0..500 {
        let Record { source, kind, boot_ns, bytes, .. } = record(number);
        writer.append(source, kind, boot_ns, &bytes).unwrap();
        clock.advance_ns(100_000_000);
        assert!(writer.pump().trouble.is_none());
    }
    writer.close();
}

#[test]
fn a_folder_holds_the_same_bytes_as_the_simulated_medium() {
    let scratch = Scratch::new("same");
    let folder = scratch.0.join("drives").join("first");
    let simulated = SimStorage::new();
    fill(DirStorage::create(&folder).unwrap());
    fill(simulated.clone());
    let reader = CaptureReader::open(&folder).unwrap();
    assert!(reader.segments().len() > 3);
    for segment in reader.segments() {
        let bytes = fs::read(folder.join(&segment.name)).unwrap();
        assert!(Some(bytes) == simulated.get(&segment.name), "{}", segment.name);
    }
    let records = reader.filter(|item| matches!(item, Ok(Item::Record(_)))).count();
    assert_eq!(records, 501);
}

#[test]
fn a_folder_that_exists_is_never_taken_for_a_new_capture() {
    let scratch = Scratch::new("taken");
    let error = DirStorage::create(&scratch.0).unwrap_err();
    assert_eq!(error.kind(), ErrorKind::AlreadyExists);
    let mut storage = DirStorage::open(&scratch.0).unwrap();
    storage.create_new("segment-000001.wwc").unwrap();
    let again = storage.create_new("segment-000001.wwc").unwrap_err();
    assert_eq!(again.kind(), ErrorKind::AlreadyExists);
}

#[test]
fn a_path_that_holds_no_capture_is_named() {
    let scratch = Scratch::new("none");
    let missing = scratch.0.join("nowhere");
    for (path, expected) in [(&missing, "cannot read"), (&scratch.0, "holds no capture")] {
        let error = CaptureReader::open(path).unwrap_err().to_string();
        assert!(error.contains(expected) && error.contains(&path.display().to_string()), "{error}");
    }
    let file = scratch.0.join("file");
    fs::write(&file, "text").unwrap();
    let error = CaptureReader::open(&file).unwrap_err();
    assert!(
        matches!(&error, ReadError::Medium { .. }) && error.to_string().contains("not a folder")
    );
}

#[test]
fn a_capture_that_is_still_written_is_read_up_to_where_it_was() {
    let scratch = Scratch::new("growing");
    let folder = scratch.0.join("drive");
    let clock = SimClock::default();
    let storage = DirStorage::create(&folder).unwrap();
    let mut writer = Writer::create(storage, clock.clone(), ID, Limits::default()).unwrap();
    let mut append = |numbers: std::ops::Range<u64>| {
        for number in numbers {
            let Record { source, kind, boot_ns, bytes, .. } = record(number);
            writer.append(source, kind, boot_ns, &bytes).unwrap();
        }
        writer.flush();
    };
    append(0..50);
    let mut reader = CaptureReader::open(&folder).unwrap();
    append(50..90);
    for _ in 0..2 {
        assert_eq!(reader.by_ref().map(Result::unwrap).count(), 50);
        assert!(!reader.is_closed());
        reader.rewind();
    }
}
