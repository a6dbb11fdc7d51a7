//! The shafts as a witness of the mode: which couplings fit what they did.

use crate::motion::{Motions, Period};
use wheelwitness_driveline::allowance::{Manoeuvre, MismatchPrior, front_share};
use wheelwitness_driveline::quantity::Estimate;
use wheelwitness_driveline::segment::Segment;
use wheelwitness_driveline::selection::CouplingSeen;
use wheelwitness_driveline::vehicle::{Coupling, Vehicle};
use wheelwitness_driveline::verdict::{Bounds, Judgement, judge};

/// What the shafts showed, turn by turn; nothing where they fit everything.
pub fn seen(vehicle: &Vehicle, motions: &Motions) -> Vec<CouplingSeen> {
    motions.periods.iter().flat_map(|p| in_period(vehicle, p, motions.prior)).collect()
}

fn in_period(vehicle: &Vehicle, period: &Period, prior: MismatchPrior) -> Vec<CouplingSeen> {
    if period.was_silent() {
        return Vec::new();
    }
    let seen = |start_us: i64, end_us: i64, possible: Vec<Coupling>| CouplingSeen {
        start_s: start_us as f64 * 1e-6,
        end_s: end_us as f64 * 1e-6,
        possible,
        range: None,
        records: (period.records.first, period.records.last),
    };
    let backlash = vehicle.limits.backlash_turn;
    let mut all = Vec::new();
    if let Some(found) = period.allowance(backlash, prior) {
        for Manoeuvre { start_us, end_us, allowance, .. } in &found.manoeuvres {
            let within: Vec<Segment> = period
                .segments
                .iter()
                .filter(|s| s.start_us >= *start_us && s.end_us <= *end_us)
                .cloned()
                .collect();
            let possible = couplings(vehicle, allowance, front_share(&within, backlash).as_ref());
            all.push(seen(*start_us, *end_us, possible));
        }
    }
    let lifted: Vec<Segment> = period.segments.iter().filter(|s| s.lifted).cloned().collect();
    if let (Some(first), Some(last), Some(share)) =
        (lifted.first(), lifted.last(), front_share(&lifted, backlash))
    {
        all.push(seen(first.start_us, last.end_us, by_share(vehicle, Some(&share))));
    }
    all.retain(|s| !s.possible.is_empty());
    all
}

fn couplings(vehicle: &Vehicle, allowance: &Estimate, share: Option<&Estimate>) -> Vec<Coupling> {
    let limits = &vehicle.limits;
    let locked = Bounds::within(limits.allowance_locked_max);
    let open = Bounds::between(limits.allowance_open_min, limits.allowance_open_max);
    if judge(allowance, locked, 1) == Judgement::Inside {
        vec![Coupling::Locked]
    } else if judge(allowance, open, 1) == Judgement::Inside {
        by_share(vehicle, share)
    } else {
        Vec::new()
    }
}

/// Couplings that let the outputs differ, by the front's share of the drive.
fn by_share(vehicle: &Vehicle, share: Option<&Estimate>) -> Vec<Coupling> {
    let Some((share, declared)) = share.zip(vehicle.center.front_share()) else {
        return vec![Coupling::Differential, Coupling::RearOnly, Coupling::FrontOnly];
    };
    let width = vehicle.limits.share_relative * declared;
    let near =
        |at: f64| judge(share, Bounds::between(at - width, at + width), 1) == Judgement::Inside;
    [(declared, Coupling::Differential), (0.0, Coupling::RearOnly), (1.0, Coupling::FrontOnly)]
        .into_iter()
        .filter(|(at, _)| near(*at))
        .map(|(_, coupling)| coupling)
        .collect()
}
