//! Damage on the wire never becomes a reading, however the bytes arrive.

use crate::board_sentences::examples;
use proptest::prelude::*;
use wheelwitness_capture::decode::{Decoder, Reading, Value, decode_sentence};
use wheelwitness_capture::nmea::{Fault, Framer, Line, MAX_SENTENCE_BYTES};
use wheelwitness_capture::read::{Hole, Item};
use wheelwitness_capture::record::{Kind, Record};

fn record(number: u64, bytes: &[u8]) -> Record {
    record_of(number, Kind::Bytes, bytes)
}

fn record_of(number: u64, kind: Kind, bytes: &[u8]) -> Record {
    Record { number, source: 1, boot_ns: number as i64, kind, bytes: bytes.to_vec() }
}

fn decode(records: &[Record]) -> Vec<Reading> {
    let (mut decoder, mut readings) = (Decoder::new(), Vec::new());
    records.iter().for_each(|record| decoder.push(record, &mut |reading| readings.push(reading)));
    decoder.finish(&mut |reading| readings.push(reading));
    readings
}

fn values(records: &[Record]) -> Vec<(Value, Vec<Fault>)> {
    decode(records).into_iter().map(|reading| (reading.value, reading.faults)).collect()
}

/// The lines of `PULSE-BOARD.md` and two of a receiver, with their line ends.
fn wire() -> Vec<u8> {
    let mut lines: Vec<String> = examples().iter().map(|(line, _)| (*line).to_owned()).collect();
    lines.push("$GPVTG,77.52,T,,M,0.004,N,0.008,K,A*06".into());
    lines.push("$GPGLL,4916.45,N,12311.12,W,225444,A,*1D".into());
    lines.iter().map(|line| format!("{line}\r\n")).collect::<String>().into_bytes()
}

fn flipped(line: &[u8], bits: &[usize]) -> Vec<u8> {
    let mut damaged = line.to_vec();
    bits.iter().for_each(|bit| damaged[bit / 8] ^= 1 << (bit % 8));
    damaged
}

fn is_data(value: &Value) -> bool {
    matches!(value, Value::Board(_) | Value::Gnss(_))
}

/// From `$` to the last digit of the checksum: no flip of one or two bits leaves a reading.
#[test]
fn every_single_and_double_bit_flip_in_a_board_sentence_is_refused() {
    for (line, _) in examples() {
        let line = line.as_bytes();
        for first in 0..line.len() * 8 {
            for second in first..line.len() * 8 {
                let bits = if first == second { vec![first] } else { vec![first, second] };
                let (value, _) = decode_sentence(&flipped(line, &bits));
                assert!(!is_data(&value), "bits {bits:?} of {line:?} give {value:?}");
            }
        }
    }
}

/// The same through the framer, line end included: a flip may break the line in two or join it to
/// the next, but what is read of it is either nothing or what was sent.
#[test]
fn a_bit_flip_anywhere_on_the_wire_loses_sentences_but_never_changes_one() {
    let wire = wire();
    let sent: Vec<Value> = values(&[record(0, &wire)]).into_iter().map(|(v, _)| v).collect();
    assert_eq!(sent.len(), 11);
    for bit in 0..wire.len() * 8 {
        let read = values(&[record(0, &flipped(&wire, &[bit]))]);
        let data = read.iter().map(|(value, _)| value).filter(|value| is_data(value));
        let mut left = sent.iter();
        let lost =
            sent.iter().filter(|value| is_data(value)).count() as i64 - data.clone().count() as i64;
        for value in data {
            assert!(left.any(|sent| sent == value), "bit {bit} gives {value:?}");
        }
        assert!((0..=2).contains(&lost), "bit {bit} loses {lost} sentences");
    }
}

#[test]
fn lines_split_at_every_two_positions_decode_alike() {
    let wire = wire();
    let whole = values(&[record(0, &wire)]);
    assert!(whole.iter().all(|(_, faults)| faults.is_empty()));
    for first in 0..=wire.len() {
        for second in (first..=wire.len()).step_by(7) {
            let cut = [&wire[..first], &wire[first..second], &wire[second..]];
            let records = [record(0, cut[0]), record(1, cut[1]), record(2, cut[2])];
            assert_eq!(values(&records), whole, "cut at {first} and {second}");
        }
    }
}

#[test]
fn a_reading_knows_the_records_in_which_it_began_and_ended_and_the_arrival_of_its_end() {
    let wire = wire();
    let pieces: Vec<Record> =
        wire[..70].chunks(20).zip(5..).map(|(bytes, number)| record(number, bytes)).collect();
    let readings = decode(&pieces);
    let first = &readings[0];
    assert_eq!((first.first_record, first.record, first.boot_ns), (5, 7, 7));
    // The second began in record 7 (bytes 40 to 59) and never ended; its last bytes are in 8.
    assert_eq!(readings[1].faults, [Fault::Unfinished { bytes: 17 }]);
    assert_eq!((readings[1].first_record, readings[1].record), (7, 8));
}

#[test]
fn line_ends_of_any_fashion_and_empty_lines_are_taken() {
    let whole = values(&[record(0, &wire())]);
    for end in ["\n", "\r", "\r\n\r\n", "\n\r", "\r\r\n"] {
        let text = String::from_utf8(wire()).unwrap().replace("\r\n", end);
        assert_eq!(values(&[record(0, text.as_bytes())]), whole, "{end:?}");
    }
}

#[test]
fn the_rest_of_a_line_after_opening_or_finding_a_source_is_no_fault() {
    let wire = wire();
    for kind in [Kind::Opened, Kind::Found] {
        let read = values(&[record_of(0, kind, b"port"), record(1, &wire[10..])]);
        assert_eq!(read.len(), 11, "the event and ten sentences");
        assert!(read.iter().all(|(_, faults)| faults.is_empty()));
    }
    let later = values(&[record(1, &wire), record(2, &wire[10..])]);
    assert_eq!(later[11], (Value::Refused, vec![Fault::Garbage { bytes: 41 }]));
}

#[test]
fn garbage_is_counted_to_the_byte_and_costs_no_sentence() {
    let mut noisy = wire();
    noisy.extend_from_slice(&[0xff; 300]);
    noisy.extend_from_slice(&wire());
    noisy.extend_from_slice(b"tail");
    let read = values(&[record(0, &noisy)]);
    assert_eq!(read[11], (Value::Refused, vec![Fault::Garbage { bytes: 300 }]));
    assert_eq!(read[23], (Value::Refused, vec![Fault::Garbage { bytes: 4 }]));
    assert_eq!(read.len(), 24);
}

#[test]
fn a_sentence_that_is_lost_in_the_middle_is_told_and_the_next_one_read() {
    let wire = wire();
    let read =
        values(&[record(0, &wire[..30]), record_of(1, Kind::Lost, b"gone"), record(2, &wire)]);
    assert_eq!(read[0], (Value::Refused, vec![Fault::Unfinished { bytes: 30 }]));
    assert_eq!(read[1], (Value::Lost("gone".into()), vec![]));
    assert_eq!(read.len(), 2 + 11);
    let joined = values(&[record(0, &[&wire[..30], &wire[..]].concat())]);
    assert_eq!(joined[0], (Value::Refused, vec![Fault::Unfinished { bytes: 30 }]));
    assert_eq!(joined.len(), 1 + 11);
}

#[test]
fn a_sentence_without_end_is_given_up_and_the_next_one_read() {
    let mut endless = b"$".to_vec();
    endless.resize(10_000, b'x');
    endless.extend_from_slice(&wire());
    for size in [1, 100, MAX_SENTENCE_BYTES, 20_000] {
        let records: Vec<Record> = endless.chunks(size).map(|bytes| record(0, bytes)).collect();
        let read = values(&records);
        assert_eq!(read[0], (Value::Refused, vec![Fault::TooLong]), "in pieces of {size}");
        assert_eq!(read[1], (Value::Refused, vec![Fault::Garbage { bytes: 10_000 }]));
        assert_eq!(read.len(), 2 + 11);
    }
}

/// Random bytes hold no board sentence: a chance of 2^-24 for each that even looks like one.
#[test]
fn random_megabytes_hold_no_data() {
    let mut state = 1_u64;
    for number in 0..160 {
        let noise: Vec<u8> = (0..65536)
            .map(|_| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                (state >> 56) as u8
            })
            .collect();
        assert!(!values(&[record(number, &noise)]).iter().any(|(value, _)| is_data(value)));
    }
}

#[test]
fn sources_do_not_mix_and_a_hole_begins_them_anew() {
    let wire = wire();
    let (mut decoder, mut readings) = (Decoder::new(), Vec::new());
    let mut push = |item: Item| decoder.push_item(&item, &mut |reading| readings.push(reading));
    let piece =
        |source, number, bytes: &[u8]| Item::Record(Record { source, ..record(number, bytes) });
    push(piece(1, 0, &wire[..40]));
    push(piece(2, 1, &wire[..60]));
    push(piece(1, 2, &wire[40..60]));
    let hole =
        |records_missing| Item::Hole(Hole { segment: 1, offset: 0, bytes: 9, records_missing });
    push(hole(Some(0)));
    push(piece(2, 3, &wire[60..120]));
    push(hole(Some(7)));
    push(piece(1, 11, &wire[80..]));
    let told: Vec<_> = readings.iter().map(|r| (r.source, r.record, r.faults.clone())).collect();
    let unfinished = |bytes| vec![Fault::Unfinished { bytes }];
    let start = [
        (2, 1, vec![]),
        (1, 2, vec![]),
        (2, 3, vec![]),
        (1, 2, unfinished(7)),
        (2, 3, unfinished(3)),
    ];
    assert_eq!(told[..5], start);
    assert!(
        told[5..]
            .iter()
            .all(|(source, record, faults)| (*source, *record, faults.len()) == (1, 11, 0))
    );
}

/// Sentences, and which of their fields are numbers.
const NUMBERS: [(&str, &[usize]); 3] = [
    ("GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W,A", &[7, 8]),
    ("GPVTG,084.4,T,087.5,M,022.4,N,041.5,K,A", &[1, 3, 5, 7]),
    ("GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,", &[7, 8, 9, 11]),
];

/// What a parser of floating-point numbers takes and no receiver sends: none, infinite, or with an
/// exponent.
#[test]
fn a_number_that_is_none_is_a_fault_and_missing_whatever_field_it_stands_in() {
    for (sentence, numbers) in NUMBERS {
        for at in numbers.iter().copied() {
            for word in ["nan", "NaN", "inf", "-inf", "infinity", "1e999", "1E999", "1e2", "+5"] {
                let mut fields: Vec<&str> = sentence.split(',').collect();
                fields[at] = word;
                let line = wheelwitness_capture::encode::frame(&fields.join(","));
                let (value, faults) = decode_sentence(line.strip_suffix(b"\r\n").unwrap());
                let text = format!("{value:?}");
                assert!(!text.contains("NaN") && !text.contains("inf"), "{word} at {at}: {text}");
                assert!(!faults.is_empty(), "{word} at {at} of {sentence}: {text}");
            }
        }
    }
}

proptest! {
    /// Noise on the line at any rate: what is read of the board was sent, in that order.
    #[test]
    fn damage_of_any_kind_never_changes_a_board_sentence(
        edits in proptest::collection::vec(
            (any::<prop::sample::Index>(), 0..3_u8, any::<u8>()),
            1..60,
        )
    ) {
        let sent: Vec<u8> = (0..10).flat_map(|_| wire()).collect();
        let board = |bytes: &[u8]| -> Vec<Value> {
            let read = values(&[record(0, bytes)]).into_iter().map(|(value, _)| value);
            read.filter(|value| matches!(value, Value::Board(_))).collect()
        };
        let mut damaged = sent.clone();
        for (index, kind, value) in edits {
            let at = index.index(damaged.len());
            match kind {
                0 => damaged[at] ^= value,
                1 => damaged.insert(at, value),
                _ => _ = damaged.remove(at),
            }
        }
        let before = board(&sent);
        let mut left = before.iter();
        for value in board(&damaged) {
            prop_assert!(left.any(|sent| *sent == value), "{value:?} was not sent");
        }
    }

    #[test]
    fn no_bytes_whatever_make_a_decoder_panic(
        pieces in proptest::collection::vec(
            (0..8_u8, proptest::collection::vec(any::<u8>(), 0..300)),
            0..20,
        )
    ) {
        let records: Vec<Record> = pieces
            .iter()
            .zip(0..)
            .map(|((kind, bytes), n)| record_of(n, Kind::from_code(*kind).unwrap(), bytes))
            .collect();
        decode(&records);
    }

    /// Nearly right sentences reach further into the decoders than noise does.
    #[test]
    fn no_field_whatever_makes_a_decoder_panic_or_give_a_number_that_is_none(
        name in "(GP|GN|WW)?(RMC|VTG|GGA)|PWWN[A-Z]", fields in "([0-9A-F.,:-]{0,6},){0,15}"
    ) {
        for frame in [wheelwitness_capture::encode::frame, |b: &str| {
            wheelwitness_capture::encode::frame_board(b.to_owned())
        }] {
            let line = frame(&format!("{name},{fields}"));
            let (value, _) = decode_sentence(line.strip_suffix(b"\r\n").unwrap());
            let text = format!("{value:?}");
            prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
        }
    }

    #[test]
    fn every_byte_is_in_a_sentence_or_counted_or_a_line_end(
        text in "[$A\r\n\\x00*]{0,900}", size in 1..400_usize
    ) {
        let bytes = format!("\n{text}").into_bytes();
        let (mut framer, mut told) = (Framer::default(), 0);
        let mut count = |_, line: Line<'_>| {
            told += match line {
                Line::Sentence(sentence) => sentence.len() as u64,
                Line::Fault(Fault::Garbage { bytes } | Fault::Unfinished { bytes }) => bytes,
                Line::Fault(_) => 0,
            };
        };
        bytes.chunks(size).for_each(|piece| framer.push(0, piece, &mut count));
        framer.restart(&mut count);
        let line_ends = bytes.iter().filter(|byte| matches!(byte, b'\r' | b'\n')).count() as u64;
        prop_assert_eq!(told + line_ends, bytes.len() as u64);
    }
}
