//! Modes, and the switch codes that tell them apart.

use super::super::{Level, Line, Mode, Origin};
use super::{Center, Coupling, Found, Path, Role, key, nearest, quoted};
use std::collections::BTreeMap;

type Code = BTreeMap<String, Level>;

pub(super) fn modes(f: &mut Found) {
    let modes = f.vehicle.modes.iter().enumerate();
    let names = modes.clone().map(|(i, m)| (key!["modes", i, "name"], m.name.as_str()));
    f.no_duplicates(names, |n| {
        (format!("two modes are called \"{n}\""), "give each mode a name of its own".into())
    });
    let ranges: Vec<&str> = f.vehicle.ranges.keys().map(String::as_str).collect();
    for (i, mode) in modes {
        if !ranges.contains(&mode.range.as_str()) && !ranges.is_empty() {
            let what = format!("there is no range \"{}\"", mode.range);
            let instead = meant(&mode.range, &ranges);
            f.at(key!["modes", i, "range"], what, instead);
        }
        if mode.coupling == Coupling::Differential && f.vehicle.center == Center::None {
            let what = "a mode through the center differential, but center kind is \"none\"";
            let instead = "declare the center differential, or another coupling";
            f.at(key!["modes", i, "coupling"], what, instead);
        }
    }
}

fn meant(typed: &str, words: &[&str]) -> String {
    match nearest(typed, words) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None if words.is_empty() => "declare it first".to_string(),
        None => format!("write one of {}", quoted(words)),
    }
}

/// Every switch that a mode row names exists and is what the row says.
pub(super) fn codes(f: &mut Found) {
    for (i, mode) in f.vehicle.modes.iter().enumerate() {
        let at = |key: &str| key!["modes", i, key];
        named(f, at("request"), mode.request.keys(), &[Role::Request]);
        named(f, at("limit_contacts"), mode.limit_contacts.keys(), &[Role::LimitContact]);
        named(f, at("position_switches"), mode.position_switches.keys(), &[Role::Position]);
        named(f, at("lamps"), mode.lamps.keys(), &[Role::Lamp]);
    }
}

/// Reports names that are no switch, or a switch of another role.
fn named<'n>(f: &mut Found, at: Path, names: impl Iterator<Item = &'n String>, roles: &[Role]) {
    let vehicle = f.vehicle;
    for name in names {
        let mut path = at.clone();
        path.push(name.clone());
        match vehicle.lines().find(|l| l.name == name) {
            None => {
                let fitting = vehicle.lines().filter(|l| roles.contains(&l.role));
                let words: Vec<&str> = fitting.map(|l| l.name).collect();
                f.at_name(path, format!("there is no switch \"{name}\""), meant(name, &words));
            }
            Some(Line { role, origin, .. }) => {
                let role_at = match origin {
                    Origin::Board(i) => key!["switches", i, "role"],
                    Origin::Bus(i) => key!["signals", i, "role"],
                };
                if f.is_read(&role_at) && !roles.contains(&role) {
                    let what = format!("\"{name}\" is {}", role_name(role));
                    let words: Vec<&str> = roles.iter().map(|r| role_name(*r)).collect();
                    let instead = format!("here stands {}", words.join(", or "));
                    f.at_name(path, what, instead);
                }
            }
        }
    }
}

fn role_name(role: Role) -> &'static str {
    match role {
        Role::Request => "a request line",
        Role::Position => "a position switch",
        Role::LimitContact => "a limit contact",
        Role::Lamp => "a lamp",
        Role::Motor => "a motor line",
        Role::Interlock => "an interlock",
        Role::Ignition => "the ignition",
    }
}

/// Two codes that some state of the switches satisfies at once.
fn compatible(a: &Code, b: &Code) -> bool {
    a.iter().all(|(name, level)| b.get(name).is_none_or(|other| other == level))
}

fn says_something(code: &Code) -> bool {
    !code.is_empty()
}

/// Modes that cannot be told apart: neither position switches nor limit contacts differ; and
/// requests that ask for two modes at once. Lamps tell nothing: they are what is to be proven.
pub(super) fn equal_modes(f: &mut Found) {
    let modes = &f.vehicle.modes;
    for (j, later) in modes.iter().enumerate() {
        for earlier in &modes[..j] {
            let clash = [
                (clash_of_engaged(earlier, later), "position_switches", "cannot be told apart"),
                (clash_of_request(earlier, later), "request", "are requested alike"),
            ];
            for (_, key, fault) in clash.iter().filter(|c| c.0) {
                let what = format!("modes \"{}\" and \"{}\" {fault}", earlier.name, later.name);
                let instead = "name a switch that is on in the one and off in the other";
                f.at(key!["modes", j, key], what, instead);
            }
        }
    }
}

fn clash_of_engaged(a: &Mode, b: &Mode) -> bool {
    let known =
        |m: &Mode| says_something(&m.position_switches) || says_something(&m.limit_contacts);
    known(a)
        && known(b)
        && compatible(&a.position_switches, &b.position_switches)
        && compatible(&a.limit_contacts, &b.limit_contacts)
}

fn clash_of_request(a: &Mode, b: &Mode) -> bool {
    says_something(&a.request) && says_something(&b.request) && compatible(&a.request, &b.request)
}

pub(super) fn transit(f: &mut Found) {
    let transit = &f.vehicle.transit;
    named(f, key!["transit", "lamps"], transit.lamps.keys(), &[Role::Lamp]);
    named(f, key!["transit", "waiting_lamps"], transit.waiting_lamps.keys(), &[Role::Lamp]);
    for (i, code) in transit.position_switches.iter().enumerate() {
        let at = key!["transit", "position_switches", i];
        named(f, at.clone(), code.keys(), &[Role::Position]);
        let row = f.vehicle.modes.iter().find(|m| {
            says_something(&m.position_switches) && compatible(code, &m.position_switches)
        });
        if let Some(mode) = row {
            let what = format!("this code also matches mode \"{}\"", mode.name);
            f.at(at, what, "name only codes that match no mode");
        }
    }
}

pub(super) fn interlocks(f: &mut Found) {
    let names: Vec<&str> = f.vehicle.modes.iter().map(|m| m.name.as_str()).collect();
    for (i, interlock) in f.vehicle.interlocks.iter().enumerate() {
        for (j, name) in interlock.modes.iter().enumerate() {
            if !names.contains(&name.as_str()) {
                let what = format!("there is no mode \"{name}\"");
                f.at(key!["interlocks", i, "modes", j], what, meant(name, &names));
            }
        }
        let roles = [Role::Interlock, Role::Ignition, Role::Position, Role::LimitContact];
        named(f, key!["interlocks", i, "requires"], interlock.requires.keys(), &roles);
        if interlock.requires.is_empty() && interlock.speed_max_kmh.is_none() {
            let instead = "add requires = { switch = \"on\" }, speed_max_kmh, or both";
            f.at(key!["interlocks", i], "an interlock without a condition", instead);
        }
    }
}
