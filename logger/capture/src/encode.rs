//! The sentences of board and GNSS receiver, written: for simulated vehicles and for tests.

use crate::board::{Channel, Counts, Says, Sentence};
use crate::gnss::{Date, Gga, Position, Rmc, TimeOfDay, Vtg};
use crate::nmea::{checksum, crc16};
use std::fmt::Write;

/// The request that makes a board send its closing tally and then nothing more.
pub const FINISH_REQUEST: &[u8] = b"$PWWNQ*4F\r\n";

/// Frames a body: `$` body `*hh` CR LF.
pub fn frame(body: &str) -> Vec<u8> {
    format!("${body}*{:02X}\r\n", checksum(body.as_bytes())).into_bytes()
}

/// Frames the body of a board sentence, which ends with a comma: adds its CRC-16 too.
pub fn frame_board(mut body: String) -> Vec<u8> {
    let crc = crc16(body.as_bytes());
    push(&mut body, format_args!("{crc:04X}"));
    frame(&body)
}

/// A board sentence.
pub fn board(sentence: &Sentence) -> Vec<u8> {
    let mut body = format!("PWWN{}", kind(&sentence.says));
    push(&mut body, format_args!(",{:02X},{:08X},", sentence.sequence, sentence.tick));
    match &sentence.says {
        Says::Identity(is) => {
            push(&mut body, format_args!("{:02X},{:04X},", is.wire_version, is.boot_number));
            push(&mut body, format_args!("{:08X},{:03X},", is.serial, is.rounds_per_s));
            push(&mut body, format_args!("{:03X},", is.capabilities));
        }
        Says::Counts(counts) => push_channels(&mut body, counts),
        Says::Switch(edge) => {
            let level = u8::from(edge.high);
            push(&mut body, format_args!("{:02X},{level},{:04X},", edge.input, edge.edges));
        }
        Says::Levels(levels) => push(&mut body, format_args!("{levels:04X},")),
        Says::Analog(millivolts) => {
            millivolts.iter().for_each(|mv| push(&mut body, format_args!("{mv:04X},")));
        }
        Says::Errors(errors) => {
            push(
                &mut body,
                format_args!("{:04X},{:02X},", errors.dropped, errors.overrun_channels),
            );
            push(&mut body, format_args!("{:04X},", errors.switch_edges_unsent));
        }
        Says::Tally(tally) => {
            let kind = if tally.closing { 'C' } else { 'T' };
            push(&mut body, format_args!("{:04X},{:08X},{kind},", tally.boot_number, tally.sent));
        }
    }
    frame_board(body)
}

fn kind(says: &Says) -> char {
    match says {
        Says::Identity(_) => 'I',
        Says::Counts(Counts { first_channel: 1, .. }) => 'A',
        Says::Counts(_) => 'B',
        Says::Switch(_) => 'S',
        Says::Levels(_) => 'L',
        Says::Analog(_) => 'V',
        Says::Errors(_) => 'E',
        Says::Tally(_) => 'Z',
    }
}

fn push_channels(body: &mut String, counts: &Counts) {
    for Channel { count, age_us } in counts.channels {
        push(body, format_args!("{count:04X}{:04X},", age_us.unwrap_or(u16::MAX)));
    }
}

/// `RMC` with the digits that common receivers send: 1e-5 minutes, 1e-3 knots, 1e-2 degrees.
pub fn rmc(rmc: &Rmc) -> Vec<u8> {
    let mut body = format!("{}RMC,{},", talker(rmc.talker), time(rmc.time));
    body.push_str(rmc.status.map_or("", |valid| if valid { "A" } else { "V" }));
    push(&mut body, format_args!(",{},", position(rmc.position)));
    push(&mut body, format_args!("{},{},", decimals(rmc.speed_kn, 3), decimals(rmc.course_deg, 2)));
    push(&mut body, format_args!("{},,", date(rmc.date)));
    push_mode(&mut body, rmc.mode);
    frame(&body)
}

/// `VTG`.
pub fn vtg(vtg: &Vtg) -> Vec<u8> {
    let mut body = format!("{}VTG", talker(vtg.talker));
    push(&mut body, format_args!(",{},T", decimals(vtg.course_deg, 2)));
    push(&mut body, format_args!(",{},M", decimals(vtg.course_magnetic_deg, 2)));
    push(&mut body, format_args!(",{},N", decimals(vtg.speed_kn, 3)));
    push(&mut body, format_args!(",{},K", decimals(vtg.speed_kmh, 3)));
    push_mode(&mut body, vtg.mode);
    frame(&body)
}

/// `GGA`.
pub fn gga(gga: &Gga) -> Vec<u8> {
    let mut body = format!("{}GGA,{},", talker(gga.talker), time(gga.time));
    push(&mut body, format_args!("{},", position(gga.position)));
    body.push_str(&gga.fix.map_or(String::new(), |fix| fix.to_string()));
    body.push(',');
    body.push_str(&gga.satellites.map_or(String::new(), |n| format!("{n:02}")));
    push(&mut body, format_args!(",{},", decimals(gga.hdop, 2)));
    push(&mut body, format_args!("{},M,", decimals(gga.altitude_m, 1)));
    push(&mut body, format_args!("{},M,,", decimals(gga.geoid_m, 1)));
    frame(&body)
}

/// Writing to a `String` cannot fail.
fn push(body: &mut String, text: std::fmt::Arguments<'_>) {
    let _ = body.write_fmt(text);
}

/// The mode is the last field, and there only since NMEA 2.3.
fn push_mode(body: &mut String, mode: Option<u8>) {
    if mode.is_some() {
        body.push(',');
        body.push_str(&letter(mode));
    }
}

fn letter(mode: Option<u8>) -> String {
    mode.map_or(String::new(), |letter| char::from(letter).to_string())
}

fn talker(talker: [u8; 2]) -> String {
    talker.map(char::from).iter().collect()
}

fn time(time: Option<TimeOfDay>) -> String {
    let Some(t) = time else { return String::new() };
    let hundredths = t.nanosecond / 10_000_000;
    format!("{:02}{:02}{:02}.{hundredths:02}", t.hour, t.minute, t.second)
}

fn date(date: Option<Date>) -> String {
    date.map_or(String::new(), |d| format!("{:02}{:02}{:02}", d.day, d.month, d.year % 100))
}

fn decimals(value: Option<f64>, places: usize) -> String {
    value.map_or(String::new(), |value| format!("{value:.places$}"))
}

fn position(position: Option<Position>) -> String {
    let Some(Position { latitude_deg, longitude_deg }) = position else { return ",,,".into() };
    let north = if latitude_deg < 0.0 { 'S' } else { 'N' };
    let east = if longitude_deg < 0.0 { 'W' } else { 'E' };
    format!("{},{north},{},{east}", angle(latitude_deg, 2), angle(longitude_deg, 3))
}

/// `ddmm.mmmmm`: rounded once, in units of the last digit, so that 60 minutes never appear.
fn angle(degrees: f64, degree_digits: usize) -> String {
    let units = (degrees.abs() * 6_000_000.0).round() as u64;
    let (degrees, rest) = (units / 6_000_000, units % 6_000_000);
    format!("{degrees:0degree_digits$}{:02}.{:05}", rest / 100_000, rest % 100_000)
}
