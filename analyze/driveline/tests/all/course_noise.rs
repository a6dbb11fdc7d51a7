//! What the noise of a course leaves open of the demand of a turn.
//!
//! The truth is put in: a circle of one radius, driven at one speed, and fixes with noise across.

use super::motion::vehicle;
use std::f64::consts::TAU;
use wheelwitness_driveline::course::{Course, Fix};
use wheelwitness_driveline::demand::{Prefer, Setup, front_excess};
use wheelwitness_driveline::pulse::Step;
use wheelwitness_driveline::segment::{PeriodFold, Standstill};
use wheelwitness_driveline::turn::{PLACES, Turn};
use wheelwitness_driveline::vehicle::Place;

const SPEED_MPS: f64 = 1.0;
const RADIUS_M: f64 = 6.0;

/// Half a second of both shafts, counted without any doubt.
fn step(k: i64, setup: &Setup) -> Step {
    let turns = 0.5 * SPEED_MPS / setup.metres_per_turn();
    let one = Turn { turns, u_start: 0.0, u_end: 0.0, still: false, edge: 0.25, sent: None };
    let mut turn = [None; PLACES];
    turn[Place::FrontShaft as usize] = Some(one.times(1.1));
    turn[Place::RearShaft as usize] = Some(one);
    let start_us = 10_000_000 + 500_000 * k;
    Step { start_us, end_us: start_us + 500_000, records: (0, 0), turn }
}

/// Noise of about standard deviation one: a sum of twelve uniform numbers by the minimal standard
/// generator (Park and Miller 1988, from memory).
fn normal(state: &mut u64) -> f64 {
    let mut uniform = || {
        *state = *state * 16_807 % 2_147_483_647;
        *state as f64 / 2_147_483_647.0
    };
    (0..12).map(|_| uniform()).sum::<f64>() - 6.0
}

/// Relative error of the demand of so many steps of the circle, and its standard uncertainty as
/// the segments tell it, for fixes with this noise across in m/s.
fn demand(steps: i64, across_mps: f64, state: &mut u64) -> (f64, f64) {
    let setup = Setup::new(&vehicle());
    let mut course = Course::default();
    for k in 0..5 * (steps / 2 + 20) {
        let time_s = 0.2 * k as f64;
        let noise = across_mps * normal(state) / SPEED_MPS;
        let course_rad = (SPEED_MPS / RADIUS_M * time_s + noise).rem_euclid(TAU);
        course.push(Fix { time_s, speed_mps: SPEED_MPS, course_rad });
    }
    let mut fold = PeriodFold::new(1.0, setup.metres_per_turn(), 0.1);
    let mut turns = 0.0;
    for k in 0..steps {
        let step = step(k, &setup);
        let motion = setup.motion(&step, &course, Prefer::Course).expect("both shafts turn");
        turns += motion.rear.turns;
        fold.push(&motion, Standstill::Denied);
    }
    let (mut found, mut u2) = (0.0, 0.0);
    for s in fold.finish() {
        found += s.demanded[0];
        u2 += s.demanded_u.powi(2);
    }
    // Wheelbase and track of the test's vehicle; at this speed the rear axle slips by next to
    // nothing, so the turn centre lies on its line.
    let truth = turns * front_excess([2.8, 1.5], 1.0 / RADIUS_M, 0.0);
    (found / truth - 1.0, u2.sqrt() / truth)
}

#[test]
fn a_long_turn_is_known_better_than_its_windows_and_about_as_well_as_it_says() {
    let mut state = 1u64;
    let (mut squares, mut mean_u) = ([0.0; 2], [0.0; 2]);
    for _ in 0..60 {
        for (k, steps) in [60, 240].into_iter().enumerate() {
            let (error, u) = demand(steps, 0.08, &mut state);
            squares[k] += (error / u).powi(2) / 60.0;
            mean_u[k] += u / 60.0;
        }
    }
    // Four times as long: each segment of 15 s has its own ends, so half is left, not more.
    assert!(mean_u[1] < 0.6 * mean_u[0], "{mean_u:?}");
    let rms = squares.map(f64::sqrt);
    assert!(rms.iter().all(|r| (0.25..1.1).contains(r)), "{rms:?}");
}
