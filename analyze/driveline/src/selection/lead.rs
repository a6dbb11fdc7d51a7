//! What fits a selection best that did not go well: a lead with its evidence, never a verdict.
//!
//! Each rule is a row that reads like a sentence at the vehicle: what was seen up to which stage,
//! and what is the nearest thing to look at. The first row that fits is told. A sleeve that waits
//! for motion, an interlock and a driver who changed his mind need no lead.

use super::outcome::{Outcome, Selection, Stage};
use super::timeline::Timeline;
use super::{MARGIN_S, RowPeriod};
use serde::{Deserialize, Serialize};

/// Where to look first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// The request did not reach the unit.
    RequestNeverArrived,
    /// The motor was energised and did not run.
    MotorNeverRan,
    /// A limit contact does not follow the motor.
    LimitContact,
    /// A position switch does not follow its fork.
    PositionSwitch,
    /// A lamp or its wiring.
    LampWiring,
    /// The unit does not know where the case is since its power was cut.
    LostItsPlace,
}

impl Cause {
    /// In plain words.
    pub fn words(&self) -> &'static str {
        match self {
            Cause::RequestNeverArrived => "the request never arrived",
            Cause::MotorNeverRan => "the motor never ran",
            Cause::LimitContact => "a limit contact",
            Cause::PositionSwitch => "a position switch",
            Cause::LampWiring => "a lamp or its wiring",
            Cause::LostItsPlace => "the unit lost its place",
        }
    }
}

/// A lead: what fits best, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lead {
    /// Where to look first.
    pub cause: Cause,
    /// What was seen that fits.
    pub evidence: String,
}

/// What fits a selection best; None where it went well or nothing in particular fits.
pub(super) fn lead(timeline: &Timeline, s: &Selection) -> Option<Lead> {
    let told = |cause, evidence: String| Some(Lead { cause, evidence });
    let has = |stage: Stage| s.stages.iter().any(|t| t.stage == stage);
    let (ran, changed, stopped) =
        (has(Stage::MotorEnergised), has(Stage::LimitContactsChanged), has(Stage::MotorStopped));
    let had_its_time = stopped || s.outcome == Outcome::Slow;
    let blocked = s.blocked_by.join(", ");
    match s.outcome {
        Outcome::PowerLost => {
            let after = stood_unmatched_after(timeline, s)?;
            told(
                Cause::LostItsPlace,
                format!(
                    "power went off at {:.1} s in mid-change; from {:.1} s the mode was asked for \
                     with power on, and its row never matched",
                    s.ended_s, after.requested_s
                ),
            )
        }
        Outcome::RequestLost => told(
            Cause::RequestNeverArrived,
            "the selector changed, no interlock forbade it, and no motor line, limit contact or \
             position switch moved"
                .into(),
        ),
        // What took the request back took it from a motor that may yet have run.
        _ if had_its_time && ran && s.limits_fit.is_some() && !changed && s.total.is_none() => {
            told(
                Cause::MotorNeverRan,
                "a drive line was energised and no limit contact changed".into(),
            )
        }
        _ if stopped && s.limits_fit == Some(false) && !s.was_there => told(
            Cause::LimitContact,
            "the motor stopped where the limit contacts do not read the row".into(),
        ),
        // The unit's lamps are lit by the unit's own reading of the row.
        outcome
            if s.total.is_none()
                && !s.was_there
                && s.blocked_by.len() == 1
                && s.limits_fit != Some(false)
                && (outcome == Outcome::StuckBetween || s.lamps_fit == Some(true)) =>
        {
            let more = match s.lamps_fit {
                Some(true) => "and the lamps show it",
                _ => "and the sleeve had its motion",
            };
            told(
                Cause::PositionSwitch,
                format!(
                    "the motor and its limit contacts reached the row, {more}; {blocked} alone \
                     reads otherwise"
                ),
            )
        }
        _ if s.total.is_some() && s.lamps_fit == Some(false) && stood_long(timeline, s) => told(
            Cause::LampWiring,
            "every position switch reads the row, and the lamps do not show it".into(),
        ),
        _ => None,
    }
}

/// The request stood for as long as a row and its lamps may take.
fn stood_long(timeline: &Timeline, s: &Selection) -> bool {
    s.ended_s - s.request.first_s > timeline.table.limits.selection_s + MARGIN_S
}

/// The stretch after a power cut in which the same mode was asked for and never came.
fn stood_unmatched_after<'a>(timeline: &'a Timeline, s: &Selection) -> Option<&'a RowPeriod> {
    let patience_s = timeline.table.limits.selection_s + MARGIN_S;
    let next = timeline.row_periods.iter().find(|p| p.requested_s >= s.ended_s)?;
    let never = next.matched_s.is_none() && next.mode == s.to.1;
    (never && next.ended_s - next.requested_s > patience_s).then_some(next)
}
