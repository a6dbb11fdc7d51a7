//! Request, switches and shafts held against each other, by the rig's faults.

use crate::judged_by;
use wheelwitness_analyze::result::{Conflict, Coupling, DriveResult, Sureness, Witness};
use wheelwitness_rig::scenario::{self, TRAIL_WAGON};
use wheelwitness_rig::{Fault, Script};

fn judged(seed: u64, faults: Vec<Fault>) -> DriveResult {
    judged_by(&scenario::demo(seed, faults).run(), TRAIL_WAGON, None)
}

fn between(r: &DriveResult, a: Witness, b: Witness) -> Vec<&Conflict> {
    r.witnesses.conflicts.iter().filter(|c| c.between == [a, b]).collect()
}

#[test]
fn a_sound_vehicle_has_witnesses_that_agree_and_all_speak() {
    for seed in [1, 2, 3] {
        let r = judged(seed, vec![]);
        assert_eq!(r.witnesses.conflicts, [], "{seed}");
        let sure = |c: Coupling| {
            let shows = |s: &&_| {
                let s: &wheelwitness_analyze::result::WitnessSpan = s;
                s.couplings == [c] && s.sureness == Sureness::Sure
            };
            r.witnesses.shafts.iter().any(|s| shows(&s))
        };
        assert!(sure(Coupling::Differential) && sure(Coupling::Locked), "{seed}");
        assert!(r.witnesses.requested.len() >= 4 && r.witnesses.switches.len() >= 4);
    }
}

#[test]
fn a_lock_that_pops_out_sets_the_shafts_against_request_and_switches() {
    let popped = Fault::LockPopsOut { from_s: 0.0, at_reversal: false };
    let r = judged(2, vec![popped]);
    let found = between(&r, Witness::Switches, Witness::Shafts);
    assert!(!found.is_empty(), "{:#?}", r.witnesses);
    assert!(found.iter().all(|c| c.says[0] == "locked"), "{found:?}");
    let locked = r.witnesses.switches.iter().find(|s| s.mode.as_deref() == Some("locked"));
    let locked = locked.expect("the switches show it");
    assert!(found.iter().all(|c| c.start_s >= locked.start_s && c.end_s <= locked.end_s));
    assert!(!between(&r, Witness::Requested, Witness::Shafts).is_empty());
}

#[test]
fn a_case_stuck_in_rear_only_is_contradicted_by_its_shafts() {
    let r = judged(3, vec![Fault::StuckRearOnly]);
    let found = between(&r, Witness::Switches, Witness::Shafts);
    assert!(found.iter().any(|c| c.says[0] == "full-time" || c.says[0] == "locked"), "{found:?}");
}

#[test]
fn a_mode_that_is_never_reached_sets_the_switches_against_the_request() {
    let r = judged(4, vec![Fault::StuckBetween { mode: "locked".into() }]);
    let found = between(&r, Witness::Requested, Witness::Switches);
    assert!(found.iter().any(|c| c.says == ["locked", "no row matches"]), "{found:?}");
    // While a change may be under way nobody is accused.
    let asked = r.selections.iter().find(|s| s.to == "locked").expect("requested").requested_s;
    assert!(found.iter().all(|c| c.start_s >= asked + 5.0), "{found:?}");
}

#[test]
fn outputs_that_roll_while_the_input_stands_may_be_in_neutral() {
    let mut plan = scenario::demo(5, vec![]);
    // An input that never turned before may be a dead sensor: it must have turned once.
    let text = "wait 3\nspeed 4\nstraight 15 at 4\nstop\nset gearbox-neutral on\nselect neutral\n\
                wait 8\nslope -0.06 0\ncoast 25\nslope 0 0\nstop\nwait 2";
    plan.script = Script::parse("neutral", text).expect("a script");
    let r = judged_by(&plan.run(), TRAIL_WAGON, None);
    let neutral = r.witnesses.shafts.iter().find(|s| s.couplings == [Coupling::Neutral]);
    assert_eq!(
        neutral.unwrap_or_else(|| panic!("{:#?} {:#?}", r.witnesses, r.selections)).sureness,
        Sureness::Partly
    );
    assert_eq!(r.witnesses.conflicts, []);
}
