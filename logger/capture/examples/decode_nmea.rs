//! Decodes a log of NMEA 0183 sentences on standard input; one JSON object a line on standard
//! output.
//!
//! `cargo run -p wheelwitness-capture --example decode_nmea < log.nmea`
//!
//! Fields are shown as the sentence says them; `valid` tells whether they may be used, `speed_mps`
//! is there only then. What is not decoded is shown with its address, what is refused with the
//! reason.

use std::fmt::Display;
use std::io::{self, BufRead, Write};
use wheelwitness_capture::decode::{Decoder, Reading, Value};
use wheelwitness_capture::gnss::{Date, Position, Sentence, TimeOfDay};
use wheelwitness_capture::record::{Kind, Record};

fn main() -> io::Result<()> {
    let mut out = io::BufWriter::new(io::stdout().lock());
    let mut decoder = Decoder::new();
    let mut outcome = Ok(());
    let mut print = |reading: Reading| {
        if let Err(error) = writeln!(out, "{}", json(&reading)) {
            outcome = Err(error);
        }
    };
    for (number, line) in (1..).zip(io::stdin().lock().split(b'\n')) {
        let mut bytes = line?;
        bytes.push(b'\n');
        let record = Record { number, source: 0, boot_ns: 0, kind: Kind::Bytes, bytes };
        decoder.push(&record, &mut print);
    }
    decoder.finish(&mut print);
    outcome
}

/// A JSON object that grows field by field; what is missing is null.
struct Object(String);

impl Object {
    fn plain(&mut self, name: &str, value: Option<impl Display>) {
        let value = value.map_or("null".to_owned(), |value| value.to_string());
        self.0.push_str(&format!(",\"{name}\":{value}"));
    }

    /// For text without quotes, backslashes and control characters.
    fn text(&mut self, name: &str, value: Option<impl Display>) {
        self.plain(name, value.map(|value| format!("\"{value}\"")));
    }

    fn position(&mut self, position: Option<Position>) {
        self.plain("latitude_deg", position.map(|p| p.latitude_deg));
        self.plain("longitude_deg", position.map(|p| p.longitude_deg));
    }
}

fn json(reading: &Reading) -> String {
    let mut object = Object(format!("{{\"line\":{}", reading.record));
    match &reading.value {
        Value::Gnss(sentence) => gnss(sentence, &mut object),
        Value::Unknown(address) => {
            object.text("address", Some(address.replace(['"', '\\'], "?")));
        }
        Value::Refused => object.plain("refused", Some(true)),
        _ => object.text("sentence", Some("board")),
    }
    let faults: Vec<String> = reading.faults.iter().map(|fault| format!("\"{fault}\"")).collect();
    object.plain("faults", Some(format!("[{}]", faults.join(","))));
    object.0 + "}"
}

fn gnss(sentence: &Sentence, object: &mut Object) {
    match sentence {
        Sentence::Rmc(rmc) => {
            head(object, "RMC", rmc.talker, rmc.is_valid());
            object.text("time", rmc.time.map(time));
            object.text("date", rmc.date.map(date));
            object.position(rmc.position);
            object.plain("speed_kn", rmc.speed_kn);
            object.plain("course_deg", rmc.course_deg);
            object.text("mode", rmc.mode.map(char::from));
            object.plain("speed_mps", rmc.speed_mps());
        }
        Sentence::Vtg(vtg) => {
            head(object, "VTG", vtg.talker, vtg.is_valid());
            object.plain("course_deg", vtg.course_deg);
            object.plain("course_magnetic_deg", vtg.course_magnetic_deg);
            object.plain("speed_kn", vtg.speed_kn);
            object.plain("speed_kmh", vtg.speed_kmh);
            object.text("mode", vtg.mode.map(char::from));
            object.plain("speed_mps", vtg.speed_mps());
        }
        Sentence::Gga(gga) => {
            head(object, "GGA", gga.talker, gga.is_valid());
            object.text("time", gga.time.map(time));
            object.position(gga.position);
            object.plain("fix", gga.fix);
            object.plain("satellites", gga.satellites);
            object.plain("hdop", gga.hdop);
            object.plain("altitude_m", gga.altitude_m);
            object.plain("geoid_m", gga.geoid_m);
        }
    }
}

fn head(object: &mut Object, name: &str, talker: [u8; 2], valid: bool) {
    object.text("sentence", Some(name));
    let talker = talker.map(|letter| if letter.is_ascii_alphanumeric() { letter } else { b'?' });
    object.text("talker", Some(talker.map(char::from).iter().collect::<String>()));
    object.plain("valid", Some(valid));
}

fn time(t: TimeOfDay) -> String {
    format!("{:02}:{:02}:{:02}.{:09}", t.hour, t.minute, t.second, t.nanosecond)
}

fn date(d: Date) -> String {
    format!("{:04}-{:02}-{:02}", d.year, d.month, d.day)
}
