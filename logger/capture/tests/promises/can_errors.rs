//! Error frames in words. Classes and details: `linux/can/error.h` of Linux 6.1 (read).

use proptest::prelude::*;
use wheelwitness_capture::can_error::{BusError, Counters};

fn error(classes: u32, details: [u8; 8]) -> BusError {
    BusError { classes, details }
}

#[test]
fn each_of_the_nine_classes_has_its_word() {
    let cases = [
        (0x001, "transmission timed out"),
        (0x002, "lost arbitration"),
        (0x004, "controller problem"),
        (0x008, "protocol violation"),
        (0x010, "transceiver problem"),
        (0x020, "nobody acknowledged"),
        (0x040, "bus off"),
        (0x080, "bus error"),
        (0x100, "controller restarted"),
    ];
    for (class, word) in cases {
        let one = error(class, [0; 8]);
        assert_eq!(one.classes().collect::<Vec<_>>(), [word]);
        assert_eq!(one.to_string(), word);
        assert_eq!((one.unknown_classes(), one.is_bus_off()), (0, class == 0x40));
    }
    let all = error(0x1ff, [0; 8]);
    assert!(all.classes().eq(cases.map(|(_, word)| word)));
}

#[test]
fn details_are_told_where_the_header_has_them() {
    let cases = [
        (0x002, [13, 0, 0, 0, 0, 0, 0, 0], "lost arbitration (lost at bit 13)"),
        (0x004, [0, 0x01, 0, 0, 0, 0, 0, 0], "controller problem (receive buffer overflowed)"),
        (
            0x204,
            [0, 0x20, 0, 0, 0, 0, 130, 9],
            "controller problem (error passive by transmit errors, \
             transmit errors 130, receive errors 9)",
        ),
        (
            0x088,
            [0, 0, 0x84, 0x0a, 0, 0, 0, 0],
            "protocol violation, bus error (wrong bit stuffing, while transmitting, data)",
        ),
        (
            0x0a8,
            [0, 0, 0, 0x19, 0, 0, 0, 0],
            "protocol violation, nobody acknowledged, bus error (acknowledge slot)",
        ),
        (
            0x010,
            [0, 0, 0, 0, 0x74, 0, 0, 0],
            "transceiver problem (CAN high not connected, CAN low shorted to ground)",
        ),
        (0x010, [0, 0, 0, 0, 0x80, 0, 0, 0], "transceiver problem (CAN low shorted to CAN high)"),
    ];
    for (classes, details, words) in cases {
        assert_eq!(error(classes, details).to_string(), words);
    }
}

#[test]
fn counters_are_there_only_if_the_driver_says_so() {
    let details = [0, 0, 0, 0, 0, 0, 96, 7];
    let told = error(0x244, details).counters();
    assert_eq!(told, Some(Counters { transmit: 96, receive: 7 }));
    assert_eq!(error(0x044, details).counters(), None);
    assert_eq!(error(0x040, details).to_string(), "bus off (byte 6: 60, byte 7: 07)");
}

#[test]
fn what_is_unknown_is_kept_as_a_number() {
    let odd = error(0x1000_0400, [0, 0x80, 0, 0x11, 0x93, 5, 0, 0]);
    assert_eq!(odd.unknown_classes(), 0x1000_0400);
    let words = "class 10000400 (byte 1: 80, byte 3: 11, byte 4: 03, byte 4: 90, byte 5: 05)";
    assert_eq!(odd.to_string(), words);
    assert_eq!(error(0, [0; 8]).to_string(), "error of no class");
}

proptest! {
    /// Every bit of the details that is set is told somehow.
    #[test]
    fn nothing_that_is_set_is_passed_over(classes: u32, byte in 0..8_usize, bit in 0..8_u8) {
        let mut details = [0; 8];
        details[byte] = 1_u8 << bit;
        let with = error(classes, details);
        prop_assert_ne!(with.to_string(), error(classes, [0; 8]).to_string());
    }
}
