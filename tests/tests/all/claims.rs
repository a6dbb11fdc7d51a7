//! What a result says about a claim, for the modules that judge simulated drives.

use wheelwitness_analyze::judge::judge;
use wheelwitness_analyze::result::{Claim, DriveResult, Verdict};
use wheelwitness_rig::Run;
use wheelwitness_rig::random_drive::{RandomDrive, random_drive};
use wheelwitness_tests::campaign::capture_of;

/// A random drive of the campaign, and what is said of it.
pub fn judged_random(seed: u64) -> (RandomDrive, DriveResult) {
    let random = random_drive(seed);
    let result = judged_by(&random.plan.run(), &random.vehicle_text);
    (random, result)
}

/// What is said of a run by a vehicle file.
pub fn judged_by(run: &Run, vehicle_text: &str) -> DriveResult {
    let mut reader = capture_of(run, vehicle_text);
    judge(&mut reader, None).expect("a simulated drive can be judged").0
}

/// The claim of a scope.
pub fn claim<'a>(result: &'a DriveResult, id: &str, scope: &str) -> &'a Claim {
    let found = result.claims.iter().find(|c| c.id == id && c.scope == scope);
    found.unwrap_or_else(|| panic!("no claim {id} ({scope})"))
}

/// It has this verdict, its reason holds these words, and what is undecided says what to do next.
#[track_caller]
pub fn says(result: &DriveResult, id: &str, scope: &str, verdict: Verdict, words: &str) {
    let c = claim(result, id, scope);
    assert_eq!(c.verdict, verdict, "{id} ({scope}): {}", c.reason);
    assert!(c.reason.contains(words), "{id} ({scope}): {}", c.reason);
    assert!(verdict != Verdict::Undecided || c.next_step.is_some());
}
