//! `range-ratio`: input against outputs, by the ratio declared for each range.

use super::share::INPUT_SILENT;
use super::{Finding, limit, period, word};
use crate::assemble::Drive;
use crate::motion::Period as Engagement;
use crate::report::words::plus_minus;
use crate::result::Verdict;
use wheelwitness_driveline::quantity::Estimate;
use wheelwitness_driveline::range::{RANGE_MIN_TURN, RangeRatio, range_ratio};
use wheelwitness_driveline::vehicle::{Coupling, Place};
use wheelwitness_driveline::verdict::{Bounds, agree, factor, judge as judge_estimate};

/// What to do about an input that may give a pulse a turn more or fewer than declared.
pub const COUNT_PULSES: &str = "count the pulses of one turn of the input by hand, correct \
                                pulses_per_turn or repair the sensor, and drive again";

/// One finding per range that a mode uses.
pub fn judge(drive: &Drive) -> Vec<Finding> {
    let uses = |name: &str| drive.vehicle.modes.iter().any(|m| m.range == name);
    let ranges = drive.vehicle.ranges.iter().filter(|(name, _)| uses(name));
    ranges.map(|(name, declared)| one(drive, name, *declared)).collect()
}

fn one(drive: &Drive, name: &str, declared: f64) -> Finding {
    let size = drive.vehicle.limits.sensor_ratio_percent;
    let bounds = Bounds::within(size);
    let limit = limit(drive, "range ratio excess", bounds, "%", |l| [l.sensor_ratio_percent; 2]);
    let found = match evidence(drive, name) {
        Ok(found) => found,
        Err(finding) => return finding.against(limit),
    };
    let n = found.len();
    let judged = |r: &RangeRatio| word(judge_estimate(&r.excess_percent, bounds, n));
    // A period too short to decide anything does not exercise the claim, unless it refutes it.
    let tells = |r: &RangeRatio| 3.0 * r.excess_percent.u() < size;
    let (telling, short): (Vec<_>, Vec<_>) =
        found.into_iter().partition(|(_, r)| tells(r) || judged(r) == Verdict::Disproven);
    let found = if telling.is_empty() { short } else { telling };
    let words: Vec<Verdict> = found.iter().map(|(_, r)| judged(r)).collect();
    let estimates: Vec<&Estimate> = found.iter().map(|(_, r)| &r.excess_percent).collect();
    let verdict = match &words {
        w if w.contains(&Verdict::Disproven) => Verdict::Disproven,
        w if w.iter().all(|v| *v == Verdict::Proven) && agree(&estimates) => Verdict::Proven,
        _ => Verdict::Undecided,
    };
    let worst = words.iter().position(|w| *w == verdict).unwrap_or(0);
    let excess = &found[worst].1.excess_percent;
    let measured = declared * (1.0 + excess.value / 100.0);
    let u = declared * excess.u() / 100.0;
    let value = format!("measured {}, declared {declared}", plus_minus(measured, 2.0 * u));
    let finding = match verdict {
        Verdict::Proven => Finding::decided(name, verdict, "inside-limit", value),
        Verdict::Disproven => {
            let reason = format!("{value}{}", lead(drive, name, measured));
            Finding::decided(name, verdict, "outside-limit", reason)
        }
        Verdict::Undecided => Finding::undecided(
            name,
            "near-limit",
            format!("{value}: not certain enough, or the periods disagree"),
            next_step(drive, name),
        ),
    };
    let shown = found.iter().zip(words).map(|((p, r), word)| {
        let why = format!("{:.0} output turns against the input", r.turns);
        let (start, end) = (p.engaged.start_us, p.engaged.end_us);
        period(start, end, p.records, word, why, &[&r.excess_percent])
    });
    finding.against(limit).shown_by(shown.collect())
}

/// What the periods in a range say, or why they say nothing.
fn evidence<'a>(
    drive: &'a Drive,
    name: &str,
) -> Result<Vec<(&'a Engagement, RangeRatio)>, Box<Finding>> {
    let no = |code, reason: &str, next: String| {
        Err(Box::new(Finding::undecided(name, code, reason.into(), next)))
    };
    if !drive.vehicle.is_measured(Place::Input) {
        let next = "fit a sensor at the case input (or at the gearbox output before it)";
        return no("input-not-measured", "the case input is not measured", next.into());
    }
    if let Some(why) = drive.unsound() {
        return no("sensors-unsound", &why, "repair the sensor and drive again".into());
    }
    if drive.motions.was_input_silent(&drive.vehicle) {
        let next = "check the sensor's gap and wiring and drive again".into();
        return no("sensor-silent", INPUT_SILENT, next);
    }
    let mode = |p: &Engagement| &drive.vehicle.modes[p.engaged.mode];
    let in_range: Vec<&Engagement> = drive
        .motions
        .periods
        .iter()
        .filter(|p| p.engaged.certain && !p.was_silent() && mode(p).range == name)
        .collect();
    let found: Vec<_> =
        in_range.into_iter().filter_map(|p| Some((p, of_period(drive, p)?))).collect();
    if found.is_empty() {
        let reason = format!(
            "this range was driven for less than {RANGE_MIN_TURN:.0} output turns with the input \
             measured"
        );
        return no("range-not-driven", &reason, next_step(drive, name));
    }
    let blind =
        |(p, r): &&(&Engagement, RangeRatio)| p.silent_steps > 0 && is_off(drive, r, found.len());
    if let Some((_, r)) = found.iter().find(blind) {
        let reason = format!(
            "the input turned {:+.1} % against the outputs, but one output's sensor gave nothing \
             for a moment while the other turned: it may have missed edges",
            r.excess_percent.value
        );
        let next = "check the sensor's gap, then drive this range again without stopping";
        return no("hardly-silent", &reason, next.into());
    }
    let explained = |r: &RangeRatio| is_off(drive, r, found.len()) && pulse_explains(drive, r);
    if let Some((_, r)) = found.iter().find(|(_, r)| explained(r)) {
        let reason = format!(
            "the input gave {:+.1} % pulses: a gear that is not the declared one, or one pulse a \
             turn more or fewer than declared",
            r.excess_percent.value
        );
        return no("pulse-or-gear", &reason, COUNT_PULSES.into());
    }
    Ok(found)
}

/// The range ratio of a period by the coupling that its mode row declares.
pub fn of_period(drive: &Drive, p: &Engagement) -> Option<RangeRatio> {
    let coupling = drive.vehicle.modes[p.engaged.mode].coupling;
    let backlash = drive.vehicle.limits.backlash_turn;
    range_ratio(&p.segments, coupling, drive.vehicle.center.front_share(), backlash)
}

/// Whether the ratio of a range, one of `n` of its periods, is not the declared one.
pub fn is_off(drive: &Drive, r: &RangeRatio, n: usize) -> bool {
    let bounds = Bounds::within(drive.vehicle.limits.sensor_ratio_percent);
    word(judge_estimate(&r.excess_percent, bounds, n)) == Verdict::Disproven
}

/// Whether some period of the drive reads as if the input gave a pulse a turn more or fewer than
/// declared: the input then tells nothing in any other period either, however short.
pub fn is_pulse_in_doubt(drive: &Drive) -> bool {
    let tells = |p: &&Engagement| p.engaged.certain && !p.was_silent();
    let off = |r: &RangeRatio| is_off(drive, r, 1) && pulse_explains(drive, r);
    let periods = drive.motions.periods.iter().filter(tells);
    periods.filter_map(|p| of_period(drive, p)).any(|r| off(&r))
}

/// Whether the input's sensor, giving a pulse a turn more or fewer than declared, would read just
/// so. Of a few pulses a turn no pattern tells that one is missing.
fn pulse_explains(drive: &Drive, r: &RangeRatio) -> bool {
    let input = drive.vehicle.sensors.iter().find(|s| s.place == Place::Input);
    let Some(n) = input.map(|s| f64::from(s.pulses_per_turn)) else { return false };
    let near = |percent: f64| {
        (r.excess_percent.value - percent).abs() < factor(f64::INFINITY, 1) * r.excess_percent.u()
    };
    near(100.0 / n) || near(-100.0 / n)
}

/// Another range whose ratio was measured instead.
fn lead(drive: &Drive, name: &str, measured: f64) -> String {
    let close = |ratio: f64| (measured / ratio - 1.0).abs() < 0.02;
    let other = drive.vehicle.ranges.iter().find(|(n, r)| n.as_str() != name && close(**r));
    match other {
        Some((other, _)) => format!(": that is the ratio of the range `{other}`"),
        None => ": other gears, or another tooth count of the input's sensor, than declared".into(),
    }
}

fn next_step(drive: &Drive, name: &str) -> String {
    let of_range = |locked: bool| {
        let couples = |c: Coupling| c != Coupling::Neutral && (c == Coupling::Locked) == locked;
        drive.vehicle.modes.iter().find(|m| m.range == name && couples(m.coupling))
    };
    let mode = of_range(false).or(of_range(true));
    let mode = mode.map_or("a mode of this range", |m| m.name.as_str());
    format!("in {mode}, drive 100 m straight and steady")
}
