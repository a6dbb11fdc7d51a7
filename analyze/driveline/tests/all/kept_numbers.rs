//! Numbers of the physics move only on purpose.
//!
//! Other tests hold estimates against the truth and let them err within their uncertainty; they
//! would not notice a component that is a tenth too small. Here everything that a few made drives
//! give is held against what they gave before, in `kept-numbers.txt`. Who changes the physics on
//! purpose writes the file anew, and looks at what moved:
//!
//! `WHEELWITNESS_KEEP_NUMBERS=1 cargo test -p wheelwitness-driveline --test all kept_numbers`

use crate::motion::{Build, Leg, PRIOR, SOUND, leg, rates, vehicle};
use std::f64::consts::TAU;
use std::fmt::Write;
use wheelwitness_driveline::agreement::{AgreementFold, CountedTwice};
use wheelwitness_driveline::allowance::{fit, front_share};
use wheelwitness_driveline::course::{Course, Fix};
use wheelwitness_driveline::demand::{Prefer, Setup};
use wheelwitness_driveline::fastest::FastestFold;
use wheelwitness_driveline::mismatch::{MismatchFold, Sides};
use wheelwitness_driveline::places::PlacesFold;
use wheelwitness_driveline::pulse::{Count, Counted, Counter, Sensing, Step, Stepper};
use wheelwitness_driveline::quantity::Estimate;
use wheelwitness_driveline::range::range_ratio;
use wheelwitness_driveline::rate::rated;
use wheelwitness_driveline::scrub::scrub;
use wheelwitness_driveline::segment::{PeriodFold, Segment, Standstill};
use wheelwitness_driveline::signal::Said;
use wheelwitness_driveline::steady::{Band, SteadyFold, noise};
use wheelwitness_driveline::tooth::ToothPattern;
use wheelwitness_driveline::vehicle::{
    ByteOrder, Coupling, Measures, Message, Place, Signal, Vehicle,
};

const KEPT: &str = include_str!("kept-numbers.txt");

/// Reports of a board come this often, seconds.
const TICK_S: f64 = 0.01;

/// A made drive.
struct Drive {
    name: &'static str,
    legs: Vec<Leg>,
    build: Build,
    coupling: Coupling,
    prefer: Prefer,
    /// Nothing arrives between these times, seconds.
    lost: Option<(f64, f64)>,
    /// What units on the bus tell instead of the board.
    by_bus: &'static [Place],
}

const PLAIN: Drive = Drive {
    name: "",
    legs: Vec::new(),
    build: SOUND,
    coupling: Coupling::Differential,
    prefer: Prefer::Wheels,
    lost: None,
    by_bus: &[],
};

/// From a rest to a speed and back: steps of a fifth of a second.
fn hop(speed: f64, curvature: f64) -> Vec<Leg> {
    let up = (0..20).map(|k| speed * f64::from(k) / 20.0);
    let down = (0..20).rev().map(|k| speed * f64::from(k) / 20.0);
    let hold = leg(8.0, speed, curvature);
    let slow = |v: f64| leg(0.2, v, curvature);
    up.map(slow).chain([hold]).chain(down.map(slow)).chain([leg(3.0, 0.0, 0.0)]).collect()
}

fn drives() -> Vec<Drive> {
    let circles = |v: f64, r: f64| {
        [leg(30.0, v, 1.0 / r), leg(25.0, 9.0, 0.0), leg(30.0, v, -1.0 / r), leg(20.0, 12.0, 1e-5)]
    };
    let odd = Build { front_over_rear: 0.994, right_over_left: 1.003, ..SOUND };
    let all_hops = [hop(5.0, 0.0), hop(3.0, 0.1), hop(6.0, 0.0), hop(2.5, -0.12)];
    vec![
        Drive { name: "open", legs: circles(1.5, 7.0).into(), build: odd, ..PLAIN },
        Drive {
            name: "locked",
            legs: circles(1.4, 8.0).into(),
            build: Build { allowance: 0.0, ..odd },
            coupling: Coupling::Locked,
            prefer: Prefer::Course,
            ..PLAIN
        },
        Drive {
            name: "half",
            legs: circles(1.8, 9.0).into(),
            build: Build { allowance: 0.45, ..odd },
            prefer: Prefer::Course,
            lost: Some((40.3, 41.1)),
            ..PLAIN
        },
        Drive {
            name: "rear only, stop and go",
            legs: all_hops.concat(),
            build: Build { coupled: false, ..odd },
            coupling: Coupling::RearOnly,
            lost: Some((30.2, 33.9)),
            ..PLAIN
        },
        Drive { name: "by bus", legs: circles(2.0, 8.0).into(), by_bus: &Place::WHEELS, ..PLAIN },
        Drive {
            name: "outputs by bus",
            legs: circles(2.2, 7.5).into(),
            build: odd,
            by_bus: &[Place::FrontShaft, Place::RearShaft, Place::Input],
            lost: Some((70.5, 71.1)),
            ..PLAIN
        },
    ]
}

/// What happened, sampled at the board's ticks.
struct Run {
    vehicle: Vehicle,
    /// Time, and counts of eight channels.
    ticks: Vec<(i64, [Count; 8])>,
    /// Time, signal and what it says.
    speeds: Vec<(i64, usize, f64)>,
    course: Course,
}

/// Where a tooth of a channel sits beside its place, in teeth.
fn tooth(channel: usize, n: i64, teeth: i64) -> f64 {
    let part = n.rem_euclid(teeth) as f64 / teeth as f64;
    0.06 * (TAU * part + channel as f64).sin() + 0.02 * (3.0 * TAU * part).cos()
}

/// What sends the turns of a place on the bus: wheels by a published message, shafts each by a unit
/// of its own.
fn signal(place: Place) -> Signal {
    let named = Signal { name: format!("{place:?}"), place: Some(place), ..Signal::default() };
    if Place::WHEELS.contains(&place) {
        return Signal { message: Some(Message::J1939Hrw), ..named };
    }
    Signal {
        id: Some(0x200 + place as u32),
        start_bit: Some(0),
        length: Some(16),
        byte_order: Some(ByteOrder::Little),
        factor: Some(0.125),
        measures: Some(Measures::SpeedRpm),
        unit: Some(format!("{place:?}")),
        ..named
    }
}

/// Index of the count of a place.
fn channel(vehicle: &Vehicle, place: Place) -> usize {
    let of = vehicle.sensors.iter().find(|s| s.place == place).expect("the vehicle has them all");
    usize::from(of.channel) - 1
}

/// A noise that is the same on every computer, between -1 and 1.
pub fn ripple(k: u32) -> f64 {
    let mixed = k.wrapping_mul(2_654_435_761) ^ (k.wrapping_mul(40_503) >> 7);
    f64::from(mixed % 2001) / 1000.0 - 1.0
}

fn run(d: &Drive) -> Run {
    let mut vehicle = vehicle();
    let teeth: [i64; 8] = [4, 4, 4, 1, 48, 48, 48, 48];
    let channels: Vec<usize> = d.by_bus.iter().map(|p| channel(&vehicle, *p)).collect();
    vehicle.signals = d.by_bus.iter().map(|p| signal(*p)).collect();
    vehicle.sensors.retain(|s| !d.by_bus.contains(&s.place));
    let (mut turned, mut edges) = ([0.3f64; 8], [(0i64, None::<f64>); 8]);
    let (mut ticks, mut speeds, mut course) = (Vec::new(), Vec::new(), Course::default());
    let (mut now_s, mut heading, mut k) = (0.0, 0.4, 0u32);
    for leg in &d.legs {
        let rate = rates(*leg, d.build);
        for _ in 0..(leg.seconds / TICK_S).round() as u32 {
            for c in 0..8 {
                turned[c] += rate[c] * TICK_S;
                let (n, at_s) = &mut edges[c];
                // The next edge has passed once the turns reach where its tooth sits.
                while turned[c] * teeth[c] as f64 >= *n as f64 + 1.0 + tooth(c, *n + 1, teeth[c]) {
                    *n += 1;
                    let past = turned[c] * teeth[c] as f64 - *n as f64 - tooth(c, *n, teeth[c]);
                    let ago_s = past / (rate[c] * teeth[c] as f64);
                    *at_s = Some(now_s + TICK_S - ago_s).filter(|_| rate[c] > 0.0);
                }
            }
            now_s += TICK_S;
            heading += leg.speed * leg.curvature * TICK_S;
            k += 1;
            let us = (now_s * 1e6).round() as i64;
            let count = |c: usize| Count {
                count: edges[c].0 as u16,
                age_us: edges[c].1.and_then(|s| u16::try_from(us - (s * 1e6) as i64).ok()),
            };
            if d.lost.is_none_or(|(from, to)| now_s < from || now_s > to) {
                ticks.push((us, std::array::from_fn(count)));
            }
            if k % 2 == 0 {
                // A wheel in 1/256 km/h, a shaft in 1/8 turn a minute.
                let kmh = |c: usize| (rate[c] * 2.2 * 3.6 * 256.0).floor() / 256.0;
                let rpm = |c: usize| (rate[c] * 60.0 * 8.0).floor() / 8.0;
                let said = |c: usize| if c < 4 { rpm(c) } else { kmh(c) };
                speeds.extend(channels.iter().enumerate().map(|(i, c)| (us, i, said(*c))));
            }
            if k % 10 == 0 {
                course.push(Fix {
                    time_s: now_s,
                    speed_mps: (leg.speed + 0.02 * ripple(k)).max(0.0),
                    course_rad: (heading + 0.004 * ripple(k + 7)).rem_euclid(TAU),
                });
            }
        }
    }
    Run { vehicle, ticks, speeds, course }
}

/// The kept text of a drive, line by line: a name, then numbers.
#[derive(Default)]
pub struct Kept {
    pub text: String,
    /// An estimate in one line, without the names of its components.
    pub brief: bool,
}

impl Kept {
    pub fn line(&mut self, name: &str, numbers: &[f64]) {
        let _ = write!(self.text, "{}", name.replace(' ', "-"));
        for n in numbers {
            let _ = write!(self.text, " {n:.9e}");
        }
        self.text.push('\n');
    }

    pub fn estimate(&mut self, name: &str, e: &Estimate) {
        let of = [e.value, e.u(), e.dof()];
        if self.brief {
            let components: Vec<f64> = e.components.iter().map(|c| c.u).collect();
            return self.line(name, &[&of[..], &components].concat());
        }
        self.line(name, &of);
        for c in &e.components {
            self.line(&format!("  {}", c.name), &[c.u, f64::from(u8::from(c.shared))]);
        }
    }
}

fn patterns(run: &Run, kept: &mut Kept) -> Vec<Sensing> {
    let learned = |s: &wheelwitness_driveline::vehicle::Sensor, kept: &mut Kept| {
        let (mut pattern, mut counter) = (ToothPattern::new(s.pulses_per_turn), Counter::default());
        for (us, counts) in &run.ticks {
            match counter.observe(*us, counts[usize::from(s.channel) - 1]) {
                Counted::Edge(edge) => pattern.push(edge),
                Counted::Implausible => pattern.begin_anew(),
                Counted::Same | Counted::Unpinned(_) => {}
            }
        }
        let jumps = pattern.jumps().map(f64::from);
        let known = pattern.position_u().unwrap_or(f64::NAN);
        let numbers = [pattern.scatter(), known, pattern.turns().into(), jumps[0], jumps[1]];
        kept.line(&format!("teeth {:?}", s.place), &numbers);
        kept.line(
            "  spacing",
            &pattern.spacing().unwrap_or_default()[..s.pulses_per_turn.min(6) as usize],
        );
        Sensing {
            place: s.place,
            channel: s.channel,
            edges_per_turn: s.pulses_per_turn,
            pattern: pattern.learned(),
            tooth_u: pattern.position_u().unwrap_or(0.1),
        }
    };
    run.vehicle.sensors.iter().map(|s| learned(s, kept)).collect()
}

fn steps(run: &Run, sensing: &[Sensing]) -> Vec<Step> {
    let rated = rated(&run.vehicle);
    let (mut stepper, mut out) = (Stepper::new(sensing, &rated), Vec::new());
    let mut speeds = run.speeds.iter().peekable();
    for (us, counts) in &run.ticks {
        for (first, four) in [(1, &counts[..4]), (5, &counts[4..])] {
            let four = four.try_into().expect("four of eight");
            stepper.push(*us, *us as u64, first, four, &mut |s| out.push(s.clone()));
        }
        while let Some((at_us, signal, speed)) = speeds.next_if(|s| s.0 <= *us) {
            let said = Some(Said::Speed(*speed));
            stepper.hear(*at_us, *at_us as u64, *signal, said, &mut |s| out.push(s.clone()));
        }
    }
    stepper.restart(&mut |s| out.push(s.clone()));
    out
}

fn keep_steps(steps: &[Step], kept: &mut Kept) {
    for place in
        [Place::FrontShaft, Place::RearShaft, Place::Input].into_iter().chain(Place::WHEELS)
    {
        let sum = |of: &dyn Fn(&wheelwitness_driveline::turn::Turn) -> f64| -> f64 {
            steps.iter().filter_map(|s| s.at(place)).map(|t| of(&t)).sum()
        };
        let sent = [
            sum(&|t| t.sent.map_or(0.0, |s| s.rounding)),
            sum(&|t| t.sent.map_or(0.0, |s| s.delay.abs())),
            sum(&|t| t.between()),
            sum(&|t| t.hidden()),
        ];
        let ends = [sum(&|t| t.u_start), sum(&|t| t.u_end), sum(&|t| f64::from(u8::from(t.still)))];
        kept.line(&format!("turns {place:?}"), &[&[sum(&|t| t.turns)][..], &ends, &sent].concat());
    }
}

/// Everything that a segment says.
pub fn told(s: &Segment) -> Vec<f64> {
    let all = [
        s.seconds(),
        s.rear,
        s.counted,
        s.input.unwrap_or(f64::NAN),
        s.counted_u(),
        s.input_u_with_play(0.4, 0.1),
        s.demanded_u,
        s.noise_turn,
        s.opinions[0],
        s.opinions[1],
        s.traction,
        s.curvature(),
        s.smear_s,
    ];
    [&all[..], &s.demanded].concat()
}

fn keep_period(setup: &Setup, run: &Run, d: &Drive, steps: &[Step], kept: &mut Kept) {
    let mut fold = PeriodFold::new(1.0, setup.metres_per_turn(), 0.1);
    for step in steps {
        if let Some(m) = setup.motion(step, &run.course, d.prefer) {
            fold.push(&m, Standstill::Denied);
        }
    }
    let segments = fold.finish();
    kept.line("parted", &[fold.parted.most, fold.silent_steps.into()]);
    segments.iter().for_each(|s| kept.line("segment", &told(s)));
    if let Some(a) = fit(&segments, 0.05, PRIOR) {
        kept.estimate("allowance", &a.allowance);
        kept.estimate("let through", &a.mismatch);
        let free = a.against_free_front;
        kept.line("turns", &[a.demanded_turn, a.straight_turn, a.counted_range, free]);
        for m in &a.manoeuvres {
            kept.line("manoeuvre", &[m.demanded_turn]);
            kept.estimate("  its allowance", &m.allowance);
        }
    }
    if let Some(share) = front_share(&segments, 0.05) {
        kept.estimate("front share", &share);
    }
    if let Some(ratio) = range_ratio(&segments, d.coupling, Some(0.5), 0.05) {
        kept.estimate("range ratio", &ratio.excess_percent);
    }
    if let Ok(s) = scrub(&segments, setup.metres_per_turn(), &PRIOR) {
        kept.estimate("scrub", &s.per_km);
    }
}

pub fn keep_comparisons(
    setup: &Setup,
    course: &Course,
    prefer: Prefer,
    coupling: Coupling,
    steps: &[Step],
    kept: &mut Kept,
) {
    let sides = [Sides::FrontRear, Sides::FrontLeftRight, Sides::RearLeftRight];
    let mut mismatch = sides.map(MismatchFold::new);
    let mut agreement = [0, 1].map(|axle| AgreementFold::new(setup, axle));
    let (mut twice, mut places) = (CountedTwice::default(), PlacesFold::new(setup, 0.5));
    let (mut fastest, mut steady) = (FastestFold::default(), SteadyFold::default());
    for step in steps {
        let motion = setup.motion(step, course, prefer);
        let curvature = motion.and_then(|m| {
            let excess = m.demanded[0] / (m.rear.turns * setup.declared_ratio()).max(1e-9);
            Some((m.curvature?, excess))
        });
        mismatch.iter_mut().for_each(|f| f.push(step, setup, curvature, Some(coupling)));
        agreement.iter_mut().for_each(|a| a.push(step));
        twice.push(step, setup);
        let yaw = course.yaw_rate((step.start_us + step.end_us) as f64 * 5e-7);
        places.iter_mut().for_each(|p| p.push(step, yaw.map(|y| y.rate)));
        fastest.push(step, setup.output(step, 0));
        steady.push(step, course, step.at(Place::RearShaft));
    }
    for (fold, name) in mismatch.into_iter().zip(["front/rear", "front sides", "rear sides"]) {
        if let Some(m) = fold.finish(setup, course) {
            kept.estimate(name, &m.difference_mm);
            kept.line("  way", &[m.straight_m, m.through_differential, m.differential_mps]);
        }
    }
    for a in agreement.into_iter().filter_map(AgreementFold::finish) {
        kept.estimate("axle ratio", &a.excess_percent);
        kept.line("  piece", &[a.worst_piece.0, a.shaft_turn]);
    }
    kept.line("counted twice", &[twice.finish()]);
    let pieces = places.and_then(PlacesFold::finish).map_or(0.0, |e| f64::from(e.pieces));
    kept.line("exchanged", &[pieces]);
    if let Some(f) = fastest.finish() {
        kept.estimate("fastest", &f.rpm);
        kept.line("  watched", &[f.watched_s, f.unwatched_s]);
    }
    let bands = steady.finish();
    kept.line("fixes", &[noise(&bands).0, noise(&bands).1]);
    for band in bands.iter().chain(Band::all(&bands).as_ref()) {
        kept.line("band", &[band.speed_mps(), band.rate(), band.windows.into(), band.fixes]);
        for c in band.components(0.03, noise(&bands)) {
            kept.line(&format!("  {}", c.name), &[c.u, c.dof]);
        }
    }
}

fn now() -> String {
    let mut kept = Kept::default();
    for d in drives() {
        kept.line(&format!("== {}", d.name), &[]);
        let run = run(&d);
        let sensing = patterns(&run, &mut kept);
        let steps = steps(&run, &sensing);
        let setup = Setup::new(&run.vehicle);
        keep_steps(&steps, &mut kept);
        keep_period(&setup, &run, &d, &steps, &mut kept);
        keep_comparisons(&setup, &run.course, d.prefer, d.coupling, &steps, &mut kept);
    }
    kept.text
}

/// Alike to eight digits: computers differ in the last ones of a sine.
fn alike(a: &str, b: &str) -> bool {
    let number = |w: &str| w.parse::<f64>().ok();
    let same = |(a, b): (&str, &str)| match (number(a), number(b)) {
        (Some(a), Some(b)) if a.is_finite() && b.is_finite() => {
            (a - b).abs() <= 1e-8 * a.abs().max(b.abs()) + 1e-12
        }
        _ => a == b,
    };
    let words = |s: &'_ str| s.split_whitespace().count();
    words(a) == words(b) && a.split_whitespace().zip(b.split_whitespace()).all(same)
}

/// Holds numbers against those kept in a file beside this one, or writes them anew.
pub fn hold(now: &str, kept: &str, file: &str) {
    if std::env::var_os("WHEELWITNESS_KEEP_NUMBERS").is_some() {
        let file = format!("{}/tests/all/{file}", env!("CARGO_MANIFEST_DIR"));
        std::fs::write(file, now).expect("the file beside this one can be written");
        return;
    }
    let (before, after): (Vec<&str>, Vec<&str>) = (kept.lines().collect(), now.lines().collect());
    let moved: Vec<String> = before
        .iter()
        .zip(&after)
        .filter(|(a, b)| !alike(a, b))
        .map(|(a, b)| format!("- {a}\n+ {b}"))
        .take(12)
        .collect();
    assert!(moved.is_empty(), "{file}:\n{}", moved.join("\n"));
    assert_eq!(before.len(), after.len(), "lines of {file}");
}

#[test]
fn numbers_of_the_physics_move_only_on_purpose() {
    hold(&now(), KEPT, "kept-numbers.txt");
}
