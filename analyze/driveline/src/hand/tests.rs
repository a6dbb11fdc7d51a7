//! The table of the engine-off tests, worked by hand, and what must never be concluded.

use super::*;
use crate::vehicle::Place;
use proptest::prelude::*;

/// The demo vehicle (invented): planetary center, 36 of 96 teeth at the front, so 0.375.
fn wagon() -> Vehicle {
    let text = include_str!("../../../../fixtures/vehicles/trail-wagon.toml");
    Vehicle::parse(text, "trail-wagon.toml").expect("the demo vehicle parses")
}

fn trial(turned: Part, input: Input) -> Trial {
    Trial {
        mode: "full-time".into(),
        turned,
        input,
        others_held: true,
        one_way: true,
        start_s: Some(1.0),
        end_s: Some(9.0),
        felt: None,
        watched: None,
        torque_nm: None,
        by: "A".into(),
        on: "today".into(),
    }
}

/// Counts at four pulses a turn.
fn counts(front: f64, rear: f64, input: f64) -> HandCounts {
    let of =
        |turns: f64| Some(HandTurns { turns: (turns * 4.0).round() / 4.0, edge: 0.25, stray: 0.0 });
    HandCounts { front: of(front), rear: of(rear), input: of(input) }
}

fn fits(t: &Trial, c: HandCounts) -> Vec<Coupling> {
    let weighed = weigh(&wagon(), t, &c, Control::InputFollows);
    assert_eq!(weighed.silent, None);
    weighed.fits
}

use Coupling::{Differential, FrontOnly, Locked, Neutral, RearOnly};

#[test]
fn a_raised_wheel_with_the_gearbox_in_neutral_tells_every_coupling() {
    // Handbook of the project, section 3: the engine-off table.
    let t = trial(Part::FrontLeft, Input::Free);
    assert_eq!(fits(&t, counts(6.0, 0.0, 0.0)), [RearOnly, Neutral]);
    assert_eq!(fits(&t, counts(6.0, 0.0, 0.375 * 6.0)), [Differential]);
    assert_eq!(fits(&t, counts(0.0, 0.0, 0.0)), [Locked]);
}

/// A held part was pushed to and fro through play that is more than declared, and its counts were
/// taken for turns once; another one crept through a clutch, and was taken for held.
#[test]
fn a_part_that_moved_a_little_is_neither_turned_nor_held() {
    let mut vehicle = wagon();
    vehicle.limits.backlash_turn = 0.04;
    let t = trial(Part::FrontLeft, Input::Held);
    for turns in [0.3, 0.6] {
        let moved = Some(HandTurns { turns, edge: 0.0125, stray: 0.0 });
        let counts = HandCounts { front: moved, ..HandCounts::default() };
        for felt in [None, Some(Felt::Held), Some(Felt::Turned)] {
            let t = Trial { felt, ..t.clone() };
            let weighed = weigh(&vehicle, &t, &counts, Control::InputFollows);
            assert_eq!((weighed.turned, weighed.fits.len()), (None, COUPLINGS.len()), "{turns}");
            assert!(weighed.silent.is_some_and(|why| why.contains("farther than its play")));
        }
    }
}

#[test]
fn a_tooth_that_trembles_before_its_sensor_turns_nothing() {
    // Four edges of a wheel with one magnet, beside a part that was held.
    let t = trial(Part::FrontLeft, Input::Free);
    let front = Some(HandTurns { turns: 4.0 / 3.0, edge: 1.0 / 3.0, stray: 0.0 });
    let counts = HandCounts { front, ..HandCounts::default() };
    let of = |felt| weigh(&wagon(), &Trial { felt, ..t.clone() }, &counts, Control::InputFollows);
    assert_eq!(of(None).turned, None);
    assert_eq!(
        (of(Some(Felt::Held)).turned, of(Some(Felt::Held)).fits),
        (Some(false), vec![Locked])
    );
}

#[test]
fn a_front_only_coupling_is_never_taken_for_an_open_center() {
    let t = trial(Part::FrontLeft, Input::Free);
    assert_eq!(fits(&t, counts(6.0, 0.0, 6.0)), [FrontOnly]);
    // Without the input's count the two look alike.
    let seen = Trial { felt: Some(Felt::Turned), watched: Some(Watched::Same), ..t };
    assert_eq!(fits(&seen, HandCounts::default()), [Differential, FrontOnly]);
}

#[test]
fn a_raised_wheel_with_the_input_held_tells_only_whether_the_front_is_coupled() {
    let t = trial(Part::FrontRight, Input::Held);
    assert_eq!(fits(&t, counts(0.0, 0.0, 0.0)), [Differential, Locked, FrontOnly]);
    assert_eq!(fits(&t, counts(5.0, 0.0, 0.0)), [RearOnly, Neutral]);
}

#[test]
fn bare_flanges_that_turn_opposite_ways_with_the_input_held_show_the_open_center() {
    // a / (1 - a) = 0.375 / 0.625 = 0.6 turns of the rear for one of the front.
    let opposite =
        Trial { watched: Some(Watched::Opposite), ..trial(Part::FrontFlange, Input::Held) };
    assert_eq!(fits(&opposite, counts(5.0, 3.0, 0.0)), [Differential]);
    let rear = Trial { turned: Part::RearFlange, ..opposite };
    assert_eq!(fits(&rear, counts(5.0, 3.0, 0.0)), [Differential]);
}

#[test]
fn equal_counts_of_flanges_are_never_a_lock() {
    // An even split: input held, outputs opposite, counters without sign.
    let mut vehicle = wagon();
    vehicle.center = crate::vehicle::Center::Bevel;
    let unseen = trial(Part::FrontFlange, Input::Held);
    let opposite = Trial { watched: Some(Watched::Opposite), ..unseen.clone() };
    for t in [unseen, opposite] {
        let w = weigh(&vehicle, &t, &counts(5.0, 5.0, 0.0), Control::InputFollows);
        assert!(!w.fits.contains(&Locked), "{w:?}");
    }
}

#[test]
fn with_both_flanges_bare_and_the_input_free_nothing_is_said() {
    let t = Trial { watched: Some(Watched::Same), ..trial(Part::FrontFlange, Input::Free) };
    let w = weigh(&wagon(), &t, &counts(5.0, 5.0, 5.0), Control::InputFollows);
    assert!(w.silent.is_some() && w.fits.len() == 5);
}

#[test]
fn flanges_tell_a_released_front_from_a_lock() {
    let front = trial(Part::FrontFlange, Input::Held);
    assert_eq!(fits(&front, counts(5.0, 0.0, 0.0)), [RearOnly]);
    assert_eq!(fits(&front, counts(0.0, 0.0, 0.0)), [Locked, FrontOnly]);
    let rear = trial(Part::RearFlange, Input::Held);
    assert_eq!(fits(&rear, counts(0.0, 0.0, 0.0)), [RearOnly, Locked]);
    assert_eq!(fits(&rear, counts(0.0, 5.0, 0.0)), [FrontOnly]);
}

#[test]
fn a_part_that_holds_says_nothing_until_it_was_seen_to_turn_elsewhere() {
    let t = trial(Part::FrontLeft, Input::Free);
    let held = counts(0.0, 0.0, 0.0);
    assert!(weigh(&wagon(), &t, &held, Control::Nothing).silent.is_some());
    // An input that nobody saw turn may have been held: then an open center holds as well.
    let w = weigh(&wagon(), &t, &held, Control::Turns);
    assert_eq!(w.fits, [Differential, Locked, FrontOnly]);
}

#[test]
fn a_part_that_was_rocked_has_no_ratio() {
    // Within its play a wheel can be rocked for ever, and the input never moves.
    let t = Trial { one_way: false, ..trial(Part::FrontLeft, Input::Free) };
    let w = weigh(&wagon(), &t, &counts(9.0, 0.0, 0.0), Control::InputFollows);
    assert_eq!(w.share, None);
    assert!(w.fits.contains(&Differential) && w.fits.contains(&RearOnly));
}

#[test]
fn counts_and_feeling_that_disagree_say_nothing() {
    let t = Trial { felt: Some(Felt::Held), ..trial(Part::FrontLeft, Input::Free) };
    assert!(weigh(&wagon(), &t, &counts(5.0, 0.0, 0.0), Control::InputFollows).silent.is_some());
    let loose = Trial { others_held: false, felt: None, ..t };
    assert!(weigh(&wagon(), &loose, &counts(5.0, 0.0, 0.0), Control::Turns).silent.is_some());
}

#[test]
fn the_torque_of_a_wheel_reaches_the_output_through_half_the_axle_ratio() {
    // Bevel axle differential with one side on the ground: 2 T / i, here 2 * 410 / 4.1.
    let t = Trial { torque_nm: Some(410.0), ..trial(Part::FrontLeft, Input::Free) };
    assert!((torque_at_output(&wagon(), &t).expect("given") - 200.0).abs() < 1e-9);
}

#[test]
fn the_template_is_a_sheet_of_the_demo_vehicle() {
    let sheet = HandSheet::parse(TEMPLATE, "hand.toml", &wagon()).expect("the template is fine");
    assert_eq!(sheet.trials.len(), 2);
}

#[test]
fn mistakes_in_a_sheet_are_named_with_what_to_write() {
    let told = |from: &str, to: &str| {
        let text = TEMPLATE.replacen(from, to, 1);
        assert_ne!(text, TEMPLATE, "{from}");
        HandSheet::parse(&text, "hand.toml", &wagon()).expect_err(to).to_string()
    };
    assert!(told("format = 1", "format = 2").contains("format 2"));
    assert!(told("\"full-time\" ", "\"fulltime\" ").contains("one of: rear-only, full-time"));
    assert!(told("\"front-left\"", "\"left-front\"").contains("front-left"));
    assert!(told("end_s = 140.0", "end_s = 14.0").contains("before it begins"));
    assert!(told("end_s = 140.0", "").contains("both start_s and end_s"));
    assert!(told("watched = \"same\"", "watched = \"opposite\"").contains("case input"));
    assert!(told("torque_nm = 300", "torque_nm = -3").contains("above zero"));
    assert!(told("by = ", "who = ").contains("who"));
}

#[test]
fn a_trial_says_in_words_what_was_turned_and_for_how_long() {
    let said = [Part::FrontLeft, Part::FrontRight, Part::FrontFlange, Part::RearFlange];
    let words = said.map(Part::words);
    assert_eq!(words[..2], ["raised front left wheel", "raised front right wheel"]);
    assert_eq!(words[2..], ["bare front flange", "bare rear flange"]);
    let front = said.map(|p| p.output() == Place::FrontShaft);
    assert_eq!(front, [true, true, true, false]);
    let t = trial(Part::FrontLeft, Input::Free);
    assert_eq!(t.seconds(), Some(8.0));
    assert_eq!(Trial { end_s: None, ..t.clone() }.seconds(), None);
    assert_eq!(Trial { start_s: None, ..t }.seconds(), None);
}

/// What is wrong with a sheet of this trial.
fn wrong(t: Trial) -> Option<String> {
    let text = toml::to_string(&HandSheet { format: 1, trials: vec![t] }).expect("plain values");
    HandSheet::parse(&text, "hand.toml", &wagon()).err().map(|e| e.what)
}

#[test]
fn a_stretch_is_whole_and_runs_forward_or_is_refused() {
    let t = trial(Part::FrontLeft, Input::Free);
    let told = |start_s, end_s, felt| wrong(Trial { start_s, end_s, felt, ..t.clone() });
    let backward = |a, b| told(Some(a), Some(b), None).is_some_and(|w| w.contains("before it"));
    assert_eq!(told(Some(0.0), Some(0.1), None), None);
    assert!(backward(5.0, 5.0) && backward(6.0, 5.0) && backward(-1.0, 5.0));
    assert!(backward(f64::NAN, 5.0) && backward(1.0, f64::INFINITY));
    for half in [(Some(1.0), None), (None, Some(1.0))] {
        let what = told(half.0, half.1, Some(Felt::Held)).expect("half a stretch");
        assert!(what.contains("half a stretch"));
    }
    // Felt alone is a trial, nothing at all is none.
    assert_eq!(told(None, None, Some(Felt::Held)), None);
    assert!(told(None, None, None).expect("nothing").contains("nothing was counted"));
}

#[test]
fn a_torque_of_nothing_or_of_no_number_is_refused() {
    let of =
        |nm| wrong(Trial { torque_nm: Some(nm), ..trial(Part::FrontLeft, Input::Free) }).is_some();
    assert!(of(0.0) && of(-1.0) && of(f64::NAN) && of(f64::INFINITY));
    assert!(!of(0.1));
}

#[test]
fn the_share_by_hand_is_what_turned_over_what_it_turned_with() {
    let of = |turns| Some(HandTurns { turns, edge: 0.125, stray: 0.0 });
    let wheel = trial(Part::FrontLeft, Input::Free);
    let counts = HandCounts { front: of(8.0), rear: of(0.0), input: of(3.0) };
    let play = wagon().limits.backlash_turn / 3f64.sqrt();
    let e = share(&wagon(), &wheel, &counts).expect("a share");
    assert!((e.value - 0.375).abs() < 1e-12);
    let part = |name: &str| e.components.iter().find(|c| c.name == name).expect("named").u;
    // GUM 5.1.2 on input / front: the wheel turns through its play before anything follows.
    assert!((part("backlash") - 0.375 * play / 8.0).abs() < 1e-12, "{}", part("backlash"));
    let edge = 0.125 / 6f64.sqrt();
    assert!((part("counting") - (edge / 8.0).hypot(0.375 * edge / 8.0)).abs() < 1e-12);
    // A wheel that has two flanges' rule: opposite ways must have been seen, or one of them stood.
    let flange = trial(Part::FrontFlange, Input::Held);
    let both = HandCounts { front: of(5.0), rear: of(3.0), input: None };
    assert!(share(&wagon(), &flange, &both).is_none());
    let seen = Trial { watched: Some(Watched::Opposite), ..flange.clone() };
    let e = share(&wagon(), &seen, &both).expect("seen");
    assert!((e.value - 3.0 / 8.0).abs() < 1e-12);
    // GUM 5.1.2 on rear / (front + rear).
    let by = [(1.0 - 0.375) / 8.0 * edge, 0.375 / 8.0 * edge];
    assert!((e.components[0].u - by[0].hypot(by[1])).abs() < 1e-12);
    // A flange that stood to within an edge was seen by its counter.
    let stood = HandCounts { rear: of(0.125), ..both };
    assert!(share(&wagon(), &flange, &stood).is_some());
}

proptest! {
    /// Whatever a case is in, counted to whole edges with its play taken up: what it is in is
    /// never struck out.
    #[test]
    fn the_truth_is_never_struck_out(
        is in 0usize..4,
        part in 0usize..4,
        held: bool,
        turns in 3.0f64..12.0,
        play in 0.0f64..0.25,
        miss in -1.0f64..1.0,
    ) {
        let is = [RearOnly, Differential, Locked, FrontOnly][is];
        let part = [Part::FrontLeft, Part::FrontRight, Part::FrontFlange, Part::RearFlange][part];
        let input = if held || !part.is_wheel() { Input::Held } else { Input::Free };
        let t = trial(part, input);
        let a = 0.375;
        let edge = |turns: f64| (turns + miss * 0.25).max(0.0);
        let c = match expected(is, part, input, Some(a)) {
            Expected::Impossible => return Ok(()),
            Expected::Holds => counts(play, 0.0, 0.0),
            Expected::Turns { share } if part.is_wheel() => {
                let share = share.unwrap_or(0.0);
                counts(edge(turns), 0.0, share * (turns - play))
            }
            Expected::Turns { share } => {
                let share = share.unwrap_or(0.0);
                let both = turns - play;
                counts(edge((1.0 - share) * both), edge(share * both), 0.0)
            }
        };
        let seen = (!part.is_wheel() && is == Differential).then_some(Watched::Opposite);
        let t = Trial { watched: seen, ..t };
        let w = weigh(&wagon(), &t, &c, Control::InputFollows);
        prop_assert!(w.silent.is_some() || w.fits.contains(&is), "{w:?}");
    }
}
