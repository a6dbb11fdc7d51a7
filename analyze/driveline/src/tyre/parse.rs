//! Reading a designation, and saying what to write instead when it is not one.

use super::{Construction, Section, Service, Size, flotation_mm, rim_mm};
use std::str::FromStr;

/// Why a text is not a size designation that a circumference follows from; the text says what to
/// write instead.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SizeError {
    /// Not a designation at all.
    #[error("`{0}` is no tyre size; write it as on the side wall, like 265/70R16 or 31x10.50R15")]
    NotASize(String),
    /// The three numbers are there, the construction letter is not.
    #[error("`{0}` has no construction letter; write {1}")]
    NoConstruction(String, String),
    /// Width and rim only, like `7.50R16` or `185R14`.
    #[error(
        "`{0}` names no aspect ratio, so no diameter follows from it; measure a roll-out under \
         load and write circumference_mm"
    )]
    NoAspect(String),
    /// A rim code that no table has.
    #[error("`{0}`: there is no rim of code {1}; passenger and light truck rims are 12 to 24")]
    Rim(String, String),
    /// Section width or aspect ratio that no tyre has.
    #[error("`{0}`: {1} {2} is outside {3}; check the order width/aspect R rim, like 265/70R16")]
    Range(String, &'static str, String, &'static str),
    /// Inch flotation size that is not in the table of design diameters.
    #[error(
        "`{0}`: the diameter in inches is only a name, and its design diameter is not in the \
         table; measure a roll-out under load and write circumference_mm"
    )]
    Flotation(String),
}

/// A cursor over the designation: every method takes what it can and never fails.
struct Cursor<'a>(&'a str);

impl<'a> Cursor<'a> {
    fn skip_space(&mut self) {
        self.0 = self.0.trim_start();
    }

    fn take(&mut self, words: &[&'static str]) -> Option<&'static str> {
        self.skip_space();
        let found = *words.iter().find(|w| self.0.starts_with(**w))?;
        self.0 = &self.0[found.len()..];
        Some(found)
    }

    /// A number as written, `265` or `10.50`; empty when there is none.
    fn number(&mut self) -> &'a str {
        self.skip_space();
        let end = self.0.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(self.0.len());
        let (number, rest) = self.0.split_at(end);
        self.0 = rest;
        number
    }
}

/// The pieces of a designation, as text.
struct Pieces<'a> {
    prefix: Option<&'static str>,
    first: &'a str,
    separator: Option<&'static str>,
    second: &'a str,
    construction: Option<&'static str>,
    rim: &'a str,
    suffix: Option<&'static str>,
    rest: &'a str,
}

fn pieces(text: &str) -> Pieces<'_> {
    let mut c = Cursor(text);
    let prefix = c.take(&["LT", "P"]);
    let first = c.number();
    let separator = c.take(&["/", "X"]);
    let second = if separator.is_some() { c.number() } else { "" };
    let construction = c.take(&["ZRF", "ZR", "RF", "R", "D", "B", "-"]);
    let rim = c.number();
    let suffix = if c.0.starts_with(' ') { None } else { c.take(&["LT", "C"]) };
    Pieces { prefix, first, separator, second, construction, rim, suffix, rest: c.0 }
}

impl FromStr for Size {
    type Err = SizeError;

    fn from_str(text: &str) -> Result<Size, SizeError> {
        let upper = text.trim().to_ascii_uppercase().replace('\u{d7}', "X");
        let p = pieces(&upper);
        refuse_what_is_not_a_size(text, &p)?;
        let construction = match p.construction {
            Some("D" | "B" | "-") => Construction::Diagonal,
            _ => Construction::Radial,
        };
        let (rim_code, rim_mm) = rim(text, p.rim)?;
        let (section, outer_mm) = match p.separator {
            Some("X") => flotation(text, &p, rim_code)?,
            _ => metric(text, &p, rim_mm)?,
        };
        Ok(Size { section, construction, service: service(&p), rim_code, rim_mm, outer_mm })
    }
}

fn refuse_what_is_not_a_size(text: &str, p: &Pieces) -> Result<(), SizeError> {
    let not_a_size = || SizeError::NotASize(text.to_string());
    if p.separator.is_none() && p.construction.is_some() && !p.first.is_empty() && p.rest.is_empty()
    {
        return Err(SizeError::NoAspect(text.to_string()));
    }
    let three = p.separator == Some("/") && p.construction.is_none() && !p.second.is_empty();
    let rim = if p.rim.is_empty() { p.rest.trim_start_matches(['/', ' ']) } else { p.rim };
    if three && rim_mm(rim.parse().unwrap_or(0.0)).is_some() {
        let instead = format!("{}/{}R{rim}", p.first, p.second);
        return Err(SizeError::NoConstruction(text.to_string(), instead));
    }
    let whole = p.separator.is_some() && p.construction.is_some() && is_service(p.rest);
    if whole { Ok(()) } else { Err(not_a_size()) }
}

/// A load index and speed symbol after the size, like ` 112T` or ` 121/118S`, or nothing.
fn is_service(rest: &str) -> bool {
    let allowed = |c: char| c.is_ascii_alphanumeric() || matches!(c, '/' | ' ' | '(' | ')');
    rest.is_empty() || (rest.starts_with(' ') && rest.chars().all(allowed))
}

fn service(p: &Pieces) -> Service {
    match (p.prefix, p.suffix) {
        (Some("LT"), _) | (_, Some("LT")) => Service::LightTruck,
        (_, Some("C")) => Service::Commercial,
        _ if p.separator == Some("X") => Service::LightTruck,
        _ => Service::Passenger,
    }
}

fn rim(text: &str, written: &str) -> Result<(f64, u32), SizeError> {
    let code: f64 = written.parse().map_err(|_| SizeError::NotASize(text.to_string()))?;
    let mm = rim_mm(code).ok_or_else(|| SizeError::Rim(text.to_string(), written.to_string()))?;
    Ok((code, mm))
}

fn flotation(text: &str, p: &Pieces, rim_code: f64) -> Result<(Section, u32), SizeError> {
    let number = |s: &str| s.parse().map_err(|_| SizeError::NotASize(text.to_string()));
    let (diameter_in, width_in): (f64, f64) = (number(p.first)?, number(p.second)?);
    let outer = flotation_mm(diameter_in, width_in, rim_code)
        .ok_or_else(|| SizeError::Flotation(text.to_string()))?;
    Ok((Section::Flotation { diameter_in, width_in }, outer))
}

fn metric(text: &str, p: &Pieces, rim_mm: u32) -> Result<(Section, u32), SizeError> {
    let number = |s: &str| s.parse().map_err(|_| SizeError::NotASize(text.to_string()));
    let (width_mm, aspect_percent): (u32, u32) = (number(p.first)?, number(p.second)?);
    let range = |what, value: u32, allowed| {
        Err(SizeError::Range(text.to_string(), what, value.to_string(), allowed))
    };
    if !(105..=455).contains(&width_mm) {
        return range("section width", width_mm, "105 to 455 mm");
    }
    if !(25..=100).contains(&aspect_percent) {
        return range("aspect ratio", aspect_percent, "25 to 100 percent");
    }
    // UN R30 para 6.1.2 (from memory): H rounded to the nearest millimetre, halves up.
    let height_mm = (width_mm * aspect_percent + 50) / 100;
    Ok((Section::Metric { width_mm, aspect_percent }, rim_mm + 2 * height_mm))
}
