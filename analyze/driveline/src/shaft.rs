//! Propeller shafts: universal joints and the speed at which a tube whirls.

use crate::stats::combined_u;
use crate::units::rad_s_from_rpm;
use std::f64::consts::PI;

/// Output over input speed of one universal (Hooke) joint: `cos b / (1 - sin^2 b cos^2 t)`, with
/// the joint angle `b` and the input angle `t` in radians, `t` = 0 when the driving cross arm lies
/// in the plane of both shafts (any text on the theory of machines).
///
/// ```
/// use wheelwitness_driveline::shaft::joint_ratio;
/// let straight = joint_ratio(0.0, 1.2);
/// assert_eq!(straight, 1.0);
/// ```
pub fn joint_ratio(joint_rad: f64, input_rad: f64) -> f64 {
    joint_rad.cos() / (1.0 - (joint_rad.sin() * input_rad.cos()).powi(2))
}

/// Least and largest speed ratio of one joint: `cos b` and `1 / cos b`, twice a turn each.
pub fn joint_extremes(joint_rad: f64) -> [f64; 2] {
    [joint_rad.cos(), 1.0 / joint_rad.cos()]
}

/// Largest ratio less least, `tan b sin b`: the ripple that a pick-up beyond a single joint sees.
pub fn joint_ripple(joint_rad: f64) -> f64 {
    joint_rad.tan() * joint_rad.sin()
}

/// Joint angle in radians that gives this ripple: the inverse of [`joint_ripple`].
pub fn joint_from_ripple(ripple: f64) -> f64 {
    // 1/c - c = ripple, the positive root of c^2 + ripple c - 1 = 0.
    ((-ripple + (ripple * ripple + 4.0).sqrt()) / 2.0).acos()
}

/// Largest difference of output and input angle of one joint, in radians, four times a turn:
/// `tan out = tan in / cos b` differs most where `tan in = sqrt(cos b)`.
pub fn joint_angle_error(joint_rad: f64) -> f64 {
    let root = joint_rad.cos().sqrt();
    (1.0 / root).atan() - root.atan()
}

/// Young's modulus in pascal and density in kilograms per cubic metre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Material {
    /// Young's modulus, Pa.
    pub youngs_pa: f64,
    /// Density, kg/m^3.
    pub density: f64,
}

/// Structural steel (handbook values: 207 GPa, 7,850 kg/m^3).
pub const STEEL: Material = Material { youngs_pa: 207e9, density: 7850.0 };

/// Wrought aluminium alloy 6061 (handbook values: 68.9 GPa, 2,700 kg/m^3; from memory).
pub const ALUMINIUM: Material = Material { youngs_pa: 68.9e9, density: 2700.0 };

/// Largest running speed as a share of the critical one (common practice: 65 to 75 percent).
pub const SAFE_SHARE: f64 = 0.65;

/// Balance quality grade of propeller shafts, mm/s (ISO 21940-11:2016 table 1, formerly ISO
/// 1940-1, from memory).
pub const BALANCE_GRADE: f64 = 16.0;

/// Permissible residual unbalance in gram millimetres, both planes together, of a shaft of this
/// mass at its highest service speed (ISO 21940-11:2016: grade = eccentricity times angular speed).
///
/// ```
/// use wheelwitness_driveline::shaft::unbalance_g_mm;
/// assert!((unbalance_g_mm(16.0, 10.0, 3000.0) - 509.3).abs() < 0.05);
/// ```
pub fn unbalance_g_mm(grade_mm_s: f64, mass_kg: f64, rpm: f64) -> f64 {
    1000.0 * grade_mm_s * mass_kg / rad_s_from_rpm(rpm)
}

/// Standard uncertainties of what the critical speed of a tube is computed from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TubeU {
    /// Of the outer diameter, m.
    pub outer_m: f64,
    /// Of the wall, m.
    pub wall_m: f64,
    /// Of the length, m.
    pub length_m: f64,
    /// Of Young's modulus over density, relative.
    pub material: f64,
}

/// A uniform tube between two joints, in metres; a solid shaft has no inner diameter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tube {
    /// Outer diameter, m.
    pub outer_m: f64,
    /// Inner diameter, m.
    pub inner_m: f64,
    /// Length from joint centre to joint centre (or to the centre bearing), m.
    pub length_m: f64,
    /// What it is made of.
    pub material: Material,
}

impl Tube {
    /// Cross-section of metal, m^2.
    pub fn area(&self) -> f64 {
        PI / 4.0 * (self.outer_m.powi(2) - self.inner_m.powi(2))
    }

    /// Second moment of area, m^4.
    pub fn second_moment(&self) -> f64 {
        PI / 64.0 * (self.outer_m.powi(4) - self.inner_m.powi(4))
    }

    /// Mass per length, kg/m.
    pub fn mass_per_m(&self) -> f64 {
        self.area() * self.material.density
    }

    /// First critical (whirling) speed in turns a minute, simply supported, mass distributed:
    /// `60 (pi / 2) sqrt(E I / (m L^4))` (any text on machine dynamics). Real shafts whirl
    /// earlier, by slip joints and soft ends; hence [`SAFE_SHARE`].
    ///
    /// ```
    /// use wheelwitness_driveline::shaft::{STEEL, Tube};
    /// let tube = Tube { outer_m: 0.0762, inner_m: 0.0702, length_m: 1.2, material: STEEL };
    /// assert!(tube.critical_rpm() > 8500.0);
    /// ```
    pub fn critical_rpm(&self) -> f64 {
        let stiffness = self.material.youngs_pa * self.second_moment();
        30.0 * PI * (stiffness / (self.mass_per_m() * self.length_m.powi(4))).sqrt()
    }

    /// Standard uncertainty of [`Tube::critical_rpm`]. The speed goes with the root of `D^2 + d^2`
    /// over the square of the length; a wrong outer diameter makes the inner one wrong with it,
    /// because the inner one is the outer one less two walls. The model itself (ends that yield,
    /// a slip joint) is not in it.
    pub fn critical_u_rpm(&self, u: &TubeU) -> f64 {
        let squares = self.outer_m.powi(2) + self.inner_m.powi(2);
        let sensitivity =
            [self.outer_m / squares, self.inner_m / squares, -2.0 / self.length_m, 0.5];
        let outer = u.outer_m.powi(2);
        let covariance = [
            vec![outer, outer, 0.0, 0.0],
            vec![outer, outer + 4.0 * u.wall_m.powi(2), 0.0, 0.0],
            vec![0.0, 0.0, u.length_m.powi(2), 0.0],
            vec![0.0, 0.0, 0.0, u.material.powi(2)],
        ];
        self.critical_rpm() * combined_u(&sensitivity, &covariance)
    }

    /// Length in metres at which this tube would have that critical speed.
    ///
    /// ```
    /// use wheelwitness_driveline::shaft::{STEEL, Tube};
    /// let tube = Tube { outer_m: 0.0762, inner_m: 0.0702, length_m: 1.2, material: STEEL };
    /// assert!((tube.length_for_m(tube.critical_rpm() / 4.0) - 2.4).abs() < 1e-9);
    /// ```
    pub fn length_for_m(&self, rpm: f64) -> f64 {
        self.length_m * (self.critical_rpm() / rpm).sqrt()
    }

    /// The same with all mass in the middle instead of distributed, `sqrt(48 E I / (M L^3))`
    /// with the mass `M = m L`. Exercise books use it; it is some 30 percent lower and wrong for
    /// a tube, and here to recognise such a figure.
    pub fn critical_rpm_lumped(&self) -> f64 {
        let stiffness = 48.0 * self.material.youngs_pa * self.second_moment();
        30.0 / PI * (stiffness / (self.mass_per_m() * self.length_m.powi(4))).sqrt()
    }
}
