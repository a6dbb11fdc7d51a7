//! Board sentences are read and written exactly as `PULSE-BOARD.md` shows them.
//!
//! The lines were computed outside this project: CRC-16 by `binascii.crc_hqx(body, 0xFFFF)` of
//! the Python standard library, XOR by a loop over the bytes.

use wheelwitness_capture::board::{
    Channel, Counts, Errors, Identity, Says, Sentence, Switch, Tally,
};
use wheelwitness_capture::decode::{Value, decode_sentence};
use wheelwitness_capture::nmea::{Fault, checksum, crc16};
use wheelwitness_capture::{board, encode};

fn sentence(sequence: u8, tick: u32, says: Says) -> Sentence {
    Sentence { sequence, tick, says }
}

fn channels(list: [(u16, Option<u16>); 4]) -> [Channel; 4] {
    list.map(|(count, age_us)| Channel { count, age_us })
}

/// Each line of `PULSE-BOARD.md` with what it means.
pub fn examples() -> Vec<(&'static str, Sentence)> {
    let identity = Identity {
        wire_version: 1,
        boot_number: 42,
        serial: 123_456,
        rounds_per_s: 100,
        capabilities: 0xF,
    };
    let first =
        channels([(0, Some(161)), (65535, Some(500)), (0x1234, None), (0x8000, Some(65534))]);
    let second = channels([(0, None); 4]);
    let analog = [12_000, 0, 5000, 1000, 65535, 1];
    let errors = Errors { dropped: 3, overrun_channels: 0x12, switch_edges_unsent: 256 };
    let tally = |sent, closing| Says::Tally(Tally { boot_number: 42, sent, closing });
    vec![
        (
            "$PWWNI,00,0000C350,01,002A,0001E240,064,00F,4D60*20",
            sentence(0, 50_000, Says::Identity(identity)),
        ),
        (
            "$PWWNA,01,0000EA60,000000A1,FFFF01F4,1234FFFF,8000FFFE,85CF*74",
            sentence(1, 60_000, Says::Counts(Counts { first_channel: 1, channels: first })),
        ),
        (
            "$PWWNB,02,0000EA60,0000FFFF,0000FFFF,0000FFFF,0000FFFF,E43E*77",
            sentence(2, 60_000, Says::Counts(Counts { first_channel: 5, channels: second })),
        ),
        (
            "$PWWNS,03,0000E9C4,0A,1,0007,3BF0*05",
            sentence(3, 59_844, Says::Switch(Switch { input: 10, high: true, edges: 7 })),
        ),
        ("$PWWNL,04,0000EB00,8201,7376*5F", sentence(4, 60_160, Says::Levels(0x8201))),
        (
            "$PWWNV,05,0000EBA0,2EE0,0000,1388,03E8,FFFF,0001,CB48*65",
            sentence(5, 60_320, Says::Analog(analog)),
        ),
        ("$PWWNE,06,0000EC40,0003,12,0100,BB80*56", sentence(6, 60_480, Says::Errors(errors))),
        ("$PWWNZ,07,0000ECE0,002A,00000008,T,E909*6A", sentence(7, 60_640, tally(8, false))),
        ("$PWWNZ,08,0000ED80,002A,00000009,C,DBEF*79", sentence(8, 60_800, tally(9, true))),
    ]
}

#[test]
fn every_example_is_read_as_what_it_means() {
    for (line, expected) in examples() {
        let read = decode_sentence(line.as_bytes());
        assert_eq!(read, (Value::Board(expected), vec![]), "{line}");
    }
}

#[test]
fn every_example_is_written_byte_for_byte() {
    for (line, sentence) in examples() {
        let written = String::from_utf8(encode::board(&sentence)).unwrap();
        assert_eq!(written, format!("{line}\r\n"));
    }
}

#[test]
fn a_counts_sentence_has_64_bytes_with_its_line_end() {
    let counts = examples().into_iter().filter(|(_, s)| matches!(s.says, Says::Counts(_)));
    assert!(counts.map(|(line, _)| line.len() + 2).eq([64, 64]));
}

/// Check value of CRC-16/CCITT-FALSE ("123456789" gives 29B1): the catalogue of parametrised CRC
/// algorithms, from memory; `binascii.crc_hqx(b"123456789", 0xFFFF)` gives the same.
#[test]
fn the_crc_is_the_published_one() {
    assert_eq!(crc16(b"123456789"), 0x29B1);
}

#[test]
fn the_finish_request_has_the_right_checksum() {
    assert_eq!(checksum(b"PWWNQ"), 0x4F);
    assert_eq!(encode::FINISH_REQUEST, encode::frame("PWWNQ"));
}

#[test]
fn an_undamaged_board_sentence_of_an_unknown_kind_is_kept_as_unknown() {
    let line = encode::frame_board("PWWNX,09,00000001,whatever,".into());
    let line = line.strip_suffix(b"\r\n").unwrap();
    assert_eq!(decode_sentence(line), (Value::Unknown("PWWNX".into()), vec![]));
}

/// Bodies with right CRC and checksum that no board may send, with the fault that they are told by.
#[test]
fn sentences_of_the_wrong_shape_are_refused_though_their_checks_hold() {
    let cases = [
        ("PWWNL,04,0000EB00,82015,", Fault::Length),
        ("PWWNL,04,0000EB00,820,", Fault::Length),
        ("PWWNL,04,0000EB00,8201,0000,", Fault::Length),
        ("PWWNL,04,0000EB,008201,", Fault::Length),
        ("PWWNL04,0000EB00,8201,", Fault::Length),
        ("PWWN,", Fault::Length),
        ("PWWNL,04,0000EB00,82a1,", Fault::Field("levels")),
        ("PWWNL,04,0000EB0 ,8201,", Fault::Field("tick")),
        ("PWWNL,G4,0000EB00,8201,", Fault::Field("sentence number")),
        ("PWWNS,03,0000E9C4,00,1,0007,", Fault::Field("switch input")),
        ("PWWNS,03,0000E9C4,11,1,0007,", Fault::Field("switch input")),
        ("PWWNS,03,0000E9C4,0A,2,0007,", Fault::Field("level")),
        ("PWWNZ,07,0000ECE0,002A,00000008,X,", Fault::Field("tally kind")),
    ];
    for (body, expected) in cases {
        let line = encode::frame_board(body.to_owned());
        let read = decode_sentence(line.strip_suffix(b"\r\n").unwrap());
        if expected == Fault::Length && body == "PWWN," {
            // "PWWN" and a comma: the kind would be the comma, which names no sentence.
            assert_eq!(read.0, Value::Unknown("PWWN".into()));
            continue;
        }
        assert_eq!(read, (Value::Refused, vec![expected]), "{body}");
    }
}

#[test]
fn a_board_sentence_without_its_crc_is_refused_though_its_checksum_holds() {
    for body in ["PWWNL,04,0000EB00,8201", "PWWNL,04,0000EB00,8201,", "PWWN", "PWWNL,"] {
        let line = encode::frame(body);
        let (value, faults) = decode_sentence(line.strip_suffix(b"\r\n").unwrap());
        assert_eq!(value, Value::Refused);
        assert!(matches!(faults[..], [Fault::Crc { .. }]), "{body}: {faults:?}");
    }
    assert!(board::decode(b"PWW").is_err());
}
