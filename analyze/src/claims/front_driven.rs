//! `front-driven`: in each mode that says so.
//!
//! Through an open center differential the front's share of the drive shows whenever the outputs
//! differ: in a turn, or with a wheel lifted. A locked pair shows it by following the rear output
//! against what the road demands.

use super::center::{Allowances, allowances, exercise_next_step, locked_verdict};
use super::{Finding, limit, period, word};
use crate::assemble::Drive;
use crate::motion::Period as Engagement;
use crate::result::{RecordRange, Verdict};
use wheelwitness_driveline::allowance::front_share;
use wheelwitness_driveline::quantity::Estimate;
use wheelwitness_driveline::vehicle::{Coupling, Mode, Place};
use wheelwitness_driveline::verdict::{Bounds, agree, judge as judge_estimate};

/// One finding per mode row that says that the front is driven.
pub fn judge(drive: &Drive) -> Vec<Finding> {
    let open = drive.modes_with(Coupling::Differential);
    let locked = drive.modes_with(Coupling::Locked);
    let open = open.into_iter().map(|(mode, periods)| through_differential(drive, mode, &periods));
    let locked = locked.into_iter().map(|(mode, periods)| locked_pair(drive, mode, &periods));
    open.chain(locked).collect()
}

/// Bounds of the front share.
pub fn share_bounds(drive: &Drive) -> Option<Bounds> {
    let share = drive.vehicle.center.front_share()?;
    let width = drive.vehicle.limits.share_relative;
    Some(Bounds::between(share * (1.0 - width), share * (1.0 + width)))
}

/// The front share in every period that tells it.
pub fn shares<'a>(drive: &Drive, periods: &[&'a Engagement]) -> Vec<(&'a Engagement, Estimate)> {
    let backlash = drive.vehicle.limits.backlash_turn;
    periods
        .iter()
        .filter(|p| p.silent_steps < 4)
        .filter_map(|p| Some((*p, front_share(&p.segments, backlash)?)))
        .collect()
}

/// What all periods together say about the front share, if any says anything.
pub fn share_verdict(drive: &Drive, found: &[(&Engagement, Estimate)]) -> Option<Verdict> {
    let bounds = share_bounds(drive)?;
    let words: Vec<Verdict> =
        found.iter().map(|(_, e)| word(judge_estimate(e, bounds, found.len()))).collect();
    let estimates: Vec<&Estimate> = found.iter().map(|(_, e)| e).collect();
    Some(match words {
        w if w.is_empty() => return None,
        w if w.contains(&Verdict::Disproven) => Verdict::Disproven,
        w if w.iter().all(|v| *v == Verdict::Proven) && agree(&estimates) => Verdict::Proven,
        _ => Verdict::Undecided,
    })
}

fn through_differential(drive: &Drive, mode: &Mode, periods: &[&Engagement]) -> Finding {
    let scope = mode.name.as_str();
    let Some(bounds) = share_bounds(drive) else {
        let reason = "this kind of center has no fixed share".into();
        let next = "turn one lifted front wheel by hand with the engine off, everything else held";
        return Finding::undecided(scope, "no-fixed-share", reason, next.into());
    };
    if !drive.vehicle.is_measured(Place::Input) {
        return Finding::undecided(
            scope,
            "input-not-measured",
            "without the case input, outputs that differ do not show what drives them".into(),
            "fit a sensor at the case input, or turn one lifted front wheel by hand (engine off)"
                .into(),
        );
    }
    if let Some(why) = drive.unsound() {
        let next = "repair the sensor and drive again".into();
        return Finding::undecided(scope, "sensors-unsound", why, next);
    }
    let found = shares(drive, periods);
    let limit = limit(drive, "front share", bounds, "1", |l| [l.share_relative; 2]);
    let Some(verdict) = share_verdict(drive, &found) else {
        let code = if periods.is_empty() { "mode-not-driven" } else { "outputs-did-not-differ" };
        let reason = match periods.is_empty() {
            true => "this mode was never driven".to_string(),
            false => "the outputs hardly differed in this mode".into(),
        };
        return Finding::undecided(scope, code, reason, exercise_next_step(mode)).against(limit);
    };
    let shown = found
        .iter()
        .map(|(p, e)| {
            let word = word(judge_estimate(e, bounds, found.len()));
            let why = "input against outputs while they differ".to_string();
            period(p.engaged.start_us, p.engaged.end_us, p.records, word, why, &[e])
        })
        .collect();
    let typical = found[0].1.value;
    let declared = drive.vehicle.center.front_share().unwrap_or(f64::NAN);
    let finding = match verdict {
        Verdict::Proven => Finding::decided(
            scope,
            verdict,
            "inside-limit",
            format!("the front's share of the drive is {typical:.3}, declared {declared:.3}"),
        ),
        Verdict::Disproven => {
            Finding::decided(scope, verdict, "outside-limit", disproof(&found, bounds))
        }
        Verdict::Undecided => Finding::undecided(
            scope,
            "near-limit",
            format!("the front's share reads {typical:.3}, not certain enough"),
            exercise_next_step(mode),
        ),
    };
    finding.against(limit).shown_by(shown)
}

fn disproof(found: &[(&Engagement, Estimate)], bounds: Bounds) -> String {
    let outside = |e: &Estimate| word(judge_estimate(e, bounds, found.len())) == Verdict::Disproven;
    let (p, e) = found.iter().find(|(_, e)| outside(e)).unwrap_or(&found[0]);
    let meaning = match e.value {
        v if v.abs() < 0.15 => {
            "the input turns with the rear output alone: the front follows the road"
        }
        v if (v - 1.0).abs() < 0.15 => "the input turns with the front output alone",
        _ => "input and outputs do not fit the declared center differential",
    };
    let start = super::seconds(p.engaged.start_us);
    format!("from {start:.0} s the front's share reads {:.3}: {meaning}", e.value)
}

fn locked_pair(drive: &Drive, mode: &Mode, periods: &[&Engagement]) -> Finding {
    let scope = mode.name.as_str();
    let Allowances { found, .. } = allowances(drive, periods);
    let verdict = if drive.unsound().is_some() { None } else { locked_verdict(drive, &found) };
    if verdict == Some(Verdict::Proven) {
        let shown = found
            .iter()
            .map(|(p, a)| {
                let records = RecordRange { first: p.records.first, last: p.records.last };
                let why = "the front output followed the rear one against the road".to_string();
                period(
                    p.engaged.start_us,
                    p.engaged.end_us,
                    records,
                    Verdict::Proven,
                    why,
                    &[&a.allowance],
                )
            })
            .collect();
        let reason = "locked to the rear output while the road demanded a difference".to_string();
        return Finding::decided(scope, Verdict::Proven, "locked-to-rear", reason).shown_by(shown);
    }
    let code = if periods.is_empty() { "mode-not-driven" } else { "lock-not-shown" };
    let reason = match periods.is_empty() {
        true => "this mode was never driven".to_string(),
        false => "the lock that would drive the front is not proven in this drive".into(),
    };
    Finding::undecided(scope, code, reason, exercise_next_step(mode))
}
