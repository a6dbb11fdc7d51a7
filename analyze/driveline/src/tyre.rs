//! Tyre size designations: what is written on the side wall, and what follows from it.
//!
//! Metric designations (`265/70R16`, `P235/75R15`, `LT265/70R16`, `205/65R16C`) are computed as
//! UN R30 para 6.1.2 does (from memory): `D = d + 2H`, the section height `H` rounded to the
//! nearest millimetre with halves up, the rim diameter `d` in whole millimetres from the code
//! table. Inch flotation designations (`31x10.50R15`) have a *design* diameter smaller than the
//! inches they name, so it comes from a table, never from the name.

use crate::units::KM_PER_MILE;

mod parse;
pub use parse::SizeError;

/// Rolling circumference over outer diameter of a radial tyre (ETRTO manual, from memory: at
/// 60 km/h, reference load and pressure). Smaller than pi, because the loaded tyre is flattened.
pub const ROLLING_FACTOR_RADIAL: f64 = 3.05;
/// The same of a diagonal (or bias-belted) tyre (ETRTO manual, from memory).
pub const ROLLING_FACTOR_DIAGONAL: f64 = 2.99;

/// Rim diameter codes and their diameters in millimetres (UN R30 and R54, from memory): 25.4
/// times the code, rounded to the nearest millimetre.
pub const RIM_CODES: [(f64, u32); 26] = [
    (8.0, 203),
    (9.0, 229),
    (10.0, 254),
    (12.0, 305),
    (13.0, 330),
    (14.0, 356),
    (14.5, 368),
    (15.0, 381),
    (16.0, 406),
    (16.5, 419),
    (17.0, 432),
    (17.5, 445),
    (18.0, 457),
    (19.0, 483),
    (19.5, 495),
    (20.0, 508),
    (20.5, 521),
    (21.0, 533),
    (22.0, 559),
    (22.5, 572),
    (23.0, 584),
    (24.0, 610),
    (24.5, 622),
    (25.0, 635),
    (26.0, 660),
    (28.0, 711),
];

/// An inch flotation size: nominal diameter and width in inches, rim code, design outer diameter
/// in millimetres.
type Flotation = (f64, f64, f64, u32);

/// Design outer diameters of inch flotation sizes (tyre and rim yearbooks, UN R54 Annex 5, all
/// from memory). Using the nominal inches would overstate them by 1.4 to 1.8 percent.
const FLOTATION: [Flotation; 6] = [
    (27.0, 8.5, 14.0, 674),
    (30.0, 9.5, 15.0, 750),
    (31.0, 10.5, 15.0, 775),
    (32.0, 11.5, 15.0, 801),
    (33.0, 12.5, 15.0, 826),
    (35.0, 12.5, 15.0, 877),
];

/// Diameter in millimetres of a rim code, if it is in the table.
///
/// ```
/// assert_eq!(wheelwitness_driveline::tyre::rim_mm(16.0), Some(406));
/// ```
pub fn rim_mm(code: f64) -> Option<u32> {
    RIM_CODES.iter().find(|(c, _)| *c == code).map(|(_, mm)| *mm)
}

fn flotation_mm(nominal_in: f64, width_in: f64, rim: f64) -> Option<u32> {
    let same = |(n, w, r, _): &&Flotation| (*n, *w, *r) == (nominal_in, width_in, rim);
    FLOTATION.iter().find(same).map(|row| row.3)
}

/// How the carcass is laid.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Construction {
    /// Radial: `R`, `ZR`, `RF`, `ZRF`.
    Radial,
    /// Diagonal or bias-belted: `-`, `D`, `B`.
    Diagonal,
}

/// What the tyre is made for, as the prefix or suffix says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Service {
    /// No mark, or `P`: passenger car.
    Passenger,
    /// `LT`, before or after the size: light truck.
    LightTruck,
    /// `C` after the size: commercial.
    Commercial,
}

/// How the section is named.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Section {
    /// Nominal section width and aspect ratio.
    Metric {
        /// Nominal section width in millimetres.
        width_mm: u32,
        /// Section height in percent of the width.
        aspect_percent: u32,
    },
    /// Nominal outer diameter and width in inches.
    Flotation {
        /// Nominal outer diameter in inches: a name, not the diameter.
        diameter_in: f64,
        /// Nominal width in inches.
        width_in: f64,
    },
}

/// A tyre size, read from its designation with [`str::parse`].
///
/// ```
/// use wheelwitness_driveline::tyre::Size;
/// let size: Size = "LT265/70R16".parse()?;
/// assert_eq!(size.outer_diameter_mm(), 778);
/// assert!((size.rolling_circumference_mm() - 2372.9).abs() < 0.01);
/// # Ok::<(), wheelwitness_driveline::tyre::SizeError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Size {
    section: Section,
    construction: Construction,
    service: Service,
    rim_code: f64,
    rim_mm: u32,
    outer_mm: u32,
}

impl Size {
    /// How the section is named.
    pub fn section(&self) -> Section {
        self.section
    }

    /// How the carcass is laid.
    pub fn construction(&self) -> Construction {
        self.construction
    }

    /// What the tyre is made for.
    pub fn service(&self) -> Service {
        self.service
    }

    /// Rim diameter code as written: 16, or 16.5.
    pub fn rim_code(&self) -> f64 {
        self.rim_code
    }

    /// Design outer diameter of the new tyre in millimetres.
    pub fn outer_diameter_mm(&self) -> u32 {
        self.outer_mm
    }

    /// Section height in millimetres: metric as rounded by UN R30, else half of what the design
    /// diameter leaves beyond the rim.
    pub fn section_height_mm(&self) -> f64 {
        f64::from(self.outer_mm - self.rim_mm) / 2.0
    }

    /// Smallest and largest outer diameter that a tyre of this marking may have, in millimetres
    /// (UN R30 para 6.1.4.2, radial, from memory): `d + 2H * 0.97` to `d + 2H * 1.04`. So the
    /// same marking does not prove the same rolling circumference.
    pub fn outer_diameter_range_mm(&self) -> (f64, f64) {
        let rim = f64::from(self.rim_mm);
        let two_h = 2.0 * self.section_height_mm();
        (rim + two_h * 0.97, rim + two_h * 1.04)
    }

    /// Rolling circumference in millimetres: [`ROLLING_FACTOR_RADIAL`] or
    /// [`ROLLING_FACTOR_DIAGONAL`] times the design outer diameter.
    pub fn rolling_circumference_mm(&self) -> f64 {
        let factor = match self.construction {
            Construction::Radial => ROLLING_FACTOR_RADIAL,
            Construction::Diagonal => ROLLING_FACTOR_DIAGONAL,
        };
        factor * f64::from(self.outer_mm)
    }

    /// Standard uncertainty of [`Size::rolling_circumference_mm`], about 1 percent: the legal
    /// range of the outer diameter taken as equally likely throughout (GUM 4.3.7: its width over
    /// the root of 12). Wear and pressure are not in it; measure a roll-out to do better.
    pub fn rolling_circumference_u_mm(&self) -> f64 {
        let (low, high) = self.outer_diameter_range_mm();
        let relative = (high - low) / f64::from(self.outer_mm) / 12f64.sqrt();
        relative * self.rolling_circumference_mm()
    }

    /// Turns per kilometre.
    pub fn turns_per_km(&self) -> f64 {
        1e6 / self.rolling_circumference_mm()
    }

    /// Turns per statute mile.
    pub fn turns_per_mile(&self) -> f64 {
        self.turns_per_km() * KM_PER_MILE
    }
}

/// Rolling circumference of the new tyre over that of the old one, and its standard uncertainty:
/// each may lie anywhere in the range that its marking allows
/// ([`Size::rolling_circumference_u_mm`]).
pub fn circumference_ratio(old: &Size, new: &Size) -> [f64; 2] {
    let ratio = new.rolling_circumference_mm() / old.rolling_circumference_mm();
    let [a, b] = [old, new].map(|s| s.rolling_circumference_u_mm() / s.rolling_circumference_mm());
    [ratio, ratio * a.hypot(b)]
}

/// True speed after a change of tyres, with a speedometer that was true before and was not
/// adjusted: the indicated speed times the ratio of the outer diameters.
///
/// ```
/// use wheelwitness_driveline::tyre::{Size, true_speed_after_change};
/// let (old, new): (Size, Size) = ("235/75R15".parse()?, "265/75R16".parse()?);
/// assert!((true_speed_after_change(100.0, &old, &new) - 109.686).abs() < 0.001);
/// # Ok::<(), wheelwitness_driveline::tyre::SizeError>(())
/// ```
pub fn true_speed_after_change(indicated_kmh: f64, old: &Size, new: &Size) -> f64 {
    indicated_kmh * f64::from(new.outer_mm) / f64::from(old.outer_mm)
}
