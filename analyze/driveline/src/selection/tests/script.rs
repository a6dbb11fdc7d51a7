//! A script of what the lines of the demo vehicle do, and the events that a board makes of it.

use crate::selection::{CouplingSeen, Selections, Timeline};
use crate::switches::{Event, Gap, LevelChange, Levels, Motion};
use crate::vehicle::{Active, Coupling, Vehicle};

/// The demo vehicle (invented): see `fixtures/vehicles`.
pub fn wagon() -> Vehicle {
    let text = include_str!("../../../../../fixtures/vehicles/trail-wagon.toml");
    Vehicle::parse(text, "trail-wagon.toml").expect("the demo vehicle parses")
}

/// How the vehicle moves from a time on.
#[derive(Debug, Clone, Copy)]
pub struct Going {
    pub from_s: f64,
    /// Turns a second of the mean output, and of the front against the rear output.
    pub turns_s: f64,
    pub front_rear_s: f64,
    /// Sign of the torque.
    pub torque: i8,
}

/// What happens to the lines, as named logical states over time.
#[derive(Debug, Clone)]
pub struct Script {
    pub vehicle: Vehicle,
    /// Time, switch, on.
    pub edges: Vec<(f64, String, bool)>,
    pub going: Vec<Going>,
    pub gaps: Vec<(f64, f64, bool)>,
    pub end_s: f64,
    start: Vec<String>,
}

impl Script {
    /// Ignition on, standing in `mode` with everything as the row says.
    pub fn standing_in(vehicle: Vehicle, mode: &str, end_s: f64) -> Script {
        let mut start = vec!["ignition".to_string()];
        for (name, on) in code(&vehicle, mode) {
            start.extend(on.then_some(name));
        }
        Script { vehicle, edges: vec![], going: vec![], gaps: vec![], end_s, start }
    }

    pub fn set(&mut self, time_s: f64, switch: &str, on: bool) -> &mut Self {
        self.edges.push((time_s, switch.into(), on));
        self
    }

    /// The selector goes to a mode.
    pub fn ask(&mut self, time_s: f64, mode: &str) -> &mut Self {
        let request = self.vehicle.mode(mode).expect("mode").request.clone();
        for (name, level) in request {
            self.set(time_s, &name, level == crate::vehicle::Level::On);
        }
        self
    }

    /// The motor runs and the limit contacts arrive at a mode's code 50 ms before it stops.
    pub fn motor(&mut self, from_s: f64, to_s: f64, mode: &str) -> &mut Self {
        self.set(from_s, "motor-up", true).set(to_s, "motor-up", false);
        let limits = self.vehicle.mode(mode).expect("mode").limit_contacts.clone();
        for (name, level) in limits {
            self.set(to_s - 0.05, &name, level == crate::vehicle::Level::On);
        }
        self
    }

    /// The sleeve arrives: position switches and lamps show the mode.
    pub fn arrive(&mut self, time_s: f64, mode: &str) -> &mut Self {
        let mode = self.vehicle.mode(mode).expect("mode").clone();
        for (name, level) in &mode.position_switches {
            self.set(time_s, name, *level == crate::vehicle::Level::On);
        }
        for (name, lamp) in &mode.lamps {
            self.set(time_s + 0.1, name, *lamp != crate::vehicle::Lamp::Off);
        }
        self
    }

    /// A whole selection that goes well: motor for 1.5 s, sleeve 0.2 s later.
    pub fn select(&mut self, time_s: f64, mode: &str) -> &mut Self {
        self.ask(time_s, mode).motor(time_s + 0.1, time_s + 1.6, mode).arrive(time_s + 1.8, mode)
    }

    pub fn go(&mut self, from_s: f64, turns_s: f64, front_rear_s: f64, torque: i8) -> &mut Self {
        self.going.push(Going { from_s, turns_s, front_rear_s, torque });
        self
    }

    /// A switch never changes from its state at a time on.
    pub fn stick(&mut self, switch: &str) -> &mut Self {
        self.edges.retain(|(_, name, _)| name != switch);
        self
    }

    /// Everything as events, in time order.
    pub fn events(&self) -> Vec<Event> {
        let mut edges = self.edges.clone();
        edges.retain(|e| e.0 < self.end_s);
        edges.sort_by(|a, b| a.0.total_cmp(&b.0));
        let find = |name: &str| self.vehicle.switch(name).expect(name);
        let mut mask = 0u16;
        for switch in &self.vehicle.switches {
            let on = self.start.contains(&switch.name);
            if on == (switch.active == Active::High) {
                mask |= 1 << (switch.input - 1);
            }
        }
        let mut counts = [0u16; 16];
        let mut events = self.reminders_and_motion();
        let mut changes = Vec::new();
        for (record, (time_s, name, on)) in (1000..).zip(&edges) {
            let switch = find(name);
            let level = *on == (switch.active == Active::High);
            let bit = switch.input as usize - 1;
            if (mask >> bit & 1 == 1) == level {
                continue;
            }
            // Reminders before the edge keep the old mask.
            changes.push((*time_s, mask));
            mask ^= 1 << bit;
            counts[bit] += 1;
            events.push(Event::Change(LevelChange {
                time_s: *time_s,
                input: switch.input,
                level,
                edge_count: counts[bit],
                record,
            }));
        }
        changes.push((f64::INFINITY, mask));
        for event in &mut events {
            if let Event::Levels(l) = event {
                l.mask = changes.iter().find(|(t, _)| l.time_s < *t).expect("last").1;
            }
        }
        self.cut(&mut events);
        events.sort_by(|a, b| a.time_s().total_cmp(&b.time_s()));
        events
    }

    fn reminders_and_motion(&self) -> Vec<Event> {
        let mut events = Vec::new();
        for n in 0..(self.end_s * 4.0) as u32 {
            let time_s = 0.013 + 0.25 * f64::from(n);
            events.push(Event::Levels(Levels { time_s, mask: 0, record: u64::from(n) }));
        }
        let (mut front, mut rear) = (0.0, 0.0);
        for n in 0..(self.end_s * 20.0) as u32 {
            let time_s = 0.05 * f64::from(n);
            let going = self.going.iter().rev().find(|g| g.from_s <= time_s);
            if let Some(g) = going {
                rear += 0.05 * (g.turns_s - g.front_rear_s / 2.0);
                front += 0.05 * (g.turns_s + g.front_rear_s / 2.0);
            }
            events.push(Event::Motion(Motion {
                time_s,
                front_turn: Some(front),
                rear_turn: Some(rear),
                input_turn: Some((front + rear) / 2.0),
                moving: Some(going.is_some_and(|g| g.turns_s != 0.0)),
                speed_kmh: Some(going.map_or(0.0, |g| g.turns_s * 2.0)),
                torque_sign: going.map(|g| g.torque),
                ..Motion::default()
            }));
        }
        events
    }

    /// Gaps: what came in them is gone, and a notice stands in its place.
    fn cut(&self, events: &mut Vec<Event>) {
        for (from_s, to_s, reset) in self.gaps.iter().copied() {
            events.retain(|e| {
                matches!(e, Event::Motion(_)) || !(from_s < e.time_s() && e.time_s() < to_s)
            });
            let gap = Gap { from_s, to_s, record: 5000 };
            events.push(if reset { Event::Reset(gap) } else { Event::Lost(gap) });
        }
    }

    pub fn run(&self) -> Timeline {
        run(&self.vehicle, &self.events(), self.end_s)
    }
}

pub fn run(vehicle: &Vehicle, events: &[Event], end_s: f64) -> Timeline {
    let mut selections = Selections::new(vehicle);
    events.iter().for_each(|e| selections.push(e));
    selections.finish(end_s)
}

/// Switches of a mode's row that say whether they are on.
fn code(vehicle: &Vehicle, mode: &str) -> Vec<(String, bool)> {
    let mode = vehicle.mode(mode).expect("mode");
    let contacts = mode.request.iter().chain(&mode.limit_contacts).chain(&mode.position_switches);
    let contacts = contacts.map(|(n, l)| (n.clone(), *l == crate::vehicle::Level::On));
    let lamps = mode.lamps.iter().map(|(n, l)| (n.clone(), *l != crate::vehicle::Lamp::Off));
    contacts.chain(lamps).collect()
}

/// The shafts show one coupling in one range.
pub fn seen(start_s: f64, end_s: f64, coupling: Coupling, range: &str) -> CouplingSeen {
    let (possible, range) = (vec![coupling], Some(range.to_string()));
    CouplingSeen { start_s, end_s, possible, range, records: (0, 0) }
}
