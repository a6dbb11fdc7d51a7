//! Signals of published messages against frames worked by hand, and bits against properties.

use crate::common::{close, reference};
use proptest::prelude::*;
use serde::Deserialize;
use wheelwitness_driveline::published::group_id;
use wheelwitness_driveline::signal::{Frame, Said, Sample, SignalDecoder};
use wheelwitness_driveline::vehicle::{ByteOrder, LockField, Measures, Message, Place, Signal};

#[derive(Deserialize)]
struct Frames {
    decoded: Vec<Row>,
    nothing: Vec<Row>,
}

#[derive(Deserialize)]
struct Row {
    id: u32,
    data: String,
    message: Message,
    place: Option<Place>,
    field: Option<LockField>,
    value: Option<f64>,
    state: Option<bool>,
    flaw: Option<String>,
    source: String,
}

fn bytes(hex: &str) -> Vec<u8> {
    let digits: Vec<u32> = hex.chars().map(|c| c.to_digit(16).expect("hexadecimal")).collect();
    digits.chunks(2).map(|two| (16 * two[0] + two[1]) as u8).collect()
}

impl Row {
    fn sample(&self) -> Option<Sample> {
        let data = bytes(&self.data);
        let frame = Frame { id: self.id, extended: self.id > 0x7FF, data: &data };
        let signal = Signal {
            message: Some(self.message),
            place: self.place,
            field: self.field,
            ..Signal::default()
        };
        SignalDecoder::new(&signal).decode(&frame)
    }
}

#[test]
fn every_published_frame_says_what_was_worked_out_by_hand() {
    for row in reference::<Frames>("can-messages.toml").decoded {
        let sample = row.sample().unwrap_or_else(|| panic!("nothing: {}", row.source));
        let flaw = sample.flaw.map(|f| f.words().to_string());
        assert_eq!(flaw, row.flaw, "{}", row.source);
        match (row.value, row.state, sample.said) {
            (Some(value), _, Some(Said::Speed(v))) => close(v, value, 1e-9, &row.source),
            (_, Some(state), Some(Said::State(s))) => assert_eq!(s, state, "{}", row.source),
            (None, None, None) => {}
            (_, _, said) => panic!("{said:?}: {}", row.source),
        }
        assert_eq!(sample.sound().is_some(), row.flaw.is_none(), "{}", row.source);
    }
}

#[test]
fn requests_negative_answers_and_wrong_groups_hold_nothing() {
    for row in reference::<Frames>("can-messages.toml").nothing {
        assert_eq!(row.sample(), None, "{}", row.source);
    }
}

#[test]
fn an_answer_counts_for_the_responder_that_is_meant() {
    let mut signal = Signal { message: Some(Message::ObdEngineSpeed), ..Signal::default() };
    let data = bytes("04410C1AF8000000");
    let heard = |signal: &Signal, id| {
        let frame = Frame { id, extended: false, data: &data };
        SignalDecoder::new(signal).decode(&frame).map(|s| s.id)
    };
    assert_eq!((heard(&signal, 0x7E8), heard(&signal, 0x7E9)), (Some(0x7E8), Some(0x7E9)));
    signal.id = Some(0x7E9);
    assert_eq!((heard(&signal, 0x7E8), heard(&signal, 0x7E9)), (None, Some(0x7E9)));
}

fn own(start_bit: u16, length: u8, byte_order: ByteOrder, signed: bool) -> Signal {
    Signal {
        id: Some(0x123),
        start_bit: Some(start_bit),
        length: Some(length),
        byte_order: Some(byte_order),
        signed,
        measures: Some(Measures::SpeedKmh),
        ..Signal::default()
    }
}

fn raw(signal: &Signal, data: &[u8]) -> Option<f64> {
    let frame = Frame { id: 0x123, extended: false, data };
    match SignalDecoder::new(signal).decode(&frame)?.said? {
        Said::Speed(v) => Some(v),
        _ => None,
    }
}

/// First bit, length, order, sign, payload, value.
type Worked = (u16, u8, ByteOrder, bool, &'static str, Option<f64>);

/// Worked by hand on paper.
#[test]
fn bits_are_taken_as_worked_by_hand() {
    use ByteOrder::{Big, Little};
    let rows: [Worked; 12] = [
        (0, 16, Little, false, "3412", Some(4660.0)),
        (7, 16, Big, false, "1234", Some(4660.0)),
        (3, 12, Big, false, "1234", Some(564.0)),
        (4, 8, Little, false, "1234", Some(65.0)),
        (4, 4, Big, false, "12", Some(9.0)),
        (1, 4, Little, false, "12", Some(9.0)),
        (0, 8, Little, true, "FE", Some(-2.0)),
        (7, 12, Big, true, "FFE0", Some(-2.0)),
        (0, 8, Big, false, "0180", Some(192.0)),
        (15, 32, Big, false, "00FFFFFFFF", Some(4_294_967_295.0)),
        (8, 16, Little, false, "0012", None),
        (7, 16, Big, false, "12", None),
    ];
    for (start, length, order, signed, data, value) in rows {
        let got = raw(&own(start, length, order, signed), &bytes(data));
        assert_eq!(got, value, "start {start}, length {length}, {order:?}, {data}");
    }
}

/// 0x18FEBF0B: the wheel speeds, group 65215, of source 11.
#[test]
fn a_signal_is_in_frames_of_its_own_identifier_and_length_of_identifier_alone() {
    let wheel = Signal {
        message: Some(Message::J1939Ebc2),
        place: Some(Place::RearRight),
        ..Signal::default()
    };
    let short = own(0, 8, ByteOrder::Little, false);
    let long = Signal { extended: true, ..short.clone() };
    for (signal, id, extended, heard) in [
        (&short, 0x123, false, true),
        (&short, 0x123, true, false),
        (&short, 0x124, false, false),
        (&long, 0x123, true, true),
        (&long, 0x123, false, false),
        (&wheel, 0x18FE_BF0B, true, true),
        (&wheel, 0x18FE_BF0B, false, false),
        (&wheel, 0x18FE_BE0B, true, false),
    ] {
        let frame = Frame { id, extended, data: &[0x80, 0x25, 0, 0, 0, 0, 0, 0] };
        let found = SignalDecoder::new(signal).decode(&frame);
        assert_eq!(found.is_some(), heard, "{id:X} {extended}");
    }
}

#[test]
fn a_running_count_wraps_after_as_many_values_as_its_bits_hold() {
    let data = bytes("C8FF");
    let frame = Frame { id: 0x123, extended: false, data: &data };
    for (length, count, values) in [(4, 8, 16), (8, 200, 256), (16, 65_480, 65_536)] {
        let signal = own(0, length, ByteOrder::Little, false);
        let counting = Signal { measures: Some(Measures::EdgeCount), ..signal };
        let sample = SignalDecoder::new(&counting).decode(&frame).expect("it is its frame");
        assert_eq!(sample.sound(), Some(Said::Count(count, values)), "{length} bits");
    }
}

#[test]
fn a_signal_of_no_bits_is_nought_with_a_sign_or_without() {
    for signed in [false, true] {
        assert_eq!(raw(&own(0, 0, ByteOrder::Little, signed), &[0xFF]), Some(0.0));
    }
}

proptest! {
    #[test]
    fn any_payload_under_any_signal_gives_a_value_or_a_flaw(
        data in proptest::collection::vec(any::<u8>(), 0..65),
        start in 0u16..512, length in 1u8..33, big in any::<bool>(), signed in any::<bool>(),
    ) {
        let order = if big { ByteOrder::Big } else { ByteOrder::Little };
        let frame = Frame { id: 0x123, extended: false, data: &data };
        let sample = SignalDecoder::new(&own(start, length, order, signed)).decode(&frame).unwrap();
        prop_assert!(sample.said.is_some() != sample.flaw.is_some());
    }

    #[test]
    fn little_is_a_shift_of_the_payload_read_from_its_last_byte(
        data in any::<[u8; 8]>(), start in 0u16..64, length in 1u8..33,
    ) {
        prop_assume!(start + u16::from(length) <= 64);
        let whole = u64::from_le_bytes(data) >> start & ((1 << length) - 1);
        let got = raw(&own(start, length, ByteOrder::Little, false), &data);
        prop_assert_eq!(got, Some(whole as f64));
    }

    #[test]
    fn big_is_a_shift_of_the_payload_read_from_its_first_byte(
        data in any::<[u8; 8]>(), sent in 0u16..64, length in 1u8..33,
    ) {
        // `sent` counts bits in the order in which a bus sends them.
        prop_assume!(sent + u16::from(length) <= 64);
        let start = sent / 8 * 8 + 7 - sent % 8;
        let whole = data.iter().fold(0u64, |sum, byte| sum << 8 | u64::from(*byte));
        let whole = whole >> (64 - sent - u16::from(length)) & ((1 << length) - 1);
        let got = raw(&own(start, length, ByteOrder::Big, false), &data);
        prop_assert_eq!(got, Some(whole as f64));
    }

    #[test]
    fn signed_and_unsigned_differ_by_the_weight_of_the_sign(
        data in any::<[u8; 8]>(), start in 0u16..32, length in 1u8..33,
    ) {
        let plain = raw(&own(start, length, ByteOrder::Little, false), &data).unwrap();
        let signed = raw(&own(start, length, ByteOrder::Little, true), &data).unwrap();
        let half = (1u64 << (length - 1)) as f64;
        let expected = if plain >= half { plain - 2.0 * half } else { plain };
        prop_assert_eq!(signed, expected);
    }

    #[test]
    fn a_group_is_the_same_from_any_source_address_at_any_priority(
        pgn in 0u32..0x4_0000, priority in 0u32..8, source in any::<u8>(), to in any::<u8>(),
    ) {
        let one = (pgn >> 8 & 0xFF) < 240;
        let pgn = if one { pgn & 0x3_FF00 } else { pgn };
        let specific = if one { u32::from(to) } else { 0 };
        let id = group_id(priority << 26 | (pgn | specific) << 8 | u32::from(source));
        prop_assert_eq!((id.pgn, id.source, u32::from(id.priority)), (pgn, source, priority));
        prop_assert_eq!(id.destination, one.then_some(to));
    }
}
