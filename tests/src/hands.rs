//! Vehicles that are turned by hand, engine off: any vehicle, modes and parts in any order, and a
//! case that need not do what its switches show.

use wheelwitness_rig::random::Random;
use wheelwitness_rig::random_drive::{RandomDrive, random_drive};
use wheelwitness_rig::script::{Hand, HandPart, Script, Step};
use wheelwitness_rig::{Fault, Run};

/// The random vehicle of a seed, with its faults, in the hands of somebody.
pub fn random_hands(seed: u64) -> RandomDrive {
    let mut random = random_drive(seed);
    let draw = &mut Random::stream(seed, "hands");
    random.plan.faults.extend(inside_the_case(draw).filter(|_| !has_one(&random.plan.faults)));
    random.plan.script = script(draw);
    random
}

/// What may be wrong inside the case: nothing in every other one.
fn inside_the_case(random: &mut Random) -> Option<Fault> {
    let (drag, most_nm) = (random.factor(40.0, 4000.0), random.factor(100.0, 1e4));
    let faults = [
        Fault::StuckRearOnly,
        Fault::FrontOnlyCoupling,
        Fault::HalfEngagedLock { drag, most_nm },
        Fault::DraggingCenter { drag, most_nm },
        Fault::LockPopsOut { from_s: 0.0, at_reversal: false },
    ];
    random.chance(0.5).then(|| random.pick(&faults))
}

fn has_one(faults: &[Fault]) -> bool {
    faults.iter().any(|f| {
        matches!(
            f,
            Fault::StuckRearOnly
                | Fault::HalfEngagedLock { .. }
                | Fault::DraggingCenter { .. }
                | Fault::LockPopsOut { .. }
        )
    })
}

fn script(random: &mut Random) -> Script {
    let mut steps = vec![Step::Wait(3.0)];
    if random.chance(0.7) {
        raised(&mut steps, random);
    }
    for _ in 0..1 + random.below(3) {
        steps.push(Step::Ground { loose: true });
        steps.push(Step::Select(mode(random)));
        steps.extend([Step::Await { seconds: 20.0, speed: 1.0 }, Step::Stop]);
        raised(&mut steps, random);
    }
    if random.chance(0.6) {
        bare(&mut steps, random);
    }
    steps.push(Step::Wait(1.0));
    Script { name: "hands".into(), steps }
}

fn mode(random: &mut Random) -> String {
    random.pick(&["rear-only", "full-time", "full-time", "locked", "locked"]).into()
}

/// A front wheel off the ground, turned once or twice.
fn raised(steps: &mut Vec<Step>, random: &mut Random) {
    let wheel = random.below(2);
    steps.push(Step::Lift(wheel));
    for _ in 0..1 + random.below(2) {
        steps.push(hand(HandPart::Wheel(wheel), random.chance(0.3), random));
    }
    steps.push(Step::Lower);
}

/// Both shafts off: flanges turned in some modes. Teeth find their gaps meanwhile.
fn bare(steps: &mut Vec<Step>, random: &mut Random) {
    steps.push(Step::Shafts { on: false });
    for _ in 0..1 + random.below(3) {
        steps.extend([Step::Select(mode(random)), Step::Wait(4.0)]);
        steps.push(hand(HandPart::Flange(0), false, random));
        for _ in 0..1 + random.below(2) {
            steps.push(hand(HandPart::Flange(random.below(2)), random.chance(0.8), random));
        }
    }
    steps.push(Step::Shafts { on: true });
}

/// By hand, or with a torque wrench.
fn hand(part: HandPart, input_held: bool, random: &mut Random) -> Step {
    let most_nm = random.pick(&[40.0, 120.0, 120.0, 310.0]);
    Step::Hand(Hand { part, input_held, seconds: random.between(6.0, 16.0).round(), most_nm })
}

/// The sheet of the run by somebody who is honest, reads times off a watch, and does not fill in
/// everything.
pub fn sheet_of(run: &Run, seed: u64) -> String {
    let random = &mut Random::stream(seed, "sheet");
    let sheet = run.truth.hand_sheet();
    let mut kept = String::new();
    for trial in sheet.split_inclusive("\n\n") {
        let watch_s = random.between(-0.25, 0.25);
        for line in trial.lines() {
            let word = line.split(' ').next().unwrap_or_default();
            let left_out = match word {
                "felt" => random.chance(0.2),
                "watched" | "torque_nm" | "others_held" | "one_way" => random.chance(0.15),
                _ => false,
            };
            if !left_out {
                kept += &about(line, word, watch_s);
                kept.push('\n');
            }
        }
    }
    kept
}

/// A line as somebody writes it whose watch is off.
fn about(line: &str, word: &str, watch_s: f64) -> String {
    let value = line.strip_prefix(word).map(|rest| rest.trim_start_matches(" = ").parse::<f64>());
    match (word, value) {
        ("start_s" | "end_s", Some(Ok(s))) => format!("{word} = {:.2}", (s + watch_s).max(0.0)),
        _ => line.to_string(),
    }
}
