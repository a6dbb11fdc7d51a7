//! What the tests share: scratch folders, captures, a judge that needs no drive.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};
use wheelwitness_analyze::assemble::Beside;
use wheelwitness_analyze::report::json;
use wheelwitness_analyze::result::{DriveResult, Verdict};
use wheelwitness_archive::archive::{Archive, Drive};
use wheelwitness_archive::judgement::{Bench, Texts};
use wheelwitness_capture::clock::{SimClock, Stamp};
use wheelwitness_capture::record::{Kind, RecordingId, Text, title};
use wheelwitness_capture::storage::DirStorage;
use wheelwitness_capture::write::{Limits, Writer};

/// 2026-05-17 12:30 UTC.
pub const MAY: i64 = 1_779_021_000_000_000_000;
pub const DAY: i64 = 86_400_000_000_000;
pub const VEHICLE: &str = "name = \"invented\"\n";

/// A folder of a test's own, removed afterwards.
pub struct Scratch(pub PathBuf);

impl Scratch {
    pub fn new() -> Self {
        static NUMBER: AtomicU32 = AtomicU32::new(0);
        let n = NUMBER.fetch_add(1, Ordering::Relaxed);
        let path = std::env::temp_dir().join(format!("archive-{}-{n}", std::process::id()));
        fs::create_dir_all(&path).unwrap();
        Scratch(path)
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// A capture that began at a wall-clock time, with a vehicle file or without.
pub fn capture(folder: &Path, id: u8, wall_ns: i64, vehicle: Option<&str>) {
    let clock = SimClock::default();
    clock.set(Stamp { boot_ns: 1, mono_ns: 1, wall_ns });
    let storage = DirStorage::create(folder).unwrap();
    let limits = Limits { segment_bytes: 2_000, ..Limits::default() };
    let mut writer = Writer::create(storage, clock, RecordingId([id; 16]), limits).unwrap();
    if let Some(body) = vehicle {
        let text = Text::new(title::VEHICLE_FILE, body);
        writer.append(0, Kind::Text, 10, &text.to_bytes()).unwrap();
    }
    for k in 0..40 {
        writer.append(0, Kind::Bytes, 1_000 + k * 1_000_000, &[k as u8; 100]).unwrap();
        if k % 4 == 0 {
            writer.flush();
        }
    }
    writer.close();
}

/// The result that the invented judge comes to: the golden one, with one verdict by the vehicle
/// file's last letter.
pub fn result(vehicle: &str) -> DriveResult {
    let golden = include_str!("../../../tests/report/result-1.json");
    let mut result = json::read(golden).unwrap();
    result.vehicle.name = "Invented wagon".into();
    if vehicle.contains("other") {
        result.claims[0].verdict = match result.claims[0].verdict {
            Verdict::Proven => Verdict::Undecided,
            _ => Verdict::Proven,
        };
    }
    result
}

/// Judges without reading, and refuses a drive without a vehicle file.
pub fn judge(_capture: &Path, beside: Beside<'_>, into: &Path) -> Result<DriveResult, String> {
    let (text, _) = beside.vehicle.ok_or("there is no vehicle file")?;
    let mut result = result(text);
    // A hand sheet decides what was open.
    if let Some((sheet, _)) = beside.hand {
        result.claims[0].reason = sheet.into();
        result.claims[0].verdict = Verdict::Disproven;
    }
    fs::create_dir_all(into.join("figures")).unwrap();
    fs::write(into.join("result.json"), json::write(&result)).unwrap();
    fs::write(into.join("report.html"), "<!DOCTYPE html><p>page").unwrap();
    fs::write(into.join("figures/balance.svg"), "<svg/>").unwrap();
    Ok(result)
}

/// A vehicle file of this text.
pub fn by(vehicle: &str) -> Texts<'_> {
    Texts { vehicle: Some(vehicle), ..Texts::default() }
}

pub fn at(now_ns: i64) -> Bench<'static> {
    Bench { judge: &judge, program: "0.0.1", now_ns }
}

/// An archive in a folder of the scratch.
pub fn archive(scratch: &Scratch, name: &str) -> Archive {
    Archive::open_or_make(&scratch.path(name)).unwrap()
}

/// A drive kept in an archive: which recording, and how many days after the 17th of May.
pub fn kept(scratch: &Scratch, archive: &Archive, id: u8, days: i64) -> Drive {
    let wall_ns = MAY + days * DAY;
    let folder = scratch.path(&format!("capture-{id}"));
    if !folder.exists() {
        capture(&folder, id, wall_ns, Some(VEHICLE));
    }
    archive.keep(&folder, Texts::default(), None, &at(wall_ns + 1)).unwrap()
}

/// Every file below a folder with its bytes.
pub fn contents(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(contents(&path));
        } else {
            all.push((path.clone(), fs::read(&path).unwrap()));
        }
    }
    all.sort();
    all
}
