//! What the shell is told, and `import-wire` on the rig's own lines.

use crate::bench::{Folder, capture_in, driven, judged, run, verdicts};
use std::path::Path;
use wheelwitness::exit;
use wheelwitness_analyze::report::json;
use wheelwitness_rig::scenario::{TRAIL_WAGON, demo_faults};
use wheelwitness_rig::{Plan, Run, Script, scenario};

/// A short straight drive: most claims stay undecided, none is disproven.
fn short() -> Run {
    let script = Script::parse("short", "wait 2\nspeed 3\nstraight 20 at 3\nstop").unwrap();
    Plan::new(scenario::trail_wagon(), script, 3, vec![]).run()
}

fn judge(capture: &Path) -> i32 {
    run(&["judge", "--no-report"], &[capture])
}

fn require(capture: &Path) -> i32 {
    run(&["judge", "--no-report", "--require"], &[capture])
}

#[test]
fn require_tells_disproven_from_undecided_and_without_it_verdicts_are_no_failure() {
    let folder = Folder::new("require");
    let (faulty, open) = (folder.path("faulty"), folder.path("open"));
    capture_in(&faulty, &driven(1, demo_faults()).1, TRAIL_WAGON);
    capture_in(&open, &short(), TRAIL_WAGON);
    assert_eq!((judge(&faulty), require(&faulty)), (exit::DONE, exit::DISPROVEN));
    assert_eq!((judge(&open), require(&open)), (exit::DONE, exit::UNDECIDED));
}

#[test]
fn a_capture_with_a_hole_is_judged_and_the_shell_is_told() {
    let folder = Folder::new("hole");
    let capture = folder.path("capture");
    capture_in(&capture, &short(), TRAIL_WAGON);
    let segment = capture.join("segment-000001.wwc");
    let mut bytes = std::fs::read(&segment).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x10;
    std::fs::write(&segment, bytes).unwrap();
    assert_eq!(judge(&capture), exit::HOLES);
}

#[test]
fn what_is_no_capture_or_no_vehicle_file_is_unreadable() {
    let folder = Folder::new("unreadable");
    assert_eq!(judge(&folder.path("nowhere")), exit::UNREADABLE);
    let empty = folder.path("empty");
    std::fs::create_dir(&empty).unwrap();
    assert_eq!(judge(&empty), exit::UNREADABLE);
    let capture = folder.path("capture");
    capture_in(&capture, &short(), "format = 1\nthis is no vehicle file\n");
    assert_eq!(judge(&capture), exit::UNREADABLE);
    let nonsense = folder.path("nonsense.toml");
    std::fs::write(&nonsense, "nonsense").unwrap();
    let code = run(&["judge", "--no-report", "--vehicle"], &[&nonsense, &capture]);
    assert_eq!(code, exit::UNREADABLE);
}

#[test]
fn a_report_never_lands_among_somebody_elses_files() {
    let folder = Folder::new("foreign");
    let (capture, mine) = (folder.path("capture"), folder.path("mine"));
    capture_in(&capture, &short(), TRAIL_WAGON);
    std::fs::create_dir(&mine).unwrap();
    std::fs::write(mine.join("diary.txt"), "mine").unwrap();
    assert_eq!(run(&["judge", "--report"], &[&mine, &capture]), exit::STORAGE);
    assert_eq!(std::fs::read_dir(&mine).unwrap().count(), 1);
}

#[test]
fn wire_lines_of_the_rig_become_a_capture_that_is_judged_alike() {
    let folder = Folder::new("import");
    let drive = short();
    let (lines, vehicle) = (folder.path("lines"), folder.path("vehicle.toml"));
    std::fs::write(&lines, drive.wire_lines()).unwrap();
    std::fs::write(&vehicle, TRAIL_WAGON).unwrap();
    let capture = folder.path("capture");
    let words = ["import-wire", "--simulated", "1", "--vehicle"];
    assert_eq!(run(&words, &[&vehicle, &lines, &capture]), exit::DONE);
    assert_eq!(run(&words, &[&vehicle, &lines, &capture]), exit::STORAGE, "nothing overwritten");
    assert_eq!(run(&["judge"], &[&capture]), exit::DONE);
    let result = std::fs::read_to_string(capture.join("report/result.json")).unwrap();
    let result = json::read(&result).unwrap();
    assert_eq!(verdicts(&result), verdicts(&judged(&drive, TRAIL_WAGON)));
    assert_eq!(result.capture.simulated_clock_scale, Some(1.0));
}

#[test]
fn lines_that_are_no_wire_lines_are_unreadable() {
    let folder = Folder::new("no-lines");
    let lines = folder.path("lines");
    std::fs::write(&lines, "60000000000 board 24zz\n").unwrap();
    assert_eq!(run(&["import-wire"], &[&lines, &folder.path("capture")]), exit::UNREADABLE);
    let absent = folder.path("absent");
    assert_eq!(run(&["import-wire"], &[&absent, &folder.path("other")]), exit::UNREADABLE);
}
