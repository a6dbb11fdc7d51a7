//! Contacts and lamps, edge by edge, of the invented demo vehicle: what a flicker of one contact
//! and of several at once says, and what a flash may mean.

use wheelwitness_driveline::selection::{Finding, Selections, Timeline, Word};
use wheelwitness_driveline::switches::{Event, LevelChange, Levels};
use wheelwitness_driveline::vehicle::Vehicle;

const TRAIL_WAGON: &str = include_str!("../../../../fixtures/vehicles/trail-wagon.toml");

/// All inputs at rest in rear-only: requests, limits and positions are active low, limit-a
/// (input 4) is on, lamps are dark, ignition (14) is on.
const REAR_ONLY: u16 = !(1 << 3 | 1 << 9 | 1 << 10 | 1 << 11 | 1 << 12);

/// Edges: time, input, level after it; in order of time.
type Edges<'a> = &'a [(f64, u8, bool)];

/// A minute in rear-only with these edges; `supply_v` is what the supply reads at a time.
fn minute(edges: Edges, supply_v: impl Fn(f64) -> f64) -> Timeline {
    measured(edges, |time_s| (supply_v(time_s), 11.8))
}

/// The same; `volts` gives supply and the line of `position-front`, whose contact is open.
fn measured(edges: Edges, volts: impl Fn(f64) -> (f64, f64)) -> Timeline {
    let vehicle = Vehicle::parse(TRAIL_WAGON, "trail-wagon.toml").expect("the file is checked");
    let mut selections = Selections::new(&vehicle);
    let (mut mask, mut counts) = (REAR_ONLY, [0u16; 17]);
    let mut next = edges.iter().peekable();
    for tick in 0..240 {
        let now_s = 0.25 * f64::from(tick);
        while let Some((time_s, input, level)) = next.next_if(|e| e.0 < now_s) {
            let bit = 1 << (input - 1);
            mask = if *level { mask | bit } else { mask & !bit };
            counts[usize::from(*input)] += 1;
            let edge_count = counts[usize::from(*input)];
            let (time_s, input, level) = (*time_s, *input, *level);
            let change = LevelChange { time_s, input, level, edge_count, record: 7 };
            selections.push(&Event::Change(change));
        }
        // What the file divides: the positions by three, the supply by four.
        let (supply_v, line_v) = volts(now_s);
        let inputs = [line_v / 3.0, 11.8 / 3.0, 11.8 / 3.0, supply_v / 4.0, 0.0, 0.0];
        selections.analog(now_s, &inputs);
        selections.push(&Event::Levels(Levels { time_s: now_s, mask, record: 1 }));
    }
    selections.finish(60.0)
}

fn clean(timeline: &Timeline, scope: &str) -> Finding {
    let all = timeline.contacts_clean();
    all.into_iter().find(|f| f.scope == scope).expect("a kind of contacts of this vehicle")
}

/// Position switches, limit-b and the selector close for 80 ms, as a sagging supply makes them.
const SAG: Edges = &[
    (30.000, 1, false),
    (30.001, 5, false),
    (30.001, 7, false),
    (30.002, 8, false),
    (30.080, 1, true),
    (30.081, 5, true),
    (30.081, 7, true),
    (30.082, 8, true),
];

#[test]
fn one_contact_that_opens_for_five_milliseconds_refutes_and_is_named() {
    let found = clean(&minute(&[(20.0, 4, true), (20.005, 4, false)], |_| 13.8), "limit contacts");
    assert_eq!((found.word, found.code), (Word::Disproven, "contact-flickers"));
    assert!(found.reason.contains("`limit-a`") && found.reason.contains("5 ms"), "{found:?}");
}

#[test]
fn a_contact_that_is_back_after_half_a_second_did_not_move() {
    let found = clean(&minute(&[(20.0, 4, true), (20.5, 4, false)], |_| 13.8), "limit contacts");
    assert_eq!(found.word, Word::Disproven, "{}", found.reason);
}

#[test]
fn several_at_once_accuse_no_contact_and_ask_for_the_supply() {
    for scope in ["limit contacts", "position switches"] {
        let found = clean(&minute(SAG, |_| 13.8), scope);
        assert_eq!((found.word, found.code), (Word::Undecided, "several-at-once"), "{found:?}");
        assert!(found.next_step.expect("a next step").contains("supply"));
    }
}

#[test]
fn several_at_once_under_a_low_supply_are_told_apart() {
    let sag = |time_s: f64| if (29.9..30.4).contains(&time_s) { 7.2 } else { 13.8 };
    let found = clean(&minute(SAG, sag), "limit contacts");
    assert_ne!(found.code, "several-at-once");
    assert_ne!(found.word, Word::Disproven, "{}", found.reason);
}

/// The unit surely reads high from 3.5 V on.
#[test]
fn a_line_that_its_unit_may_misread_for_a_second_is_not_clean_unless_the_supply_was_low() {
    let sags = |supply_v: f64, line_v: f64| {
        let dip =
            move |t: f64| if (29.9..30.4).contains(&t) { (supply_v, line_v) } else { (13.8, 11.8) };
        clean(&measured(&[], dip), "position switches")
    };
    let low = sags(13.8, 2.0);
    assert_eq!((low.word, low.code), (Word::Disproven, "voltage-beyond-threshold"));
    assert!(low.reason.contains("`position-front` lies at 2.00 ± 0.11 V"), "{}", low.reason);
    let near = sags(13.8, 3.6);
    assert_eq!((near.word, near.code), (Word::Undecided, "voltage-near-threshold"));
    assert!(near.next_step.expect("a next step").contains("clean the contact"));
    let excused = sags(7.2, 2.0);
    assert_ne!(excused.word, Word::Disproven, "{}", excused.reason);
    assert_eq!(sags(13.8, 9.0).code, excused.code);
}

/// Several at once between two readings of the supply that were low.
#[test]
fn a_supply_that_was_low_twice_within_a_second_was_low_in_between() {
    let earlier: Vec<_> = SAG.iter().map(|(t, input, level)| (t - 0.15, *input, *level)).collect();
    let found = |low: [f64; 2]| {
        let sags = minute(&earlier, |time_s| if low.contains(&time_s) { 7.2 } else { 13.8 });
        clean(&sags, "limit contacts").code == "several-at-once"
    };
    assert!(!found([29.5, 30.25]));
    assert!(found([29.25, 30.25]), "a second apart they are two sags");
    assert!(found([20.0, 40.0]));
}

#[test]
fn a_low_supply_does_not_excuse_a_contact_that_flickers_alone() {
    let sag = |time_s: f64| if (19.9..20.4).contains(&time_s) { 7.2 } else { 13.8 };
    let found = clean(&minute(&[(20.0, 4, true), (20.005, 4, false)], sag), "limit contacts");
    assert_eq!(found.word, Word::Disproven);
}

#[test]
fn a_contact_that_was_never_closed_is_not_called_clean() {
    let found = clean(&minute(&[], |_| 13.8), "position switches");
    assert_eq!((found.word, found.code), (Word::Undecided, "contact-not-closed"));
}

#[test]
fn a_contact_that_this_drive_never_closed_is_named_beside_those_that_were_clean() {
    let found = clean(&minute(&[], |_| 13.8), "limit contacts");
    assert_eq!(found.word, Word::Proven, "{}", found.reason);
    let not_judged = "; `limit-b`, `limit-c`: never closed";
    assert!(found.reason.contains(not_judged), "{}", found.reason);
}

#[test]
fn a_contact_that_is_never_closed_in_quiet_and_flickers_elsewhere_is_not_passed_over() {
    let flickers = |n: usize| -> Vec<(f64, u8, bool)> {
        let at = |k: usize| 0.3 + 0.2 * k as f64;
        (0..n).flat_map(|k| [(at(k), 5, false), (at(k) + 0.005, 5, true)]).collect()
    };
    let found = |n| clean(&minute(&flickers(n), |_| 13.8), "limit contacts");
    let often = found(3);
    assert_eq!((often.word, often.code), (Word::Undecided, "flickers-unplaced"), "{often:?}");
    assert!(often.reason.contains("`limit-b`"), "{}", often.reason);
    // A shift may bounce a contact once or twice.
    assert_eq!(found(2).word, Word::Proven, "{}", found(2).reason);
}

#[test]
fn a_flash_that_is_declared_for_waiting_is_no_lie_before_the_shafts_say_so() {
    let flash: Vec<(f64, u8, bool)> =
        (0..60).map(|k| (10.0 + 0.33 * f64::from(k), 11, k % 2 == 0)).collect();
    let found = minute(&flash, |_| 13.8).lamps_truthful();
    let found = found.into_iter().find(|f| f.scope == "rear-only").expect("a row with lamps");
    assert_eq!((found.word, found.code), (Word::Undecided, "unit-under-way"), "{found:?}");
    assert!(found.reason.contains("`lamp-lock` was flashing (91 a minute)"), "{}", found.reason);
}

/// Edges of a selection of full-time: asked for, motor, contact, motor at rest, fork, lamp.
const TO_FULL_TIME: Edges = &[
    (5.0, 1, false),
    (5.1, 12, true),
    (6.55, 5, false),
    (6.6, 12, false),
    (6.8, 7, false),
    (6.9, 10, true),
];

/// The unit surely reads low up to 1.5 V.
#[test]
fn a_closed_contact_is_told_with_its_highest_voltage_in_quiet_and_with_its_margin() {
    let of = |line_v: f64| {
        let closed = move |t: f64| (13.8, if t < 6.8 { 11.8 } else { line_v });
        clean(&measured(TO_FULL_TIME, closed), "position switches")
    };
    let found = of(0.4);
    assert_eq!(found.word, Word::Proven, "{found:?}");
    let told = "; voltages keep 1.1 V from what the unit may misread (`position-front`)";
    assert!(found.reason.contains(told), "{}", found.reason);
    let high = of(2.0);
    assert_eq!((high.word, high.code), (Word::Disproven, "voltage-beyond-threshold"));
    let told = "`position-front` lies at 2.00 ± 0.11 V while it is on; its unit surely reads low \
                only up to 1.5 V";
    assert_eq!(high.reason, told);
}
