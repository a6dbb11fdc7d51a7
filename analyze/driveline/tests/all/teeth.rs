//! Where the teeth of a sensor sit stays known when the numbers of its edges move.
//!
//! All drives are simulated: the truth is what was put in.

use crate::motion::{SOUND, drive, leg};
use wheelwitness_driveline::pulse::{Count, Edge, Order, Renumbered, Sensing, Step, Stepper};
use wheelwitness_driveline::tooth::ToothPattern;
use wheelwitness_driveline::turn::Turn;
use wheelwitness_driveline::vehicle::Place;

/// Magnets out of place, edges.
const UNEVEN: [f64; 4] = [0.06, -0.05, 0.01, -0.02];

/// One tooth passes in this time, microseconds.
const TOOTH_US: f64 = 25_000.0;

/// From the beginning of a stretch of running to that of the next, microseconds, where it rests in
/// between.
const STRETCH_US: i64 = (163.0 * TOOTH_US) as i64 + 5_000_000;

/// What happens between two stretches of running.
#[derive(Debug, Clone, Copy)]
enum Between {
    Rest,
    /// A rest with so many edges too many.
    Rocking(i64),
    /// The board begins to count anew.
    Reset,
    /// So many edges too many, and no rest.
    Creeping(i64),
    /// A rest after which the vehicle goes the other way.
    Turning,
}

/// Edges of stretches of 40 turns with these between them, and where boards began anew. A stretch
/// ends anywhere in the turn.
fn edges(teeth: [f64; 4], jitter: f64, between: &[Between]) -> (Vec<Edge>, Vec<usize>) {
    let (mut edges, mut anew) = (Vec::new(), Vec::new());
    let (mut start_us, mut index, mut tooth, mut way) = (2_000_000.0, 0, 0i64, 1);
    let mut random = 1u64;
    for stop in between.iter().copied().chain([Between::Rest]) {
        for k in 0..163 {
            // Minimal standard generator of Park and Miller 1988, from memory.
            random = random * 48_271 % 2_147_483_647;
            let noise = jitter * 12f64.sqrt() * (random as f64 / 2_147_483_647.0 - 0.5);
            let place = teeth[tooth.rem_euclid(4) as usize];
            let at = f64::from(k) + way as f64 * place + noise;
            edges.push(Edge { time_us: (start_us + at * TOOTH_US) as i64, index });
            (index, tooth) = (index + 1, tooth + way);
        }
        let rest_us = if matches!(stop, Between::Creeping(_)) { 600_000.0 } else { 5_000_000.0 };
        start_us += 163.0 * TOOTH_US + rest_us;
        match stop {
            Between::Rest => {}
            Between::Turning => {
                // The tooth that passed last passes first.
                way = -way;
                tooth += way;
            }
            Between::Rocking(extra) | Between::Creeping(extra) => {
                for k in 0..extra {
                    let time_us = (start_us - rest_us / 2.0) as i64 + k * 150_000;
                    edges.push(Edge { time_us, index });
                    index += 1;
                }
            }
            Between::Reset => {
                anew.push(edges.len());
                index = 0;
            }
        }
    }
    (edges, anew)
}

fn learned(edges: &[Edge], anew: &[usize]) -> ToothPattern {
    let mut pattern = ToothPattern::new(4);
    for (k, edge) in edges.iter().enumerate() {
        if anew.contains(&k) {
            pattern.begin_anew();
        }
        pattern.push(*edge);
    }
    pattern
}

fn orders(pattern: &ToothPattern) -> Vec<Option<Order>> {
    pattern.learned().renumbered.iter().map(|r| r.order).collect()
}

fn forwards(first: usize) -> Option<Order> {
    Some(Order { first, backwards: false })
}

fn assert_teeth_are_found(pattern: &ToothPattern) {
    for (found, truth) in pattern.learned().errors.iter().zip(UNEVEN) {
        assert!((found - truth).abs() < 0.002, "{found} for {truth}");
    }
    assert!(pattern.position_u().unwrap() < 0.006, "{:?}", pattern.position_u());
}

#[test]
fn edges_too_many_at_a_rest_move_the_numbers_and_not_the_teeth() {
    use Between::{Rest, Rocking};
    let stops = [Rest, Rocking(1), Rest, Rocking(2), Rocking(4)];
    let (edges, _) = edges(UNEVEN, 0.004, &stops);
    let pattern = learned(&edges, &[]);
    // Four more are a whole turn.
    assert_eq!(orders(&pattern), [None, forwards(1), None, forwards(3)]);
    assert_teeth_are_found(&pattern);
}

/// The numbers are ahead from the edge too many on, and only next to it nobody knows.
#[test]
fn the_moment_is_found_where_the_numbers_moved_without_a_rest() {
    use Between::{Creeping, Rest};
    let (edges, _) = edges(UNEVEN, 0.004, &[Rest, Creeping(1), Rest]);
    let pattern = learned(&edges, &[]);
    assert_eq!(orders(&pattern), [None, forwards(1)]);
    assert_teeth_are_found(&pattern);
    let [unknown, known] = &pattern.learned().renumbered[..] else { panic!("two entries") };
    let extra_us = edges[2 * 163].time_us;
    let two_turns_us = (8.0 * TOOTH_US) as i64;
    assert!(
        (extra_us - 600_000 - two_turns_us..extra_us).contains(&unknown.after_us),
        "{unknown:?}"
    );
    assert!((extra_us..extra_us + 600_000 + two_turns_us).contains(&known.after_us), "{known:?}");
}

/// Times of the edges of a stretch that are compared with a turn before them and one after them:
/// the first and the last.
fn compared_us(edges: &[Edge], stretch: i64) -> (i64, i64) {
    let begins_us = 2_000_000 + stretch * STRETCH_US - 500_000;
    let first = edges.iter().position(|e| e.time_us > begins_us).expect("it has edges");
    (edges[first + 4].time_us, edges[first + 158].time_us)
}

#[test]
fn from_the_first_edge_after_a_rest_on_numbers_that_moved_there_stand_for_other_teeth() {
    let (edges, _) = edges(UNEVEN, 0.004, &[Between::Rocking(1); 7]);
    let pattern = learned(&edges, &[]);
    let known = (1..8).map(|k| forwards(k % 4));
    assert_eq!(orders(&pattern), known.flat_map(|order| [None, order]).collect::<Vec<_>>());
    for (stretch, two) in (0..).zip(pattern.learned().renumbered.chunks(2)) {
        let (last_us, first_us) =
            (compared_us(&edges, stretch).1, compared_us(&edges, stretch + 1).0);
        assert_eq!((two[0].after_us, two[1].after_us + 1), (last_us, first_us), "{stretch}");
    }
}

/// Each of five short drives is too short by itself to show an order: they are kept until a long
/// one does.
#[test]
fn the_moment_is_found_before_drives_too_short_to_show_it() {
    use Between::{Rest, Rocking};
    let (mut edges, _) = edges(UNEVEN, 0.004, &[Rest, Rocking(1), Rest, Rest, Rest, Rest, Rest]);
    edges.retain(|e| {
        let (stretch, at_us) =
            ((e.time_us - 1_500_000) / STRETCH_US, (e.time_us - 1_500_000) % STRETCH_US);
        !(2..7).contains(&stretch) || at_us < 500_000 + (13.5 * TOOTH_US) as i64
    });
    let pattern = learned(&edges, &[]);
    assert_eq!(orders(&pattern), [None, forwards(1)]);
    let known = pattern.learned().renumbered[1];
    assert_eq!(known.after_us + 1, compared_us(&edges, 2).0);
    assert_teeth_are_found(&pattern);
}

/// A quarter of the places, and more scatter: one turn would not tell them apart, 25 do.
#[test]
fn small_errors_of_the_teeth_tell_how_the_numbers_moved_after_many_turns() {
    use Between::{Rest, Rocking};
    let (edges, _) = edges(UNEVEN.map(|place| place / 4.0), 0.015, &[Rest, Rocking(1), Rest]);
    assert_eq!(orders(&learned(&edges, &[])), [None, forwards(1)]);
}

/// Fourteen edges teach less than two turns: they are forgotten when the board begins anew, and the
/// next drive teaches all.
#[test]
fn too_little_running_before_a_reset_does_not_spoil_what_is_learned_after_it() {
    let (edges, anew) = edges(UNEVEN, 0.004, &[Between::Reset]);
    let short = anew[0] - 14;
    let pattern = learned(&edges[short..], &[14]);
    assert_eq!(orders(&pattern), [None, forwards(0)]);
    // The first edge of the second board is made by the last tooth.
    for (found, truth) in pattern.learned().errors.iter().zip([-0.02, 0.06, -0.05, 0.01]) {
        assert!((found - truth).abs() < 0.002, "{found} for {truth}");
    }
    assert_eq!(pattern.learned().errors.len(), 4);
}

#[test]
fn teeth_are_found_again_after_a_board_began_to_count_anew() {
    use Between::{Reset, Rest};
    // 163 edges a stretch: the second board begins at the last tooth of a turn, the third at the
    // second.
    let (edges, anew) = edges(UNEVEN, 0.004, &[Reset, Rest, Reset]);
    let pattern = learned(&edges, &anew);
    assert_eq!(orders(&pattern), [None, forwards(1), None, forwards(3)]);
    assert_teeth_are_found(&pattern);
}

#[test]
fn in_reverse_the_teeth_pass_in_the_other_order() {
    use Between::{Rest, Turning};
    let (edges, _) = edges(UNEVEN, 0.004, &[Rest, Turning, Rest, Turning]);
    let pattern = learned(&edges, &[]);
    // Edge 326 is made by the tooth of edge 325, the second of the turn, and edge 327 by the first;
    // edge 652 is made by the tooth of edge 651, the first.
    let backwards = Order { first: 327 % 4, backwards: true };
    let again = forwards(652 % 4);
    assert_eq!(orders(&pattern), [None, Some(backwards), None, again]);
    assert_teeth_are_found(&pattern);
}

#[test]
fn too_little_running_after_a_reset_says_that_no_tooth_is_known() {
    let (mut edges, anew) = edges(UNEVEN, 0.004, &[Between::Reset]);
    edges.truncate(anew[0] + 9);
    let pattern = learned(&edges, &anew);
    let after_us = edges[anew[0] - 1].time_us;
    assert_eq!(pattern.learned().renumbered, [Renumbered { after_us, order: None }]);
}

#[test]
fn teeth_that_are_all_alike_keep_their_numbers() {
    use Between::{Rest, Rocking};
    for jitter in [0.0, 0.003, 0.03] {
        let (edges, _) = edges([0.0; 4], jitter, &[Rest, Rocking(1), Rest, Rocking(3), Rest]);
        assert_eq!(orders(&learned(&edges, &[])), [], "jitter {jitter}");
    }
}

/// Steps of the same edges, reported every 10 ms; an edge has the number here that it was learned
/// by.
fn steps(edges: &[Edge], anew: &[usize]) -> Vec<Step> {
    let pattern = learned(edges, anew);
    let sensing = Sensing {
        place: Place::RearShaft,
        channel: 1,
        edges_per_turn: 4,
        pattern: pattern.learned(),
        tooth_u: pattern.position_u().expect("the teeth are known"),
    };
    let idle = Count { count: 0, age_us: None };
    let (mut stepper, mut steps) = (Stepper::new(&[sensing], &[]), Vec::new());
    let end_us = edges.last().unwrap().time_us;
    let mut next = 0;
    for tick_us in (0..end_us + 100_000).step_by(10_000) {
        while edges.get(next).is_some_and(|e| e.time_us < tick_us) {
            next += 1;
            if anew.contains(&next) {
                stepper.restart(&mut |s| steps.push(s.clone()));
            }
        }
        let last = edges[..next].last().filter(|_| !anew.contains(&next));
        let count = match last {
            Some(e) => {
                Count { count: e.index as u16, age_us: u16::try_from(tick_us - e.time_us).ok() }
            }
            None => idle,
        };
        stepper.push(tick_us, 0, 1, &[count, idle, idle, idle], &mut |s| steps.push(s.clone()));
    }
    stepper.restart(&mut |s| steps.push(s.clone()));
    steps
}

/// Steps in the middle of a stretch, without [`Between::Creeping`]: each is five turns.
fn moving(steps: &[Step]) -> Vec<Turn> {
    let is_moving = |s: &&Step| {
        let in_stretch = |at: i64| (at - 2_000_000).rem_euclid(STRETCH_US);
        let (from, to) = (in_stretch(s.start_us), in_stretch(s.end_us));
        from < to && from > 200_000 && to < 3_800_000
    };
    steps.iter().filter(is_moving).filter_map(|s| s.at(Place::RearShaft)).collect()
}

/// Half a second is five turns, and each step says so as well after edges too many as before.
#[test]
fn every_step_counts_the_same_turns_before_and_after_the_numbers_moved() {
    use Between::{Reset, Rest, Rocking, Turning};
    let stops = [Rocking(1), Rest, Reset, Rocking(3), Turning];
    let (edges, anew) = edges(UNEVEN, 0.0, &stops);
    let turns = moving(&steps(&edges, &anew));
    assert!(turns.len() > 20, "{}", turns.len());
    for t in turns {
        assert!((t.turns - 5.0).abs() < 0.001, "{t:?}");
    }
}

/// The mean square of the error over the standard uncertainty is one where the uncertainty is
/// right. A phase lies between two edges, which scatter by themselves; neighbours that are out of
/// place by what was learned look like a change of speed, and are none.
#[test]
fn turns_scatter_as_much_as_their_uncertainty_says_whether_the_teeth_are_even_or_not() {
    for teeth in [[0.0; 4], UNEVEN] {
        let (edges, anew) = edges(teeth, 0.004, &[Between::Rest; 60]);
        let turns = moving(&steps(&edges, &anew));
        let squares = turns.iter().map(|t| {
            let u = t.u_start.hypot(t.u_end);
            ((t.turns - 5.0) / u).powi(2)
        });
        let mean = squares.sum::<f64>() / turns.len() as f64;
        assert!(turns.len() > 300 && (0.8..1.2).contains(&mean), "{mean} of {}", turns.len());
    }
}

/// A stop for less than a second leaves the intervals before and after it short and its own long:
/// where in that interval it stood, nobody saw, and the uncertainty says so.
#[test]
fn a_short_stop_between_two_edges_is_open_by_as_much_as_it_hides() {
    let (speed, rest_s) = (1.0, 0.7);
    let shaft_per_s = 4.0 * speed / 2.2;
    let mut worst = 0.0f64;
    for run_s in [10.0, 10.02, 10.04, 10.06, 10.08, 10.1, 10.12] {
        let legs = [leg(run_s, speed, 0.0), leg(rest_s, 0.0, 0.0), leg(10.0, speed, 0.0)];
        // Turns by the truth up to a board time; drives begin at 5 s.
        let turned = |at_us: i64| {
            let after_s = at_us as f64 * 1e-6 - 5.0;
            shaft_per_s * (after_s - (after_s - run_s).clamp(0.0, rest_s))
        };
        let (mut sum, mut from_us) = (0.0, None);
        for step in drive(&legs, SOUND).iter().filter(|s| s.start_us >= 10_000_000) {
            let shaft = step.at(Place::RearShaft).expect("it is counted");
            let from_us = *from_us.get_or_insert(step.start_us);
            sum += shaft.turns;
            let off = (sum - (turned(step.end_us) - turned(from_us))).abs();
            assert!(off < 3.0 * shaft.u_end + 0.002, "{run_s} s, {off} of {shaft:?}");
            worst = worst.max(off);
        }
    }
    assert!(worst > 0.05, "nothing was hidden: {worst}");
}
