//! What counts as a request, where power and lost sentences leave it, and what is engaged now.

use super::outcomes::{check, only, rear_only};
use super::script::{Script, run, wagon};
use crate::selection::{MAX_HELD, Outcome, Selections, Stage, Timeline};
use crate::switches::{Event, Gap, Levels, Motion, WINDOW_S};
use crate::vehicle::Vehicle;

/// How many selections and requests there are, and how many only passed by.
fn counted(timeline: &Timeline) -> (usize, usize, u64) {
    (timeline.selections.len(), timeline.requests.len(), timeline.passed_by)
}

#[test]
fn what_is_engaged_now_is_told_by_the_switches_and_nothing_under_way() {
    let mut script = Script::standing_in(wagon(), "full-time", 30.0);
    script.ask(10.0, "locked").motor(10.1, 11.6, "locked");
    script.set(10.5, "position-front", false).set(10.5, "position-lock", true);
    script.set(11.5, "position-front", true);
    let now = |until_s: f64| {
        let mut selections = Selections::new(&script.vehicle);
        let events = script.events().into_iter().filter(|e| e.time_s() < until_s);
        events.for_each(|e| selections.push(&e));
        selections.engaged_now().map(str::to_string)
    };
    assert_eq!(now(0.0), None);
    assert_eq!(now(9.0).as_deref(), Some("full-time"));
    assert_eq!(now(11.0), None);
    assert_eq!(now(20.0).as_deref(), Some("locked"));
}

#[test]
fn each_place_that_the_selector_passes_is_counted() {
    let mut script = rear_only();
    script.ask(9.8, "full-time").ask(9.9, "locked").ask(10.0, "low-locked");
    assert_eq!(counted(&script.run()), (1, 2, 2));
    for back_s in [9.8, 9.9] {
        script = rear_only();
        script.ask(9.7, "full-time").ask(back_s, "rear-only");
        script.ask(20.0, "full-time").ask(20.1, "rear-only");
        assert_eq!(counted(&script.run()), (0, 1, 2));
    }
}

/// The first line is calm when the shafts are heard of at 10.05 s, the second not yet.
#[test]
fn two_request_lines_that_change_within_the_calm_time_are_one_request() {
    let mut script = rear_only();
    script.set(10.025, "request-all", true).set(10.035, "request-lock", true);
    let timeline = script.run();
    assert_eq!(counted(&timeline), (1, 2, 0));
    assert_eq!(timeline.selections[0].to.1, "locked");
    assert_eq!(timeline.selections[0].request.first_s, 10.035);
}

/// A request stands from its edge to the end of the drive, or of the next request.
#[test]
fn a_request_of_three_tenths_of_a_second_is_one_and_a_shorter_one_is_not() {
    let stands = |from_s: f64, to_s: f64| {
        let mut script = Script::standing_in(wagon(), "rear-only", to_s);
        counted(&script.ask(from_s, "full-time").run())
    };
    assert_eq!(stands(0.3, 0.6), (1, 2, 0));
    assert_eq!(stands(0.3, 0.59), (0, 1, 1));
    assert_eq!(stands(59.8, 60.0), (0, 1, 1));
}

/// The selector stands between its places until it comes to one.
#[test]
fn a_request_that_follows_none_is_a_selection_with_its_edge() {
    let mut script = rear_only();
    script.set(0.005, "request-lock", true).set(10.0, "request-lock", false);
    let s = only(&script);
    assert_eq!((s.to.1.as_str(), s.request.first_s, s.was_there), ("rear-only", 10.0, true));
}

#[test]
fn a_selector_that_leaves_its_mode_for_none_has_reversed_the_selection() {
    let mut script = rear_only();
    script.ask(10.0, "full-time").set(10.1, "motor-up", true);
    script.set(12.0, "request-all", false).set(12.0, "request-lock", true);
    check(&script, Outcome::Reversed, "the selector left the mode");
}

/// Nothing that was requested or engaged without power says when it was asked for.
#[test]
fn a_request_that_stands_when_power_comes_on_is_no_selection() {
    let mut script = rear_only();
    script.set(5.0, "ignition", false).ask(10.0, "full-time").set(20.0, "ignition", true);
    let timeline = script.run();
    assert_eq!(counted(&timeline), (0, 2, 0));
    let stood = &timeline.requests[1];
    assert!(stood.mode == "full-time" && (20.0..20.1).contains(&stood.start_s), "{stood:?}");
}

/// It begins where no mode was asked for, so that it is one from its edge on.
#[test]
fn a_short_request_that_power_cuts_off_is_lost_with_it_and_has_not_passed_by() {
    let cut = |what: &str| {
        let mut script = Script::standing_in(wagon(), "rear-only", 30.0);
        script.set(0.005, "request-lock", true);
        script.ask(9.9, "full-time").set(10.1, what, what != "ignition");
        script.run()
    };
    let timeline = cut("ignition");
    assert_eq!(counted(&timeline), (1, 1, 0));
    assert_eq!(timeline.selections[0].outcome, Outcome::PowerLost);
    // The selector goes on.
    assert_eq!(counted(&cut("request-lock")), (1, 1, 1));
}

#[test]
fn a_row_that_was_asked_for_and_never_came_is_nothing_to_go_back_to() {
    let mut script = Script::standing_in(wagon(), "full-time", 60.0);
    script.ask(10.0, "locked").motor(10.1, 11.6, "locked");
    script.ask(30.0, "rear-only").set(30.1, "motor-down", true).ask(32.0, "full-time");
    let timeline = script.run();
    assert_eq!(timeline.selections[1].to.1, "rear-only");
    assert_eq!(timeline.selections[1].outcome, Outcome::Reversed);
}

#[test]
fn a_motor_that_runs_from_before_a_request_was_not_energised_for_it() {
    let mut script = rear_only();
    script.ask(10.0, "full-time").motor(10.1, 10.9, "full-time").ask(10.8, "locked");
    let stages = &script.run().selections[1].stages;
    assert!(stages.iter().all(|t| t.stage != Stage::MotorEnergised), "{stages:?}");
    assert!(stages.iter().any(|t| t.stage == Stage::MotorStopped), "{stages:?}");
}

#[test]
fn a_motor_that_answers_before_the_selector_is_calm_is_timed_all_the_same() {
    let mut script = rear_only();
    script.ask(10.0, "full-time").motor(10.005, 11.6, "full-time").arrive(11.8, "full-time");
    let s = check(&script, Outcome::Completed, "");
    assert_eq!(s.stages[0].stage, Stage::MotorEnergised);
    assert_eq!(s.stages[0].moment.first_s, 10.005);
}

#[test]
fn what_is_held_back_for_a_request_that_may_be_none_is_bounded() {
    let mut script = Script::standing_in(wagon(), "rear-only", 10.05);
    let mut selections = Selections::new(&script.vehicle);
    script.ask(10.0, "full-time").events().iter().for_each(|e| selections.push(e));
    for n in 0..4 * MAX_HELD {
        let time_s = 10.05 + 5e-5 * n as f64;
        selections.push(&Event::Motion(Motion { time_s, ..Motion::default() }));
    }
    let held = selections.candidate.map(|c| c.held.len());
    assert_eq!(held, Some(MAX_HELD));
}

/// Half a minute of which sentences were lost between two times.
fn with_gap(vehicle: &Vehicle, mut events: Vec<Event>, from_s: f64, to_s: f64) -> Timeline {
    let gap = Gap { from_s, to_s, record: 5000 };
    let at = events.iter().position(|e| e.time_s() > from_s).unwrap_or(events.len());
    events.insert(at, Event::Lost(gap));
    run(vehicle, &events, 30.0)
}

#[test]
fn a_gap_of_no_length_hides_nothing() {
    let outcome = |length_s: f64| {
        let mut script = Script::standing_in(wagon(), "rear-only", 30.0);
        let events = script.ask(10.0, "full-time").events();
        with_gap(&script.vehicle, events, 20.5, 20.5 + length_s).selections[0].outcome
    };
    assert_eq!((outcome(0.0), outcome(0.01)), (Outcome::RequestLost, Outcome::NotSeen));
}

/// What a lamp did in a shorter gap is in the count of its next edge. The gap begins at zero, so
/// that its length is exact.
#[test]
fn lamps_are_known_through_a_gap_of_two_windows_and_not_through_a_longer_one() {
    let earlier = |e: &Event| match e {
        Event::Levels(l) => Some(Event::Levels(Levels { time_s: l.time_s - 20.0, ..*l })),
        _ => None,
    };
    let half_a_minute = Script::standing_in(wagon(), "rear-only", 50.0);
    let reminders: Vec<Event> = half_a_minute.events().iter().filter_map(earlier).collect();
    let ends = |length_s: f64| -> Vec<f64> {
        let timeline = with_gap(&wagon(), reminders.clone(), 0.0, length_s);
        let spans = timeline.lamps.iter().filter(|s| s.lamp == "lamp-all");
        spans.map(|s| s.end_s).collect()
    };
    assert_eq!((ends(0.5 * WINDOW_S), ends(2.0 * WINDOW_S)), (vec![30.0], vec![30.0]));
    assert_eq!(ends(2.0 * WINDOW_S + 0.001), [0.0, 30.0]);
}
