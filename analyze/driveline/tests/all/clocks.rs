//! Promises of time: the line from a board's clock to the host's, and how late a receiver speaks.

use proptest::prelude::*;
use wheelwitness_driveline::clock::Envelope;
use wheelwitness_driveline::course::{Course, Fix};

proptest! {
    #[test]
    fn no_sentence_arrives_before_the_line_and_the_line_has_the_boards_rate(
        rate in 0.9998..1.0002f64,
        offset in -1e4..1e4f64,
        delays in prop::collection::vec(0.0..0.05f64, 900..1200),
    ) {
        let mut envelope = Envelope::default();
        // Every 50th comes without delay: hosts that are busy are not busy always.
        let delay = |k: usize| if k % 50 == 7 { 0.0 } else { delays[k] };
        let pair = |k: usize| {
            let board_s = 0.1 * k as f64;
            (board_s, offset + rate * board_s + delay(k))
        };
        (0..delays.len()).for_each(|k| {
            let (board_s, host_s) = pair(k);
            envelope.push(board_s, host_s);
        });
        let map = envelope.fit().expect("a minute and more");
        prop_assert!((map.rate - rate).abs() < 1e-9, "{} {rate}", map.rate);
        for k in 0..delays.len() {
            let (board_s, host_s) = pair(k);
            prop_assert!(map.host(board_s) < host_s + 1e-6);
            prop_assert!((map.board(map.host(board_s)) - board_s).abs() < 1e-6);
        }
    }
}

#[test]
fn under_a_minute_the_rate_is_one_and_the_least_delay_counts() {
    let mut envelope = Envelope::default();
    for (board_s, host_s) in [(0.0, 5.4), (1.0, 6.1), (2.0, 7.3), (3.0, 8.2)] {
        envelope.push(board_s, host_s);
    }
    let map = envelope.fit().expect("four pairs");
    assert_eq!(map.rate, 1.0);
    assert!((map.host(0.0) - 5.1).abs() < 1e-12, "the one of 1.0 s was the quickest");
}

/// A constant delay cannot be seen, and the hull of these pairs is their edge from 0 s over 40 s to
/// 90 s: the mean of all is 32.5 s.
#[test]
fn the_line_is_the_edge_of_the_hull_at_the_mean_time_of_all_pairs() {
    let mut envelope = Envelope::default();
    for (board_s, host_s) in [(0.0, 100.0), (0.0, 105.0), (40.0, 140.0), (90.0, 195.0)] {
        envelope.push(board_s, host_s);
    }
    let map = envelope.fit().expect("a minute and a half");
    assert_eq!((map.board_s, map.host_s, map.rate, map.span_s), (0.0, 100.0, 1.0, 90.0));
}

#[test]
fn a_rate_is_told_from_a_minute_on_counted_from_the_first_pair() {
    for (until_s, rate) in [(1_060.0, 1.5), (1_059.0, 1.0)] {
        let mut envelope = Envelope::default();
        envelope.push(1_000.0, 7.0);
        envelope.push(until_s, 7.0 + 1.5 * (until_s - 1_000.0));
        let map = envelope.fit().expect("two pairs");
        assert_eq!((map.rate, map.span_s), (rate, until_s - 1_000.0));
    }
}

/// No real delays fall ever faster, and so leave all their pairs on the hull.
#[test]
fn pairs_that_all_lie_on_the_hull_are_thinned_and_their_span_is_kept() {
    let mut envelope = Envelope::default();
    for k in 0..5_000 {
        let board_s = f64::from(k);
        envelope.push(board_s, board_s + 1e-6 * board_s * board_s);
    }
    let map = envelope.fit().expect("an hour and more");
    assert_eq!(map.span_s, 4_999.0);
    // The slope at the mean time of all pairs: 1 and twice 2,499.5 millionths.
    assert!((map.rate - 1.004_999).abs() < 5e-6, "{map:?}");
}

/// What is found of a receiver that is so late, for a speed that rises and falls. Pairs of it come
/// so far apart that what lies between is a line.
fn late_by(lag_s: f64, scale: f64, apart_s: f64) -> Option<f64> {
    let speed = |t: f64| 10.0 + 4.0 * (t / 3.0).sin() + 2.0 * (t / 1.3).cos();
    let wheel: Vec<(f64, f64)> =
        (0..150).map(|k| apart_s * f64::from(k)).map(|t| (t, speed(t))).collect();
    let mut course = Course::default();
    for k in 0..300 {
        let time_s = 0.2 * f64::from(k);
        let speed_mps = scale * speed(time_s - lag_s);
        course.push(Fix { time_s, speed_mps, course_rad: 0.5 });
    }
    course.lag_s(&wheel)
}

#[test]
fn a_receiver_that_speaks_late_is_found_out_whatever_its_scale() {
    for lag_s in [0.0, 0.1, 0.25, 0.5, 0.9, 1.2] {
        for scale in [0.8, 1.0, 3.6] {
            let found = late_by(lag_s, scale, 0.4).expect("the speed changes");
            assert!((found - lag_s).abs() < 0.026, "{lag_s} s late, found {found}");
        }
    }
}

#[test]
fn wheels_that_tell_their_speed_only_every_half_second_do_not_tell_how_late_a_receiver_is() {
    assert_eq!(late_by(0.25, 1.0, 0.5), None);
    assert!(late_by(0.25, 1.0, 0.4921875).is_some());
}

#[test]
fn a_steady_speed_does_not_tell_how_late_it_is_spoken_of() {
    let wheel: Vec<(f64, f64)> = (0..600).map(|k| (0.1 * f64::from(k), 8.0)).collect();
    for ripple in [0.02, 0.0] {
        let mut course = Course::default();
        for k in 0..300 {
            let speed_mps = 8.0 + ripple * [1.0, -1.0, -1.0, 1.0][k as usize % 4];
            course.push(Fix { time_s: 0.2 * f64::from(k), speed_mps, course_rad: 0.5 });
        }
        assert_eq!(course.lag_s(&wheel), None, "a ripple of {ripple} m/s");
    }
}
