//! A propeller shaft between two joints, from what a tape and an inclinometer measure: lengths,
//! slip travel, working angles and phasing, for ordering the shaft.
//!
//! Everything is seen from the transfer case towards the axle, for a front and a rear shaft
//! alike. Rigid parts and exact geometry; flexing mounts, tyres and springs that wrap up under
//! torque are not in it.

use crate::shaft::joint_ratio;
use nalgebra::Vector3;
use std::f64::consts::{FRAC_PI_2, PI};

/// Slip travel to spare at either end (common practice, no standard: an inch).
pub const SLIP_SPARE_MM: f64 = 25.0;
/// Largest working angle of a joint in normal running, degrees (common practice, no standard).
pub const USUAL_ANGLE_DEG: f64 = 3.0;

/// Places looked at between rest and an end of the travel: the shortest length may lie between.
const PLACES: u32 = 100;
/// Below this joint angle (rad) its plane means nothing.
const STRAIGHT: f64 = 1e-6;

/// Where the joint at the axle is, seen from the joint at the case, and how the pinion points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Position {
    /// Level distance along the vehicle, mm.
    pub run_mm: f64,
    /// How much lower it is than the joint at the case, mm; negative: higher.
    pub fall_mm: f64,
    /// How far to one side it is, mm.
    pub side_mm: f64,
    /// How far the nose of the pinion points up towards the case, degrees. Equal to the fall of
    /// the case's output where the two axes are parallel.
    pub pinion_up_deg: f64,
}

impl Position {
    fn between(self, other: Position, share: f64) -> Position {
        let mix = |a: f64, b: f64| a + (b - a) * share;
        Position {
            run_mm: mix(self.run_mm, other.run_mm),
            fall_mm: mix(self.fall_mm, other.fall_mm),
            side_mm: mix(self.side_mm, other.side_mm),
            pinion_up_deg: mix(self.pinion_up_deg, other.pinion_up_deg),
        }
    }
}

/// The direction, away from the case, of an axis that falls by this angle.
fn falling(deg: f64) -> Vector3<f64> {
    let angle = deg.to_radians();
    Vector3::new(angle.cos(), 0.0, -angle.sin())
}

/// A shaft in one position.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bent {
    /// From joint centre to joint centre, mm.
    pub length_mm: f64,
    /// Working angle of the joint at the case, rad.
    pub case_rad: f64,
    /// Working angle of the joint at the axle, rad.
    pub axle_rad: f64,
    /// Angle about the shaft from the plane of the first joint to that of the second, rad, -pi/2
    /// to pi/2: by so much the yoke at the axle end must be turned against the other, in the
    /// sense of a right-hand screw that moves towards the axle, for the two joints to cancel best.
    pub twist_rad: f64,
}

impl Bent {
    /// The shaft for a case whose output axis falls by so many degrees away from the case; `None`
    /// where the joint centres coincide or a number is not finite.
    ///
    /// ```
    /// use wheelwitness_driveline::joints::{Bent, Position};
    /// let at = Position { run_mm: 1200.0, fall_mm: 160.0, side_mm: 0.0, pinion_up_deg: 4.0 };
    /// let bent = Bent::of(4.0, at).unwrap();
    /// assert!((bent.length_mm - 1210.6).abs() < 0.05);
    /// assert!((bent.case_rad - bent.axle_rad).abs() < 1e-9);
    /// ```
    pub fn of(case_down_deg: f64, at: Position) -> Option<Bent> {
        let span = Vector3::new(at.run_mm, at.side_mm, -at.fall_mm);
        let tube = span.try_normalize(1e-9)?;
        let (case, pinion) = (falling(case_down_deg), falling(at.pinion_up_deg));
        let (first, second) = (case.cross(&tube), tube.cross(&pinion));
        let twist = if first.norm().min(second.norm()) < STRAIGHT {
            0.0
        } else {
            first.cross(&second).dot(&tube).atan2(first.dot(&second))
        };
        let bent = Bent {
            length_mm: span.norm(),
            case_rad: first.norm().atan2(case.dot(&tube)),
            axle_rad: second.norm().atan2(pinion.dot(&tube)),
            // A plane has no sides: half a turn more is the same plane.
            twist_rad: twist - PI * (twist / PI).round(),
        };
        [bent.length_mm, bent.case_rad, bent.axle_rad].iter().all(|x| x.is_finite()).then_some(bent)
    }

    /// Speed of the pinion over that of the case's output. `input_rad` is the angle of the driving
    /// cross arm from the plane of the first joint, `phase_rad` the angle by which the yoke at the
    /// axle end is turned against the one at the case end: 0 when the two lie in line.
    pub fn ratio(&self, input_rad: f64, phase_rad: f64) -> f64 {
        let tube = input_rad.sin().atan2(self.case_rad.cos() * input_rad.cos());
        // The tube's arm stands square to the driving one.
        let second = tube + FRAC_PI_2 + phase_rad - self.twist_rad;
        joint_ratio(self.case_rad, input_rad) * joint_ratio(self.axle_rad, second)
    }

    /// Largest less least of [`Bent::ratio`] around a turn: what is left of the two joints' ripple
    /// at the pinion.
    pub fn ripple(&self, phase_rad: f64) -> f64 {
        let around = (0..720).map(|i| self.ratio(PI * f64::from(i) / 720.0, phase_rad));
        let (least, most) = around.fold((f64::MAX, f64::MIN), |(l, m), r| (l.min(r), m.max(r)));
        most - least
    }
}

/// What to order: the shaft at rest and at both ends of the suspension's travel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Order {
    /// Standing on level ground.
    pub rest: Bent,
    /// Axle fully up.
    pub bump: Bent,
    /// Axle fully down.
    pub droop: Bent,
    /// How much shorter than at rest the shaft gets anywhere in the travel, mm.
    pub slip_in_mm: f64,
    /// How much longer than at rest, mm.
    pub slip_out_mm: f64,
    /// Largest working angle of the joint at the case anywhere in the travel, rad.
    pub most_case_rad: f64,
    /// The same of the joint at the axle, rad.
    pub most_axle_rad: f64,
}

impl Order {
    /// The order for a case that falls so many degrees, and the three positions; `None` where one
    /// of them is not a shaft (see [`Bent::of`]). Between them the axle is taken to move straight.
    pub fn of(case_down_deg: f64, [rest, bump, droop]: [Position; 3]) -> Option<Order> {
        let travel = |end: Position| {
            (0..=PLACES).map(move |i| rest.between(end, f64::from(i) / f64::from(PLACES)))
        };
        let all: Vec<Bent> = travel(bump)
            .chain(travel(droop))
            .map(|at| Bent::of(case_down_deg, at))
            .collect::<Option<_>>()?;
        let most = |of: fn(&Bent) -> f64| all.iter().map(of).fold(f64::MIN, f64::max);
        let at_rest = Bent::of(case_down_deg, rest)?;
        Some(Order {
            rest: at_rest,
            bump: Bent::of(case_down_deg, bump)?,
            droop: Bent::of(case_down_deg, droop)?,
            slip_in_mm: at_rest.length_mm + most(|b| -b.length_mm),
            slip_out_mm: most(|b| b.length_mm) - at_rest.length_mm,
            most_case_rad: most(|b| b.case_rad),
            most_axle_rad: most(|b| b.axle_rad),
        })
    }
}
