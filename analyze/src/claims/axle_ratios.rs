//! `axle-ratios-match`: the axle ratio that shaft and wheels show, and the gears that make it.
//!
//! A ratio of gears never changes while driving, and a sensor has a whole number of teeth: what
//! changes is a sensor's doing, and what one tooth more or less would explain is left open.

use super::sensors_agree::AXLES;
use super::{Finding, limit, period, word};
use crate::assemble::Drive;
use crate::learning::Tooth;
use crate::report::words::plus_minus;
use crate::result::{RecordRange, Verdict};
use crate::sound::place;
use wheelwitness_driveline::agreement::Agreement;
use wheelwitness_driveline::vehicle::{AxleKind, Place};
use wheelwitness_driveline::verdict::{Bounds, judge as judge_estimate};

/// Scatter of the pieces over their counting noise from which a ratio is not constant.
const NOT_CONSTANT: f64 = 3.0;

/// Usual tooth counts of a pinion (common practice).
const PINIONS: std::ops::RangeInclusive<u32> = 7..=15;

/// Usual axle ratios (common practice).
const RATIOS: std::ops::RangeInclusive<f64> = 2.5..=7.5;

/// One finding per axle.
pub fn judge(drive: &Drive) -> Vec<Finding> {
    (0..2).map(|axle| one(drive, axle)).collect()
}

fn one(drive: &Drive, axle: usize) -> Finding {
    let (scope, shaft, wheels) = AXLES[axle];
    let places = [shaft, wheels[0], wheels[1]];
    let no = |code, reason: String, next: &str| {
        Finding::undecided(scope, code, reason, next.to_string())
    };
    if !places.iter().all(|p| drive.vehicle.is_measured(*p)) {
        let reason = "shaft and both wheels of one axle are needed".into();
        let next = "fit these sensors, or turn the shaft ten times by hand and count wheel turns";
        return no("not-fitted", reason, next);
    }
    let kind = [drive.vehicle.axles.front.kind, drive.vehicle.axles.rear.kind][axle];
    if matches!(kind, AxleKind::Locked | AxleKind::LimitedSlip) {
        let reason = "the mean of the wheels says nothing about the shaft of this kind of axle";
        let next = "turn the shaft ten times by hand and count the wheel turns";
        return no("axle-not-open", reason.into(), next);
    }
    let bad = |t: &&Tooth| places.contains(&t.sensor.place) && (t.missing_tooth || t.extra_edges);
    if let Some(tooth) = drive.teeth.iter().find(bad) {
        let reason = format!("the {} sensor does not give its teeth", place(tooth.sensor.place));
        return no("sensors-unsound", reason, "repair the sensor and drive again");
    }
    if drive.motions.silent[axle].iter().any(|n| *n >= 4) {
        let reason = "a sensor of this axle was silent while the others turned".into();
        return no("sensor-silent", reason, "check the sensor's gap and wiring and drive again");
    }
    match &drive.motions.agreement[axle] {
        Some(found) => compare(drive, axle, found),
        None => no("too-few-turns", "too few turns to compare".into(), "drive 100 m"),
    }
}

fn compare(drive: &Drive, axle: usize, found: &Agreement) -> Finding {
    let scope = AXLES[axle].0;
    let bounds = Bounds::within(drive.vehicle.limits.sensor_ratio_percent);
    let limit = limit(drive, "axle ratio excess", bounds, "%", |l| [l.sensor_ratio_percent; 2]);
    let excess = &found.excess_percent;
    let declared = drive.setup.ratio[axle];
    let measured = declared * (1.0 + excess.value / 100.0);
    let u = declared * excess.u() / 100.0;
    let value = format!("measured {}, declared {declared:.4}", plus_minus(measured, 2.0 * u));
    let next = "turn the shaft by hand until a wheel has turned ten times (the other one too), \
                count the teeth of the sensors' rings, and correct the vehicle file";
    let undecided = |code, why: String| Finding::undecided(scope, code, why, next.into());
    let judged = word(judge_estimate(excess, bounds, 1));
    let tooth = other_teeth(drive, axle, excess.value, 3.0 * excess.u());
    let finding = match (judged, tooth) {
        (Verdict::Proven, _) => Finding::decided(scope, judged, "inside-limit", value),
        (Verdict::Undecided, _) => {
            let next = "drive 500 m more without stopping".into();
            Finding::undecided(scope, "near-limit", format!("{value}, too near the limit"), next)
        }
        _ if !is_constant(found) => {
            undecided("ratio-not-constant", format!("{value}, but it changed, and gears never do"))
        }
        (_, Some(place)) => undecided(
            "ratio-or-teeth",
            format!("{value}{}; or the {place} sensor has other teeth", gears(measured, u)),
        ),
        (_, None) => {
            let reason = format!("{value}{}", gears(measured, u));
            Finding::decided(scope, Verdict::Disproven, "outside-limit", reason)
        }
    };
    let records = RecordRange { first: found.records.0, last: found.records.1 };
    let why = format!("{:.0} shaft turns compared", found.shaft_turn);
    let word = finding.verdict;
    let shown = period(found.span_us.0, found.span_us.1, records, word, why, &[excess]);
    finding.against(limit).shown_by(vec![shown])
}

/// Whether the pieces scatter no more than counting makes them.
fn is_constant(found: &Agreement) -> bool {
    let of = |name: &str| {
        let all = found.excess_percent.components.iter().filter(|c| c.name == name);
        all.map(|c| c.u * c.u).sum::<f64>().sqrt()
    };
    of("scatter") <= NOT_CONSTANT * of("counting").max(0.01)
}

/// A sensor of this axle for which one to three teeth more or less than declared would explain the
/// excess, in percent within `u`: the shaft's, one wheel's, or those of both wheels alike.
fn other_teeth(drive: &Drive, axle: usize, excess: f64, u: f64) -> Option<&'static str> {
    let (_, shaft, [left, right]) = AXLES[axle];
    let by_shaft: fn(f64) -> f64 = |more| 1.0 + more;
    let by_wheel: fn(f64) -> f64 = |more| 1.0 / (1.0 + more / 2.0);
    let by_wheels: fn(f64) -> f64 = |more| 1.0 / (1.0 + more);
    let ways = [(shaft, by_shaft), (left, by_wheel), (right, by_wheel), (left, by_wheels)];
    let explains = |(p, ratio): &(Place, fn(f64) -> f64)| {
        let Some(sensor) = drive.vehicle.sensor(*p) else { return false };
        let teeth = f64::from(sensor.pulses_per_turn);
        [-3.0, -2.0, -1.0, 1.0, 2.0, 3.0]
            .into_iter()
            .any(|k| (100.0 * (ratio(k / teeth) - 1.0) - excess).abs() < u)
    };
    ways.into_iter().find(explains).map(|(p, _)| place(p))
}

/// The usual pair of crown wheel and pinion that makes a ratio, the nearest one first.
fn gears(measured: f64, u: f64) -> String {
    if !RATIOS.contains(&measured) {
        return String::new();
    }
    let near = |pinion: u32| {
        let crown = (measured * f64::from(pinion)).round();
        (crown, pinion, (crown / f64::from(pinion) - measured).abs())
    };
    let mut pairs: Vec<_> =
        PINIONS.map(near).filter(|p| p.2 < (3.0 * u).max(0.002 * measured)).collect();
    pairs.sort_by(|a, b| a.2.total_cmp(&b.2));
    match pairs.first() {
        Some((crown, pinion, _)) => format!(": {crown:.0} to {pinion} teeth would make it"),
        None => ": no usual pair of teeth makes it".into(),
    }
}
