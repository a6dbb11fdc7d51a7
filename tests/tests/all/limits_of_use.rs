//! What a drive shows of shafts near their limit, of a locked center on the ground, and of the
//! speedometer: simulated drives with known truth, judged by vehicle files of every kind.

use crate::claims::{claim, judged_by as judged, says};
use std::sync::OnceLock;
use wheelwitness_analyze::result::{DriveResult, Verdict};
use wheelwitness_driveline::vehicle::Vehicle;
use wheelwitness_rig::scenario::TRAIL_WAGON;
use wheelwitness_rig::{Fault, Plan, Run, Script};

const STEADY: &str = "speed 8\nstraight 120 at 8\nspeed 13\nstraight 200 at 13\nspeed 22.35\n\
    straight 300 at 22.35\nstop\nwait 1";

const LOCKED_STRAIGHT: &str = "select full-time\nawait 15 at 1\nspeed 6\nstraight 120 at 6\n\
    speed 8\nstraight 120 at 8\nstop\nselect locked\nawait 15 at 1\nspeed 5\nstraight 200 at 5\n\
    stop\nwait 1";

const LOCKED_CIRCLES: &str = "speed 6\nstraight 300 at 6\nstop\n\
    ground loose\nselect locked\nawait 15 at 1\n\
    circle left lock turns 2 at 1.5\ncircle right lock turns 2 at 1.5\nstop\nwait 1";

fn run(vehicle_text: &str, script: &str, faults: Vec<Fault>) -> Run {
    let script = Script::parse("limits", script).expect("the script is sound");
    let vehicle = Vehicle::parse(vehicle_text, "limits.toml").unwrap_or_else(|e| panic!("{e}"));
    let mut plan = Plan::new(vehicle, script, 5, faults);
    // Tyres exactly as declared: what a test says of the sender is then the sender's.
    let mean = [2.368; 4];
    let grown = plan.machine.circumference_m[0] / 2.368 > 1.02;
    if !grown {
        plan.machine.circumference_m = mean;
    }
    plan.run()
}

fn with(right: &str, other: &str) -> String {
    assert!(TRAIL_WAGON.contains(right), "{right} stands in the file");
    TRAIL_WAGON.replace(right, other)
}

/// The sound vehicle's steady drive, by its file with one thing replaced.
fn steady(right: &str, other: &str) -> DriveResult {
    static SOUND: OnceLock<Run> = OnceLock::new();
    judged(SOUND.get_or_init(|| run(TRAIL_WAGON, STEADY, Vec::new())), &with(right, other))
}

#[test]
fn a_sender_and_a_speedometer_that_are_right_are_proven() {
    let r = steady("surplus_percent = 3.0", "surplus_percent = 3.0");
    says(&r, "sender-scale", "speed sender", Verdict::Proven, "2548 expected");
    says(&r, "speedometer-true", "speedometer", Verdict::Proven, "driven at");
    says(&r, "shafts-within-limit", "rear shaft", Verdict::Proven, "% uneven");
    says(&r, "shafts-within-limit", "front shaft", Verdict::Proven, "");
}

/// Check values, trap (e): an instrument without error stands at the limit of a one-sided rule.
#[test]
fn an_instrument_without_error_is_undecided_under_a_rule_that_forbids_to_show_less() {
    let r = steady("surplus_percent = 3.0", "surplus_percent = 0.0");
    says(&r, "speedometer-true", "speedometer", Verdict::Undecided, "too near");
}

/// 49 CFR 393.82 speaks of 50 miles an hour and of nothing else.
#[test]
fn the_two_sided_rule_is_held_to_at_its_own_speed_only() {
    let us = with("rule = \"un-r39\"", "rule = \"us-393-82\"");
    let us = us.replace("surplus_percent = 3.0", "surplus_percent = 0.0");
    let r = judged(&run(&us, STEADY, Vec::new()), &us);
    says(&r, "speedometer-true", "speedometer", Verdict::Proven, "driven at");
    let slow = "speed 8\nstraight 150 at 8\nstop\nwait 1";
    let r = judged(&run(&us, slow, Vec::new()), &us);
    says(&r, "speedometer-true", "speedometer", Verdict::Undecided, "80.5 km/h");
}

/// 4,000 pulses a mile instead of 2548 a kilometre: 2.5 percent, which looks like a tyre's error
/// (check values, pulse scales).
#[test]
fn a_sender_of_another_scale_is_named_by_it() {
    let fault = Fault::SenderGear { percent: 100.0 * (2485.485 / 2548.0 - 1.0) };
    let r = judged(&run(TRAIL_WAGON, STEADY, vec![fault]), TRAIL_WAGON);
    says(&r, "sender-scale", "speed sender", Verdict::Disproven, "4,000 pulses a mile");
}

/// 733 to 804 mm of outer diameter: at a true 80 it shows 72.9 and fails (check values, tyres).
#[test]
fn larger_tyres_that_the_speedometer_does_not_know_make_it_show_too_little() {
    let percent = 100.0 * (804.0 / 733.0 - 1.0);
    let plain = with("surplus_percent = 3.0", "surplus_percent = 0.0");
    let r = judged(&run(&plain, STEADY, vec![Fault::LargerTyres { percent }]), &plain);
    says(&r, "sender-scale", "speed sender", Verdict::Disproven, "");
    says(&r, "speedometer-true", "speedometer", Verdict::Disproven, "");
    let shown = claim(&r, "speedometer-true", "speedometer");
    let last = shown.periods.last().and_then(|p| p.estimates.first()?.value);
    let by_table = (72.935 / 80.0 - 1.0) * 3.6 * 22.35;
    assert!((last.unwrap_or(0.0) - by_table).abs() < 0.3, "{last:?} and {by_table}");
}

#[test]
fn a_long_shaft_is_named_with_the_moment_at_which_it_was_too_fast() {
    let r = steady("length_mm = 1240", "length_mm = 2600");
    says(&r, "shafts-within-limit", "rear shaft", Verdict::Disproven, "turns a minute");
    let at_s = claim(&r, "shafts-within-limit", "rear shaft").periods[0].start_s;
    assert!(at_s > 30.0, "fastest in the last straight: {at_s}");
    let r = steady("[shafts.rear]", "[shafts.rear]\nshare_max = 0.3");
    assert_ne!(claim(&r, "shafts-within-limit", "rear shaft").verdict, Verdict::Proven);
}

#[test]
fn a_front_shaft_that_spins_with_its_wheel_lifted_counts() {
    // A rod that whirls at some 270 turns a minute: beyond walking pace, within a lifted test.
    let thin = "outer_mm = 15.2\nwall_mm = 1.0\nlength_mm = 3000";
    let text = with("outer_mm = 50.8\nwall_mm = 2.5\nlength_mm = 640", thin);
    let walk = "speed 1\nstraight 20 at 1\nstop\n";
    let r = judged(&run(&text, &format!("{walk}wait 1"), Vec::new()), &text);
    says(&r, "shafts-within-limit", "front shaft", Verdict::Proven, "");
    let lifted = format!(
        "{walk}set gearbox-neutral on\nselect low-full-time\nwait 4.5\nset gearbox-neutral off\n\
         await 15 at 1\nstop\nlift front-left\nidle 6\nlower\nwait 1"
    );
    let r = judged(&run(&text, &lifted, Vec::new()), &text);
    says(&r, "shafts-within-limit", "front shaft", Verdict::Disproven, "");
}

#[test]
fn a_stretch_in_which_nobody_counted_leaves_a_shaft_undecided() {
    let lost = Fault::LostStretch { from_s: 20.0, to_s: 24.0 };
    let r = judged(&run(TRAIL_WAGON, STEADY, vec![lost]), TRAIL_WAGON);
    says(&r, "shafts-within-limit", "rear shaft", Verdict::Undecided, "nobody counted");
}

#[test]
fn a_lock_between_matched_tyres_straight_ahead_grinds_on_no_ground() {
    let r = judged(&run(TRAIL_WAGON, LOCKED_STRAIGHT, Vec::new()), TRAIL_WAGON);
    says(&r, "no-wind-up", "locked", Verdict::Proven, "grinds on no ground");
    says(&r, "no-wind-up", "low-locked", Verdict::Undecided, "less than");
}

#[test]
fn that_the_ground_was_loose_is_a_word_and_proves_nothing() {
    static CIRCLES: OnceLock<Run> = OnceLock::new();
    let run = CIRCLES.get_or_init(|| run(TRAIL_WAGON, LOCKED_CIRCLES, Vec::new()));
    let by = |ground: &str| judged(run, &with("[test_ground]\nlocked = \"loose\"\n", ground));
    let loose = by("[test_ground]\nlocked = \"loose\"\n");
    says(&loose, "no-wind-up", "locked", Verdict::Undecided, "as the vehicle file says");
    says(&by(""), "no-wind-up", "locked", Verdict::Undecided, "grinding on hard ground");
    let hard = by("[test_ground]\nlocked = \"hard\"\n");
    says(&hard, "no-wind-up", "locked", Verdict::Disproven, "declares hard");
}
