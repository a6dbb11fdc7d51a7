//! What a result says about a claim, for the modules that judge simulated drives.

use wheelwitness_analyze::result::{Claim, DriveResult, Verdict};

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
