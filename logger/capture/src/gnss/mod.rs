//! The GNSS sentences RMC, VTG and GGA of NMEA 0183.
//!
//! Fields are kept as written, valid or not; an empty field is `None`, never 0. What may be *used*
//! comes from methods: they give `None` unless status, mode and fix all say that the receiver
//! measured it. Fields and validity: NMEA 0183, from public descriptions of the standard.

mod parse;

use crate::nmea::Fault;
use parse::{course, date, decimal, last_digit, letter, magnitude, status, time, whole};

/// One international nautical mile an hour, in metres a second: 1852 m / 3600 s, exactly.
const MPS_PER_KNOT: (f64, f64) = (1852.0, 3600.0);

/// A GNSS sentence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sentence {
    /// Recommended minimum: time, validity, position, speed, course, date.
    Rmc(Rmc),
    /// Course and speed over ground.
    Vtg(Vtg),
    /// Time, position and quality of the fix.
    Gga(Gga),
}

/// Time of day in UTC. Second 60 is a leap second and only taken at 23:59.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct TimeOfDay {
    /// 0 to 23.
    pub hour: u8,
    /// 0 to 59.
    pub minute: u8,
    /// 0 to 60.
    pub second: u8,
    /// 0 to 999,999,999.
    pub nanosecond: u32,
}

/// A day of the Gregorian calendar. Two-digit years 80 to 99 are 1980 to 1999, others 20xx,
/// because GPS time begins in January 1980.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Date {
    /// 1980 to 2079.
    pub year: u16,
    /// 1 to 12.
    pub month: u8,
    /// 1 to 31.
    pub day: u8,
}

/// A position on the WGS 84 ellipsoid (or whatever datum the receiver is set to), in degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Position {
    /// North positive, -90 to 90.
    pub latitude_deg: f64,
    /// East positive, -180 to 180.
    pub longitude_deg: f64,
}

/// `RMC`. Fields are as written; see the methods for what may be used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rmc {
    /// Talker, such as `GP` or `GN`.
    pub talker: [u8; 2],
    /// Time of day of the fix.
    pub time: Option<TimeOfDay>,
    /// Status: true for `A` (valid), false for `V` (warning).
    pub status: Option<bool>,
    /// Position.
    pub position: Option<Position>,
    /// Speed over ground, in knots.
    pub speed_kn: Option<f64>,
    /// Course over ground, in degrees from true north.
    pub course_deg: Option<f64>,
    /// Date of the fix.
    pub date: Option<Date>,
    /// Mode letter, since NMEA 2.3.
    pub mode: Option<u8>,
}

/// `VTG`. Fields are as written; see the methods for what may be used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vtg {
    /// Talker.
    pub talker: [u8; 2],
    /// Course over ground, in degrees from true north.
    pub course_deg: Option<f64>,
    /// Course over ground, in degrees from magnetic north.
    pub course_magnetic_deg: Option<f64>,
    /// Speed over ground, in knots.
    pub speed_kn: Option<f64>,
    /// Speed over ground, in km/h.
    pub speed_kmh: Option<f64>,
    /// Mode letter, since NMEA 2.3.
    pub mode: Option<u8>,
}

/// `GGA`. Fields are as written; see the methods for what may be used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gga {
    /// Talker.
    pub talker: [u8; 2],
    /// Time of day of the fix.
    pub time: Option<TimeOfDay>,
    /// Position.
    pub position: Option<Position>,
    /// Quality of the fix: 0 none, 1 autonomous, 2 differential, 3 precise, 4 and 5 real-time
    /// kinematic, 6 estimated, 7 entered by hand, 8 simulated.
    pub fix: Option<u8>,
    /// Satellites used.
    pub satellites: Option<u8>,
    /// Horizontal dilution of precision.
    pub hdop: Option<f64>,
    /// Height above mean sea level, in metres.
    pub altitude_m: Option<f64>,
    /// Height of mean sea level above the ellipsoid, in metres.
    pub geoid_m: Option<f64>,
}

impl Rmc {
    /// Whether the receiver measured what it says: status `A` and a measuring mode.
    pub fn is_valid(&self) -> bool {
        self.status == Some(true) && is_measuring(self.mode)
    }

    /// Speed over ground in metres a second. A magnitude: reversing has no sign.
    pub fn speed_mps(&self) -> Option<f64> {
        self.speed_kn.filter(|_| self.is_valid()).map(mps_of_knots)
    }

    /// Course over ground in degrees, if the vehicle moves at least at `slowest_mps`: at rest a
    /// course is noise.
    pub fn course_at_least(&self, slowest_mps: f64) -> Option<f64> {
        self.course_deg.filter(|_| self.speed_mps().is_some_and(|v| v >= slowest_mps))
    }

    /// Position, if valid.
    pub fn valid_position(&self) -> Option<Position> {
        self.position.filter(|_| self.is_valid())
    }

    /// The instant of the fix in nanoseconds since 1970 UTC, if valid. A leap second reads like
    /// the second after it.
    pub fn utc_ns(&self) -> Option<i64> {
        let (date, time) = (self.date?, self.time?);
        self.is_valid().then(|| date.unix_ns() + time.ns())
    }
}

impl Vtg {
    /// Whether the receiver measured what it says.
    pub fn is_valid(&self) -> bool {
        is_measuring(self.mode)
    }

    /// Speed over ground in metres a second: from knots, else from km/h.
    pub fn speed_mps(&self) -> Option<f64> {
        let speed = self.speed_kn.map(mps_of_knots).or(self.speed_kmh.map(|kmh| kmh / 3.6));
        speed.filter(|_| self.is_valid())
    }

    /// As [`Rmc::course_at_least`].
    pub fn course_at_least(&self, slowest_mps: f64) -> Option<f64> {
        self.course_deg.filter(|_| self.speed_mps().is_some_and(|v| v >= slowest_mps))
    }
}

impl Gga {
    /// Whether the position was measured: fix quality 1 to 5.
    pub fn is_valid(&self) -> bool {
        self.fix.is_some_and(|fix| (1..=5).contains(&fix))
    }

    /// Position, if valid.
    pub fn valid_position(&self) -> Option<Position> {
        self.position.filter(|_| self.is_valid())
    }
}

/// Modes in which the receiver measures: autonomous, differential, real-time kinematic (fixed and
/// float) and precise. Estimated, manual, simulated and not valid are none; a sentence older than
/// NMEA 2.3 has no mode.
fn is_measuring(mode: Option<u8>) -> bool {
    mode.is_none_or(|mode| matches!(mode, b'A' | b'D' | b'F' | b'P' | b'R'))
}

fn mps_of_knots(knots: f64) -> f64 {
    knots * MPS_PER_KNOT.0 / MPS_PER_KNOT.1
}

impl TimeOfDay {
    /// Nanoseconds since midnight.
    pub fn ns(&self) -> i64 {
        let minutes = i64::from(self.hour) * 60 + i64::from(self.minute);
        (minutes * 60 + i64::from(self.second)) * 1_000_000_000 + i64::from(self.nanosecond)
    }
}

impl Date {
    /// Midnight at the beginning of the day, in nanoseconds since 1970 UTC.
    pub fn unix_ns(&self) -> i64 {
        let years = i64::from(self.year) - 1970;
        // Every fourth year from 1972 on is a leap year: 2000 is one, and no year read is beyond.
        let leap_days = (years + 1) / 4;
        let days_of_months: i64 =
            (1..self.month).map(|m| i64::from(days_in_month(self.year, m))).sum();
        let days = years * 365 + leap_days + days_of_months + i64::from(self.day) - 1;
        days * 86_400_000_000_000
    }
}

fn days_in_month(year: u16, month: u8) -> u8 {
    match month {
        2 if year.is_multiple_of(4) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// Decodes the body of a sentence whose checksum holds; `None` if it is not one of these three.
/// Faulty fields become `None` and are told in `faults`.
pub fn decode(body: &[u8], faults: &mut Vec<Fault>) -> Option<Result<Sentence, Fault>> {
    let mut fields = body.split(|&byte| byte == b',');
    let [a, b, kind @ ..] = fields.next()? else { return None };
    let talker = [*a, *b];
    let (fewest, most, read): (usize, usize, Reader) = match kind {
        b"RMC" => (11, 13, read_rmc),
        b"VTG" => (8, 9, read_vtg),
        b"GGA" => (14, 14, read_gga),
        _ => return None,
    };
    let mut list = [&b""[..]; 13 + 1];
    let mut count = 0;
    for field in fields {
        if let Some(slot) = list.get_mut(count) {
            *slot = field;
        }
        count += 1;
    }
    if !(fewest..=most).contains(&count) {
        return Some(Err(Fault::Length));
    }
    Some(Ok(read(talker, &mut Fields { list: &list, faults })))
}

type Reader = fn([u8; 2], &mut Fields<'_, '_>) -> Sentence;

fn read_rmc(talker: [u8; 2], fields: &mut Fields<'_, '_>) -> Sentence {
    Sentence::Rmc(Rmc {
        talker,
        time: fields.read(0, "time", time),
        status: fields.read(1, "status", status),
        position: fields.position(2),
        speed_kn: fields.read(6, "speed", magnitude),
        course_deg: fields.read(7, "course", course),
        date: fields.read(8, "date", date),
        mode: fields.read(11, "mode", letter),
    })
}

fn read_vtg(talker: [u8; 2], fields: &mut Fields<'_, '_>) -> Sentence {
    let units = [(1, b"T"), (3, b"M"), (5, b"N"), (7, b"K")];
    let right = units.map(|(at, unit)| fields.unit(at, unit));
    let speed_kn = fields.read(4, "speed", magnitude).filter(|_| right[2]);
    let speed_kmh = fields.read(6, "speed", magnitude).filter(|_| right[3]);
    let agree = fields.speeds_agree(speed_kn, speed_kmh);
    Sentence::Vtg(Vtg {
        talker,
        course_deg: fields.read(0, "course", course).filter(|_| right[0]),
        course_magnetic_deg: fields.read(2, "course", course).filter(|_| right[1]),
        speed_kn: speed_kn.filter(|_| agree),
        speed_kmh: speed_kmh.filter(|_| agree),
        mode: fields.read(8, "mode", letter),
    })
}

fn read_gga(talker: [u8; 2], fields: &mut Fields<'_, '_>) -> Sentence {
    let (altitude_unit, geoid_unit) = (fields.unit(9, b"M"), fields.unit(11, b"M"));
    Sentence::Gga(Gga {
        talker,
        time: fields.read(0, "time", time),
        position: fields.position(1),
        fix: fields.read(5, "fix", |text| whole(text, 8)),
        satellites: fields.read(6, "satellites", |text| whole(text, 99)),
        hdop: fields.read(7, "dilution", magnitude),
        altitude_m: fields.read(8, "altitude", decimal).filter(|_| altitude_unit),
        geoid_m: fields.read(10, "geoid", decimal).filter(|_| geoid_unit),
    })
}

/// The fields of a sentence, and what is wrong with them.
struct Fields<'f, 'a> {
    list: &'f [&'a [u8]],
    faults: &'f mut Vec<Fault>,
}

impl<'a> Fields<'_, 'a> {
    fn get(&self, at: usize) -> &'a [u8] {
        self.list.get(at).copied().unwrap_or_default()
    }

    /// An empty field is missing; one that `parse` refuses is a fault and missing too.
    fn read<T>(
        &mut self,
        at: usize,
        name: &'static str,
        parse: impl Fn(&[u8]) -> Option<T>,
    ) -> Option<T> {
        let text = self.get(at);
        if text.is_empty() {
            return None;
        }
        let value = parse(text);
        if value.is_none() {
            self.fault(name);
        }
        value
    }

    fn fault(&mut self, name: &'static str) {
        self.faults.push(Fault::Field(name));
    }

    /// Whether the unit at `at` is the expected one. Empty passes: it stands beside an empty value.
    fn unit(&mut self, at: usize, expected: &[u8]) -> bool {
        let unit = self.get(at);
        let right = unit == expected || (unit.is_empty() && self.get(at - 1).is_empty());
        if !right {
            self.fault("unit");
        }
        right
    }

    /// Latitude, hemisphere, longitude, hemisphere from `at` on: all four or none.
    fn position(&mut self, at: usize) -> Option<Position> {
        let [latitude, north, longitude, east] = [0, 1, 2, 3].map(|i| self.get(at + i));
        if latitude.is_empty() && longitude.is_empty() {
            return None;
        }
        let position = parse::position(latitude, north, longitude, east);
        if position.is_none() {
            self.fault("position");
        }
        position
    }

    /// Whether knots and km/h of one sentence tell the same speed, up to the last digit of each.
    fn speeds_agree(&mut self, knots: Option<f64>, kmh: Option<f64>) -> bool {
        let (Some(knots), Some(kmh)) = (knots, kmh) else { return true };
        let slack = 1.852 * last_digit(self.get(4)) + last_digit(self.get(6));
        let agree = (kmh - knots * 1.852).abs() <= slack;
        if !agree {
            self.fault("speed");
        }
        agree
    }
}
