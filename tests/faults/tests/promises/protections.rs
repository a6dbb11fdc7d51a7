//! Trials fail when the protection is taken away: then they are able to.

use std::path::Path;
use wheelwitness_capture::clock::{Clock, SimClock, Stamp};
use wheelwitness_capture::read::{CaptureReader, Item};
use wheelwitness_capture::record::{Kind, RecordingId};
use wheelwitness_capture::storage::SimStorage;
use wheelwitness_capture::write::{Limits, Writer};
use wheelwitness_faults::cut::{Syncs, power_cuts};
use wheelwitness_faults::guest::top;
use wheelwitness_faults::volume::System;

#[test]
fn without_its_syncs_a_power_cut_would_cost_what_was_called_safe() {
    let why = power_cuts(System::Ext4, Syncs::Skipped, 0, 20, 1).unwrap_err();
    assert!(why.contains("acknowledged"), "{why}");
}

/// Words that change a file that is there, and the only places where they may stand.
const CHANGES: [(&str, &[&str]); 6] = [
    ("fs::rename", &[]),
    ("File::create(", &["logger/src/recovery.rs"]),
    ("fs::write(", &[]),
    ("truncate(true)", &[]),
    (".set_len(", &[]),
    ("remove_file", &["logger/src/folder.rs"]),
];

#[test]
fn nothing_that_is_recorded_is_ever_renamed_or_written_over() {
    let mut bad = Vec::new();
    let mut seen = 0;
    for folder in ["logger/src", "logger/capture/src"] {
        each_file(&top().join(folder), &mut |path, text| {
            seen += 1;
            let code = text.split("#[cfg(test)]").next().unwrap_or(text);
            for (word, allowed) in CHANGES {
                let allowed = allowed.iter().any(|end| path.ends_with(end));
                if code.contains(word) && !allowed {
                    bad.push(format!("{}: {word}", path.display()));
                }
            }
        });
    }
    assert!(seen > 40, "{seen} files only");
    assert!(bad.is_empty(), "{bad:#?}");
}

fn each_file(folder: &Path, visit: &mut impl FnMut(&Path, &str)) {
    for entry in std::fs::read_dir(folder).unwrap().flatten() {
        let path = entry.path();
        if path.is_dir() {
            each_file(&path, visit);
        } else {
            visit(&path, &std::fs::read_to_string(&path).unwrap());
        }
    }
}

/// From 1970 to the present and back again, in the middle of a recording.
#[test]
fn a_wall_clock_that_jumps_moves_no_record() {
    let (storage, clock) = (SimStorage::new(), SimClock::default());
    let id = RecordingId([1; 16]);
    let mut writer = Writer::create(storage.clone(), clock.clone(), id, Limits::default()).unwrap();
    let walls = [0, 1_795_000_000, 3600, 1_795_000_000 - 3600];
    for n in 0..40_i64 {
        let ns = n * 100_000_000;
        let wall_ns = walls[n as usize / 10] * 1_000_000_000 + ns;
        clock.set(Stamp { boot_ns: ns, mono_ns: ns, wall_ns });
        writer.append(0, Kind::Bytes, clock.now().boot_ns, &[n as u8]).unwrap();
        writer.pump();
    }
    writer.close();
    let mut reader = CaptureReader::from_storage(storage).unwrap();
    let (mut times, mut stamps) = (Vec::new(), Vec::new());
    while let Some(item) = reader.next_item().unwrap() {
        let Item::Record(record) = item else { panic!("{item:?}") };
        times.push(record.boot_ns);
        stamps.extend(reader.stamp().map(|stamp| stamp.wall_ns / 1_000_000_000_000));
    }
    times.pop();
    assert!(times.iter().copied().eq((0..40).map(|n| n * 100_000_000)));
    stamps.dedup();
    assert_eq!(stamps, [0, 1_795_000, 3, 1_794_996], "the jumps can be seen");
}
