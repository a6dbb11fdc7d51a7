//! From text to a [`Vehicle`], or to all the mistakes in it.

use super::Vehicle;
use super::checks;
use super::mistake::{Mistake, NEWEST_FORMAT, VehicleError};
use super::schema::VEHICLE;
use super::shape::{Shaped, shape};
use serde::Deserialize;
use toml::Spanned;
use toml::de::DeTable;

impl Vehicle {
    /// Reads and checks a vehicle file.
    ///
    /// # Errors
    /// All mistakes of the file, each with line, column, a marked snippet and what to write
    /// instead; `file_name` only goes into the message. Two kinds of mistake hide all others,
    /// because nothing after them can be trusted: broken TOML and a newer format.
    ///
    /// ```
    /// use wheelwitness_driveline::vehicle::Vehicle;
    /// let error = Vehicle::parse("format = 7", "my.toml").unwrap_err();
    /// assert!(error.to_string().contains("format 7"));
    /// ```
    pub fn parse(text: &str, file_name: &str) -> Result<Vehicle, VehicleError> {
        let refuse = |mut mistakes: Vec<Mistake>| {
            mistakes.sort_by_key(|m| (m.line, m.column));
            VehicleError { file_name: file_name.to_string(), mistakes }
        };
        let (root, broken) = DeTable::parse_recoverable(text);
        if !broken.is_empty() {
            return Err(refuse(broken.iter().map(|e| not_toml(text, e)).collect()));
        }
        if let Some(mistake) = newer_format(text, &root) {
            return Err(refuse(vec![mistake]));
        }
        let Shaped { table, stand_ins, mut mistakes } = shape(text, &root, VEHICLE);
        let vehicle = match Vehicle::deserialize(table) {
            Ok(vehicle) => vehicle,
            Err(e) => {
                let instead = "report this: the table of keys and the types disagree";
                mistakes.push(Mistake::at(text, 0..0, e.to_string(), instead.into()));
                return Err(refuse(mistakes));
            }
        };
        mistakes.extend(checks::check(&vehicle, text, &root, &stand_ins));
        if mistakes.is_empty() { Ok(vehicle) } else { Err(refuse(mistakes)) }
    }
}

fn not_toml(text: &str, error: &toml::de::Error) -> Mistake {
    let instead = if error.message().contains("duplicate") {
        "write each key once"
    } else {
        "write one `key = value` a line: texts in quotes, decimals with a point"
    };
    let span = error.span().unwrap_or(0..0);
    Mistake::at(text, span, format!("not TOML: {}", error.message()), instead.into())
}

fn newer_format(text: &str, root: &Spanned<DeTable>) -> Option<Mistake> {
    let value = root.get_ref().get("format")?;
    let integer = value.get_ref().as_integer()?;
    let format = i64::from_str_radix(integer.as_str(), integer.radix()).ok()?;
    (format > NEWEST_FORMAT.into()).then(|| {
        let what = format!("this is a vehicle file of format {format}");
        let instead = format!(
            "this program reads format {NEWEST_FORMAT}; use a newer program, or describe the \
             vehicle in format {NEWEST_FORMAT}"
        );
        Mistake::at(text, value.span(), what, instead)
    })
}
