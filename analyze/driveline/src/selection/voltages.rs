//! The voltage on a contact's line against what its unit surely reads as low and as high.
//!
//! A contact that closes badly, or whose ground is poor, moves the line towards the voltage at
//! which the unit reads it the other way: that shows here before it fails. What the supply pulls
//! down, as at cranking, is no matter of the contact and is left out where the supply is measured.

use super::MAX_SPANS;
use super::contacts::SUPPLY_LOW_V;
use crate::quantity::{Component, Estimate};
use crate::switches::Picture;
use crate::vehicle::{Active, Vehicle};
use crate::verdict::Bounds;

/// Analog inputs of a pulse board.
pub const ANALOG_INPUTS: usize = 6;

/// Standard uncertainty of a tap, as a share of its voltage (common practice: a divider of
/// resistors of 1 %, rectangular each).
const TAP_U: f64 = 0.01;
/// How far the board's ground may be from the unit's, volts (common practice).
const GROUND_U_V: f64 = 0.05;
/// Steps in which the board tells a voltage at its input, volts.
const STEP_V: f64 = 0.001;

/// The extremes of one second, while the board read the switch as off and as on.
#[derive(Debug, Clone, Copy)]
struct Second {
    start_s: f64,
    lowest_v: [f64; 2],
    highest_v: [f64; 2],
}

/// One contact whose voltage is measured and whose unit's thresholds are declared.
#[derive(Debug, Clone)]
struct Tap {
    switch: usize,
    input: usize,
    per_volt: f64,
    active: Active,
    low_max_v: Option<f64>,
    high_min_v: Option<f64>,
    seconds: Vec<Second>,
}

/// All of them, with the supply.
#[derive(Debug, Clone, Default)]
pub(super) struct Taps {
    taps: Vec<Tap>,
    supply: Option<(usize, f64)>,
}

/// The worst that one contact showed in one of its states.
#[derive(Debug, Clone)]
pub(super) struct Worst {
    /// Volts.
    pub estimate: Estimate,
    /// What the unit surely reads so.
    pub bounds: Bounds,
    /// "low" or "high".
    pub read_as: &'static str,
}

impl Worst {
    /// How far it keeps from what the unit may misread, volts.
    pub fn margin_v(&self) -> f64 {
        let upper = self.bounds.upper.map_or(f64::INFINITY, |v| v - self.estimate.value);
        let lower = self.bounds.lower.map_or(f64::INFINITY, |v| self.estimate.value - v);
        upper.min(lower)
    }
}

impl Taps {
    /// The contacts of a vehicle that name their unit's thresholds.
    pub fn new(vehicle: &Vehicle) -> Self {
        let input = |n: u8| usize::from(n.max(1)) - 1;
        let taps = vehicle.analog.iter().filter_map(|a| {
            let switch = vehicle.switches.iter().position(|s| s.name == a.name)?;
            (a.low_max_v.is_some() || a.high_min_v.is_some()).then(|| Tap {
                switch,
                input: input(a.input),
                per_volt: a.per_volt,
                active: vehicle.switches[switch].active,
                low_max_v: a.low_max_v,
                high_min_v: a.high_min_v,
                seconds: Vec::new(),
            })
        });
        let supply = vehicle.analog.iter().find(|a| a.name == "supply");
        Taps { taps: taps.collect(), supply: supply.map(|a| (input(a.input), a.per_volt)) }
    }

    /// Takes what the inputs read at a time, volts at the board, and how the switches stood; gives
    /// the supply, where it is measured.
    pub fn take(
        &mut self,
        time_s: f64,
        inputs: &[f64; ANALOG_INPUTS],
        stood: &Picture,
    ) -> Option<f64> {
        let at = |input: usize, per_volt: f64| inputs.get(input).map(|v| v * per_volt);
        let supply = self.supply.and_then(|(input, per_volt)| at(input, per_volt));
        if supply.is_none_or(|v| v >= SUPPLY_LOW_V) {
            for tap in self.taps.iter_mut().filter(|t| stood.known >> t.switch & 1 == 1) {
                let is_on = stood.on >> tap.switch & 1 == 1;
                at(tap.input, tap.per_volt).into_iter().for_each(|v| tap.take(time_s, is_on, v));
            }
        }
        supply
    }

    /// The worst of a switch while it was read as on or off from one time to another; None where
    /// its voltage is not measured, its unit's threshold not declared, or no whole second of that
    /// was seen.
    pub fn worst(&self, switch: usize, is_on: bool, (from_s, to_s): (f64, f64)) -> Option<Worst> {
        let tap = self.taps.iter().find(|t| t.switch == switch)?;
        let within = |s: &&Second| s.start_s >= from_s && s.start_s + 1.0 <= to_s;
        let seen = tap.seconds_in(is_on).filter(within);
        let (value, bounds, read_as) = if is_on == (tap.active == Active::High) {
            let bounds = Bounds { lower: Some(tap.high_min_v?), upper: None };
            (seen.map(|s| s.lowest_v[usize::from(is_on)]).reduce(f64::min)?, bounds, "high")
        } else {
            let bounds = Bounds::at_most(tap.low_max_v?);
            (seen.map(|s| s.highest_v[usize::from(is_on)]).reduce(f64::max)?, bounds, "low")
        };
        let components = vec![
            Component::shared("divider", TAP_U * value.abs()),
            Component::shared("ground", GROUND_U_V),
            Component::own("resolution", STEP_V * tap.per_volt / 12f64.sqrt()),
        ];
        let estimate =
            Estimate { name: "contact voltage".into(), value, unit: "V".into(), components };
        Some(Worst { estimate, bounds, read_as })
    }
}

impl Tap {
    /// Seconds in which the switch was read in one state, and in those before and after in no
    /// other: what moves is read later than its voltage changes.
    fn seconds_in(&self, is_on: bool) -> impl Iterator<Item = &Second> {
        let was_other = move |s: &Second| s.highest_v[usize::from(!is_on)].is_finite();
        let near = |a: &Second, b: &Second| (a.start_s - b.start_s).abs() < 1.5;
        self.seconds.iter().enumerate().filter_map(move |(k, s)| {
            let around = &self.seconds[k.saturating_sub(1)..(k + 2).min(self.seconds.len())];
            let moved = around.iter().any(|o| near(o, s) && was_other(o));
            (!moved && s.highest_v[usize::from(is_on)].is_finite()).then_some(s)
        })
    }

    /// Keeps the extremes of each second; of a longer drive than can be kept, its beginning.
    fn take(&mut self, time_s: f64, is_on: bool, volts: f64) {
        if self.seconds.last().is_none_or(|s| time_s >= s.start_s + 1.0) {
            if self.seconds.len() == MAX_SPANS {
                return;
            }
            let (lowest_v, highest_v) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
            self.seconds.push(Second { start_s: time_s.floor(), lowest_v, highest_v });
        }
        if let Some(second) = self.seconds.last_mut() {
            let state = usize::from(is_on);
            second.lowest_v[state] = second.lowest_v[state].min(volts);
            second.highest_v[state] = second.highest_v[state].max(volts);
        }
    }
}
