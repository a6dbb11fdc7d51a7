//! `rear-driven`: in each mode that says so, by the share that the front leaves to it.
//!
//! In rear-only the whole share is the rear's, which shows while the front wheels run wider.

use super::center::exercise_next_step;
use super::front_driven::locked_pair;
use super::share::{bounds_around, driven, shown, told};
use super::{Finding, limit};
use crate::assemble::Drive;
use crate::motion::Period as Engagement;
use crate::result::Verdict;
use wheelwitness_driveline::vehicle::{Coupling, Mode};

/// One finding per mode row that says that the rear is driven.
pub fn judge(drive: &Drive) -> Vec<Finding> {
    let by = |coupling| drive.modes_with(coupling).into_iter();
    let open = by(Coupling::Differential).map(|(mode, p)| by_share(drive, mode, &p));
    let locked = by(Coupling::Locked).map(|(mode, p)| locked_pair(drive, mode, &p, "front"));
    let alone = by(Coupling::RearOnly).map(|(mode, p)| by_share(drive, mode, &p));
    open.chain(locked).chain(alone).collect()
}

fn by_share(drive: &Drive, mode: &Mode, periods: &[&Engagement]) -> Finding {
    let scope = mode.name.as_str();
    let (front, mut found) = match told(drive, mode, periods) {
        Ok(told) => told,
        Err(finding) => return *finding,
    };
    for (_, share) in &mut found {
        share.value = 1.0 - share.value;
        share.name = "rear share".into();
    }
    let declared = if mode.coupling == Coupling::RearOnly { 1.0 } else { 1.0 - front };
    let bounds = bounds_around(drive, declared);
    let limit = limit(drive, "rear share", bounds, "1", |l| [l.share_relative; 2]);
    let typical = found[0].1.value;
    let finding = match driven(drive, &found, declared).unwrap_or(Verdict::Undecided) {
        Verdict::Proven => Finding::decided(
            scope,
            Verdict::Proven,
            "inside-limit",
            format!("the rear's share of the drive is {typical:.3}, declared {declared:.3}"),
        ),
        Verdict::Disproven => Finding::decided(
            scope,
            Verdict::Disproven,
            "outside-limit",
            format!("the rear's share reads {typical:.3}: the input turns with the front alone"),
        ),
        Verdict::Undecided => Finding::undecided(
            scope,
            "near-limit",
            format!("the rear's share reads {typical:.3}, not certain enough, or not as declared"),
            exercise_next_step(mode),
        ),
    };
    finding.against(limit).shown_by(shown(&found, bounds))
}
