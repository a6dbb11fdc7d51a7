//! Drives with nothing in them get a report that says so.

use crate::bench::{Folder, program, said, wagon, words};
use std::path::Path;
use wheelwitness::exit;
use wheelwitness_capture::clock::{SimClock, Stamp};
use wheelwitness_capture::record::{Kind, RecordingId, title};
use wheelwitness_capture::storage::DirStorage;
use wheelwitness_capture::write::{Limits, Writer};

/// A capture of some records at one instant.
fn capture(folder: &Path, records: &[&[u8]], vehicle: bool) {
    let clock = SimClock::at(Stamp { boot_ns: 5, mono_ns: 5, wall_ns: 5 });
    let storage = DirStorage::create(folder).unwrap();
    let id = RecordingId([3; 16]);
    let mut writer = Writer::create(storage, clock, id, Limits::default()).unwrap();
    if vehicle {
        writer.append_text(0, title::VEHICLE_FILE, wagon()).unwrap();
    }
    for bytes in records {
        writer.append(0, Kind::Bytes, 5, bytes).unwrap();
    }
    writer.close();
}

fn judged(folder: &Folder) -> (Option<i32>, String) {
    let output = program(&folder.0, &words(&["judge", "capture"])).output().unwrap();
    (output.status.code(), said(&output))
}

#[test]
fn nothing_one_record_and_no_duration_give_a_report_that_decides_nothing() {
    let no_fix: &[u8] = b"$GNRMC,,V,,,,,,,,,,N*4D\r\n";
    let drives: [&[&[u8]]; 4] = [&[], &[b"x"], &[b"$PWWNI"], &[no_fix; 50]];
    for records in drives {
        let folder = Folder::new();
        capture(&folder.path("capture"), records, true);
        let (code, text) = judged(&folder);
        assert_eq!(code, Some(exit::DONE), "{text}");
        assert!(text.contains(" 0 disproven") || text.contains("Verdicts:"), "{text}");
        for word in ["NaN", "nan", "inf ", " -0 ", "panicked"] {
            assert!(!text.contains(word), "{word:?} in {text}");
        }
        let result = std::fs::read_to_string(folder.path("capture/report/result.json")).unwrap();
        let result = wheelwitness_analyze::report::json::read(&result).unwrap();
        let distance = result.distance_m;
        assert!(distance.is_none() || distance == Some(0.0), "{distance:?}");
        let decided = |id: &str| id != "capture-complete";
        for c in result.claims.iter().filter(|c| decided(&c.id)) {
            let word = wheelwitness_analyze::result::Verdict::Undecided;
            assert_eq!(c.verdict, word, "{} ({}) of nothing", c.id, c.scope);
        }
        assert!(folder.path("capture/report/report.html").is_file());
    }
}

#[test]
fn no_vehicle_file_no_block_and_no_bytes_are_said_with_the_next_step() {
    let folder = Folder::new();
    capture(&folder.path("capture"), &[b"x"], false);
    let (code, text) = judged(&folder);
    assert_eq!(code, Some(exit::UNREADABLE));
    assert!(text.contains("--vehicle"), "{text}");
    for bytes in [&b""[..], &b"WW"[..], &[0; 5000][..]] {
        let folder = Folder::new();
        std::fs::create_dir(folder.path("capture")).unwrap();
        folder.file("capture/segment-000001.wwc", bytes);
        let (code, text) = judged(&folder);
        assert_eq!(code, Some(exit::UNREADABLE), "{text}");
        assert!(!text.contains("panicked"), "{text}");
    }
}
