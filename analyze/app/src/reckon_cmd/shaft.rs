//! `reckon shaft`: the order sheet.

use super::{caution, input, table, warn};
use clap::Args;
use wheelwitness_driveline::joints::{Bent, Order, Position, SLIP_SPARE_MM, USUAL_ANGLE_DEG};
use wheelwitness_driveline::shaft::joint_ripple;

/// Arguments of `reckon shaft`. Seen from the transfer case towards the axle.
#[derive(Debug, Args)]
#[command(after_help = SHAFT_NOTES)]
pub struct ShaftArgs {
    /// Level distance from joint centre to joint centre along the vehicle, at rest
    #[arg(long, value_parser = input::length, value_name = "MM")]
    pub run_mm: f64,
    /// How much lower the joint at the axle is than the one at the case, at rest
    #[arg(long, value_parser = input::offset, value_name = "MM", allow_negative_numbers = true)]
    pub fall_mm: f64,
    /// How far the joint at the axle is to one side: positive is left as seen towards the axle
    #[arg(
        long,
        value_parser = input::offset,
        value_name = "MM",
        default_value = "0",
        allow_negative_numbers = true
    )]
    pub side_mm: f64,
    /// How much the case's output falls towards the axle
    #[arg(long, value_parser = input::slope, value_name = "DEG", allow_negative_numbers = true)]
    pub case_down: f64,
    /// How much the pinion's nose rises towards the case, at rest
    #[arg(long, value_parser = input::slope, value_name = "DEG", allow_negative_numbers = true)]
    pub pinion_up: f64,
    /// Travel of the axle's joint upwards from rest, to the stop
    #[arg(long, value_parser = input::travel, value_name = "MM")]
    pub bump_mm: f64,
    /// Travel of the axle's joint downwards from rest, axle hanging
    #[arg(long, value_parser = input::travel, value_name = "MM")]
    pub droop_mm: f64,
    /// Level distance with the axle fully up [default: as at rest]
    #[arg(long, value_parser = input::length, value_name = "MM")]
    pub bump_run_mm: Option<f64>,
    /// Level distance with the axle fully down [default: as at rest]
    #[arg(long, value_parser = input::length, value_name = "MM")]
    pub droop_run_mm: Option<f64>,
    /// Rise of the pinion's nose with the axle fully up [default: as at rest]
    #[arg(long, value_parser = input::slope, value_name = "DEG", allow_negative_numbers = true)]
    pub bump_pinion_up: Option<f64>,
    /// Rise of the pinion's nose with the axle fully down [default: as at rest]
    #[arg(long, value_parser = input::slope, value_name = "DEG", allow_negative_numbers = true)]
    pub droop_pinion_up: Option<f64>,
}

const SHAFT_NOTES: &str = "\
Measure at rest on level ground with the springs loaded, then with the axle supported at each end
of its travel. Slopes by inclinometer on the machined faces of the flanges. A shaft at the front is
seen from the case forwards, one at the rear from the case backwards. One joint at each end.";

/// Cautions to print.
pub const CAUTIONS: &[&str] = &["stands-not-jacks", "chock-first", "guard-shafts"];

const ORDERING: &str = "A shaft that is too long at its shortest place breaks the case or the \
                        axle; \
                        one that is too short comes apart and drops. Measure again with the \
                        axle at \
                        both ends of its travel before ordering, turn the finished shaft by hand \
                        through the whole travel, and let a licensed workshop make and balance it.";

/// Of a tape, mm, and of an inclinometer, degrees (common practice).
const MEASURED: [f64; 2] = [2.0, 0.2];

fn order(args: &ShaftArgs) -> Option<Order> {
    let rest = Position {
        run_mm: args.run_mm,
        fall_mm: args.fall_mm,
        side_mm: args.side_mm,
        pinion_up_deg: args.pinion_up,
    };
    let moved = |down_mm: f64, run_mm: Option<f64>, up: Option<f64>| Position {
        run_mm: run_mm.unwrap_or(rest.run_mm),
        fall_mm: rest.fall_mm + down_mm,
        pinion_up_deg: up.unwrap_or(rest.pinion_up_deg),
        ..rest
    };
    let bump = moved(-args.bump_mm, args.bump_run_mm, args.bump_pinion_up);
    let droop = moved(args.droop_mm, args.droop_run_mm, args.droop_pinion_up);
    Order::of(args.case_down, [rest, bump, droop])
}

/// The order sheet.
pub fn text(args: &ShaftArgs) -> Result<String, String> {
    let order = order(args).ok_or(
        "--run-mm, --fall-mm: these joints are in one place; measure from joint centre to joint \
         centre",
    )?;
    let phase = order.rest.twist_rad;
    let rows = [("at rest", &order.rest), ("fully up", &order.bump), ("fully down", &order.droop)]
        .map(|(name, bent)| row(name, bent, phase));
    let head = ["", "length mm", "case joint °", "axle joint °", "ripple in line", "as phased"];
    Ok(table(&head, &rows)
        + &lengths(&order)
        + &angles(&order)
        + &phasing(&order)
        + &caution(ORDERING)
        + &warn(CAUTIONS))
}

fn row(name: &str, bent: &Bent, phase: f64) -> Vec<String> {
    vec![
        name.to_string(),
        format!("{:.1}", bent.length_mm),
        format!("{:.2}", bent.case_rad.to_degrees()),
        format!("{:.2}", bent.axle_rad.to_degrees()),
        format!("{:.2} %", bent.ripple(0.0) * 100.0),
        format!("{:.2} %", bent.ripple(phase) * 100.0),
    ]
}

fn lengths(order: &Order) -> String {
    let [mm, degrees] = MEASURED;
    let angle = degrees.hypot((mm / order.rest.length_mm).to_degrees());
    let slip = order.slip_in_mm + order.slip_out_mm;
    format!(
        "\nOrder: joint to joint {:.1} ± {:.1} mm at rest (95 %, tape ± {:.0} mm). Slip in at \
         least \
         {:.1} mm, out at\nleast {:.1} mm, {slip:.1} mm in all; with {SLIP_SPARE_MM:.0} mm to \
         spare \
         at either end (common practice) {:.0} mm.\nAngles ± {:.1}° (95 %, inclinometer ± \
         {:.1}°).\n",
        order.rest.length_mm,
        2.0 * mm,
        2.0 * mm,
        order.slip_in_mm,
        order.slip_out_mm,
        slip + 2.0 * SLIP_SPARE_MM,
        2.0 * angle,
        2.0 * degrees
    )
}

fn angles(order: &Order) -> String {
    let [case, axle] = [order.most_case_rad, order.most_axle_rad].map(f64::to_degrees);
    let at_rest = [order.rest.case_rad, order.rest.axle_rad].map(f64::to_degrees);
    let mut text = format!(
        "The joints must bend freely, and without the yokes touching, to {case:.1}° at the case \
         and \
         {axle:.1}° at the axle.\n"
    );
    if at_rest.iter().any(|deg| *deg > USUAL_ANGLE_DEG) {
        text += &format!(
            "A working angle at rest is above {USUAL_ANGLE_DEG:.0}° (common practice for a \
             shaft at \
             road speed): expect wear and vibration.\n"
        );
    }
    text
}

fn phasing(order: &Order) -> String {
    let rest = &order.rest;
    let twist = rest.twist_rad.to_degrees();
    let turn = match twist.abs() {
        t if t < 0.5 => "Yokes in line with each other.".to_string(),
        t => format!(
            "Yokes {t:.1}° out of line: seen from the case, the one at the axle is turned {}.",
            if twist > 0.0 { "clockwise" } else { "counter-clockwise" }
        ),
    };
    format!(
        "{turn}\nRipple is the largest less the least speed of the pinion in a turn, at a steady \
         case, twice a turn; the\ncase joint alone makes {:.2} %. Equal angles with the yokes so \
         phased leave none.\n",
        joint_ripple(rest.case_rad) * 100.0
    )
}
