//! What fits best where a selection did not go well, and that nothing is told where it did.

use super::outcomes::rear_only;
use super::script::{Script, wagon};
use crate::selection::{Cause, Lead, MARGIN_S, Outcome};
use crate::vehicle::Limits;

/// The lead of the selection that was asked for at 10 s.
fn lead(script: &Script) -> Option<Lead> {
    let timeline = script.run();
    let mut asked = timeline.selections.iter().filter(|s| s.request.first_s == 10.0);
    timeline.lead(asked.next().expect("a selection at 10 s"))
}

fn fits(script: &Script, cause: Cause, evidence: &str) {
    let evidence = evidence.to_string();
    assert_eq!(lead(script), Some(Lead { cause, evidence }));
}

fn nothing_fits(script: &Script) {
    assert_eq!(lead(script), None);
}

#[test]
fn every_cause_is_told_in_plain_words() {
    let told = [
        (Cause::RequestNeverArrived, "the request never arrived"),
        (Cause::MotorNeverRan, "the motor never ran"),
        (Cause::LimitContact, "a limit contact"),
        (Cause::PositionSwitch, "a position switch"),
        (Cause::LampWiring, "a lamp or its wiring"),
        (Cause::LostItsPlace, "the unit lost its place"),
    ];
    for (cause, words) in told {
        assert_eq!(cause.words(), words);
    }
}

#[test]
fn a_request_on_which_nothing_moved_never_arrived() {
    let evidence = "the selector changed, no interlock forbade it, and no motor line, limit \
                    contact or position switch moved";
    fits(rear_only().ask(10.0, "full-time"), Cause::RequestNeverArrived, evidence);
}

#[test]
fn a_motor_that_moves_no_limit_contact_never_ran() {
    let evidence = "a drive line was energised and no limit contact changed";
    let mut script = rear_only();
    script.ask(10.0, "full-time").set(10.1, "motor-up", true);
    fits(&script, Cause::MotorNeverRan, evidence);
    script.set(11.6, "motor-up", false);
    fits(&script, Cause::MotorNeverRan, evidence);
    // It is nobody's fault where it had no time to run.
    nothing_fits(script.ask(11.0, "rear-only"));
    script = Script::standing_in(wagon(), "rear-only", 11.0);
    nothing_fits(script.ask(10.0, "full-time").set(10.1, "motor-up", true));
}

#[test]
fn a_motor_that_stops_where_the_limit_contacts_read_another_row_accuses_one_of_them() {
    let mut script = rear_only();
    script.ask(10.0, "full-time").motor(10.1, 11.6, "locked").arrive(12.0, "full-time");
    let evidence = "the motor stopped where the limit contacts do not read the row";
    fits(&script, Cause::LimitContact, evidence);
}

#[test]
fn one_position_switch_against_motor_contacts_and_lamps_or_motion_is_accused() {
    let mut script = rear_only();
    script.select(10.0, "full-time").stick("position-front");
    let evidence = "the motor and its limit contacts reached the row, and the lamps show it; \
                    position-front alone reads otherwise";
    fits(&script, Cause::PositionSwitch, evidence);
    let mut script = Script::standing_in(wagon(), "full-time", 60.0);
    script.ask(10.0, "locked").motor(10.1, 11.6, "locked").go(20.0, 2.0, 0.2, 1);
    let evidence = "the motor and its limit contacts reached the row, and the sleeve had its \
                    motion; position-lock alone reads otherwise";
    fits(&script, Cause::PositionSwitch, evidence);
}

/// What a row and its lamps may take, in seconds: the limit of the selection and the margin.
fn patience_s() -> f64 {
    let patience_s = Limits::default().selection_s + MARGIN_S;
    assert_eq!(patience_s, 6.0);
    patience_s
}

#[test]
fn a_lamp_is_accused_once_it_has_had_longer_than_a_selection_may_take() {
    let dark_for = |for_s: f64| {
        let mut script = Script::standing_in(wagon(), "rear-only", 10.0 + for_s);
        script.select(10.0, "full-time").stick("lamp-all");
        script
    };
    let evidence = "every position switch reads the row, and the lamps do not show it";
    fits(&dark_for(patience_s() + 0.05), Cause::LampWiring, evidence);
    nothing_fits(&dark_for(patience_s()));
}

/// Power goes off in a change to full-time and comes back at 20 s, with `mode` asked for until the
/// recording ends at `end_s`; the row comes in between or not.
fn cut(mode: &str, comes: bool, end_s: f64) -> Script {
    let mut script = Script::standing_in(wagon(), "rear-only", end_s);
    script.ask(10.0, "full-time").set(10.1, "motor-up", true);
    script.set(12.0, "ignition", false).set(12.0, "motor-up", false);
    // Settled when the shafts are heard of at 20.00 s.
    script.ask(15.0, mode).set(19.97, "ignition", true);
    if comes {
        script.arrive(21.0, mode);
    }
    assert_eq!(script.run().selections[0].outcome, Outcome::PowerLost);
    script
}

#[test]
fn a_unit_whose_power_was_cut_in_a_change_and_that_never_gets_there_lost_its_place() {
    let evidence = "power went off at 12.0 s in mid-change; from 20.0 s the mode was asked for \
                    with power on, and its row never matched";
    let patience_s = patience_s();
    fits(&cut("full-time", false, 20.05 + patience_s), Cause::LostItsPlace, evidence);
    // It may still get there, it did, or something else was asked for.
    nothing_fits(&cut("full-time", false, 20.0 + patience_s));
    nothing_fits(&cut("full-time", true, 60.0));
    nothing_fits(&cut("locked", false, 60.0));
}

#[test]
fn a_selection_that_goes_well_waits_is_refused_or_is_taken_back_needs_no_lead() {
    nothing_fits(rear_only().select(10.0, "full-time"));
    let mut waits = Script::standing_in(wagon(), "full-time", 60.0);
    waits.ask(10.0, "locked").motor(10.1, 11.6, "locked");
    nothing_fits(&waits);
    let mut refused = Script::standing_in(wagon(), "locked", 60.0);
    nothing_fits(refused.ask(10.0, "low-locked"));
    let mut reversed = rear_only();
    reversed.ask(10.0, "full-time").motor(10.1, 11.6, "full-time").ask(11.0, "rear-only");
    nothing_fits(&reversed);
}
