//! `torque-share`: whether the center differential divides as its share or its teeth say.
//!
//! Torque is not measured. Power in equals power out, so the weights by which the outputs' turns
//! make up the input's are the shares of the torque (Willis; `kinematics::input_turns`).

use super::share::{Shares, bounds_around, each, near_limit, shown, told, within};
use super::{Finding, limit};
use crate::assemble::Drive;
use crate::motion::Period as Engagement;
use crate::result::Verdict;
use wheelwitness_driveline::vehicle::{Center, Coupling, Mode};

/// One finding per mode row with the coupling `differential`.
pub fn judge(drive: &Drive) -> Vec<Finding> {
    let modes = drive.modes_with(Coupling::Differential);
    modes.into_iter().map(|(mode, periods)| one(drive, mode, &periods)).collect()
}

fn one(drive: &Drive, mode: &Mode, periods: &[&Engagement]) -> Finding {
    let scope = mode.name.as_str();
    let (declared, found) = match told(drive, mode, periods) {
        Ok(told) => told,
        Err(finding) => return *finding,
    };
    let bounds = bounds_around(drive, declared);
    let limit = limit(drive, "front share", bounds, "1", |l| [l.share_relative; 2]);
    let value = each(&found);
    let from = declared_by(&drive.vehicle.center);
    let finding = match within(&found, bounds).unwrap_or(Verdict::Undecided) {
        Verdict::Proven => Finding::decided(
            scope,
            Verdict::Proven,
            "inside-limit",
            format!("front share {value}, declared {declared:.3}{from}"),
        ),
        Verdict::Disproven => {
            let lead = lead(&found, declared);
            let reason = format!("front share {value}, declared {declared:.3}{from}{lead}");
            Finding::decided(scope, Verdict::Disproven, "outside-limit", reason)
        }
        Verdict::Undecided => near_limit(mode, &found),
    };
    finding.against(limit).shown_by(shown(&found, bounds))
}

/// Where a declared share comes from, when it was worked out of teeth.
fn declared_by(center: &Center) -> String {
    match center {
        Center::Planetary { sun_teeth, ring_teeth, .. } => {
            format!(" by {sun_teeth} teeth of the sun and {ring_teeth} of the ring")
        }
        _ => String::new(),
    }
}

/// What else would read as this does.
fn lead(found: &Shares, declared: f64) -> &'static str {
    let near = |to: f64| found.iter().all(|(_, e)| (e.value - to).abs() < 3.0 * e.u() + 0.02);
    match () {
        _ if near(0.0) => ": the input turns with the rear output alone",
        _ if near(1.0) => ": the input turns with the front output alone",
        _ if near(1.0 - declared) => {
            ": it reads as if front and rear were on each other's output, or their sensors swapped"
        }
        _ => ": other teeth, or another share, than declared",
    }
}
