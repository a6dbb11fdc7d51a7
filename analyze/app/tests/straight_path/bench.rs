//! What the tests share: folders, drives, captures of them, verdicts beside facts.

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::path::{Path, PathBuf};
use wheelwitness_analyze::judge::judge;
use wheelwitness_analyze::result::{Claim, DriveResult, Verdict};
use wheelwitness_capture::import::{Extras, import_wire};
use wheelwitness_capture::read::CaptureReader;
use wheelwitness_capture::record::RecordingId;
use wheelwitness_capture::storage::{DirStorage, SimStorage, Storage};
use wheelwitness_rig::facts::Fact;
use wheelwitness_rig::{Fault, Plan, Run, scenario};

/// A folder of a test's own, removed afterwards.
pub struct Folder(pub PathBuf);

impl Folder {
    pub fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("straight-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Folder(path)
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// The demo drive, driven.
pub fn driven(seed: u64, faults: Vec<Fault>) -> (Plan, Run) {
    let plan = scenario::demo(seed, faults);
    let run = plan.run();
    (plan, run)
}

fn import(run: &Run, vehicle: &str, storage: impl Storage) {
    let extras = Extras { vehicle_file: Some(vehicle), simulated_clock_scale: Some(1.0) };
    let lines = run.wire_lines();
    import_wire(lines.as_bytes(), storage, RecordingId([7; 16]), &extras).unwrap();
}

/// A run as a capture in a folder.
pub fn capture_in(folder: &Path, run: &Run, vehicle: &str) {
    import(run, vehicle, DirStorage::create(folder).unwrap());
}

/// A run judged by a vehicle file.
pub fn judged(run: &Run, vehicle: &str) -> DriveResult {
    let storage = SimStorage::new();
    import(run, vehicle, storage.clone());
    let mut reader = CaptureReader::from_storage(storage).unwrap();
    judge(&mut reader, None).unwrap().0
}

/// Every verdict by claim and scope.
pub fn verdicts(result: &DriveResult) -> BTreeMap<(String, String), Verdict> {
    result.claims.iter().map(|c| ((c.id.clone(), c.scope.clone()), c.verdict)).collect()
}

/// The number of a claim, as the report prints it.
pub fn number_of(result: &DriveResult, id: &str, scope: &str) -> usize {
    let at = result.claims.iter().position(|c| c.id == id && c.scope == scope);
    at.unwrap_or_else(|| panic!("no claim {id} ({scope})")) + 1
}

/// Whether a claim's sentence is true by the facts; `None` where there is no fact about it.
/// The rig names the way of a selection where a claim names its end, and an axle by one word.
pub fn truth_of(claim: &Claim, facts: &[Fact]) -> Option<bool> {
    let scope = |f: &Fact| match claim.id.as_str() {
        "selection-completes" => f.scope.split(" to ").last().unwrap_or_default().to_string(),
        "sensors-agree" => format!("{} axle", f.scope),
        _ => f.scope.clone(),
    };
    let about: Vec<_> =
        facts.iter().filter(|f| f.claim == claim.id && scope(f) == claim.scope).collect();
    (!about.is_empty()).then(|| about.iter().all(|f| f.holds))
}

/// Holds every claim with a fact against it: it must be decided, and rightly.
pub fn assert_true(result: &DriveResult, facts: &[Fact]) {
    let mut known = 0;
    for claim in &result.claims {
        let Some(holds) = truth_of(claim, facts) else { continue };
        known += 1;
        if claim.verdict == Verdict::Undecided && may_stay_open(claim, facts) {
            continue;
        }
        let right = if holds { Verdict::Proven } else { Verdict::Disproven };
        assert_eq!(claim.verdict, right, "{} ({}): {}", claim.id, claim.scope, claim.reason);
    }
    assert!(known >= 15, "only {known} claims have a fact");
}

/// Counts do not know how hard the ground was, and a declaration proves nothing. And no drive tells
/// a truth from its limit that lies within the verdict's factor of it.
fn may_stay_open(claim: &Claim, facts: &[Fact]) -> bool {
    let u = claim.periods.iter().filter_map(|p| p.estimates.first()?.u).fold(0.0, f64::max);
    let near = |f: &Fact| {
        let value = f.value.unwrap_or(f64::INFINITY);
        f.limit.iter().flatten().any(|limit| (value - limit).abs() < 4.0 * u)
    };
    let of_it = |f: &&Fact| f.claim == claim.id && f.scope == claim.scope;
    claim.reason_code == "declared-loose"
        || claim.reason_code == "near-limit" && facts.iter().filter(of_it).any(near)
}

/// Claims that are disproven, by claim and scope.
pub fn disproven(result: &DriveResult) -> Vec<(String, String)> {
    let is_so = |v: &Verdict| *v == Verdict::Disproven;
    verdicts(result).into_iter().filter(|(_, v)| is_so(v)).map(|(claim, _)| claim).collect()
}

/// One command line of the program, and its exit code.
pub fn run(words: &[&str], paths: &[&Path]) -> i32 {
    let words = words.iter().map(OsString::from);
    let paths = paths.iter().map(OsString::from);
    wheelwitness::run(std::iter::once("wheelwitness".into()).chain(words).chain(paths))
}
