//! Selections in full: outcomes, what the sleeve had of what it needs, and leads, by rig faults.

use crate::judged_by;
use wheelwitness_analyze::result::{DriveResult, Selection};
use wheelwitness_rig::scenario::{TRAIL_WAGON, trail_wagon};
use wheelwitness_rig::{Fault, Plan, Script};

/// A script of the demo vehicle, judged.
fn driven(text: &str, faults: Vec<Fault>) -> DriveResult {
    let script = Script::parse("selections", text).expect("a script");
    judged_by(&Plan::new(trail_wagon(), script, 11, faults).run(), TRAIL_WAGON, None)
}

fn to<'a>(r: &'a DriveResult, mode: &str) -> &'a Selection {
    r.selections.iter().find(|s| s.to == mode).expect("it was requested")
}

fn cause(s: &Selection) -> &str {
    s.lead.as_ref().map_or("none", |l| l.cause.as_str())
}

const TO_OPEN: &str = "wait 3\nspeed 4\nselect full-time\nawait 20 at 1\nspeed 6\n\
                       straight 20 at 6\ncoast 3\nspeed 8\nstraight 20 at 8\ncoast 2\n\
                       stop\nwait 8";
const TO_LOCK: &str = "wait 3\nspeed 4\nselect full-time\nawait 20 at 1\nground loose\n\
                       select locked\nawait 30 at 1\ncircle left lock turns 1 at 1.5\n\
                       circle right lock turns 1 at 1.5\nstop\nwait 4";

#[test]
fn a_selection_that_survives_a_reversal_is_confirmed_and_needs_no_lead() {
    let r = driven(TO_OPEN, vec![]);
    let s = to(&r, "full-time");
    assert_eq!((s.outcome.as_str(), cause(s)), ("confirmed", "none"));
    assert!(s.completion_s.is_some_and(|t| t > 0.3 && t < 20.0) && s.blocked_by.is_empty());
    assert_eq!(s.needs, "turns of front against rear");
    let pair = &r.pairs[0];
    assert_eq!(
        (pair.from.as_deref(), pair.to.as_str(), pair.n),
        (Some("rear-only"), "full-time", 1)
    );
    assert_eq!((pair.median_s, pair.percentile95_s), (pair.worst_s, None));
}

#[test]
fn a_sleeve_that_stands_waits_for_rotation_and_its_lamp_flashes_for_it() {
    let r = driven("wait 3\nselect full-time\nwait 12", vec![]);
    let s = to(&r, "full-time");
    assert_eq!((s.outcome.as_str(), cause(s)), ("waiting for rotation", "none"));
    assert_eq!(s.completion_s, None);
    assert!(s.blocked_by.contains(&"position-front".to_string()), "{s:?}");
    assert!(s.flashing.iter().any(|f| f.lamp == "lamp-lock"), "{s:?}");
}

#[test]
fn an_interlock_that_refuses_is_named_and_is_no_fault() {
    let r = driven("wait 3\nselect low-full-time\nwait 8", vec![]);
    let s = to(&r, "low-full-time");
    assert_eq!((s.outcome.as_str(), cause(s)), ("refused by interlock", "none"));
}

#[test]
fn a_request_that_never_arrives_is_told_from_a_motor_that_never_runs() {
    let r = driven(TO_OPEN, vec![Fault::RequestLost { number: 1 }]);
    let s = to(&r, "full-time");
    assert_eq!((s.outcome.as_str(), cause(s)), ("request lost", "the request never arrived"));
    let r = driven(TO_OPEN, vec![Fault::DeadMotor]);
    let s = to(&r, "full-time");
    assert_eq!((s.outcome.as_str(), cause(s)), ("slow", "the motor never ran"));
}

#[test]
fn a_limit_contact_a_position_switch_and_a_lamp_are_told_apart() {
    let wrong = |switch: &str| Fault::WrongRow { mode: "locked".into(), switch: switch.into() };
    for (switch, want) in [
        ("limit-b", "a limit contact"),
        ("position-lock", "a position switch"),
        ("lamp-lock", "a lamp or its wiring"),
    ] {
        let r = driven(TO_LOCK, vec![wrong(switch)]);
        let s = to(&r, "locked");
        assert_eq!(cause(s), want, "{switch}: {s:#?}");
        let open = to(&r, "full-time");
        assert_eq!(cause(open), "none", "{switch}: {open:#?}");
    }
}

#[test]
fn a_unit_that_loses_its_place_when_power_is_cut_is_told_from_one_that_goes_on() {
    let text = "wait 3\nselect full-time\nwait 0.4\nset ignition off\nwait 3\nset ignition on\n\
                wait 3\nspeed 2\nweave 12 at 1.5\nstop\nwait 4";
    let r = driven(text, vec![Fault::LosesPlace]);
    let s = to(&r, "full-time");
    assert_eq!((s.outcome.as_str(), cause(s)), ("power lost", "the unit lost its place"));
    let r = driven(text, vec![]);
    let s = to(&r, "full-time");
    assert_eq!((s.outcome.as_str(), cause(s)), ("power lost", "none"));
}
