//! What a drive says about the front's share of the drive, for every claim that rests on it.

use super::center::exercise_next_step;
use super::range_ratio::{COUNT_PULSES, is_off, is_pulse_in_doubt, of_period};
use super::{Finding, period, word};
use crate::assemble::Drive;
use crate::motion::{Period as Engagement, RELEASED_SHARE};
use crate::report::words::plus_minus;
use crate::result::{Period, Verdict};
use wheelwitness_driveline::allowance::front_share;
use wheelwitness_driveline::quantity::Estimate;
use wheelwitness_driveline::vehicle::{Mode, Place};
use wheelwitness_driveline::verdict::{Bounds, agree, judge as judge_estimate};

/// An output that carries less than this part of its declared share is not driven (common
/// practice; a share of zero is what a free output reads).
const NOT_DRIVEN: f64 = 0.5;

/// Why what the input says is not used.
pub const INPUT_SILENT: &str = "the input's sensor was silent while the outputs turned";

/// A share in every period that tells it.
pub type Shares<'a> = Vec<(&'a Engagement, Estimate)>;

/// Bounds of a share of this declared size.
pub fn bounds_around(drive: &Drive, share: f64) -> Bounds {
    let width = drive.vehicle.limits.share_relative;
    Bounds::between(share * (1.0 - width), share * (1.0 + width))
}

/// Whether the ratio of a period's range is not the declared one: then input and outputs tell no
/// share.
fn is_range_wrong(drive: &Drive, p: &Engagement) -> bool {
    of_period(drive, p).is_some_and(|r| is_off(drive, &r, 1))
}

/// The front share in every period that tells it.
fn shares<'a>(drive: &Drive, mode: &Mode, periods: &[&'a Engagement]) -> Shares<'a> {
    let backlash = drive.vehicle.limits.backlash_turn;
    if is_pulse_in_doubt(drive) {
        return Vec::new();
    }
    let is_direct = drive.vehicle.ranges.get(&mode.range).is_none_or(|r| *r == 1.0);
    periods
        .iter()
        .filter(|p| !p.was_silent() && (is_direct || !is_range_wrong(drive, p)))
        .filter_map(|p| Some((*p, front_share(&p.segments, backlash)?)))
        .collect()
}

/// A share that is surely less than nothing or more than all.
fn is_no_share(e: &Estimate, n: usize) -> bool {
    let any = Bounds::between(-RELEASED_SHARE, 1.0 + RELEASED_SHARE);
    word(judge_estimate(e, any, n)) == Verdict::Disproven
}

/// What all periods together say about a share within bounds, if any says anything.
pub fn within(found: &Shares, bounds: Bounds) -> Option<Verdict> {
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

/// Whether an output with this declared share is driven: yes where its share is the declared one,
/// no where it carries next to none in some period. Any other share is a matter of
/// `torque-share`, and says neither.
pub fn driven(drive: &Drive, found: &Shares, share: f64) -> Option<Verdict> {
    let verdict = within(found, bounds_around(drive, share))?;
    let none = Bounds::within(NOT_DRIVEN * share);
    let is_free = |e: &Estimate| word(judge_estimate(e, none, found.len())) == Verdict::Proven;
    Some(match verdict {
        Verdict::Disproven if !found.iter().any(|(_, e)| is_free(e)) => Verdict::Undecided,
        verdict => verdict,
    })
}

/// The declared share of the front and what a mode's periods say of it, or why they say nothing.
pub fn told<'a>(
    drive: &Drive,
    mode: &Mode,
    periods: &[&'a Engagement],
) -> Result<(f64, Shares<'a>), Box<Finding>> {
    let no = |code, reason: &str, next: String| {
        Err(Box::new(Finding::undecided(&mode.name, code, reason.into(), next)))
    };
    let Some(declared) = drive.vehicle.center.front_share() else {
        let next = "turn one lifted front wheel by hand with the engine off, everything else held";
        return no("no-fixed-share", "this kind of center has no fixed share", next.into());
    };
    told_of(drive, mode, periods).map(|found| (declared, found))
}

/// What a mode's periods say of the front's share, or why they say nothing.
pub fn told_of<'a>(
    drive: &Drive,
    mode: &Mode,
    periods: &[&'a Engagement],
) -> Result<Shares<'a>, Box<Finding>> {
    let no = |code, reason: &str, next: String| {
        Err(Box::new(Finding::undecided(&mode.name, code, reason.into(), next)))
    };
    if !drive.vehicle.is_measured(Place::Input) {
        let next =
            "fit a sensor at the case input, or turn one lifted front wheel by hand (engine off)";
        let reason = "without the case input, outputs that differ do not show what drives them";
        return no("input-not-measured", reason, next.into());
    }
    if let Some(why) = drive.unsound() {
        return no("sensors-unsound", &why, "repair the sensor and drive again".into());
    }
    if drive.motions.was_input_silent(&drive.vehicle) {
        let next = "check the sensor's gap and wiring and drive again".into();
        return no("sensor-silent", INPUT_SILENT, next);
    }
    let found = shares(drive, mode, periods);
    if found.is_empty() && is_pulse_in_doubt(drive) {
        let reason = "the input reads as if it gave one pulse a turn more or fewer than declared";
        return no("pulse-or-gear", reason, COUNT_PULSES.into());
    }
    if let Some((_, e)) = found.iter().find(|(_, e)| is_no_share(e, found.len())) {
        let reason = format!(
            "the front's share reads {}: no case divides like this; counters know no directions, \
             so that outputs turned by hand against each other read so",
            plus_minus(e.value, 2.0 * e.u())
        );
        let next = "write what was turned by hand, with its times, into a hand sheet; or drive \
                    this mode again";
        return no("impossible-share", &reason, next.into());
    }
    match (found.is_empty(), periods.is_empty()) {
        (false, _) => Ok(found),
        (true, true) => {
            no("mode-not-driven", "this mode was never driven", exercise_next_step(mode))
        }
        (true, false) => {
            let reason = "the outputs hardly differed in this mode, or input and outputs do not \
                          fit the declared range";
            no("outputs-did-not-differ", reason, exercise_next_step(mode))
        }
    }
}

/// The share of every period, for a reason.
pub fn each(found: &Shares) -> String {
    let each = found.iter().map(|(_, e)| plus_minus(e.value, 2.0 * e.u()));
    each.collect::<Vec<_>>().join(", ")
}

/// The front's share is known, and decides nothing.
pub fn near_limit(mode: &Mode, found: &Shares) -> Finding {
    let value = each(found);
    let reason = format!("front share {value}: not certain enough, or the periods disagree");
    Finding::undecided(&mode.name, "near-limit", reason, exercise_next_step(mode))
}

/// The periods of the report.
pub fn shown(found: &Shares, bounds: Bounds) -> Vec<Period> {
    let one = |(p, e): &(&Engagement, Estimate)| {
        let word = word(judge_estimate(e, bounds, found.len()));
        let why = "input against outputs while they differ".to_string();
        period(p.engaged.start_us, p.engaged.end_us, p.records, word, why, &[e])
    };
    found.iter().map(one).collect()
}
