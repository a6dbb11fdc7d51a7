//! The claims about switches and lamps: judged by the timeline, told here.

use super::Finding;
use crate::assemble::Drive;
use crate::result::{LimitInfo, Period, RecordRange, Reported, Verdict};
use wheelwitness_driveline::selection::{Finding as Found, FindingPeriod, Word};

/// One finding per mode row.
pub fn judge_table(drive: &Drive) -> Vec<Finding> {
    drive.switching.timeline.switch_table().into_iter().map(finding).collect()
}

/// One finding per mode.
pub fn judge_selections(drive: &Drive) -> Vec<Finding> {
    drive.switching.timeline.selection_completes_by_mode().into_iter().map(finding).collect()
}

/// One finding per mode row that declares lamps.
pub fn judge_lamps(drive: &Drive) -> Vec<Finding> {
    drive.switching.timeline.lamps_truthful().into_iter().map(finding).collect()
}

/// One finding per kind of contacts.
pub fn judge_contacts(drive: &Drive) -> Vec<Finding> {
    drive.switching.timeline.contacts_clean().into_iter().map(finding).collect()
}

fn word(word: Word) -> Verdict {
    match word {
        Word::Proven => Verdict::Proven,
        Word::Disproven => Verdict::Disproven,
        Word::Undecided => Verdict::Undecided,
    }
}

fn finding(f: Found) -> Finding {
    Finding {
        scope: f.scope,
        verdict: word(f.word),
        code: f.code,
        reason: f.reason,
        next_step: f.next_step,
        limit: f.limit.map(|(quantity, upper, unit, source)| LimitInfo {
            quantity: quantity.into(),
            lower: None,
            upper: Some(upper),
            unit: unit.into(),
            source: source.into(),
        }),
        periods: f.periods.iter().map(period).collect(),
    }
}

fn period(p: &FindingPeriod) -> Period {
    Period {
        start_s: p.start_s,
        end_s: p.end_s,
        verdict: word(p.word),
        reason: p.reason.clone(),
        estimates: p.estimates.iter().map(Reported::from).collect(),
        evidence: vec![RecordRange { first: p.records.0, last: p.records.1 }],
    }
}
