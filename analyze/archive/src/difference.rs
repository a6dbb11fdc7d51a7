//! What two judgements of one drive say otherwise.

use crate::manifest::{ClaimSaid, Judgement};
use wheelwitness_analyze::result::Verdict;

/// A claim that is said otherwise.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// Id of the claim.
    pub id: String,
    /// What it is about.
    pub scope: String,
    /// Verdict before; `None` if the claim was not made.
    pub before: Option<Verdict>,
    /// Verdict now; `None` if the claim is not made any more.
    pub now: Option<Verdict>,
}

/// Claims whose verdict changed, that are new or that are gone, in the order of the claims.
pub fn differences(before: Option<&Judgement>, now: Option<&Judgement>) -> Vec<Difference> {
    let claims = |j: Option<&Judgement>| j.map_or(Vec::new(), |j| j.claims.clone());
    let (before, now) = (claims(before), claims(now));
    let said = |claims: &[ClaimSaid], of: &ClaimSaid| {
        claims.iter().find(|c| c.id == of.id && c.scope == of.scope).map(|c| c.verdict)
    };
    let gone = before.iter().filter(|c| said(&now, c).is_none());
    let all = now.iter().chain(gone).map(|c| Difference {
        id: c.id.clone(),
        scope: c.scope.clone(),
        before: said(&before, c),
        now: said(&now, c),
    });
    all.filter(|d| d.before != d.now).collect()
}
