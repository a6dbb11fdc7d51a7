//! Voltages on the lines of contacts: only whole seconds in which a contact stood still, and was
//! known to, say how far it keeps from what its unit may misread.

use super::script::wagon;
use crate::selection::voltages::{ANALOG_INPUTS, Taps, Worst};
use crate::switches::Picture;

/// Switches and analog inputs of the demo vehicle: the line is divided by three.
const FRONT: usize = 6;
const LOCK: usize = 7;
const PER_VOLT: f64 = 3.0;

/// The first contact reads so from one quarter of a second to another: times, on, volts.
type Read = (f64, f64, bool, f64);

/// The other contacts are on and read as low as can be, whatever the first one does.
fn taps(reads: &[Read], known: u32) -> Taps {
    let mut taps = Taps::new(&wagon());
    for (from_s, to_s, is_on, volts) in reads {
        let others_on = !0 << LOCK;
        let on = others_on | u32::from(*is_on) << FRONT;
        let stood = Picture { on, known, ..Picture::default() };
        let mut inputs = [0.0; ANALOG_INPUTS];
        inputs[0] = volts / PER_VOLT;
        // The supply, divided by four.
        inputs[3] = 13.8 / 4.0;
        for n in 0..(4.0 * (to_s - from_s)) as u32 {
            taps.take(from_s + 0.25 * f64::from(n), &inputs, &stood);
        }
    }
    taps
}

fn worst(reads: &[Read], is_on: bool, within_s: (f64, f64)) -> Option<Worst> {
    taps(reads, !0).worst(FRONT, is_on, within_s)
}

fn volts(reads: &[Read], is_on: bool, within_s: (f64, f64)) -> Option<f64> {
    worst(reads, is_on, within_s).map(|w| (1e9 * w.estimate.value).round() / 1e9)
}

/// The unit surely reads low up to 1.5 V and high from 3.5 V on; a closed contact pulls it low.
#[test]
fn a_contact_keeps_its_margin_from_the_threshold_of_the_state_it_is_in() {
    let reads = [(10.0, 20.0, true, 0.4), (20.0, 30.0, false, 11.8)];
    for (is_on, volts, margin_v, read_as) in [(true, 0.4, 1.1, "low"), (false, 11.8, 8.3, "high")] {
        let w = worst(&reads, is_on, (10.0, 30.0)).expect("it was read for seconds");
        assert!((w.estimate.value - volts).abs() < 1e-9, "{w:?}");
        assert!((w.margin_v() - margin_v).abs() < 1e-9, "{}", w.margin_v());
        assert_eq!(w.read_as, read_as);
    }
    let beyond = worst(&[(10.0, 20.0, true, 2.0)], true, (10.0, 20.0)).expect("it was read");
    assert!((beyond.margin_v() + 0.5).abs() < 1e-9, "{}", beyond.margin_v());
}

#[test]
fn the_worst_of_a_closed_contact_is_its_highest_voltage_and_of_an_open_one_its_lowest() {
    let reads = |is_on, volts: [f64; 3]| {
        let [a, b, c] = volts;
        [(10.0, 14.0, is_on, a), (14.0, 14.25, is_on, b), (14.25, 20.0, is_on, c)]
    };
    assert_eq!(volts(&reads(true, [0.4, 1.2, 0.1]), true, (10.0, 20.0)), Some(1.2));
    assert_eq!(volts(&reads(false, [11.8, 9.5, 12.0]), false, (10.0, 20.0)), Some(9.5));
}

#[test]
fn a_contact_whose_state_is_not_known_is_not_read() {
    let reads = [(10.0, 20.0, true, 0.4)];
    for (known, is_read) in [(!0, true), (1 << FRONT, true), (!(1 << FRONT), false), (0, false)] {
        let w = taps(&reads, known).worst(FRONT, true, (10.0, 20.0));
        assert_eq!(w.is_some(), is_read, "{known:b}");
    }
}

#[test]
fn only_seconds_that_lie_wholly_in_the_stretch_count() {
    let reads = [(9.0, 10.0, true, 1.4), (10.0, 19.0, true, 0.4), (19.0, 20.0, true, 1.3)];
    assert_eq!(volts(&reads, true, (10.0, 19.0)), Some(0.4));
    assert_eq!(volts(&reads, true, (9.25, 19.75)), Some(0.4));
    assert_eq!(volts(&reads, true, (10.0, 20.0)), Some(1.3));
    assert_eq!(volts(&reads, true, (9.0, 19.0)), Some(1.4));
    assert_eq!(volts(&reads, true, (9.25, 10.75)), None);
}

/// What moves is read later than its voltage changes.
#[test]
fn the_seconds_beside_a_change_do_not_count() {
    let beside = [
        (8.0, 9.0, true, 0.4),
        (9.0, 9.75, true, 0.4),
        (9.75, 10.0, true, 1.4),
        (10.0, 12.0, false, 11.8),
        (12.0, 12.25, true, 0.4),
        (12.25, 12.5, true, 1.3),
        (12.5, 14.0, true, 0.4),
    ];
    assert_eq!(volts(&beside, true, (8.0, 14.0)), Some(0.4));
    assert_eq!(volts(&beside, false, (8.0, 14.0)), None);
    // It was not read for a second in between: what it did in the one before says nothing.
    let apart = [(8.0, 9.0, false, 11.8), (10.0, 11.0, true, 1.2), (11.0, 13.0, true, 0.4)];
    assert_eq!(volts(&apart, true, (8.0, 13.0)), Some(1.2));
}
