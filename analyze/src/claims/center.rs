//! `center-opens` and `center-locks`: the allowance of each engagement period, judged by itself.

use super::by_hand::{Asked, with_hand};
use super::share::{driven, told};
use super::{Finding, limit, period, seconds, word};
use crate::assemble::Drive;
use crate::motion::Period as Engagement;
use crate::report::words::plus_minus;
use crate::result::{Period, Verdict};
use wheelwitness_driveline::allowance::{Allowance, EXERCISE_TURN};
use wheelwitness_driveline::quantity::{Component, Estimate};
use wheelwitness_driveline::vehicle::{Coupling, Mode, Place};
use wheelwitness_driveline::verdict::{Bounds, agree, factor, judge as judge_estimate};

/// The allowances of a mode's periods, and why others have none.
pub struct Allowances<'a> {
    /// Periods that exercised the mode.
    pub found: Vec<(&'a Engagement, Allowance)>,
    /// Some period had no source of curvature.
    pub no_curvature: bool,
    /// Some period had a silent sensor.
    pub silent: bool,
}

/// Fits every period of a mode.
pub fn allowances<'a>(drive: &Drive, periods: &[&'a Engagement]) -> Allowances<'a> {
    let backlash = drive.vehicle.limits.backlash_turn;
    let mut all = Allowances { found: Vec::new(), no_curvature: false, silent: false };
    for p in periods {
        if p.was_silent() {
            all.silent = true;
        } else if let Some(a) = p.allowance(backlash, drive.motions.prior) {
            all.found.push((*p, a));
        } else if rolled_unseen(p) {
            all.no_curvature = true;
        }
    }
    all
}

/// Whether a period was driven for a way without anything that measures how the path turned.
fn rolled_unseen(p: &Engagement) -> bool {
    let rolled = p.segments.iter().filter(|s| !s.lifted);
    let (seen, unseen) = rolled.fold((0.0, 0.0), |(seen, unseen), s| match s.source {
        Some(_) => (seen + s.rear, unseen),
        None => (seen, unseen + s.rear),
    });
    unseen > 20.0 && unseen > seen
}

/// `center-opens`: one finding per mode row with the coupling `differential`.
pub fn judge_opens(drive: &Drive) -> Vec<Finding> {
    let modes = drive.modes_with(Coupling::Differential);
    let one = |(mode, periods): (&Mode, Vec<&Engagement>)| {
        with_hand(drive, mode, Asked::Opens, opens(drive, mode, &periods))
    };
    modes.into_iter().map(one).collect()
}

/// `center-locks`: one finding per mode row with the coupling `locked`.
pub fn judge_locks(drive: &Drive) -> Vec<Finding> {
    let modes = drive.modes_with(Coupling::Locked);
    let one = |(mode, periods): (&Mode, Vec<&Engagement>)| {
        with_hand(drive, mode, Asked::Locks, locks(drive, mode, &periods))
    };
    modes.into_iter().map(one).collect()
}

fn opens(drive: &Drive, mode: &Mode, periods: &[&Engagement]) -> Finding {
    let scope = mode.name.as_str();
    if drive.vehicle.center.front_share().is_none() {
        let reason = "this kind of center has no single allowance".into();
        let next = "test it by hand with one wheel lifted, engine off, as the maker describes";
        return Finding::undecided(scope, "no-single-allowance", reason, next.into());
    }
    let all = match evidence(drive, mode, periods) {
        Ok(all) => all,
        Err(finding) => return *finding,
    };
    let limits = &drive.vehicle.limits;
    let bounds = Bounds::between(limits.allowance_open_min, limits.allowance_open_max);
    let limit =
        limit(drive, "allowance", bounds, "1", |l| [l.allowance_open_min, l.allowance_open_max]);
    let (verdict, shown) = judged(&all.found, bounds);
    let told = told(drive, mode, periods).ok();
    let share = told.and_then(|(declared, found)| driven(drive, &found, declared));
    let value = typical(&all.found);
    let finding = match (verdict, share) {
        (Verdict::Disproven, _) => {
            disproven(&shown, scope, "differ less or more than the road demands")
        }
        (_, Some(Verdict::Disproven)) => Finding::decided(
            scope,
            Verdict::Disproven,
            "front-not-coupled",
            format!(
                "the outputs differ (allowance {value}), but the front is not driven through the \
                 center differential"
            ),
        ),
        (Verdict::Proven, Some(Verdict::Proven)) => Finding::decided(
            scope,
            Verdict::Proven,
            "inside-limit",
            format!("allowance {value}, and the front is coupled"),
        ),
        (Verdict::Proven, _) => {
            let next = match drive.vehicle.is_measured(Place::Input) {
                true => exercise_next_step(mode),
                false => "fit a sensor at the case input, or turn one lifted front wheel by hand \
                         (engine off)"
                    .into(),
            };
            let reason = format!(
                "allowance {value}, but a front axle that is not driven would follow the road \
                 just so"
            );
            Finding::undecided(scope, "front-coupling-not-shown", reason, next)
        }
        (Verdict::Undecided, _) => near(scope, mode, &value),
    };
    finding.against(limit).shown_by(shown)
}

fn locks(drive: &Drive, mode: &Mode, periods: &[&Engagement]) -> Finding {
    let scope = mode.name.as_str();
    let all = match evidence(drive, mode, periods) {
        Ok(all) => all,
        Err(finding) => return *finding,
    };
    let bounds = locked_bounds(drive);
    let limit = limit(drive, "allowance", bounds, "1", |l| [l.allowance_locked_max; 2]);
    let (fits, mut shown) = judged(&all.found, bounds);
    let value = typical(&all.found);
    let finding = match locked_verdict(drive, &all.found) {
        Some(Verdict::Disproven) => match slipping(drive, &all.found) {
            Some((at_s, manoeuvre)) => {
                let reason = format!(
                    "from {at_s:.0} s the outputs differ by {:.0} % of what the road demands",
                    100.0 * manoeuvre.value
                );
                // On the whole its period may still look like a lock.
                for p in shown.iter_mut().filter(|p| p.start_s <= at_s && at_s < p.end_s) {
                    (p.verdict, p.reason) = (Verdict::Disproven, reason.clone());
                }
                Finding::decided(scope, Verdict::Disproven, "outside-limit", reason)
            }
            None => disproven(&shown, scope, "differ in step with the road"),
        },
        Some(Verdict::Proven) => Finding::decided(
            scope,
            Verdict::Proven,
            "inside-limit",
            format!(
                "allowance {value}: the outputs stayed together against {:.1} demanded turns",
                demanded(&all.found)
            ),
        ),
        // Said first, also where the limit is near: a narrower allowance would not help.
        _ if slip_may_cancel(&all.found) => Finding::undecided(
            scope,
            "slip-may-cancel",
            format!(
                "allowance {value}, but in turns as wide as these, rear wheels that slip would \
                 have kept the outputs together without a lock"
            ),
            exercise_next_step(mode),
        ),
        _ if fits != Verdict::Proven && was_hardly_silent(&all.found) => Finding::undecided(
            scope,
            "hardly-silent",
            format!(
                "allowance {value}, but one output's sensor gave nothing for a moment while the \
                 other turned: it may have missed edges"
            ),
            "check the sensor's gap, then drive this mode again without stopping in the turns"
                .into(),
        ),
        _ if fits == Verdict::Proven => Finding::undecided(
            scope,
            "parted-beyond-play",
            format!(
                "allowance {value}, but the outputs parted by {:.2} turns at once, more than play \
                 allows: the lock may not have held all the time",
                parted(drive, &all.found).unwrap_or_default()
            ),
            exercise_next_step(mode),
        ),
        _ => near(scope, mode, &value),
    };
    finding.against(limit).shown_by(shown)
}

fn locked_bounds(drive: &Drive) -> Bounds {
    Bounds::within(drive.vehicle.limits.allowance_locked_max)
}

/// Periods of the report in which a pair showed itself as locked: what that means is the claim's
/// `word`.
pub fn stayed_together(
    found: &[(&Engagement, Allowance)],
    word: Verdict,
    why: &str,
) -> Vec<Period> {
    let one = |(p, a): &(&Engagement, Allowance)| {
        let (start, end) = (p.engaged.start_us, p.engaged.end_us);
        period(start, end, p.records, word, why.into(), &[&a.allowance])
    };
    found.iter().map(one).collect()
}

/// What the periods of a locked mode say together: the fit of each period, every manoeuvre in it,
/// and the difference let through with the distance.
pub fn locked_verdict(drive: &Drive, found: &[(&Engagement, Allowance)]) -> Option<Verdict> {
    if found.is_empty() {
        return None;
    }
    let (verdict, _) = judged(found, locked_bounds(drive));
    if against_road(drive, found).is_some() {
        return Some(Verdict::Undecided);
    }
    if slipping(drive, found).is_some() {
        return Some(Verdict::Disproven);
    }
    if verdict == Verdict::Disproven || found.iter().any(|(p, a)| drifts(drive, p, a)) {
        let blind = was_hardly_silent(found);
        return Some(if blind { Verdict::Undecided } else { Verdict::Disproven });
    }
    let is_open = slip_may_cancel(found) || parted(drive, found).is_some();
    if verdict == Verdict::Proven && is_open {
        return Some(Verdict::Undecided);
    }
    Some(verdict)
}

/// True where a front axle that nothing drives would have stayed with the rear one as well,
/// because its wheels slipped by what the turn demanded.
fn slip_may_cancel(found: &[(&Engagement, Allowance)]) -> bool {
    found.iter().any(|(_, a)| a.against_free_front < factor(f64::INFINITY, 1).powi(2))
}

/// True where an output's sensor gave nothing for a moment while the other output turned. Before
/// and after that it may have missed edges, and what it missed looks like a lock that slips.
fn was_hardly_silent(found: &[(&Engagement, Allowance)]) -> bool {
    found.iter().any(|(p, _)| p.silent_steps > 0)
}

/// By how much the outputs of a period parted at once, where that is surely more than play.
fn parted(drive: &Drive, found: &[(&Engagement, Allowance)]) -> Option<f64> {
    let mut all = found.iter().map(|(p, _)| p.parted_turn);
    all.find(|turns| *turns > drive.vehicle.limits.backlash_turn)
}

/// The first manoeuvre in which the outputs differed as no locked pair does.
fn slipping<'a>(
    drive: &Drive,
    found: &'a [(&Engagement, Allowance)],
) -> Option<(f64, &'a Estimate)> {
    first_outside(found, locked_bounds(drive))
}

/// The first manoeuvre in which the outputs differed against what the road demands: a center lets
/// through some of the demand, all or nothing.
fn against_road<'a>(
    drive: &Drive,
    found: &'a [(&Engagement, Allowance)],
) -> Option<(f64, &'a Estimate)> {
    let least = -drive.vehicle.limits.allowance_locked_max;
    first_outside(found, Bounds::between(least, f64::INFINITY))
}

fn first_outside<'a>(
    found: &'a [(&Engagement, Allowance)],
    bounds: Bounds,
) -> Option<(f64, &'a Estimate)> {
    let n = found.iter().map(|(_, a)| a.manoeuvres.len()).sum();
    let outside = |e: &Estimate| word(judge_estimate(e, bounds, n)) == Verdict::Disproven;
    let mut all = found.iter().flat_map(|(_, a)| &a.manoeuvres);
    all.find(|m| outside(&m.allowance)).map(|m| (seconds(m.start_us), &m.allowance))
}

/// True when the counted difference grew with the distance, beyond what play can explain and what a
/// pair within its limit lets through of the known mismatch: it sees one difference, and the limit
/// is a share of that, whether a turn makes it or the tyres.
fn drifts(drive: &Drive, p: &Engagement, a: &Allowance) -> bool {
    let limits = &drive.vehicle.limits;
    let play = 2.0 * limits.backlash_turn;
    let share = limits.allowance_locked_max * drive.motions.prior.mean.abs() * p.rear_turn;
    let mut let_through = a.mismatch.clone();
    let_through.value *= p.rear_turn;
    let_through.components.iter_mut().for_each(|c| c.u *= p.rear_turn);
    let_through.components.push(Component::own("backlash", play / 12f64.sqrt()));
    word(judge_estimate(&let_through, Bounds::within(play + share), 1)) == Verdict::Disproven
        && a.counted_range > play
}

/// The allowances of a mode, or why there are none.
fn evidence<'a>(
    drive: &Drive,
    mode: &Mode,
    periods: &[&'a Engagement],
) -> Result<Allowances<'a>, Box<Finding>> {
    let scope = mode.name.as_str();
    let no = |code, reason: &str, next: String| {
        Err(Box::new(Finding::undecided(scope, code, reason.into(), next)))
    };
    let fitted = |p: Place| drive.vehicle.is_measured(p);
    if !Place::AXLES
        .iter()
        .all(|(shaft, wheels)| fitted(*shaft) || wheels.iter().all(|w| fitted(*w)))
    {
        let next =
            "fit a sensor on each propeller shaft at the drive, or on all four wheels".into();
        return no("outputs-not-measured", "both outputs must be measured", next);
    }
    if let Some(why) = drive.unsound() {
        return no("sensors-unsound", &why, "repair the sensor and drive again".into());
    }
    if periods.is_empty() {
        return no("mode-not-driven", "this mode was never driven", exercise_next_step(mode));
    }
    let all = allowances(drive, periods);
    if all.silent {
        let reason = "one output's sensor was silent while the other turned";
        return no(
            "sensor-silent",
            reason,
            "check the sensor's gap and wiring and drive again".into(),
        );
    }
    if all.found.is_empty() && all.no_curvature {
        let next = "add rear wheel sensors or a GNSS receiver, or declare a marked circle".into();
        let reason = match drive.setup.rear_wheels_tell {
            true => "nothing measures how the path turned",
            false => {
                "a rear wheel counts edges that no tooth makes (noise), and nothing else \
                      measures how the path turned"
            }
        };
        return no("no-curvature", reason, next);
    }
    if all.found.is_empty() {
        let reason = "the road demanded next to no difference in this mode";
        return no("no-turning-in-mode", reason, exercise_next_step(mode));
    }
    if let Some((at_s, e)) = against_road(drive, &all.found) {
        let reason = format!(
            "from {at_s:.0} s the outputs differ against what the road demands (allowance {:.2}), \
             which no center does: a sensor loses pulses",
            e.value
        );
        let next = "check gap and wiring of the sensors of both outputs and drive again".into();
        return no("against-the-road", &reason, next);
    }
    Ok(all)
}

/// Judges every period, and all of them together.
fn judged(found: &[(&Engagement, Allowance)], bounds: Bounds) -> (Verdict, Vec<Period>) {
    let n = found.len();
    let words: Vec<Verdict> =
        found.iter().map(|(_, a)| word(judge_estimate(&a.allowance, bounds, n))).collect();
    let shown = found
        .iter()
        .zip(&words)
        .map(|((p, a), word)| {
            let plain = |name: &str, value: f64, unit: &str| Estimate {
                name: name.into(),
                value,
                unit: unit.into(),
                components: Vec::new(),
            };
            let turning = plain("demanded turn part", a.demanded_turn, "turn");
            let range = plain("counted range", a.counted_range, "turn");
            let front = plain("front turns", p.front_turn, "turn");
            let rear = plain("rear turns", p.rear_turn, "turn");
            let why = format!(
                "{:.1} turns demanded, {:.0} turns straight",
                a.demanded_turn, a.straight_turn
            );
            let estimates = [&a.allowance, &a.mismatch, &turning, &range, &front, &rear];
            period(p.engaged.start_us, p.engaged.end_us, p.records, *word, why, &estimates)
        })
        .collect();
    let estimates: Vec<&Estimate> = found.iter().map(|(_, a)| &a.allowance).collect();
    let verdict = match words {
        w if w.contains(&Verdict::Disproven) => Verdict::Disproven,
        w if w.iter().all(|v| *v == Verdict::Proven) && agree(&estimates) => Verdict::Proven,
        _ => Verdict::Undecided,
    };
    (verdict, shown)
}

fn disproven(shown: &[Period], scope: &str, how: &str) -> Finding {
    let bad = shown.iter().find(|p| p.verdict == Verdict::Disproven);
    let reason = match bad {
        Some(p) => format!(
            "from {:.0} s the outputs {how} (allowance {:.2})",
            p.start_s,
            p.estimates[0].value.unwrap_or(f64::NAN)
        ),
        None => format!("the outputs {how}"),
    };
    Finding::decided(scope, Verdict::Disproven, "outside-limit", reason)
}

fn near(scope: &str, mode: &Mode, value: &str) -> Finding {
    let reason = format!("allowance {value}: not certain enough, or the periods disagree");
    Finding::undecided(scope, "near-limit", reason, exercise_next_step(mode))
}

fn typical(found: &[(&Engagement, Allowance)]) -> String {
    let each: Vec<String> =
        found.iter().map(|(_, a)| plus_minus(a.allowance.value, 2.0 * a.allowance.u())).collect();
    each.join(", ")
}

fn demanded(found: &[(&Engagement, Allowance)]) -> f64 {
    found.iter().map(|(_, a)| a.demanded_turn).sum()
}

/// What to drive so that a mode is exercised.
pub fn exercise_next_step(mode: &Mode) -> String {
    let ground = match mode.coupling {
        Coupling::Locked => " on loose ground",
        _ => "",
    };
    format!(
        "in {}, drive two full circles each way at full lock and walking pace{ground}, then 100 m \
         straight (at least {EXERCISE_TURN} turns must be demanded)",
        mode.name
    )
}
