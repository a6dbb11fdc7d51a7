//! What a stretch in which one mode is requested makes of what moves in it.

use super::outcomes::{check, only, rear_only};
use super::script::{Script, run, wagon};
use crate::selection::{Outcome, Selection, Stage, Timeliness};
use crate::switches::Event;

#[test]
fn every_outcome_and_every_stage_is_told_in_words() {
    let stages = [
        (Stage::MotorEnergised, "motor energised"),
        (Stage::LimitContactsChanged, "limit contacts changed"),
        (Stage::MotorStopped, "motor stopped"),
        (Stage::PositionSwitchesMatch, "position switches match"),
        (Stage::LampSteady, "lamp steady"),
    ];
    for (stage, words) in stages {
        assert_eq!(stage.words(), words);
    }
    let outcomes = [
        (Outcome::Completed, "completed", true),
        (Outcome::Confirmed, "confirmed", true),
        (Outcome::Slow, "slow", false),
        (Outcome::WaitingForRotation, "waiting for rotation", false),
        (Outcome::StuckBetween, "stuck between", false),
        (Outcome::WrongRow, "wrong row", false),
        (Outcome::Reversed, "reversed", false),
        (Outcome::Replaced, "replaced", false),
        (Outcome::RefusedByInterlock, "refused by interlock", false),
        (Outcome::RequestLost, "request lost", false),
        (Outcome::PowerLost, "power lost", false),
        (Outcome::NotSeen, "not seen", false),
    ];
    for (outcome, words, is_reached) in outcomes {
        assert_eq!((outcome.words(), outcome.is_reached()), (words, is_reached));
    }
}

/// Asked for at 10 s while rolling: the row matches at one time, the motor stops at another.
fn motor_stops(matches_s: f64, stops_s: f64) -> Selection {
    let mut script = rear_only();
    script.go(1.0, 2.0, 0.3, 1).ask(10.0, "full-time");
    only(script.motor(10.1, stops_s, "full-time").arrive(matches_s, "full-time"))
}

/// A motor that is switched off by its contacts stops within half a second of the match.
#[test]
fn a_motor_that_runs_on_for_more_than_half_a_second_leaves_the_time_open() {
    for (stops_s, ran_on, timeliness) in [
        (11.8, false, Timeliness::Within),
        (12.0, false, Timeliness::Within),
        (12.4, true, Timeliness::Within),
        (12.5, true, Timeliness::Within),
        (12.6, true, Timeliness::Unclear),
    ] {
        let s = motor_stops(12.0, stops_s);
        assert_eq!((s.ran_on, s.timeliness), (ran_on, timeliness), "{stops_s}");
    }
}

/// The limit is 5 s.
#[test]
fn a_motor_that_stops_after_the_limit_leaves_open_what_matched_before_it() {
    for (matches_s, stops_s, timeliness) in [
        (14.6, 14.9, Timeliness::Within),
        (14.9, 15.2, Timeliness::Unclear),
        (15.2, 15.4, Timeliness::Beyond),
        // At the limit itself; what came after it may have waited for motion.
        (15.6, 15.0, Timeliness::Waited),
        (15.6, 15.4, Timeliness::Beyond),
    ] {
        assert_eq!(motor_stops(matches_s, stops_s).timeliness, timeliness, "{matches_s} {stops_s}");
    }
}

#[test]
fn a_match_of_half_a_second_was_engaged_and_a_shorter_one_passed_by() {
    let leaves = |after_s: f64| {
        let mut script = rear_only();
        script.ask(10.0, "full-time").motor(10.1, 11.6, "full-time").arrive(12.0, "full-time");
        let s = only(script.set(12.0 + after_s, "position-front", false));
        (s.total.is_some(), s.left_s, s.touched)
    };
    assert_eq!(leaves(0.5), (true, Some(12.5), false));
    assert_eq!(leaves(0.4375), (false, None, true));
}

#[test]
fn a_row_that_is_passed_while_the_motor_runs_was_not_touched() {
    let mut script = rear_only();
    script.ask(10.0, "full-time").motor(10.1, 14.0, "full-time");
    script.set(12.0, "position-front", true).set(12.2, "position-front", false);
    let s = only(&script);
    assert!(!s.touched && s.total.is_none(), "{s:#?}");
}

#[test]
fn a_torque_reversal_before_the_match_confirms_nothing() {
    let mut script = rear_only();
    script.select(10.0, "full-time");
    script.go(5.0, 1.0, 0.0, 1).go(10.5, 1.0, 0.0, -1).go(11.0, 1.0, 0.0, 1);
    check(&script, Outcome::Completed, "");
}

#[test]
fn a_unit_that_tries_again_before_the_row_matches_is_followed() {
    let mut script = rear_only();
    script.ask(10.0, "full-time").set(10.1, "motor-up", true).set(11.6, "motor-up", false);
    script.motor(13.0, 14.0, "full-time").arrive(14.2, "full-time");
    let s = only(&script);
    let off = s.stages.iter().find(|t| t.stage == Stage::MotorStopped).expect("it stopped");
    assert_eq!(off.moment.first_s, 14.0);
    assert_eq!(s.stages[0].moment.first_s, 10.1, "{:#?}", s.stages);
}

/// The first switch to read the row bounces for longer than the other takes to follow.
#[test]
fn a_row_matches_when_the_last_of_its_switches_begins_to_read_it() {
    let mut script = rear_only();
    script.ask(10.0, "locked").motor(10.1, 11.6, "locked").set(11.815, "position-front", true);
    for (n, at_s) in [11.8, 11.812, 11.824, 11.832, 11.84].into_iter().enumerate() {
        script.set(at_s, "position-lock", n % 2 == 0);
    }
    let s = only(&script);
    let at = s.stages.iter().find(|t| t.stage == Stage::PositionSwitchesMatch).expect("it did");
    assert_eq!((at.moment.first_s, at.moment.settled_s), (11.815, 11.84));
}

#[test]
fn an_interlock_that_stands_in_the_way_only_later_refuses_too() {
    let mut script = Script::standing_in(wagon(), "locked", 60.0);
    script.set(5.0, "gearbox-neutral", true).ask(10.0, "low-locked");
    check(&script, Outcome::RequestLost, "");
    script.set(12.0, "gearbox-neutral", false);
    check(&script, Outcome::RefusedByInterlock, "`gearbox-neutral` not as required");
}

#[test]
fn an_interlock_of_speed_alone_lets_pass_what_is_slow_enough() {
    let mut script = Script::standing_in(wagon(), "locked", 60.0);
    script.vehicle.interlocks[0].requires.clear();
    check(script.ask(10.0, "low-locked"), Outcome::RequestLost, "");
}

#[test]
fn where_nothing_moves_and_an_interlock_is_not_known_nothing_is_called_lost() {
    let outcome = |back_s: f64| {
        let mut script = Script::standing_in(wagon(), "locked", 60.0);
        script.set(5.0, "gearbox-neutral", true).ask(10.0, "low-locked").ask(back_s, "locked");
        let mut events = script.events();
        for event in &mut events {
            if let Event::Motion(m) = event {
                m.speed_kmh = None;
            }
        }
        let s = run(&script.vehicle, &events, 60.0).selections[0].clone();
        (s.outcome, s.detail)
    };
    let unknown = Some("nothing moved; an interlock is not known".to_string());
    assert_eq!(outcome(50.0), (Outcome::NotSeen, unknown));
    assert_eq!(outcome(12.0).0, Outcome::Reversed);
}

#[test]
fn a_request_that_goes_on_to_a_third_row_was_replaced_or_waited_by_what_it_had_of_time() {
    let goes_on = |at_s: f64| {
        let mut script = Script::standing_in(wagon(), "full-time", 60.0);
        script.ask(10.0, "locked").motor(10.1, 11.6, "locked").ask(at_s, "rear-only");
        script.run().selections[0].clone()
    };
    let (early, late) = (goes_on(13.0), goes_on(20.0));
    assert_eq!(early.outcome, Outcome::Replaced);
    assert_eq!(early.detail.as_deref(), Some("by `rear-only`"));
    assert_eq!(late.outcome, Outcome::WaitingForRotation);
    assert_eq!(late.detail.as_deref(), Some("not matching: `position-lock`"));
}

/// The motor goes to the stop of another row, and the switches and contacts show that one.
#[test]
fn a_row_is_the_wrong_one_once_the_unit_had_its_time_and_nothing_was_lost() {
    let goes_wrong = |change: fn(&mut Script)| {
        let mut script = rear_only();
        script.ask(10.0, "full-time").motor(10.1, 11.6, "locked").arrive(12.0, "locked");
        change(&mut script);
        script.run().selections[0].clone()
    };
    let asks_back = |s: &mut Script| s.ask(14.0, "rear-only").end_s = 60.0;
    assert_eq!(goes_wrong(|_| {}).outcome, Outcome::WrongRow);
    assert_eq!(goes_wrong(asks_back).outcome, Outcome::Reversed);
    let blind = goes_wrong(|s| s.gaps.push((30.0, 30.5, false)));
    assert_eq!(blind.outcome, Outcome::NotSeen);
    assert_eq!(blind.detail.as_deref(), Some("sentences were lost in it"));
    let runs = goes_wrong(|s| {
        s.set(12.5, "motor-down", true).end_s = 15.0;
    });
    assert_ne!(runs.outcome, Outcome::WrongRow);
}

#[test]
fn a_row_that_only_the_position_switches_show_is_not_the_wrong_one_without_motion() {
    let mut script = rear_only();
    script.ask(10.0, "full-time").motor(10.1, 11.6, "full-time");
    script.set(12.0, "position-front", true).set(12.0, "position-lock", true);
    check(&script, Outcome::WaitingForRotation, "not matching: `position-lock`");
}

/// The demo vehicle without lines of a motor, and without limit contacts unless they are kept.
fn without_motor(mode: &str, keeps_limits: bool) -> Script {
    let mut vehicle = wagon();
    let is_gone =
        |name: &str| name.starts_with("motor") || !keeps_limits && name.starts_with("limit");
    vehicle.switches.retain(|s| !is_gone(&s.name));
    vehicle.modes.iter_mut().for_each(|m| m.limit_contacts.retain(|name, _| !is_gone(name)));
    Script::standing_in(vehicle, mode, 60.0)
}

#[test]
fn without_a_motor_line_a_request_is_lost_where_no_limit_contact_moves() {
    check(without_motor("rear-only", true).ask(10.0, "full-time"), Outcome::RequestLost, "");
}

#[test]
fn without_motor_and_limit_contacts_motion_counts_once_the_unit_had_its_time() {
    let mut script = without_motor("full-time", false);
    script.ask(10.0, "locked").go(20.0, 2.0, 0.2, 1);
    check(&script, Outcome::StuckBetween, "`position-lock`");
}

#[test]
fn without_a_motor_line_motion_counts_from_the_arrival_of_the_limit_contacts() {
    let moved = |arrives: bool| {
        let mut script = without_motor("rear-only", true);
        script.ask(10.0, "locked").set(10.8, "limit-b", true).go(20.0, 2.0, 0.2, 1);
        if arrives {
            script.set(11.6, "limit-a", false);
        }
        let s = only(&script);
        (s.had_motion, s.turns_since_motor_stop.is_some())
    };
    assert_eq!(moved(true), (true, true));
    assert_eq!(moved(false), (false, false));
}

/// A fork that moves by itself, without the motor: the contacts are read when the unit has had its
/// time, 6 s after the request.
#[test]
fn limit_contacts_are_read_from_when_the_unit_had_its_time_where_no_motor_ran() {
    let mut script = rear_only();
    script.ask(10.0, "full-time").set(10.5, "limit-b", true).arrive(12.0, "full-time");
    script.set(14.0, "limit-b", false);
    let timeline = script.run();
    let read = &timeline.row_periods[1].contacts_otherwise;
    assert_eq!(read.len(), 1, "{read:?}");
    let (name, otherwise) = &read[0];
    assert_eq!(name, "limit-b");
    assert!((16.0..16.1).contains(&otherwise.longest_s.0), "{otherwise:?}");
}
