//! `front-driven`: in each mode that says so.
//!
//! Through an open center differential the front's share of the drive shows whenever the outputs
//! differ: in a turn, or with a wheel lifted. A locked pair shows it by following the rear output
//! against what the road demands.

use super::by_hand::{Asked, with_hand};
use super::center::{Allowances, allowances, exercise_next_step, locked_verdict, stayed_together};
use super::share::{Shares, bounds_around, driven, shown, told};
use super::{Finding, limit, word};
use crate::assemble::Drive;
use crate::motion::Period as Engagement;
use crate::result::Verdict;
use wheelwitness_driveline::quantity::Estimate;
use wheelwitness_driveline::vehicle::{Coupling, Mode};
use wheelwitness_driveline::verdict::{Bounds, judge as judge_estimate};

/// One finding per mode row that says that the front is driven.
pub fn judge(drive: &Drive) -> Vec<Finding> {
    let open = drive.modes_with(Coupling::Differential);
    let locked = drive.modes_with(Coupling::Locked);
    let open = open.into_iter().map(|(mode, p)| (mode, through_differential(drive, mode, &p)));
    let locked = locked.into_iter().map(|(mode, p)| (mode, locked_pair(drive, mode, &p, "rear")));
    let with_hand = |(mode, finding)| with_hand(drive, mode, Asked::Driven, finding);
    open.chain(locked).map(with_hand).collect()
}

fn through_differential(drive: &Drive, mode: &Mode, periods: &[&Engagement]) -> Finding {
    let scope = mode.name.as_str();
    let (declared, found) = match told(drive, mode, periods) {
        Ok(told) => told,
        Err(finding) => return *finding,
    };
    let bounds = bounds_around(drive, declared);
    let limit = limit(drive, "front share", bounds, "1", |l| [l.share_relative; 2]);
    let typical = found[0].1.value;
    let finding = match driven(drive, &found, declared).unwrap_or(Verdict::Undecided) {
        Verdict::Proven => Finding::decided(
            scope,
            Verdict::Proven,
            "inside-limit",
            format!("the front's share of the drive is {typical:.3}, declared {declared:.3}"),
        ),
        Verdict::Disproven => {
            Finding::decided(scope, Verdict::Disproven, "outside-limit", disproof(&found, bounds))
        }
        Verdict::Undecided => Finding::undecided(
            scope,
            "near-limit",
            format!("the front's share reads {typical:.3}, not certain enough, or not as declared"),
            exercise_next_step(mode),
        ),
    };
    finding.against(limit).shown_by(shown(&found, bounds))
}

fn disproof(found: &Shares, bounds: Bounds) -> String {
    let outside = |e: &Estimate| word(judge_estimate(e, bounds, found.len())) == Verdict::Disproven;
    let (p, e) = found.iter().find(|(_, e)| outside(e)).unwrap_or(&found[0]);
    let meaning = match e.value {
        v if v.abs() < 0.15 => {
            "the input turns with the rear output alone: the front follows the road"
        }
        _ => "input and outputs do not fit the declared center differential",
    };
    let start = super::seconds(p.engaged.start_us);
    format!("from {start:.0} s the front's share reads {:.3}: {meaning}", e.value)
}

/// What a lock says about an output that it ties to the `other` one.
pub fn locked_pair(drive: &Drive, mode: &Mode, periods: &[&Engagement], other: &str) -> Finding {
    let scope = mode.name.as_str();
    let Allowances { found, .. } = allowances(drive, periods);
    let verdict = if drive.unsound().is_some() { None } else { locked_verdict(drive, &found) };
    if verdict == Some(Verdict::Proven) {
        let why = "the outputs stayed together against the road";
        let shown = stayed_together(&found, Verdict::Proven, why);
        let reason = format!("locked to the {other} output while the road demanded a difference");
        let code = if other == "rear" { "locked-to-rear" } else { "locked-to-front" };
        return Finding::decided(scope, Verdict::Proven, code, reason).shown_by(shown);
    }
    let code = if periods.is_empty() { "mode-not-driven" } else { "lock-not-shown" };
    let reason = match periods.is_empty() {
        true => "this mode was never driven".to_string(),
        false => format!("the lock to the {other} output is not proven in this drive"),
    };
    Finding::undecided(scope, code, reason, exercise_next_step(mode))
}
