//! `sensors-agree`: shaft against wheels of each axle, and the tooth pattern of every sensor.

use super::{Finding, limit, period, seconds, word};
use crate::assemble::Drive;
use crate::motion::SILENT_STEPS;
use crate::result::{RecordRange, Verdict};
use crate::sound::{exchange, place};
use wheelwitness_driveline::places::Exchange;
use wheelwitness_driveline::pulse::STEP_US;
use wheelwitness_driveline::vehicle::{AxleKind, Place};
use wheelwitness_driveline::verdict::{Bounds, judge as judge_estimate};

/// Name, shaft and wheels of each axle.
pub(super) const AXLES: [(&str, Place, [Place; 2]); 2] = [
    ("front axle", Place::AXLES[0].0, Place::AXLES[0].1),
    ("rear axle", Place::AXLES[1].0, Place::AXLES[1].1),
];

/// One finding per axle that has a sensor.
pub fn judge(drive: &Drive) -> Vec<Finding> {
    (0..2).filter_map(|axle| one(drive, axle)).collect()
}

fn one(drive: &Drive, axle: usize) -> Option<Finding> {
    let (scope, shaft, wheels) = AXLES[axle];
    let places = [shaft, wheels[0], wheels[1]];
    let fitted = places.map(|p| drive.vehicle.is_measured(p));
    if fitted == [false; 3] {
        return None;
    }
    let broken = drive.teeth.iter().find(|t| t.missing_tooth && places.contains(&t.sensor.place));
    if let Some(tooth) = broken {
        let reason = format!(
            "the {} sensor gives one pulse a turn fewer than declared: one gap is twice as long, \
             every turn",
            place(tooth.sensor.place)
        );
        return Some(Finding::decided(scope, Verdict::Disproven, "missing-pulse", reason));
    }
    let kind = [drive.vehicle.axles.front.kind, drive.vehicle.axles.rear.kind][axle];
    if fitted != [true; 3] {
        let missing: Vec<_> =
            places.iter().zip(fitted).filter(|(_, f)| !f).map(|(p, _)| place(*p)).collect();
        return Some(Finding::undecided(
            scope,
            "not-fitted",
            "shaft and both wheels of one axle are needed".into(),
            format!("fit a sensor: {}", missing.join(", ")),
        ));
    }
    if matches!(kind, AxleKind::Locked | AxleKind::LimitedSlip) {
        return Some(Finding::undecided(
            scope,
            "axle-not-open",
            "the mean of the wheels says nothing about the shaft of this kind of axle".into(),
            "compare by hand: turn the shaft ten times and count the wheel turns".into(),
        ));
    }
    Some(compare(drive, axle))
}

/// Sensors of this axle that sit elsewhere: in turns they contradict the shaft or each other, even
/// where the drive as a whole averages it away.
fn exchanged(drive: &Drive, axle: usize) -> Option<Finding> {
    let e = drive.motions.exchanged.as_ref()?;
    if matches!(e.exchange, Exchange::Sides(Some(other)) if other != axle) {
        return None;
    }
    let (scope, ..) = AXLES[axle];
    let what = exchange(e.exchange);
    let reason = format!("{what}: {} stretches of turning show it, none denies it", e.pieces);
    let records = RecordRange { first: e.records.0, last: e.records.1 };
    let (start, end) = e.span_us;
    let why = "turning, by the counts of all wheels".to_owned();
    let shown = vec![period(start, end, records, Verdict::Disproven, why, &[])];
    let finding = Finding::decided(scope, Verdict::Disproven, "places-exchanged", reason);
    Some(finding.shown_by(shown))
}

fn compare(drive: &Drive, axle: usize) -> Finding {
    let (scope, shaft, wheels) = AXLES[axle];
    let size = drive.vehicle.limits.sensor_ratio_percent;
    let limit = limit(drive, "shaft-to-wheel ratio excess", Bounds::within(size), "%", |l| {
        [l.sensor_ratio_percent; 2]
    });
    if let Some(k) = drive.motions.silent[axle].iter().position(|n| *n >= 1) {
        let silent = [shaft, wheels[0], wheels[1]][k];
        let steps = drive.motions.silent[axle][k];
        let reason = format!(
            "the {} sensor was silent for {:.1} s while the others of this axle turned",
            place(silent),
            f64::from(steps) * STEP_US as f64 * 1e-6
        );
        let finding = if steps >= SILENT_STEPS {
            Finding::decided(scope, Verdict::Disproven, "sensor-silent", reason)
        } else {
            let next = "drive off from rest five times, slowly: a sensor that is blind at low \
                        speed is then silent each time";
            Finding::undecided(scope, "hardly-silent", reason, next.into())
        };
        return finding.against(limit);
    }
    if let Some(finding) = exchanged(drive, axle) {
        return finding.against(limit);
    }
    let Some(a) = &drive.motions.agreement[axle] else {
        let reason = "too few turns to compare".into();
        let next = "drive 100 m without stopping".into();
        return Finding::undecided(scope, "too-few-turns", reason, next).against(limit);
    };
    let verdict = word(judge_estimate(&a.excess_percent, Bounds::within(size), 1));
    let records = RecordRange { first: a.records.0, last: a.records.1 };
    let why = format!("{:.0} shaft turns compared", a.shaft_turn);
    let shown = vec![period(a.span_us.0, a.span_us.1, records, verdict, why, &[&a.excess_percent])];
    let value = a.excess_percent.value;
    let finding = match verdict {
        Verdict::Proven => Finding::decided(
            scope,
            verdict,
            "inside-limit",
            format!("shaft-to-wheel ratio {value:+.3} % from declared"),
        ),
        Verdict::Disproven => Finding::decided(
            scope,
            verdict,
            "outside-limit",
            format!(
                "shaft-to-wheel ratio {value:+.2} % from declared; farthest ({:+.1} %) from \
                 {:.0} s",
                a.worst_piece.0,
                seconds(a.worst_piece.1)
            ),
        ),
        Verdict::Undecided => Finding::undecided(
            scope,
            "near-limit",
            format!("shaft-to-wheel ratio {value:+.3} % from declared, too near the limit to tell"),
            "drive 500 m more without stopping".into(),
        ),
    };
    finding.against(limit).shown_by(shown)
}
