//! `shafts-within-limit`: the highest speed of a shaft against the critical speed of its tube.

use super::tyres_match::at_odds;
use super::{Finding, period, word};
use crate::assemble::Drive;
use crate::learning::Tooth;
use crate::result::{LimitInfo, Verdict};
use crate::sound::place;
use wheelwitness_driveline::fastest::Fastest;
use wheelwitness_driveline::quantity::{Component, Estimate};
use wheelwitness_driveline::shaft::{SAFE_SHARE, joint_ripple};
use wheelwitness_driveline::vehicle::{AxleKind, Place, Shaft};
use wheelwitness_driveline::verdict::{Bounds, judge as judge_estimate};

const SHAFTS: [(&str, &str, [Place; 3]); 2] = [
    ("front shaft", "front", [Place::FrontShaft, Place::FrontLeft, Place::FrontRight]),
    ("rear shaft", "rear", [Place::RearShaft, Place::RearLeft, Place::RearRight]),
];

/// One finding per shaft.
pub fn judge(drive: &Drive) -> Vec<Finding> {
    (0..2).map(|axle| one(drive, axle)).collect()
}

fn one(drive: &Drive, axle: usize) -> Finding {
    let (scope, end, places) = SHAFTS[axle];
    let no = |code, reason: String, next: String| Finding::undecided(scope, code, reason, next);
    let shafts = &drive.vehicle.shafts;
    let Some(shaft) = [&shafts.front, &shafts.rear][axle] else {
        let next = format!("measure the tube and declare it as [shafts.{end}]");
        return no("tube-not-declared", "the tube of this shaft is not declared".into(), next);
    };
    let kind = [drive.vehicle.axles.front.kind, drive.vehicle.axles.rear.kind][axle];
    let by_shaft = drive.vehicle.is_measured(places[0]);
    // Wheels say nothing of a shaft that an axle disconnect may have parted from them.
    let by_wheels =
        kind == AxleKind::Open && places[1..].iter().all(|p| drive.vehicle.is_measured(*p));
    if !by_shaft && !by_wheels {
        let reason = "neither this shaft nor both wheels of its axle are measured".into();
        return no("not-fitted", reason, "fit a sensor at the shaft".into());
    }
    let used: &[Place] = if by_shaft { &places[..1] } else { &places[1..] };
    let noisy = |t: &&Tooth| used.contains(&t.sensor.place) && t.extra_edges;
    let bad = drive.teeth.iter().find(noisy).map(|t| {
        format!("the {} sensor counts edges that no tooth makes (noise)", place(t.sensor.place))
    });
    let bad = bad.or_else(|| at_odds(drive, axle, used));
    // Where the outputs contradict each other, nobody knows which of the two turned so fast.
    if let Some(why) = bad.or_else(|| drive.unsound()) {
        return no("sensors-unsound", why, "repair the sensor and drive again".into());
    }
    match &drive.motions.fastest[axle] {
        Some(found) => compare(axle, shaft, found),
        None => no("not-seen", "this shaft was not watched".into(), "drive again".into()),
    }
}

fn compare(axle: usize, shaft: &Shaft, found: &Fastest) -> Finding {
    let scope = SHAFTS[axle].0;
    let (share, bounds) = (share(shaft, found), Bounds::at_most(shaft.share_max));
    let judged = word(judge_estimate(&share, bounds, 1));
    let critical = shaft.tube().critical_rpm();
    let value = format!(
        "at most {:.0} turns a minute, {:.3} ± {:.3} of the {critical:.0} at which the tube would \
         whirl{}",
        found.rpm.value,
        share.value,
        2.0 * share.u(),
        ripple(shaft)
    );
    let unwatched = found.unwatched_s;
    let finding = match judged {
        Verdict::Disproven => Finding::decided(scope, judged, "outside-limit", value),
        Verdict::Proven if unwatched > 0.0 => Finding::undecided(
            scope,
            "not-watched",
            format!(
                "{value}; but for {unwatched:.1} s nobody counted, and it may have been faster"
            ),
            "drive again without a loss; `capture-complete` says what was lost".into(),
        ),
        Verdict::Proven => Finding::decided(scope, judged, "inside-limit", value),
        Verdict::Undecided => Finding::undecided(
            scope,
            "near-limit",
            format!("{value}: too near the limit to tell"),
            "measure the tube again (length_u_mm), or keep below this speed".into(),
        ),
    };
    let why = format!("the fastest second of {:.0} that were watched", found.watched_s);
    let (start, end) = found.span_us;
    let records = crate::result::RecordRange { first: found.records.0, last: found.records.1 };
    let word = finding.verdict;
    let shown = period(start, end, records, word, why, &[&share, &found.rpm]);
    finding.against(limit(shaft)).shown_by(vec![shown])
}

fn limit(shaft: &Shaft) -> LimitInfo {
    let own = shaft.share_max != SAFE_SHARE;
    LimitInfo {
        quantity: "share of the critical speed".into(),
        lower: None,
        upper: Some(shaft.share_max),
        unit: "1".into(),
        source: if own { "vehicle file" } else { "common practice" }.into(),
    }
}

/// Share of the critical speed of the tube as measured, ends simply supported. That real ends
/// yield is what the safe share makes room for, and no doubt about this number.
fn share(shaft: &Shaft, found: &Fastest) -> Estimate {
    let (critical, u) = (shaft.tube().critical_rpm(), shaft.tube().critical_u_rpm(&shaft.tube_u()));
    let value = found.rpm.value / critical;
    let scaled = |c: &Component| Component { u: c.u / critical, ..c.clone() };
    let mut components: Vec<Component> = found.rpm.components.iter().map(scaled).collect();
    components.push(Component::shared("tube", value * u / critical));
    Estimate { name: "share of critical speed".into(), value, unit: "1".into(), components }
}

/// What the joints do to a steady speed at the declared angles.
fn ripple(shaft: &Shaft) -> String {
    let Some(angles) = shaft.working_angles_deg else { return String::new() };
    let [a, b] = angles.map(|deg| 100.0 * joint_ripple(deg.to_radians()));
    let [at_case, at_axle] = angles;
    format!(
        "; joints at {at_case} and {at_axle} degrees make it {a:.2} and {b:.2} % uneven twice a \
         turn"
    )
}
