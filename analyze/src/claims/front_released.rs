//! `front-released`: in each mode that leaves the front axle to follow the road.
//!
//! While the outputs differ, the input turns with the rear output alone where the front is
//! released: the front's share of the drive reads zero. A front shaft that rests by a disconnect
//! differs most of all, and shows the same. That it is free to turn is shown by hand, with the
//! engine off: never under power with a wheel raised.

use super::Finding;
use super::by_hand::{Asked, with_hand};
use super::center::{allowances, locked_verdict, stayed_together};
use super::share::{each, near_limit, shown, told_of, within};
use crate::assemble::Drive;
use crate::motion::{Period as Engagement, RELEASED_SHARE};
use crate::result::{LimitInfo, Verdict};
use wheelwitness_driveline::vehicle::{Coupling, Mode};
use wheelwitness_driveline::verdict::Bounds;

/// Shares around zero that are called none: less than half of the least share that a center
/// differential declares, so that a driven front never passes for a released one.
fn bounds(drive: &Drive) -> Bounds {
    let share = drive.vehicle.center.front_share().unwrap_or(2.0 * RELEASED_SHARE);
    Bounds::within(RELEASED_SHARE.min(0.5 * share))
}

/// One finding per mode row that releases the front.
pub fn judge(drive: &Drive) -> Vec<Finding> {
    let modes = drive.modes_with(Coupling::RearOnly);
    let with_hand = |mode, finding| with_hand(drive, mode, Asked::Released, finding);
    modes.into_iter().map(|(mode, p)| with_hand(mode, one(drive, mode, &p))).collect()
}

fn one(drive: &Drive, mode: &Mode, periods: &[&Engagement]) -> Finding {
    let scope = mode.name.as_str();
    let bounds = bounds(drive);
    let limit = LimitInfo {
        quantity: "front share".into(),
        lower: bounds.lower,
        upper: bounds.upper,
        unit: "1".into(),
        source: "common practice".into(),
    };
    if let Some(finding) = tied(drive, mode, periods) {
        return finding;
    }
    let found = match told_of(drive, mode, periods) {
        Ok(found) => found,
        Err(finding) => return by_hand_else(*finding).against(limit),
    };
    let value = each(&found);
    let finding = match within(&found, bounds).unwrap_or(Verdict::Undecided) {
        Verdict::Proven => {
            let reason = format!("front share {value}: the input turned with the rear alone");
            Finding::decided(scope, Verdict::Proven, "inside-limit", reason)
        }
        Verdict::Disproven => {
            let reason = format!("front share {value}: the front is driven, too");
            Finding::decided(scope, Verdict::Disproven, "outside-limit", reason)
        }
        Verdict::Undecided => near_limit(mode, &found),
    };
    finding.against(limit).shown_by(shown(&found, bounds))
}

/// Outputs that stay together against the road are tied: the front is driven.
fn tied(drive: &Drive, mode: &Mode, periods: &[&Engagement]) -> Option<Finding> {
    if drive.unsound().is_some() {
        return None;
    }
    let found = allowances(drive, periods).found;
    if locked_verdict(drive, &found) != Some(Verdict::Proven) {
        return None;
    }
    let reason = "the outputs stayed together against the road: the front is tied to the rear";
    let word = Verdict::Disproven;
    let finding = Finding::decided(&mode.name, word, "tied-to-rear", reason.to_string());
    Some(finding.shown_by(stayed_together(&found, word, "the outputs stayed together")))
}

fn by_hand_else(finding: Finding) -> Finding {
    let by_hand = "or, with the engine off, gearbox in neutral and every other wheel chocked, turn \
                   one raised front wheel by hand: released, the input stands still";
    let next = finding.next_step.as_deref().unwrap_or("drive circles both ways");
    Finding { next_step: Some(format!("{next}; {by_hand}")), ..finding }
}
