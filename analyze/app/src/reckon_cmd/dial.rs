//! `reckon dial`: the speedometer after a change.

use super::{K95, input, table, warn};
use clap::Args;
use wheelwitness_driveline::speedometer::{Geared, r39_indicated};

/// Arguments of `reckon dial`.
#[derive(Debug, Args)]
pub struct DialArgs {
    /// Tyres when the speedometer was right: 265/70R16, or a roll-out as 2373mm
    #[arg(long, value_parser = input::rolling, value_name = "TYRE")]
    pub tyre_before: input::Rolling,
    /// Tyres now [default: the same]
    #[arg(long, value_parser = input::rolling, value_name = "TYRE")]
    pub tyre_after: Option<input::Rolling>,
    /// Axle ratio before, where the sender sits before the axle: 4.1, or 41:10
    #[arg(long, value_parser = input::ratio, value_name = "RATIO", requires = "axle_after")]
    pub axle_before: Option<f64>,
    /// Axle ratio now
    #[arg(long, value_parser = input::ratio, value_name = "RATIO", requires = "axle_before")]
    pub axle_after: Option<f64>,
    /// By how much the speedometer read high before
    #[arg(
        long,
        value_parser = input::percent,
        value_name = "PERCENT",
        default_value = "0",
        allow_negative_numbers = true
    )]
    pub reads_high: f64,
    /// Pulses per kilometre that the speedometer is set to
    #[arg(long, value_parser = input::per_km, value_name = "N")]
    pub pulses_per_km: Option<f64>,
}

/// Cautions to print.
pub const CAUTIONS: &[&str] = &["workshop-has-the-last-word", "passenger-works-the-computer"];

/// True over shown speed by the change alone, and its standard uncertainty.
fn change(args: &DialArgs) -> [f64; 2] {
    let geared = |tyre: &input::Rolling, ratio: Option<f64>| Geared {
        circumference_mm: tyre.circumference_mm,
        u_mm: tyre.u_mm,
        sender_turns: ratio.unwrap_or(1.0),
    };
    let before = geared(&args.tyre_before, args.axle_before);
    match &args.tyre_after {
        Some(tyre) => before.true_per_shown(&geared(tyre, args.axle_after)),
        // The tyres stay: whatever their circumference is, it cancels.
        None => {
            let exact = Geared { u_mm: 0.0, ..before };
            exact.true_per_shown(&Geared { sender_turns: args.axle_after.unwrap_or(1.0), ..exact })
        }
    }
}

/// What it shows, and whether UN R39 allows that.
pub fn text(args: &DialArgs) -> String {
    let [ratio, u] = change(args);
    let rows: Vec<Vec<String>> = [30.0, 50.0, 80.0, 100.0, 120.0]
        .iter()
        .map(|&speed| row(speed, speed / ratio * (1.0 + args.reads_high / 100.0), u / ratio))
        .collect();
    let mut text = table(&["true km/h", "shows", "± 95 %", "R39 from", "to", "verdict"], &rows);
    text += &format!(
        "\nDriven per shown: {ratio:.4} ± {:.4} (95 %). The sender's pulses must become {ratio:.4} \
         times as frequent\nfor the speedometer to read as before.\n",
        K95 * u
    );
    if let Some(pulses) = args.pulses_per_km {
        text += &format!("Or set it to {:.1} pulses per km (now {pulses:.1}).\n", pulses / ratio);
    }
    text += "Limits: UN Regulation No. 39 para 5.3, for type approval; the law of the place may \
             differ.\nThese are reckoned values: a drive with a GNSS receiver decides.\n";
    text + &warn(CAUTIONS)
}

fn row(speed: f64, shows: f64, relative_u: f64) -> Vec<String> {
    let [least, most] = r39_indicated(speed);
    let wide = K95 * shows * relative_u;
    let verdict = allowed([shows - wide, shows + wide], [least, most]);
    let mut cells: Vec<String> =
        [speed, shows, wide, least, most].iter().map(|x| format!("{x:.1}")).collect();
    cells.push(verdict.to_string());
    cells
}

/// An interval against limits; rounding of a change that is none must not decide.
fn allowed([low, high]: [f64; 2], [least, most]: [f64; 2]) -> &'static str {
    const HAIR: f64 = 1e-9;
    if low >= least - HAIR && high <= most + HAIR {
        "allowed"
    } else if high < least {
        "reads too low"
    } else if low > most {
        "reads too high"
    } else {
        "too close to say"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_whole_interval_inside_or_outside_decides() {
        let limits = [80.0, 92.0];
        let told = [[81.0, 91.0], [80.0, 80.0], [70.0, 79.0], [93.0, 95.0], [79.0, 85.0]]
            .map(|interval| allowed(interval, limits));
        let expected =
            ["allowed", "allowed", "reads too low", "reads too high", "too close to say"];
        assert_eq!(told, expected);
    }
}
