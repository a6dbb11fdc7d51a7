//! Promises about steps of one counted shaft: where turns are known, where it stood, where nobody
//! looked.

use wheelwitness_driveline::pulse::{
    Count, Counted, Counter, Edge, Pattern, Renumbered, Sensing, Step, Stepper,
};
use wheelwitness_driveline::turn::Turn;
use wheelwitness_driveline::vehicle::Place;

const SHAFT: Place = Place::FrontShaft;

/// When the board's clock stood there when the shaft was first reported, microseconds.
const START_US: i64 = 5_000_000;

fn shaft(edges_per_turn: u32) -> Sensing {
    let pattern = Pattern::default();
    Sensing { place: SHAFT, channel: 1, edges_per_turn, pattern, tooth_u: 0.0 }
}

/// Steps of a shaft from reports at these board times, each with the time of the report at which it
/// was handed out.
fn handed(shaft: Sensing, reports: impl Iterator<Item = (i64, Count)>) -> Vec<(i64, Step)> {
    let (mut stepper, mut steps) = (Stepper::new(&[shaft], &[]), Vec::new());
    let idle = Count { count: 0, age_us: None };
    for (tick_us, count) in reports {
        let four = [count, idle, idle, idle];
        stepper.push(tick_us, 0, 1, &four, &mut |s| steps.push((tick_us, s.clone())));
    }
    stepper.restart(&mut |s| steps.push((i64::MAX, s.clone())));
    steps
}

/// What a board reports of edges at these times after the start, every 20 ms until `until_us` but
/// for a stretch in which nothing arrives: no report after the first of these times and before the
/// second.
fn reports(
    edges_us: &[i64],
    until_us: i64,
    lost_us: (i64, i64),
) -> impl Iterator<Item = (i64, Count)> {
    let arrives = move |at_us: &i64| *at_us <= lost_us.0 || *at_us >= lost_us.1;
    (0..=until_us).step_by(20_000).filter(arrives).map(move |at_us| {
        let n = edges_us.iter().filter(|e| **e <= at_us).count();
        let last = n.checked_sub(1).map(|k| at_us - edges_us[k]);
        let age_us = last.and_then(|age| u16::try_from(age).ok());
        (START_US + at_us, Count { count: n as u16, age_us })
    })
}

const NOTHING_LOST: (i64, i64) = (0, 0);

/// The turns of the steps, by the number of half seconds from the start on.
fn by_half_second(steps: &[(i64, Step)]) -> Vec<(i64, Turn)> {
    let number = |s: &Step| (s.start_us - START_US) / 500_000;
    steps.iter().filter_map(|(_, s)| Some((number(s), s.at(SHAFT)?))).collect()
}

/// Half seconds of which the turns are known.
fn known(steps: &[(i64, Step)]) -> Vec<i64> {
    by_half_second(steps).iter().map(|s| s.0).collect()
}

#[test]
fn a_sensor_that_has_given_no_edge_yet_stands_still_and_counts_from_its_first_edge() {
    let turns_of = |count: &dyn Fn(u16) -> Count| {
        let steps = handed(shaft(2), (0..200).map(|k| (100_000 * i64::from(k), count(k))));
        steps.iter().filter_map(|(_, s)| s.at(SHAFT)).collect::<Vec<Turn>>()
    };
    // Ten seconds without an edge, then ten a second, two a turn.
    let said = turns_of(&|k| match k {
        0..100 => Count { count: 7, age_us: None },
        _ => Count { count: 7 + k - 99, age_us: Some(30_000) },
    });
    let silent = said.iter().take_while(|t| t.still).count();
    assert!(silent >= 18, "{silent} of 20 steps without an edge: {said:?}");
    let moving: f64 = said[silent..].iter().map(|t| t.turns).sum();
    let whole_steps = (said.len() - silent) as f64 * 0.5;
    assert!((moving - 5.0 * whole_steps).abs() < 0.01, "{moving} turns in {whole_steps} s");
    // A burst whose first edge nobody saw is not counted either.
    let said = turns_of(&|k| match k {
        0..100 => Count { count: 7, age_us: None },
        _ => Count { count: 900 + k, age_us: Some(30_000) },
    });
    assert!(said.iter().all(|t| t.still || (t.turns - 2.5).abs() < 0.01), "{said:?}");
}

#[test]
fn a_sensor_stood_before_its_first_edge_only_if_that_took_more_than_a_second() {
    let first_known = |first_us: i64| {
        let edges: Vec<i64> = (0..40).map(|k| first_us + 100_000 * k).collect();
        let steps = handed(shaft(4), reports(&edges, 4_000_000, NOTHING_LOST));
        by_half_second(&steps)[..3].iter().map(|(k, t)| (*k, t.still)).collect::<Vec<_>>()
    };
    assert_eq!(first_known(600_000), [(2, false), (3, false), (4, false)]);
    assert_eq!(first_known(1_000_000), [(2, false), (3, false), (4, false)]);
    // From the first edge on it is counted, and that came within the third half second.
    assert_eq!(first_known(1_000_001), [(0, true), (1, true), (3, false)]);
}

/// Four edges a turn.
#[test]
fn edges_a_second_apart_are_slow_turning_and_those_further_apart_are_steps_from_rest_to_rest() {
    let turns = |apart_us: i64| {
        let edges: Vec<i64> = (0..12).map(|k| apart_us * k).collect();
        let steps = handed(shaft(4), reports(&edges, 11_000_000, NOTHING_LOST));
        let all = by_half_second(&steps);
        all[4..8].iter().map(|(_, t)| (t.turns, t.still)).collect::<Vec<_>>()
    };
    assert_eq!(turns(1_000_000), [(0.125, false); 4]);
    let (edge, rest) = ((0.25, false), (0.0, true));
    assert_eq!(turns(1_000_001), [edge, rest, edge, rest]);
}

/// Edge 1 after a second; then nothing, and edges 2 and 3 in one report: whether the count wrapped
/// in between nobody can tell after more than 20 s.
#[test]
fn edges_across_more_than_twenty_seconds_are_not_counted_up() {
    let known_with = |next_us: i64| {
        let mut edges = vec![1_000_000, next_us - 1, next_us];
        edges.extend((1..40).map(|k| next_us + 100_000 * k));
        known(&handed(shaft(4), reports(&edges, 24_000_000, NOTHING_LOST)))
    };
    assert_eq!(known_with(21_000_000), (2..48).collect::<Vec<_>>());
    let without = (2..48).filter(|k| !(40..43).contains(k));
    assert_eq!(known_with(21_100_000), without.collect::<Vec<_>>());
}

/// Ten edges a second throughout.
#[test]
fn counts_go_on_across_a_gap_of_twenty_seconds_and_begin_anew_after_a_longer_one() {
    let edges: Vec<i64> = (0..400).map(|k| 100_000 * k).collect();
    let known_with =
        |to_us: i64| known(&handed(shaft(4), reports(&edges, 36_000_000, (10_000_000, to_us))));
    assert_eq!(known_with(30_000_000), (0..72).collect::<Vec<_>>());
    let seen = known_with(30_020_000);
    assert!(seen.iter().all(|k| !(20..60).contains(k)) && seen.len() > 25, "{seen:?}");
}

#[test]
fn a_shaft_at_rest_that_nobody_looked_at_for_a_while_is_not_known_to_have_rested() {
    let edges: Vec<i64> = (0..20).map(|k| 100_000 * k).collect();
    let known_with = |lost_us| known(&handed(shaft(4), reports(&edges, 20_000_000, lost_us)));
    // From 10.2 s to 11.3 s: where it was at 10.5 s and at 11 s nobody knows.
    let without = (0..40).filter(|k| !(20..23).contains(k));
    assert_eq!(known_with((10_200_000, 11_300_000)), without.collect::<Vec<_>>());
    // Three tenths of a second are no gap.
    assert_eq!(known_with((10_400_000, 10_700_000)), (0..40).collect::<Vec<_>>());
}

/// Ten edges a second throughout: a step is known a second after its end. After a gap the edges
/// must first be seen again, which takes a second from the first report after it.
#[test]
fn steps_are_handed_out_a_second_late_and_for_a_second_after_a_gap_not_at_all() {
    let edges: Vec<i64> = (0..160).map(|k| 100_000 * k).collect();
    let due = |lost_us| {
        let steps = handed(shaft(4), reports(&edges, 16_000_000, lost_us));
        let after_us = |end_us: i64| {
            let step = steps.iter().find(|(_, s)| s.end_us == START_US + end_us);
            step.expect("it is known").0 - START_US
        };
        [9_000_000, 9_500_000, 10_500_000, 11_000_000].map(after_us)
    };
    let [a, b, c, d] = due((10_400_000, 10_700_000));
    assert_eq!([a, b, c, d], [10_000_000, 10_700_000, 11_500_000, 12_000_000]);
    let [a, b, c, d] = due((10_400_000, 10_720_000));
    assert_eq!([a, b, c, d], [10_000_000, 11_720_000, 11_720_000, 12_000_000]);
}

/// The root of the mean square of 6, 5, 1 and 2 hundredths.
#[test]
fn where_nobody_knows_which_tooth_made_an_edge_all_their_errors_are_open() {
    let order = None;
    let pattern = Pattern {
        errors: vec![0.06, -0.05, 0.01, -0.02],
        renumbered: vec![Renumbered { after_us: 0, order }],
    };
    let edges: Vec<i64> = (0..60).map(|k| 100_000 * k).collect();
    let unknown = Sensing { pattern, ..shaft(4) };
    let steps = handed(unknown, reports(&edges, 5_000_000, NOTHING_LOST));
    let (_, turn) = by_half_second(&steps)[4];
    let u = (66e-4f64 / 4.0).sqrt() / 4.0;
    assert!((turn.u_start - u).abs() < 1e-9 && (turn.u_end - u).abs() < 1e-9, "{turn:?}");
    assert!((turn.turns - 1.25).abs() < 1e-9, "{turn:?}");
}

/// 20,000 a second are 200 in 10 ms, however long the board has been on.
#[test]
fn a_count_believes_what_a_sensor_can_make_and_no_edge_more() {
    for start_us in [0, 100_000_000] {
        for (edges, believed) in [(200, true), (201, false)] {
            let mut counter = Counter::default();
            assert_eq!(counter.index(), None, "nothing was seen yet");
            counter.observe(start_us, Count { count: 7, age_us: None });
            assert_eq!(counter.index(), Some(0));
            let report = Count { count: 7 + edges, age_us: Some(0) };
            let found = counter.observe(start_us + 10_000, report);
            let (time_us, index) = (start_us + 10_000, i64::from(edges));
            let edge = Counted::Edge(Edge { time_us, index });
            assert_eq!(found, if believed { edge } else { Counted::Implausible });
            assert_eq!(counter.index(), Some(index));
        }
    }
}
