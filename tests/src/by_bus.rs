//! Random vehicles on their random drives, watched through the bus: units with a rate, a delay and
//! a circumference of their own instead of sensors on the board.

use wheelwitness_rig::messages::Message;
use wheelwitness_rig::random::Random;
use wheelwitness_rig::random_drive::{RandomDrive, random_drive};
use wheelwitness_rig::{BusSettings, Fault, Fit};

/// The random drive of a seed on a vehicle with a bus, seen through one of the bus's fits.
pub fn random_bus(seed: u64) -> RandomDrive {
    let mut random = random_drive(seed);
    let draw = &mut Random::stream(seed, "by bus");
    let bus = BusSettings::draw(seed);
    let plan = &mut random.plan;
    plan.settings.bus = Some(bus);
    plan.faults.extend(draw.chance(0.3).then(|| on_the_bus(draw)));
    plan.declared = draw.pick(&Fit::ALL[1..]).of(&plan.declared, &bus);
    random.vehicle_text = toml::to_string(&plan.declared).expect("a vehicle is plain data");
    random
}

fn on_the_bus(random: &mut Random) -> Fault {
    let message =
        random.pick(&[Message::FineWheelSpeeds, Message::ToothCounts, Message::ShaftSpeeds]);
    let from_s = random.between(5.0, 150.0);
    let to_s = from_s + random.between(0.2, 20.0);
    match random.below(5) {
        0 => Fault::MessageMissing { message, from_s, to_s },
        1 => Fault::MessageNotAvailable { message, from_s, to_s },
        2 => Fault::MessageInError { message, from_s, to_s },
        3 => Fault::BusOff { from_s, to_s },
        _ => Fault::LostFrames { share: random.factor(0.0002, 0.02) },
    }
}
