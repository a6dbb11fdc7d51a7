//! What the claims say of single cases, beside the sweeps in [`super::verdicts`].

use super::outcomes::rear_only;
use super::script::{Script, seen, wagon};
use crate::selection::{CouplingSeen, Finding, LampSpan, Timeline, Word};
use crate::switches::LampState;
use crate::vehicle::Coupling;

/// The finding of a claim about a mode or a kind of contacts.
fn about(found: Vec<Finding>, scope: &str) -> Finding {
    found.into_iter().find(|f| f.scope == scope).expect("a finding of that scope")
}

/// Word and code of a selection of a mode that was selected once.
fn completes(timeline: &Timeline, mode: &str) -> (Word, &'static str) {
    let found = about(timeline.selection_completes_by_mode(), mode);
    (found.word, found.code)
}

#[test]
fn what_the_shafts_showed_before_the_row_matched_contradicts_no_switch() {
    let mut timeline = rear_only().select(10.0, "full-time").run();
    for (from_s, to_s) in [(8.3, 9.9), (10.1, 11.7)] {
        timeline.hear(vec![seen(from_s, to_s, Coupling::RearOnly, "high")]);
        assert_eq!(completes(&timeline, "full-time"), (Word::Proven, "inside-limit"));
    }
    timeline.hear(vec![seen(12.0, 13.0, Coupling::RearOnly, "high")]);
    let denied = (Word::Undecided, "shafts-contradict-switches");
    assert_eq!(completes(&timeline, "full-time"), denied);
}

#[test]
fn a_row_that_matched_for_a_moment_only_is_to_be_selected_again() {
    let mut script = rear_only();
    script.ask(10.0, "full-time").motor(10.1, 11.6, "full-time").arrive(12.0, "full-time");
    let timeline = script.set(12.3, "position-front", false).run();
    assert_eq!(completes(&timeline, "full-time"), (Word::Undecided, "row-left-again"));
}

/// The lock hangs on its way in or its switch lies.
#[test]
fn only_what_the_shafts_show_after_the_motor_stopped_disproves_a_sleeve_that_hangs() {
    let mut script = Script::standing_in(wagon(), "full-time", 60.0);
    script.ask(10.0, "locked").motor(10.1, 11.6, "locked").go(20.0, 2.0, 0.2, 1);
    let mut timeline = script.run();
    for (from_s, to_s) in [(2.0, 9.0), (10.2, 11.5)] {
        timeline.hear(vec![seen(from_s, to_s, Coupling::Differential, "high")]);
        assert_eq!(completes(&timeline, "locked"), (Word::Undecided, "stuck-or-switch"));
    }
    timeline.hear(vec![seen(20.0, 50.0, Coupling::Differential, "high")]);
    assert_eq!(completes(&timeline, "locked"), (Word::Disproven, "mode-not-engaged"));
}

/// The last selection of a mode alone.
fn last(script: &Script, mode: &str) -> (Word, &'static str) {
    let found = about(script.run().selection_completes_by_mode(), mode);
    let period = found.periods.last().expect("it was selected");
    (period.word, period.code)
}

const MAY_BE_THERE: (Word, &str) = (Word::Undecided, "may-be-there");
const NOTHING_MOVED: (Word, &str) = (Word::Disproven, "nothing-moved");

#[test]
fn a_lost_request_for_the_mode_that_the_unit_last_moved_to_may_have_been_there() {
    let mut again = Script::standing_in(wagon(), "full-time", 60.0);
    again.ask(10.0, "locked").motor(10.1, 11.6, "locked");
    // Out of the mode, to a place of the selector that asks for none, and back.
    again.set(30.0, "request-all", false).set(31.0, "request-all", true);
    assert_eq!(last(&again, "locked"), MAY_BE_THERE);
    let mut other = Script::standing_in(wagon(), "full-time", 60.0);
    other.select(10.0, "rear-only").ask(30.0, "locked");
    assert_eq!(last(&other, "locked"), NOTHING_MOVED);
}

/// The switches read full-time all the time: asked for, it was there already, and nothing moved.
#[test]
fn a_request_on_which_nothing_moved_says_nothing_of_where_the_unit_stands() {
    let mut script = Script::standing_in(wagon(), "full-time", 90.0);
    script.stick("position-lock").ask(10.0, "locked").motor(10.1, 11.6, "locked");
    script.ask(30.0, "full-time").ask(50.0, "locked");
    assert_eq!(last(&script, "locked"), MAY_BE_THERE);
}

#[test]
fn a_first_request_that_is_lost_may_have_been_there_only_where_no_row_was_read() {
    let mut script = Script::standing_in(wagon(), "full-time", 60.0);
    assert_eq!(last(script.ask(10.0, "locked"), "locked"), NOTHING_MOVED);
    script.set(5.0, "position-front", false).set(5.0, "position-range", true);
    script.set(5.0, "position-lock", true);
    assert_eq!(last(&script, "locked"), MAY_BE_THERE);
}

/// A contact that a requested row closes, but never for long enough to be watched.
#[test]
fn one_flicker_of_a_contact_that_was_closed_too_shortly_to_be_watched_is_not_passed_over() {
    let judge = |flickers: bool| {
        let mut script = Script::standing_in(wagon(), "full-time", 100.0);
        script.select(60.0, "locked");
        if flickers {
            script.set(62.5, "position-lock", false).set(62.505, "position-lock", true);
        }
        script.select(63.0, "full-time");
        about(script.run().contacts_clean(), "position switches")
    };
    assert_eq!(judge(false).word, Word::Proven, "{:?}", judge(false));
    let found = judge(true);
    assert_eq!((found.word, found.code), (Word::Undecided, "flickers-unplaced"), "{found:?}");
    assert!(found.reason.starts_with("`position-lock` flickered"), "{}", found.reason);
}

/// Lamps have 2 s to follow; then they are read for 1.5 s at least.
#[test]
fn lamps_are_judged_only_where_they_were_read_for_long_enough() {
    for (ends_s, is_judged) in [(14.8, false), (15.2, false), (15.4, true)] {
        let mut script = rear_only();
        let timeline = script.select(10.0, "full-time").ask(ends_s, "rear-only").run();
        let found = about(timeline.lamps_truthful(), "full-time");
        assert_eq!(found.code != "not-held-long-enough", is_judged, "{ends_s} {found:?}");
    }
}

#[test]
fn a_lamp_is_not_called_wrong_by_contacts_that_never_moved_for_the_mode() {
    let timeline = rear_only().set(0.005, "lamp-all", true).run();
    let found = about(timeline.lamps_truthful(), "rear-only");
    assert_eq!((found.word, found.code), (Word::Undecided, "engagement-not-certain"));
    let told = "instead of dark, but the position switches alone show the mode";
    assert!(found.reason.ends_with(told), "{}", found.reason);
}

#[test]
fn a_lamp_is_called_wrong_by_contacts_that_moved_unless_the_shafts_contradict_them() {
    let mut script = rear_only();
    let mut timeline = script.select(10.0, "full-time").stick("lamp-all").run();
    let judged = |timeline: &Timeline| {
        let found = about(timeline.lamps_truthful(), "full-time");
        (found.word, found.code)
    };
    assert_eq!(judged(&timeline), (Word::Disproven, "lamp-disagrees"));
    timeline.hear(vec![seen(20.0, 50.0, Coupling::RearOnly, "high")]);
    assert_eq!(judged(&timeline), (Word::Undecided, "mode-not-engaged"));
}

#[test]
fn without_position_switches_every_claim_of_a_mode_says_what_to_wire() {
    let mut script = rear_only();
    script.vehicle.modes.iter_mut().for_each(|m| m.position_switches.clear());
    let timeline = script.select(10.0, "full-time").run();
    for found in [timeline.switch_table(), timeline.lamps_truthful()] {
        let f = about(found, "full-time");
        assert_eq!((f.word, f.code), (Word::Undecided, "no-position-switches"));
        let reason = "no position switches are declared for `full-time`, or one of them is no \
                      switch";
        assert_eq!(f.reason, reason);
        let step = "wire the position switches and declare them in the row of `full-time`";
        assert_eq!(f.next_step.as_deref(), Some(step));
    }
    assert_eq!(completes(&timeline, "full-time").1, "no-position-switches");
}

/// The motor and the shafts aside, it is lamps that say who lies.
#[test]
fn a_limit_contact_against_the_position_switches_alone_disproves_nothing() {
    let mut script = Script::standing_in(wagon(), "full-time", 40.0);
    script.vehicle.modes.iter_mut().for_each(|m| m.lamps.clear());
    script.select(5.0, "locked").set(6.9, "limit-b", false);
    let found = about(script.run().switch_table(), "locked");
    assert_eq!((found.word, found.code), (Word::Undecided, "limit-contacts-disagree"));
}

/// It is dimmed, and edges of the dimming are lost for a while; the other lamp is as declared.
#[test]
fn a_lamp_that_flashes_for_less_long_than_it_is_lit_may_be_dimmed() {
    let mut script = rear_only();
    script.select(10.0, "full-time");
    for n in 0..20 {
        script.set(20.0 + 0.25 * f64::from(n), "lamp-all", n % 2 == 1);
    }
    let found = about(script.run().lamps_truthful(), "full-time");
    assert_eq!((found.word, found.code), (Word::Undecided, "lamp-flickers"));
}

/// The limit is 5 s from the request at 10 s.
#[test]
fn a_time_at_the_limit_is_too_close_and_one_with_a_motor_that_ran_on_is_open() {
    let judged = |matches_s: f64, stops_s: f64| {
        let mut script = rear_only();
        script.go(1.0, 2.0, 0.3, 1).ask(10.0, "full-time");
        script.motor(10.1, stops_s, "full-time").arrive(matches_s, "full-time");
        completes(&script.run(), "full-time")
    };
    assert_eq!(judged(14.9, 14.0), (Word::Proven, "inside-limit"));
    assert_eq!(judged(15.0, 14.0), (Word::Undecided, "too-close-to-limit"));
    assert_eq!(judged(15.1, 14.0), (Word::Undecided, "waited-for-motion"));
    assert_eq!(judged(12.0, 14.0), (Word::Undecided, "motor-ran-on"));
}

#[test]
fn the_range_need_not_be_seen_where_a_selection_does_not_change_it() {
    let mut script = Script::standing_in(wagon(), "full-time", 90.0);
    let mut timeline = script.ask(10.0, "locked").motor(10.1, 11.6, "locked").run();
    timeline.hear(vec![CouplingSeen { range: None, ..seen(30.0, 80.0, Coupling::Locked, "") }]);
    let found = about(timeline.switch_table(), "locked");
    assert_eq!((found.word, found.code), (Word::Disproven, "switch-disagrees"));
}

#[test]
fn only_a_lamp_that_flashed_between_request_and_end_flashed_in_the_selection() {
    let mut script = rear_only();
    let mut timeline = script.ask(10.0, "full-time").ask(20.0, "rear-only").run();
    let flash = |start_s: f64, end_s: f64, state: LampState| LampSpan {
        lamp: "lamp-all".into(),
        start_s,
        end_s,
        state,
    };
    let flashing = LampState::Flashing { cycles: 3, seconds: 1.5 };
    for (start_s, end_s, state, counts) in [
        (8.0, 10.0, flashing, false),
        (8.0, 10.5, flashing, true),
        (12.0, 14.0, flashing, true),
        (12.0, 14.0, LampState::Steady, false),
        (19.5, 22.0, flashing, true),
        (20.0, 22.0, flashing, false),
    ] {
        timeline.lamps = vec![flash(start_s, end_s, state)];
        let selection = &timeline.selections[0];
        let many = timeline.flashing(selection).count();
        assert_eq!(many, usize::from(counts), "{start_s} to {end_s}");
    }
}
