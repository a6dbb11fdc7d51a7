//! Promises about sentences that were lost while the vehicle came to rest: what turned unseen
//! belongs to the stretch that nobody saw, and never to the first motion after it; and a curve that
//! nobody saw demands nothing.

use crate::motion::{PRIOR, SOUND, drive, leg, vehicle};
use proptest::prelude::*;
use wheelwitness_driveline::allowance::fit;
use wheelwitness_driveline::course::Course;
use wheelwitness_driveline::demand::{Prefer, Setup};
use wheelwitness_driveline::pulse::{Count, Pattern, Sensing, Step, Stepper};
use wheelwitness_driveline::segment::{PeriodFold, Standstill};
use wheelwitness_driveline::turn::Turn;
use wheelwitness_driveline::vehicle::Place;

const TEETH: u32 = 8;

/// A shaft that turns at `before` turns a second, stands from `stop_s` to `go_s`, and turns on at
/// `after` turns a second.
#[derive(Debug, Clone, Copy)]
struct Drive {
    before: f64,
    stop_s: f64,
    go_s: f64,
    after: f64,
}

impl Drive {
    /// Edges so far at a time.
    fn edges(&self, at_s: f64) -> f64 {
        let turns = self.before * at_s.min(self.stop_s) + self.after * (at_s - self.go_s).max(0.0);
        0.4 + turns * f64::from(TEETH)
    }

    /// What a board reports: the age of the last edge, while 16 bits of microseconds hold it.
    fn count(&self, at_s: f64) -> Count {
        let whole = self.edges(at_s).floor();
        let standing = self.edges(self.stop_s).floor();
        let made_s = match whole > standing {
            true => {
                let moved = (whole - self.edges(self.stop_s)) / f64::from(TEETH);
                self.go_s + moved / self.after
            }
            false => (whole - 0.4) / f64::from(TEETH) / self.before,
        };
        let age_us = ((at_s - made_s) * 1e6) as i64;
        Count { count: whole as u16, age_us: u16::try_from(age_us).ok() }
    }

    /// Steps of the drive up to `end_s`, where nothing arrived in `lost`.
    fn steps(&self, lost: (f64, f64), end_s: f64) -> Vec<Step> {
        let place = Place::FrontShaft;
        let sensing = Sensing {
            place,
            channel: 1,
            edges_per_turn: TEETH,
            pattern: Pattern::default(),
            tooth_u: 0.0,
        };
        let (mut stepper, mut steps) = (Stepper::new(&[sensing], &[]), Vec::new());
        let idle = Count { count: 0, age_us: None };
        for tick in 0..(end_s * 100.0) as i64 {
            let at_s = tick as f64 / 100.0;
            if at_s > lost.0 && at_s < lost.1 {
                continue;
            }
            let counts = [self.count(at_s), idle, idle, idle];
            stepper.push(10_000 * tick, 0, 1, &counts, &mut |s| steps.push(s.clone()));
        }
        stepper.restart(&mut |s| steps.push(s.clone()));
        steps
    }
}

proptest! {
    #[test]
    fn turns_of_a_stretch_that_nobody_saw_are_never_given_to_the_motion_after_it(
        before in 0.8..5.0f64,
        after in 0.8..5.0f64,
        lost_s in 4.0..6.0f64,
        stop_s in 6.5..10.0f64,
        stood_s in 0.2..2.0f64,
        rested_s in 0.3..8.0f64,
    ) {
        let heard_s = stop_s + stood_s;
        let drive = Drive { before, stop_s, go_s: heard_s + rested_s, after };
        let steps = drive.steps((lost_s, heard_s), drive.go_s + 6.0);
        let seen = |s: &&Step| s.start_us as f64 * 1e-6 > heard_s + 0.1;
        let turns: Vec<(f64, Turn)> = steps
            .iter()
            .filter(seen)
            .filter_map(|s| {
                let (from_s, to_s) = (s.start_us as f64 * 1e-6, s.end_us as f64 * 1e-6);
                let truth = (drive.edges(to_s) - drive.edges(from_s)) / f64::from(TEETH);
                Some((truth, s.at(Place::FrontShaft)?))
            })
            .collect();
        prop_assert!(turns.len() > 10, "the shaft is seen again: {}", turns.len());
        for (truth, t) in &turns {
            let u = t.u_start.hypot(t.u_end);
            let most = 1.5 / f64::from(TEETH) + 3.0 * u;
            prop_assert!((t.turns - truth).abs() < most, "{truth} {t:?}");
        }
    }
}

/// What a stepper makes of steps that nobody saw: it knows what turned in all, and spreads it.
fn unseen(steps: &mut [Step]) {
    let (n, last) = (steps.len() as f64, steps.len() - 1);
    for place in 0..steps[0].turn.len() {
        let all: f64 = steps.iter().filter_map(|s| s.turn[place]).map(|t| t.turns).sum();
        for (k, step) in steps.iter_mut().enumerate() {
            let Some(t) = &mut step.turn[place] else { continue };
            t.turns = all / n;
            t.u_start = if k > 0 { 0.05 * all } else { t.u_start };
            t.u_end = if k < last { 0.05 * all } else { t.u_end };
        }
    }
}

#[test]
fn curves_to_both_sides_that_nobody_saw_are_not_taken_for_a_straight_way() {
    let setup = Setup::new(&vehicle());
    let legs = [leg(25.0, 1.2, 0.125), leg(25.0, 1.2, -0.125), leg(60.0, 8.0, 0.0)];
    let mut steps = drive(&legs, SOUND);
    // From the middle of one circle to the middle of the other.
    unseen(&mut steps[30..75]);
    let mut fold = PeriodFold::new(1.0, setup.metres_per_turn(), 0.1);
    for step in &steps {
        if let Some(m) = setup.motion(step, &Course::default(), Prefer::Wheels) {
            fold.push(&m, Standstill::Denied);
        }
    }
    let a = fit(&fold.finish(), 0.02, PRIOR).expect("both ends were seen").allowance;
    assert!((a.value - 1.0).abs() < 2.0 * a.u() && a.u() < 0.2, "{a:?}");
}
