//! What a vehicle file means: mistakes that no single key shows.
//!
//! Each check is one row of [`CHECKS`] and looks at the whole vehicle; none stops another.

use super::mistake::Mistake;
use super::shape::{Path, nearest, quoted};
use super::{Center, Coupling, Edges, Member, Pinions, Place, Role, Tyre, Vehicle};
use crate::tyre::Size;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

mod codes;
mod signals;
mod format;
mod turning;

/// Turns keys and list positions into a [`Path`].
macro_rules! key {
    ($($step:expr),+) => { vec![$($step.to_string()),+] };
}
use key;

const CHECKS: &[fn(&mut Found)] = &[
    tyres,
    axles,
    center,
    ranges,
    sensors,
    edges,
    switches,
    analog,
    circle,
    limits,
    format::format,
    turning::shafts,
    turning::speedometer,
    signals::signals,
    signals::switches,
    codes::modes,
    codes::codes,
    codes::equal_modes,
    codes::transit,
    codes::interlocks,
];

/// All mistakes of meaning, in no particular order.
pub(super) fn check(
    vehicle: &Vehicle,
    source: &str,
    root: &Spanned<DeTable>,
    stand_ins: &BTreeSet<Path>,
) -> Vec<Mistake> {
    let mut found = Found { vehicle, source, root, stand_ins, mistakes: Vec::new() };
    for check in CHECKS {
        check(&mut found);
    }
    found.mistakes
}

struct Found<'a> {
    vehicle: &'a Vehicle,
    source: &'a str,
    root: &'a Spanned<DeTable<'a>>,
    stand_ins: &'a BTreeSet<Path>,
    mistakes: Vec<Mistake>,
}

/// Which part of an entry is at fault.
#[derive(Clone, Copy, PartialEq)]
enum Part {
    Name,
    Value,
}

impl Found<'_> {
    /// Reports a mistake at the value of this path.
    fn at(&mut self, path: Path, what: impl Into<String>, instead: impl Into<String>) {
        self.report(path, Part::Value, what.into(), instead.into());
    }

    /// Reports a mistake at the name of this path.
    fn at_name(&mut self, path: Path, what: impl Into<String>, instead: impl Into<String>) {
        self.report(path, Part::Name, what.into(), instead.into());
    }

    /// Whether something stands at this path in the file.
    fn is_given(&self, [table, key]: [&str; 2]) -> bool {
        let inner = self.root.get_ref().get(table).and_then(|t| t.get_ref().as_table());
        inner.is_some_and(|t| t.get(key).is_some())
    }

    fn report(&mut self, path: Path, part: Part, what: String, instead: String) {
        if self.is_read(&path) {
            let span = self.span(&path, part);
            self.mistakes.push(Mistake::at(self.source, span, what, instead));
        }
    }

    /// False where the walk put a stand-in at the path or above it: nothing to judge there.
    fn is_read(&self, path: &[String]) -> bool {
        !(1..=path.len()).any(|n| self.stand_ins.contains(&path[..n]))
    }

    /// Where a path stands in the source, or the nearest thing above it that is there.
    fn span(&self, path: &[String], part: Part) -> Range<usize> {
        let mut span = 0..0;
        let mut table = Some(self.root.get_ref());
        let mut list: &[Spanned<DeValue>] = &[];
        for (depth, step) in path.iter().enumerate() {
            let entry = table.and_then(|t| t.get_key_value(step.as_str()));
            let item = step.parse::<usize>().ok().and_then(|i| list.get(i));
            let Some(value) = entry.map(|e| e.1).or(item) else { break };
            let named = entry.filter(|_| part == Part::Name && depth + 1 == path.len());
            span = named.map_or_else(|| value.span(), |e| e.0.span());
            table = value.get_ref().as_table();
            list = value.get_ref().as_array().map_or(&[], |a| a);
        }
        span
    }

    /// Reports every item that repeats an earlier one.
    fn no_duplicates<T: Ord>(
        &mut self,
        items: impl Iterator<Item = (Path, T)>,
        describe: impl Fn(&T) -> (String, String),
    ) {
        let mut seen: BTreeMap<T, Path> = BTreeMap::new();
        for (path, item) in items {
            if !self.is_read(&path) {
                continue;
            }
            if let Some(first) = seen.get(&item) {
                let (what, instead) = describe(&item);
                let span = self.span(first, Part::Value);
                let line = Mistake::at(self.source, span, String::new(), String::new()).line;
                self.at(path, format!("{what} (the first is in line {line})"), instead);
            } else {
                seen.insert(item, path);
            }
        }
    }
}

/// Largest difference of a roll-out from what the size says, in percent (common practice: beyond
/// it one of the two belongs to another tyre; legal tolerance and wear stay within 4).
const ROLL_OUT_PERCENT: f64 = 5.0;

fn tyres(f: &mut Found) {
    for (end, tyre) in [("front", &f.vehicle.tyres.front), ("rear", &f.vehicle.tyres.rear)] {
        let size: Option<Result<Size, _>> = tyre.size.as_ref().map(|s| s.parse());
        if tyre.size.is_none() && tyre.circumference_mm.is_none() {
            let what = format!("the {end} tyre has neither size nor circumference_mm");
            let instead = "write size = \"265/70R16\" as on the side wall, \
                           or circumference_mm from a roll-out";
            f.at(key!["tyres", end], what, instead);
        }
        if tyre.circumference_u_mm.is_some() && tyre.circumference_mm.is_none() {
            let what = "circumference_u_mm without circumference_mm";
            f.at(key!["tyres", end, "circumference_u_mm"], what, "add the roll-out, or remove it");
        }
        match size {
            Some(Err(e)) => {
                let text = e.to_string();
                let (what, instead) = text.split_once("; ").unwrap_or((&text, ""));
                f.at(key!["tyres", end, "size"], what, instead);
            }
            Some(Ok(size)) => roll_out_fits(f, end, tyre, &size),
            None => {}
        }
    }
}

fn roll_out_fits(f: &mut Found, end: &str, tyre: &Tyre, size: &Size) {
    let Some(measured) = tyre.circumference_mm else { return };
    let expected = size.rolling_circumference_mm();
    let percent = (measured / expected - 1.0) * 100.0;
    if percent.abs() > ROLL_OUT_PERCENT {
        let what = format!(
            "circumference_mm = {measured} is {percent:+.1} % off the {expected:.0} mm of the size"
        );
        let instead = "measure again over ten turns, or correct the size";
        f.at(key!["tyres", end, "circumference_mm"], what, instead);
    }
}

fn axles(f: &mut Found) {
    for (end, axle) in [("front", &f.vehicle.axles.front), ("rear", &f.vehicle.axles.rear)] {
        match (axle.ratio, axle.teeth) {
            (Some(_), Some([crown, pinion])) => {
                let what = format!("the {end} axle has both ratio and teeth");
                let instead = format!("keep teeth = [{crown}, {pinion}] (exact), remove ratio");
                f.at(key!["axles", end, "ratio"], what, instead);
            }
            (None, None) => {
                let what = format!("the {end} axle has neither ratio nor teeth");
                f.at(key!["axles", end], what, "add teeth = [crown wheel, pinion], or ratio");
            }
            (None, Some([crown, pinion])) if crown <= pinion => {
                let what = format!("teeth = [{crown}, {pinion}]: the crown wheel has more teeth");
                let instead = format!("write teeth = [{pinion}, {crown}]: crown wheel first");
                f.at(key!["axles", end, "teeth"], what, instead);
            }
            _ => {}
        }
    }
}

/// Fewest teeth of a planet that can be made (common practice).
const PLANET_TEETH_MIN: u32 = 6;

fn center(f: &mut Found) {
    let Center::Planetary { sun_teeth, ring_teeth, pinions, front_output } = f.vehicle.center
    else {
        return;
    };
    if ring_teeth < sun_teeth + 2 * PLANET_TEETH_MIN {
        let what =
            format!("a ring of {ring_teeth} teeth has no room for planets around {sun_teeth}");
        let instead = "count again: the ring has as many teeth as the sun and two planets";
        f.at(key!["center", "ring_teeth"], what, instead);
    }
    let (input, name, outputs) = match pinions {
        Pinions::Single => (Member::Carrier, "carrier", "\"sun\" or \"ring\""),
        Pinions::Double => (Member::Ring, "ring", "\"sun\" or \"carrier\""),
    };
    if front_output == input {
        let what = format!("the {name} of this set is its input and cannot be the front output");
        f.at(key!["center", "front_output"], what, format!("write {outputs}"));
    }
}

fn ranges(f: &mut Found) {
    if f.vehicle.ranges.is_empty() {
        f.at(key!["ranges"], "there is no range", "add high = 1.0, and low if there is one");
    }
}

fn sensors(f: &mut Found) {
    let sensors = f.vehicle.sensors.iter().enumerate();
    let channels = sensors.clone().map(|(i, s)| (key!["sensors", i, "channel"], s.channel));
    f.no_duplicates(channels, |c| {
        (
            format!("two sensors on channel {c}"),
            "give each sensor a channel of its own, 1 to 8".into(),
        )
    });
    let places = sensors.map(|(i, s)| (key!["sensors", i, "place"], s.place));
    f.no_duplicates(places, |_| {
        ("two sensors at the same place".into(), "keep one of them, or correct its place".into())
    });
}

/// Most counts a turn: one more digit than any tone ring, and what tooth patterns are kept for.
const COUNTS_PER_TURN_MAX: u32 = 1000;

fn edges(f: &mut Found) {
    for (i, s) in f.vehicle.sensors.iter().enumerate() {
        if s.edges == Edges::Both && 2 * s.pulses_per_turn > COUNTS_PER_TURN_MAX {
            let what = format!("both edges of {} pulses are too many counts", s.pulses_per_turn);
            let instead = format!("count one edge, or at most {} pulses", COUNTS_PER_TURN_MAX / 2);
            f.at(key!["sensors", i, "edges"], what, instead);
        }
    }
}

fn switches(f: &mut Found) {
    let switches = f.vehicle.switches.iter().enumerate();
    let inputs = switches.clone().map(|(i, s)| (key!["switches", i, "input"], s.input));
    f.no_duplicates(inputs, |n| {
        (
            format!("two switches on input {n}"),
            "give each switch an input of its own, 1 to 16".into(),
        )
    });
    let names = switches.map(|(i, s)| (key!["switches", i, "name"], s.name.as_str()));
    f.no_duplicates(names, |n| {
        (format!("two switches are called \"{n}\""), "give each switch a name of its own".into())
    });
}

fn analog(f: &mut Found) {
    let inputs = f.vehicle.analog.iter().enumerate();
    let numbers = inputs.clone().map(|(i, a)| (key!["analog", i, "input"], a.input));
    f.no_duplicates(numbers, |n| {
        (
            format!("two quantities on analog input {n}"),
            "give each an input of its own, 1 to 6".into(),
        )
    });
    let names = inputs.clone().map(|(i, a)| (key!["analog", i, "name"], a.name.as_str()));
    f.no_duplicates(names, |n| {
        (format!("two analog inputs are called \"{n}\""), "keep one of them".into())
    });
    for (i, a) in inputs {
        let other = ["supply", "motor-current"];
        if !other.contains(&a.name.as_str()) && f.vehicle.switch(&a.name).is_none() {
            let what = format!("\"{}\" is no switch of this file", a.name);
            let instead = "write the name of a switch, \"supply\" or \"motor-current\"";
            f.at(key!["analog", i, "name"], what, instead);
        }
        let thresholds = [("low_max_v", a.low_max_v), ("high_min_v", a.high_min_v)];
        let given = thresholds.into_iter().find_map(|(key, v)| v.map(|_| key));
        if let Some(name) = given.filter(|_| other.contains(&a.name.as_str())) {
            let what = format!("{name} of \"{}\", which the unit reads as no switch", a.name);
            f.at_name(key!["analog", i, name], what, "leave it out, or name a switch above");
        }
        if let (Some(low), Some(high)) = (a.low_max_v, a.high_min_v)
            && low >= high
        {
            let what = format!("up to {low} V would be low and from {high} V on high");
            let instead = "write low_max_v below high_min_v, as the unit's data sheet does";
            f.at(key!["analog", i, "low_max_v"], what, instead);
        }
    }
}

fn circle(f: &mut Found) {
    let Some(circle) = &f.vehicle.declared_circle else { return };
    if circle.radius_u_m >= circle.radius_m / 2.0 {
        let what = format!("radius_u_m = {} says nothing about the radius", circle.radius_u_m);
        let instead = "mark the circle with a rope from its middle: 0.1 m is easily kept";
        f.at(key!["declared_circle", "radius_u_m"], what, instead);
    }
}

fn limits(f: &mut Found) {
    let l = &f.vehicle.limits;
    if l.allowance_locked_max >= l.allowance_open_min {
        let what = format!(
            "allowance_locked_max = {} reaches allowance_open_min = {}: one drive could prove both",
            l.allowance_locked_max, l.allowance_open_min
        );
        let instead = "keep them apart; the defaults are 0.1 and 0.7";
        f.at(key!["limits", "allowance_locked_max"], what, instead);
    }
}

fn place_name(place: Place) -> &'static str {
    match place {
        Place::Input => "input",
        Place::FrontShaft => "front-shaft",
        Place::RearShaft => "rear-shaft",
        Place::FrontLeft => "front-left",
        Place::FrontRight => "front-right",
        Place::RearLeft => "rear-left",
        Place::RearRight => "rear-right",
        Place::SpeedSender => "speed-sender",
        Place::Speedometer => "speedometer",
    }
}
