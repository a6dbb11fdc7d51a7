//! `reckon sender`: pulses per distance.

use super::{K95, input, table};
use clap::{Args, ValueEnum};
use wheelwitness_driveline::scale::{
    CABLE_1000_PER_MILE, CABLE_TURNS_PER_KM, frequency_hz, pulse_distance_mm, pulses_per_km,
};
use wheelwitness_driveline::units::{KM_PER_MILE, MM_PER_KM};

/// What carries a sender.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Place {
    /// A propeller shaft or an output of the transfer case
    Shaft,
    /// A wheel or a wheel hub
    Wheel,
}

/// Arguments of `reckon sender`.
#[derive(Debug, Args)]
pub struct SenderArgs {
    /// Tyres: 265/70R16, or a roll-out as 2373mm
    #[arg(long, value_parser = input::rolling, value_name = "TYRE")]
    pub tyre: input::Rolling,
    /// Pulses in one turn of what carries the sender (edges of one direction)
    #[arg(long, value_parser = input::pulses, value_name = "N")]
    pub pulses: f64,
    /// What carries the sender
    #[arg(long, value_enum, default_value = "shaft")]
    pub on: Place,
    /// Axle ratio, for a sender on a shaft: 4.1, or 41:10
    #[arg(long, value_parser = input::ratio, value_name = "RATIO")]
    pub axle_ratio: Option<f64>,
}

/// Scale, distance and frequency.
pub fn text(args: &SenderArgs) -> Result<String, String> {
    let turns = match (args.on, args.axle_ratio) {
        (Place::Wheel, _) => 1.0,
        (Place::Shaft, Some(ratio)) => ratio,
        (Place::Shaft, None) => {
            return Err(
                "--axle-ratio: missing, and the sender is on a shaft; give it as in 4.1 or \
                        41:10, or say --on wheel"
                    .into(),
            );
        }
    };
    let wheel_turns_per_km = MM_PER_KM / args.tyre.circumference_mm;
    let per_km = pulses_per_km(wheel_turns_per_km * turns, args.pulses);
    let share = K95 * args.tyre.u_mm / args.tyre.circumference_mm;
    let value = |name: &str, x: f64, digits: usize| {
        vec![name.to_string(), format!("{x:.digits$}"), format!("{:.digits$}", x * share)]
    };
    let rows = [
        value("pulses per km", per_km, 1),
        value("pulses per mile", per_km * KM_PER_MILE, 1),
        value("mm per pulse", pulse_distance_mm(per_km), 2),
    ];
    let speeds: Vec<Vec<String>> = [5.0, 30.0, 60.0, 100.0, 120.0]
        .iter()
        .map(|&kmh| vec![format!("{kmh:.0}"), format!("{:.2}", frequency_hz(per_km, kmh))])
        .collect();
    let per_cable = per_km / 4.0;
    let text = table(&["", "value", "± 95 %"], &rows)
        + "\n"
        + &table(&["km/h", "Hz"], &speeds)
        + &format!(
            "\nAt four pulses a turn this is a cable of {per_cable:.1} turns per km; usual are \
             {CABLE_TURNS_PER_KM:.0} and {CABLE_1000_PER_MILE:.1}\n(1000 a mile). Counting both \
             edges doubles everything.\n"
        );
    Ok(text)
}
