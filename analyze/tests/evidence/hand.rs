//! What is turned by hand, engine off, decides four claims at standstill, and never wrongly.

use crate::judged_by;
use wheelwitness_analyze::result::{Claim, DriveResult, Verdict};
use wheelwitness_driveline::vehicle::Place;
use wheelwitness_rig::scenario::{self, TRAIL_WAGON, trail_wagon};
use wheelwitness_rig::{Fault, Plan, Run, random_drive};

/// The ready-made hand tests of the demo vehicle.
fn run(seed: u64, faults: Vec<Fault>) -> (Plan, Run) {
    let script = scenario::script("hand").expect("ready-made");
    let plan = Plan::new(trail_wagon(), script, seed, faults);
    let run = plan.run();
    (plan, run)
}

fn claim<'a>(r: &'a DriveResult, id: &str, scope: &str) -> &'a Claim {
    r.claims.iter().find(|c| c.id == id && c.scope == scope).expect("a claim for each mode")
}

/// Verdicts that are not the truth.
fn mistakes(plan: &Plan, run: &Run, r: &DriveResult) -> Vec<String> {
    let facts = run.truth.facts(&plan.declared);
    let ids = ["center-opens", "center-locks", "front-driven", "front-released"];
    let asked = r.claims.iter().filter(|c| ids.contains(&c.id.as_str()));
    let wrong = asked.filter(|c| {
        let of = || facts.iter().filter(|f| f.claim == c.id && f.scope == c.scope);
        let holds = of().all(|f| f.holds);
        of().next().is_some()
            && match c.verdict {
                Verdict::Proven => !holds,
                Verdict::Disproven => holds,
                Verdict::Undecided => false,
            }
    });
    wrong.map(|c| format!("{} ({}) {:?}: {}", c.id, c.scope, c.verdict, c.reason)).collect()
}

/// Judges by the honest sheet of the run; nothing may be wrong.
fn honest(seed: u64, faults: Vec<Fault>) -> DriveResult {
    let (plan, run) = run(seed, faults);
    let r = judged_by(&run, TRAIL_WAGON, Some(&run.truth.hand_sheet()));
    assert_eq!(mistakes(&plan, &run, &r), Vec::<String>::new(), "{seed}");
    r
}

fn says(r: &DriveResult, id: &str, scope: &str, verdict: Verdict) {
    let c = claim(r, id, scope);
    assert_eq!(c.verdict, verdict, "{id} ({scope}): {}\n{:#?}", c.reason, r.hand);
}

#[test]
fn a_sound_case_is_proven_at_standstill_by_hand() {
    for seed in 1..4 {
        let r = honest(seed, vec![]);
        says(&r, "center-opens", "full-time", Verdict::Proven);
        says(&r, "front-driven", "full-time", Verdict::Proven);
        says(&r, "front-driven", "locked", Verdict::Proven);
        says(&r, "center-locks", "locked", Verdict::Proven);
        says(&r, "front-released", "rear-only", Verdict::Proven);
        let trials = &r.hand.as_ref().expect("a sheet").trials;
        let mute = |t: &&_| {
            let t: &wheelwitness_analyze::result::HandTrial = t;
            t.silent.is_some() && !t.what.contains("flange, gearbox in neutral")
        };
        assert_eq!(trials.iter().find(mute), None, "{seed}");
        let agree = claim(&r, "sensors-agree", "rear axle");
        assert_ne!(agree.verdict, Verdict::Disproven, "bare flanges are no driving");
    }
}

#[test]
fn a_case_stuck_in_rear_only_is_found_by_hand() {
    let r = honest(4, vec![Fault::StuckRearOnly]);
    says(&r, "center-opens", "full-time", Verdict::Disproven);
    says(&r, "front-driven", "full-time", Verdict::Disproven);
    says(&r, "center-locks", "locked", Verdict::Disproven);
    says(&r, "front-released", "rear-only", Verdict::Proven);
}

#[test]
fn a_front_only_coupling_never_passes_for_an_open_center_or_a_lock() {
    let r = honest(5, vec![Fault::FrontOnlyCoupling]);
    says(&r, "center-opens", "full-time", Verdict::Disproven);
    says(&r, "center-locks", "locked", Verdict::Disproven);
    says(&r, "front-driven", "full-time", Verdict::Proven);
}

#[test]
fn half_a_lock_is_never_proven_by_a_hand() {
    for (drag, most_nm) in [(60.0, 1e4), (400.0, 1e4), (3000.0, 250.0)] {
        let r = honest(6, vec![Fault::HalfEngagedLock { drag, most_nm }]);
        assert_ne!(claim(&r, "center-locks", "locked").verdict, Verdict::Proven, "{drag}");
    }
}

#[test]
fn outputs_that_turn_opposite_ways_with_the_input_held_are_no_lock() {
    // The lock lets go as soon as it is in; the switches go on showing it.
    let popped = Fault::LockPopsOut { from_s: 0.0, at_reversal: false };
    let r = honest(7, vec![popped.clone()]);
    says(&r, "center-locks", "locked", Verdict::Disproven);
    // Without the sheet the counters, which know no directions, prove nothing either.
    let (plan, run) = run(7, vec![popped]);
    let r = judged_by(&run, TRAIL_WAGON, None);
    assert_eq!(mistakes(&plan, &run, &r), Vec::<String>::new());
    assert_ne!(claim(&r, "center-locks", "locked").verdict, Verdict::Proven);
}

#[test]
fn a_hand_alone_does_not_prove_a_lock_without_a_torque() {
    let (_, run) = run(1, vec![]);
    let sheet = run.truth.hand_sheet();
    let bare: Vec<&str> = sheet.lines().filter(|l| !l.starts_with("torque_nm")).collect();
    let r = judged_by(&run, TRAIL_WAGON, Some(&bare.join("\n")));
    let c = claim(&r, "center-locks", "locked");
    assert_eq!((c.verdict, c.reason_code.as_str()), (Verdict::Undecided, "by-hand-not-enough"));
    assert!(c.next_step.as_ref().is_some_and(|n| n.contains("300 N·m")), "{c:?}");
}

#[test]
fn a_sheet_that_names_the_wrong_mode_is_not_believed() {
    let (plan, run) = run(2, vec![]);
    let sheet = run.truth.hand_sheet();
    let swap = |a: &str, b: &str, t: &str| {
        t.replace(&format!("mode = \"{a}\""), &format!("mode = \"{b}\""))
    };
    let wrong = swap("x", "rear-only", &swap("rear-only", "locked", &swap("locked", "x", &sheet)));
    let r = judged_by(&run, TRAIL_WAGON, Some(&wrong));
    assert_eq!(mistakes(&plan, &run, &r), Vec::<String>::new());
    let trials = &r.hand.as_ref().expect("a sheet").trials;
    let silent = trials.iter().filter(|t| t.mode != "full-time").all(|t| t.silent.is_some());
    assert!(silent, "{trials:#?}");
}

#[test]
fn edges_that_no_tooth_makes_turn_nothing_by_hand() {
    // Nobody wrote down what was felt, so the counters alone say whether a part turned.
    for place in [Place::FrontLeft, Place::FrontShaft, Place::Input, Place::RearShaft] {
        for (seed, per_s) in [(3, 0.3), (4, 1.0), (5, 3.0)] {
            let (plan, run) = run(seed, vec![Fault::NoiseEdges { place, per_s }]);
            let sheet = run.truth.hand_sheet();
            let untold = |l: &&str| !l.starts_with("felt") && !l.starts_with("watched");
            let sheet: Vec<&str> = sheet.lines().filter(untold).collect();
            let r = judged_by(&run, TRAIL_WAGON, Some(&sheet.join("\n")));
            assert_eq!(mistakes(&plan, &run, &r), Vec::<String>::new(), "{place:?} {per_s}");
        }
    }
}

#[test]
fn random_vehicles_with_random_faults_are_never_judged_wrongly_by_hand() {
    let faults = [
        None,
        Some(Fault::StuckRearOnly),
        Some(Fault::FrontOnlyCoupling),
        Some(Fault::HalfEngagedLock { drag: 150.0, most_nm: 1e4 }),
    ];
    let mut decided = 0;
    for seed in 1..=16u64 {
        let random = random_drive(seed);
        let fault = faults[seed as usize % faults.len()].clone();
        let script = scenario::script("hand").expect("ready-made");
        let plan = Plan::new(random.plan.declared, script, seed, fault.into_iter().collect());
        let run = plan.run();
        let r = judged_by(&run, &random.vehicle_text, Some(&run.truth.hand_sheet()));
        assert_eq!(mistakes(&plan, &run, &r), Vec::<String>::new(), "seed {seed}");
        let by_hand = |c: &&Claim| c.reason.contains("by hand") && c.verdict != Verdict::Undecided;
        decided += r.claims.iter().filter(by_hand).count();
    }
    assert!(decided >= 16, "{decided}");
}
