//! A wall clock that is set while a drive is recorded bends nothing of it, and is told.

use wheelwitness_analyze::judge::judge;
use wheelwitness_analyze::result::DriveResult;
use wheelwitness_capture::clock::{SimClock, Stamp};
use wheelwitness_capture::read::CaptureReader;
use wheelwitness_capture::record::{Kind, RecordingId, title};
use wheelwitness_capture::storage::SimStorage;
use wheelwitness_capture::write::{Limits, Writer};
use wheelwitness_rig::{Plan, Run, Script, scenario};

const S: i64 = 1_000_000_000;
/// 2026-11-18 19:06:40 UTC.
const NOW_S: i64 = 1_795_028_800;

fn drive() -> Run {
    let script = Script::parse("short", "wait 2\nspeed 5\nstraight 100 at 5\nstop").unwrap();
    Plan::new(scenario::trail_wagon(), script, 3, vec![]).run()
}

/// The result of a drive during which the wall clock of the recorder is so far ahead of boot-time
/// at so many seconds of it.
fn judged(run: &Run, ahead_s: impl Fn(i64) -> i64) -> DriveResult {
    let (storage, clock) = (SimStorage::new(), SimClock::default());
    let start_ns = run.wire[0].boot_ns;
    let set = |boot_ns: i64| {
        let wall_ns = boot_ns - start_ns + ahead_s((boot_ns - start_ns) / S) * S;
        clock.set(Stamp { boot_ns, mono_ns: boot_ns, wall_ns });
    };
    set(start_ns);
    let id = RecordingId([3; 16]);
    let mut writer = Writer::create(storage.clone(), clock.clone(), id, Limits::default()).unwrap();
    writer.append_text(0, title::SOURCE_KIND, "pulse-board").unwrap();
    writer.append_text(1, title::SOURCE_KIND, "gnss").unwrap();
    for chunk in &run.wire {
        set(chunk.boot_ns);
        writer.append(chunk.source as u16, Kind::Bytes, chunk.boot_ns, &chunk.bytes).unwrap();
        writer.pump();
    }
    writer.close();
    let mut reader = CaptureReader::from_storage(storage).unwrap();
    judge(&mut reader, Some((scenario::TRAIL_WAGON, "vehicle.toml"))).unwrap().0
}

/// The settings told of the first source, and the words about them.
fn told(result: &DriveResult) -> (Vec<(f64, f64, f64)>, &str) {
    let claim = result.claims.iter().find(|claim| claim.id == "capture-complete").unwrap();
    let of_clock = claim.periods.iter().filter(|p| p.reason.contains("clock"));
    let set = of_clock.map(|p| (p.start_s, p.end_s, p.estimates[0].value.unwrap()));
    (set.collect(), &claim.reason)
}

#[test]
fn a_clock_that_was_set_while_recording_is_told_and_changes_nothing_else_of_a_drive() {
    let run = drive();
    let plain = judged(&run, |_| NOW_S);
    assert_eq!(told(&plain).0, []);
    assert!(!told(&plain).1.contains("clock"), "{}", told(&plain).1);
    // From 1970 to the present, then an hour too far and back again.
    let by_s = [NOW_S - 60, 3_600, -3_600];
    let ahead_s = |s: i64| {
        60 + by_s.iter().zip([5, 11, 17]).filter(|(_, at)| s >= *at).map(|(by, _)| by).sum::<i64>()
    };
    let mut set = judged(&run, ahead_s);
    let (found, reason) = told(&set);
    assert_eq!(found.len(), 3, "{found:?}");
    for ((start_s, end_s, by), (expected, at)) in
        found.iter().zip(by_s.iter().zip([5.0, 11.0, 17.0]))
    {
        assert!((by - *expected as f64).abs() < 1e-6, "{by} for {expected}");
        assert!((at - 0.5..=at).contains(start_s) && (at..at + 0.5).contains(end_s), "{found:?}");
    }
    assert!(reason.contains("set 3 times"), "{reason}");
    assert!(reason.contains("began at 2026-11-18 19:06:40 UTC"), "{reason}");
    // Everything else is the same to the last digit.
    set.capture.sha256.clone_from(&plain.capture.sha256);
    set.capture.started_wall_ns = plain.capture.started_wall_ns;
    for (claim, as_plain) in set.claims.iter_mut().zip(&plain.claims) {
        if claim.id == "capture-complete" {
            assert_eq!(claim.verdict, as_plain.verdict);
            claim.reason.clone_from(&as_plain.reason);
            claim.periods.truncate(as_plain.periods.len());
        }
    }
    assert_eq!(set, plain);
}
