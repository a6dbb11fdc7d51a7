//! States told on a bus.

use crate::switches::{Action, Event, Step, Switches, Told};
use crate::vehicle::Level;

fn told(time_s: f64, on: Option<bool>) -> Event {
    Event::Told(Told { time_s, state: 0, on, record: (10.0 * time_s) as u64 })
}

fn steps(events: &[Event]) -> (Switches, Vec<Step>) {
    let (mut switches, mut steps) = (Switches::new(&[], 1), Vec::new());
    events.iter().for_each(|e| switches.push(e, &mut |s| steps.push(s)));
    (switches, steps)
}

#[test]
fn a_change_came_after_the_last_frame_that_told_the_old_state() {
    let frames = [told(1.0, Some(false)), told(1.1, Some(false)), told(1.2, Some(true))];
    let (switches, steps) = steps(&frames);
    let change = steps[1];
    assert_eq!(change.action, Action::Settled { was: Some(Level::Off), level: Level::On });
    assert_eq!((change.moment.earliest_s, change.moment.latest_s), (1.1, 1.2));
    assert!(!change.moment.is_certain());
    assert_eq!((switches.picture().on, switches.picture().known), (1, 1));
}

#[test]
fn not_available_is_neither_on_nor_off_and_keeps_the_doubt_about_when() {
    let frames = [told(1.0, Some(false)), told(1.1, None), told(1.2, None), told(1.3, Some(true))];
    let (switches, steps) = steps(&frames);
    assert_eq!(steps[1].action, Action::Unknown);
    let change = steps[2];
    assert_eq!(change.action, Action::Settled { was: Some(Level::Off), level: Level::On });
    assert_eq!((change.moment.earliest_s, change.moment.latest_s), (1.0, 1.3));
    assert_eq!(switches.tallies()[0].changes, 1);
}

#[test]
fn silence_on_the_bus_is_doubt() {
    let (mut switches, _) = steps(&[told(1.0, Some(true)), told(1.1, Some(true))]);
    assert_eq!(switches.picture().doubt, 0);
    switches.advance(3.0, &mut |_| {});
    assert_eq!((switches.picture().doubt, switches.picture().on), (1, 1));
    switches.push(&told(3.1, Some(true)), &mut |_| {});
    assert_eq!(switches.picture().doubt, 0);
}

/// Frames every 0.8 s; the usual period is a running mean of about eight, and two and a half of it
/// are silence.
#[test]
fn a_slow_unit_is_given_two_and_a_half_of_its_periods_before_its_silence_is_doubt() {
    let frames: Vec<Event> = (0..41).map(|k| told(0.8 * f64::from(k), Some(true))).collect();
    let (mut switches, _) = steps(&frames);
    for (silent_s, doubt) in [(1.9, 0), (2.1, 1)] {
        switches.advance(32.0 + silent_s, &mut |_| {});
        assert_eq!(switches.picture().doubt, doubt, "silent for {silent_s} s");
    }
}
