//! What a writer called durable survives power cuts and failing media; what it held comes later.
//!
//! The story: a vehicle's ignition takes the logger's power; a worn card fails one sync and calls
//! the next one good; a stick is full, read-only, or pulled.

use crate::sample::{ID, read, record};
use std::io::ErrorKind;
use wheelwitness_capture::clock::SimClock;
use wheelwitness_capture::read::CaptureReader;
use wheelwitness_capture::record::Record;
use wheelwitness_capture::storage::SimStorage;
use wheelwitness_capture::write::{Limits, Refused, Writer};

const RECORDS: u64 = 400;

fn limits() -> Limits {
    Limits { segment_bytes: 4000, ..Limits::default() }
}

struct Run {
    writer: Writer<SimStorage>,
    clock: SimClock,
    troubles: Vec<String>,
}

impl Run {
    fn on(storage: &SimStorage, limits: Limits) -> Run {
        let clock = SimClock::default();
        let writer = Writer::create(storage.clone(), clock.clone(), ID, limits).unwrap();
        Run { writer, clock, troubles: Vec::new() }
    }

    /// Appends records up to `end`, 50 ms apart.
    fn record_until(&mut self, end: u64, mut after_pump: impl FnMut(u64)) {
        for number in self.writer.next_record()..end {
            let Record { source, kind, boot_ns, bytes, .. } = record(number);
            self.writer.append(source, kind, boot_ns, &bytes).unwrap();
            self.clock.advance_ns(50_000_000);
            after_pump(self.pump());
        }
    }

    fn pump(&mut self) -> u64 {
        let progress = self.writer.pump();
        self.troubles.extend(progress.trouble.map(|trouble| trouble.to_string()));
        progress.durable_records
    }

    fn flush(&mut self) {
        let progress = self.writer.flush();
        self.troubles.extend(progress.trouble.map(|trouble| trouble.to_string()));
    }
}

/// The image must hold at least `durable` records, and no more than a beginning of what was said.
fn check_image(image: &SimStorage, durable: u64) {
    if CaptureReader::from_storage(image.clone()).is_err() {
        return assert_eq!(durable, 0, "no segment is left");
    }
    let (numbers, holes) = read(image);
    assert!(numbers.len() as u64 >= durable, "{} of {durable} are left", numbers.len());
    assert!(numbers.iter().copied().eq(0..numbers.len() as u64), "a record in between is gone");
    assert!(holes.iter().all(|hole| hole.records_missing.is_none_or(|n| n == 0)));
}

#[test]
fn records_wait_at_most_250_ms_or_256_kib_for_a_sync() {
    let storage = SimStorage::new();
    let mut run = Run::on(&storage, Limits::default());
    run.record_until(4, |durable| assert_eq!(durable, 0));
    run.record_until(5, |durable| assert_eq!(durable, 5));
    let block = vec![0; 65_536];
    for _ in 0..4 {
        assert_eq!(run.pump(), 5);
        run.writer.append(0, wheelwitness_capture::record::Kind::Bytes, 0, &block).unwrap();
    }
    assert_eq!(run.pump(), 9);
}

#[test]
fn segments_end_at_their_length_and_at_their_age() {
    let storage = SimStorage::new();
    let mut run = Run::on(&storage, Limits { segment_ns: 2_000_000_000, ..limits() });
    run.record_until(100, |_| ());
    run.flush();
    let segments = CaptureReader::from_storage(storage.clone()).unwrap().segments().to_vec();
    assert!(segments.iter().all(|segment| segment.bytes <= 4000));
    assert_eq!(segments.len(), 3, "5 s at 2 s each");
    assert_eq!(read(&storage).0.len(), 100);
}

/// However quickly records come and however long a segment may last.
#[test]
fn a_segment_ends_before_it_is_longer_than_allowed_and_the_next_goes_on() {
    let storage = SimStorage::new();
    let mut run = Run::on(&storage, Limits { segment_ns: i64::MAX, ..limits() });
    run.record_until(RECORDS, |_| ());
    run.flush();
    let segments = CaptureReader::from_storage(storage.clone()).unwrap().segments().to_vec();
    assert!(segments.len() > 3, "{} segments of at most 4000 bytes", segments.len());
    assert!(segments.iter().all(|segment| segment.bytes <= 4000), "{segments:?}");
    assert!(read(&storage).0.into_iter().eq(0..RECORDS));
}

#[test]
fn a_power_cut_after_any_pump_leaves_everything_acknowledged() {
    let storage = SimStorage::new();
    let mut run = Run::on(&storage, limits());
    let watched = storage.clone();
    run.record_until(RECORDS, |durable| {
        check_image(&watched.crash_image(), durable);
        for kept in [1, 50, 100, 500] {
            check_image(&watched.crash_image_keeping(|_, unsynced| unsynced.min(kept)), durable);
        }
    });
}

/// From operation `n` on nothing works any more, and a write was torn: power went.
#[test]
fn a_power_cut_within_any_operation_leaves_everything_acknowledged() {
    let clean = SimStorage::new();
    Run::on(&clean, limits()).record_until(RECORDS, |_| ());
    for n in 1..=clean.operations() {
        for written in [0, 1, 60, 200, 100_000] {
            let storage = SimStorage::new();
            storage.fail_operations(n, u64::MAX, ErrorKind::Other, written);
            let (mut run, mut durable) = (Run::on(&storage, limits()), 0);
            run.record_until(RECORDS, |now| durable = now);
            check_image(&storage.crash_image(), durable);
            check_image(&storage.crash_image_keeping(|_, unsynced| unsynced), durable);
        }
    }
}

/// Every operation of a recording fails once, in every way: the user is told, the segment is
/// ended, and nothing is missing in the end, nor at any power cut on the way.
#[test]
fn any_single_failure_is_told_and_costs_nothing() {
    use ErrorKind::{FileTooLarge, Interrupted, Other, ReadOnlyFilesystem, StorageFull};
    let clean = SimStorage::new();
    Run::on(&clean, limits()).record_until(RECORDS, |_| ());
    for n in 1..=clean.operations() {
        for (kind, written) in [
            (Other, 0),
            (Other, 1 << 20),
            (StorageFull, 100),
            (ReadOnlyFilesystem, 0),
            (Interrupted, 10),
            (FileTooLarge, 85),
        ] {
            let storage = SimStorage::new();
            storage.fail_operations(n, n, kind, written);
            let mut run = Run::on(&storage, limits());
            let watched = storage.clone();
            run.record_until(RECORDS, |durable| {
                if durable % 16 == 0 {
                    check_image(&watched.crash_image(), durable);
                }
            });
            run.flush();
            assert_eq!(run.troubles.len(), 1, "operation {n}: {:?}", run.troubles);
            assert_eq!(run.writer.durable_records(), RECORDS);
            for image in [&storage, &storage.crash_image()] {
                let (numbers, holes) = read(image);
                assert!(numbers.into_iter().eq(0..RECORDS), "operation {n} {kind} {written}");
                assert!(holes.iter().all(|hole| hole.records_missing == Some(0)));
            }
        }
    }
}

#[test]
fn the_trouble_names_the_segment_what_failed_and_what_is_held() {
    let storage = SimStorage::new();
    storage.fail_operation(3, ErrorKind::StorageFull);
    let mut run = Run::on(&storage, limits());
    run.record_until(5, |_| ());
    let [trouble] = &run.troubles[..] else { panic!("{:?}", run.troubles) };
    assert!(trouble.starts_with("syncing segment-000001.wwc failed: operation 3 failed;"));
    assert!(trouble.contains("bytes wait in memory"), "{trouble}");
}

#[test]
fn while_a_medium_fails_records_are_held_and_attempts_become_rare() {
    let storage = SimStorage::new();
    storage.fail_operations(5, 400, ErrorKind::StorageFull, 0);
    let mut run = Run::on(&storage, Limits { held_bytes: 20_000, ..limits() });
    run.record_until(300, |_| ());
    assert!(storage.operations() < 40, "{} attempts in 15 s", storage.operations());
    assert!(run.writer.durable_records() < 20 && run.writer.held_bytes() > 8000);
    let big = vec![0; 15_000];
    let refused = run.writer.append(0, wheelwitness_capture::record::Kind::Bytes, 0, &big);
    assert!(matches!(refused, Err(Refused::HeldFull { .. })), "{refused:?}");
    assert_eq!(run.writer.next_record(), 300, "a refused record has no number");
    while run.writer.durable_records() < 300 {
        run.clock.advance_ns(10_000_000_000);
        run.pump();
    }
    assert!(read(&storage).0.into_iter().eq(0..300));
}

#[test]
fn a_recording_goes_on_in_a_second_storage_and_both_together_are_whole() {
    let (first, second) = (SimStorage::new(), SimStorage::new());
    let mut run = Run::on(&first, limits());
    run.record_until(101, |_| ());
    first.fail_operations(1, u64::MAX, ErrorKind::ReadOnlyFilesystem, 0);
    run.record_until(150, |_| ());
    run.writer.change_storage(second.clone());
    run.record_until(RECORDS, |_| ());
    run.flush();
    let (numbers, holes) = read(&second);
    assert_eq!(
        (numbers.last(), holes[0].records_missing),
        (Some(&(RECORDS - 1)), numbers.first().copied())
    );
    let both = first.crash_image();
    for segment in CaptureReader::from_storage(second.clone()).unwrap().segments() {
        assert!(both.get(&segment.name).is_none(), "{} in both", segment.name);
        both.put(&segment.name, &second.get(&segment.name).unwrap());
    }
    let (numbers, holes) = read(&both);
    assert!(numbers.into_iter().eq(0..RECORDS));
    assert!(holes.iter().all(|hole| hole.records_missing == Some(0)), "{holes:?}");
}

#[test]
fn a_capture_is_never_written_over_another() {
    let storage = SimStorage::new();
    Run::on(&storage, limits()).record_until(30, |_| ());
    let again = Writer::create(storage, SimClock::default(), ID, limits()).err().unwrap();
    assert_eq!(again.kind(), ErrorKind::AlreadyExists);
    assert!(again.to_string().contains("choose a new folder"), "{again}");
}
