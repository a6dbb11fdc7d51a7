//! Signals: where they are, and what they measure.

use super::super::{ByteOrder, Measures, Message, Place, Role, Signal};
use super::{Found, key, place_name};
use crate::vehicle::LINES_MAX;

/// Bits of the longest payload.
const PAYLOAD_BITS: u32 = 512;

pub(super) fn signals(f: &mut Found) {
    let all = f.vehicle.signals.iter().enumerate();
    let names = all.clone().map(|(i, s)| (key!["signals", i, "name"], s.name.as_str()));
    f.no_duplicates(names, |n| {
        (format!("two signals are called \"{n}\""), "give each signal a name of its own".into())
    });
    let places = all.clone().filter_map(|(i, s)| Some((key!["signals", i, "place"], s.place?)));
    f.no_duplicates(places, |_| {
        ("two signals at the same place".into(), "keep one of them, or correct its place".into())
    });
    for (i, s) in all {
        match s.message {
            Some(message) => published(f, i, s, message),
            None => own(f, i, s),
        }
        measured(f, i, s);
    }
}

/// A key that must stand in a signal, or must not.
fn wanted(f: &mut Found, i: usize, key: &str, given: bool, wanted: bool, why: &str) {
    if given && !wanted {
        f.at_name(key!["signals", i, key], format!("`{key}` {why}"), "remove it");
    } else if wanted && !given {
        let what = format!("signal without `{key}`: it {why}");
        f.at(key!["signals", i], what, format!("add {key}"));
    }
}

fn published(f: &mut Found, i: usize, s: &Signal, message: Message) {
    let why = "is known of a published message";
    let keys: [(&str, bool); 8] = [
        ("start_bit", s.start_bit.is_some()),
        ("length", s.length.is_some()),
        ("byte_order", s.byte_order.is_some()),
        ("signed", s.signed),
        ("factor", s.factor.is_some()),
        ("offset", s.offset.is_some()),
        ("valid", s.valid.is_some()),
        ("measures", s.measures.is_some()),
    ];
    for (key, given) in keys {
        wanted(f, i, key, given, false, why);
    }
    for (key, list) in [("on", &s.on), ("off", &s.off), ("error", &s.error)] {
        wanted(f, i, key, !list.is_empty(), false, why);
    }
    wanted(f, i, "not_available", !s.not_available.is_empty(), false, why);
    if !message.is_obd() {
        wanted(f, i, "id", s.id.is_some(), false, why);
    }
    let several = message == Message::J1939Eac1;
    let why = "says which lock of j1939-eac1 is meant";
    wanted(f, i, "field", s.field.is_some(), several, why);
    let places = message.places();
    if let Some(place) = s.place.filter(|p| !places.contains(p)) {
        let what = format!("this message does not measure \"{}\"", place_name(place));
        let words: Vec<&str> = places.iter().map(|p| place_name(*p)).collect();
        let instead = match words.is_empty() {
            true => "remove it".to_string(),
            false => format!("write one of {}", words.join(", ")),
        };
        f.at(key!["signals", i, "place"], what, instead);
    }
}

fn own(f: &mut Found, i: usize, s: &Signal) {
    let why = "is needed where no published message is named";
    let keys: [(&str, bool); 5] = [
        ("id", s.id.is_some()),
        ("start_bit", s.start_bit.is_some()),
        ("length", s.length.is_some()),
        ("byte_order", s.byte_order.is_some()),
        ("measures", s.measures.is_some()),
    ];
    if keys.iter().all(|k| !k.1) {
        let instead = "add message = one of the published ones, or id, start_bit, length, \
                       byte_order and measures";
        return f.at(key!["signals", i], "a signal that is nowhere", instead);
    }
    for (key, given) in keys {
        wanted(f, i, key, given, true, why);
    }
    wanted(f, i, "field", s.field.is_some(), false, "belongs to j1939-eac1");
    if let Some(id) = s.id.filter(|id| *id > 0x7FF && !s.extended) {
        let what = format!("identifier {id:#X} has more than 11 bits");
        f.at(key!["signals", i, "id"], what, "add extended = true, or correct it");
    }
    if let (Some(start), Some(length), Some(order)) = (s.start_bit, s.length, s.byte_order)
        && last_bit(start.into(), length.into(), order) >= PAYLOAD_BITS
    {
        let what = "the signal runs over the end of the longest payload (64 bytes)";
        f.at(key!["signals", i, "length"], what, "count start_bit and length again");
    }
    if s.factor == Some(0.0) {
        let what = "factor = 0 makes every value the same";
        f.at(key!["signals", i, "factor"], what, "write the quantity per raw step");
    }
    if let Some([low, high]) = s.valid.filter(|v| v[0] >= v[1]) {
        let what = format!("nothing lies between {low} and {high}");
        f.at(key!["signals", i, "valid"], what, "write [least, largest]");
    }
}

/// Bit of the payload (in the order in which bytes are sent) that ends a signal.
fn last_bit(start: u32, length: u32, order: ByteOrder) -> u32 {
    match order {
        ByteOrder::Little => start + length - 1,
        ByteOrder::Big => start / 8 * 8 + (7 - start % 8) + length - 1,
    }
}

/// What the kind of quantity needs and does not take.
fn measured(f: &mut Found, i: usize, s: &Signal) {
    if s.message.is_none() && s.measures.is_none() {
        return;
    }
    let kind = s.measured();
    let state = kind == Measures::State;
    let speed = matches!(kind, Measures::SpeedKmh | Measures::SpeedRpm);
    let no_place = s.message == Some(Message::ObdEngineSpeed);
    let bounded = s.message.is_some_and(|m| !m.places().is_empty());
    let by_message = s.message.is_some();
    if !by_message || bounded {
        wanted(f, i, "place", s.place.is_some(), !state && !no_place, "is where it is measured");
    }
    wanted(f, i, "switch", s.switch.is_some(), state, "names the switch that a state is");
    wanted(f, i, "role", s.role.is_some(), state, "says what the switch is");
    let own_state = state && !by_message;
    wanted(f, i, "on", !s.on.is_empty() && !by_message, own_state, "lists raw values of a state");
    wanted(f, i, "off", !s.off.is_empty() && !by_message, own_state, "lists raw values of a state");
    if s.role == Some(Role::Lamp) && state {
        let what = "a lamp on a bus says what a unit wants, not what is lit";
        f.at(key!["signals", i, "role"], what, "tap the lamp's line with the board");
    }
    let counts = kind == Measures::EdgeCount;
    let why = "says how many counts of an edge-count make a turn";
    wanted(f, i, "counts_per_turn", s.counts_per_turn.is_some(), counts, why);
    let floor = s.floor_kmh.is_some();
    wanted(f, i, "floor_kmh", floor, floor && speed && !no_place, "belongs to a speed at a place");
    let size = s.circumference_mm.is_some();
    let kmh = kind == Measures::SpeedKmh;
    wanted(f, i, "circumference_mm", size, size && kmh, "belongs to a speed in km/h");
    let u = s.circumference_u_mm.is_some();
    wanted(f, i, "circumference_u_mm", u, u && size && kmh, "belongs to a circumference_mm");
    if s.place == Some(Place::Speedometer) {
        shown(f, i, s);
    }
    if kmh && !by_message && s.place == Some(Place::Input) {
        let what = "a speed in km/h tells nothing of the case input: the range is in between";
        f.at(key!["signals", i, "place"], what, "write the shaft or wheel that the unit senses");
    }
    if let Some(raw) = s.on.iter().find(|raw| s.off.contains(raw)) {
        let what = format!("raw value {raw} is both on and off");
        f.at(key!["signals", i, "off"], what, "list each raw value once");
    }
}

/// What a speedometer shows is a speed, however it was come by.
fn shown(f: &mut Found, i: usize, s: &Signal) {
    if s.measured() != Measures::SpeedKmh {
        let what = "what a speedometer shows is a speed";
        f.at(key!["signals", i, "measures"], what, "write measures = \"speed-kmh\"");
    }
    let why = "belongs to a speed that is made of wheel turns";
    wanted(f, i, "circumference_mm", s.circumference_mm.is_some(), false, why);
}

/// Signals that are switches have names of their own among all switches.
pub(super) fn switches(f: &mut Found) {
    let board = f.vehicle.switches.iter().enumerate();
    let board = board.map(|(i, s)| (key!["switches", i, "name"], s.name.as_str()));
    let board: Vec<_> = board.collect();
    let bus = f.vehicle.signals.iter().enumerate();
    let bus = bus.filter_map(|(i, s)| Some((key!["signals", i, "switch"], s.switch.as_deref()?)));
    let bus: Vec<_> = bus.collect();
    // Two equal names on the board are reported where the board's switches are checked.
    let known: Vec<&str> = board.iter().map(|b| b.1).collect();
    for (path, name) in bus.iter().filter(|b| known.contains(&b.1)) {
        let what = format!("a switch of the board is called \"{name}\" too");
        f.at(path.clone(), what, "give each switch a name of its own");
    }
    let count = board.len() + bus.len();
    if let Some((path, _)) = bus.last().filter(|_| count > LINES_MAX) {
        let what = format!("{count} switches, at most {LINES_MAX} are followed");
        f.at(path.clone(), what, "leave out those that no mode row names");
    }
    f.no_duplicates(bus.into_iter(), |n| {
        (format!("two signals are the switch \"{n}\""), "keep one of them".into())
    });
}
