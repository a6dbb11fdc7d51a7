//! `reckon raised`: differential speeds when something stands.

use super::{input, table, warn};
use clap::Args;
use wheelwitness_driveline::kinematics::{Turning, turning};
use wheelwitness_driveline::units::wheel_rpm;

/// Arguments of `reckon raised`.
#[derive(Debug, Args)]
pub struct RaisedArgs {
    /// Tyres: 265/70R16, or a roll-out as 2373mm
    #[arg(long, value_parser = input::rolling, value_name = "TYRE")]
    pub tyre: input::Rolling,
    /// Axle ratio, the same at both ends: 4.1, or 41:10
    #[arg(long, value_parser = input::ratio, value_name = "RATIO")]
    pub axle_ratio: f64,
    /// Torque share of the front output of the center differential
    #[arg(long, value_parser = input::share, value_name = "SHARE", default_value = "0.5")]
    pub front_share: f64,
    /// Speed that engine and gear would give in normal driving, straight on
    #[arg(long, value_parser = input::speed, value_name = "KMH", default_value = "10")]
    pub kmh: f64,
}

/// Cautions to print.
pub const CAUTIONS: &[&str] = &[
    "stands-not-jacks",
    "chock-first",
    "hand-tests-engine-off",
    "driven-lifted-test",
    "guard-shafts",
];

const CASES: [(&str, Turning); 4] = [
    ("all wheels roll alike", Turning::All),
    ("center locked, one wheel of each axle turns", Turning::OneLocked),
    ("center open, rear stands, one front wheel turns", Turning::OneFront),
    ("center open, front stands, one rear wheel turns", Turning::OneRear),
];

/// Speeds of shafts, the wheel and its tread, and what a dial on the rear output shows.
pub fn text(args: &RaisedArgs) -> String {
    let normal_wheel = wheel_rpm(args.kmh, args.tyre.circumference_mm);
    let input = normal_wheel * args.axle_ratio;
    let row = |(name, which): (&str, Turning)| {
        let turns = turning(which, args.front_share, input, args.axle_ratio);
        let [tread, dial] =
            [turns.wheel / normal_wheel, turns.rear_shaft / input].map(|share| share * args.kmh);
        let numbers = [turns.front_shaft, turns.rear_shaft, turns.wheel, tread, dial];
        let cells = numbers.iter().map(|x| format!("{x:.1}"));
        std::iter::once(name.to_string()).chain(cells).collect()
    };
    let head = ["", "front shaft", "rear shaft", "wheel rpm", "tread km/h", "dial km/h"];
    format!(
        "Case input {input:.1} rpm in high range; shafts in rpm; the sender of the dial on the \
             rear output.\n\n"
    ) + &table(&head, &CASES.map(row))
        + "\nBevel axle differentials, no drag, nothing slips. By the law of the differential \
           only: \
           this is no\ninstruction to run a vehicle so.\n"
        + &warn(CAUTIONS)
}
