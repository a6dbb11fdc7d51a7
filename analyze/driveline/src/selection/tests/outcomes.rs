//! Every outcome is reachable and told apart; times are exact.

use super::script::{Script, run, wagon};
use crate::selection::{Outcome, Selection, Stage, Timeliness};
use crate::switches::Event;
use proptest::prelude::*;

pub(super) fn only(script: &Script) -> Selection {
    let timeline = script.run();
    assert_eq!(timeline.selections.len(), 1, "{:#?}", timeline.selections);
    timeline.selections[0].clone()
}

pub(super) fn check(script: &Script, outcome: Outcome, detail: &str) -> Selection {
    let s = only(script);
    assert_eq!(s.outcome, outcome, "{s:#?}");
    let told = s.detail.clone().unwrap_or_default();
    assert!(told.contains(detail), "{told:?} should tell {detail:?}");
    s
}

pub(super) fn rear_only() -> Script {
    Script::standing_in(wagon(), "rear-only", 60.0)
}

#[test]
fn a_selection_that_goes_well_is_completed_with_all_its_stages() {
    let s = check(rear_only().select(10.0, "full-time"), Outcome::Completed, "");
    let ms = |t: f64| (t * 1000.0).round() as i64;
    let stages: Vec<_> = s.stages.iter().map(|t| (t.stage, ms(t.moment.first_s))).collect();
    assert_eq!(
        stages,
        [
            (Stage::MotorEnergised, 10_100),
            (Stage::LimitContactsChanged, 11_550),
            (Stage::MotorStopped, 11_600),
            (Stage::PositionSwitchesMatch, 11_800),
            (Stage::LampSteady, 11_900),
        ]
    );
    assert_eq!((s.from.unwrap().1.as_str(), s.to.1.as_str()), ("rear-only", "full-time"));
}

#[test]
fn one_drive_coast_reversal_confirms_it() {
    let mut script = rear_only();
    script.select(10.0, "full-time").go(5.0, 1.0, 0.0, 1).go(20.0, 1.0, 0.0, -1);
    check(&script, Outcome::Confirmed, "");
}

#[test]
fn a_lock_that_pops_out_at_the_reversal_is_not_confirmed() {
    let mut script = Script::standing_in(wagon(), "full-time", 60.0);
    script.select(10.0, "locked").go(5.0, 1.0, 0.0, 1).go(20.0, 1.0, 0.0, -1);
    script.set(20.5, "position-lock", false);
    check(&script, Outcome::Completed, "no longer matched from 20.50 s");
}

#[test]
fn a_slow_motor_is_slow() {
    let mut script = rear_only();
    script.ask(10.0, "full-time").motor(10.1, 16.0, "full-time").arrive(16.2, "full-time");
    assert_eq!(check(&script, Outcome::Slow, "").timeliness, Timeliness::Beyond);
}

#[test]
fn a_motor_that_never_stops_is_slow() {
    let mut script = rear_only();
    script.ask(10.0, "full-time").set(10.1, "motor-up", true);
    check(&script, Outcome::Slow, "still energised");
}

#[test]
fn a_sleeve_at_rest_waits_without_limit() {
    let mut script = Script::standing_in(wagon(), "full-time", 600.0);
    script.ask(10.0, "locked").motor(10.1, 11.6, "locked");
    check(&script, Outcome::WaitingForRotation, "`position-lock`");
}

#[test]
fn a_sleeve_that_has_had_its_turns_is_stuck_and_the_switch_is_named() {
    let mut script = Script::standing_in(wagon(), "full-time", 60.0);
    script.ask(10.0, "locked").motor(10.1, 11.6, "locked").go(20.0, 2.0, 0.2, 1);
    let s = check(&script, Outcome::StuckBetween, "`position-lock`");
    assert!(s.turns_since_motor_stop.unwrap() > 2.25, "{s:?}");
}

#[test]
fn rolling_straight_is_no_motion_for_a_lock() {
    let mut script = Script::standing_in(wagon(), "full-time", 60.0);
    script.ask(10.0, "locked").motor(10.1, 11.6, "locked").go(20.0, 5.0, 0.0, 1);
    check(&script, Outcome::WaitingForRotation, "");
}

#[test]
fn release_waits_for_torque_reversals_not_for_turns() {
    let mut script = Script::standing_in(wagon(), "locked", 60.0);
    script.ask(10.0, "full-time").motor(10.1, 11.6, "full-time").go(20.0, 2.0, 0.0, 1);
    check(&script, Outcome::WaitingForRotation, "`position-lock`");
    script.go(30.0, 2.0, 0.0, -1).go(40.0, 2.0, 0.0, 1);
    check(&script, Outcome::StuckBetween, "`position-lock`");
}

#[test]
fn arriving_at_another_row_with_the_motor_at_its_stop_is_a_wrong_row() {
    let mut script = rear_only();
    script.ask(10.0, "full-time").motor(10.1, 11.6, "locked").arrive(12.0, "locked");
    check(&script, Outcome::WrongRow, "`locked`");
}

#[test]
fn a_request_returned_early_is_reversed() {
    let mut script = rear_only();
    script.ask(10.0, "full-time").motor(10.1, 11.6, "full-time").ask(11.0, "rear-only");
    let timeline = script.run();
    assert_eq!(timeline.selections[0].outcome, Outcome::Reversed);
}

#[test]
fn two_quick_requests_are_replaced_and_completed() {
    let mut script = rear_only();
    script.ask(10.0, "full-time").select(10.8, "locked");
    let timeline = script.run();
    let outcomes: Vec<_> = timeline.selections.iter().map(|s| s.outcome).collect();
    assert_eq!(outcomes, [Outcome::Replaced, Outcome::Completed]);
    assert_eq!(timeline.selections[1].to.1, "locked");
}

#[test]
fn a_selector_passing_by_asks_for_nothing() {
    let mut script = rear_only();
    script.ask(9.9, "full-time").select(10.0, "locked");
    let s = check(&script, Outcome::Completed, "");
    assert_eq!((s.to.1.as_str(), s.request.first_s), ("locked", 10.0));
    let mut script = rear_only();
    script.ask(9.9, "full-time").ask(10.0, "rear-only");
    let timeline = script.run();
    assert_eq!((timeline.selections.len(), timeline.passed_by), (0, 1));
    assert_eq!(timeline.requests.len(), 1);
}

#[test]
fn an_interlock_refuses() {
    let mut script = Script::standing_in(wagon(), "locked", 60.0);
    script.ask(10.0, "low-locked");
    check(&script, Outcome::RefusedByInterlock, "`gearbox-neutral`");
    script.set(5.0, "gearbox-neutral", true).go(0.0, 10.0, 0.0, 1);
    check(&script, Outcome::RefusedByInterlock, "20 km/h is above 5 km/h");
}

#[test]
fn a_request_that_moves_nothing_is_lost() {
    check(rear_only().ask(10.0, "full-time"), Outcome::RequestLost, "");
}

#[test]
fn ignition_off_in_between_is_power_lost() {
    let mut script = rear_only();
    script.ask(10.0, "full-time").motor(10.1, 14.0, "full-time").set(12.0, "ignition", false);
    check(&script, Outcome::PowerLost, "");
}

#[test]
fn a_recording_that_ends_or_is_blind_in_between_has_not_seen_it() {
    let mut script = Script::standing_in(wagon(), "rear-only", 12.0);
    check(script.select(11.0, "full-time"), Outcome::NotSeen, "ended");
    let mut script = rear_only();
    script.gaps.push((10.05, 59.0, false));
    check(script.ask(10.0, "full-time"), Outcome::NotSeen, "lost");
}

#[test]
fn a_recording_that_begins_in_a_selection_tells_no_time() {
    let mut script = Script::standing_in(wagon(), "rear-only", 30.0);
    script.select(10.0, "full-time");
    let events: Vec<Event> = script.events().into_iter().filter(|e| e.time_s() > 10.5).collect();
    let timeline = run(&script.vehicle, &events, 30.0);
    assert!(timeline.selections.is_empty());
    assert_eq!(timeline.modes.last().unwrap().mode.as_deref(), Some("full-time"));
}

#[test]
fn a_board_reset_in_a_selection_widens_its_bounds_and_hides_nothing() {
    let mut script = rear_only();
    script.select(10.0, "full-time").gaps.push((11.0, 13.0, true));
    let s = check(&script, Outcome::Completed, "");
    let total = s.total.unwrap();
    assert!(total.low_s <= 1.8 && total.high_s >= 1.8 && total.high_s < 3.5, "{total:?}");
    assert_eq!(s.timeliness, Timeliness::Within);
}

#[test]
fn time_at_rest_does_not_count_against_the_limit() {
    let mut script = Script::standing_in(wagon(), "full-time", 60.0);
    script.ask(10.0, "locked").motor(10.1, 11.6, "locked").go(30.0, 1.0, 0.1, 1);
    script.arrive(31.0, "locked");
    let s = check(&script, Outcome::Completed, "at rest");
    assert!((s.rested_s - 18.4).abs() < 0.11, "{}", s.rested_s);
    assert_eq!(s.timeliness, Timeliness::Within);
    assert_eq!(s.completion().unwrap().value, 21.0);
}

#[test]
fn the_last_of_a_rest_counts_where_the_vehicle_may_have_moved_off_unseen() {
    let mut script = Script::standing_in(wagon(), "full-time", 60.0);
    script.ask(10.0, "locked").motor(10.1, 11.6, "locked").go(30.0, 1.0, 0.1, 1);
    script.arrive(31.0, "locked");
    let mut events = script.events();
    for event in &mut events {
        if let Event::Motion(m) = event {
            m.unseen_s = 1.5;
        }
    }
    let s = run(&script.vehicle, &events, 60.0).selections[0].clone();
    assert!((s.rested_s - 16.9).abs() < 0.11, "{}", s.rested_s);
}

#[test]
fn a_motor_that_runs_again_without_a_request_takes_nothing_from_the_selection_before() {
    let mut script = rear_only();
    script.select(10.0, "full-time");
    script.set(30.0, "motor-up", true).set(30.3, "position-front", false);
    let s = check(&script, Outcome::Completed, "no longer matched from 30.30 s");
    assert_eq!(s.timeliness, Timeliness::Within);
    assert!((s.completion().unwrap().value - 1.8).abs() < 1e-9);
}

#[test]
fn without_position_switches_nothing_is_completed() {
    let mut script = rear_only();
    script.vehicle.modes.iter_mut().for_each(|m| m.position_switches.clear());
    check(script.select(10.0, "full-time"), Outcome::NotSeen, "no position switches");
}

#[test]
fn without_a_motor_line_the_limit_contacts_tell() {
    let mut script = rear_only();
    script.vehicle.switches.retain(|s| !s.name.starts_with("motor"));
    script.select(10.0, "full-time");
    script.edges.retain(|(_, name, _)| !name.starts_with("motor"));
    let s = check(&script, Outcome::Completed, "");
    assert!((s.motor_part.unwrap().high_s - 1.55).abs() < 1e-9);
}

#[test]
fn a_mode_reached_before_its_request_is_there() {
    let mut script = rear_only();
    script.ask(10.0, "full-time").ask(10.5, "rear-only");
    let timeline = script.run();
    let back = &timeline.selections[1];
    assert!(back.was_there && back.total.is_none(), "{back:#?}");
}

#[test]
fn a_row_passed_on_the_way_back_is_not_the_arrival() {
    // The request goes back before the sleeve has left; the motor runs over and returns.
    let mut script = rear_only();
    script.ask(10.0, "full-time").set(10.1, "motor-up", true).ask(10.5, "rear-only");
    script.set(11.0, "position-front", true).set(12.0, "position-front", false);
    script.set(12.5, "motor-up", false);
    let timeline = script.run();
    let back = &timeline.selections[1];
    assert_eq!(back.outcome, Outcome::Completed);
    assert!((back.completion().unwrap().value - 1.5).abs() < 1e-9, "{back:#?}");
}

#[test]
fn memory_stays_bounded_however_often_the_selector_moves() {
    let mut script = Script::standing_in(wagon(), "rear-only", 9000.0);
    for n in 0..4000 {
        script.ask(10.0 + 2.0 * f64::from(n), ["full-time", "rear-only"][n as usize % 2]);
    }
    let timeline = script.run();
    assert_eq!(timeline.selections.len(), crate::selection::MAX_KEPT);
    assert!(timeline.not_kept >= 2000);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn latencies_are_exact_within_a_tick_whatever_bounces(
        start in 5.0..20.0f64, motor in 0.02..0.5f64, travel in 0.3..2.0f64, sleeve in 0.06..1.0f64,
        bounces in prop::collection::vec((0usize..5, 0.0002..0.0015f64), 5),
    ) {
        let mut script = rear_only();
        let (on, off) = (start + motor, start + motor + travel);
        let arrived = off + sleeve;
        script.ask(start, "full-time").motor(on, off, "full-time").arrive(arrived, "full-time");
        let lines = ["request-all", "motor-up", "limit-b", "position-front", "lamp-all"];
        let mut last = arrived;
        for (name, (times, step_s)) in lines.into_iter().zip(&bounces) {
            let Some(&(t, _, to)) = script.edges.iter().find(|e| e.1 == name) else { continue };
            for n in 1..=2 * times {
                script.set(t + step_s * n as f64, name, to ^ (n % 2 == 1));
            }
            if name == "position-front" {
                last = t + step_s * (2 * times) as f64;
            }
        }
        let s = only(&script);
        prop_assert!(s.outcome.is_reached());
        let at = |stage| s.stages.iter().find(|t| t.stage == stage).unwrap().moment;
        prop_assert!((at(Stage::MotorEnergised).first_s - on).abs() < 1e-6);
        prop_assert!((at(Stage::PositionSwitchesMatch).first_s - arrived).abs() < 1e-6);
        prop_assert!((s.completion().unwrap().value - (last - start)).abs() < 1e-6);
        prop_assert!(s.completion().unwrap().u() < 1e-3);
    }

    #[test]
    fn any_loss_keeps_the_true_time_within_the_bounds(
        cut in 9.0..13.0f64, length in 0.01..1.5f64, reset in any::<bool>(),
    ) {
        let mut script = rear_only();
        script.select(10.0, "full-time").gaps.push((cut, cut + length, reset));
        for s in &script.run().selections {
            if let Some(total) = &s.total {
                prop_assert!(total.low_s <= 1.8 + 1e-9 && total.high_s >= 1.8 - 1e-9, "{:?}", s);
            }
            prop_assert!(
                s.outcome.is_reached() || s.outcome == Outcome::NotSeen, "{:?}", s.outcome
            );
        }
    }
}
