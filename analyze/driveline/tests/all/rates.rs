//! Promises of turns from what units send, over speeds whose integral is known.

use crate::motion::vehicle;
use proptest::prelude::*;
use wheelwitness_driveline::pulse::{Edge, Step, Stepper};
use wheelwitness_driveline::rate::{self, Rated, Scale};
use wheelwitness_driveline::signal::Said;
use wheelwitness_driveline::tooth::ToothPattern;
use wheelwitness_driveline::turn::moved;
use wheelwitness_driveline::vehicle::{Measures, Place, Signal};

/// A wheel of 2.2 m whose unit sends km/h.
fn rated(place: Place, step_kmh: f64, floor_kmh: f64) -> Rated {
    let turns_per = 1.0 / 2.2 / 3.6;
    let (step, floor) = (step_kmh * turns_per, floor_kmh * turns_per);
    let scale = Scale { unit: 0, u: 0.0 };
    Rated { place, signal: 0, unit: 0, turns_per, step, floor, scale }
}

/// Samples as pairs of seconds and what was said.
fn steps(rated: &[Rated], samples: &[(f64, usize, Option<Said>)]) -> Vec<Step> {
    let (mut stepper, mut out) = (Stepper::new(&[], rated), Vec::new());
    for (k, (s, place, said)) in samples.iter().enumerate() {
        stepper.hear((s * 1e6) as i64, k as u64, *place, *said, &mut |step| out.push(step.clone()));
    }
    stepper.restart(&mut |step| out.push(step.clone()));
    out
}

fn every(period_s: f64, until_s: f64) -> impl Iterator<Item = f64> {
    (0..).map(move |k| f64::from(k) * period_s).take_while(move |t| *t < until_s)
}

const WHEEL: Place = Place::RearLeft;

#[test]
fn a_steady_speed_gives_its_turns_and_nothing_is_lost_between_steps() {
    let samples: Vec<_> = every(0.1, 20.0).map(|t| (t, 0, Some(Said::Speed(7.92)))).collect();
    let steps = steps(&[rated(WHEEL, 0.0, 0.0)], &samples);
    assert!(steps.len() >= 36);
    let turns: f64 = steps.iter().filter_map(|s| s.at(WHEEL)).map(|t| t.turns).sum();
    assert!((turns - 0.5 * steps.len() as f64).abs() < 1e-9, "1 turn a second, found {turns}");
}

#[test]
fn a_gap_and_a_value_not_available_were_not_watched_and_are_never_zero() {
    let moving = |t| (t, 0, Some(Said::Speed(36.0)));
    let gap: Vec<_> = every(0.1, 20.0).filter(|t| !(7.95..9.05).contains(t)).map(moving).collect();
    let flaw: Vec<_> = every(0.1, 20.0)
        .map(|t| if (8.35..8.45).contains(&t) { (t, 0, None) } else { moving(t) })
        .collect();
    for samples in [gap, flaw] {
        let steps = steps(&[rated(WHEEL, 0.0, 0.0)], &samples);
        let hole = |s: &&Step| s.start_us < 9_100_000 && s.end_us > 7_900_000;
        assert!(steps.iter().filter(hole).all(|s| s.at(WHEEL).is_none_or(|t| t.turns > 2.0)));
        let seen = steps.iter().filter(|s| s.at(WHEEL).is_some()).count();
        assert!((30..39).contains(&seen), "{seen} steps seen");
    }
}

#[test]
fn zero_below_the_floor_is_what_may_have_happened_not_standstill() {
    let samples: Vec<_> = every(0.1, 20.0).map(|t| (t, 0, Some(Said::Speed(0.0)))).collect();
    let turn = steps(&[rated(WHEEL, 0.0, 3.0)], &samples)[3].at(WHEEL).unwrap();
    assert!(turn.still && turn.turns == 0.0);
    // Half a second at 3 km/h on 2.2 m, worked by hand: 0.1894 turns.
    assert!((turn.hidden() - 0.1894).abs() < 1e-4, "{}", turn.hidden());
    let turn = steps(&[rated(WHEEL, 0.0, 0.0)], &samples)[3].at(WHEEL).unwrap();
    assert!(turn.still && turn.hidden() == 0.0);
}

/// What lies between two samples is a line but for their bend over 12, and a sample of zero hides
/// up to the floor, rectangular.
#[test]
fn what_may_have_happened_between_two_samples_is_told() {
    let between = |kmh: [f64; 2], floor_kmh: f64| {
        let speed = |t: f64| if t < 0.72 { kmh[0] } else { kmh[1] };
        let said = |t| (t, 0, Some(Said::Speed(speed(t))));
        let samples: Vec<_> = every(0.1, 9.0).map(said).collect();
        let steps = steps(&[rated(WHEEL, 0.0, floor_kmh)], &samples);
        steps.iter().filter_map(|s| s.at(WHEEL)).map(|t| t.between()).sum::<f64>()
    };
    // From 1 to 3 turns a second within a tenth: two bends of 2 turns a second.
    let kmh = 3.6 * 2.2;
    let bend = 2.0 * (0.1 / 12.0 * 2.0f64).powi(2);
    assert!((between([kmh, 3.0 * kmh], 0.0) / bend - 1.0).abs() < 1e-6);
    // From a turn a second to what is said to be none.
    let bend = 2.0 * (0.1f64 / 12.0).powi(2);
    let hidden = (0.5 * 0.1f64).powi(2) / 12.0;
    let found = between([kmh, 0.0], 0.5 * kmh);
    assert!((found / (bend + hidden) - 1.0).abs() < 1e-6, "{found} {bend} {hidden}");
}

/// The slower wheel of a turn crossed its unit's floor, which read as a sharper turn.
#[test]
fn a_step_in_which_a_unit_fell_silent_under_its_floor_is_no_whole_one() {
    let speed = |t: f64| if t < 10.25 { 3.0 } else { 0.0 };
    let samples: Vec<_> = every(0.05, 20.0).map(|t| (t, 0, Some(Said::Speed(speed(t))))).collect();
    let at = |floor_kmh: f64, at_us: i64| {
        let steps = steps(&[rated(WHEEL, 0.0625, floor_kmh)], &samples);
        steps.iter().find(|s| s.start_us < at_us && s.end_us > at_us).unwrap().at(WHEEL).unwrap()
    };
    for (at_us, whole) in [(5_250_000, true), (10_250_000, false), (15_250_000, true)] {
        assert_eq!(at(2.75, at_us).is_whole(), whole, "{at_us}");
        // Without a floor zero is standstill, and nothing is hidden.
        assert!(at(0.0, at_us).is_whole());
    }
}

#[test]
fn a_rolling_counter_is_unwrapped() {
    let per_turn = 48.0;
    let wheel = Rated { turns_per: 1.0 / per_turn, ..rated(WHEEL, 0.0, 0.0) };
    // 2.5 turns a second, a counter of 8 bits, sent every 50 ms.
    let count = |t: f64| ((t * 2.5 * per_turn) as u64) % 256;
    let samples: Vec<_> =
        every(0.05, 60.0).map(|t| (t, 0, Some(Said::Count(count(t), 256)))).collect();
    let steps = steps(&[wheel], &samples);
    let turns: f64 = steps.iter().filter_map(|s| s.at(WHEEL)).map(|t| t.turns).sum();
    let seconds = steps.iter().filter(|s| s.at(WHEEL).is_some()).count() as f64 * 0.5;
    assert!(seconds > 55.0, "{seconds} s seen");
    assert!((turns - 2.5 * seconds).abs() < 2.0 / per_turn, "{turns} turns in {seconds} s");
}

/// More may as well be a whole round more, or less.
#[test]
fn a_counter_that_moves_by_up_to_half_its_round_between_two_frames_is_counted_up() {
    for (moves, known) in [(8, true), (9, false)] {
        let wheel = Rated { turns_per: 0.125, ..rated(WHEEL, 0.0, 0.0) };
        let said = |k: u32| Some(Said::Count(u64::from(k * moves) % 16, 16));
        let samples: Vec<_> = (0..80).map(|k| (0.25 * f64::from(k), 0, said(k))).collect();
        let steps = steps(&[wheel], &samples);
        let turns: Vec<f64> = steps.iter().filter_map(|s| s.at(WHEEL)).map(|t| t.turns).collect();
        assert_eq!(turns, vec![2.0; if known { 39 } else { 0 }], "{moves} of 16");
    }
}

#[test]
fn a_unit_that_speaks_once_a_second_is_waited_for_and_may_leave_out_a_frame() {
    let mut samples = Vec::new();
    for k in 0..400 {
        let t = 0.05 * f64::from(k);
        if k % 20 == 0 && k != 200 {
            samples.push((t, 0, Some(Said::Speed(7.92))));
        }
        samples.push((t, 1, Some(Said::Speed(7.92))));
    }
    let both = [rated(WHEEL, 0.0, 0.0), rated(Place::RearRight, 0.0, 0.0)];
    let steps = steps(&both, &samples);
    assert!(steps.len() > 30, "{} steps", steps.len());
    for step in steps.iter().filter(|s| (1_000_000..17_000_000).contains(&s.start_us)) {
        let turn = step.at(WHEEL).unwrap_or_else(|| panic!("from {} us on", step.start_us));
        assert!((turn.turns - 0.5).abs() < 1e-9, "{turn:?}");
    }
}

/// 3 and 4 thousandths are 5 where nothing is alike; the axles of one unit are apart by a hundredth
/// at most.
#[test]
fn scales_differ_by_all_of_both_between_units_by_less_within_one_and_by_nothing_on_one_axle() {
    let scale = |unit, u| Scale { unit, u };
    let (one, other) = (scale(1, 0.003), scale(2, 0.004));
    for one_axle in [false, true] {
        assert!((one.against(other, one_axle) - 0.005).abs() < 1e-15);
    }
    assert_eq!(one.against(scale(1, 0.004), true), 0.0);
    assert!((one.against(scale(1, 0.004), false) - 0.005).abs() < 1e-15);
    assert_eq!(scale(1, 0.03).against(scale(1, 0.04), false), 0.01);
}

/// Shafts that turn four times for one turn of a tyre that a unit takes for 2 m.
#[test]
fn the_floor_of_a_unit_is_what_its_places_turn_at_the_least_speed_that_it_sends() {
    let floor = |place, measures, floor_kmh| {
        let mut vehicle = vehicle();
        vehicle.sensors.clear();
        vehicle.signals = vec![Signal {
            place: Some(place),
            id: Some(1),
            measures: Some(measures),
            circumference_mm: Some(2_000.0),
            counts_per_turn: Some(48.0),
            floor_kmh,
            ..Signal::default()
        }];
        let [rated] = &rate::rated(&vehicle)[..] else { panic!("one place") };
        rated.floor
    };
    let places = [Place::FrontShaft, Place::RearShaft, Place::Input, Place::RearLeft];
    for (place, ratio) in places.into_iter().zip([4.0, 4.0, 4.0, 1.0]) {
        for (measures, floor_kmh, kmh) in [
            (Measures::SpeedKmh, None, 3.0),
            (Measures::SpeedKmh, Some(1.8), 1.8),
            (Measures::SpeedRpm, None, 0.0),
            (Measures::SpeedRpm, Some(1.8), 1.8),
            (Measures::EdgeCount, Some(1.8), 0.0),
        ] {
            let found = floor(place, measures, floor_kmh);
            let turns = ratio / 2.0 * kmh / 3.6;
            assert!((found - turns).abs() < 1e-12, "{place:?} {measures:?} {floor_kmh:?}: {found}");
        }
    }
}

/// From 1 to 3 turns a second, by 2 and by 6 counts of an eighth in a quarter second; 40 ms is the
/// standard uncertainty of any delay.
#[test]
fn what_a_late_counter_leaves_open_is_the_change_of_its_rate() {
    let counter = Rated { turns_per: 0.125, ..rated(WHEEL, 0.0, 0.0) };
    let count = |k: u64| if k < 20 { 2 * k } else { 6 * k - 80 };
    let said = |k: u64| (0.25 * k as f64, 0, Some(Said::Count(count(k) % 256, 256)));
    let steps = steps(&[counter], &(0..40).map(said).collect::<Vec<_>>());
    let open = |s: &Step| s.at(WHEEL).and_then(|t| t.sent).map_or(0.0, |sent| sent.delay);
    let late: f64 = steps[1..].iter().map(open).sum();
    assert!((late - 0.04 * 2.0).abs() < 1e-9, "{late}");
}

/// The first two frames come 10 ms apart, the others every tenth of a second.
#[test]
fn the_usual_period_of_a_unit_is_learned() {
    let times = [0.0, 0.01].into_iter().chain((1..100).map(|k| 0.01 + 0.1 * f64::from(k)));
    let samples: Vec<_> = times.map(|t| (t, 0, Some(Said::Speed(7.92)))).collect();
    let steps = steps(&[rated(WHEEL, 0.0, 0.0)], &samples);
    let from = steps.iter().find(|s| s.at(WHEEL).is_some()).expect("it is learned").start_us;
    assert!((1_000_000..5_000_000).contains(&from), "from {from} us on");
    let later = steps.iter().filter(|s| s.start_us >= from);
    assert_eq!(later.filter_map(|s| s.at(WHEEL)).count() as i64, (9_500_000 - from) / 500_000);
}

#[test]
fn what_one_unit_does_alike_cancels_between_its_wheels() {
    let both = [rated(Place::FrontLeft, 0.0625, 0.0), rated(Place::RearLeft, 0.0625, 0.0)];
    let samples: Vec<_> =
        every(0.1, 20.0).flat_map(|t| [0, 1].map(|k| (t, k, Some(Said::Speed(5.0 + t))))).collect();
    let step = &steps(&both, &samples)[10];
    let [front, rear] = [Place::FrontLeft, Place::RearLeft].map(|p| step.at(p).unwrap());
    let alike = moved(&front, &rear);
    assert!(alike[0] > 0.0 && alike[1] < 0.0, "rounding is each wheel's own");
    assert!(alike[2..].iter().all(|m| m.abs() < 1e-12), "{alike:?}");
    let mut other = rear;
    other.sent.as_mut().unwrap().unit = 1;
    assert!(moved(&front, &other)[2..].iter().all(|m| m.abs() > 1e-5));
}

proptest! {
    /// The unit rounds or cuts off, is late by up to 80 ms, and its period may be 10 to 100 ms:
    /// the truth lies within four standard uncertainties of what is claimed.
    #[test]
    fn the_truth_lies_within_what_is_left_open(
        mean in 6.0f64..60.0, swing in 0.0f64..5.0, at in 0.05f64..0.4, phase in 0.0f64..6.0,
        step_kmh in prop::sample::select(vec![1.0, 0.0625, 0.00390625]),
        cut in any::<bool>(), late_s in 0.0f64..0.08,
        period_s in prop::sample::select(vec![0.01, 0.02, 0.1]),
    ) {
        let w = std::f64::consts::TAU * at;
        let kmh = |t: f64| mean + swing * (w * t + phase).sin();
        let way = |t: f64| mean * t - swing / w * (w * t + phase).cos();
        let send = |v: f64| {
            let steps = if cut { (v / step_kmh).floor() } else { (v / step_kmh).round() };
            Some(Said::Speed(steps * step_kmh))
        };
        let samples: Vec<_> =
            every(period_s, 30.0).map(|t| (t, 0, send(kmh(t - late_s)))).collect();
        let rated = rated(WHEEL, step_kmh, 0.0);
        let (mut turns, mut true_turns, mut first_u) = (0.0, 0.0, None);
        let (mut off, mut cut_off, mut late, mut between) = (0.0, 0.0, 0.0, 0.0);
        for step in steps(std::slice::from_ref(&rated), &samples) {
            let Some(turn) = step.at(WHEEL) else { continue };
            let sent = turn.sent.unwrap();
            let [from, to] = [step.start_us, step.end_us].map(|us| us as f64 * 1e-6);
            turns += turn.turns;
            true_turns += (way(to) - way(from)) * rated.turns_per;
            off += sent.rounding;
            cut_off += sent.truncation;
            late += sent.delay;
            between += sent.between;
            let start_u = *first_u.get_or_insert(turn.u_start);
            let u = [off, cut_off, late, between.sqrt(), start_u, turn.u_end, 1e-5];
            let u = u.iter().map(|u| u * u).sum::<f64>().sqrt();
            prop_assert!((turns - true_turns).abs() < 4.0 * u, "{turns} {true_turns} {u}");
        }
        prop_assert!(turns > 10.0);
    }
}

/// Edge times of a ring, microseconds: 4 turns a second and slightly faster, seen at 48 teeth.
fn ring_times(extra_us: &[i64]) -> Vec<i64> {
    let mut times: Vec<i64> = (0..4_000).map(|k| 5_200 * k - k * k / 40).collect();
    times.extend(extra_us);
    times.sort_unstable();
    times
}

fn learned(times: &[i64]) -> ToothPattern {
    let mut pattern = ToothPattern::new(48);
    for (k, time_us) in times.iter().enumerate() {
        pattern.push(Edge { index: k as i64, time_us: *time_us });
    }
    pattern
}

#[test]
fn a_few_edges_that_no_tooth_made_are_noticed_and_a_clean_ring_has_none() {
    assert!(!learned(&ring_times(&[])).has_extra_edges());
    let extra: Vec<i64> = (1..7).map(|k| 2_900_000 * k + 1_700).collect();
    assert!(learned(&ring_times(&extra)).has_extra_edges(), "six edges too many in 4,000");
    assert!(!learned(&ring_times(&extra[..2])).has_extra_edges(), "two may be chance");
}

/// Bursts of four edges, a pause between: the middle interval of each is 0.1 s, as are those around
/// it, or 0.04 s.
fn bursts(split: usize, even: usize) -> ToothPattern {
    let mut pattern = ToothPattern::new(48);
    for k in 0..split + even {
        let middle_us = if k < split { 40_000 } else { 100_000 };
        let begins_us = 5_000_000 * k as i64;
        let times = [0, 100_000, 100_000 + middle_us, 200_000 + middle_us];
        for (index, at_us) in (4 * k as i64..).zip(times) {
            pattern.push(Edge { index, time_us: begins_us + at_us });
        }
    }
    pattern
}

#[test]
fn intervals_that_are_split_are_noise_from_eight_on_and_above_one_in_a_hundred() {
    for (split, even, noisy) in [(7, 0, false), (8, 0, true), (8, 791, true), (8, 792, false)] {
        let found = bursts(split, even).has_extra_edges();
        assert_eq!(found, noisy, "{split} of {} bursts", split + even);
    }
}

#[test]
fn a_ring_of_which_nothing_is_known_has_no_flaw() {
    let pattern = ToothPattern::new(4);
    assert!(!pattern.has_double_gap() && !pattern.has_extra_edges() && !pattern.slides());
    assert_eq!((pattern.turns(), pattern.spacing(), pattern.position_u()), (0, None, None));
}

/// A ring whose edges slide past the number that it is said to have, and rings of a vehicle that
/// runs unevenly.
#[test]
fn edges_that_do_not_repeat_once_a_turn_are_told_from_uneven_running() {
    let ring = |left: i64, wobble_s: f64| {
        let mut pattern = ToothPattern::new(48);
        for k in 0..6_000 {
            let turn = (k / left) as f64 + (k % left) as f64 / 48.0;
            let time_s = 0.25 * turn + wobble_s * (2.3 * turn).sin();
            pattern.push(Edge { index: k, time_us: (1e6 * time_s) as i64 });
        }
        pattern
    };
    let (sound, uneven, one_gone) = (ring(48, 0.0), ring(48, 0.002), ring(47, 0.0));
    assert!(one_gone.slides(), "jitter {:?}", one_gone.position_u());
    assert!(!sound.slides(), "jitter {:?}", sound.position_u());
    assert!(!uneven.slides(), "jitter {:?}", uneven.position_u());
}

/// The standard uncertainty of an edge is that of the sensor, however unevenly the vehicle went.
#[test]
fn the_jitter_of_edges_is_told_from_uneven_running_for_any_number_of_teeth() {
    for (teeth, jitter) in [(1, 0.005), (2, 0.01), (4, 0.005), (48, 0.03)] {
        let mut pattern = ToothPattern::new(teeth);
        let mut random = 1u64;
        for k in 0..8_000 {
            // Minimal standard generator of Park and Miller 1988, from memory.
            random = random * 48_271 % 2_147_483_647;
            let noise = jitter * 12f64.sqrt() * (random as f64 / 2_147_483_647.0 - 0.5);
            let turn = (f64::from(k) + noise) / f64::from(teeth);
            let time_s = 0.25 * turn + 0.002 * (0.3 * turn).sin();
            pattern.push(Edge { index: i64::from(k), time_us: (1e6 * time_s) as i64 });
        }
        let u = pattern.position_u().expect("places are learned");
        assert!((0.85..1.25).contains(&(u / jitter)), "{teeth} teeth: {u} of {jitter}");
    }
}
