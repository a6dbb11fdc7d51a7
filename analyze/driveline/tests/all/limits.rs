//! Promises of the fastest shaft and of the sender against the speed over ground: drives made by
//! hand, so that every expected number is known beforehand.

use wheelwitness_driveline::course::{Course, Fix};
use wheelwitness_driveline::fastest::{Fastest, FastestFold};
use wheelwitness_driveline::pulse::Step;
use wheelwitness_driveline::steady::{Band, RECEIVER_U, SteadyFold, noise};
use wheelwitness_driveline::turn::{PLACES, Sent, Turn};

fn step(k: i64) -> Step {
    let (start_us, end_us) = (500_000 * k, 500_000 * (k + 1));
    Step { start_us, end_us, records: (k as u64, k as u64), turn: [None; PLACES] }
}

fn turn(turns: f64, u: f64) -> Turn {
    Turn { turns, u_start: u, u_end: u, still: false, edge: 0.25, sent: None }
}

/// The fastest of a shaft with these turns in each half second; None where nobody looked.
fn fastest(turns: &[Option<f64>]) -> Fastest {
    let mut fold = FastestFold::default();
    for (k, t) in turns.iter().enumerate() {
        fold.push(&step(k as i64), t.map(|t| turn(t, 0.01)));
    }
    fold.finish().expect("something was watched")
}

/// A blind sensor gives no edge at first: what it did not see then is not held against the drive.
#[test]
fn watching_begins_with_the_first_turn() {
    let mut fold = FastestFold::default();
    let resting = Turn { still: true, ..turn(0.0, 0.1) };
    let said = [Some(resting), Some(resting), None, Some(turn(2.0, 0.01)), Some(turn(2.0, 0.01))];
    said.iter().enumerate().for_each(|(k, t)| fold.push(&step(k as i64), *t));
    let found = fold.finish().expect("two steps were watched");
    assert_eq!((found.watched_s, found.unwatched_s), (1.0, 0.0));
}

#[test]
fn a_phase_that_is_open_by_a_whole_turn_is_no_witness_of_a_speed() {
    for (u, watched) in [(0.999, true), (1.0, false)] {
        let mut fold = FastestFold::default();
        (0..4).for_each(|k| fold.push(&step(k), Some(turn(9.0, u))));
        assert_eq!(fold.finish().is_some(), watched, "{u} turns");
    }
}

/// 100 km/h at 421.425 turns per km and 4.1 shaft turns a wheel turn: 2879.7 turns a minute (check
/// values, shafts; worked there).
#[test]
fn a_held_speed_is_that_speed() {
    let turns = 100.0 / 3600.0 * 421.425 * 4.1 / 2.0;
    let found = fastest(&[Some(turns); 8]);
    assert!((found.rpm.value - 2879.74).abs() < 0.01, "{}", found.rpm.value);
    assert_eq!((found.watched_s, found.unwatched_s), (4.0, 0.0));
}

#[test]
fn one_edge_too_many_is_no_speed() {
    let mut turns = vec![Some(10.0); 12];
    turns[6] = Some(10.25);
    let found = fastest(&turns);
    assert!((found.rpm.value - 1200.0).abs() < 3.0 * found.rpm.u() + 16.0, "{}", found.rpm.value);
    turns[6] = Some(40.0);
    let held = fastest(&turns).rpm;
    assert!(held.value - 3.0 * held.u() < 1200.0, "a single half second proves no speed: {held:?}");
}

/// A speed that rises and falls at once, wherever the peak lies within a step: the highest half
/// second is known by the slopes (plane geometry), and without their share it would not be.
#[test]
fn a_short_peak_is_known_as_well_as_its_slopes_let_it_be() {
    let (peak, slope, dt) = (20.0, 6.0, 0.5);
    let mut missed = 0;
    for k in 0..20 {
        let top_s = 5.0 + dt * f64::from(k) / 20.0;
        let area = |t: f64| {
            let way = (t - top_s).abs();
            (peak * way - slope * way * way / 2.0) * (t - top_s).signum()
        };
        let at = |k: i64| Some(area(dt * (k + 1) as f64) - area(dt * k as f64));
        let rpm = fastest(&(3..17).map(at).collect::<Vec<_>>()).rpm;
        let truth = 60.0 / dt * 2.0 * area(top_s + dt / 2.0);
        let error = (rpm.value - truth).abs();
        assert!(error < 2.5 * rpm.u(), "peak at {top_s}: {} for {truth} ({rpm:?})", rpm.value);
        let bare: f64 = rpm.components.iter().filter(|c| c.name == "counting").map(|c| c.u).sum();
        missed += u32::from(error > 3.0 * bare);
    }
    assert!(missed > 5, "without `change of speed` it would be called wrong: {missed} of 20");
}

#[test]
fn time_in_which_nobody_looked_is_told() {
    let mut turns = vec![Some(5.0); 10];
    (turns[4], turns[5]) = (None, None);
    assert_eq!(fastest(&turns).unwatched_s, 1.0);
}

/// Five pieces of half a minute, straight on, with a receiver that says `scale` times the truth,
/// `late_s` late; the sender makes one turn a metre, within `slip` of a piece.
fn bands(scale: f64, late_s: f64, climb: f64, slip: [f64; 5]) -> Vec<Band> {
    let speed = |t: f64| 8.0 + climb * t;
    let mut course = Course::default();
    for k in 0..1600 {
        let time_s = 0.1 * f64::from(k);
        // A receiver's noise that sums to nothing.
        let ripple = 0.02 * [1.0, -1.0, -1.0, 1.0][k as usize % 4];
        let speed_mps = scale * speed(time_s - late_s) + ripple;
        course.push(Fix { time_s, speed_mps, course_rad: 1.0 });
    }
    let mut fold = SteadyFold::default();
    for k in 0..300 {
        let s = step(k);
        let (from, to) = (0.5 * k as f64, 0.5 * (k + 1) as f64);
        let metres = (to - from) * speed((from + to) / 2.0);
        let of_slip = 1.0 + slip[(k / 60) as usize];
        fold.push(&s, &course, Some(turn(metres * of_slip, 0.001)));
    }
    fold.finish()
}

/// A speed that a unit sends: `cut` of it is cut off, it is `late_s` late, and what that leaves
/// open is told as for a unit that sends steps of `step_mps`.
fn shown(climb: f64, late_s: f64, cut: f64, step_mps: f64) -> Vec<Band> {
    let speed = |t: f64| 8.0 + climb * t;
    let mut course = Course::default();
    for k in 0..1600 {
        let time_s = 0.1 * f64::from(k);
        let ripple = 0.02 * [1.0, -1.0, -1.0, 1.0][k as usize % 4];
        course.push(Fix { time_s, speed_mps: speed(time_s) + ripple, course_rad: 1.0 });
    }
    let mut fold = SteadyFold::default();
    for k in 0..300 {
        let off = 0.5 * step_mps / 12f64.sqrt();
        let delay = 0.5 * climb * 0.04;
        let sent = Sent { rounding: off, truncation: off, delay, ..Sent::default() };
        let metres = 0.5 * (speed(0.5 * f64::from(k) + 0.25 - late_s) - cut);
        fold.push(&step(k.into()), &course, Some(Turn { sent: Some(sent), ..turn(metres, 0.001) }));
    }
    fold.finish()
}

#[test]
fn a_unit_that_cuts_off_to_whole_km_h_is_within_what_its_resolution_leaves_open() {
    // 28.8 km/h, of which 28 are sent.
    let (error, u, without) = error(&shown(0.0, 0.0, 0.8 / 3.6, 1.0 / 3.6), "signal resolution");
    assert!((error + 0.0278).abs() < 0.0005, "{error}");
    assert!(error.abs() < 2.2 * u && error.abs() > 5.0 * without, "{error} {u} {without}");
}

#[test]
fn a_unit_that_speaks_late_is_within_what_its_delay_leaves_open() {
    let found = shown(0.1, 0.06, 0.0, 0.0);
    let (error, u, without) = error(&found, "signal delay");
    assert!(error < 0.0 && error.abs() < 2.2 * u && without < u, "{error} {u} {without}");
}

/// Relative error of turns per metre, its uncertainty, and the same without one component.
fn error(bands: &[Band], without: &str) -> (f64, f64, f64) {
    let all = Band::all(bands).expect("steady driving");
    let components = all.components(0.03, noise(bands));
    let u = |skip: &str| {
        let kept = components.iter().filter(|c| c.name != skip);
        kept.map(|c| c.u * c.u).sum::<f64>().sqrt()
    };
    (all.rate() / all.speed_mps() - 1.0, u(""), u(without))
}

#[test]
fn a_sender_of_one_turn_a_metre_is_found_to_be_one() {
    let (error, u, _) = error(&bands(1.0, 0.0, 0.0, [0.0; 5]), "");
    assert!(error.abs() < u && u < 0.001, "{error} {u}");
}

#[test]
fn a_receiver_with_a_scale_of_its_own_is_within_what_is_left_open_for_it() {
    let (error, u, without) = error(&bands(1.0 - 1.5 * RECEIVER_U, 0.0, 0.0, [0.0; 5]), "receiver");
    assert!(error.abs() < 2.0 * u && error.abs() > 2.5 * without, "{error} {u} {without}");
}

#[test]
fn a_latency_that_is_not_quite_known_is_within_what_is_left_open_for_it() {
    let found = bands(1.0, 0.06, 0.1, [0.0; 5]);
    let (error, u, without) = error(&found, "latency");
    assert!(error.abs() < 2.2 * u && without < u, "{error} {u} {without}");
}

#[test]
fn pieces_that_disagree_make_the_mean_less_certain() {
    let (_, alike, _) = error(&bands(1.0, 0.0, 0.0, [0.0; 5]), "");
    let apart = bands(1.0, 0.0, 0.0, [0.02, -0.02, 0.0, 0.02, -0.02]);
    let (_, u, without) = error(&apart, "scatter");
    assert!(u > 2.0 * alike && without < 1.1 * alike, "{u} {alike} {without}");
}

#[test]
fn a_curve_or_a_changing_speed_is_no_steady_window() {
    assert!(bands(1.0, 0.0, 0.0, [0.0; 5]).iter().map(|b| b.windows).sum::<u32>() >= 45);
    let mut course = Course::default();
    for k in 0..400 {
        let t = 0.1 * f64::from(k);
        course.push(Fix { time_s: t, speed_mps: 8.0, course_rad: 0.3 * t });
    }
    let mut fold = SteadyFold::default();
    (0..70).for_each(|k| fold.push(&step(k), &course, Some(turn(4.0, 0.001))));
    assert!(fold.finish().is_empty(), "a circle of 27 m");
}
