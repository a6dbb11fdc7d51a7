//! The two claims never say what is not so; what they cannot know they leave undecided.

use super::script::{Script, seen, wagon};
use crate::selection::{CouplingSeen, Finding, Timeline, Word};
use crate::vehicle::{Coupling, Level, Vehicle};
use proptest::prelude::*;

/// What is wrong with the vehicle, one thing at a time.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Fault {
    None,
    /// A position switch that always reads this.
    Sticky(&'static str, bool),
    /// The table says the opposite of a switch in one row.
    WrongRow(&'static str, &'static str),
    /// The sleeve never goes into this mode.
    Hangs(&'static str),
    /// The motor takes this long.
    SlowMotor(f64),
    /// The lock comes out by itself some seconds after it went in.
    PopsOut(f64),
    /// The unit ignores every request.
    Deaf,
}

/// What is true of a drive: when each mode was really engaged, and each request's time.
#[derive(Debug, Default)]
struct Truth {
    /// Mode, from, to.
    engaged: Vec<(String, f64, f64)>,
    /// Mode requested, and whether it engaged within 5 s or was not requested for so long.
    requests: Vec<(String, bool)>,
}

const MODES: [&str; 3] = ["rear-only", "full-time", "locked"];

/// Drives through requests that stand for the given times, beginning in rear-only.
fn drive(requests: &[(usize, f64)], fault: Fault) -> (Script, Truth) {
    // The same mode twice in a row is one request that stands longer.
    let mut merged: Vec<(usize, f64)> = Vec::new();
    for (mode, stands_s) in requests {
        match merged.last_mut() {
            Some(last) if last.0 == *mode => last.1 += stands_s,
            _ => merged.push((*mode, *stands_s)),
        }
    }
    let requests = &merged;
    let mut script = Script::standing_in(wagon(), MODES[0], 0.0);
    let mut truth = Truth::default();
    let (mut t, mut real, mut since_s) = (20.0, MODES[0], 0.0);
    script.go(1.0, 2.0, 0.3, 1);
    let mut asked = MODES[0];
    for (k, stands_s) in requests {
        let mode = MODES[*k];
        if mode == asked {
            t += stands_s;
            continue;
        }
        asked = mode;
        let motor_s = if let Fault::SlowMotor(s) = fault { s } else { 1.5 };
        // The script's motor runs to its end before the next request.
        let stands_s = &stands_s.max(motor_s + 0.5);
        script.ask(t, mode);
        let deaf = fault == Fault::Deaf;
        let arrives_s = t + 0.1 + motor_s + 0.2;
        let engages = fault != Fault::Hangs(mode) && !deaf;
        if !deaf {
            script.motor(t + 0.1, t + 0.1 + motor_s, mode);
        }
        if engages && real != mode {
            script.arrive(arrives_s, mode);
            truth.engaged.push((real.into(), since_s, t + 0.1));
            (real, since_s) = (mode, arrives_s);
        }
        truth.requests.push((mode.into(), engages && arrives_s - t <= 5.0 || *stands_s < 5.0));
        if let Fault::PopsOut(after_s) = fault
            && mode == "locked"
            && arrives_s + after_s < t + stands_s
        {
            script.set(arrives_s + after_s, "position-lock", false);
            truth.engaged.push((real.into(), since_s, arrives_s + after_s));
            (real, since_s) = ("full-time", arrives_s + after_s);
        }
        t += stands_s;
    }
    script.end_s = t;
    truth.engaged.push((real.into(), since_s, t));
    spoil(&mut script, fault);
    (script, truth)
}

fn spoil(script: &mut Script, fault: Fault) {
    match fault {
        Fault::Sticky(switch, on) => {
            script.stick(switch);
            script.set(0.001, switch, on);
        }
        Fault::WrongRow(mode, switch) => {
            let row = script.vehicle.modes.iter_mut().find(|m| m.name == mode).unwrap();
            let level = row.position_switches.get_mut(switch).unwrap();
            *level = if *level == Level::On { Level::Off } else { Level::On };
        }
        _ => {}
    }
}

/// What the shafts would show of it: everything, well inside each engagement, request by request.
fn shafts(timeline: &Timeline, vehicle: &Vehicle, truth: &Truth) -> Vec<CouplingSeen> {
    let mut all = Vec::new();
    for request in &timeline.requests {
        for (mode, from_s, to_s) in &truth.engaged {
            let start_s = from_s.max(request.start_s) + 6.5;
            let end_s = to_s.min(request.end_s) - 1.0;
            if end_s > start_s {
                all.push(seen(start_s, end_s, vehicle.mode(mode).unwrap().coupling, "high"));
            }
        }
    }
    all
}

fn judged(script: &Script, truth: &Truth, heard: bool) -> Timeline {
    let mut timeline = script.run();
    if heard {
        timeline.hear(shafts(&timeline, &script.vehicle, truth));
    }
    timeline
}

fn words(findings: &[Finding]) -> Vec<(String, Word, &'static str)> {
    findings.iter().map(|f| (f.scope.clone(), f.word, f.code)).collect()
}

/// Whether a row's switches read otherwise at some time while its mode was really engaged.
fn row_is_wrong(mode: &str, fault: Fault) -> bool {
    let row = wagon().mode(mode).unwrap().clone();
    match fault {
        Fault::Sticky(switch, on) => row.position_switches[switch] != level(on),
        Fault::WrongRow(of, _) => of == mode,
        _ => false,
    }
}

fn level(on: bool) -> Level {
    if on { Level::On } else { Level::Off }
}

/// Every verdict against the truth.
fn nothing_wrong_is_said(timeline: &Timeline, truth: &Truth, fault: Fault) {
    for f in timeline.switch_table() {
        let was_engaged = truth.engaged.iter().any(|(m, a, b)| *m == f.scope && b - a > 1.0);
        let wrong = row_is_wrong(&f.scope, fault);
        assert!(f.word != Word::Proven || (was_engaged && !wrong), "{fault:?} {f:#?}");
        assert!(f.word != Word::Disproven || (was_engaged && wrong), "{fault:?} {f:#?}");
        assert_eq!(f.word == Word::Undecided, f.next_step.is_some(), "{f:#?}");
    }
    let by_mode = timeline.selection_completes_by_mode();
    for f in by_mode.iter().chain([&timeline.selection_completes()]) {
        let of = |r: &&(String, bool)| f.scope == "every request" || r.0 == f.scope;
        let late = truth.requests.iter().filter(of).filter(|r| !r.1).count();
        assert!(f.word != Word::Proven || late == 0, "{fault:?} {f:#?}");
        assert!(f.word != Word::Disproven || late > 0, "{fault:?} {f:#?}");
        assert_eq!(f.word == Word::Undecided, f.next_step.is_some(), "{f:#?}");
    }
}

/// Through all three modes and back.
const CARD: [(usize, f64); 4] = [(1, 40.0), (2, 40.0), (1, 40.0), (0, 40.0)];

#[test]
fn a_sound_vehicle_proves_every_mode_that_was_driven() {
    for heard in [false, true] {
        let (script, truth) = drive(&CARD, Fault::None);
        let timeline = judged(&script, &truth, heard);
        let table = words(&timeline.switch_table());
        for (mode, word, code) in &table[..3] {
            assert_eq!((*word, *code), (Word::Proven, "switches-read-the-row"), "{mode}");
        }
        for (_, word, code) in &table[3..] {
            assert_eq!((*word, *code), (Word::Undecided, "mode-not-requested"));
        }
        let all = timeline.selection_completes();
        assert_eq!((all.word, all.code), (Word::Proven, "inside-limit"), "{all:#?}");
        assert_eq!(all.limit, Some(("completion", 5.0, "s", "common practice")));
        assert!(all.reason.contains("4 selections"), "{}", all.reason);
        nothing_wrong_is_said(&timeline, &truth, Fault::None);
    }
}

#[test]
fn corrupting_one_row_changes_exactly_the_verdict_of_that_row() {
    let (script, truth) = drive(&CARD, Fault::None);
    let sound = words(&judged(&script, &truth, true).switch_table());
    for (k, mode) in MODES.into_iter().enumerate() {
        for switch in ["position-front", "position-lock", "position-range"] {
            let (script, truth) = drive(&CARD, Fault::WrongRow(mode, switch));
            let timeline = judged(&script, &truth, true);
            let mut table = timeline.switch_table();
            assert!(table[k].reason.contains(switch), "{:#?}", table[k]);
            assert_eq!(table[k].code, "switch-disagrees", "{mode} {switch}");
            assert_eq!(table.remove(k).word, Word::Disproven);
            let mut others = sound.clone();
            others.remove(k);
            assert_eq!(words(&table), others, "{mode} {switch}");
            let all = timeline.selection_completes();
            assert_eq!(all.word, Word::Proven, "{mode} {switch} {all:#?}");
        }
    }
}

#[test]
fn without_the_shafts_a_lying_switch_and_a_hanging_sleeve_look_alike() {
    let codes = |fault| {
        let (script, truth) = drive(&CARD, fault);
        let timeline = judged(&script, &truth, false);
        let row = timeline.switch_table().swap_remove(2);
        let done = timeline.selection_completes_by_mode().swap_remove(2);
        [(row.word, row.code), (done.word, done.code)]
    };
    let undecided = [(Word::Undecided, "stuck-or-switch"), (Word::Undecided, "stuck-or-switch")];
    assert_eq!(codes(Fault::Sticky("position-lock", false)), undecided);
    assert_eq!(codes(Fault::Hangs("locked")), undecided);
}

/// On its way from full-time to locked the sleeve lets the front go for a moment. Where that switch
/// sticks, a sleeve that hangs there reads as locked.
#[test]
fn a_row_that_matches_under_way_is_told_by_the_switch_that_transit_opens_or_by_the_shafts() {
    let judge = |sticks: bool, motor_off_s: f64, shown: Option<Coupling>| {
        let mut script = Script::standing_in(wagon(), "full-time", 90.0);
        script.ask(10.0, "locked").motor(10.1, motor_off_s, "locked").go(12.0, 2.0, 0.0, 1);
        script.set(10.5, "position-front", false).set(10.5, "position-lock", true);
        script.set(10.9, "position-front", true);
        if sticks {
            script.stick("position-front");
        }
        let mut timeline = script.run();
        let seen = |coupling| seen(30.0, 80.0, coupling, "high");
        timeline.hear(shown.map(seen).into_iter().collect());
        let done = timeline.selection_completes_by_mode().swap_remove(2);
        (done.word, done.code, done.reason)
    };
    let (word, code, reason) = judge(true, 10.95, None);
    assert_eq!((word, code), (Word::Undecided, "may-hang-in-transit"));
    assert!(reason.contains("`position-front` did not change"), "{reason}");
    assert_eq!(judge(false, 10.95, None).0, Word::Proven, "it was seen to open and close");
    assert_eq!(judge(true, 10.45, None).0, Word::Proven, "no motor moves the sleeve any more");
    assert_eq!(judge(true, 10.95, Some(Coupling::Locked)).0, Word::Proven);
    let denied = judge(true, 10.95, Some(Coupling::Differential));
    assert_eq!(denied.1, "shafts-contradict-switches");
}

#[test]
fn a_switch_that_opens_only_after_the_match_does_not_tell_a_row_from_transit() {
    let mut script = Script::standing_in(wagon(), "full-time", 90.0);
    script.ask(10.0, "locked").motor(10.1, 10.95, "locked").go(12.0, 2.0, 0.0, 1);
    script.set(10.5, "position-lock", true);
    script.set(30.0, "position-front", false).set(30.005, "position-front", true);
    let done = script.run().selection_completes_by_mode().swap_remove(2);
    assert_eq!((done.word, done.code), (Word::Undecided, "may-hang-in-transit"));
}

/// A switch that reads the row before wrongly may read transit wrongly too, and so look as if the
/// sleeve had arrived.
#[test]
fn a_switch_that_read_wrongly_before_does_not_tell_a_row_from_transit() {
    let judge = |reads_full_time: bool| {
        let mut script = Script::standing_in(wagon(), "full-time", 90.0);
        script.set(1.0, "position-front", reads_full_time).go(12.0, 2.0, 0.0, 1);
        script.ask(10.0, "locked").motor(10.1, 10.95, "locked");
        script.set(10.5, "position-front", !reads_full_time).set(10.5, "position-lock", true);
        script.set(10.9, "position-front", true);
        let done = script.run().selection_completes_by_mode().swap_remove(2);
        (done.word, done.code)
    };
    assert_eq!(judge(false), (Word::Undecided, "may-hang-in-transit"));
    assert_eq!(judge(true).0, Word::Proven);
}

#[test]
fn with_the_shafts_they_are_told_apart() {
    let codes = |fault| {
        let (script, truth) = drive(&CARD, fault);
        let timeline = judged(&script, &truth, true);
        let row = timeline.switch_table().swap_remove(2);
        let done = timeline.selection_completes_by_mode().swap_remove(2);
        [(row.word, row.code), (done.word, done.code)]
    };
    assert_eq!(
        codes(Fault::Sticky("position-lock", false)),
        [(Word::Disproven, "switch-disagrees"), (Word::Proven, "inside-limit-by-other-witnesses"),]
    );
    assert_eq!(
        codes(Fault::Hangs("locked")),
        [(Word::Undecided, "mode-not-engaged"), (Word::Disproven, "mode-not-engaged"),]
    );
}

#[test]
fn a_sleeve_without_motion_leaves_its_row_undecided_with_what_to_drive() {
    let (mut script, truth) = drive(&CARD[..2], Fault::Hangs("locked"));
    script.going.clear();
    let timeline = judged(&script, &truth, false);
    let row = &timeline.switch_table()[2];
    assert_eq!((row.word, row.code), (Word::Undecided, "may-wait-for-rotation"));
    assert!(row.next_step.as_ref().unwrap().contains("roll to and fro"), "{row:#?}");
    let done = &timeline.selection_completes_by_mode()[2];
    assert_eq!((done.word, done.code), (Word::Undecided, "waiting-for-rotation"));
}

#[test]
fn a_slow_motor_and_a_deaf_unit_disprove_the_selection_and_no_switch() {
    for (fault, code) in [(Fault::SlowMotor(6.0), "beyond-limit"), (Fault::Deaf, "nothing-moved")] {
        let (script, truth) = drive(&CARD, fault);
        let timeline = judged(&script, &truth, true);
        let all = timeline.selection_completes();
        assert_eq!((all.word, all.code), (Word::Disproven, code), "{all:#?}");
        nothing_wrong_is_said(&timeline, &truth, fault);
    }
}

#[test]
fn shafts_that_contradict_matching_switches_veto_every_proof() {
    let (script, truth) = drive(&CARD, Fault::None);
    let mut timeline = script.run();
    let mut lies = shafts(&timeline, &script.vehicle, &truth);
    for s in &mut lies {
        s.possible = vec![Coupling::RearOnly];
    }
    timeline.hear(lies);
    let table = words(&timeline.switch_table());
    assert_eq!(table[0].1, Word::Proven);
    for row in [&table[1], &table[2]] {
        assert_eq!((row.1, row.2), (Word::Undecided, "shafts-contradict-switches"));
    }
    assert_eq!(timeline.selection_completes().code, "shafts-contradict-switches");
}

#[test]
fn a_coupling_seen_in_an_unknown_range_does_not_confirm_a_range_change() {
    let mut script = Script::standing_in(wagon(), "locked", 90.0);
    script.set(1.0, "gearbox-neutral", true).ask(10.0, "low-locked");
    script.motor(10.1, 11.6, "low-locked").go(12.0, 2.0, 0.0, 1);
    let judge = |range: Option<&str>| {
        let mut timeline = script.run();
        let range = range.map(str::to_string);
        let possible = vec![Coupling::Locked];
        timeline.hear(vec![CouplingSeen {
            start_s: 30.0,
            end_s: 80.0,
            possible,
            range,
            records: (0, 0),
        }]);
        let row = timeline.switch_table().swap_remove(3);
        (row.word, row.code)
    };
    assert_eq!(judge(None).0, Word::Undecided);
    assert_eq!(judge(Some("high")), (Word::Undecided, "mode-not-engaged"));
    assert_eq!(judge(Some("low")), (Word::Disproven, "switch-disagrees"));
}

#[test]
fn times_of_mode_pairs_are_listed() {
    let (script, truth) = drive(&CARD, Fault::None);
    let pairs = judged(&script, &truth, false).pair_times();
    assert_eq!(pairs.len(), 4);
    for p in &pairs {
        assert_eq!(p.n, 1);
        assert!((p.worst_s - 1.8).abs() < 1e-9 && p.median_s == p.worst_s, "{p:?}");
    }
}

#[test]
fn agreed_spans_leave_out_what_a_lying_switch_shows() {
    // With the front switch stuck off, full-time reads as rear-only: that engages nothing.
    let (script, truth) = drive(&CARD[..1], Fault::Sticky("position-front", false));
    let timeline = judged(&script, &truth, false);
    let spans = timeline.agreed_spans();
    assert!(spans.iter().all(|s| s.mode.as_deref() == Some("rear-only")), "{spans:#?}");
    assert!(spans.iter().all(|s| s.end_s <= 20.0 + 1e-9), "{spans:#?}");
}

#[test]
fn an_empty_drive_is_undecided_everywhere() {
    let timeline = crate::selection::Selections::new(&wagon()).finish(0.0);
    assert!(timeline.switch_table().iter().all(|f| f.word == Word::Undecided));
    let all = timeline.selection_completes();
    assert_eq!((all.word, all.code), (Word::Undecided, "nothing-requested"));
}

/// The request, its motor and the row's switches all change within one reminder's time of a lost
/// stretch, so that all is over when the request is read; the lock's stuck switch keeps the row
/// from matching. "Nothing moved" was said of it once.
#[test]
fn what_moved_before_a_missed_request_was_read_is_not_called_unmoved() {
    let stuck = Fault::Sticky("position-lock", true);
    let (mut script, truth) = drive(&[(1, 29.1), (0, 22.67)], stuck);
    script.gaps.push((48.434, 50.514, false));
    let timeline = judged(&script, &truth, false);
    nothing_wrong_is_said(&timeline, &truth, stuck);
    let back = timeline.selection_completes_by_mode();
    let back = back.iter().find(|f| f.scope == "rear-only").expect("it was requested");
    assert_eq!((back.word, back.code), (Word::Undecided, "not-seen-to-the-end"));
}

fn faults() -> impl Strategy<Value = Fault> {
    let switch = prop::sample::select(vec!["position-front", "position-lock", "position-range"]);
    prop_oneof![
        Just(Fault::None),
        Just(Fault::Deaf),
        (switch.clone(), any::<bool>()).prop_map(|(s, on)| Fault::Sticky(s, on)),
        (prop::sample::select(MODES.to_vec()), switch).prop_map(|(m, s)| Fault::WrongRow(m, s)),
        prop::sample::select(MODES.to_vec()).prop_map(Fault::Hangs),
        (1.0..8.0f64).prop_map(Fault::SlowMotor),
        (0.3..20.0f64).prop_map(Fault::PopsOut),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn no_fault_and_no_loss_makes_a_verdict_wrong(
        requests in prop::collection::vec((0usize..3, 0.5..40.0f64), 1..6),
        fault in faults(),
        gap in prop::option::of((0.0..1.0f64, 0.001..5.0f64, any::<bool>())),
        rests in any::<bool>(),
        heard in any::<bool>(),
    ) {
        let (mut script, truth) = drive(&requests, fault);
        if rests {
            script.going.clear();
        }
        if let Some((share, length_s, reset)) = gap {
            let from_s = 1.0 + share * (script.end_s - 7.0);
            script.gaps.push((from_s, from_s + length_s, reset));
        }
        nothing_wrong_is_said(&judged(&script, &truth, heard), &truth, fault);
    }

    #[test]
    fn one_lost_sentence_never_makes_a_verdict_wrong(
        fault in faults(), which in any::<prop::sample::Index>(), told in any::<bool>(),
    ) {
        let (script, truth) = drive(&CARD, fault);
        let mut events = script.events();
        let wire: Vec<usize> = (1..events.len() - 1)
            .filter(|n| matches!(events[*n], crate::switches::Event::Change(_)))
            .collect();
        let lost = wire[which.index(wire.len())];
        let (from_s, to_s) = (events[lost - 1].time_s(), events[lost + 1].time_s());
        events.remove(lost);
        if told {
            let gap = crate::switches::Gap { from_s, to_s, record: 0 };
            events.insert(lost, crate::switches::Event::Lost(gap));
        }
        let mut timeline = super::script::run(&script.vehicle, &events, script.end_s);
        timeline.hear(shafts(&timeline, &script.vehicle, &truth));
        nothing_wrong_is_said(&timeline, &truth, fault);
    }
}

/// Drives to `locked` and stays there, with one limit contact that reads the opposite of its row
/// for some seconds from when the row is engaged.
fn locked_with_contact_off_for(seconds: f64) -> Finding {
    let mut script = Script::standing_in(wagon(), "full-time", 40.0);
    script.go(1.0, 2.0, 0.3, 1).select(5.0, "locked");
    if seconds > 0.0 {
        script.set(6.9, "limit-b", false).set(6.9 + seconds, "limit-b", true);
    }
    let found = script.run().switch_table();
    found.into_iter().find(|f| f.scope == "locked").unwrap()
}

#[test]
fn a_limit_contact_that_reads_otherwise_than_its_row_disproves_the_row() {
    assert_eq!(locked_with_contact_off_for(0.0).word, Word::Proven);
    assert_eq!(
        locked_with_contact_off_for(0.1).word,
        Word::Proven,
        "a drop is the contact's affair"
    );
    let found = locked_with_contact_off_for(60.0);
    assert_eq!((found.word, found.code), (Word::Disproven, "limit-contacts-disagree"));
    assert!(found.reason.contains("`limit-b` for 33."), "{}", found.reason);
}
