//! From text to a [`Vehicle`], or to all the mistakes in it.

use super::Vehicle;
use super::mistake::{Mistake, NEWEST_FORMAT, VehicleError};

impl Vehicle {
    /// Reads and checks a vehicle file.
    ///
    /// # Errors
    /// All mistakes of the file, each with line, column, a marked snippet and what to write
    /// instead; `file_name` only goes into the message.
    pub fn parse(text: &str, file_name: &str) -> Result<Vehicle, VehicleError> {
        let refuse = |span: std::ops::Range<usize>, what: String, instead: String| {
            let mistakes = vec![Mistake::at(text, span, what, instead)];
            VehicleError { file_name: file_name.to_string(), mistakes }
        };
        let vehicle: Vehicle = toml::from_str(text).map_err(|e| {
            refuse(e.span().unwrap_or(0..0), e.message().to_string(), "see vehicle new".into())
        })?;
        if vehicle.format > NEWEST_FORMAT {
            let what = format!("vehicle file format {}", vehicle.format);
            return Err(refuse(0..0, what, format!("this program reads format {NEWEST_FORMAT}")));
        }
        Ok(vehicle)
    }
}
