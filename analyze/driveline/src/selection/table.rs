//! The mode rows of a vehicle as bit codes over its switches.

use crate::switches::{LampState, Picture};
use crate::vehicle::{Coupling, LINES_MAX, Lamp, Level, Limits, Role, Vehicle};
use std::collections::BTreeMap;

/// Modes that are told apart (bits of a row set).
const MAX_ROWS: usize = 64;

/// A state code: which switches it names and which of them are on.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Code {
    pub care: u32,
    pub on: u32,
    /// False when it names a switch that the vehicle does not declare: then it never fits.
    pub whole: bool,
}

impl Code {
    fn new(names: &[String], levels: &BTreeMap<String, Level>) -> Self {
        let mut code = Code { whole: true, ..Code::default() };
        for (name, level) in levels {
            let Some(n) = names.iter().position(|s| s == name) else {
                code.whole = false;
                continue;
            };
            code.care |= 1 << n;
            code.on |= u32::from(*level == Level::On) << n;
        }
        code
    }

    pub fn is_declared(&self) -> bool {
        self.care != 0
    }

    /// Switches that certainly read otherwise than the code.
    pub fn differing(&self, p: &Picture) -> u32 {
        self.care & p.known & (self.on ^ p.on)
    }

    /// True when it certainly fits, false when it certainly does not, `None` when a switch is
    /// unknown or nothing is declared.
    pub fn fits(&self, p: &Picture) -> Option<bool> {
        if self.differing(p) != 0 {
            Some(false)
        } else if self.is_declared() && self.whole && self.care & !p.known == 0 {
            Some(true)
        } else {
            None
        }
    }
}

/// One mode row.
#[derive(Debug, Clone)]
pub(super) struct Row {
    pub name: String,
    pub range: String,
    pub ratio: f64,
    pub coupling: Coupling,
    pub request: Code,
    pub limits: Code,
    pub position: Code,
    pub lamps: Vec<(usize, Lamp)>,
}

impl Row {
    /// Whether the lamps show the row; `None` when none is declared or one is not determined.
    pub fn lamps_fit(&self, lamps: &[Option<LampState>; LINES_MAX]) -> Option<bool> {
        let agree = |&(n, want): &(usize, Lamp)| lamps[n].map(|state| shows(state, want));
        let all: Vec<_> = self.lamps.iter().map(agree).collect();
        if all.contains(&Some(false)) {
            Some(false)
        } else if all.is_empty() || all.contains(&None) {
            None
        } else {
            Some(true)
        }
    }
}

pub(super) fn shows(state: LampState, want: Lamp) -> bool {
    matches!(
        (state, want),
        (LampState::Off, Lamp::Off)
            | (LampState::Steady, Lamp::Steady)
            | (LampState::Flashing { .. }, Lamp::Flashing)
    )
}

/// A condition under which the unit refuses some rows.
#[derive(Debug, Clone)]
struct Guard {
    rows: u64,
    code: Code,
    speed_max_kmh: Option<f64>,
}

/// Whether an interlock lets a selection pass.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Passage {
    Free,
    /// It may or may not be blocked: something is not known.
    Unknown,
    /// Blocked, and by what.
    Blocked(String),
}

/// Everything that the selections need to know of a vehicle.
#[derive(Debug, Clone)]
pub(super) struct Table {
    pub names: Vec<String>,
    pub rows: Vec<Row>,
    pub limits: Limits,
    pub several_ranges: bool,
    /// Codes of the position switches while a sleeve is under way.
    transit: Vec<Code>,
    /// What lamps show while a selection is under way or the unit waits.
    pub under_way: Vec<(usize, Lamp)>,
    /// Length of the lamps' self-test after ignition, in seconds.
    pub self_test_s: f64,
    roles: Vec<Role>,
    guards: Vec<Guard>,
}

impl Table {
    pub fn new(vehicle: &Vehicle) -> Self {
        let lines = || vehicle.lines().take(LINES_MAX);
        let names: Vec<String> = lines().map(|l| l.name.to_string()).collect();
        let rows: Vec<Row> =
            vehicle.modes.iter().take(MAX_ROWS).map(|m| row(vehicle, &names, m)).collect();
        let guard = |i: &crate::vehicle::Interlock| Guard {
            rows: (0..rows.len())
                .filter(|&k| i.modes.contains(&rows[k].name))
                .fold(0, |set, k| set | 1 << k),
            code: Code::new(&names, &i.requires),
            speed_max_kmh: i.speed_max_kmh,
        };
        let lamp = |(name, show): (&String, &Lamp)| Some((place(&names, name)?, *show));
        let transit = &vehicle.transit;
        let transit_code = |code| Code::new(&names, code);
        Table {
            transit: transit.position_switches.iter().map(transit_code).collect(),
            under_way: transit
                .lamps
                .iter()
                .chain(&transit.waiting_lamps)
                .filter_map(lamp)
                .collect(),
            self_test_s: transit.self_test_s.unwrap_or(0.0),
            guards: vehicle.interlocks.iter().map(guard).collect(),
            several_ranges: rows.iter().any(|r| r.range != rows[0].range),
            roles: lines().map(|l| l.role).collect(),
            limits: vehicle.limits.clone(),
            names,
            rows,
        }
    }

    pub fn role(&self, switch: usize) -> Role {
        self.roles[switch]
    }

    /// Bits of all switches of a role.
    pub fn bits(&self, role: Role) -> u32 {
        self.roles.iter().enumerate().fold(0, |set, (n, r)| set | u32::from(*r == role) << n)
    }

    /// Names of the switches of a set.
    pub fn listed(&self, set: u32) -> Vec<String> {
        let named = self.names.iter().enumerate().filter(|(n, _)| set >> n & 1 == 1);
        named.map(|(_, name)| name.clone()).collect()
    }

    /// The same, joined for a sentence.
    pub fn names_of(&self, set: u32) -> String {
        let quoted = self.listed(set).into_iter().map(|name| format!("`{name}`"));
        quoted.collect::<Vec<_>>().join(", ")
    }

    /// The row that the selector asks for: the most specific one whose code fits. `Ok(None)` when
    /// certainly no row is asked for, `Err` when that is not known.
    pub fn asked(&self, p: &Picture) -> Result<Option<usize>, ()> {
        let fits = |k: &usize| self.rows[*k].request.fits(p);
        let weight = |k: usize| self.rows[k].request.care.count_ones();
        let declared = || (0..self.rows.len()).filter(|k| self.rows[*k].request.is_declared());
        let Some(best) = declared().filter(|k| fits(k) == Some(true)).max_by_key(|k| weight(*k))
        else {
            return if declared().any(|k| fits(&k).is_none()) { Err(()) } else { Ok(None) };
        };
        let rival = |k: usize| k != best && fits(&k) != Some(false) && weight(k) >= weight(best);
        if declared().any(rival) { Err(()) } else { Ok(Some(best)) }
    }

    /// Rows whose position code certainly fits, as a set, and whether some other might.
    pub fn engaged(&self, p: &Picture) -> (u64, bool) {
        let mut certain = 0;
        let mut open = false;
        for (k, row) in self.rows.iter().enumerate() {
            match row.position.fits(p) {
                Some(true) => certain |= 1 << k,
                None => open |= row.position.is_declared(),
                Some(false) => {}
            }
        }
        (certain, open)
    }

    /// The one row that the switches show: by the position code, then by the limit contacts, then
    /// `hint`. `Err` when it is not known.
    pub fn shown(&self, p: &Picture, hint: Option<usize>) -> Result<Option<usize>, ()> {
        let (certain, open) = self.engaged(p);
        let limits = |k: &usize| self.rows[*k].limits.fits(p) != Some(false);
        let rows: Vec<usize> = (0..self.rows.len()).filter(|k| certain >> k & 1 == 1).collect();
        match rows[..] {
            [] if open => Err(()),
            [] => Ok(None),
            [one] => Ok(Some(one)),
            _ => {
                let mut left: Vec<usize> = rows.iter().copied().filter(limits).collect();
                if left.len() != 1 {
                    left.retain(|k| Some(*k) == hint);
                }
                left.first().copied().map(Some).ok_or(())
            }
        }
    }

    /// Switches that alone tell a row from a sleeve that is still under way to it, where the ones
    /// that `changed` did what they do then too and these did not change: if they stuck, the row
    /// would read the same in transit. An empty set where the switches tell it.
    pub fn untold_from_transit(&self, row: usize, changed: u32) -> u32 {
        let row = &self.rows[row].position;
        let untold = |transit: &Code| {
            let both = row.care & transit.care;
            let apart = both & (row.on ^ transit.on);
            let explained = changed & both & !apart != 0 && changed & apart == 0;
            if explained { apart } else { 0 }
        };
        self.transit.iter().map(untold).find(|set| *set != 0).unwrap_or(0)
    }

    /// Whether the interlocks let a selection of `row` pass.
    pub fn passage(&self, row: usize, p: &Picture, speed_kmh: Option<f64>) -> Passage {
        let mut passage = Passage::Free;
        for guard in self.guards.iter().filter(|g| g.rows >> row & 1 == 1) {
            let blocking = guard.code.differing(p);
            if blocking != 0 {
                return Passage::Blocked(format!("{} not as required", self.names_of(blocking)));
            }
            match (guard.speed_max_kmh, speed_kmh) {
                (Some(max), Some(v)) if v > max => {
                    return Passage::Blocked(format!("{v:.0} km/h is above {max:.0} km/h"));
                }
                (Some(_), None) => passage = Passage::Unknown,
                _ => {}
            }
            if guard.code.is_declared() && guard.code.fits(p).is_none() {
                passage = Passage::Unknown;
            }
        }
        passage
    }
}

fn place(names: &[String], name: &str) -> Option<usize> {
    names.iter().position(|s| s == name)
}

fn row(vehicle: &Vehicle, names: &[String], mode: &crate::vehicle::Mode) -> Row {
    let lamp = |(name, want): (&String, &Lamp)| Some((place(names, name)?, *want));
    Row {
        name: mode.name.clone(),
        range: mode.range.clone(),
        ratio: vehicle.ranges.get(&mode.range).copied().unwrap_or(1.0),
        coupling: mode.coupling,
        request: Code::new(names, &mode.request),
        limits: Code::new(names, &mode.limit_contacts),
        position: Code::new(names, &mode.position_switches),
        lamps: mode.lamps.iter().filter_map(lamp).collect(),
    }
}
