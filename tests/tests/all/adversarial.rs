//! Drives made to mislead: what looks like proof and is none stays undecided, what refutes a claim
//! does so with its time, and a wrong description is named.

use crate::claims::{claim, judged_by, judged_random, says};
use wheelwitness_analyze::result::{DriveResult, Verdict};
use wheelwitness_driveline::vehicle::Place;
use wheelwitness_driveline::vehicle::Vehicle;
use wheelwitness_rig::random_drive::friction_for;
use wheelwitness_rig::scenario::{TRAIL_WAGON, trail_wagon};
use wheelwitness_rig::{Fault, Plan, Script};

const CIRCLES: &str = "circle left lock turns 2 at 1.2\ncircle right lock turns 2 at 1.2\n\
    speed 6\nstraight 60 at 6\nstop\n";
const WHEELS: [Place; 4] = [Place::FrontLeft, Place::FrontRight, Place::RearLeft, Place::RearRight];

/// The steps in a mode that was selected on the way.
fn in_mode(mode: &str, steps: &str) -> String {
    let ground = if mode == "locked" { "loose" } else { "hard" };
    format!("ground {ground}\nselect {mode}\nawait 15 at 1\n{steps}")
}

/// A drive of a vehicle, judged by a description that may differ from it.
struct Drive {
    plan: Plan,
    described: String,
}

impl Drive {
    fn new(script: &str) -> Self {
        Self::of(trail_wagon(), script)
    }

    fn of(vehicle: Vehicle, script: &str) -> Self {
        let script = Script::parse("adversarial", &format!("speed 4\n{script}\nwait 1"));
        let described = toml::to_string(&vehicle).expect("a vehicle is plain data");
        let mut plan = Plan::new(vehicle, script.expect("the script is sound"), 21, Vec::new());
        plan.settings.close = true;
        Drive { plan, described }
    }

    fn with(mut self, fault: &str) -> Self {
        self.plan.faults.push(Fault::parse(fault).expect("a fault"));
        self
    }

    fn judged(&self) -> DriveResult {
        let run = self.plan.run();
        for fault in &run.truth.faults {
            assert!(fault.count > 0, "the fault never struck: {:?}", fault.fault);
        }
        judged_by(&run, &self.described)
    }
}

fn without(places: &[Place]) -> Vehicle {
    let mut vehicle = trail_wagon();
    vehicle.sensors.retain(|s| !places.contains(&s.place));
    vehicle
}

/// Undecided in this mode, whatever the reason.
#[track_caller]
fn undecided(result: &DriveResult, id: &str, mode: &str) {
    says(result, id, mode, Verdict::Undecided, "");
}

#[track_caller]
fn never(result: &DriveResult, id: &str, scope: &str, verdict: Verdict) {
    let c = claim(result, id, scope);
    assert_ne!(c.verdict, verdict, "{id} ({scope}): {}", c.reason);
}

#[test]
fn a_straight_road_with_matched_tyres_proves_nothing_about_the_center() {
    for fit in [trail_wagon(), without(&WHEELS)] {
        let straight = "speed 8\nstraight 250 at 8\ncoast 3\nspeed 8\nstraight 80 at 8\nstop\n";
        let script = in_mode("full-time", straight) + &in_mode("locked", straight);
        let r = Drive::of(fit, &script).judged();
        undecided(&r, "center-opens", "full-time");
        undecided(&r, "center-locks", "locked");
    }
}

#[test]
fn a_case_stuck_in_rear_only_lets_the_front_follow_and_opens_nothing() {
    for fit in [trail_wagon(), without(&WHEELS), without(&[Place::Input])] {
        let r = Drive::of(fit, &in_mode("full-time", CIRCLES)).with("stuck-rear-only").judged();
        never(&r, "center-opens", "full-time", Verdict::Proven);
        never(&r, "front-driven", "full-time", Verdict::Proven);
    }
}

/// A random drive: stuck in rear-only on loose ground, in eights so wide that the slip of the rear
/// wheels made the outputs turn alike.
#[test]
fn slip_that_cancels_the_turn_is_not_taken_for_a_lock() {
    let (random, r) = judged_random(2146);
    assert!(random.plan.faults.contains(&Fault::StuckRearOnly));
    says(&r, "center-locks", "locked", Verdict::Undecided, "rear wheels that slip");
    undecided(&r, "front-driven", "locked");
    undecided(&r, "rear-driven", "locked");
}

/// A random drive: circles of one radius seen by a coarse course, in which a dragging center looks
/// like a mismatch.
#[test]
fn a_mismatch_that_a_center_cannot_let_through_leaves_its_allowance_in_doubt() {
    let (_, r) = judged_random(7014);
    let c = claim(&r, "center-opens", "full-time");
    let truth = 0.536;
    let last = c.periods.last().and_then(|p| p.estimates.first()).expect("an allowance");
    let (value, u) = (last.value.unwrap_or(f64::NAN), last.u.unwrap_or(0.0));
    assert!((value - truth).abs() < 3.0 * u, "{value} +- {u}");
}

#[test]
fn a_lock_that_pops_out_half_way_is_refuted_with_its_time() {
    let script = in_mode("locked", CIRCLES) + CIRCLES;
    let out_s = 75.0;
    let r = Drive::new(&script)
        .with(&format!("lock-pops-out from_s={out_s} at_reversal=false"))
        .judged();
    let c = claim(&r, "center-locks", "locked");
    assert_eq!(c.verdict, Verdict::Disproven, "{}", c.reason);
    let refuted = c.periods.iter().find(|p| p.verdict == Verdict::Disproven).expect("a period");
    assert!(refuted.end_s > out_s, "{refuted:?}");
}

#[test]
fn a_missing_pulse_a_turn_does_not_refute_the_lock_and_is_found() {
    for (place, scope) in [("front-shaft", "front axle"), ("rear-shaft", "rear axle")] {
        let script = in_mode("locked", CIRCLES);
        let fault = format!("missing-pulses place={place} pulses=1");
        let r = Drive::new(&script).with(&fault).judged();
        never(&r, "center-locks", "locked", Verdict::Disproven);
        says(&r, "sensors-agree", scope, Verdict::Disproven, "");
    }
}

#[test]
fn a_missing_tooth_of_a_wheel_does_not_refute_the_tyres_and_is_found() {
    let script = in_mode("full-time", CIRCLES) + "speed 9\nstraight 250 at 9\nstop\n";
    let r = Drive::new(&script).with("missing-pulses place=rear-left pulses=1").judged();
    never(&r, "tyres-match", "rear left/right", Verdict::Disproven);
    never(&r, "tyres-match", "front/rear", Verdict::Disproven);
    says(&r, "sensors-agree", "rear axle", Verdict::Disproven, "");
}

/// Front tyres larger by just what the turn asks of the front: nothing is left to differ, so an
/// open and a locked center look alike.
#[test]
fn a_mismatch_that_cancels_the_turn_leaves_open_and_locked_undecided() {
    let (wheelbase, radius) = (2.74_f64, 10.0_f64);
    let wider = (wheelbase.powi(2) + radius.powi(2)).sqrt() / radius;
    let steps = format!("circle left radius {radius} turns 3 at 1.2\nstop\n");
    for wheels in [&[][..], &WHEELS[..]] {
        let mut fit = without(wheels);
        fit.tyres.front.circumference_mm = fit.tyres.rear.circumference_mm.map(|c| c * wider);
        let open = Drive::of(fit.clone(), &in_mode("full-time", &steps)).judged();
        undecided(&open, "center-opens", "full-time");
        let locked = Drive::of(fit, &in_mode("locked", &steps)).judged();
        never(&locked, "center-locks", "locked", Verdict::Proven);
        never(&locked, "center-locks", "locked", Verdict::Disproven);
    }
}

#[test]
fn a_tunnel_hides_the_curve_from_a_fit_that_has_only_the_receiver_for_it() {
    let script = in_mode("full-time", CIRCLES) + &in_mode("locked", CIRCLES);
    let r = Drive::of(without(&WHEELS), &script).with("no-fix from_s=1 to_s=900").judged();
    undecided(&r, "center-opens", "full-time");
    undecided(&r, "center-locks", "locked");
}

/// Wheels that hang or are held break what every relation between them rests on.
#[test]
fn a_wheel_that_hangs_or_is_held_says_nothing_against_a_sound_center() {
    for fault in ["hanging-wheel", "held-brake"] {
        for place in ["front-left", "rear-right"] {
            for (mode, id) in [("full-time", "center-opens"), ("locked", "center-locks")] {
                let script = in_mode(mode, "slope -0.04 0\n") + CIRCLES;
                let fault = format!("{fault} place={place} from_s=30 to_s=60");
                let r = Drive::new(&script).with(&fault).judged();
                never(&r, id, mode, Verdict::Disproven);
                never(&r, "front-driven", mode, Verdict::Disproven);
                never(&r, "sensors-agree", "front axle", Verdict::Disproven);
                never(&r, "sensors-agree", "rear axle", Verdict::Disproven);
            }
        }
    }
}

/// Friction that lets half of a turn's demand through.
#[test]
fn a_half_engaged_lock_is_neither_called_locked_nor_open() {
    for (mode, softness) in [("locked", 0.5), ("full-time", 1.0)] {
        let mut drive = Drive::new(&in_mode(mode, CIRCLES));
        let drag = friction_for(&drive.plan.machine, 0.5, 1.2, softness);
        drive.plan.faults.push(match mode {
            "locked" => Fault::HalfEngagedLock { drag, most_nm: 1e4 },
            _ => Fault::DraggingCenter { drag, most_nm: 1e4 },
        });
        let r = drive.judged();
        let id = if mode == "locked" { "center-locks" } else { "center-opens" };
        says(&r, id, mode, Verdict::Disproven, "");
    }
}

#[test]
fn driving_backward_proves_the_same_and_refutes_nothing() {
    let back = "reverse 60 at 1.5\nstop\n";
    let steps = format!("{CIRCLES}{back}{CIRCLES}");
    let script = in_mode("full-time", &steps) + &in_mode("locked", &steps);
    for fit in [trail_wagon(), without(&WHEELS)] {
        let r = Drive::of(fit, &script).judged();
        never(&r, "center-opens", "full-time", Verdict::Disproven);
        never(&r, "center-locks", "locked", Verdict::Disproven);
        never(&r, "front-driven", "full-time", Verdict::Disproven);
    }
    let r = Drive::new(&in_mode("full-time", back)).judged();
    undecided(&r, "center-opens", "full-time");
}

#[test]
fn what_is_described_wrongly_is_named_and_condemns_no_center() {
    let swap = |a: &str, b: &str| {
        let mark = format!("place = \"{a}\"\nchannel");
        let other = format!("place = \"{b}\"\nchannel");
        TRAIL_WAGON.replace(&mark, "HERE").replace(&other, &mark).replace("HERE", &other)
    };
    let script = in_mode("full-time", CIRCLES) + &in_mode("locked", CIRCLES);
    let told = |text: &str| {
        let mut drive = Drive::new(&script);
        drive.described = text.to_owned();
        drive.judged()
    };
    let shafts = "place = \"rear-shaft\"\nchannel = 2\npulses_per_turn = 4";
    let teeth = TRAIL_WAGON.replace(shafts, &shafts.replace("= 4", "= 5"));
    assert_ne!(teeth, TRAIL_WAGON);
    let ratio = TRAIL_WAGON.replacen("teeth = [41, 10]", "teeth = [39, 10]", 1);
    let cases = [
        (teeth, "rear axle", "from declared"),
        (ratio, "front axle", "from declared"),
        (swap("rear-left", "front-right"), "front axle", "front right wheel and the rear left"),
        (swap("front-shaft", "rear-shaft"), "rear axle", "of the two axles are exchanged"),
    ];
    for (text, scope, words) in cases {
        let r = told(&text);
        says(&r, "sensors-agree", scope, Verdict::Disproven, words);
        never(&r, "center-locks", "locked", Verdict::Disproven);
        never(&r, "center-opens", "full-time", Verdict::Disproven);
    }
    // Left and right of one axle exchanged: every sum of the two stays what it is.
    let r = told(&swap("rear-left", "rear-right"));
    says(&r, "sensors-agree", "rear axle", Verdict::Disproven, "left and right of the rear axle");
    says(&r, "sensors-agree", "front axle", Verdict::Proven, "");
    says(&r, "center-locks", "locked", Verdict::Proven, "");
    says(&r, "center-opens", "full-time", Verdict::Proven, "");
}
