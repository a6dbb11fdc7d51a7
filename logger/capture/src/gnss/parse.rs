//! The texts of single fields; `None` for what cannot be one.

use super::{Date, Position, TimeOfDay, days_in_month};

/// The worth of the last digit of a decimal number.
pub(super) fn last_digit(text: &[u8]) -> f64 {
    let places = text.iter().rev().position(|&byte| byte == b'.').unwrap_or(0);
    10_f64.powi(-(places as i32))
}

/// An unsigned decimal number such as `5`, `022.4` or `.5`: digits and at most one point.
pub(super) fn magnitude(text: &[u8]) -> Option<f64> {
    let plain = text.iter().all(|byte| byte.is_ascii_digit() || *byte == b'.');
    let digits = text.iter().filter(|byte| byte.is_ascii_digit()).count();
    if !plain || !(1..=18).contains(&digits) || text.len() > digits + 1 {
        return None;
    }
    std::str::from_utf8(text).ok()?.parse().ok()
}

/// A decimal number with an optional minus; never -0.
pub(super) fn decimal(text: &[u8]) -> Option<f64> {
    match text.strip_prefix(b"-") {
        Some(digits) => magnitude(digits).map(|value| 0.0 - value),
        None => magnitude(text),
    }
}

pub(super) fn course(text: &[u8]) -> Option<f64> {
    magnitude(text).filter(|degrees| *degrees <= 360.0)
}

pub(super) fn whole(text: &[u8], most: u8) -> Option<u8> {
    if text.len() > 3 || !text.iter().all(u8::is_ascii_digit) {
        return None;
    }
    std::str::from_utf8(text).ok()?.parse().ok().filter(|value| *value <= most)
}

pub(super) fn letter(text: &[u8]) -> Option<u8> {
    match text {
        [letter @ b'A'..=b'Z'] => Some(*letter),
        _ => None,
    }
}

pub(super) fn status(text: &[u8]) -> Option<bool> {
    match text {
        b"A" => Some(true),
        b"V" => Some(false),
        _ => None,
    }
}

fn two_digits(text: &[u8]) -> Option<u8> {
    match text {
        [a @ b'0'..=b'9', b @ b'0'..=b'9'] => Some((a - b'0') * 10 + (b - b'0')),
        _ => None,
    }
}

/// `hhmmss` with an optional fraction.
pub(super) fn time(text: &[u8]) -> Option<TimeOfDay> {
    let (whole, fraction) = text.split_at_checked(6)?;
    let hour = two_digits(&whole[..2])?;
    let minute = two_digits(&whole[2..4])?;
    let second = two_digits(&whole[4..])?;
    let leap = second == 60 && (hour, minute) == (23, 59);
    if hour > 23 || minute > 59 || (second > 59 && !leap) {
        return None;
    }
    Some(TimeOfDay { hour, minute, second, nanosecond: nanoseconds(fraction)? })
}

/// A point and up to nine digits, or nothing.
fn nanoseconds(fraction: &[u8]) -> Option<u32> {
    let Some((point, digits)) = fraction.split_first() else { return Some(0) };
    if *point != b'.' || digits.len() > 9 || !digits.iter().all(u8::is_ascii_digit) {
        return None;
    }
    let padded = digits.iter().map(|d| u32::from(d - b'0')).chain(std::iter::repeat(0)).take(9);
    Some(padded.fold(0, |value, digit| value * 10 + digit))
}

/// `ddmmyy`.
pub(super) fn date(text: &[u8]) -> Option<Date> {
    let [_, _, _, _, _, _] = text else { return None };
    let day = two_digits(&text[..2])?;
    let month = two_digits(&text[2..4])?;
    let short_year = u16::from(two_digits(&text[4..])?);
    let year = if short_year >= 80 { 1900 + short_year } else { 2000 + short_year };
    let possible = (1..=12).contains(&month) && (1..=days_in_month(year, month)).contains(&day);
    possible.then_some(Date { year, month, day })
}

pub(super) fn position(
    latitude: &[u8],
    north: &[u8],
    longitude: &[u8],
    east: &[u8],
) -> Option<Position> {
    let latitude_deg = angle(latitude, 2, 90.0)? * sign(north, b"N", b"S")?;
    let longitude_deg = angle(longitude, 3, 180.0)? * sign(east, b"E", b"W")?;
    Some(Position { latitude_deg: latitude_deg + 0.0, longitude_deg: longitude_deg + 0.0 })
}

fn sign(letter: &[u8], plus: &[u8], minus: &[u8]) -> Option<f64> {
    match letter {
        _ if letter == plus => Some(1.0),
        _ if letter == minus => Some(-1.0),
        _ => None,
    }
}

/// Degrees in `degree_digits` digits, then minutes: `4807.038` is 48 degrees 7.038 minutes.
fn angle(text: &[u8], degree_digits: usize, most: f64) -> Option<f64> {
    let (degrees, minutes) = text.split_at_checked(degree_digits)?;
    if !degrees.iter().all(u8::is_ascii_digit) || !minutes.get(..2)?.iter().all(u8::is_ascii_digit)
    {
        return None;
    }
    let minutes = magnitude(minutes).filter(|minutes| *minutes < 60.0)?;
    Some(magnitude(degrees)? + minutes / 60.0).filter(|angle| *angle <= most)
}
