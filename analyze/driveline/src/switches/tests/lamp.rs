//! Promises about what one lamp shows, edge by edge.

use super::*;

/// Stretches in which a lamp is lit.
fn lights(lamp: &mut LampDecoder, lit: &[(f64, f64)]) {
    for (on_s, off_s) in lit {
        lamp.edge(*on_s, true);
        lamp.edge(*off_s, false);
    }
}

#[test]
fn cycles_that_took_no_time_have_no_rate() {
    assert_eq!(LampState::Flashing { cycles: 3, seconds: 0.0 }.rate_per_min(), None);
    assert_eq!(LampState::Steady.rate_per_min(), None);
}

/// A lamp that is lit and dark for a quarter second each from 102 s on, of which four edges, or
/// three, are only counted.
#[test]
fn cycles_of_a_flash_that_were_only_counted_are_cycles() {
    let level = |n: u32| (102.0 + 0.25 * f64::from(n), n.is_multiple_of(2));
    for edges in [4, 3] {
        let mut lamp = LampDecoder::default();
        lamp.edge(100.0, false);
        (0..4).map(level).for_each(|(time_s, lit)| lamp.edge(time_s, lit));
        let (time_s, lit) = level(3 + edges);
        lamp.edges(level(3).0, time_s, lit, edges);
        (4 + edges..9).map(level).for_each(|(time_s, lit)| lamp.edge(time_s, lit));
        lamp.advance(104.1);
        let flash = LampState::Flashing { cycles: 4, seconds: 2.0 };
        assert_eq!(lamp.shows(104.1), Some(flash), "{edges} edges");
    }
}

/// Darkness of less than 40 ms is dimming: four edges in a second are two cycles of a flash only
/// where nothing is dimmed.
#[test]
fn edges_of_a_dimmed_lamp_that_were_only_counted_are_no_cycles() {
    let flash = LampState::Flashing { cycles: 5, seconds: 2.5 };
    for (dark_s, shown) in [(0.01, None), (0.039, None), (0.04, Some(flash)), (0.1, Some(flash))] {
        let mut lamp = LampDecoder::default();
        lamp.edge(-2.0, false);
        lights(&mut lamp, &[(-0.2, 0.0), (dark_s, 0.3)]);
        lamp.edges(0.3, 1.3, false, 4);
        lights(&mut lamp, &[(1.8, 2.05), (2.3, 2.55)]);
        lamp.advance(2.6);
        // Lights that were seen from -0.2 s to 2.3 s, and two in between.
        assert_eq!(lamp.shows(2.6), shown, "dark for {dark_s} s");
    }
}

/// Sixty edges in 0.19 s, or in 0.3 s: two windows of 100 ms never pass without a sentence.
#[test]
fn a_lamp_is_lit_between_the_edges_of_its_dimming_and_forgotten_where_too_long_nothing_came() {
    for (span_s, shown) in [(0.19, Some(LampState::Steady)), (0.3, None)] {
        let mut lamp = LampDecoder::default();
        lamp.edge(100.0, true);
        lamp.advance(102.0);
        lamp.edges(102.0, 102.0 + span_s, true, 60);
        assert_eq!(lamp.shows(102.0 + span_s), shown, "{span_s} s");
    }
}

/// Four lights, two and a quarter seconds of darkness, and four more.
#[test]
fn a_flash_begins_anew_after_a_long_darkness() {
    let mut lamp = LampDecoder::default();
    lamp.edge(0.0, false);
    let four = |from_s: f64| [0.0, 0.5, 1.0, 1.5].map(|t| (from_s + t, from_s + t + 0.25));
    lights(&mut lamp, &four(2.0));
    lights(&mut lamp, &four(6.0));
    lamp.advance(7.8);
    let flash = LampState::Flashing { cycles: 3, seconds: 1.5 };
    assert_eq!(lamp.shows(7.8), Some(flash));
}

#[test]
fn a_lamp_keeps_what_it_shows_through_a_short_gap_and_is_told_anew_after_a_long_one() {
    for (to_s, told) in [(5.1, 1), (5.3, 2)] {
        let events = [reminder(1.0, true), lost(5.0, to_s), reminder(5.5, true)];
        let (steps, _) = run(&[contact(Role::Lamp)], &events, 8.0);
        let shown: Vec<Action> = steps.iter().map(|s| s.action).collect();
        assert_eq!(shown, vec![Action::Lamp(LampState::Steady); told], "until {to_s} s");
    }
}

/// Edges of one bounce follow each other within the calm time, and end before a dimming gap.
#[test]
fn a_light_up_bounces_for_less_than_forty_milliseconds() {
    for (until_s, settled_s) in [(0.039, 0.039), (0.04, 0.03)] {
        let mut lamp = LampDecoder::default();
        for (time_s, lit) in [(0.0, true), (0.015, false), (0.03, true), (until_s, false)] {
            lamp.edge(time_s, lit);
        }
        lamp.edge(0.045, true);
        let moment = Moment { settled_s, latest_s: settled_s, ..Moment::at(0.0) };
        assert_eq!(lamp.advance(2.0), Some((LampState::Steady, moment)), "until {until_s} s");
    }
}

#[test]
fn a_lamp_shows_what_it_held_for_a_second_and_a_half_and_nothing_just_after_it_changed() {
    let mut lamp = LampDecoder::default();
    lamp.edge(100.0, true);
    lamp.advance(101.5);
    assert_eq!(lamp.shows(101.5), Some(LampState::Steady));
    lamp.edge(110.0, false);
    lamp.advance(110.1);
    assert_eq!(lamp.shows(110.1), None);
    lamp.advance(111.5);
    assert_eq!(lamp.shows(111.5), Some(LampState::Off));
}
