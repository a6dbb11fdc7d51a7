//! `front-released`: in each mode that leaves the front axle to follow the road.
//!
//! While the outputs differ, the input turns with the rear output alone where the front is
//! released: the front's share of the drive reads zero. A front shaft that rests by a disconnect
//! differs most of all, and shows the same. That it is free to turn is shown by hand, with the
//! engine off: never under power with a wheel raised.

use super::center::{allowances, exercise_next_step, locked_verdict};
use super::share::{RELEASED_SHARE, Shares, shown, told_of};
use super::{Finding, period, word};
use crate::assemble::Drive;
use crate::motion::Period as Engagement;
use crate::result::{LimitInfo, Verdict};
use wheelwitness_driveline::quantity::Estimate;
use wheelwitness_driveline::vehicle::{Coupling, Mode};
use wheelwitness_driveline::verdict::{Bounds, agree, judge as judge_estimate};

/// Shares around zero that are called none: less than half of the least share that a center
/// differential declares, so that a driven front never passes for a released one.
fn bounds(drive: &Drive) -> Bounds {
    let share = drive.vehicle.center.front_share().unwrap_or(2.0 * RELEASED_SHARE);
    Bounds::within(RELEASED_SHARE.min(0.5 * share))
}

/// One finding per mode row that releases the front.
pub fn judge(drive: &Drive) -> Vec<Finding> {
    let modes = drive.modes_with(Coupling::RearOnly);
    modes.into_iter().map(|(mode, periods)| one(drive, mode, &periods)).collect()
}

fn one(drive: &Drive, mode: &Mode, periods: &[&Engagement]) -> Finding {
    let scope = mode.name.as_str();
    let bounds = bounds(drive);
    let limit = LimitInfo {
        quantity: "front share".into(),
        lower: bounds.lower,
        upper: bounds.upper,
        unit: "1".into(),
        source: "common practice".into(),
    };
    if let Some(finding) = tied(drive, mode, periods) {
        return finding;
    }
    let found = match told_of(drive, mode, periods) {
        Ok(found) => found,
        Err(finding) => return by_hand_else(*finding).against(limit),
    };
    let value = typical(&found);
    let finding = match verdict(&found, bounds) {
        Verdict::Proven => {
            let reason = format!("front share {value}: the input turned with the rear alone");
            Finding::decided(scope, Verdict::Proven, "inside-limit", reason)
        }
        Verdict::Disproven => {
            let reason = format!("front share {value}: the front is driven, too");
            Finding::decided(scope, Verdict::Disproven, "outside-limit", reason)
        }
        Verdict::Undecided => {
            let reason =
                format!("front share {value}: not certain enough, or the periods disagree");
            Finding::undecided(scope, "near-limit", reason, exercise_next_step(mode))
        }
    };
    finding.against(limit).shown_by(shown(&found, bounds))
}

/// Outputs that stay together against the road are tied: the front is driven.
fn tied(drive: &Drive, mode: &Mode, periods: &[&Engagement]) -> Option<Finding> {
    if drive.unsound().is_some() {
        return None;
    }
    let found = allowances(drive, periods).found;
    if locked_verdict(drive, &found) != Some(Verdict::Proven) {
        return None;
    }
    let reason = "the outputs stayed together against the road: the front is tied to the rear";
    let shown = found.iter().map(|(p, a)| {
        let (start, end) = (p.engaged.start_us, p.engaged.end_us);
        let (word, why) = (Verdict::Disproven, "the outputs stayed together".to_string());
        period(start, end, p.records, word, why, &[&a.allowance])
    });
    let shown = shown.collect();
    let finding =
        Finding::decided(&mode.name, Verdict::Disproven, "tied-to-rear", reason.to_string());
    Some(finding.shown_by(shown))
}

fn verdict(found: &Shares, bounds: Bounds) -> Verdict {
    let words: Vec<Verdict> =
        found.iter().map(|(_, e)| word(judge_estimate(e, bounds, found.len()))).collect();
    let estimates: Vec<&Estimate> = found.iter().map(|(_, e)| e).collect();
    match &words {
        w if w.contains(&Verdict::Disproven) => Verdict::Disproven,
        w if w.iter().all(|v| *v == Verdict::Proven) && agree(&estimates) => Verdict::Proven,
        _ => Verdict::Undecided,
    }
}

fn by_hand_else(finding: Finding) -> Finding {
    let by_hand = "or, with the engine off, gearbox in neutral and every other wheel chocked, turn \
                   one raised front wheel by hand: released, the input stands still";
    let next = finding.next_step.as_deref().unwrap_or("drive circles both ways");
    Finding { next_step: Some(format!("{next}; {by_hand}")), ..finding }
}

fn typical(found: &Shares) -> String {
    let each = found.iter().map(|(_, e)| format!("{:.3} ± {:.3}", e.value, 2.0 * e.u()));
    each.collect::<Vec<_>>().join(", ")
}
