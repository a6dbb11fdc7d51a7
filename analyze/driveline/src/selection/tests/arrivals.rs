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
