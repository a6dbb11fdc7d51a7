//! Promises about lines whose edges the board limits to five sentences in 100 ms.

use super::*;
use crate::switches::window::Limit;

/// An edge with the time at which its sentence is put on the line.
#[derive(Debug, Clone, Copy)]
struct Said {
    at_s: f64,
    event: Event,
}

/// What the board says of these edges by the rule of its wire: in a window that begins with an
/// edge, the first four at once and the last of the others when 100 ms are over; reminders four
/// times a second, a report of motion a hundred times.
fn board(edges: &[(f64, bool)], until_s: f64) -> Vec<Said> {
    let mut said = Vec::new();
    let mut rest = edges;
    let mut count = 65_500u16;
    while let Some((start_s, _)) = rest.first().copied() {
        let size = rest.iter().take_while(|e| e.0 < start_s + 0.1).count();
        let (window, later) = rest.split_at(size);
        for (n, (time_s, level)) in window.iter().copied().enumerate() {
            let edge_count = count.wrapping_add(n as u16 + 1);
            let change = LevelChange { time_s, input: 1, level, edge_count, record: 0 };
            let at_s = match n {
                0..4 => time_s,
                n if n + 1 == size => start_s + 0.1,
                _ => continue,
            };
            said.push(Said { at_s, event: Event::Change(change) });
        }
        count = count.wrapping_add(size as u16);
        rest = later;
    }
    let level_at = |time_s: f64| edges.iter().rev().find(|e| e.0 <= time_s).is_some_and(|e| e.1);
    for n in 0..(until_s * 100.0) as u32 {
        let time_s = 0.0037 + 0.01 * f64::from(n);
        let motion = Event::Motion(Motion { time_s, ..Motion::default() });
        said.push(Said { at_s: time_s, event: motion });
        if n % 25 == 1 {
            let levels = Levels { time_s, mask: level_at(time_s).into(), record: 0 };
            said.push(Said { at_s: time_s, event: Event::Levels(levels) });
        }
    }
    said.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    said
}

/// Takes one sentence away; the next one reveals it.
fn lose(said: &mut [Said], which: usize) {
    let from_s = said[which - 1].at_s;
    let to_s = said[which + 1].at_s;
    said[which] = Said { at_s: from_s, event: Event::Lost(Gap { from_s, to_s, record: 0 }) };
}

fn hear(role: Role, said: &[Said], until_s: f64) -> (Vec<Step>, Switches) {
    let mut lines = Switches::new(&[contact(role)], 0);
    let (mut order, mut steps) = (InOrder::default(), Vec::new());
    for s in said {
        order.push(s.event, &mut |e| lines.push(&e, &mut |s| steps.push(s)));
    }
    order.flush(&mut |e| lines.push(&e, &mut |s| steps.push(s)));
    lines.advance(until_s, &mut |s| steps.push(s));
    (steps, lines)
}

/// Edges of a lamp that is lit in these stretches and dimmed by pulse width meanwhile.
fn dimmed(lit: &[(f64, f64)], hertz: f64, duty: f64) -> Vec<(f64, bool)> {
    let mut edges = Vec::new();
    for (from_s, to_s) in lit {
        for k in 0..((to_s - from_s) * hertz) as u32 {
            let on_s = from_s + f64::from(k) / hertz;
            edges.extend([(on_s, true), (on_s + duty / hertz, false)]);
        }
    }
    edges
}

fn lamp_steps(steps: &[Step]) -> Vec<LampState> {
    let state = |s: &Step| match s.action {
        Action::Lamp(state) => Some(state),
        _ => None,
    };
    steps.iter().filter_map(state).collect()
}

#[test]
fn a_dimmed_lamp_is_steady_from_its_first_edge() {
    for hertz in [90.0, 141.0, 200.0] {
        for duty in [0.1, 0.5, 0.9] {
            let edges = dimmed(&[(2.0, 9.0)], hertz, duty);
            let (steps, lines) = hear(Role::Lamp, &board(&edges, 12.0), 12.0);
            let shown = lamp_steps(&steps);
            let all = [LampState::Off, LampState::Steady, LampState::Off];
            assert_eq!(shown, all, "{hertz} Hz at {duty}");
            let steady = steps.iter().find(|s| s.action == Action::Lamp(LampState::Steady));
            assert_eq!(steady.unwrap().moment.first_s, 2.0);
            let tally = lines.tallies()[0];
            assert_eq!((tally.missed, tally.contradictions), (0, 0));
            assert_eq!(tally.edges, edges.len() as u64);
            assert!(tally.passed_over > edges.len() as u64 / 2);
        }
    }
}

#[test]
fn a_dimmed_lamp_that_flashes_is_flashing_at_its_rate() {
    // 90 a minute: the middle of UN R48 para 6.5.9 (from memory).
    let period_s = 1.0 / 1.5;
    for hertz in [90.0, 141.0, 200.0] {
        let on: Vec<_> = (0..12)
            .map(|n| 2.0 + period_s * f64::from(n))
            .map(|on_s| (on_s, on_s + period_s / 2.0))
            .collect();
        let said = board(&dimmed(&on, hertz, 0.5), 9.9);
        let (steps, _) = hear(Role::Lamp, &said, 9.9);
        let shown = lamp_steps(&steps);
        let rates: Vec<f64> = shown.iter().filter_map(LampState::rate_per_min).collect();
        assert_eq!(rates.len(), 9, "{shown:?}");
        assert!(rates.iter().all(|r| (r - 90.0).abs() < 1e-6), "{hertz} Hz: {rates:?}");
        assert_eq!(shown.len(), 10, "off before, and nothing else: {shown:?}");
    }
}

#[test]
fn a_long_bounce_keeps_its_first_edge_and_its_settled_time_exactly() {
    // 31 edges in 6 ms: it ends closed. 30 edges: it ends as it began.
    for (edges, changed) in [(31, true), (30, false)] {
        let at = |n: u32| 2.0 + 0.0002 * f64::from(n);
        let bounce: Vec<_> = (0..edges).map(|n| (at(n), n % 2 == 0)).collect();
        let (steps, lines) = hear(Role::Position, &board(&bounce, 4.0), 4.0);
        let [_, step] = steps[..] else { panic!("{steps:?}") };
        assert_eq!(matches!(step.action, Action::Settled { .. }), changed);
        assert_eq!((step.moment.first_s, step.moment.settled_s), (2.0, at(edges - 1)));
        assert!(step.moment.is_certain());
        let tally = lines.tallies()[0];
        assert_eq!((tally.edges, tally.missed), (u64::from(edges), 0));
        assert_eq!(tally.passed_over, u64::from(edges) - 5);
    }
}

#[test]
fn a_jump_without_the_last_edge_of_a_window_stays_missed() {
    let bounce: Vec<_> = (0..31).map(|n| (2.0 + 0.0002 * f64::from(n), n % 2 == 0)).collect();
    let mut said = board(&bounce, 4.0);
    let last = said.iter().rposition(|s| matches!(s.event, Event::Change(_))).unwrap();
    lose(&mut said, last);
    let (steps, lines) = hear(Role::Position, &said, 4.0);
    let [(true, moment)] = changes(&steps)[..] else { panic!("{steps:?}") };
    assert!(!moment.is_certain());
    assert!(moment.first_s == 2.0 && moment.latest_s >= bounce[30].0 && moment.latest_s < 2.4);
    assert_eq!(lines.tallies()[0].passed_over, 0);
    assert!(lines.tallies()[0].missed > 0);
}

/// Changes with up to 40 edges each within at most 30 ms, at least 0.25 s apart.
fn changing() -> impl Strategy<Value = Vec<(f64, usize, f64)>> {
    prop::collection::vec((0.25..1.5f64, 0usize..20, 0.001..0.03f64), 1..10)
}

fn bursts(list: &[(f64, usize, f64)]) -> (Vec<(f64, bool)>, Vec<True>) {
    let (mut t, mut level) = (1.0, false);
    let (mut edges, mut truth) = (Vec::new(), Vec::new());
    for (gap_s, pairs, length_s) in list {
        t += gap_s;
        level = !level;
        // So close that no calm lies between two of them.
        let step_s = (length_s / (2 * pairs).max(1) as f64).min(0.015);
        edges.extend((0..=2 * pairs).map(|n| (t + step_s * n as f64, level ^ (n % 2 == 1))));
        truth.push((level, t, edges.last().unwrap().0));
    }
    (edges, truth)
}

proptest! {
    #[test]
    fn the_limit_changes_no_state_and_no_time(list in changing()) {
        let (edges, truth) = bursts(&list);
        let until_s = edges.last().unwrap().0 + 1.0;
        let (steps, lines) = hear(Role::Position, &board(&edges, until_s), until_s);
        let found: Vec<_> = changes(&steps)
            .into_iter()
            .map(|(on, m)| { assert!(m.is_certain()); (on, m.first_s, m.settled_s) })
            .collect();
        prop_assert_eq!(found, truth);
        let tally = lines.tallies()[0];
        prop_assert_eq!((tally.missed, tally.blips, tally.chatters), (0, 0, 0));
        prop_assert_eq!(tally.edges, edges.len() as u64);
    }

    #[test]
    fn a_lost_sentence_never_gives_a_wrong_settled_state(
        list in changing(), which in any::<prop::sample::Index>(),
    ) {
        let (edges, truth) = bursts(&list);
        let until_s = edges.last().unwrap().0 + 1.0;
        let mut said = board(&edges, until_s);
        let switch_edges: Vec<_> = (1..said.len() - 1)
            .filter(|n| matches!(said[*n].event, Event::Change(_)))
            .collect();
        let lost = switch_edges[which.index(switch_edges.len())];
        lose(&mut said, lost);
        let (steps, lines) = hear(Role::Position, &said, until_s);
        prop_assert_eq!(lines.picture().on == 1, truth.last().unwrap().0);
        prop_assert_eq!(lines.picture().doubt, 0);
        let mut left = truth.iter();
        for (on, m) in changes(&steps) {
            let fits = |&&(l, first_s, last_s): &&True| {
                l == on && m.earliest_s <= first_s && m.latest_s >= last_s
            };
            prop_assert!(left.any(|t| fits(&t)), "{m:?} in {truth:?}");
            prop_assert!(m.earliest_s <= m.first_s && m.settled_s <= m.latest_s);
        }
        prop_assert!(changes(&steps).len() + 2 >= truth.len());
    }

    #[test]
    fn a_lost_sentence_never_makes_a_dimmed_lamp_flash_or_go_out(
        hertz in 90.0..200.0f64, duty in 0.1..0.9f64,
        losses in prop::collection::vec(any::<prop::sample::Index>(), 1..12),
    ) {
        let mut said = board(&dimmed(&[(1.0, 20.0)], hertz, duty), 19.9);
        let during: Vec<_> = (1..said.len() - 1).filter(|n| said[*n].at_s > 1.3).collect();
        for which in losses {
            let which = during[which.index(during.len())];
            lose(&mut said, which);
        }
        let (steps, lines) = hear(Role::Lamp, &said, 19.9);
        let wrong = |s: &LampState| matches!(s, LampState::Flashing { .. });
        let shown = lamp_steps(&steps);
        prop_assert!(!shown.iter().any(wrong), "{shown:?}");
        prop_assert!(!shown.iter().skip(1).any(|s| *s == LampState::Off), "{shown:?}");
        prop_assert_eq!(lines.tallies()[0].chatters, 0);
    }
}

/// The fifth edge of a bounce, which the board holds, is lost, and so is what follows: once, or
/// twice before anything tells the level.
#[test]
fn a_change_whose_last_edge_was_held_and_lost_is_no_drop_out() {
    for gaps in [&[2.05][..], &[2.05, 4.22]] {
        let bounce: Vec<_> = (0..5).map(|n| (2.0 + 0.0001 * f64::from(n), n % 2 == 0)).collect();
        let mut said = board(&bounce, 6.0);
        for from_s in gaps {
            let to_s = if *from_s < 4.0 { 4.2 } else { 4.23 };
            said.retain(|s| !(*from_s..to_s).contains(&s.at_s));
            let gap = Gap { from_s: *from_s, to_s, record: 0 };
            said.push(Said { at_s: to_s, event: Event::Lost(gap) });
        }
        said.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        let (steps, _) = hear(Role::Position, &said, 6.0);
        let told: Vec<&Step> = steps.iter().skip(1).collect();
        let changed = |s: &&&Step| matches!(s.action, Action::Settled { level: Level::On, .. });
        assert_eq!(told.iter().filter(changed).count(), 1, "{gaps:?}: {told:?}");
        assert!(told.iter().all(|s| s.action != Action::Blip), "{gaps:?}: {told:?}");
        assert!(told.iter().all(|s| !s.moment.is_certain()), "{gaps:?}: {told:?}");
    }
}

/// The levels are told by a reminder, and no edge comes after it.
#[test]
fn a_lamp_whose_held_edges_were_lost_shows_what_the_reminder_says() {
    let dips = [(2.0, false), (2.01, true), (2.02, false), (2.03, true)];
    let edges = (1..).zip(dips).map(|(n, (time_s, lit))| edge(time_s, lit, n));
    let told = [lost(2.05, 2.2), reminder(2.25, true)];
    let events: Vec<Event> = [reminder(0.1, true)].into_iter().chain(edges).chain(told).collect();
    let (steps, _) = run(&[contact(Role::Lamp)], &events, 4.0);
    let [.., last] = steps[..] else { panic!("nothing is shown") };
    assert_eq!((last.action, last.moment.first_s), (Action::Lamp(LampState::Steady), 2.25));
    assert!(!lamp_steps(&steps).contains(&LampState::Off), "{steps:?}");
}

/// A fifth edge within 100 ms would come 5 ms late at most, and a reminder 0.3 s after that.
#[test]
fn what_a_board_may_hold_is_waited_for_until_a_reminder_is_due() {
    let bounce = [(2.0, true), (2.001, false), (2.002, true), (2.003, false)];
    let edges = (1..).zip(bounce).map(|(n, (time_s, level))| edge(time_s, level, n));
    let events: Vec<Event> = [reminder(1.9, false)].into_iter().chain(edges).collect();
    for (until_s, told) in [(2.404, 1), (2.406, 2)] {
        let (steps, _) = run(&[contact(Role::Position)], &events, until_s);
        assert_eq!(steps.len(), told, "at {until_s} s: {steps:?}");
    }
}

#[test]
fn a_window_ends_after_a_tenth_of_a_second_and_the_next_edge_begins_another() {
    for (time_s, last) in [(0.09, true), (WINDOW_S, false)] {
        let mut limit = Limit::default();
        for n in 0..4 {
            assert!(!limit.edge(0.01 * f64::from(n), 7 + n, false));
            assert_eq!(limit.holds_until_s().is_some(), n == 3, "edge {n}: a fifth may be held");
        }
        assert_eq!(limit.edge(time_s, 11, false), last, "the fifth edge at {time_s} s");
    }
}

#[test]
fn a_gap_may_have_taken_an_edge_of_an_open_window_and_none_of_one_that_is_over() {
    let over_s = WINDOW_S + 0.005;
    for (time_s, until_s) in [(0.104, Some(over_s)), (over_s, None)] {
        let mut limit = Limit::default();
        limit.edge(0.0, 7, false);
        limit.gap(time_s);
        assert_eq!(limit.holds_until_s(), until_s, "{time_s} s");
    }
}

#[test]
fn an_edge_that_was_missed_is_the_one_that_was_held_or_else_begins_a_window_unseen() {
    let mut limit = Limit::default();
    limit.missed(5.0);
    assert_eq!(limit.holds_until_s(), Some(5.0 + WINDOW_S + 0.005));
    let mut full = Limit::default();
    (0..4).for_each(|n| assert!(!full.edge(0.01 * f64::from(n), n, false)));
    full.missed(0.2);
    assert_eq!(full.holds_until_s(), None);
}
