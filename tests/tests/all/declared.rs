//! One drive of a sound vehicle, judged by vehicle files that declare it wrongly: the claim about
//! what is wrong says so, and the claims about what is right never say the contrary.

use crate::claims::{claim, says};
use std::sync::OnceLock;
use wheelwitness_analyze::judge::judge;
use wheelwitness_analyze::result::{DriveResult, Verdict};
use wheelwitness_rig::scenario::{TRAIL_WAGON, trail_wagon};
use wheelwitness_rig::{Fault, Plan, Run, Script};
use wheelwitness_tests::campaign::capture_of;

const DRIVE: &str = "speed 5\nstraight 60 at 5\ncircle left lock turns 1 at 1.5\n\
    stop\nselect full-time\nawait 15 at 1\ncircle left lock turns 2 at 1.5\n\
    circle right lock turns 2 at 1.5\nspeed 6\nstraight 80 at 6\nstop\n\
    set gearbox-neutral on\nselect low-full-time\nwait 4.5\nset gearbox-neutral off\n\
    await 15 at 1\nspeed 4\nstraight 80 at 4\ncircle left lock turns 1 at 1\nstop\nwait 1";

fn run(faults: Vec<Fault>) -> Run {
    let script = Script::parse("declared", DRIVE).expect("the script is sound");
    Plan::new(trail_wagon(), script, 11, faults).run()
}

fn judged(run: &Run, vehicle_text: &str) -> DriveResult {
    let mut reader = capture_of(run, TRAIL_WAGON);
    let file = Some((vehicle_text, "declared.toml"));
    judge(&mut reader, file).expect("a simulated drive can be judged").0
}

/// The sound vehicle's drive, by its file with one thing replaced.
fn declaring(right: &str, wrong: &str) -> DriveResult {
    static SOUND: OnceLock<Run> = OnceLock::new();
    assert!(TRAIL_WAGON.contains(right), "{right} stands in the file");
    let text = TRAIL_WAGON.replace(right, wrong);
    judged(SOUND.get_or_init(|| run(Vec::new())), &text)
}

#[test]
fn what_is_declared_rightly_is_proven() {
    let r = declaring("low = 2.5", "low = 2.5");
    says(&r, "range-ratio", "high", Verdict::Proven, "declared 1");
    says(&r, "range-ratio", "low", Verdict::Proven, "declared 2.5");
    says(&r, "torque-share", "full-time", Verdict::Proven, "36 teeth of the sun");
    says(&r, "rear-driven", "full-time", Verdict::Proven, "");
    says(&r, "rear-driven", "rear-only", Verdict::Proven, "declared 1.000");
    says(&r, "front-released", "rear-only", Verdict::Proven, "with the rear alone");
    says(&r, "axle-ratios-match", "front axle", Verdict::Proven, "declared 4.1000");
    says(&r, "axle-ratios-match", "rear axle", Verdict::Proven, "declared 4.1000");
}

#[test]
fn a_wrong_range_ratio_is_named_and_says_nothing_against_the_center_differential() {
    let r = declaring("low = 2.5", "low = 2.7");
    says(&r, "range-ratio", "low", Verdict::Disproven, "measured 2.5");
    says(&r, "range-ratio", "high", Verdict::Proven, "");
    says(&r, "torque-share", "full-time", Verdict::Proven, "");
    for id in ["torque-share", "front-driven", "rear-driven", "center-opens"] {
        assert_ne!(claim(&r, id, "low-full-time").verdict, Verdict::Disproven, "{id}");
    }
}

#[test]
fn a_front_that_is_driven_is_not_called_released() {
    let row =
        |coupling| format!("name = \"full-time\"\nrange = \"high\"\ncoupling = \"{coupling}\"");
    let r = declaring(&row("differential"), &row("rear-only"));
    says(&r, "front-released", "full-time", Verdict::Disproven, "the front is driven, too");
    says(&r, "front-released", "rear-only", Verdict::Proven, "");
}

#[test]
fn a_range_that_was_never_engaged_reads_as_the_other_one() {
    let r = declaring("low = 2.5", "low = 2.5\ncrawl = 1.0");
    assert!(r.claims.iter().all(|c| c.scope != "crawl"), "no mode uses it");
    let r = declaring("high = 1.0\nlow = 2.5", "high = 2.5\nlow = 1.0");
    says(&r, "range-ratio", "high", Verdict::Disproven, "the ratio of the range `low`");
}

#[test]
fn sun_and_ring_swapped_change_the_share_and_not_who_is_driven() {
    let r = declaring("front_output = \"sun\"", "front_output = \"ring\"");
    says(&r, "torque-share", "full-time", Verdict::Disproven, "each other's output");
    assert_ne!(claim(&r, "front-driven", "full-time").verdict, Verdict::Disproven);
    assert_ne!(claim(&r, "rear-driven", "full-time").verdict, Verdict::Disproven);
    assert_ne!(claim(&r, "center-opens", "full-time").verdict, Verdict::Disproven);
}

#[test]
fn a_case_stuck_in_rear_only_divides_nothing_and_drives_the_rear() {
    let r = judged(&run(vec![Fault::StuckRearOnly]), TRAIL_WAGON);
    for claim in r.claims.iter().filter(|c| c.id == "torque-share" || c.id == "front-driven") {
        assert_ne!(claim.verdict, Verdict::Proven, "{}: {}", claim.id, claim.reason);
    }
    for claim in r.claims.iter().filter(|c| c.id == "rear-driven") {
        assert_ne!(claim.verdict, Verdict::Disproven, "{}", claim.reason);
    }
    says(&r, "range-ratio", "high", Verdict::Proven, "");
}

#[test]
fn a_wrong_axle_ratio_is_named_with_the_teeth_that_make_it() {
    let r = declaring("teeth = [41, 10]", "teeth = [43, 11]");
    says(&r, "axle-ratios-match", "rear axle", Verdict::Disproven, "41 to 10 teeth");
    says(&r, "sensors-agree", "rear axle", Verdict::Disproven, "");
}

#[test]
fn a_ring_declared_with_a_tooth_less_is_not_called_a_wrong_axle_ratio() {
    let r = declaring("pulses_per_turn = 48", "pulses_per_turn = 47");
    says(&r, "sensors-agree", "front axle", Verdict::Disproven, "");
    says(&r, "axle-ratios-match", "front axle", Verdict::Undecided, "other teeth");
}

#[test]
fn without_the_input_no_share_and_no_range_is_told() {
    let input = "[[sensors]]\nplace = \"input\"\nchannel = 3\npulses_per_turn = 4\n";
    let r = declaring(input, "");
    for id in ["range-ratio", "torque-share", "rear-driven", "front-released"] {
        for c in r.claims.iter().filter(|c| c.id == id && c.reason_code != "mode-not-driven") {
            assert_eq!(c.verdict, Verdict::Undecided, "{id} ({}): {}", c.scope, c.reason);
        }
    }
}
