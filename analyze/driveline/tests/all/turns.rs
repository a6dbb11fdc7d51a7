//! Promises about turns of a place and what stays open about them, worked out by hand: variances
//! add up, what one unit does alike at two places adds up with its sign (GUM, JCGM 100:2008, 5.1
//! and 5.2).

use wheelwitness_driveline::turn::{self, Opens, PLACES, Sent, Turn, moved};
use wheelwitness_driveline::vehicle::Place;

/// What a unit leaves open, times `k`.
fn sent(unit: u8, k: f64) -> Sent {
    let (rounding, truncation, delay) = (3.0 * k, 5.0 * k, 7.0 * k);
    Sent { unit, rounding, truncation, delay, between: 16.0 * k * k, hidden: 2.0 * k }
}

/// A turn whose numbers are all other ones, times `k`.
fn turn(k: f64, sent: Option<Sent>) -> Turn {
    let (turns, u_start, u_end, edge) = (10.0 * k, 0.25 * k, 0.75 * k, 0.5 * k);
    Turn { turns, u_start, u_end, still: false, edge, sent }
}

#[test]
fn what_turns_three_times_as_fast_has_three_times_all_that_is_open() {
    let fast = turn(1.0, Some(sent(4, 1.0))).times(3.0);
    assert_eq!(fast, turn(3.0, Some(sent(4, 3.0))));
    let still = Turn { still: true, ..turn(1.0, None) };
    assert_eq!(still.times(0.5), Turn { still: true, ..turn(0.5, None) });
}

/// 3 and 4 are 5 where the wheels are independent, and 7 where they do alike.
#[test]
fn the_mean_of_two_wheels_halves_what_is_alike_and_what_is_not_as_the_root_of_squares() {
    let mean = Turn::mean(turn(3.0, Some(sent(4, 3.0))), turn(4.0, Some(sent(4, 4.0))));
    assert_eq!((mean.turns, mean.u_start, mean.u_end), (35.0, 0.625, 1.875));
    assert_eq!((mean.edge, mean.still), (1.25, false));
    let of_unit = Sent {
        unit: 4,
        rounding: 7.5,
        truncation: 17.5,
        delay: 24.5,
        // 16 times 9 and 16 times 16, over 4.
        between: 100.0,
        hidden: 7.0,
    };
    assert_eq!(mean.sent, Some(of_unit));
}

#[test]
fn the_mean_of_a_wheel_that_a_unit_sends_and_one_that_is_counted_has_half_of_what_is_open() {
    let (told, counted) = (turn(4.0, Some(sent(4, 4.0))), turn(3.0, None));
    for (left, right) in [(told, counted), (counted, told)] {
        assert_eq!(Turn::mean(left, right).sent, Some(sent(4, 2.0)));
    }
    assert_eq!(Turn::mean(counted, counted).sent, None);
}

#[test]
fn an_axle_stands_still_when_both_wheels_do() {
    let wheel = |still| Turn { still, ..turn(1.0, None) };
    let is_still = |left, right| Turn::mean(wheel(left), wheel(right)).still;
    assert!(is_still(true, true));
    assert!(!is_still(true, false) && !is_still(false, true) && !is_still(false, false));
}

#[test]
fn a_turn_is_unseen_where_more_than_an_edge_is_open_at_one_of_its_ends() {
    let open = |u_start, u_end, sent| Turn { u_start, u_end, edge: 0.5, ..turn(1.0, sent) };
    assert!(!open(0.5, 0.5, None).is_unseen(), "just an edge");
    assert!(open(0.501, 0.1, None).is_unseen() && open(0.1, 0.501, None).is_unseen());
    assert!(!open(9.0, 9.0, Some(sent(4, 1.0))).is_unseen(), "a unit counts no edges");
}

#[test]
fn what_one_unit_does_alike_at_two_places_moves_their_difference_by_the_difference() {
    let of = |unit, k| turn(1.0, Some(sent(unit, k)));
    assert_eq!(moved(&of(4, 3.0), &of(4, 1.0)), [9.0, -3.0, 10.0, 0.0, 14.0, 0.0]);
    assert_eq!(moved(&of(4, 3.0), &of(5, 1.0)), [9.0, -3.0, 15.0, -5.0, 21.0, -7.0]);
}

#[test]
fn counted_edges_share_nothing_with_a_unit_whatever_its_number() {
    let counted = turn(1.0, None);
    for unit in [0, 1] {
        let told = turn(1.0, Some(sent(unit, 1.0)));
        assert_eq!(moved(&counted, &told), [0.0, -3.0, 0.0, -5.0, 0.0, -7.0], "unit {unit}");
        assert_eq!(moved(&told, &counted), [3.0, 0.0, 5.0, 0.0, 7.0, 0.0], "unit {unit}");
    }
}

#[test]
fn what_is_open_over_a_stretch_is_that_of_its_steps_added_up_with_their_signs() {
    let of = |unit, k| turn(1.0, Some(sent(unit, k)));
    let one = Opens::of(&of(4, 2.0), &of(5, 1.0), Some(of(6, 3.0)));
    let both = Opens {
        difference: [6.0, -3.0, 10.0, -5.0, 14.0, -7.0],
        input: [9.0, -3.0, 15.0, -5.0, 21.0, -7.0],
        // 16 times 4 and 16; 16 times 9 and 16.
        between: 80.0,
        input_between: 160.0,
    };
    assert_eq!(one, both);
    let without = Opens::of(&of(4, 1.0), &of(4, 3.0), None);
    let difference = [3.0, -9.0, -10.0, 0.0, -14.0, 0.0];
    let alone = Opens { difference, input: [0.0; 6], between: 160.0, input_between: 144.0 };
    assert_eq!(without, alone);
    let mut stretch = one;
    stretch.add(&without);
    let sum = Opens {
        difference: [9.0, -12.0, 0.0, -5.0, 0.0, -7.0],
        input: both.input,
        between: 240.0,
        input_between: 304.0,
    };
    assert_eq!(stretch, sum);
}

/// 1, 4, 9, 16, 25, 36 and 9 are 100.
#[test]
fn the_uncertainty_of_a_difference_is_the_root_of_all_squares_and_of_what_happened_between() {
    let difference = [1.0, -2.0, 3.0, -4.0, 5.0, -6.0];
    assert_eq!(Opens { difference, between: 9.0, ..Opens::default() }.difference_u(), 10.0);
}

#[test]
fn turns_are_found_by_their_place() {
    let mut turns = [None; PLACES];
    turns[Place::RearShaft as usize] = Some(turn(2.0, None));
    assert_eq!(turn::at(&turns, Place::RearShaft), Some(turn(2.0, None)));
    assert_eq!(turn::at(&turns, Place::FrontShaft), None);
}
