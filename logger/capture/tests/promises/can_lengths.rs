//! The length of frames on the bus, against published formulas and a bit-true encoder.
//!
//! Frame layout and CRC: ISO 11898-1, from memory. Worst case: Davis, Burns, Bril, Lukkien,
//! Real-Time Systems 35 (2007) 239-272, formula from memory.

use crate::can_frames::hex;
use proptest::prelude::*;
use wheelwitness_capture::can::{Frame, Id};
use wheelwitness_capture::can_length::{bits, crc, least_bits, worst_bits};

fn data(id: Id, text: &str) -> Frame {
    Frame::data(id, &hex(text)).unwrap()
}

/// Frame, stuff bits, length with the pause, CRC: from an encoder written in another language.
#[test]
fn lengths_are_those_of_a_bit_true_encoder() {
    let cases = [
        (data(Id::Standard(0x7e8), "04410C1AF8000000"), 11, 122, 0x5389),
        (data(Id::Standard(0x7df), "02010C0000000000"), 12, 123, 0x5649),
        (data(Id::Extended(0x18fe_bf0b), "00327D7D7D7DFFFF"), 11, 142, 0x5b69),
        (data(Id::Standard(0), "0000000000000000"), 16, 127, 0x145b),
        (data(Id::Standard(0x555), "5555555555555555"), 1, 112, 0x1b04),
    ];
    for (frame, stuffed, length, sum) in cases {
        assert_eq!((bits(&frame), crc(&frame)), (Some(length), Some(sum)), "{frame:?}");
        let extended = matches!(frame.id(), Some(Id::Extended(_)));
        assert_eq!(length - least_bits(extended, 8), stuffed);
    }
}

/// `55 + 10 s` bits with an id of 11 bits, `80 + 10 s` with one of 29.
#[test]
fn the_worst_case_is_that_of_the_formula() {
    for s in 0..=8 {
        assert_eq!(worst_bits(false, s), 55 + 10 * u32::from(s));
        assert_eq!(worst_bits(true, s), 80 + 10 * u32::from(s));
    }
    assert_eq!((least_bits(false, 8), least_bits(true, 8)), (111, 131));
    // Frames a second of a full bus at 500 kbit/s.
    assert_eq!((500_000 / worst_bits(false, 8), 500_000 / worst_bits(true, 8)), (3703, 3125));
}

#[test]
fn fd_frames_and_errors_have_no_such_length() {
    let fd = Frame::fd(Id::Standard(1), &[0; 8]).unwrap();
    let error = Frame::Error { classes: 0x40, details: [0; 8] };
    assert_eq!((bits(&fd), bits(&error), crc(&fd)), (None, None, None));
}

proptest! {
    #[test]
    fn no_frame_is_shorter_than_the_least_or_longer_than_the_worst(
        number in 0..=Id::MAX_EXTENDED,
        bytes in proptest::collection::vec(prop_oneof![Just(0), Just(0xff), any::<u8>()], 0..=8),
        remote: bool,
    ) {
        let extended = number > u32::from(Id::MAX_STANDARD);
        let id = if extended { Id::Extended(number) } else { Id::Standard(number as u16) };
        let frame = match remote {
            true => Frame::remote(id, bytes.len() as u8).unwrap(),
            false => Frame::data(id, &bytes).unwrap(),
        };
        let carried = frame.payload().len() as u8;
        let length = bits(&frame).unwrap();
        prop_assert!(length >= least_bits(extended, carried));
        prop_assert!(length <= worst_bits(extended, carried));
    }
}
