//! GNSS sentences mean what the standard says, and nothing is made of what they do not say.
//!
//! Lines and their checksums: public descriptions of NMEA 0183 and receiver manuals; checksums
//! recomputed. Values worked out by hand; 1 knot = 1852 m an hour exactly (BIPM, NIST SP 811).

use wheelwitness_capture::decode::{Value, decode_sentence};
use wheelwitness_capture::encode;
use wheelwitness_capture::gnss::{Date, Gga, Rmc, Sentence, TimeOfDay, Vtg};
use wheelwitness_capture::nmea::Fault;

fn near(value: Option<f64>, expected: f64, within: f64) {
    let value = value.unwrap_or(f64::NAN);
    assert!((value - expected).abs() <= within, "{value} is not {expected}");
}

fn read(line: &str) -> (Sentence, Vec<Fault>) {
    match decode_sentence(line.as_bytes()) {
        (Value::Gnss(sentence), faults) => (sentence, faults),
        other => panic!("{line}: {other:?}"),
    }
}

fn clean(line: &str) -> Sentence {
    let (sentence, faults) = read(line);
    assert_eq!(faults, [], "{line}");
    sentence
}

fn rmc(line: &str) -> Rmc {
    let Sentence::Rmc(rmc) = clean(line) else { panic!("{line}") };
    rmc
}

fn vtg(line: &str) -> Vtg {
    let Sentence::Vtg(vtg) = clean(line) else { panic!("{line}") };
    vtg
}

fn gga(line: &str) -> Gga {
    let Sentence::Gga(gga) = clean(line) else { panic!("{line}") };
    gga
}

/// A line around a body, with the right checksum.
fn framed(body: &str) -> String {
    String::from_utf8(encode::frame(body)).unwrap().trim_end().to_owned()
}

const MPS_PER_KMH: f64 = 1.0 / 3.6;

#[test]
fn rmc_of_1994_reads_as_worked_out() {
    let rmc = rmc("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A");
    assert_eq!(rmc.talker, *b"GP");
    assert_eq!(rmc.time, Some(TimeOfDay { hour: 12, minute: 35, second: 19, nanosecond: 0 }));
    assert_eq!(rmc.date, Some(Date { year: 1994, month: 3, day: 23 }));
    let position = rmc.valid_position().unwrap();
    near(Some(position.latitude_deg), 48.117_300, 5e-7);
    near(Some(position.longitude_deg), 11.516_667, 5e-7);
    near(rmc.speed_mps(), 41.4848 * MPS_PER_KMH, 1e-9);
    near(rmc.course_at_least(1.0), 84.4, 1e-12);
    assert_eq!(rmc.mode, None);
    // 1994-03-23 12:35:19 UTC by `date -u -d ... +%s`.
    assert_eq!(rmc.utc_ns(), Some(764_426_119 * 1_000_000_000));
}

#[test]
fn rmc_west_and_south_are_negative() {
    let west = rmc("$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68");
    let position = west.valid_position().unwrap();
    near(Some(position.latitude_deg), 49.274_167, 5e-7);
    near(Some(position.longitude_deg), -123.185_333, 5e-7);
    near(west.speed_mps(), 0.926 * MPS_PER_KMH, 1e-12);
    let south = rmc("$GPRMC,081836,A,3751.65,S,14507.36,E,000.0,360.0,130998,011.3,E*62");
    let position = south.valid_position().unwrap();
    near(Some(position.latitude_deg), -37.860_833, 5e-7);
    near(Some(position.longitude_deg), 145.122_667, 5e-7);
    assert_eq!(south.course_deg, Some(360.0));
}

#[test]
fn a_course_at_rest_is_not_used() {
    let rest = rmc("$GPRMC,081836,A,3751.65,S,14507.36,E,000.0,360.0,130998,011.3,E*62");
    assert_eq!((rest.speed_mps(), rest.course_at_least(0.5)), (Some(0.0), None));
}

#[test]
fn rmc_with_mode_and_fine_fields_reads_as_worked_out() {
    let rmc = rmc("$GPRMC,083559.00,A,4717.11437,N,00833.91522,E,0.004,77.52,091202,,,A*57");
    let position = rmc.valid_position().unwrap();
    near(Some(position.latitude_deg), 47.285_240, 5e-7);
    near(Some(position.longitude_deg), 8.565_254, 5e-7);
    near(rmc.speed_mps(), 0.007_408 * MPS_PER_KMH, 1e-12);
    assert_eq!((rmc.mode, rmc.is_valid()), (Some(b'A'), true));
}

#[test]
fn rmc_with_status_v_and_mode_n_is_not_used_although_it_says_a_speed() {
    let rmc = rmc("$GPRMC,075851.891,V,5611.5305,N,00302.0369,W,002.2,252.9,160411,,,N*68");
    assert_eq!((rmc.speed_kn, rmc.speed_mps()), (Some(2.2), None));
    assert_eq!((rmc.valid_position(), rmc.course_at_least(0.0), rmc.utc_ns()), (None, None, None));
    assert_eq!(rmc.time.map(|t| t.nanosecond), Some(891_000_000));
}

#[test]
fn rmc_with_an_empty_course_has_none() {
    let rmc = rmc("$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B");
    assert_eq!((rmc.talker, rmc.course_deg), (*b"GN", None));
    near(rmc.speed_mps(), 0.270_392 * MPS_PER_KMH, 1e-12);
}

#[test]
fn vtg_speed_is_that_of_the_knots() {
    let vtg = vtg("$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48");
    near(vtg.speed_mps(), 10.186 * MPS_PER_KMH, 1e-12);
    assert_eq!((vtg.speed_kmh, vtg.course_magnetic_deg), (Some(10.2), Some(34.4)));
    assert_eq!(vtg.course_at_least(1.0), Some(54.7));
}

#[test]
fn vtg_rounded_to_three_digits_agrees_with_itself() {
    let vtg = vtg("$GPVTG,77.52,T,,M,0.004,N,0.008,K,A*06");
    near(vtg.speed_mps(), 0.007_408 * MPS_PER_KMH, 1e-12);
}

#[test]
fn vtg_with_mode_n_is_not_used() {
    let vtg = vtg("$GPVTG,252.9,T,,M,002.2,N,004.1,K,N*0B");
    assert_eq!((vtg.speed_kn, vtg.speed_mps(), vtg.course_at_least(0.0)), (Some(2.2), None, None));
}

#[test]
fn vtg_with_nothing_in_it_is_missing_not_zero() {
    let vtg = vtg("$GPVTG,,,,,,,,,N*30");
    assert_eq!((vtg.speed_kn, vtg.speed_kmh, vtg.course_deg), (None, None, None));
    assert_eq!(vtg.speed_mps(), None);
}

#[test]
fn gga_reads_as_worked_out() {
    let gga = gga("$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47");
    assert_eq!((gga.fix, gga.satellites), (Some(1), Some(8)));
    assert_eq!((gga.hdop, gga.altitude_m, gga.geoid_m), (Some(0.9), Some(545.4), Some(46.9)));
    near(gga.valid_position().map(|p| p.latitude_deg), 48.117_300, 5e-7);
}

#[test]
fn gga_with_fix_0_is_not_used() {
    let gga = gga("$GPGGA,075851.891,5611.5305,N,00302.0369,W,0,00,4.8,44.0,M,52.0,M,,0000*77");
    assert!(gga.position.is_some() && gga.valid_position().is_none() && !gga.is_valid());
}

#[test]
fn gll_is_kept_as_unknown() {
    let (value, faults) = decode_sentence(b"$GPGLL,4916.45,N,12311.12,W,225444,A,*1D");
    assert_eq!((value, faults), (Value::Unknown("GPGLL".into()), vec![]));
}

/// Lines found in public sources with a wrong checksum: what is written and what is right.
#[test]
fn lines_with_a_wrong_checksum_are_refused() {
    let cases = [
        ("$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*41", 0x41, 0x48),
        ("$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K,A*27", 0x27, 0x25),
        ("$GPGLL,4916.45,N,12311.12,W,225444,A*1D", 0x1D, 0x31),
    ];
    for (line, written, computed) in cases {
        let refused = (Value::Refused, vec![Fault::Checksum { written, computed }]);
        assert_eq!(decode_sentence(line.as_bytes()), refused, "{line}");
    }
}

#[test]
fn a_line_without_checksum_is_refused() {
    for line in ["$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K", "$", "$*", "$GPVTG*G0", "$A*4"] {
        let refused = (Value::Refused, vec![Fault::NoChecksum]);
        assert_eq!(decode_sentence(line.as_bytes()), refused, "{line}");
    }
}

/// Modes that are not measurements: estimated, manual, not valid, simulated (NMEA 0183).
#[test]
fn only_modes_that_measure_give_a_speed() {
    for mode in "ADEFMNPRS".chars() {
        let line = framed(&format!("GPVTG,1.0,T,,M,10.0,N,18.5,K,{mode}"));
        assert_eq!(vtg(&line).speed_mps().is_some(), "ADFPR".contains(mode), "{mode}");
    }
    for fix in 0..=8 {
        let line = framed(&format!("GPGGA,,4807.038,N,01131.000,E,{fix},08,0.9,5.4,M,46.9,M,,"));
        assert_eq!(gga(&line).is_valid(), (1..=5).contains(&fix), "{fix}");
    }
}

#[test]
fn dates_that_do_not_exist_are_faults_and_missing() {
    for date in
        ["310299", "290223", "000000", "010013", "320101", "1", "ABCDEF", "23039", "2303944"]
    {
        let line = framed(&format!("GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,{date},,"));
        let (Sentence::Rmc(rmc), faults) = read(&line) else { panic!("{line}") };
        assert_eq!((rmc.date, rmc.utc_ns()), (None, None), "{date}");
        assert_eq!(faults, [Fault::Field("date")], "{date}");
        assert!(rmc.speed_mps().is_some(), "the speed of {line} is still good");
    }
}

/// Two-digit years: GPS time begins in January 1980.
#[test]
fn two_digit_years_fall_between_1980_and_2079() {
    let cases =
        [("060180", 1980), ("310799", 1999), ("290200", 2000), ("010107", 2007), ("311279", 2079)];
    for (date, year) in cases {
        let line = framed(&format!("GPRMC,,V,,,,,,,{date},,,N"));
        assert_eq!(rmc(&line).date.map(|d| d.year), Some(year), "{date}");
    }
}

#[test]
fn times_that_do_not_exist_are_faults_and_missing() {
    let cases = [
        "240000",
        "236000",
        "123460",
        "235961",
        "12351",
        "1235",
        "-10000",
        "120000.x",
        "120000.1234567890",
        "12 000",
    ];
    for time in cases {
        let line = framed(&format!("GPRMC,{time},V,,,,,,,230394,,,N"));
        let (Sentence::Rmc(rmc), faults) = read(&line) else { panic!("{line}") };
        assert_eq!((rmc.time, faults), (None, vec![Fault::Field("time")]), "{time}");
    }
}

#[test]
fn a_leap_second_is_taken_at_the_end_of_a_day_only() {
    let leap = rmc(&framed("GPRMC,235960.25,A,4807.038,N,01131.000,E,022.4,084.4,311216,,,A"));
    assert_eq!(leap.time.map(|t| (t.second, t.nanosecond)), Some((60, 250_000_000)));
    // 2016-12-31 23:59:60.25 UTC counts as 2017-01-01 00:00:00.25, 1483228800 by `date -u`.
    assert_eq!(leap.utc_ns(), Some(1_483_228_800_250_000_000));
}

#[test]
fn numbers_that_are_none_are_faults_and_missing() {
    let cases = [
        "nan",
        "NaN",
        "inf",
        "-inf",
        "1e5",
        "+5",
        "-1",
        "0x10",
        "1.2.3",
        ".",
        "",
        " 1",
        "9999999999999999999999",
    ];
    for speed in cases {
        let line = framed(&format!("GPRMC,123519,A,4807.038,N,01131.000,E,{speed},084.4,230394,,"));
        let (Sentence::Rmc(rmc), faults) = read(&line) else { panic!("{line}") };
        assert_eq!((rmc.speed_kn, rmc.speed_mps()), (None, None), "{speed}");
        assert_eq!(faults.is_empty(), speed.is_empty(), "{speed}: {faults:?}");
    }
}

#[test]
fn impossible_angles_are_faults_and_missing() {
    let cases = [
        "9000.001,N,01131.000,E",
        "4860.000,N,01131.000,E",
        "4807.038,X,01131.000,E",
        "4807.038,,01131.000,E",
        "4807.038,N,18000.001,E",
        "4807.038,N,01131.000,N",
        "4807.038,N,,",
        ",,01131.000,E",
        "48.1173,N,01131.000,E",
        "48,N,01131.000,E",
        "-807.038,N,01131.000,E",
        "4807.0-8,N,01131.000,E",
    ];
    for position in cases {
        let line = framed(&format!("GPRMC,123519,A,{position},022.4,084.4,230394,,"));
        let (Sentence::Rmc(rmc), faults) = read(&line) else { panic!("{line}") };
        assert_eq!((rmc.position, faults), (None, vec![Fault::Field("position")]), "{position}");
    }
    let course = framed("GPRMC,123519,A,4807.038,N,01131.000,E,022.4,360.1,230394,,");
    assert_eq!(read(&course).1, [Fault::Field("course")]);
}

#[test]
fn a_height_below_the_sea_is_negative_and_never_minus_zero() {
    let below = gga(&framed("GPGGA,,,,,,1,08,0.9,-12.5,M,-0.0,M,,"));
    assert_eq!(below.altitude_m, Some(-12.5));
    assert!(below.geoid_m.is_some_and(|zero| zero == 0.0 && zero.is_sign_positive()));
}

#[test]
fn knots_and_kmh_that_contradict_each_other_are_both_missing() {
    let line = framed("GPVTG,54.7,T,,M,5.5,N,15.2,K,A");
    let (Sentence::Vtg(vtg), faults) = read(&line) else { panic!("{line}") };
    assert_eq!((vtg.speed_mps(), faults), (None, vec![Fault::Field("speed")]));
}

#[test]
fn a_value_with_the_wrong_unit_is_missing() {
    let line = framed("GPVTG,54.7,T,,M,5.5,K,10.2,N,A");
    let (Sentence::Vtg(vtg), faults) = read(&line) else { panic!("{line}") };
    assert_eq!((vtg.speed_mps(), faults), (None, vec![Fault::Field("unit"); 2]));
    let line = framed("GPGGA,,,,,,1,08,0.9,100.0,F,46.9,M,,");
    let (Sentence::Gga(gga), faults) = read(&line) else { panic!("{line}") };
    assert_eq!((gga.altitude_m, faults), (None, vec![Fault::Field("unit")]));
}

#[test]
fn sentences_with_too_few_or_too_many_fields_are_refused() {
    let cases = [
        "GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394",
        "GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,,,A,V,X",
        "GPVTG,054.7,034.4,005.5,010.2",
        "GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,",
        "GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,,",
        "GPRMC",
    ];
    for body in cases {
        let refused = (Value::Refused, vec![Fault::Length]);
        assert_eq!(decode_sentence(framed(body).as_bytes()), refused, "{body}");
    }
}

/// What the encoders write is checked against lines made by others, not only read back.
#[test]
fn lines_of_a_receiver_are_written_as_it_wrote_them() {
    let line = "$GPRMC,083559.00,A,4717.11437,N,00833.91522,E,0.004,77.52,091202,,,A*57";
    assert_eq!(encode::rmc(&rmc(line)), format!("{line}\r\n").into_bytes());
    let line = "$GPVTG,77.52,T,,M,0.004,N,0.008,K,A*06";
    assert_eq!(encode::vtg(&vtg(line)), format!("{line}\r\n").into_bytes());
}

#[test]
fn written_angles_never_show_sixty_minutes() {
    let mut sample = gga("$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47");
    if let Some(position) = &mut sample.position {
        position.latitude_deg = -47.999_999_999;
        position.longitude_deg = 179.999_999_999;
    }
    let line = String::from_utf8(encode::gga(&sample)).unwrap();
    assert!(line.contains(",4800.00000,S,18000.00000,E,"), "{line}");
}
