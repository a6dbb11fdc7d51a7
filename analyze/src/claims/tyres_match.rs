//! `tyres-match`: front against rear, left against right.

use super::sensors_agree::AXLES;
use super::{Finding, limit, period, word};
use crate::assemble::Drive;
use crate::learning::Tooth;
use crate::result::{RecordRange, Verdict};
use crate::sound::place;
use wheelwitness_driveline::effect::mismatch_effect;
use wheelwitness_driveline::mismatch::STRAIGHT_MIN_M;
use wheelwitness_driveline::vehicle::Place;
use wheelwitness_driveline::verdict::{Bounds, judge as judge_estimate};

const COMPARISONS: [(&str, &str, &[Place], &[Place]); 3] = [
    (
        "front/rear",
        "front less rear",
        &[Place::FrontLeft, Place::FrontRight, Place::RearLeft, Place::RearRight],
        &[Place::FrontShaft, Place::RearShaft],
    ),
    ("front left/right", "left less right", &[Place::FrontLeft, Place::FrontRight], &[]),
    ("rear left/right", "left less right", &[Place::RearLeft, Place::RearRight], &[]),
];

/// Tyres of one vehicle never differ by so much of their circumference (common practice).
const NO_TYRE: f64 = 0.2;

/// One finding per comparison that the fit allows.
pub fn judge(drive: &Drive) -> Vec<Finding> {
    (0..COMPARISONS.len()).map(|k| one(drive, k)).collect()
}

fn one(drive: &Drive, k: usize) -> Finding {
    let (scope, sense, wheels, shafts) = COMPARISONS[k];
    let fitted = |places: &[Place]| {
        !places.is_empty() && places.iter().all(|p| drive.vehicle.is_measured(*p))
    };
    if !fitted(wheels) && !fitted(shafts) {
        let reason = "these wheels are not measured".into();
        let next = "fit wheel sensors on both sides".into();
        return Finding::undecided(scope, "not-fitted", reason, next);
    }
    if let Some(why) = broken(drive, if fitted(wheels) { wheels } else { shafts }) {
        let next = "repair the sensor and drive again".into();
        return Finding::undecided(scope, "sensors-unsound", why, next);
    }
    let size = drive.vehicle.limits.circumference_mm;
    let limit = limit(drive, "circumference difference", Bounds::within(size), "mm", |l| {
        [l.circumference_mm; 2]
    });
    let Some(m) = &drive.motions.mismatch[k] else {
        return too_little(drive, k).against(limit);
    };
    let circumference_mm = 1e3 * drive.setup.circumference_m[usize::from(k == 2)];
    if m.difference_mm.value.abs() > NO_TYRE * circumference_mm {
        let reason = "they turned too differently for any tyres: a sensor misses pulses, or its \
                      pulses_per_turn or an axle ratio is not as declared"
            .into();
        let next = "check gap, wiring and tooth count of these sensors and drive again".into();
        return Finding::undecided(scope, "sensors-unsound", reason, next).against(limit);
    }
    let verdict = word(judge_estimate(&m.difference_mm, Bounds::within(size), 1));
    // Rounded before it is printed, plus 0: never `-0.0`.
    let tenths = (m.difference_mm.value * 10.0).round() / 10.0 + 0.0;
    let effect = if k == 0 { effect(drive, m.difference_mm.value) } else { String::new() };
    let value = format!("{sense}: {tenths:+.1} mm");
    let records = RecordRange { first: m.records.0, last: m.records.1 };
    let why = format!("{:.0} m of straight running, at zero traction", m.straight_m);
    let shown = vec![period(m.span_us.0, m.span_us.1, records, verdict, why, &[&m.difference_mm])];
    let finding = match verdict {
        Verdict::Proven => Finding::decided(scope, verdict, "inside-limit", value + &effect),
        Verdict::Disproven => Finding::decided(scope, verdict, "outside-limit", value + &effect),
        Verdict::Undecided => Finding::undecided(
            scope,
            "near-limit",
            format!("{value}, too near the limit to tell{effect}"),
            "drive 500 m more straight and steady at 30 to 60 km/h, both pulling and coasting"
                .into(),
        ),
    };
    finding.against(limit).shown_by(shown)
}

/// What a difference of circumferences, front less rear in millimetres, does together with the
/// axle ratios: in words, as nobody drives millimetres.
fn effect(drive: &Drive, difference_mm: f64) -> String {
    let rear_m = drive.setup.circumference_m[1];
    let circumference = [rear_m + 1e-3 * difference_mm, rear_m];
    let measured = |axle: usize| {
        let excess = drive.motions.agreement[axle].as_ref().map(|a| a.excess_percent.value);
        drive.setup.ratio[axle] * (1.0 + excess.unwrap_or(0.0) / 100.0)
    };
    let is_measured = drive.motions.agreement.iter().all(Option::is_some);
    let e = mismatch_effect([measured(0), measured(1)], circumference);
    let tenths = |x: f64| (x * 10.0).round() / 10.0 + 0.0;
    let split = match is_measured {
        true => format!(
            " ({:+.1} by the tyres, {:+.1} by the axle ratios)",
            tenths(e.by_tyres_per_km),
            tenths(e.by_axles_per_km)
        ),
        false => " (axle ratios as declared)".to_string(),
    };
    format!(
        ". In every straight km the front output turns {:+.1} times against the rear one{split}; \
         with the center locked the tyres slip {:.1} m instead",
        tenths(e.turns_per_km),
        e.slip_m_per_km
    )
}

/// A sensor of these places that cannot be trusted.
fn broken(drive: &Drive, places: &[Place]) -> Option<String> {
    let used = |t: &&Tooth| places.contains(&t.sensor.place);
    drive
        .teeth
        .iter()
        .filter(used)
        .find_map(|t| Some(format!("the {} sensor {}", place(t.sensor.place), t.trouble()?)))
        .or_else(|| (0..2).find_map(|axle| at_odds(drive, axle, places)))
        .or_else(|| drive.unsound())
}

/// Shaft and wheels of an axle that do not turn as declared: one of these sensors counts
/// otherwise than it should, and nothing here says which.
pub(super) fn at_odds(drive: &Drive, axle: usize, places: &[Place]) -> Option<String> {
    let (name, shaft, wheels) = AXLES[axle];
    let used = [shaft, wheels[0], wheels[1]].iter().any(|p| places.contains(p));
    let excess = &drive.motions.agreement[axle].as_ref()?.excess_percent;
    let bounds = Bounds::within(drive.vehicle.limits.sensor_ratio_percent);
    let disproven = word(judge_estimate(excess, bounds, 1)) == Verdict::Disproven;
    (used && disproven).then(|| {
        format!("shaft and wheel sensors of the {name} disagree by {:+.2} %", excess.value)
    })
}

fn too_little(drive: &Drive, k: usize) -> Finding {
    let scope = COMPARISONS[k].0;
    // The sum of nothing is -0; plus 0 it is 0.
    let seen = drive.motions.straight_m[k] + 0.0;
    if k > 0 && seen >= STRAIGHT_MIN_M {
        return Finding::undecided(
            scope,
            "no-course",
            "left and right wheels alone cannot tell a curve from a difference of tyres".into(),
            "record a GNSS receiver too and drive 300 m straight above 15 km/h".into(),
        );
    }
    Finding::undecided(
        scope,
        "too-little-straight",
        format!(
            "{seen:.0} m of straight running in an unlocked mode, {STRAIGHT_MIN_M:.0} m are needed"
        ),
        "drive 300 m straight and steady in rear-only or with the center differential open".into(),
    )
}
