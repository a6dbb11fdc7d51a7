//! The text of a new vehicle file.

/// A commented vehicle file of an invented vehicle: every key with its unit, where to measure it,
/// its default and where that comes from, and cautions where measuring can hurt. It reads and
/// checks clean.
///
/// ```
/// use wheelwitness_driveline::vehicle::{Vehicle, new_vehicle_text};
/// let vehicle = Vehicle::parse(new_vehicle_text(), "new.toml")?;
/// assert_eq!(vehicle.format, 4);
/// # Ok::<(), wheelwitness_driveline::vehicle::VehicleError>(())
/// ```
pub fn new_vehicle_text() -> &'static str {
    include_str!("template.toml")
}
