//! Promises about switches, over generated lines whose truth is known.

mod lamp;
mod limit;
mod told;

use super::*;
use proptest::prelude::*;

fn contact(role: Role) -> Switch {
    Switch { name: "contact".into(), input: 1, role, active: Active::High }
}

/// An edge of input 1.
fn edge(time_s: f64, level: bool, edge_count: u16) -> Event {
    Event::Change(LevelChange { time_s, input: 1, level, edge_count, record: 0 })
}

/// A reminder of the level of input 1.
fn reminder(time_s: f64, level: bool) -> Event {
    Event::Levels(Levels { time_s, mask: level.into(), record: 0 })
}

fn lost(from_s: f64, to_s: f64) -> Event {
    Event::Lost(Gap { from_s, to_s, record: 0 })
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
            events.push(reminder(t, level));
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
        let tally = lines.tallies()[0];
        prop_assert_eq!(tally.changes, truth.len() as u64);
        prop_assert_eq!(found, truth);
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
    assert_eq!((lines.tallies()[0].missed, lines.tallies()[0].edges), (1, 1));
}

#[test]
fn an_edge_missed_before_a_seen_one_is_told_by_the_count() {
    let mut events = wire(&[(2.0, true), (2.5, false), (3.0, true)], false, 4.0);
    events.retain(|e| !matches!(e, Event::Change(c) if c.time_s < 2.9));
    events.retain(|e| !matches!(e, Event::Levels(l) if (2.0..2.9).contains(&l.time_s)));
    events.insert(0, edge(0.01, false, 65_530));
    let (steps, lines) = run(&[contact(Role::Position)], &events, 4.0);
    let [(true, moment)] = changes(&steps)[..] else { panic!("{steps:?}") };
    assert!(moment.earliest_s < 2.0 && moment.first_s == 3.0 && moment.settled_s == 3.0);
    assert_eq!((lines.tallies()[0].missed, lines.tallies()[0].unplaced), (2, 2));
}

#[test]
fn nobody_knows_when_an_edge_was_missed_or_contradicted_unless_it_was_within_the_calm_time() {
    for (time_s, level, edge_count, tally) in [
        (1.01, false, 4, (2, 0, 0)),
        (1.05, false, 4, (2, 0, 2)),
        (1.01, true, 2, (0, 1, 0)),
        (1.05, true, 2, (0, 1, 1)),
    ] {
        let events = [reminder(0.5, false), edge(1.0, true, 1), edge(time_s, level, edge_count)];
        let found = run(&[contact(Role::Position)], &events, 4.0).1.tallies()[0];
        assert_eq!((found.missed, found.contradictions, found.unplaced), tally, "{time_s} s");
    }
}

#[test]
fn a_reminder_that_overtakes_its_edge_is_no_missed_edge() {
    let mut events = wire(&[(2.101, true)], false, 4.0);
    let edge = events.iter().position(|e| matches!(e, Event::Change(_))).unwrap();
    let motion = Event::Motion(Motion { time_s: 2.11, ..Motion::default() });
    events.splice(edge..edge, [reminder(2.102, true), motion]);
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
    assert_eq!(lines.tallies()[0].chatters, 1);
    assert_eq!(lines.picture(), Picture::default(), "nothing known, and nothing about to be");
    let (_, lines) = run(&[contact(Role::Position)], &wire(&edges, false, 4.0), 4.0);
    assert_eq!(lines.picture(), Picture { on: 0, known: 1, moving: 0, doubt: 0 });
}

#[test]
fn after_a_board_reset_the_level_is_unknown_until_told() {
    let mut events = wire(&[], true, 2.0);
    events.push(Event::Reset(Gap { from_s: 2.0, to_s: 3.0, record: 9 }));
    let (_, lines) = run(&[contact(Role::Position)], &events, 3.0);
    assert_eq!(lines.picture().known, 0);
    events.push(reminder(3.1, false));
    let (steps, _) = run(&[contact(Role::Position)], &events, 3.2);
    let [(false, moment)] = changes(&steps)[..] else { panic!("{steps:?}") };
    assert_eq!((moment.earliest_s, moment.latest_s), (2.0, 3.1));
}

#[test]
fn a_switch_moves_until_it_has_been_calm_for_twenty_milliseconds() {
    let events = [reminder(1.0, false), edge(2.0, true, 1)];
    let at = |until_s| run(&[contact(Role::Position)], &events, until_s).1.picture();
    assert_eq!(at(2.01), Picture { on: 0, known: 1, moving: 1, doubt: 0 });
    assert_eq!(at(2.021), Picture { on: 1, known: 1, moving: 0, doubt: 0 });
}

/// The reminder of 2.0 s told of an edge that was missed, and the count has it too.
#[test]
fn a_level_that_a_reminder_told_shortly_before_an_edge_was_there() {
    let before = [reminder(0.5, false), edge(1.0, true, 1), edge(1.2, false, 2)];
    let after = [reminder(1.9, false), reminder(2.0, true), edge(2.03, false, 4)];
    let events = [&before[..], &after, &[reminder(2.3, false)]].concat();
    let (steps, lines) = run(&[contact(Role::Position)], &events, 4.0);
    let missed = Moment { earliest_s: 1.9, ..Moment::at(2.0) };
    let found = changes(&steps);
    assert_eq!(found[..3], [(true, Moment::at(1.0)), (false, Moment::at(1.2)), (true, missed)]);
    let [(false, last)] = found[3..] else { panic!("{found:?}") };
    assert_eq!((last.first_s, last.settled_s), (2.03, 2.03));
    assert_eq!((lines.tallies()[0].edges, lines.tallies()[0].missed), (4, 1));
}

#[test]
fn a_reminder_from_before_an_edge_that_was_told_first_tells_nothing() {
    let events = [reminder(1.0, false), edge(2.0, true, 1), reminder(1.99, false)];
    let (steps, lines) = run(&[contact(Role::Position)], &events, 4.0);
    assert_eq!(changes(&steps), [(true, Moment::at(2.0))]);
    assert_eq!((lines.picture().on, lines.tallies()[0].missed), (1, 0));
}

#[test]
fn away_and_back_between_reminders_is_a_drop_out_of_two_missed_edges() {
    let events = [reminder(1.0, false), reminder(2.0, true), reminder(2.03, false)];
    let (steps, lines) = run(&[contact(Role::Position)], &events, 4.0);
    let moment = Moment { earliest_s: 1.0, latest_s: 2.03, ..Moment::at(2.0) };
    let [_, blip] = steps[..] else { panic!("{steps:?}") };
    assert_eq!((blip.action, blip.moment, blip.edges), (Action::Blip, moment, 2));
    let tally = lines.tallies()[0];
    assert_eq!((tally.missed, tally.blips, tally.changes), (2, 1, 0));
}

#[test]
fn a_drop_out_whose_end_only_a_reminder_told_has_both_its_edges() {
    let events = [reminder(1.0, false), edge(2.0, true, 1), reminder(2.01, false)];
    let (steps, _) = run(&[contact(Role::Position)], &events, 4.0);
    let [_, blip] = steps[..] else { panic!("{steps:?}") };
    let moment = Moment { latest_s: 2.01, ..Moment::at(2.0) };
    assert_eq!((blip.action, blip.moment, blip.edges), (Action::Blip, moment, 2));
}

#[test]
fn a_change_just_before_a_gap_settles_when_it_is_told_again_and_may_have_gone_on_in_the_gap() {
    let events = [reminder(1.0, false), edge(2.0, true, 1), lost(2.01, 2.3)];
    let (steps, lines) = run(&[contact(Role::Position)], &events, 2.35);
    assert!(changes(&steps).is_empty(), "{steps:?}");
    assert_eq!(lines.picture(), Picture { on: 0, known: 1, moving: 1, doubt: 1 });
    let told = [&events[..], &[reminder(2.35, true)]].concat();
    let (steps, _) = run(&[contact(Role::Position)], &told, 2.4);
    assert_eq!(changes(&steps), [(true, Moment { latest_s: 2.3, ..Moment::at(2.0) })]);
}

/// Two on the board and two on a bus.
#[test]
fn every_line_has_its_own_place_in_the_picture() {
    let input = |input| Switch { input, ..contact(Role::Position) };
    let mut lines = Switches::new(&[input(1), input(2)], 2);
    let states = |on: [bool; 4]| {
        let mask = u16::from(on[0]) + 2 * u16::from(on[1]);
        let told = |state: usize| {
            let on = Some(on[2 + state]);
            Event::Told(Told { time_s: 1.0, state, on, record: 0 })
        };
        [Event::Levels(Levels { time_s: 1.0, mask, record: 0 }), told(0), told(1)]
    };
    for k in 0..4 {
        let mut fresh = lines.clone();
        for event in states([0, 1, 2, 3].map(|n| n == k)) {
            fresh.push(&event, &mut |_| {});
        }
        let picture = fresh.picture();
        assert_eq!((picture.on, picture.known, picture.doubt), (1 << k, 0b1111, 0), "line {k}");
        fresh.push(&lost(1.5, 1.6), &mut |_| {});
        assert_eq!(fresh.picture().doubt, 0b0011, "those of the board");
    }
    for event in states([false, true, false, true]) {
        lines.push(&event, &mut |_| {});
    }
    lines.advance(9.0, &mut |_| {});
    assert_eq!((lines.picture().on, lines.picture().doubt), (0b1010, 0b1100), "a silent bus");
}

/// A window of 100 ms, and 5 ms of the board's own.
#[test]
fn an_event_is_held_for_as_long_as_an_older_edge_may_come() {
    let (mut order, mut times) = (InOrder::default(), Vec::new());
    for (time_s, out) in [(1.0, 0), (1.1, 0), (1.104, 0), (1.106, 1), (1.21, 3)] {
        order.push(reminder(time_s, false), &mut |e| times.push(e.time_s()));
        assert_eq!(times.len(), out, "after {time_s} s");
    }
    order.flush(&mut |e| times.push(e.time_s()));
    assert_eq!(times, [1.0, 1.1, 1.104, 1.106, 1.21]);
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

/// Away and back between two reminders, and both edges lost: the board counted them.
#[test]
fn edges_that_reminders_show_are_counted_on_so_that_the_next_edge_is_certain() {
    let events = [
        edge(1.0, true, 1),
        edge(1.5, false, 2),
        reminder(1.9, false),
        reminder(2.0, true),
        reminder(2.03, false),
        edge(3.0, true, 5),
    ];
    let (steps, lines) = run(&[contact(Role::Position)], &events, 4.0);
    let (on, moment) = *changes(&steps).last().expect("it changed");
    assert!(on && moment.is_certain() && moment.first_s == 3.0, "{moment:?}");
    let tally = lines.tallies()[0];
    assert_eq!((tally.missed, tally.edges, tally.unplaced), (2, 5, 0), "{tally:?}");
}

/// On at 2.0; a reminder 10 ms later says off: the edge back was lost, and nothing told so.
#[test]
fn a_change_waits_while_a_reminder_within_its_calm_time_tells_the_other_level() {
    let clock = |time_s| Event::Motion(Motion { time_s, ..Motion::default() });
    let told = [reminder(1.9, false), edge(2.0, true, 1), reminder(2.01, false)];
    let between = [0.03, 0.05, 0.07].map(|s| clock(2.0 + s));
    for events in [told.to_vec(), [&told[..], &between].concat()] {
        let (steps, lines) = run(&[contact(Role::Position)], &events, 3.0);
        assert_eq!(changes(&steps), [], "it is where it was");
        assert_eq!(lines.tallies()[0].blips, 1);
    }
}
