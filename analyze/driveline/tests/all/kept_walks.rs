//! Steps that nobody would drive give the numbers that they gave before.
//!
//! The drives of `kept_numbers.rs` are drives: places rest together, no step is missing, and most
//! guards of the physics never speak. Here made steps hold everything that the folds are written
//! for, in any order: silent places, lost stretches, ends that nobody saw, units with a floor,
//! coarse counts that meet a limit exactly. Every fold's answer is held against `kept-walks.txt`;
//! who changes the physics on purpose writes it anew as told there.

use crate::kept_numbers::{Kept, hold, keep_comparisons, ripple, told};
use crate::motion::{Build, Leg, PRIOR, rates, vehicle};
use wheelwitness_driveline::allowance::{MismatchPrior, fit, front_share};
use wheelwitness_driveline::course::{Course, Fix};
use wheelwitness_driveline::demand::{Prefer, Setup};
use wheelwitness_driveline::pulse::Step;
use wheelwitness_driveline::range::range_ratio;
use wheelwitness_driveline::scrub::scrub;
use wheelwitness_driveline::segment::{PeriodFold, Standstill};
use wheelwitness_driveline::turn::{PLACES, Sent, Turn};
use wheelwitness_driveline::vehicle::{AxleKind, Coupling, Place, Vehicle};

const KEPT: &str = include_str!("kept-walks.txt");

/// Steps of a quarter of a second.
const STEP_US: i64 = 250_000;

/// Dice that fall alike on every computer.
struct Dice(u32);

impl Dice {
    /// One of `n`, from 0.
    fn of(&mut self, n: u32) -> u32 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (self.0 >> 16) % n
    }

    fn once_in(&mut self, n: u32) -> bool {
        self.of(n) == 0
    }

    fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        from[self.of(from.len() as u32) as usize]
    }
}

/// The places in the order of the rates of a leg.
const AT: [Option<Place>; 8] = [
    Some(Place::FrontShaft),
    Some(Place::RearShaft),
    Some(Place::Input),
    None,
    Some(Place::FrontLeft),
    Some(Place::FrontRight),
    Some(Place::RearLeft),
    Some(Place::RearRight),
];

/// What a walk is made of.
struct Walk {
    vehicle: Vehicle,
    steps: Vec<Step>,
    course: Course,
    coupling: Coupling,
    prefer: Prefer,
}

/// The places that have a sensor, by kind of fit.
fn fitted(kind: u32) -> fn(Place) -> bool {
    match kind {
        0 => |_| true,
        1 => |p| Place::WHEELS.contains(&p) || p == Place::Input,
        2 => |p| !Place::WHEELS.contains(&p),
        _ => |p| p != Place::FrontLeft && p != Place::RearShaft,
    }
}

/// Turns of a place in a step, with whatever may be wrong with them.
fn turn(dice: &mut Dice, place: Place, turns: f64, by_unit: bool, was: Option<Turn>) -> Turn {
    let wheel = Place::WHEELS.contains(&place);
    let edge = if wheel { 1.0 / 48.0 } else { 0.25 };
    // Coarse: whole eighths of an edge, so that limits are met exactly.
    let turns = (turns / edge * 8.0).round() / 8.0 * edge;
    let silent = turns == 0.0 || dice.once_in(70);
    let turns = if silent { 0.0 } else { turns };
    let u = if silent { edge / 4.0 } else { edge * dice.pick(&[0.01, 0.01, 0.02]) };
    let u = if dice.once_in(90) { 3.0 * edge } else { u };
    let sent = by_unit.then(|| Sent {
        unit: u8::from(wheel),
        rounding: edge / 64.0,
        truncation: if wheel { edge / 32.0 } else { 0.0 },
        delay: f64::from(dice.of(5)) / 256.0 - 1.0 / 128.0,
        between: edge * edge / 16.0,
        hidden: if silent || dice.once_in(30) { edge / 2.0 } else { 0.0 },
    });
    let edge = if by_unit { 0.0 } else { edge };
    let u_start = was.map_or(u, |t| t.u_end);
    Turn { turns, u_start, u_end: u, still: silent, edge, sent }
}

fn some_leg(dice: &mut Dice) -> Leg {
    let leg = Leg {
        seconds: f64::from(20 + dice.of(60)) / 4.0,
        speed: dice.pick(&[0.0, 0.5, 1.25, 3.0, 6.0, 12.0, 15.0, 22.0]),
        curvature: dice.pick(&[0.0, 0.0, 0.000_5, 0.02, 1.0 / 7.0, -1.0 / 7.0, -1.0 / 16.0]),
    };
    // Nobody takes a hairpin at speed.
    let curvature = if leg.speed > 4.0 { leg.curvature / 50.0 } else { leg.curvature };
    Leg { curvature, ..leg }
}

fn walk(seed: u32) -> Walk {
    let mut dice = Dice(seed.wrapping_mul(0x9E37_79B9));
    let mut vehicle = vehicle();
    if dice.once_in(6) {
        vehicle.axles.rear.kind = dice.pick(&[AxleKind::Locked, AxleKind::Disconnect]);
    }
    let coupling = dice.pick(&[
        Coupling::Differential,
        Coupling::Locked,
        Coupling::RearOnly,
        Coupling::Differential,
    ]);
    let allowance = if coupling == Coupling::Locked { 0.0 } else { dice.pick(&[1.0, 1.0, 0.5]) };
    let build = Build {
        front_over_rear: dice.pick(&[1.0, 0.99, 1.004]),
        right_over_left: dice.pick(&[1.0, 1.005]),
        allowance,
        coupled: coupling != Coupling::RearOnly,
    };
    let (has, by_bus) = (fitted(dice.of(4)), dice.of(4));
    let by_unit = |p: Place| match by_bus {
        0 => true,
        1 => Place::WHEELS.contains(&p),
        _ => false,
    };
    let (mut steps, mut course) = (Vec::new(), Course::default());
    let (mut last, mut now_us, mut heading) = ([None::<Turn>; PLACES], 1_000_000, 0.0f64);
    for _ in 0..6 + dice.of(5) {
        let leg = some_leg(&mut dice);
        let rate = rates(leg, build);
        if dice.once_in(4) {
            now_us += i64::from(dice.of(9)) * STEP_US;
            last = [None; PLACES];
        }
        for _ in 0..(leg.seconds * 4.0) as u32 {
            let mut all = [None; PLACES];
            for (place, rate) in AT.iter().zip(rate) {
                let Some(place) = place.filter(|p| has(*p)) else { continue };
                let turns = rate * 0.25;
                let lost = dice.once_in(80);
                let t = turn(&mut dice, place, turns, by_unit(place), last[place as usize]);
                all[place as usize] = (!lost).then_some(t);
            }
            last = all;
            let k = steps.len() as u64;
            steps.push(Step {
                start_us: now_us,
                end_us: now_us + STEP_US,
                records: (k, k),
                turn: all,
            });
            now_us += STEP_US;
            heading += leg.speed * leg.curvature * 0.25;
            let time_s = now_us as f64 * 1e-6;
            let speed_mps = (leg.speed + 0.02 * ripple(now_us as u32 / 1000)).max(0.0);
            let course_rad = (heading + 0.003 * ripple(k as u32)).rem_euclid(std::f64::consts::TAU);
            if !seed.is_multiple_of(3) && !dice.once_in(50) {
                course.push(Fix { time_s, speed_mps, course_rad });
            }
        }
    }
    let prefer = dice.pick(&[Prefer::Wheels, Prefer::Course]);
    Walk { vehicle, steps, course, coupling, prefer }
}

fn keep_walk(w: &Walk, kept: &mut Kept) {
    let setup = Setup::new(&w.vehicle);
    let mut fold = PeriodFold::new(1.0, setup.metres_per_turn(), 0.1);
    for step in &w.steps {
        if let Some(m) = setup.motion(step, &w.course, w.prefer) {
            let rests = [Standstill::Confirmed, Standstill::Unknown, Standstill::Denied];
            fold.push(&m, rests[(step.records.0 / 7 % 3) as usize]);
        }
    }
    let segments = fold.finish();
    kept.line("parted", &[fold.parted.most, fold.silent_steps.into()]);
    // One line for all of them, in which nothing cancels.
    let mut sums = vec![segments.len() as f64];
    for (k, s) in segments.iter().enumerate() {
        let told = told(s).into_iter().filter(|n| n.is_finite());
        sums.push(told.zip(1..).map(|(n, i)| n * (2.0 + ripple(31 * k as u32 + i))).sum());
    }
    kept.line("segments", &sums);
    let known = MismatchPrior { mean: 0.006, u: 0.002, scale: (0.001, 0.001) };
    for prior in [PRIOR, known] {
        if let Some(a) = fit(&segments, 0.05, prior) {
            kept.estimate("allowance", &a.allowance);
            kept.line("turns", &[a.demanded_turn, a.straight_turn, a.against_free_front]);
            a.manoeuvres.iter().for_each(|m| kept.estimate("manoeuvre", &m.allowance));
        }
    }
    front_share(&segments, 0.05).iter().for_each(|e| kept.estimate("front share", e));
    if let Some(r) = range_ratio(&segments, w.coupling, Some(0.5), 0.05) {
        kept.estimate("range ratio", &r.excess_percent);
    }
    if let Ok(s) = scrub(&segments, setup.metres_per_turn(), &PRIOR) {
        kept.estimate("scrub", &s.per_km);
    }
    keep_comparisons(&setup, &w.course, w.prefer, w.coupling, &w.steps, kept);
}

fn now() -> String {
    let mut kept = Kept { brief: true, ..Kept::default() };
    for seed in 0..40 {
        kept.line(&format!("== walk {seed}"), &[]);
        keep_walk(&walk(seed), &mut kept);
    }
    kept.text
}

#[test]
fn steps_that_nobody_would_drive_give_the_numbers_that_they_gave_before() {
    hold(&now(), KEPT, "kept-walks.txt");
}

#[test]
fn the_walks_reach_every_estimate() {
    for name in ["allowance", "front-share", "range-ratio", "scrub", "front/rear", "rear-sides"] {
        let found = KEPT.lines().filter(|l| l.starts_with(name)).count();
        assert!(found >= 5, "{name}: {found}");
    }
}
