//! The archive as a user sees it: commands and exit codes, on a drive of the rig.

use crate::bench::{Folder, capture_in, run};
use std::path::{Path, PathBuf};
use wheelwitness::exit;
use wheelwitness_archive::archive::Archive;
use wheelwitness_rig::scenario::TRAIL_WAGON;
use wheelwitness_rig::{Plan, Run, Script, scenario};

fn short() -> Run {
    let script = Script::parse("short", "wait 2\nspeed 3\nstraight 20 at 3\nstop").unwrap();
    Plan::new(scenario::trail_wagon(), script, 3, vec![]).run()
}

/// A command of an archive: the words after `archive`, then paths.
fn archive(at: &Path, words: &[&str], paths: &[&Path]) -> i32 {
    let at = at.to_str().unwrap();
    run(&[&["archive", "--archive", at], words].concat(), paths)
}

fn only_drive(at: &Path) -> PathBuf {
    let mut drives = Archive::open(at).unwrap().list().unwrap().drives;
    assert_eq!(drives.len(), 1);
    drives.remove(0).folder
}

#[test]
fn a_drive_is_kept_annotated_sent_judged_there_and_removed_here_only_with_a_copy() {
    let folder = Folder::new("archive");
    let (capture, here, there) =
        (folder.path("capture"), folder.path("here"), folder.path("there"));
    capture_in(&capture, &short(), TRAIL_WAGON);
    assert_eq!(archive(&here, &["keep"], &[&capture]), exit::DONE);
    assert_eq!(archive(&here, &["keep"], &[&capture]), exit::STORAGE, "once");
    let id = only_drive(&here).file_name().unwrap().to_str().unwrap().to_string();
    assert_eq!(archive(&here, &["note", &id, "first"], &[]), exit::DONE);
    for words in [&["list"][..], &["list", "--note", "FIRST"], &["show", &id], &["verify"]] {
        assert_eq!(archive(&here, words, &[]), exit::DONE, "{words:?}");
    }
    assert_eq!(archive(&here, &["list", "--from", "17.5."], &[]), exit::USAGE);
    assert_eq!(archive(&here, &["show", "2031"], &[]), exit::UNREADABLE);
    let pack = folder.path("drive.tar");
    assert_eq!(archive(&here, &["pack", &id, "--into"], &[&pack]), exit::DONE);
    assert_eq!(archive(&there, &["unpack"], &[&pack]), exit::DONE);
    assert!(only_drive(&there).join("report-000002/report.html").is_file(), "made anew");
    let thin = ["thin", "--older-than", "0", "--remove"];
    assert_eq!(archive(&here, &thin, &[]), exit::STORAGE, "the last copy");
    let with_copy = [&thin[..], &["--copy"]].concat();
    assert_eq!(archive(&here, &with_copy, &[&pack]), exit::DONE);
    assert_eq!(Archive::open(&here).unwrap().list().unwrap().drives.len(), 0);
    assert_eq!(archive(&there, &["verify"], &[]), exit::DONE);
}

#[test]
fn a_rejudged_drive_has_the_verdicts_that_judge_gives_by_that_vehicle_file() {
    let folder = Folder::new("rejudge");
    let (capture, here) = (folder.path("capture"), folder.path("here"));
    capture_in(&capture, &short(), TRAIL_WAGON);
    assert_eq!(archive(&here, &["keep"], &[&capture]), exit::DONE);
    let other = folder.path("other.toml");
    std::fs::write(&other, TRAIL_WAGON.replace("pulses_per_turn = 4", "pulses_per_turn = 8"))
        .unwrap();
    assert_eq!(archive(&here, &["rejudge", "--vehicle"], &[&other]), exit::DONE);
    let report = folder.path("report");
    assert_eq!(
        run(&["judge", "--vehicle"], &[&other, Path::new("--report"), &report, &capture]),
        0
    );
    let judged = std::fs::read(report.join("result.json")).unwrap();
    let drive = only_drive(&here);
    assert_eq!(std::fs::read(drive.join("report-000002/result.json")).unwrap(), judged);
    assert_ne!(std::fs::read(drive.join("report-000001/result.json")).unwrap(), judged);
}

#[test]
fn damage_in_the_archive_fails_verify_and_a_hole_from_the_beginning_does_not() {
    let folder = Folder::new("damage");
    let (capture, here) = (folder.path("capture"), folder.path("here"));
    capture_in(&capture, &short(), TRAIL_WAGON);
    let spoil = |segment: &Path| {
        let mut bytes = std::fs::read(segment).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle] ^= 0x10;
        std::fs::write(segment, bytes).unwrap();
    };
    spoil(&capture.join("segment-000001.wwc"));
    assert_eq!(archive(&here, &["keep"], &[&capture]), exit::HOLES);
    assert_eq!(archive(&here, &["verify"], &[]), exit::DONE);
    spoil(&only_drive(&here).join("report-000001/result.json"));
    assert_eq!(archive(&here, &["verify"], &[]), exit::UNREADABLE);
}
