//! A judged claim as plain data.

use crate::quantity::Estimate;
use serde::{Deserialize, Serialize};

/// The word of a finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Word {
    /// Inside the limit in every period that exercised it.
    Proven,
    /// Outside in at least one.
    Disproven,
    /// Anything else.
    Undecided,
}

/// One period and what it alone says.
#[derive(Debug, Clone, PartialEq)]
pub struct FindingPeriod {
    /// Start on the time axis, in seconds.
    pub start_s: f64,
    /// End on the time axis, in seconds.
    pub end_s: f64,
    /// What it alone says.
    pub word: Word,
    /// Stable reason code.
    pub code: &'static str,
    /// Reason in plain words.
    pub reason: String,
    /// What was measured; the first one is judged against the limit.
    pub estimates: Vec<Estimate>,
    /// First and last raw record that carry it.
    pub records: (u64, u64),
    /// What to do to decide it, when it is undecided.
    pub next_step: Option<String>,
    /// True when the period did not exercise the claim: then it blocks no proof.
    pub idle: bool,
}

/// One claim about one scope.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// Id of the claim.
    pub claim: &'static str,
    /// The mode it is about, or `every request`.
    pub scope: String,
    /// The verdict.
    pub word: Word,
    /// Stable reason code.
    pub code: &'static str,
    /// Reason in plain words.
    pub reason: String,
    /// What to do to decide it; present whenever the word is `Undecided`.
    pub next_step: Option<String>,
    /// Upper limit of the first estimate: quantity, value, unit, source.
    pub limit: Option<(&'static str, f64, &'static str, &'static str)>,
    /// The periods, in order.
    pub periods: Vec<FindingPeriod>,
}

impl Finding {
    /// One word from the periods: a disproof anywhere, then a doubt that blocks, then a proof,
    /// then why nothing exercised it. `never` is the code, reason and next step without periods.
    pub(super) fn from_periods(
        claim: &'static str,
        scope: String,
        periods: Vec<FindingPeriod>,
        never: (&'static str, String, String),
    ) -> Finding {
        let ranks: [fn(&FindingPeriod) -> bool; 4] = [
            |p| p.word == Word::Disproven,
            |p| p.word == Word::Undecided && !p.idle,
            |p| p.word == Word::Proven,
            |_| true,
        ];
        let leading = ranks.iter().find_map(|fits| periods.iter().find(|p| fits(p)));
        let (word, code, reason, next_step) = match leading {
            Some(p) => (p.word, p.code, p.reason.clone(), p.next_step.clone()),
            None => (Word::Undecided, never.0, never.1, Some(never.2)),
        };
        Finding { claim, scope, word, code, reason, next_step, limit: None, periods }
    }
}
