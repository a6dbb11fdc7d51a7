//! Drives made so that one source of uncertainty outweighs the others.
//!
//! Random drives seldom depend on a single number; were its component missing, nobody would notice.
//! Here the number really is off, drawn from the distribution that the analysis claims for it, and
//! everything else is kept quiet.

use wheelwitness_driveline::demand::LEFT_RIGHT_U;
use wheelwitness_driveline::mismatch::RESISTANCE_U_MPS2;
use wheelwitness_driveline::units::STANDARD_GRAVITY;
use wheelwitness_driveline::vehicle::{Ground, Place, SpeedRule, TestGround, Vehicle};
use wheelwitness_rig::random::Random;
use wheelwitness_rig::random_drive::friction_for;
use wheelwitness_rig::scenario::trail_wagon;
use wheelwitness_rig::script::Script;
use wheelwitness_rig::{Fault, Plan};

/// What is put to the test, with the script that does it.
pub const STRESSES: [(&str, &str); 10] = [
    ("wheel slip", CIRCLES_SLOW),
    ("course", CIRCLES_BY_COURSE),
    ("geometry", CIRCLES_SLOW),
    ("side slip", CIRCLES_QUICK),
    ("left/right tyres", CIRCLE_ONE_WAY),
    ("circumference", CIRCLES_BY_COURSE),
    ("backlash", LOCKED_SHORT),
    ("traction", ON_A_GRADE),
    ("sliding tyres", LOCKED_ON_HARD),
    ("receiver noise", AT_FIFTY_MILES),
];

const CIRCLES_SLOW: &str = "select full-time\nawait 15 at 1\ncircle left lock turns 2 at 0.9\n\
    circle right lock turns 2 at 0.9\nspeed 7\nstraight 120 at 7\nstop\nwait 1";
const CIRCLES_QUICK: &str = "select full-time\nawait 15 at 1\ncircle left radius 9 turns 2 at 3.3\n\
    circle right radius 9 turns 2 at 3.3\nspeed 7\nstraight 120 at 7\nstop\nwait 1";
const CIRCLE_ONE_WAY: &str = "select full-time\nawait 15 at 1\nspeed 7\nstraight 120 at 7\n\
    speed 1.2\ncircle left radius 15 turns 5 at 2.2\nstop\nwait 1";
const CIRCLES_BY_COURSE: &str = "select full-time\nawait 15 at 1\ncircle left lock turns 2 at 1.5\n\
    circle right lock turns 2 at 1.5\ncircle left lock turns 2 at 1.5\n\
    circle right lock turns 2 at 1.5\nspeed 7\nstraight 120 at 7\nstop\nwait 1";
const LOCKED_SHORT: &str = "ground loose\nselect locked\nawait 15 at 1\nspeed 4\nstraight 40 at 4\n\
    coast 3\nspeed 1.5\ncircle left radius 7 turns 0.7 at 1.5\ncoast 2\nspeed 3\nstop\nwait 1";
const LOCKED_ON_HARD: &str = "select full-time\nawait 15 at 1\nspeed 7\nstraight 300 at 7\nstop\n\
    select locked\nawait 15 at 1\nspeed 3\ncircle left radius RADIUS turns 0.7 at 2.5\n\
    circle right radius RADIUS turns 0.7 at 2.5\nstop\nwait 1";
const AT_FIFTY_MILES: &str = "speed 22.35\nstraight 900 at 22.35\nstop\nwait 1";
const ON_A_GRADE: &str = "speed 9\nstraight 260 at 9\nstop\nwait 1";

/// The plan of one stress drive.
pub fn plan(stress: usize, seed: u64) -> Plan {
    let (name, text) = STRESSES[stress];
    let mut declared = trail_wagon();
    declared.name = format!("stress by {name}, seed {seed} (invented)");
    declare(name, &mut declared);
    let random = &mut Random::stream(seed, name);
    let text = text_of(name, text, random);
    let script = Script::parse(name, &text).expect("stress scripts are sound");
    let mut plan = Plan::new(declared, script, seed, Vec::new());
    plan.settings.close = true;
    disturb(name, &mut plan, random);
    plan
}

/// What the vehicle file says.
fn declare(name: &str, v: &mut Vehicle) {
    v.geometry.u_mm = if name == "geometry" { 40.0 } else { 4.0 };
    if ["circumference", "course"].contains(&name) {
        let shafts = [Place::FrontShaft, Place::RearShaft, Place::Input];
        v.sensors.retain(|s| shafts.contains(&s.place));
    }
    if name == "circumference" {
        v.tyres.front.circumference_u_mm = Some(70.0);
        v.tyres.rear.circumference_u_mm = Some(70.0);
    }
    if name == "sliding tyres" {
        v.test_ground = Some(TestGround { locked: Ground::Hard });
    }
    if let Some(speedometer) = v.speedometer.as_mut().filter(|_| name == "receiver noise") {
        (speedometer.rule, speedometer.surplus_percent) = (SpeedRule::Us39382, 0.0);
    }
}

/// How it is driven.
fn text_of(name: &str, text: &str, random: &mut Random) -> String {
    match name {
        "traction" => {
            let grade = RESISTANCE_U_MPS2 / STANDARD_GRAVITY * random.normal();
            format!("slope {grade:.5} 0\n{text}")
        }
        // From much slip in every metre to next to none.
        "sliding tyres" => {
            let radius = 7.0 * 5f64.powf(random.between(0.0, 1.0));
            text.replace("RADIUS", &format!("{radius:.2}"))
        }
        _ => text.to_owned(),
    }
}

/// What is off.
fn disturb(name: &str, plan: &mut Plan, random: &mut Random) {
    let mut receiver = |rate_hz: f64, speed_noise: f64| {
        if let Some(gnss) = &mut plan.settings.gnss {
            (gnss.rate_hz, gnss.speed_noise) = (rate_hz, speed_noise);
        }
    };
    match name {
        "circumference" => receiver(10.0, 0.02),
        "course" => receiver(2.0, 0.15),
        "left/right tyres" => {
            plan.machine.circumference_m[3] *= 1.0 + LEFT_RIGHT_U * random.normal();
            plan.settings.gnss = None;
        }
        // Anything up to what is declared.
        "backlash" => plan.machine.lash_turn = random.between(0.0, 0.25),
        "wheel slip" => {
            let drag = friction_for(&plan.machine, random.between(0.4, 0.8), 0.9, 1.0);
            plan.faults.push(Fault::DraggingCenter { drag, most_nm: 1e4 });
            plan.settings.gnss = None;
        }
        "geometry" | "side slip" => plan.settings.gnss = None,
        "receiver noise" => {
            receiver(5.0, 0.3);
            // One that oversteers spins at this speed; road vehicles understeer (common practice).
            let [front, rear] = plan.machine.cornering;
            plan.machine.cornering[1] = rear.max(front);
            // About where the rule's limits are.
            let sign = random.pick(&[-1.0, 1.0]);
            plan.machine.sender_gear *= 1.0 + sign * random.between(0.07, 0.13);
        }
        _ => {}
    }
}
