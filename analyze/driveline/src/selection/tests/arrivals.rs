//! From when on a row is engaged: what the unit shows besides its position switches counts too.

use super::script::{Script, wagon};
use crate::selection::RowPeriod;
use crate::vehicle::Vehicle;

/// The period of a row.
fn period(script: &Script, mode: &str) -> RowPeriod {
    let timeline = script.run();
    timeline.row_periods.into_iter().rfind(|p| p.mode == mode).expect("it was requested")
}

#[test]
fn a_unit_that_stirs_long_after_the_request_is_read_from_then_on() {
    let mut script = Script::standing_in(wagon(), "rear-only", 120.0);
    script.ask(1.0, "full-time").motor(80.0, 81.5, "full-time").arrive(82.0, "full-time");
    script.set(82.0, "position-lock", true);
    let p = period(&script, "full-time");
    assert_eq!(p.matched_s, None);
    let names: Vec<&str> = p.disagreements.iter().map(|d| d.0.as_str()).collect();
    assert_eq!(names, ["position-lock"], "the other one came with the unit");
    assert!(p.stretch_s.expect("it was read").0 > 80.0, "{:?}", p.stretch_s);
    assert!(p.engaged_s.is_some_and(|s| s > 82.0), "{:?}", p.engaged_s);
}

#[test]
fn a_board_that_begins_anew_does_not_put_off_what_was_engaged_before() {
    let mut script = Script::standing_in(wagon(), "rear-only", 90.0);
    script.select(10.0, "full-time").gaps.push((60.0, 61.0, true));
    let p = period(&script, "full-time");
    assert!(p.engaged_s.is_some_and(|s| (11.8..13.0).contains(&s)), "{:?}", p.engaged_s);
}

/// In the locked row the lock's position switch lies: what it reads is the row that is asked for
/// next, long before the sleeve lets go.
fn read_before_it_moved(vehicle: Vehicle) -> RowPeriod {
    let mut script = Script::standing_in(vehicle, "locked", 60.0);
    script.set(0.2, "position-lock", false);
    script.ask(10.0, "full-time").motor(10.1, 11.6, "full-time").arrive(20.0, "full-time");
    period(&script, "full-time")
}

#[test]
fn a_row_that_was_read_before_the_unit_moved_is_engaged_when_its_lamps_say_so() {
    let p = read_before_it_moved(wagon());
    assert!(p.matched_s.is_some_and(|s| s < 11.0), "{:?}", p.matched_s);
    assert!(p.engaged_s.is_some_and(|s| s > 20.0), "{:?}", p.engaged_s);
}

#[test]
fn without_lamps_a_row_that_was_read_before_the_unit_moved_tells_no_arrival() {
    let mut dark = wagon();
    dark.modes.iter_mut().for_each(|m| m.lamps.clear());
    let p = read_before_it_moved(dark);
    assert!(p.matched_s.is_some() && p.engaged_s.is_none(), "{:?}", p.engaged_s);
}

/// Both switches of the row settle before the board says anything else, so that both are told at
/// once; the file names one before the other.
#[test]
fn a_row_is_matched_by_the_last_of_its_switches_in_whatever_order_the_file_names_them() {
    for (front_s, lock_s) in [(11.801, 11.816), (11.816, 11.801)] {
        let mut script = Script::standing_in(wagon(), "rear-only", 60.0);
        script.ask(10.0, "locked").motor(10.1, 11.6, "locked");
        script.set(front_s, "position-front", true).set(lock_s, "position-lock", true);
        let total = script.run().selections[0].total.clone().expect("it matched");
        assert!((total.low_s - 1.816).abs() < 1e-9 && total.high_s == total.low_s, "{total:?}");
    }
}

#[test]
fn a_request_is_made_by_the_last_of_its_lines_in_whatever_order_the_file_names_them() {
    for (all_s, lock_s) in [(10.001, 10.016), (10.016, 10.001)] {
        let mut script = Script::standing_in(wagon(), "rear-only", 60.0);
        script.set(all_s, "request-all", true).set(lock_s, "request-lock", true);
        script.motor(10.1, 11.6, "locked").arrive(11.8, "locked");
        let timeline = script.run();
        let [only] = timeline.selections.as_slice() else { panic!("one request: {timeline:?}") };
        assert!((only.request.first_s - 10.016).abs() < 1e-9, "{:?}", only.request);
    }
}
