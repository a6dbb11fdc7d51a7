//! Conversion factors, each exact or with its source.

/// Millimetres in an inch, exact (international yard and pound agreement, 1959).
pub const MM_PER_INCH: f64 = 25.4;
/// Kilometres in a statute mile, exact (5,280 feet of 304.8 mm).
pub const KM_PER_MILE: f64 = 1.609_344;
/// Millimetres in a kilometre, exact.
pub const MM_PER_KM: f64 = 1e6;
/// Kilometres per hour in a knot, exact (the nautical mile is 1,852 m).
pub const KMH_PER_KNOT: f64 = 1.852;
/// Kilometres per hour in a metre per second, exact.
pub const KMH_PER_MS: f64 = 3.6;
/// Standard acceleration of free fall in metres per second squared, exact (CGPM 1901).
pub const STANDARD_GRAVITY: f64 = 9.806_65;

/// Metres per second from kilometres per hour.
///
/// ```
/// assert_eq!(wheelwitness_driveline::units::ms_from_kmh(36.0), 10.0);
/// ```
pub fn ms_from_kmh(kmh: f64) -> f64 {
    kmh / KMH_PER_MS
}

/// Radians per second from revolutions per minute.
pub fn rad_s_from_rpm(rpm: f64) -> f64 {
    rpm * std::f64::consts::TAU / 60.0
}

/// Revolutions per minute from radians per second.
pub fn rpm_from_rad_s(rad_s: f64) -> f64 {
    rad_s * 60.0 / std::f64::consts::TAU
}

/// Revolutions per minute of a wheel of this rolling circumference (mm) at this speed (km/h).
///
/// ```
/// let rpm = wheelwitness_driveline::units::wheel_rpm(60.0, 2000.0);
/// assert!((rpm - 500.0).abs() < 1e-9);
/// ```
pub fn wheel_rpm(kmh: f64, circumference_mm: f64) -> f64 {
    kmh * 1e6 / 60.0 / circumference_mm
}
