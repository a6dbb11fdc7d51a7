//! Promises of reading vehicle files.

use proptest::prelude::*;
use std::path::PathBuf;
use wheelwitness_driveline::vehicle::{
    Ability, Limits, Mistake, Place, Vehicle, VehicleError, new_vehicle_text,
};

fn fixture(name: &str) -> Vehicle {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/vehicles").join(name);
    let text = std::fs::read_to_string(&path).expect("a fixture of this repository");
    Vehicle::parse(&text, name).unwrap_or_else(|e| panic!("{e}"))
}

/// A text exchanged for another outside of comments, as somebody would edit it.
fn exchanged(text: &str, from: &str, to: &str) -> Option<String> {
    let in_comment = |at: usize| text[..at].rsplit('\n').next().unwrap_or("").starts_with('#');
    let (at, _) = text.match_indices(from).find(|(at, _)| !in_comment(*at))?;
    Some(format!("{}{to}{}", &text[..at], &text[at + from.len()..]))
}

/// The new vehicle file with one edit.
fn edited(from: &str, to: &str) -> String {
    exchanged(new_vehicle_text(), from, to)
        .unwrap_or_else(|| panic!("the new file has no `{from}`"))
}

fn refused(text: &str) -> VehicleError {
    Vehicle::parse(text, "my.toml").expect_err("a file with a mistake")
}

fn marked(m: &Mistake) -> String {
    m.text.chars().skip(m.column - 1).take(m.width).collect()
}

#[test]
fn the_fixture_vehicles_read_and_check_clean() {
    let wagon = fixture("trail-wagon.toml");
    assert_eq!(wagon.center.front_share(), Some(0.375));
    assert_eq!(wagon.sensors.len(), 8);
    assert_eq!(wagon.modes.len(), 6);
    assert_eq!(wagon.range_ratio(wagon.mode("low-locked").unwrap()), Some(2.5));
    assert!(fixture("shafts-only.toml").sensor(Place::Input).is_none());
    assert_eq!(fixture("wheels-only.toml").center.front_share(), Some(0.4));
    let bus = fixture("bus-only.toml");
    assert!(bus.sensors.is_empty() && bus.lines().count() == 2);
    assert!(bus.fit(true).iter().filter(|r| r.ability == Ability::Yes).count() >= 7);
}

#[test]
fn a_new_vehicle_file_is_clean_and_its_limits_are_the_defaults() {
    let vehicle = Vehicle::parse(new_vehicle_text(), "new.toml").unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(vehicle.limits, Limits::default());
    assert_eq!(vehicle.geometry.u_mm, 15.0);
}

#[test]
fn a_vehicle_written_out_and_read_again_is_the_same() {
    for name in ["trail-wagon.toml", "shafts-only.toml", "wheels-only.toml", "bus-only.toml"] {
        let vehicle = fixture(name);
        let text = toml::to_string(&vehicle).expect("plain types serialize");
        assert_eq!(Vehicle::parse(&text, name).unwrap_or_else(|e| panic!("{e}")), vehicle);
    }
}

/// Each row: a text of the new file, what somebody writes there, what is marked, and words of the
/// complaint and of the advice.
const MISTAKES: &[(&str, &str, &str, &str, &str)] = &[
    ("format = 4\n", "", "#", "`format` is missing", "add format = a whole number, 1 to 5"),
    ("format = 4", "format = 6", "6", "format 6", "this program reads format 5"),
    ("format = 4", "format = 0", "0", "not 1 to 5", "write format = a whole number, 1 to 5"),
    ("format = 4", "format = \"4\"", "\"4\"", "is a string", "write format = a whole number"),
    (
        "format = 4",
        "format = 1",
        "1",
        "signals, shafts, a speedometer, a speed-sender",
        "format = 4",
    ),
    ("format = 4", "format = 2", "2", "test_ground, scrub_m_per_km, sender_percent", "format = 4"),
    ("format = 4", "format = 3", "3", "low_max_v, high_min_v", "format = 4"),
    ("low_max_v = 1.5", "low_max_v = 3.6", "3.6", "up to 3.6 V would be low", "below high_min_v"),
    ("low_max_v = 1.5", "low_max_v = 0", "0", "not plausible", "low_max_v"),
    (
        "per_volt = 4.0",
        "per_volt = 4.0\nlow_max_v = 1.5",
        "low_max_v",
        "reads as no switch",
        "leave it out",
    ),
    ("outer_mm = 76.2", "outer_mm = 7.62", "7.62", "not plausible", "outer_mm"),
    ("wall_mm = 2.1", "wall_mm = 41", "41", "thicker than the tube", "half its diameter"),
    ("length_mm = 1180", "length_mm = 150", "150", "76.2 mm thick", "joint centre"),
    ("rule = \"un-r39\"", "rule = \"un-39\"", "\"un-39\"", "un-39", "un-r39"),
    ("u_mm = 15", "u_mn = 15", "u_mn", "unknown key `u_mn`", "did you mean `u_mm`?"),
    ("u_mm = 15", "u = 15", "u", "unknown key `u`", "did you mean `u_mm`?"),
    ("role = \"motor\"", "rolle = \"motor\"", "rolle", "unknown key", "did you mean `role`?"),
    ("pulses_per_turn", "pulses-per-turn", "pulses-per-turn", "unknown", "`pulses_per_turn`?"),
    ("u_mm = 15", "colour = 15", "colour", "unknown key", "keys here are wheelbase_mm"),
    ("wheelbase_mm = 2650", "wheelbase_mm = 2.65", "2.65", "not plausible", "wheelbase_mm = 2650"),
    ("wheelbase_mm = 2650", "wheelbase_mm = 265", "265", "not plausible", "centimetres"),
    (
        "wheelbase_mm = 2650",
        "wheelbase_mm = 104.3",
        "104.3",
        "not plausible",
        "2649.2 if these are inches",
    ),
    ("wheelbase_mm = 2650", "wheelbase_mm = nan", "nan", "not plausible", "1000 to 7000"),
    ("wheelbase_mm = 2650", "wheelbase_mm = true", "true", "is a boolean", "a number"),
    ("wheelbase_mm = 2650", "", "[geometry]", "`wheelbase_mm` is missing", "add wheelbase_mm"),
    ("name = \"example wagon (invented)\"", "name = \" \"", "\" \"", "empty", "in quotes"),
    ("235/75R15", "75/235R15", "\"75/235R15\"", "section width 75", "order"),
    ("235/75R15", "235/75 15", "\"235/75 15\"", "no construction letter", "235/75R15"),
    ("235/75R15", "7.50R16", "\"7.50R16\"", "no aspect ratio", "roll-out"),
    ("circumference_mm = 2232", "circumference_mm = 2400", "2400", "+7.4 %", "measure again"),
    (
        "size = \"235/75R15\"\n# Optional: measured rolling circumference, millimetres, and its \
         standard uncertainty (default\n# 0.15 percent of it, common practice).\n\
         circumference_mm = 2232\ncircumference_u_mm = 3",
        "",
        "[tyres.front]",
        "neither size nor circumference_mm",
        "side wall",
    ),
    ("circumference_u_mm = 3", "circumference_u_mm = -3", "-3", "not plausible", "0.01 to 200 mm"),
    ("teeth = [41, 11]", "", "[axles.front]", "neither ratio nor teeth", "add teeth"),
    ("teeth = [41, 11]", "teeth = [41, 11]\nratio = 3.7", "3.7", "both", "remove ratio"),
    ("teeth = [41, 11]", "teeth = [11, 41]", "[11, 41]", "crown wheel", "teeth = [41, 11]"),
    ("teeth = [41, 11]", "teeth = [41]", "[41]", "is an array", "[crown wheel, pinion]"),
    ("teeth = [41, 11]", "ratio = 41", "41", "not plausible", "1 to 15"),
    ("kind = \"disconnect\"", "kind = \"lsd\"", "\"lsd\"", "cannot be", "limited-slip"),
    ("low = 2.48", "low = 0", "0", "not plausible", "0.2 to 20"),
    ("ring_teeth = 60", "ring_teeth = 40", "40", "no room for planets", "count again"),
    ("front_output = \"sun\"", "front_output = \"carrier\"", "\"carrier\"", "input", "\"ring\""),
    ("kind = \"planetary\"", "kind = \"planetry\"", "\"planetry\"", "cannot be", "planetary"),
    ("kind = \"planetary\"", "", "[center]", "no `kind`", "add kind"),
    ("range = \"high\"", "range = \"hihg\"", "\"hihg\"", "no range", "did you mean \"high\"?"),
    ("name = \"full-time\"", "name = \"rear-only\"", "\"rear-only\"", "called", "of its own"),
    ("limit-a = \"on\"", "limit-aa = \"on\"", "limit-aa", "no switch", "did you mean \"limit-a\"?"),
    ("limit-a = \"on\"", "motor-up = \"on\"", "motor-up", "is a motor line", "a limit contact"),
    ("limit-a = \"on\"", "limit-a = \"up\"", "\"up\"", "cannot be", "\"off\", \"on\""),
    ("lamp-all = \"off\"", "lamp-all = \"blinking\"", "\"blinking\"", "cannot be", "flashing"),
    ("input = 2\n", "input = 1\n", "1", "two switches on input 1", "1 to 16"),
    ("input = 10\n", "input = 17\n", "17", "not 1 to 16", "a whole number"),
    ("name = \"motor-up\"", "name = \"limit-a\"", "\"limit-a\"", "two switches", "of its own"),
    ("modes = [\"low-locked\"]", "modes = [\"low\"]", "\"low\"", "no mode", "low-locked"),
    (
        "requires = { gearbox-neutral = \"on\" }\nspeed_max_kmh = 5",
        "",
        "[[interlocks]]",
        "without",
        "add",
    ),
    ("speed_max_kmh = 5", "speed_max_kmh = -5", "-5", "not plausible", "0 to 200 km/h"),
    ("channel = 2", "channel = 1", "1", "two sensors on channel 1", "1 to 8"),
    ("channel = 2", "channel = 9", "9", "not 1 to 8", "whole number"),
    ("place = \"input\"", "place = \"rear-shaft\"", "\"rear-shaft\"", "same place", "correct"),
    (
        "pulses_per_turn = 4\nedges = \"one\"",
        "pulses_per_turn = 600\nedges = \"both\"",
        "\"both\"",
        "too many counts",
        "at most 500",
    ),
    ("pulses_per_turn = 48", "pulses_per_turn = 48.5", "48.5", "is a float", "whole number"),
    ("name = \"supply\"", "name = \"battery\"", "\"battery\"", "no switch", "\"supply\""),
    ("per_volt = 4.0", "per_volt = 0", "0", "not plausible", "per volt"),
    ("radius_u_m = 0.1", "radius_u_m = 7.0", "7.0", "says nothing", "rope"),
    ("selection_s = 5.0", "selection_s = -1", "-1", "not plausible", "0 to 600 s"),
    (
        "allowance_locked_max = 0.1",
        "allowance_locked_max = 0.9",
        "0.9",
        "could prove both",
        "keep them apart",
    ),
    (
        "[{ position-front = \"off\", position-lock = \"on\" }]",
        "[{ position-front = \"off\" }]",
        "{ position-front = \"off\" }",
        "also matches mode \"rear-only\"",
        "match no mode",
    ),
    ("message = \"j1939-ebc2\"", "message = \"j1939-ebc\"", "\"j1939-ebc\"", "cannot be", "ebc2"),
    ("message = \"j1939-ebc2\"", "", "[[signals]]", "nowhere", "add message"),
    (
        "message = \"j1939-ebc2\"\nplace = \"front-left\"",
        "message = \"j1939-ebc2\"\nplace = \"input\"",
        "\"input\"",
        "does not measure \"input\"",
        "front-left, front-right",
    ),
    (
        "message = \"j1939-ebc2\"\nplace = \"front-right\"",
        "message = \"j1939-ebc2\"\nfactor = 2\nplace = \"front-right\"",
        "factor",
        "is known of a published message",
        "remove it",
    ),
];

/// A signal of the vehicle's own: text of its keys, what is marked, complaint and advice.
const OWN_SIGNALS: &[(&str, &str, &str, &str)] = &[
    ("id = 0x800", "0x800", "more than 11 bits", "extended = true"),
    ("id = 0x2000_0000", "0x2000_0000", "not 0 to", "whole number"),
    ("start_bit = 505", "16", "runs over the end", "count"),
    ("extended = 1", "1", "is an integer", "true or false"),
    ("factor = 0", "0", "every value the same", "per raw step"),
    ("valid = [300, 0]", "[300, 0]", "nothing lies between", "[least, largest]"),
    ("valid = [300]", "[300]", "is an array", "[least, largest]"),
    ("place = \"input\"", "\"input\"", "tells nothing of the case input", "shaft or wheel"),
    ("field = \"central\"", "field", "belongs to j1939-eac1", "remove it"),
    ("on = [1]", "on", "lists raw values of a state", "remove it"),
    ("counts_per_turn = 48", "counts_per_turn", "edge-count", "remove it"),
    ("measures = \"edge-count\"", "[[signals]]", "counts_per_turn", "add counts_per_turn"),
    ("circumference_u_mm = 3", "circumference_u_mm", "circumference_mm", "remove it"),
];

#[test]
fn a_signal_of_the_vehicles_own_has_each_mistake_marked() {
    let keys = [
        "id = 0x123",
        "start_bit = 8",
        "length = 16",
        "byte_order = \"big\"",
        "measures = \"speed-kmh\"",
        "place = \"rear-shaft\"",
    ];
    let file = |change: &str| {
        let key = |line: &str| line.split(' ').next().unwrap_or_default().to_string();
        let mut lines: Vec<&str> = keys.iter().copied().filter(|k| key(k) != key(change)).collect();
        lines.push(change);
        let signal = format!("[[signals]]\nname = \"shaft\"\n{}\n\n[limits]", lines.join("\n"));
        edited("[limits]", &signal)
    };
    Vehicle::parse(&file("length = 16"), "my.toml").unwrap_or_else(|e| panic!("{e}"));
    for (change, mark, what, instead) in OWN_SIGNALS {
        let found = refused(&file(change));
        let m = &found.mistakes[0];
        let right = marked(m) == *mark && m.what.contains(what) && m.instead.contains(instead);
        assert!(right && found.mistakes.len() == 1, "{change}: {found}");
    }
}

#[test]
fn a_state_on_the_bus_is_a_switch_that_mode_rows_may_name() {
    let state = "[[signals]]\nname = \"center lock\"\nmessage = \"j1939-eac1\"\n\
                 field = \"central\"\nswitch = \"lock-on-bus\"\nrole = \"position\"\n\n[limits]";
    let text = edited("[limits]", state);
    let row = text.replace("position-lock = \"on\" }\nlamps", "lock-on-bus = \"on\" }\nlamps");
    let vehicle = Vehicle::parse(&row, "my.toml").unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(vehicle.lines().last().map(|l| l.name), Some("lock-on-bus"));
    let twice = text.replace("switch = \"lock-on-bus\"", "switch = \"position-lock\"");
    assert!(refused(&twice).mistakes[0].what.contains("switch of the board"));
    let nameless = text.replace("switch = \"lock-on-bus\"\n", "");
    assert!(refused(&nameless).mistakes[0].what.contains("names the switch"));
}

#[test]
fn what_a_speedometer_shows_is_a_speed_made_of_nothing_and_needs_format_5() {
    let shown = "[[signals]]\nname = \"dial\"\nid = 0x3D8\nstart_bit = 0\nlength = 16\n\
                 byte_order = \"little\"\nfactor = 0.1\nmeasures = \"speed-kmh\"\n\
                 place = \"speedometer\"\n\n[limits]";
    let text = edited("[limits]", shown);
    let older = refused(&text);
    assert!(older.mistakes[0].what.contains("a signal of the speedometer in a file of format 4"));
    let text = text.replace("format = 4", "format = 5");
    let unfed = text.replace("pulses_per_km = 2548\n", "").replace("surplus_percent = 0.0", "");
    for good in [&text, &unfed] {
        Vehicle::parse(good, "my.toml").unwrap_or_else(|e| panic!("{e}"));
    }
    let wrong = [
        (unfed.replace("format = 5", "format = 4"), "a speedometer without pulses_per_km"),
        (unfed.replace("\"speed-kmh\"", "\"speed-rpm\""), "what a speedometer shows is a speed"),
        (unfed.replace("factor = 0.1", "circumference_mm = 2300"), "made of wheel turns"),
        (
            unfed.replace("rule = \"un-r39\"", "rule = \"un-r39\"\nsurplus_percent = 2"),
            "surplus_percent without pulses_per_km",
        ),
        (unfed.replace("place = \"speedometer\"", "place = \"rear-left\""), "is known"),
    ];
    for (text, what) in &wrong {
        let told = refused(text);
        assert!(told.mistakes.iter().any(|m| m.what.contains(what)), "{what}: {told}");
    }
}

#[test]
fn files_of_older_formats_are_read_as_before() {
    assert_eq!(fixture("shafts-only.toml").format, 1);
    let (bus, newest) = (include_str!("../../../../fixtures/vehicles/bus-only.toml"), "format = 5");
    let (before, _) = bus.split_once("\n# What the speedometer shows").expect("it ends with it");
    let before = before.replace(newest, "format = 2");
    assert_eq!(Vehicle::parse(&before, "bus.toml").map(|v| v.format), Ok(2));
}

#[test]
fn each_mistake_is_shown_where_it_is_with_what_to_write_instead() {
    let mut broken = Vec::new();
    for (from, to, mark, what, instead) in MISTAKES {
        let found = refused(&edited(from, to));
        let is_it = |m: &Mistake| {
            marked(m) == *mark
                && m.what.contains(what)
                && m.instead.contains(instead)
                && found.to_string().contains(&format!("my.toml:{}:{}: ", m.line, m.column))
        };
        if found.mistakes.len() != 1 || !is_it(&found.mistakes[0]) {
            broken.push(format!("`{to}` should be marked at `{mark}`: {what}; {instead}\n{found}"));
        }
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

/// Pairs of edits of which one takes away what the other is judged by.
const DEPENDENT: &[(&str, &str)] = &[
    ("rolle = \"motor\"", "motor-up = \"on\""),
    ("75/235R15", "circumference_mm = 2400"),
    ("235/75 15", "circumference_mm = 2400"),
    ("7.50R16", "circumference_mm = 2400"),
    ("teeth = [41, 11]\nratio = 3.7", "teeth = [11, 41]"),
    ("teeth = [41, 11]\nratio = 3.7", "ratio = 41"),
    ("ring_teeth = 40", "kind = \"planetry\""),
    ("ring_teeth = 40", ""),
    ("front_output = \"carrier\"", "kind = \"planetry\""),
    ("front_output = \"carrier\"", ""),
    ("motor-up = \"on\"", "name = \"limit-a\""),
    ("outer_mm = 7.62", "length_mm = 150"),
    ("outer_mm = 7.62", "wall_mm = 41"),
    ("per_volt = 4.0\nlow_max_v = 1.5", "name = \"battery\""),
];

#[test]
fn no_mistake_hides_another_that_does_not_depend_on_it() {
    let is = |m: &Mistake, mark: &str, what: &str| marked(m) == mark && m.what.contains(what);
    let mut hidden = Vec::new();
    let rows: Vec<_> = MISTAKES.iter().filter(|row| row.1 != "format = 6").collect();
    for (i, one) in rows.iter().enumerate() {
        let first = edited(one.0, one.1);
        // A third of all pairs, each row with many others.
        for two in rows[i + 1..].iter().skip(i % 3).step_by(3) {
            let Some(text) = exchanged(&first, two.0, two.1) else { continue };
            let found = refused(&text).mistakes;
            let both = [one, two].iter().all(|r| found.iter().any(|m| is(m, r.2, r.3)));
            if !both && !DEPENDENT.contains(&(one.1, two.1)) {
                hidden.push(format!("{:?} with {:?}", one.1, two.1));
            }
        }
    }
    assert!(hidden.is_empty(), "{}", hidden.join("\n"));
}

#[test]
fn all_mistakes_come_in_one_run_in_file_order() {
    let mut text = new_vehicle_text().to_string();
    for (from, to) in [
        ("format = 4\n", ""),
        ("wheelbase_mm = 2650", "wheelbase_mm = 2.65"),
        ("kind = \"disconnect\"", "knd = \"disconnect\""),
        ("ring_teeth = 60", "ring_teeth = 31"),
        ("lamp-all = \"steady\"", "lamp-al = \"steady\""),
        ("channel = 2", "channel = 1"),
        ("share_relative = 0.3", "share_relative = -0.3"),
    ] {
        text = text.replacen(from, to, 1);
    }
    let found = refused(&text);
    assert_eq!(found.mistakes.len(), 7, "{found}");
    assert!(found.mistakes.is_sorted_by_key(|m| (m.line, m.column)));
}

#[test]
fn modes_that_no_switch_tells_apart_are_refused() {
    let locked = "limit_contacts = { limit-a = \"off\", limit-b = \"on\" }\n\
                  position_switches = { position-front = \"on\", position-lock = \"on\" }";
    let like_full_time = "limit_contacts = { limit-b = \"on\" }\n\
                          position_switches = { position-front = \"on\" }";
    let found = refused(&edited(locked, like_full_time));
    assert_eq!(found.mistakes.len(), 1, "{found}");
    let what = "\"full-time\" and \"low-locked\" cannot be told apart";
    assert!(found.mistakes[0].what.contains(what), "{found}");
    let same_request =
        edited("request-all = \"on\", request-lock = \"off\"", "request-all = \"off\"");
    assert!(refused(&same_request).mistakes[0].what.contains("requested alike"));
}

#[test]
fn a_mode_through_a_center_that_is_not_there_is_refused() {
    let text = include_str!("../../../../fixtures/vehicles/shafts-only.toml");
    let found = refused(&text.replace("kind = \"bevel\"", "kind = \"none\""));
    assert!(found.mistakes[0].what.contains("center kind is \"none\""), "{found}");
}

#[test]
fn broken_toml_is_shown_where_it_breaks_every_place_of_it() {
    let broken = edited("wheelbase_mm = 2650", "wheelbase_mm = 2,65");
    let broken = broken.replacen("name = \"supply\"", "name = supply", 1);
    let found = refused(&broken);
    assert!(found.mistakes.len() >= 2, "{found}");
    assert!(found.mistakes.iter().all(|m| m.what.starts_with("not TOML")), "{found}");
    assert!(found.mistakes[0].text.contains("2,65"));
}

#[test]
fn a_newer_format_is_refused_by_name_and_nothing_else_is_judged() {
    let found = refused("format = 6\nsomething_new = true\n");
    assert_eq!(found.mistakes.len(), 1);
    assert!(found.to_string().contains("vehicle file of format 6"));
}

#[test]
fn the_carets_stand_under_what_they_mark_after_tabs_and_umlauts() {
    let text = edited("u_mm = 15", "\tu_mm = \"gr\u{f6}\u{df}er\"");
    let m = &refused(&text).mistakes[0];
    assert_eq!((m.column, m.width), (9, 8));
    let shown = refused(&text).to_string();
    assert!(shown.contains("| \t       ^^^^^^^^\n"), "{shown}");
}

#[test]
fn line_ends_and_marks_of_other_editors_do_not_matter() {
    let crlf = new_vehicle_text().replace('\n', "\r\n");
    assert!(Vehicle::parse(&crlf, "my.toml").is_ok());
    let marked_utf8 = format!("\u{feff}{}", new_vehicle_text());
    assert!(Vehicle::parse(&marked_utf8, "my.toml").is_ok());
    let mistake = edited("u_mm = 15", "u_mm = -1").replace('\n', "\r\n");
    assert_eq!(refused(&mistake).mistakes[0].text, "u_mm = -1");
}

proptest! {
    #[test]
    fn reading_any_text_never_panics(text in "\\PC{0,200}") {
        let _ = Vehicle::parse(&text, "any.toml");
    }

    #[test]
    fn a_file_cut_or_damaged_anywhere_never_panics(cut in 0usize..12_000, put in "[ -~]{0,4}") {
        let text = new_vehicle_text();
        let at = cut.min(text.len());
        let damaged = format!("{}{put}{}", &text[..at], text.get(at + 3..).unwrap_or(""));
        if let Err(e) = Vehicle::parse(&damaged, "any.toml") {
            prop_assert!(!e.mistakes.is_empty());
            prop_assert!(e.mistakes.iter().all(|m| m.line >= 1 && !m.instead.is_empty()));
        }
    }
}
