//! Words of the command line as quantities. The parser names the option; these say what to write.

use wheelwitness_driveline::tyre::Size;

/// A tyre of which the rolling circumference is known, from its size or from a roll-out.
#[derive(Debug, Clone, PartialEq)]
pub struct Rolling {
    /// As it was written.
    pub name: String,
    /// Rolling circumference, mm.
    pub circumference_mm: f64,
    /// Its standard uncertainty, mm.
    pub u_mm: f64,
}

/// Standard uncertainty of a roll-out, as a share (common practice: a few turns, loaded, on hard
/// level ground; a tape of 10 m read to 1 cm).
const ROLL_OUT_U: f64 = 0.001;

/// Reads a tyre: `265/70R16`, or `2373mm` for a measured roll-out.
pub fn rolling(text: &str) -> Result<Rolling, String> {
    let name = text.to_string();
    if let Some(number) = text.strip_suffix("mm") {
        let circumference_mm = between(number, 500.0, 6000.0, "mm of one turn, as in 2373mm")?;
        return Ok(Rolling { name, circumference_mm, u_mm: ROLL_OUT_U * circumference_mm });
    }
    let size = size(text)?;
    let (circumference_mm, u_mm) =
        (size.rolling_circumference_mm(), size.rolling_circumference_u_mm());
    Ok(Rolling { name, circumference_mm, u_mm })
}

/// Reads a tyre size.
pub fn size(text: &str) -> Result<Size, String> {
    text.parse().map_err(|e| {
        format!("{e}; write it as on the side wall (265/70R16), or a roll-out in mm (2373mm)")
    })
}

/// A ratio of turns: `4.1`, or `41:10` by tooth counts.
pub fn ratio(text: &str) -> Result<f64, String> {
    const NEXT: &str = "shaft turns per wheel turn, as in 4.1, or teeth as in 41:10";
    match text.split_once(':') {
        None => between(text, 1.0, 20.0, NEXT),
        Some((a, b)) => {
            let [a, b] = [a, b].map(|t| between(t, 1.0, 200.0, NEXT));
            let ratio = a? / b?;
            between(&ratio.to_string(), 1.0, 20.0, NEXT)
        }
    }
}

/// A length that cannot be zero, mm.
pub fn length(text: &str) -> Result<f64, String> {
    between(text, 0.1, 10_000.0, "mm")
}

/// A distance to either side, mm.
pub fn offset(text: &str) -> Result<f64, String> {
    between(text, -3000.0, 3000.0, "mm; negative is the other way")
}

/// A travel, mm.
pub fn travel(text: &str) -> Result<f64, String> {
    between(text, 0.0, 1000.0, "mm, without a sign")
}

/// A slope, degrees.
pub fn slope(text: &str) -> Result<f64, String> {
    between(text, -45.0, 45.0, "degrees, as an inclinometer shows them")
}

/// A road speed, km/h.
pub fn speed(text: &str) -> Result<f64, String> {
    between(text, 0.1, 400.0, "km/h")
}

/// A share of torque.
pub fn share(text: &str) -> Result<f64, String> {
    between(text, 0.05, 0.95, "the front's share of the torque, as in 0.4")
}

/// Pulses in one turn.
pub fn pulses(text: &str) -> Result<f64, String> {
    between(text, 0.1, 1000.0, "pulses in one turn of what carries the sender")
}

/// Pulses in one kilometre.
pub fn per_km(text: &str) -> Result<f64, String> {
    between(text, 1.0, 1e6, "pulses in one kilometre")
}

/// A percentage that may be negative.
pub fn percent(text: &str) -> Result<f64, String> {
    between(text, -50.0, 50.0, "percent")
}

/// A mass, kg.
pub fn mass(text: &str) -> Result<f64, String> {
    between(text, 0.1, 200.0, "kg")
}

/// Young's modulus, GPa.
pub fn modulus(text: &str) -> Result<f64, String> {
    between(text, 1.0, 1000.0, "GPa, 207 for steel")
}

/// Density, kg/m^3.
pub fn density(text: &str) -> Result<f64, String> {
    between(text, 500.0, 20_000.0, "kg per cubic metre, 7850 for steel")
}

fn between(text: &str, least: f64, most: f64, next: &str) -> Result<f64, String> {
    let number: f64 = text.trim().parse().map_err(|_| format!("not a number; write {next}"))?;
    if (least..=most).contains(&number) {
        Ok(number)
    } else {
        Err(format!("not between {least} and {most}; write {next}"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tyre_is_a_size_or_a_roll_out() {
        assert!((rolling("265/70R16").unwrap().circumference_mm - 2372.9).abs() < 0.01);
        assert_eq!(rolling("2373mm").unwrap().circumference_mm, 2373.0);
        for bad in ["2373", "mm", "-5mm", "NaNmm", "265/70"] {
            assert!(rolling(bad).unwrap_err().contains("write"), "{bad}");
        }
    }

    #[test]
    fn a_ratio_is_a_number_or_two_tooth_counts() {
        assert_eq!(ratio("41:10"), Ok(4.1));
        assert_eq!(ratio("4.1"), Ok(4.1));
        for bad in ["10:41", "0", "4,1", ":", "41:0", "inf", "NaN"] {
            assert!(ratio(bad).is_err(), "{bad}");
        }
    }
}
