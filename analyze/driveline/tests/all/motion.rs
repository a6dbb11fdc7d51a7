//! Promises of the motion path: counts to turns, courses, allowance, mismatch, agreement.
//!
//! Drives here are geometry alone (no slip), made from the turning table for wheelbase 2.8 m and
//! track 1.5 m (plane geometry; see `turning` in the outside checks), so that every expected
//! number is known beforehand.

use std::f64::consts::TAU;
use wheelwitness_driveline::agreement::AgreementFold;
use wheelwitness_driveline::allowance::{Allowance, MismatchPrior, fit, front_share};
use wheelwitness_driveline::course::{Course, Fix};
use wheelwitness_driveline::demand::{CurvatureSource, Prefer, Setup};
use wheelwitness_driveline::mismatch::{Mismatch, MismatchFold, Sides};
use wheelwitness_driveline::pulse::{
    Count, Counted, Counter, Edge, Pattern, Sensing, Step, Stepper,
};
use wheelwitness_driveline::segment::{PeriodFold, Segment, Standstill};
use wheelwitness_driveline::tooth::ToothPattern;
use wheelwitness_driveline::vehicle::{Coupling, Place, Vehicle};

const FILE: &str = r#"
format = 1
name = "invented"
[geometry]
wheelbase_mm = 2800
track_front_mm = 1500
track_rear_mm = 1500
u_mm = 10
[tyres.front]
circumference_mm = 2200
[tyres.rear]
circumference_mm = 2200
[axles.front]
teeth = [40, 10]
kind = "open"
[axles.rear]
teeth = [40, 10]
kind = "open"
[ranges]
high = 1.0
[center]
kind = "bevel"
[[sensors]]
place = "front-shaft"
channel = 1
pulses_per_turn = 4
[[sensors]]
place = "rear-shaft"
channel = 2
pulses_per_turn = 4
[[sensors]]
place = "input"
channel = 3
pulses_per_turn = 4
[[sensors]]
place = "front-left"
channel = 5
pulses_per_turn = 48
[[sensors]]
place = "front-right"
channel = 6
pulses_per_turn = 48
[[sensors]]
place = "rear-left"
channel = 7
pulses_per_turn = 48
[[sensors]]
place = "rear-right"
channel = 8
pulses_per_turn = 48
"#;

pub fn vehicle() -> Vehicle {
    Vehicle::parse(FILE, "motion.toml").expect("the test's vehicle file is sound")
}

/// A leg of a drive: seconds, speed in m/s, curvature (positive to the right).
#[derive(Clone, Copy)]
pub struct Leg {
    pub seconds: f64,
    pub speed: f64,
    pub curvature: f64,
}

/// How the test vehicle is built.
#[derive(Clone, Copy)]
pub struct Build {
    /// Front circumference over rear circumference.
    pub front_over_rear: f64,
    /// Right over left circumference at the rear.
    pub right_over_left: f64,
    /// Share of the free difference that the outputs show.
    pub allowance: f64,
    /// Front coupled through the differential, or following the road.
    pub coupled: bool,
}

pub const SOUND: Build =
    Build { front_over_rear: 1.0, right_over_left: 1.0, allowance: 1.0, coupled: true };

/// Rates in turns per second by channel 1..=8 for a leg.
pub fn rates(leg: Leg, build: Build) -> [f64; 8] {
    let (l, half, k) = (2.8, 0.75, leg.curvature);
    let (front_c, rear_c) = (2.2 * build.front_over_rear, 2.2);
    let radius =
        |ahead: f64, side: f64| ((k * ahead).powi(2) + (1.0 + side * k * half).powi(2)).sqrt();
    // Turning right, the left wheel runs wider.
    let front = [radius(l, 1.0), radius(l, -1.0)].map(|r| leg.speed * r / front_c);
    let rear = [
        leg.speed * radius(0.0, 1.0) / rear_c,
        leg.speed * radius(0.0, -1.0) / (rear_c * build.right_over_left),
    ];
    let rear_shaft = 4.0 * (rear[0] + rear[1]) / 2.0;
    let free = 4.0 * (front[0] + front[1]) / 2.0;
    let front_shaft = rear_shaft + build.allowance * (free - rear_shaft);
    let input = if build.coupled { (front_shaft + rear_shaft) / 2.0 } else { rear_shaft };
    [front_shaft, rear_shaft, input, 0.0, front[0], front[1], rear[0], rear[1]]
}

/// Steps of a drive by the stepper, from counts sampled 100 times a second.
pub fn drive(legs: &[Leg], build: Build) -> Vec<Step> {
    let vehicle = vehicle();
    let pulses = [4.0, 4.0, 4.0, 1.0, 48.0, 48.0, 48.0, 48.0];
    let sensing: Vec<Sensing> = vehicle
        .sensors
        .iter()
        .map(|s| Sensing {
            place: s.place,
            channel: s.channel,
            edges_per_turn: s.pulses_per_turn,
            pattern: Pattern::default(),
            tooth_u: 0.002,
        })
        .collect();
    let mut stepper = Stepper::new(&sensing, &[]);
    let mut steps = Vec::new();
    let mut phase = [0.25f64; 8];
    let mut last_edge_us = [None::<f64>; 8];
    let mut now_us = 5_000_000i64;
    for leg in legs {
        let rate = rates(*leg, build);
        for _ in 0..(leg.seconds * 100.0) as u32 {
            for k in 0..8 {
                let edges = phase[k] + rate[k] * pulses[k] * 0.01;
                if edges.floor() > phase[k].floor() && rate[k] > 0.0 {
                    let since_s = (edges - edges.floor()) / (rate[k] * pulses[k]);
                    last_edge_us[k] = Some((now_us + 10_000) as f64 - since_s * 1e6);
                }
                phase[k] = edges;
            }
            now_us += 10_000;
            let count = |k: usize| Count {
                count: (phase[k].floor() as i64 + 65_000) as u16,
                age_us: last_edge_us[k]
                    .and_then(|e| u16::try_from((now_us as f64 - e).round() as i64).ok()),
            };
            for first in [0, 4] {
                let four = [count(first), count(first + 1), count(first + 2), count(first + 3)];
                stepper.push(now_us, now_us as u64, first as u8 + 1, &four, &mut |s| {
                    steps.push(s.clone())
                });
            }
        }
    }
    stepper.restart(&mut |s| steps.push(s.clone()));
    steps
}

pub const fn leg(seconds: f64, speed: f64, curvature: f64) -> Leg {
    Leg { seconds, speed, curvature }
}

/// Two circles of 6 m radius each way at 0.6 m/s (side slip below 1 %) and straight running.
pub const CIRCLES: [Leg; 4] = [
    leg(126.0, 0.6, 1.0 / 6.0),
    leg(30.0, 3.0, 0.0),
    leg(126.0, 0.6, -1.0 / 6.0),
    leg(30.0, 3.0, 0.0),
];

/// Nothing is known of the mismatch but what the fit itself sees.
pub const PRIOR: MismatchPrior = MismatchPrior { mean: 0.0, u: 0.05, scale: (0.0, 0.0) };

fn allowance_of(steps: &[Step]) -> (Option<Allowance>, Option<f64>) {
    let segments = segments_of(steps);
    (fit(&segments, 0.25, PRIOR), front_share(&segments, 0.25).map(|e| e.value))
}

pub fn segments_of(steps: &[Step]) -> Vec<Segment> {
    let setup = Setup::new(&vehicle());
    let mut fold = PeriodFold::new(1.0, setup.metres_per_turn(), 0.1);
    let course = Course::default();
    for step in steps {
        if let Some(m) = setup.motion(step, &course, Prefer::Wheels) {
            fold.push(&m, Standstill::Denied);
        }
    }
    fold.finish()
}

#[test]
fn an_open_differential_reads_one_within_its_uncertainty_and_near_one_percent() {
    let (found, share) = allowance_of(&drive(&CIRCLES, SOUND));
    let a = found.expect("four circles exercise the mode").allowance;
    assert!((a.value - 1.0).abs() < 2.0 * a.u() && (a.value - 1.0).abs() < 0.015, "{a:?}");
    assert!((share.unwrap() - 0.5).abs() < 0.002, "{share:?}");
}

#[test]
fn a_locked_pair_reads_zero_and_a_half_engaged_one_in_between() {
    let locked = Build { allowance: 0.0, ..SOUND };
    let a = allowance_of(&drive(&CIRCLES, locked)).0.unwrap().allowance;
    assert!(a.value.abs() < 2.0 * a.u() && a.value.abs() < 0.005, "{a:?}");
    let half = Build { allowance: 0.4, ..SOUND };
    let a = allowance_of(&drive(&CIRCLES, half)).0.unwrap().allowance;
    assert!((a.value - 0.4).abs() < 2.0 * a.u() && (a.value - 0.4).abs() < 0.02, "{a:?}");
}

/// Full lock asks of a free front axle far more than slip can hide; a circle of 16 m radius does
/// not, unless the straight next to it shows that nothing slips.
#[test]
fn a_lock_is_told_from_slip_by_sharp_turns_or_by_a_straight_beside_them() {
    let locked = Build { allowance: 0.0, ..SOUND };
    let wide = [leg(130.0, 1.5, 1.0 / 16.0), leg(130.0, 1.5, -1.0 / 16.0)];
    let against = |legs: &[Leg]| {
        allowance_of(&drive(legs, locked)).0.expect("the mode is exercised").against_free_front
    };
    assert!(against(&CIRCLES[..1]) > 9.0);
    assert!(against(&wide) < 9.0);
    let straight = [leg(20.0, 3.0, 0.0), wide[0], leg(20.0, 3.0, 0.0), wide[1]];
    assert!(against(&straight) > against(&wide));
    let free = allowance_of(&drive(&CIRCLES, SOUND)).0.expect("the mode is exercised");
    assert!(free.against_free_front < -100.0, "{free:?}");
}

#[test]
fn unequal_tyres_move_the_mismatch_and_not_the_allowance() {
    let worn = Build { front_over_rear: 0.98, ..SOUND };
    let found = allowance_of(&drive(&CIRCLES, worn)).0.unwrap();
    assert!((found.allowance.value - 1.0).abs() < 0.03, "{found:?}");
    assert!((found.mismatch.value - (1.0 / 0.98 - 1.0)).abs() < 0.001, "{found:?}");
}

#[test]
fn a_front_that_only_follows_the_road_has_allowance_one_and_share_zero() {
    let stuck = Build { coupled: false, ..SOUND };
    let (found, share) = allowance_of(&drive(&CIRCLES, stuck));
    assert!((found.unwrap().allowance.value - 1.0).abs() < 0.02);
    assert!(share.unwrap().abs() < 0.002, "{share:?}");
}

/// A brake that stops the vehicle within a step lets shafts rock as a slow stop does.
#[test]
fn every_rest_leaves_open_whether_an_edge_passed_twice() {
    let rocked = |legs: &[Leg]| {
        let segments = segments_of(&drive(legs, SOUND));
        segments.iter().filter(|s| s.open.rocked.rear > 0.0).count()
    };
    let (go, rest) = (leg(60.2, 3.0, 0.0), leg(3.0, 0.0, 0.0));
    assert_eq!(rocked(&[go]), 0, "it never rested");
    assert_eq!(rocked(&[go, rest, go]), 1);
    assert_eq!(rocked(&[go, rest, go, rest, go]), 2);
}

#[test]
fn a_straight_road_exercises_nothing() {
    assert_eq!(allowance_of(&drive(&[leg(120.0, 10.0, 0.0)], SOUND)).0, None);
}

#[test]
fn a_left_right_difference_cancels_between_circles_both_ways_but_not_one_way() {
    let uneven = Build { right_over_left: 1.006, ..SOUND };
    let both = allowance_of(&drive(&CIRCLES, uneven)).0.unwrap().allowance;
    let one = allowance_of(&drive(&CIRCLES[..2], uneven)).0.unwrap().allowance;
    assert!((both.value - 1.0).abs() < 0.012, "{both:?}");
    assert!((one.value - 1.0).abs() > 0.015, "{one:?}");
    assert!((one.value - 1.0).abs() < 3.0 * one.u(), "the doubt is declared: {one:?}");
}

#[test]
fn removing_the_side_slip_component_would_understate_a_fast_circle() {
    let quick = [leg(40.0, 3.0, 1.0 / 8.0), leg(20.0, 5.0, 0.0), leg(40.0, 3.0, -1.0 / 8.0)];
    let a = allowance_of(&drive(&quick, SOUND)).0.unwrap().allowance;
    let side = a.components.iter().find(|c| c.name == "side slip").expect("side slip is named");
    assert!(side.u > 0.5 * a.u() && side.shared, "{a:?}");
}

fn mismatch_of(sides: Sides, steps: &[Step], course: &Course) -> Option<Mismatch> {
    let setup = Setup::new(&vehicle());
    let mut fold = MismatchFold::new(sides);
    for step in steps {
        let m = setup.motion(step, course, Prefer::Wheels);
        let curvature =
            m.and_then(|m| Some((m.curvature?, m.demanded[0] / m.rear.turns.max(1e-9))));
        fold.push(step, &setup, curvature, Some(Coupling::Differential));
    }
    fold.finish(&setup, course)
}

#[test]
fn a_front_tyre_of_ten_millimetres_less_is_read_as_such_on_a_straight_road() {
    let worn = Build { front_over_rear: 2190.0 / 2200.0, ..SOUND };
    let straight = [leg(60.0, 12.0, 0.0), leg(30.0, 14.0, 0.0)];
    let found = mismatch_of(Sides::FrontRear, &drive(&straight, worn), &Course::default()).unwrap();
    let d = &found.difference_mm;
    assert!((d.value + 10.0).abs() < 0.3 && d.u() < 1.0, "{d:?}");
}

/// Where the front was not driven in the mode that declares it, the rear axle slipped alone: what
/// its slip is thought to be is then another, and known less well.
#[test]
fn a_front_that_was_not_driven_leaves_the_mismatch_open_to_the_slip_of_the_rear_axle() {
    let setup = Setup::new(&vehicle());
    let steps = drive(&[leg(60.0, 12.0, 0.0), leg(30.0, 14.0, 0.0)], SOUND);
    let read = |span_us: Option<(i64, i64)>| {
        let mut fold = MismatchFold::new(Sides::FrontRear);
        let driven = Some(Coupling::Differential);
        steps.iter().for_each(|step| fold.push(step, &setup, Some((0.0, 0.0)), driven));
        span_us.into_iter().for_each(|span_us| fold.was_rear_only(span_us));
        fold.finish(&setup, &Course::default()).expect("a long straight")
    };
    let (driven, elsewhere) = (read(None), read(Some((0, 1))));
    assert_eq!(driven, elsewhere, "another stretch");
    let free = read(Some((0, i64::MAX)));
    assert_eq!((driven.through_differential, free.through_differential), (1.0, 0.0));
    assert!(free.difference_mm.u() > driven.difference_mm.u(), "{free:?}");
}

#[test]
fn left_and_right_need_a_course_and_with_one_agree_with_the_tyres() {
    let uneven = Build { right_over_left: 1.004, ..SOUND };
    let steps = drive(&[leg(90.0, 12.0, 0.0)], uneven);
    assert!(mismatch_of(Sides::RearLeftRight, &steps, &Course::default()).is_none());
    let mut course = Course::default();
    for k in 0..1_000 {
        course.push(Fix { time_s: 0.1 * f64::from(k), speed_mps: 12.0, course_rad: 1.0 });
    }
    let d = mismatch_of(Sides::RearLeftRight, &steps, &course).unwrap().difference_mm;
    assert!((d.value + 0.004 * 2200.0).abs() < 3.0 * d.u() && d.u() < 1.5, "{d:?}");
}

#[test]
fn sensors_agree_to_a_tenth_of_a_percent_when_the_declaration_is_right() {
    let setup = Setup::new(&vehicle());
    let mut fold = AgreementFold::new(&setup, 1);
    drive(&CIRCLES, SOUND).iter().for_each(|s| fold.push(s));
    let found = fold.finish().unwrap();
    assert!(found.excess_percent.value.abs() < 0.1 && found.excess_percent.u() < 0.1, "{found:?}");
}

#[test]
fn a_course_alone_tells_the_curvature_where_wheels_are_not_measured() {
    let mut shafts_only = vehicle();
    shafts_only.sensors.retain(|s| s.channel <= 3);
    let setup = Setup::new(&shafts_only);
    let mut course = Course::default();
    for k in 0..1_600 {
        let t = 5.0 + 0.2 * f64::from(k);
        let at = (t - 5.0).min(126.0) - (t - 161.0).clamp(0.0, 126.0);
        course.push(Fix {
            time_s: t,
            speed_mps: 1.0,
            course_rad: (0.1 * at).rem_euclid(std::f64::consts::TAU),
        });
    }
    let mut fold = PeriodFold::new(1.0, setup.metres_per_turn(), 0.1);
    for step in drive(&CIRCLES, SOUND) {
        let places = [Place::FrontShaft, Place::RearShaft, Place::Input];
        let mut shafts = step.clone();
        shafts.turn = wheelwitness_driveline::turn::Turns::default();
        places.iter().for_each(|p| shafts.turn[*p as usize] = step.at(*p));
        if let Some(m) = setup.motion(&shafts, &course, Prefer::Wheels) {
            assert!(m.source.is_none_or(|s| s == CurvatureSource::Course));
            fold.push(&m, Standstill::Unknown);
        }
    }
    let a = fit(&fold.finish(), 0.25, PRIOR).unwrap().allowance;
    assert!((a.value - 1.0).abs() < 2.0 * a.u() && a.u() < 0.1, "{a:?}");
}

#[test]
fn counters_wrap_without_a_jump_and_refuse_what_no_sensor_makes() {
    let mut counter = Counter::default();
    let at = |count, age_us| Count { count, age_us };
    assert_eq!(counter.observe(0, at(65_530, None)), Counted::Same);
    let wrapped = counter.observe(10_000, at(4, Some(10)));
    assert_eq!(wrapped, Counted::Edge(Edge { time_us: 9_990, index: 10 }));
    assert_eq!(counter.observe(20_000, at(4, None)), Counted::Same);
    assert_eq!(counter.observe(30_000, at(40_000, Some(5))), Counted::Implausible);
}

#[test]
fn turns_of_consecutive_steps_add_up_to_the_counted_turns() {
    let steps = drive(&[leg(60.0, 2.0, 0.05), leg(60.0, 9.0, 0.0)], SOUND);
    let sum: f64 = steps.iter().filter_map(|s| s.at(Place::RearShaft)).map(|t| t.turns).sum();
    let (start, end) = (steps[0].start_us, steps[steps.len() - 1].end_us);
    let (slow, quick) = ((65_000_000 - start) as f64 * 1e-6, (end - 65_000_000) as f64 * 1e-6);
    let expected = 4.0 / 2.2 * (2.0 * slow + 9.0 * quick);
    assert!((sum - expected).abs() < 0.2, "{sum} {expected}");
}

fn pattern_of(teeth: u32, spacing: &[f64], turns: u32) -> ToothPattern {
    let mut pattern = ToothPattern::new(teeth);
    let (mut t, mut index) = (0.0, 0);
    for turn in 0..turns {
        for s in spacing {
            pattern.push(Edge { time_us: t as i64, index });
            t += s * (20_000.0 + 40.0 * f64::from(turn));
            index += 1;
        }
    }
    pattern
}

#[test]
fn magnets_out_of_place_are_learned_while_the_speed_changes() {
    let pattern = pattern_of(4, &[1.02, 0.97, 1.0, 1.01], 60);
    let spacing = pattern.spacing().unwrap();
    for (found, truth) in spacing.iter().zip([1.02, 0.97, 1.0, 1.01]) {
        assert!((found - truth).abs() < 2e-3, "{spacing:?}");
    }
    assert!(!pattern.has_double_gap());
}

#[test]
fn a_missing_tooth_shows_as_one_double_gap_a_turn() {
    let mut one_gap = vec![1.0; 47];
    one_gap[11] = 2.0;
    assert!(pattern_of(47, &one_gap, 20).has_double_gap());
    assert!(!pattern_of(48, &[1.0; 48], 20).has_double_gap());
    assert!(pattern_of(3, &[1.0, 2.0, 1.0], 20).has_double_gap());
}

#[test]
fn a_missing_tooth_shows_where_only_every_third_or_fourth_edge_is_pinned() {
    let sparse = |teeth: usize, gap: bool| {
        let mut spacing = vec![1.0; teeth];
        spacing[11] = if gap { 2.0 } else { 1.0 };
        let mut pattern = ToothPattern::new(teeth as u32);
        let (mut time_us, mut reported_us) = (0.0, 0);
        for index in 0..teeth * 60 {
            // Rounds come every 10 ms and tell of the last edge only.
            if time_us as i64 / 10_000 > reported_us {
                reported_us = time_us as i64 / 10_000;
                pattern.push(Edge { time_us: time_us as i64, index: index as i64 });
            }
            time_us += spacing[index % teeth] * 2_900.0;
        }
        pattern
    };
    assert!(sparse(47, true).has_double_gap());
    assert!(!sparse(48, false).has_double_gap());
}

#[test]
fn a_missing_tooth_shows_beside_noise_that_shifts_the_numbers_now_and_then() {
    let with = |noisy: bool, spacing: [f64; 5]| {
        let mut pattern = ToothPattern::new(5);
        let (mut time_us, mut index) = (0.0, 0);
        for turn in 0..240 {
            for (k, s) in spacing.iter().enumerate() {
                pattern.push(Edge { time_us: time_us as i64, index });
                index += 1;
                if noisy && turn % 80 == 40 && k == 2 {
                    pattern.push(Edge { time_us: (time_us + 7_000.0) as i64, index });
                    index += 1;
                }
                time_us += s * 20_000.0;
            }
        }
        pattern.has_double_gap()
    };
    let gap = [1.0, 1.0, 2.0, 1.0, 1.0];
    assert!(with(false, gap) && with(true, gap));
    assert!(!with(false, [1.0; 5]) && !with(true, [1.0; 5]));
}

/// Surest rise of the outputs' difference in these steps.
fn parted(steps: &[Step]) -> f64 {
    let setup = Setup::new(&vehicle());
    let mut fold = PeriodFold::new(1.0, setup.metres_per_turn(), 0.1);
    for step in steps {
        if let Some(m) = setup.motion(step, &Course::default(), Prefer::Wheels) {
            fold.push(&m, Standstill::Denied);
        }
    }
    fold.parted.most
}

/// In the mean over the turn the slip of the end is nothing.
#[test]
fn a_lock_that_lets_go_at_the_end_of_a_turn_is_noticed_and_one_that_slips_evenly_is_not() {
    let turn = [leg(60.0, 1.5, 1.0 / 6.0)];
    let sound = drive(&turn, Build { allowance: 0.0, ..SOUND });
    assert!(parted(&sound) < 0.01, "{}", parted(&sound));
    let even = drive(&turn, Build { allowance: 0.08, ..SOUND });
    assert!(parted(&even) < 0.05, "{}", parted(&even));
    let mut lets_go = sound;
    let n = lets_go.len();
    for step in &mut lets_go[n - 6..n - 2] {
        let front = step.turn[Place::FrontShaft as usize].as_mut().expect("it turns");
        front.turns += 0.08;
    }
    let most = parted(&lets_go);
    assert!((most - 0.32).abs() < 0.1, "{most}");
}

#[test]
fn an_input_that_gives_no_edge_while_the_outputs_turn_is_noticed() {
    let setup = Setup::new(&vehicle());
    let silent = |from: usize, to: usize| {
        let mut fold = PeriodFold::new(1.0, setup.metres_per_turn(), 0.1);
        let mut steps = drive(&[leg(30.0, 1.5, 1.0 / 6.0)], SOUND);
        for step in &mut steps[from..to] {
            let input = step.turn[Place::Input as usize].as_mut().expect("it is measured");
            (input.turns, input.still) = (0.0, true);
        }
        for step in &steps {
            let motion = setup.motion(step, &Course::default(), Prefer::Wheels);
            fold.push(&motion.expect("the vehicle moves"), Standstill::Denied);
        }
        fold.input_silent_steps
    };
    assert_eq!((silent(9, 9), silent(9, 12)), (0, 3));
}

#[test]
fn noise_makes_a_slow_turn_no_sharper_on_the_mean() {
    // Full lock at walking pace, five fixes a second, 0.1 m/s of noise across: what a turn demands
    // goes with the square of its rate, and a window chosen by what it shows would prefer steep
    // ones.
    let (speed_mps, rate) = (0.9, 0.18);
    let mut state = 1u64;
    let mut uniform = || {
        state = state * 16_807 % 2_147_483_647;
        state as f64 / 2_147_483_647.0
    };
    let mut normal = || (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
    let (mut squares, mut n) = (0.0, 0.0);
    for _ in 0..40 {
        let mut course = Course::default();
        for k in 0..250 {
            let time_s = 0.2 * f64::from(k);
            let course_rad = (rate * time_s + 0.1 * normal() / speed_mps).rem_euclid(TAU);
            course.push(Fix { time_s, speed_mps, course_rad });
        }
        for k in 20..80 {
            let yaw = course.yaw_rate(0.5 * f64::from(k)).expect("fixes all around");
            (squares, n) = (squares + yaw.rate.powi(2) - yaw.u.powi(2), n + 1.0);
        }
    }
    let over = squares / n / rate.powi(2) - 1.0;
    assert!(over.abs() < 0.02, "{:.1} % too sharp", 100.0 * over);
}
