//! Promises of the fit table: what sensors and declarations suffice for.

use wheelwitness_driveline::vehicle::{
    Ability, AxleKind, Center, ClaimFit, Edges, Place, Sensor, Vehicle, fit_text, note_text,
};

const TRAIL_WAGON: &str = include_str!("../../../../fixtures/vehicles/trail-wagon.toml");
const SHAFTS_ONLY: &str = include_str!("../../../../fixtures/vehicles/shafts-only.toml");
const WHEELS_ONLY: &str = include_str!("../../../../fixtures/vehicles/wheels-only.toml");

/// The claims of the first set, in the order of the handbook of claims.
const CLAIMS: [&str; 19] = [
    "capture-complete",
    "sensors-agree",
    "switch-table",
    "selection-completes",
    "center-opens",
    "center-locks",
    "front-driven",
    "tyres-match",
    "range-ratio",
    "torque-share",
    "rear-driven",
    "axle-ratios-match",
    "lamps-truthful",
    "contacts-clean",
    "front-released",
    "shafts-within-limit",
    "no-wind-up",
    "sender-scale",
    "speedometer-true",
];

fn vehicle(text: &str) -> Vehicle {
    Vehicle::parse(text, "fixture.toml").unwrap_or_else(|e| panic!("{e}"))
}

fn abilities(v: &Vehicle, gnss: bool) -> Vec<Ability> {
    v.fit(gnss).iter().map(|r| r.ability).collect()
}

fn row(v: &Vehicle, claim: &str) -> ClaimFit {
    v.fit(false).into_iter().find(|r| r.claim == claim).expect("a claim of the first set")
}

#[test]
fn every_claim_of_the_first_set_has_a_row() {
    let rows = vehicle(TRAIL_WAGON).fit(false);
    assert_eq!(rows.iter().map(|r| r.claim).collect::<Vec<_>>(), CLAIMS);
}

#[test]
fn a_full_fit_decides_everything_and_asks_for_nothing() {
    for row in vehicle(TRAIL_WAGON).fit(true) {
        assert_eq!(
            (row.ability, row.one_more.as_slice()),
            (Ability::Yes, &[][..]),
            "{}",
            row.claim
        );
    }
}

#[test]
fn shafts_alone_decide_a_lock_only_with_something_that_shows_the_direction() {
    use Ability::{ByHand, No, Yes};
    let v = vehicle(SHAFTS_ONLY);
    let (first, gears) = (|gnss| abilities(&v, gnss)[..8].to_vec(), [No, No, ByHand, No]);
    assert_eq!(first(false), [Yes, No, Yes, Yes, ByHand, ByHand, ByHand, No]);
    assert_eq!(first(true), [Yes, No, Yes, Yes, ByHand, Yes, ByHand, Yes]);
    assert_eq!(abilities(&v, false)[8..12], gears);
    assert_eq!(abilities(&v, false)[12..15], [No, Yes, No]);
    assert_eq!(abilities(&v, true)[15..], [No, Yes, No, No]);
    let one_more = row(&v, "center-locks").one_more;
    assert_eq!(one_more, ["a sensor at the case input", "a GNSS receiver"]);
}

#[test]
fn wheels_alone_stand_in_for_the_outputs_while_the_axles_are_open() {
    let mut v = vehicle(WHEELS_ONLY);
    assert_eq!(row(&v, "tyres-match").ability, Ability::Yes);
    v.axles.rear.kind = AxleKind::Locked;
    assert_eq!(row(&v, "tyres-match").ability, Ability::No);
}

#[test]
fn a_center_without_a_single_share_never_decides_that_it_opens() {
    let mut v = vehicle(TRAIL_WAGON);
    v.center = Center::Viscous;
    let row = row(&v, "center-opens");
    assert_eq!((row.ability, row.one_more.len()), (Ability::No, 0));
    assert!(v.notes().iter().any(|n| n.contains("no single torque share")));
}

#[test]
fn each_sensor_that_is_said_to_unlock_a_claim_does_so_once_it_is_fitted() {
    const PLACES: [(&str, Place); 8] = [
        ("a front shaft sensor", Place::FrontShaft),
        ("a rear shaft sensor", Place::RearShaft),
        ("a sensor at the case input", Place::Input),
        ("a front left wheel sensor", Place::FrontLeft),
        ("a front right wheel sensor", Place::FrontRight),
        ("a rear left wheel sensor", Place::RearLeft),
        ("a rear right wheel sensor", Place::RearRight),
        ("the speed sender on a pulse channel", Place::SpeedSender),
    ];
    let full = vehicle(TRAIL_WAGON);
    for without in 0..1 << full.sensors.len() {
        let mut v = full.clone();
        let kept = full.sensors.iter().enumerate().filter(|(i, _)| (without >> i) & 1 == 0);
        v.sensors = kept.map(|(_, s)| s.clone()).collect();
        for (name, place) in PLACES.iter().filter(|(_, p)| v.sensor(*p).is_none()) {
            let mut more = v.clone();
            let (channel, pulses_per_turn, edges) = (4, 4, Edges::One);
            more.sensors.push(Sensor { place: *place, channel, pulses_per_turn, edges });
            for (before, after) in v.fit(false).iter().zip(more.fit(false)) {
                let promised = before.one_more.contains(name);
                assert_eq!(after.ability > before.ability, promised, "{}: {name}", before.claim);
                assert!(after.ability >= before.ability, "{}: {name} costs a claim", before.claim);
            }
        }
    }
}

#[test]
fn a_speedometer_that_says_what_it_shows_needs_no_sender() {
    let v = vehicle(include_str!("../../../../fixtures/vehicles/bus-only.toml"));
    let able = |v: &Vehicle, claim| v.fit(true).iter().find(|r| r.claim == claim).unwrap().ability;
    assert_eq!(able(&v, "speedometer-true"), Ability::Yes);
    assert_eq!(able(&v, "sender-scale"), Ability::No);
    assert!(v.notes().iter().all(|n| !n.contains("sender")), "{:?}", v.notes());
    let mut mute = v.clone();
    mute.signals.retain(|s| s.place != Some(Place::Speedometer));
    let row = mute.fit(true).into_iter().find(|r| r.claim == "speedometer-true").unwrap();
    assert_eq!(row.ability, Ability::No);
    assert!(row.one_more.contains(&"what the speedometer shows, as a signal"));
}

#[test]
fn a_gnss_receiver_never_costs_a_claim() {
    for text in [TRAIL_WAGON, SHAFTS_ONLY, WHEELS_ONLY] {
        let v = vehicle(text);
        let pairs = abilities(&v, false).into_iter().zip(abilities(&v, true));
        assert!(pairs.into_iter().all(|(without, with)| with >= without), "{}", v.name);
    }
}

#[test]
fn the_text_names_every_claim_and_fits_a_terminal_of_80_columns() {
    for text in [TRAIL_WAGON, SHAFTS_ONLY, WHEELS_ONLY] {
        let shown = fit_text(&vehicle(text).fit(false));
        assert!(CLAIMS.iter().all(|claim| shown.contains(claim)), "{shown}");
        assert!(shown.lines().all(|l| l.chars().count() < 80), "{shown}");
    }
}

#[test]
fn a_sensor_on_both_edges_is_noted_with_its_counts_a_turn() {
    let mut v = vehicle(TRAIL_WAGON);
    v.sensors[3].edges = Edges::Both;
    assert!(v.notes().iter().any(|n| n.contains("96 counts a turn")), "{:?}", v.notes());
}

#[test]
fn declared_ratios_that_do_not_suit_each_other_are_noted() {
    let mut v = vehicle(TRAIL_WAGON);
    assert!(v.notes().is_empty(), "{:?}", v.notes());
    v.axles.front.teeth = Some([43, 10]);
    let note = v.notes().join("");
    assert!(note.contains("+4.9 %"), "{note}");
    assert!(note_text(&note).lines().all(|l| l.len() < 80));
}

/// What a claim takes from a drive: of each group one. `f`, `r` are the shafts, `i` the input, `F`,
/// `R` both wheels of an axle, `s` the speed sender, `g` a receiver. Then what is left without it.
const TAKES: [(&str, &str, Ability); 11] = [
    ("sensors-agree", "fr fR Fr FR", Ability::No),
    ("axle-ratios-match", "fr fR Fr FR", Ability::No),
    ("center-locks", "fF rR Rg ig", Ability::ByHand),
    ("front-driven", "fF rR i", Ability::ByHand),
    ("rear-driven", "fF rR i", Ability::ByHand),
    ("front-released", "fF rR i", Ability::ByHand),
    ("torque-share", "fF rR i", Ability::No),
    ("range-ratio", "fF rR i", Ability::No),
    ("tyres-match", "fF rR Rg", Ability::No),
    ("shafts-within-limit", "fFrR", Ability::No),
    ("no-wind-up", "fF rR Rg", Ability::No),
];

fn has_all(fitted: &str, groups: &str) -> bool {
    groups.split(' ').all(|g| g.chars().any(|c| fitted.contains(c)))
}

#[test]
fn a_claim_is_decided_by_exactly_the_sensors_that_it_takes() {
    let whole = vehicle(TRAIL_WAGON);
    for set in 0..512u32 {
        let places = [
            Place::FrontShaft,
            Place::RearShaft,
            Place::Input,
            Place::FrontLeft,
            Place::FrontRight,
            Place::RearLeft,
            Place::RearRight,
            Place::SpeedSender,
        ];
        let is_fitted = |p: &Place| {
            let at = places.iter().position(|q| q == p);
            at.is_some_and(|k| set >> k & 1 == 1)
        };
        let mut v = whole.clone();
        v.sensors.retain(|s| is_fitted(&s.place));
        let gnss = set >> 8 == 1;
        let fitted: String = [
            ('f', is_fitted(&Place::FrontShaft)),
            ('r', is_fitted(&Place::RearShaft)),
            ('i', is_fitted(&Place::Input)),
            ('F', is_fitted(&Place::FrontLeft) && is_fitted(&Place::FrontRight)),
            ('R', is_fitted(&Place::RearLeft) && is_fitted(&Place::RearRight)),
            ('s', is_fitted(&Place::SpeedSender)),
            ('g', gnss),
        ]
        .iter()
        .filter_map(|(letter, has)| has.then_some(*letter))
        .collect();
        let rows = v.fit(gnss);
        let ability = |claim: &str| rows.iter().find(|r| r.claim == claim).expect(claim).ability;
        for (claim, groups, without) in TAKES {
            let expected = if has_all(&fitted, groups) { Ability::Yes } else { without };
            assert_eq!(ability(claim), expected, "{claim} with {fitted}");
        }
        let opens = match (has_all(&fitted, "fF rR Rg"), has_all(&fitted, "i")) {
            (true, true) => Ability::Yes,
            (true, false) => Ability::ByHand,
            (false, _) => Ability::No,
        };
        assert_eq!(ability("center-opens"), opens, "{fitted}");
        let by_sender = if has_all(&fitted, "s g") { Ability::Yes } else { Ability::No };
        assert_eq!([ability("sender-scale"), ability("speedometer-true")], [by_sender; 2]);
    }
}

#[test]
fn a_claim_is_lost_with_the_declaration_that_it_rests_on_and_no_other() {
    use wheelwitness_driveline::vehicle::Coupling;
    let without = |coupling| move |v: &mut Vehicle| v.modes.retain(|m| m.coupling != coupling);
    let each = |change: fn(&mut wheelwitness_driveline::vehicle::Mode)| {
        move |v: &mut Vehicle| v.modes.iter_mut().for_each(change)
    };
    type Change = Box<dyn Fn(&mut Vehicle)>;
    let cases: Vec<(Change, &str)> = vec![
        (Box::new(without(Coupling::Differential)), "center-opens front-driven torque-share"),
        (Box::new(without(Coupling::Locked)), "center-locks no-wind-up"),
        (Box::new(without(Coupling::RearOnly)), "front-released"),
        (
            Box::new(each(|m| m.request.clear())),
            "switch-table selection-completes lamps-truthful contacts-clean",
        ),
        (
            Box::new(each(|m| m.position_switches.clear())),
            "selection-completes lamps-truthful contacts-clean",
        ),
        (Box::new(each(|m| m.lamps.clear())), "lamps-truthful"),
        (Box::new(each(|m| m.limit_contacts.clear())), ""),
        (
            Box::new(each(|m| {
                m.position_switches.clear();
                m.limit_contacts.clear();
            })),
            "selection-completes lamps-truthful contacts-clean",
        ),
        (
            Box::new(each(|m| {
                m.position_switches.clear();
                m.limit_contacts.clear();
                m.lamps.clear();
            })),
            "switch-table selection-completes lamps-truthful contacts-clean",
        ),
        (Box::new(|v| v.shafts.front = None), ""),
        (Box::new(|v| (v.shafts.front, v.shafts.rear) = (None, None)), "shafts-within-limit"),
        (Box::new(|v| v.speedometer = None), "sender-scale speedometer-true"),
        (
            Box::new(|v| v.center = Center::Viscous),
            "center-opens front-driven torque-share rear-driven",
        ),
    ];
    for (change, expected) in cases {
        let mut v = vehicle(TRAIL_WAGON);
        change(&mut v);
        let lost = v.fit(true).into_iter().filter(|r| r.ability != Ability::Yes);
        let lost: Vec<&str> = lost.map(|r| r.claim).collect();
        let expected: Vec<&str> =
            CLAIMS.into_iter().filter(|c| expected.split(' ').any(|e| e == *c)).collect();
        assert_eq!(lost, expected);
    }
}

#[test]
fn a_line_is_broken_where_the_next_word_does_not_fit() {
    let words = |note: &str| -> Vec<usize> {
        note_text(note)
            .lines()
            .map(|l| l.trim_start_matches("note:").split_whitespace().count())
            .collect()
    };
    // Six columns of margin, then words of nine letters and a space each.
    assert_eq!(words(["abcdefghi"; 15].join(" ").as_str()), [7, 7, 1]);
    assert_eq!(words(&format!("short {}", "x".repeat(66))), [2]);
    assert_eq!(words(&format!("short {}", "x".repeat(67))), [1, 1]);
    // A word that fits nowhere stands alone, and nothing is lost.
    assert_eq!(words(&format!("{} short", "x".repeat(200))), [1, 1]);
    assert!(note_text(&"abcdefghi ".repeat(30)).lines().skip(1).all(|l| l.starts_with("      a")));
}
