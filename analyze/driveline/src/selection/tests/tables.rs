//! Rows as codes over switches, what a change of rows waits for, and how much of it there was.

use super::script::wagon;
use crate::selection::Need;
use crate::selection::reading::Reading;
use crate::selection::table::{Code, Passage, Table};
use crate::selection::travel::Travel;
use crate::switches::{Motion, Picture};
use crate::vehicle::{Level, Limits, Vehicle};
use proptest::prelude::*;

/// The first switches of the demo vehicle in their order.
const REQUEST_ALL: u32 = 1 << 0;
const REQUEST_LOCK: u32 = 1 << 1;
const REQUEST_LOW: u32 = 1 << 2;
const POSITIONS: u32 = 0b111 << 6;

fn known(known: u32, on: u32) -> Picture {
    Picture { on, known, ..Picture::default() }
}

fn row(table: &Table, name: &str) -> usize {
    table.rows.iter().position(|r| r.name == name).expect("a row")
}

/// Selectors that close one contact more from place to place.
fn steps(asked: &[(&str, &[&str])]) -> Vehicle {
    let mut vehicle = wagon();
    for mode in &mut vehicle.modes {
        let names = asked.iter().find(|(name, _)| *name == mode.name).map_or(&[][..], |a| a.1);
        mode.request = names.iter().map(|n| (n.to_string(), Level::On)).collect();
    }
    vehicle
}

#[test]
fn a_row_is_asked_for_when_no_row_that_says_as_much_may_be() {
    let all = ["request-all", "request-lock", "request-low"];
    let table = Table::new(&steps(&[("full-time", &all[..1]), ("locked", &all[..2])]));
    let asked = |k, on| table.asked(&known(k, on)).map(|r| r.map(|k| table.rows[k].name.as_str()));
    let both = REQUEST_ALL | REQUEST_LOCK;
    assert_eq!(asked(both, REQUEST_ALL), Ok(Some("full-time")));
    assert_eq!(asked(both, both), Ok(Some("locked")));
    assert_eq!(asked(both, 0), Ok(None));
    assert_eq!(asked(REQUEST_ALL, REQUEST_ALL), Err(()), "the more specific one may be asked for");
    let table = Table::new(&steps(&[("locked", &all[..2]), ("neutral", &all[2..])]));
    let asked = |k, on| table.asked(&known(k, on)).map(|r| r.map(|k| table.rows[k].name.as_str()));
    assert_eq!(asked(both, both), Ok(Some("locked")), "the other one says less");
    assert_eq!(asked(both, REQUEST_ALL), Err(()), "the other one may be asked for");
    assert_eq!(asked(both | REQUEST_LOW, REQUEST_ALL), Ok(None));
}

/// The lock's switch alone is no row of the demo vehicle.
#[test]
fn switches_that_are_known_and_read_no_row_show_none() {
    let table = Table::new(&wagon());
    assert_eq!(table.shown(&known(POSITIONS, 1 << 7), None), Ok(None));
    assert_eq!(table.shown(&known(POSITIONS, 1 << 6), None), Ok(Some(row(&table, "full-time"))));
    assert_eq!(table.shown(&known(1 << 7, 1 << 7), None), Err(()));
}

#[test]
fn an_interlock_of_speed_alone_is_known_when_the_speed_is() {
    let mut vehicle = wagon();
    vehicle.interlocks[0].requires.clear();
    let table = Table::new(&vehicle);
    let passage = |speed| table.passage(row(&table, "low-locked"), &known(0, 0), speed);
    assert_eq!(passage(Some(5.0)), Passage::Free);
    assert_eq!(passage(Some(5.1)), Passage::Blocked("5 km/h is above 5 km/h".into()));
    assert_eq!(passage(None), Passage::Unknown);
}

#[test]
fn what_a_change_waits_for_follows_from_both_rows() {
    let table = Table::new(&wagon());
    let need = |from: &str, to: &str| {
        Need::of(Some(&table.rows[row(&table, from)]), &table.rows[row(&table, to)])
    };
    for (from, to, waits_for) in [
        ("low-full-time", "neutral", Need::InputOutput),
        ("neutral", "low-full-time", Need::InputOutput),
        ("locked", "low-locked", Need::InputOutput),
        ("full-time", "locked", Need::FrontRear),
        ("rear-only", "full-time", Need::FrontRear),
        ("locked", "full-time", Need::Reversal),
        ("full-time", "rear-only", Need::Reversal),
    ] {
        assert_eq!(need(from, to), waits_for, "{from} to {to}");
    }
    assert_eq!(Need::of(None, &table.rows[0]), Need::Any);
}

fn travelled(samples: &[Motion], ratio: f64) -> Travel {
    let mut travel = Travel::default();
    samples.iter().for_each(|m| travel.push(m, ratio));
    travel
}

fn turned(front: f64, rear: f64, input: f64, torque: i8) -> Motion {
    Motion {
        front_turn: Some(front),
        rear_turn: Some(rear),
        input_turn: Some(input),
        torque_sign: Some(torque),
        ..Motion::default()
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    /// The input of a range that is engaged turns as often as its ratio says for each turn of the
    /// mean output; what it turns beyond that it turns against the outputs.
    #[test]
    fn only_what_the_input_turns_beyond_its_range_is_against_the_outputs(
        ratio in 1.0..4.0f64, front in -50.0..50.0f64, rear in -50.0..50.0f64, slip in 0.0..3.0f64,
    ) {
        let input = ratio * ((front + rear) / 2.0 + slip);
        let travel = travelled(&[turned(0.0, 0.0, 0.0, 0), turned(front, rear, input, 0)], ratio);
        prop_assert!((travel.of(Need::InputOutput).unwrap() - slip).abs() < 1e-9);
        prop_assert!((travel.of(Need::FrontRear).unwrap() - (front - rear).abs()).abs() < 1e-9);
    }
}

/// Two turns, and the backlash of a quarter turn on top; or two torque reversals.
#[test]
fn waiting_is_no_excuse_from_two_turns_and_the_backlash_or_two_reversals_on() {
    let limits = Limits::default();
    assert_eq!((limits.stuck_after_turns, limits.backlash_turn), (2.0, 0.25));
    let is_decisive = |need, front_rear: f64, slip: f64, reversals: u32, ranges| {
        let torque = |n: u32| if n.is_multiple_of(2) { 1 } else { -1 };
        let mut samples = vec![turned(0.0, 0.0, 0.0, 1)];
        samples.extend((1..=reversals).map(|n| turned(0.0, 0.0, 0.0, torque(n))));
        let input = front_rear / 2.0 + slip;
        samples.push(turned(front_rear, 0.0, input, torque(reversals)));
        travelled(&samples, 1.0).is_decisive(need, &limits, ranges)
    };
    for (need, front_rear, slip, reversals, several_ranges, decides) in [
        (Need::FrontRear, 2.25, 0.0, 0, true, true),
        (Need::FrontRear, 2.2, 9.0, 9, true, false),
        (Need::FrontRear, 1.8, 0.0, 0, true, false),
        (Need::InputOutput, 0.0, 2.25, 0, true, true),
        (Need::InputOutput, 9.0, 2.2, 9, true, false),
        (Need::Reversal, 0.0, 0.0, 2, true, true),
        (Need::Reversal, 9.0, 9.0, 1, true, false),
        (Need::Any, 2.25, 2.25, 2, true, true),
        (Need::Any, 2.25, 2.0, 2, true, false),
        (Need::Any, 2.25, 2.0, 2, false, true),
        (Need::Any, 2.0, 2.25, 2, false, false),
        (Need::Any, 2.25, 2.25, 1, false, false),
    ] {
        let decided = is_decisive(need, front_rear, slip, reversals, several_ranges);
        assert_eq!(decided, decides, "{need:?} {front_rear} {slip} {reversals} {several_ranges}");
    }
}

/// The first switch, which is to be on.
const ON: Code = Code { care: 1, on: 1, whole: true };

/// It reads as off in these stretches of a reading from zero on.
fn reads_off(stretches: &[(f64, f64)], end_s: f64) -> Reading {
    let mut reading = Reading::new(ON);
    reading.begin(0.0, &known(1, 1));
    for (from_s, to_s) in stretches {
        reading.edge(0, *from_s, &known(1, 0));
        reading.edge(0, *to_s, &known(1, 1));
    }
    reading.end(end_s);
    reading
}

#[test]
fn a_switch_that_is_unknown_or_in_doubt_is_not_read() {
    for (known, doubt, read_s) in [(1, 0, 4.0), (0, 0, 0.0), (1, 1, 0.0), (0, 1, 0.0)] {
        let picture = Picture { on: 1, known, doubt, ..Picture::default() };
        let mut reading = Reading::new(ON);
        reading.begin(0.0, &picture);
        reading.pass(4.0, &picture);
        assert_eq!(reading.readable_s, read_s, "{known} {doubt}");
    }
}

#[test]
fn of_two_equally_long_readings_otherwise_the_first_is_told_as_the_longest() {
    let d = reads_off(&[(1.0, 2.0), (3.0, 4.0), (5.0, 5.5), (6.0, 6.125)], 9.0).switches[0];
    assert_eq!((d.longest_s, d.total_s, d.times, d.drops), ((1.0, 2.0), 2.5, 3, 1));
}

/// A contact may take 0.2 s to settle at either end.
#[test]
fn a_switch_reads_otherwise_throughout_but_for_less_than_a_contact_takes_to_settle() {
    let throughout = |from_s: f64, to_s: f64, end_s: f64| {
        !reads_off(&[(from_s, to_s)], end_s).throughout().is_empty()
    };
    assert!(throughout(0.0, 0.4, 0.4) && throughout(0.1875, 0.5, 0.6875));
    assert!(!throughout(0.2, 9.0, 9.0), "at the limit itself");
    assert!(!throughout(0.0, 8.75, 9.0));
    assert!(reads_off(&[], 0.1).throughout().is_empty(), "it never did");
}
