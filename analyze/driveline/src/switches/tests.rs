//! Promises about switches, over generated lines whose truth is known.

mod limit;
mod told;

use super::*;
use proptest::prelude::*;

fn contact(role: Role) -> Switch {
    Switch { name: "contact".into(), input: 1, role, active: Active::High }
}

/// Edges of one input with their running count, and reminders four times a second.
fn wire(edges: &[(f64, bool)], start: bool, until_s: f64) -> Vec<Event> {
    let mut count = 65_530u16;
    let mut level = start;
    let mut events = Vec::new();
    let mut reminders = (0..).map(|n| 0.1 + 0.25 * f64::from(n)).take_while(|t| *t < until_s);
    let mut next = reminders.next();
    for (time_s, to) in edges.iter().copied().chain([(until_s, false)]) {
        while let Some(t) = next.filter(|t| *t < time_s) {
            events.push(Event::Levels(Levels { time_s: t, mask: level.into(), record: 0 }));
            next = reminders.next();
        }
        if time_s < until_s {
            count = count.wrapping_add(1);
            level = to;
            let record = events.len() as u64;
            let edge_count = count;
            events.push(Event::Change(LevelChange { time_s, input: 1, level, edge_count, record }));
        }
    }
    events
}

fn run(switches: &[Switch], events: &[Event], until_s: f64) -> (Vec<Step>, Switches) {
    let mut lines = Switches::new(switches, 0);
    let mut steps = Vec::new();
    for event in events {
        lines.push(event, &mut |s| steps.push(s));
    }
    lines.advance(until_s, &mut |s| steps.push(s));
    (steps, lines)
}

/// Settled changes of level as (level, moment), without the first reading.
fn changes(steps: &[Step]) -> Vec<(bool, Moment)> {
    steps
        .iter()
        .filter_map(|s| match s.action {
            Action::Settled { was: Some(was), level } if was != level => {
                Some((level == Level::On, s.moment))
            }
            _ => None,
        })
        .collect()
}

/// A true change: level, first edge, last edge.
type True = (bool, f64, f64);

/// A change every `gap` seconds; each bounces `bounces[n]` times within 6.2 ms, the worst bounce
/// of Ganssle, "A Guide to Debouncing" (from memory).
fn bouncing(gaps: &[(f64, usize)]) -> (Vec<(f64, bool)>, Vec<True>) {
    let (mut t, mut level) = (1.0, false);
    let (mut edges, mut truth) = (Vec::new(), Vec::new());
    for (gap_s, bounces) in gaps {
        t += gap_s;
        level = !level;
        let pairs = 2 * bounces;
        let step_s = 0.0062 / (pairs.max(1) as f64);
        edges.push((t, level));
        edges.extend((1..=pairs).map(|n| (t + step_s * n as f64, level ^ (n % 2 == 1))));
        truth.push((level, t, edges.last().unwrap().0));
    }
    (edges, truth)
}

fn gaps() -> impl Strategy<Value = Vec<(f64, usize)>> {
    prop::collection::vec((0.1..2.0f64, 0usize..5), 1..12)
}

proptest! {
    #[test]
    fn bounce_changes_no_state_and_delays_no_time(gaps in gaps()) {
        let (edges, truth) = bouncing(&gaps);
        let until_s = edges.last().unwrap().0 + 1.0;
        let events = wire(&edges, false, until_s);
        let (steps, lines) = run(&[contact(Role::Position)], &events, until_s);
        let found: Vec<_> = changes(&steps)
            .into_iter()
            .map(|(on, m)| { assert!(m.is_certain()); (on, m.first_s, m.settled_s) })
            .collect();
        prop_assert_eq!(found, truth);
        let tally = lines.tallies()[0];
        prop_assert_eq!((tally.missed, tally.blips, tally.contradictions), (0, 0, 0));
        prop_assert_eq!(tally.edges, edges.len() as u64);
    }

    #[test]
    fn one_lost_sentence_never_gives_a_wrong_time_or_level(
        gaps in gaps(), which in any::<prop::sample::Index>(), told in any::<bool>(),
    ) {
        let (edges, truth) = bouncing(&gaps);
        let until_s = edges.last().unwrap().0 + 1.0;
        let mut events = wire(&edges, false, until_s);
        let lost = which.index(events.len() - 4) + 1;
        let from_s = events[lost - 1].time_s();
        let to_s = events[lost + 1].time_s();
        events.remove(lost);
        if told {
            events.insert(lost, Event::Lost(Gap { from_s, to_s, record: 0 }));
        }
        let (steps, lines) = run(&[contact(Role::Position)], &events, until_s);
        let (level, ..) = *truth.last().unwrap();
        prop_assert_eq!(lines.picture().on == 1, level);
        // Every change told is a true one, within its bounds, and in order. A bounce edge lost
        // without any notice can move only the settled time, by less than a bounce.
        let mut left = truth.iter();
        for (on, m) in changes(&steps) {
            let fits = |&&(l, first_s, last_s): &&True| {
                l == on && m.earliest_s <= first_s && m.latest_s >= last_s - 0.0062
            };
            prop_assert!(left.any(|t| fits(&t)), "{m:?} in {truth:?}");
            prop_assert!(m.earliest_s <= m.first_s && m.settled_s <= m.latest_s);
        }
        // At most the change whose edge was cut and the one after it merge into a drop-out.
        prop_assert!(changes(&steps).len() + 2 >= truth.len());
    }

    #[test]
    fn any_events_keep_the_tracker_consistent(
        raw in prop::collection::vec((0u8..4, 0.0..5.0f64, any::<bool>(), any::<u16>()), 0..80),
    ) {
        let event = |&(kind, time_s, level, n): &(u8, f64, bool, u16)| match kind {
            0 => Event::Levels(Levels { time_s, mask: n, record: 0 }),
            1 => Event::Lost(Gap { from_s: time_s, to_s: time_s + 0.1, record: 0 }),
            2 => Event::Reset(Gap { from_s: time_s, to_s: time_s + 0.1, record: 0 }),
            _ => Event::Change(LevelChange { time_s, input: 1, level, edge_count: n, record: 0 }),
        };
        let events: Vec<_> = raw.iter().map(event).collect();
        for role in [Role::Position, Role::Lamp] {
            let (_, lines) = run(&[contact(role)], &events, 10.0);
            let picture = lines.picture();
            prop_assert_eq!(picture.on & !picture.known, 0);
        }
    }
}

#[test]
fn a_switch_that_never_moves_keeps_the_level_of_the_reminders() {
    let events = wire(&[], true, 60.0);
    let (steps, lines) = run(&[contact(Role::Position)], &events, 60.0);
    assert_eq!(steps.len(), 1, "one first reading, no change");
    assert_eq!(lines.picture(), Picture { on: 1, known: 1, moving: 0, doubt: 0 });
}

#[test]
fn a_missed_edge_is_known_as_missed_and_bounded_by_the_reminders() {
    let mut events = wire(&[(2.0, true)], false, 4.0);
    events.retain(|e| !matches!(e, Event::Change(_)));
    let (steps, lines) = run(&[contact(Role::Position)], &events, 4.0);
    let [(true, moment)] = changes(&steps)[..] else { panic!("{steps:?}") };
    assert!(moment.earliest_s < 2.0 && moment.latest_s > 2.0 && !moment.is_certain());
    assert!(moment.latest_s - moment.earliest_s < 0.26, "reminders come four times a second");
    assert_eq!(lines.tallies()[0].missed, 1);
}

#[test]
fn an_edge_missed_before_a_seen_one_is_told_by_the_count() {
    let mut events = wire(&[(2.0, true), (2.5, false), (3.0, true)], false, 4.0);
    events.retain(|e| !matches!(e, Event::Change(c) if c.time_s < 2.9));
    events.retain(|e| !matches!(e, Event::Levels(l) if (2.0..2.9).contains(&l.time_s)));
    events.insert(
        0,
        Event::Change(LevelChange {
            time_s: 0.01,
            input: 1,
            level: false,
            edge_count: 65_530,
            record: 0,
        }),
    );
    let (steps, lines) = run(&[contact(Role::Position)], &events, 4.0);
    let [(true, moment)] = changes(&steps)[..] else { panic!("{steps:?}") };
    assert!(moment.earliest_s < 2.0 && moment.first_s == 3.0 && moment.settled_s == 3.0);
    assert_eq!(lines.tallies()[0].missed, 2);
}

#[test]
fn a_reminder_that_overtakes_its_edge_is_no_missed_edge() {
    let mut events = wire(&[(2.101, true)], false, 4.0);
    let edge = events.iter().position(|e| matches!(e, Event::Change(_))).unwrap();
    let reminder = Event::Levels(Levels { time_s: 2.102, mask: 1, record: 0 });
    events.insert(edge, reminder);
    let (steps, lines) = run(&[contact(Role::Position)], &events, 4.0);
    assert_eq!(changes(&steps), [(true, Moment::at(2.101))]);
    assert_eq!(lines.tallies()[0].missed, 0);
}

#[test]
fn a_sentence_sent_twice_counts_once() {
    let mut events = wire(&[(2.0, true)], false, 4.0);
    let edge = events.iter().position(|e| matches!(e, Event::Change(_))).unwrap();
    events.insert(edge, events[edge]);
    let (steps, lines) = run(&[contact(Role::Position)], &events, 4.0);
    assert_eq!(changes(&steps).len(), 1);
    assert_eq!((lines.tallies()[0].edges, lines.tallies()[0].repeated), (1, 1));
}

#[test]
fn two_edges_within_one_tick_of_the_board_are_both_believed() {
    let events = wire(&[(2.0, true), (2.001, false), (2.001, true)], false, 4.0);
    let (steps, lines) = run(&[contact(Role::Position)], &events, 4.0);
    let moment = Moment { settled_s: 2.001, latest_s: 2.001, ..Moment::at(2.0) };
    assert_eq!(changes(&steps), [(true, moment)]);
    assert_eq!((lines.tallies()[0].edges, lines.tallies()[0].repeated), (3, 0));
}

#[test]
fn a_short_drop_out_is_a_blip_and_no_change() {
    let events = wire(&[(2.0, false), (2.004, true)], true, 4.0);
    let (steps, lines) = run(&[contact(Role::Position)], &events, 4.0);
    assert!(changes(&steps).is_empty());
    assert_eq!(lines.tallies()[0].blips, 1);
}

#[test]
fn a_chattering_switch_has_no_level_until_it_settles() {
    let edges: Vec<_> = (0..100).map(|n| (2.0 + 0.01 * f64::from(n), n % 2 == 0)).collect();
    let (steps, lines) = run(&[contact(Role::Position)], &wire(&edges, false, 2.9), 2.9);
    assert!(steps.iter().any(|s| s.action == Action::Chatter));
    assert_eq!(lines.picture().known, 0);
    let (_, lines) = run(&[contact(Role::Position)], &wire(&edges, false, 4.0), 4.0);
    assert_eq!(lines.picture(), Picture { on: 0, known: 1, moving: 0, doubt: 0 });
}

#[test]
fn after_a_board_reset_the_level_is_unknown_until_told() {
    let mut events = wire(&[], true, 2.0);
    events.push(Event::Reset(Gap { from_s: 2.0, to_s: 3.0, record: 9 }));
    let (_, lines) = run(&[contact(Role::Position)], &events, 3.0);
    assert_eq!(lines.picture().known, 0);
    events.push(Event::Levels(Levels { time_s: 3.1, mask: 0, record: 10 }));
    let (steps, _) = run(&[contact(Role::Position)], &events, 3.2);
    let [(false, moment)] = changes(&steps)[..] else { panic!("{steps:?}") };
    assert_eq!((moment.earliest_s, moment.latest_s), (2.0, 3.1));
}

/// Lights and darknesses in milliseconds, repeated.
fn lamp(pattern_ms: &[f64], times: usize) -> (LampDecoder, f64) {
    let mut lamp = LampDecoder::default();
    lamp.edge(0.0, false);
    let (mut t, mut lit) = (2.0, true);
    for ms in pattern_ms.iter().cycle().take(pattern_ms.len() * times) {
        lamp.advance(t);
        lamp.edge(t, lit);
        t += ms / 1000.0;
        lit = !lit;
    }
    lamp.advance(t);
    (lamp, t)
}

#[test]
fn flash_rates_are_cycles_over_time() {
    // NHTSA interpretation 01931ztv: three cycles in 1500 ms are 120.0 per minute by count, while
    // the mean of their rates is 136.8. Interpretation GF006498: 200/250, 200/250, 200/850 ms,
    // 92.31 per minute by count, 107.94 as the mean of rates.
    for (pattern_ms, rate) in [
        ([160.0, 200.0, 160.0, 200.0, 160.0, 620.0], 120.0),
        ([200.0, 250.0, 200.0, 250.0, 200.0, 850.0], 92.307_692),
    ] {
        // One more light-up ends the third cycle; it counts once it has lasted as long as a light.
        let mut once_more = pattern_ms.to_vec();
        once_more.push(30.0);
        let (lamp, end_s) = lamp(&once_more, 1);
        let shown = lamp.shows(end_s).expect("flashing");
        assert!(matches!(shown, LampState::Flashing { cycles: 3, .. }), "{shown:?}");
        assert!((shown.rate_per_min().unwrap() - rate).abs() < 1e-5, "{shown:?}");
    }
}

#[test]
fn flashes_within_un_r48_are_flashing_at_their_rate() {
    // UN R48 para 6.5.9 (from memory): 90 +- 30 flashes per minute.
    for per_min in [60.0, 90.0, 120.0] {
        let half_ms = 30_000.0 / per_min;
        let (lamp, end_s) = lamp(&[half_ms, half_ms], 8);
        let shown = lamp.shows(end_s).expect("flashing");
        assert!((shown.rate_per_min().unwrap() - per_min).abs() < 1e-6, "{shown:?}");
    }
}

#[test]
fn fewer_than_three_cycles_are_no_flash() {
    let (lamp, end_s) = lamp(&[300.0, 300.0, 300.0, 300.0, 300.0], 1);
    assert_eq!(lamp.shows(end_s), None);
}

#[test]
fn a_dimmed_lamp_is_steady() {
    for (hertz, duty) in [(30.0, 0.5), (100.0, 0.1), (200.0, 0.9)] {
        let period_ms = 1000.0 / hertz;
        let on_ms = period_ms * duty;
        let (lamp, end_s) = lamp(&[on_ms, period_ms - on_ms], 1000);
        assert_eq!(lamp.shows(end_s), Some(LampState::Steady), "{hertz} Hz");
    }
}

#[test]
fn a_disturbance_lights_no_lamp() {
    let (lamp, end_s) = lamp(&[3.0, 500.0], 6);
    assert_eq!(lamp.shows(end_s), Some(LampState::Off));
}

#[test]
fn a_lamp_line_tells_steady_since_its_first_edge() {
    let edges = [(2.0, true), (2.002, false), (2.004, true)];
    let (steps, _) = run(&[contact(Role::Lamp)], &wire(&edges, false, 5.0), 5.0);
    let steady = steps.iter().find(|s| s.action == Action::Lamp(LampState::Steady)).unwrap();
    assert_eq!((steady.moment.first_s, steady.moment.settled_s), (2.0, 2.004));
}
