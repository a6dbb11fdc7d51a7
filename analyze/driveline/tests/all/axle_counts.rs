//! Shaft against wheels of one axle: what the counts agree on, and what they do not tell.

use super::motion::vehicle;
use wheelwitness_driveline::agreement::{Agreement, AgreementFold};
use wheelwitness_driveline::demand::Setup;
use wheelwitness_driveline::pulse::Step;
use wheelwitness_driveline::turn::Turn;
use wheelwitness_driveline::vehicle::Place;

/// A step of the rear axle, whose shaft turns four times as often as its wheels: half a second with
/// these turns of shaft, left and right wheel; what does not turn stands still, and its phase is
/// open by an edge (rectangular).
fn step(k: i64, turns: [f64; 3]) -> Step {
    let places = [Place::RearShaft, Place::RearLeft, Place::RearRight];
    let mut turn = [None; 8];
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
