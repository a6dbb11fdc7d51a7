//! `reckon whirl`: the critical speed of a tube.

use super::{K95, caution, input, table, warn};
use clap::Args;
use wheelwitness_driveline::shaft::{
    BALANCE_GRADE, Material, SAFE_SHARE, Tube, TubeU, unbalance_g_mm,
};
use wheelwitness_driveline::units::wheel_rpm;

/// Arguments of `reckon whirl`.
#[derive(Debug, Args)]
pub struct WhirlArgs {
    /// Outer diameter of the tube
    #[arg(long, value_parser = input::length, value_name = "MM")]
    pub outer_mm: f64,
    /// Wall of the tube; half the outer diameter for a solid shaft
    #[arg(long, value_parser = input::length, value_name = "MM")]
    pub wall_mm: f64,
    /// From joint centre to joint centre, or to the centre bearing
    #[arg(long, value_parser = input::length, value_name = "MM")]
    pub length_mm: f64,
    /// Young's modulus
    #[arg(long, value_parser = input::modulus, value_name = "GPA", default_value = "207")]
    pub modulus_gpa: f64,
    /// Density, kg per cubic metre
    #[arg(long, value_parser = input::density, value_name = "DENSITY", default_value = "7850")]
    pub density: f64,
    /// Highest road speed, to see the share of the critical speed that it reaches
    #[arg(
        long,
        value_parser = input::speed,
        value_name = "KMH",
        requires = "tyre",
        requires = "axle_ratio"
    )]
    pub kmh: Option<f64>,
    /// Tyres: 265/70R16, or a roll-out as 2373mm
    #[arg(long, value_parser = input::rolling, value_name = "TYRE", requires = "kmh")]
    pub tyre: Option<input::Rolling>,
    /// Axle ratio: 4.1, or 41:10
    #[arg(long, value_parser = input::ratio, value_name = "RATIO", requires = "kmh")]
    pub axle_ratio: Option<f64>,
    /// Mass of the whole shaft, for the balance to order
    #[arg(long, value_parser = input::mass, value_name = "KG", requires = "kmh")]
    pub mass_kg: Option<f64>,
}

/// Cautions to print.
pub const CAUTIONS: &[&str] = &["guard-shafts"];

const WHIRLING: &str = "A shaft that runs at its critical speed bends, breaks and flails; it can \
                        pitch the vehicle up or cut through the floor. Stay below the shares \
                        above, \
                        fit a hoop around the front part of each shaft, and leave making and \
                        balancing it to a licensed workshop.";

/// Standard uncertainties of what is measured with calliper and tape; steels differ by about 1 %
/// in modulus over density (common practice).
const MEASURED: TubeU = TubeU { outer_m: 2e-4, wall_m: 1e-4, length_m: 3e-3, material: 0.01 };

fn tube(args: &WhirlArgs) -> Result<Tube, String> {
    let inner_mm = args.outer_mm - 2.0 * args.wall_mm;
    if inner_mm < -1e-9 {
        return Err(format!(
            "--wall-mm {}: more than half of --outer-mm {}; measure the wall at a cut end, or give \
             half the diameter for a solid shaft",
            args.wall_mm, args.outer_mm
        ));
    }
    if args.length_mm < 5.0 * args.outer_mm {
        return Err(format!(
            "--length-mm {}: less than five diameters; so short a shaft does not whirl as a \
             slender \
             one, and its critical speed is beyond any road speed",
            args.length_mm
        ));
    }
    let [outer_m, inner_m, length_m] =
        [args.outer_mm, inner_mm.max(0.0), args.length_mm].map(|mm| mm / 1000.0);
    let material = Material { youngs_pa: args.modulus_gpa * 1e9, density: args.density };
    Ok(Tube { outer_m, inner_m, length_m, material })
}

/// Critical speed, what may be run, and what is.
pub fn text(args: &WhirlArgs) -> Result<String, String> {
    let tube = tube(args)?;
    let critical = tube.critical_rpm();
    let wide = K95 * tube.critical_u_rpm(&MEASURED);
    let mut rows = vec![vec!["critical".into(), format!("{critical:.0}"), format!("{wide:.0}")]];
    rows.extend([0.75, 0.70, SAFE_SHARE].map(|share| {
        let [rpm, wide] = [critical, wide].map(|x| format!("{:.0}", share * x));
        vec![format!("{:.0} %", share * 100.0), rpm, wide]
    }));
    let mut text = table(&["", "rpm", "± 95 %"], &rows);
    text += "\nUniform tube, hinged ends (any text on machine dynamics); 65 to 75 % is common \
             practice.\nNot in the interval: ends that yield and a slip joint, which lower it, \
             by up \
             to 30 % in some designs.\n";
    if let (Some(kmh), Some(tyre), Some(ratio)) = (args.kmh, &args.tyre, args.axle_ratio) {
        text += &running(&tube, kmh, tyre.circumference_mm, ratio, args.mass_kg);
    }
    Ok(text + &caution(WHIRLING) + &warn(CAUTIONS))
}

fn running(tube: &Tube, kmh: f64, circumference: f64, ratio: f64, mass: Option<f64>) -> String {
    let rpm = wheel_rpm(kmh, circumference) * ratio;
    let share = rpm / tube.critical_rpm();
    let top = kmh * SAFE_SHARE / share;
    let longest = tube.length_for_m(rpm / SAFE_SHARE) * 1000.0;
    let mut text = format!(
        "\nAt {kmh:.0} km/h the shaft turns {rpm:.0} rpm, {:.0} % of the critical speed. 65 % is \
         reached at {top:.0} km/h.\nThe longest such tube for {kmh:.0} km/h at 65 % is \
         {longest:.0} \
         mm between joint centres.\nWhere one end stands and the center differential is open, the \
         other shaft turns 1/a times as fast\n(twice at an even split): that is not in these \
         figures.\n",
        share * 100.0
    );
    if let Some(kg) = mass {
        let unbalance = unbalance_g_mm(BALANCE_GRADE, kg, rpm);
        text += &format!(
            "Balance to order: G {BALANCE_GRADE:.0} at {rpm:.0} rpm, {unbalance:.0} g mm left in \
             all, half in each plane\n(ISO 21940-11, row from memory).\n"
        );
    }
    text
}
