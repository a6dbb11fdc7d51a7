//! What counts do not tell: wheels that a sensor missed, and stretches that nobody saw.

use super::motion::{Build, CIRCLES, PRIOR, SOUND, drive, leg, vehicle};
use wheelwitness_driveline::agreement::{Agreement, AgreementFold};
use wheelwitness_driveline::allowance::fit;
use wheelwitness_driveline::course::Course;
use wheelwitness_driveline::demand::{Prefer, Setup};
use wheelwitness_driveline::pulse::Step;
use wheelwitness_driveline::segment::{PeriodFold, Standstill};
use wheelwitness_driveline::turn::{PLACES, Turn};
use wheelwitness_driveline::vehicle::Place;

/// A step of the rear axle, whose shaft turns four times as often as its wheels: half a second with
/// these turns of shaft, left and right wheel; what does not turn stands still, and its phase is
/// open by an edge (rectangular).
fn step(k: i64, turns: [f64; 3]) -> Step {
    let places = [Place::RearShaft, Place::RearLeft, Place::RearRight];
    let mut turn = [None; PLACES];
    for (place, turns) in places.into_iter().zip(turns) {
        let still = turns == 0.0;
        let edge = if place == Place::RearShaft { 1.0 / 4.0 } else { 1.0 / 48.0 };
        let u = if still { edge / 12f64.sqrt() } else { 0.002 * edge };
        turn[place as usize] = Some(Turn { turns, u_start: u, u_end: u, still, edge, sent: None });
    }
    let start_us = 500_000 * k;
    Step { start_us, end_us: start_us + 500_000, records: (0, 0), turn }
}

/// Twenty rests and starts: slow steps with these turns, then a hundred shaft turns.
fn agreed(slow: &[[f64; 3]]) -> Agreement {
    let mut fold = AgreementFold::new(&Setup::new(&vehicle()), 1);
    let whole = std::iter::repeat_n([4.0, 1.0, 1.0], 25);
    let one = slow.iter().copied().chain(whole);
    let all = std::iter::repeat_n(one, 20).flatten();
    all.enumerate().for_each(|(k, turns)| fold.push(&step(k as i64, turns)));
    fold.finish().expect("two thousand turns")
}

#[test]
fn rests_leave_nothing_out() {
    let found = agreed(&[[0.25, 0.0625, 0.0625], [0.0, 0.0, 0.0], [0.25, 0.0625, 0.0625]]);
    let names: Vec<_> = found.excess_percent.components.iter().map(|c| &*c.name).collect();
    assert_eq!(names, ["counting"], "{found:?}");
}

/// Each start lacks 0.1 turns of one wheel, 0.2 of the shaft: too little in a step to be called
/// silent. Of 2,000 shaft turns that is 0.2 %.
#[test]
fn what_a_wheel_misses_at_every_start_is_a_doubt_of_the_ratio() {
    let found = agreed(&[[0.4, 0.1, 0.0]]);
    assert!(found.excess_percent.value.abs() < 1e-6, "{found:?}");
    let left_out = found.excess_percent.components.iter().find(|c| c.name == "left out");
    let u = left_out.expect("it is told").u;
    assert!((0.15..0.2).contains(&u), "{u} %");
}

/// The steps as one engagement period.
fn period(setup: &Setup, steps: &[Step]) -> PeriodFold {
    let mut fold = PeriodFold::new(1.0, setup.metres_per_turn(), 0.1);
    let motion = |s| setup.motion(s, &Course::default(), Prefer::Wheels);
    steps.iter().filter_map(motion).for_each(|m| fold.push(&m, Standstill::Denied));
    fold
}

#[test]
fn one_wheel_that_gives_no_edge_while_the_others_turn_is_a_silent_sensor() {
    let mut wheels_only = vehicle();
    wheels_only.sensors.retain(|s| s.channel >= 5);
    let setup = Setup::new(&wheels_only);
    let silent = |from: usize, to: usize| {
        let mut steps = drive(&[leg(30.0, 1.5, 1.0 / 6.0)], SOUND);
        let shafts = [Place::FrontShaft, Place::RearShaft, Place::Input];
        for (k, step) in steps.iter_mut().enumerate() {
            shafts.iter().for_each(|p| step.turn[*p as usize] = None);
            let wheel = step.turn[Place::RearRight as usize].as_mut().expect("it is measured");
            if (from..to).contains(&k) {
                (wheel.turns, wheel.still) = (0.0, true);
            }
        }
        period(&setup, &steps).silent_steps
    };
    assert_eq!((silent(9, 9), silent(9, 15)), (0, 6));
}

/// A sensor that is blind at low speed lost three edges of a lock's outputs, all in the first step
/// in which it saw teeth again; what was before stood outside the period.
#[test]
fn edges_that_a_sensor_misses_beside_its_silence_are_no_difference_of_the_outputs() {
    let setup = Setup::new(&vehicle());
    let locked = Build { allowance: 0.0, ..SOUND };
    let sound = drive(&[leg(60.0, 2.0, 1.0 / 6.0)], locked);
    let counted = |silent: std::ops::Range<usize>, beside: &[usize], (from, to): (usize, usize)| {
        let mut steps = sound.clone();
        for k in silent.clone().chain(beside.iter().copied()) {
            let rear = steps[k].turn[Place::RearShaft as usize].as_mut().expect("it is measured");
            rear.still = silent.contains(&k);
            rear.turns = if rear.still { 0.0 } else { rear.turns - 0.7 };
        }
        let mut fold = period(&setup, &[]);
        let outside = |k: usize| (steps[k].start_us, steps[k].end_us);
        if from > 0 {
            let (from_us, to_us) = outside(from - 1);
            fold.silence(from_us, to_us);
        }
        let motion = |s| setup.motion(s, &Course::default(), Prefer::Wheels);
        let inside = steps[from..to].iter().filter_map(motion);
        inside.for_each(|m| fold.push(&m, Standstill::Denied));
        if to < steps.len() {
            let (from_us, to_us) = outside(to);
            fold.silence(from_us, to_us);
        }
        fold.finish().iter().map(|s| s.counted.abs()).sum::<f64>()
    };
    let all = (0, sound.len());
    assert!(counted(40..44, &[39, 44], all) < 0.01, "in the middle of a period");
    assert!(counted(0..0, &[20, 79], (20, 80)) < 0.01, "right before it and right after");
    assert!(counted(0..0, &[50], (20, 80)) > 0.6, "where nothing is silent, a difference counts");
}

#[test]
fn turns_whose_ends_nobody_saw_tell_no_allowance() {
    let setup = Setup::new(&vehicle());
    let told = |u: f64| {
        let mut steps = drive(&CIRCLES, SOUND);
        for step in &mut steps {
            let front = step.turn[Place::FrontShaft as usize].as_mut().expect("it is measured");
            (front.u_start, front.u_end) = (u, u);
        }
        fit(&period(&setup, &steps).finish(), 0.25, PRIOR)
    };
    assert!(told(0.01).is_some() && told(5.0).is_none());
}
