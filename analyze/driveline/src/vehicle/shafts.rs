//! Propeller shafts: the tube between two joints, as its dimensions are measured.

use crate::shaft::{ALUMINIUM, Material, SAFE_SHARE, STEEL, Tube, TubeU};
use serde::{Deserialize, Serialize};

/// Front and rear propeller shaft, where they were measured.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Shafts {
    /// From the case to the front axle.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub front: Option<Shaft>,
    /// From the case to the rear axle.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rear: Option<Shaft>,
}

impl Shafts {
    /// True where neither was measured.
    pub fn is_empty(&self) -> bool {
        self.front.is_none() && self.rear.is_none()
    }
}

/// A shaft: a tube between two universal joints.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Shaft {
    /// Outer diameter of the tube, millimetres.
    pub outer_mm: f64,
    /// Wall of the tube, millimetres.
    pub wall_mm: f64,
    /// From joint centre to joint centre (or to the centre bearing), millimetres.
    pub length_mm: f64,
    /// Standard uncertainty of that length, millimetres.
    #[serde(default = "default_length_u_mm")]
    pub length_u_mm: f64,
    /// What the tube is made of.
    #[serde(default)]
    pub material: Stock,
    /// Working angles of the joint at the case and of the one at the axle, degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub working_angles_deg: Option<[f64; 2]>,
    /// Largest running speed as a share of the critical speed.
    #[serde(default = "default_share_max")]
    pub share_max: f64,
}

/// What a tube is made of.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stock {
    /// Structural steel.
    #[default]
    Steel,
    /// Wrought aluminium alloy.
    Aluminium,
}

/// A length taken with a tape between two joint centres (common practice).
fn default_length_u_mm() -> f64 {
    3.0
}

fn default_share_max() -> f64 {
    SAFE_SHARE
}

/// Standard uncertainties of a diameter and of a wall, millimetres: a caliper on paint and rust
/// (common practice).
const OUTER_U_MM: f64 = 0.2;
const WALL_U_MM: f64 = 0.15;

/// Relative standard uncertainty of Young's modulus over density: handbooks give 200 to 207 GPa
/// for one steel, 68.9 to 73 for one alloy.
const MATERIAL_U: f64 = 0.02;

impl Shaft {
    /// The tube, in metres.
    ///
    /// ```
    /// use wheelwitness_driveline::vehicle::{Shaft, Stock};
    /// let shaft = Shaft { outer_mm: 76.2, wall_mm: 3.0, length_mm: 1200.0, length_u_mm: 3.0,
    ///     material: Stock::Steel, working_angles_deg: None, share_max: 0.65 };
    /// // 8,557 turns a minute with a modulus of 200 GPa (a public calculation page); here 207.
    /// let rpm = shaft.tube().critical_rpm() * (200.0f64 / 207.0).sqrt();
    /// assert!((rpm - 8557.0).abs() < 0.5);
    /// ```
    pub fn tube(&self) -> Tube {
        Tube {
            outer_m: self.outer_mm / 1e3,
            inner_m: (self.outer_mm - 2.0 * self.wall_mm) / 1e3,
            length_m: self.length_mm / 1e3,
            material: self.material(),
        }
    }

    /// How well its numbers are known.
    pub fn tube_u(&self) -> TubeU {
        TubeU {
            outer_m: OUTER_U_MM / 1e3,
            wall_m: WALL_U_MM / 1e3,
            length_m: self.length_u_mm / 1e3,
            material: MATERIAL_U,
        }
    }

    fn material(&self) -> Material {
        match self.material {
            Stock::Steel => STEEL,
            Stock::Aluminium => ALUMINIUM,
        }
    }
}
