//! From what a unit sends to turns: speeds are integrated, running counts are unwrapped.
//!
//! A speed is a rate, and a rate must be summed up over time: what the unit rounds away, every
//! sample has alike; what it sends late, it sends late at both ends; and under its floor speed it
//! says zero while the wheel turns. All of that stays beside the turns ([`Sent`]). A gap that is
//! longer than the message's usual period was not watched: no turns, never zero turns.

use crate::signal::{Said, SignalDecoder};
use crate::turn::{Sent, Turn};
use crate::vehicle::{Measures, Place, Signal, Vehicle};
use std::collections::VecDeque;

/// Floor speed where the vehicle file gives none, km/h (common practice: passive wheel sensors
/// read nothing below 2 to 3 km/h).
pub const FLOOR_KMH: f64 = 3.0;

/// Relative standard uncertainty of the circumference that a unit is set to, where the vehicle
/// file gives none (common practice: a unit is set for one nominal tyre of several).
pub const SET_CIRCUMFERENCE_U: f64 = 0.015;

/// The same where the file gives one without its uncertainty (common practice).
pub const GIVEN_CIRCUMFERENCE_U: f64 = 0.005;

/// Relative standard uncertainty of the circumference that one unit is set to for the front axle
/// against that for the rear axle, where the vehicle file does not know both better (common
/// practice: most units know one number, some know one for each axle).
pub const AXLES_APART_U: f64 = 0.01;

/// Standard uncertainty of a unit's delay, seconds (common practice: units filter over 20 to
/// 100 ms before they send).
const DELAY_U_S: f64 = 0.04;

/// A pause of more than so many usual periods was not watched.
const USUAL: f64 = 2.5;

/// Pause that is not watched while the usual period is unknown, and longest in any case,
/// microseconds.
const LONGEST_US: i64 = 2_500_000;

/// Points are kept for so long, microseconds, to know how the rate changes.
const SLOPE_US: i64 = 150_000;

/// A place at which a signal measures turns.
#[derive(Debug, Clone, PartialEq)]
pub struct Rated {
    /// The place.
    pub place: Place,
    /// Its signal in the vehicle file.
    pub signal: usize,
    /// Number of the unit that sends it.
    pub unit: u8,
    /// Turns of the place per second and unit of the signal, or per count.
    pub turns_per: f64,
    /// Turns a second that the unit rounds to.
    pub step: f64,
    /// Turns a second under which it sends zero.
    pub floor: f64,
    /// The unit's scale.
    pub scale: Scale,
}

/// How well it is known how fast a place turns for what its unit sends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    /// The unit.
    pub unit: u8,
    /// Relative standard uncertainty.
    pub u: f64,
}

impl Scale {
    /// Relative standard uncertainty of one scale against another; `one_axle` when both places
    /// are on the same axle.
    pub fn against(self, other: Scale, one_axle: bool) -> f64 {
        let apart = self.u.hypot(other.u);
        match self.unit == other.unit {
            true if one_axle => 0.0,
            true => apart.min(AXLES_APART_U),
            false => apart,
        }
    }
}

/// What the signals of a vehicle measure; places with a pulse sensor are left to it.
pub fn rated(vehicle: &Vehicle) -> Vec<Rated> {
    let mut units: Vec<String> = Vec::new();
    let mut all = Vec::new();
    for (k, signal) in vehicle.signals.iter().enumerate() {
        let Some(place) = signal.place.filter(|p| vehicle.sensor(*p).is_none()) else { continue };
        let name = unit_name(signal);
        let unit = units.iter().position(|u| *u == name).unwrap_or_else(|| {
            units.push(name);
            units.len() - 1
        });
        all.extend(one(vehicle, signal, k, place, unit as u8));
    }
    all
}

/// Signals of one unit by its name, else of one message.
fn unit_name(s: &Signal) -> String {
    match (&s.unit, s.message) {
        (Some(unit), _) => format!("unit {unit}"),
        (None, Some(message)) => format!("{message:?} {:?} {:?}", s.source, s.id),
        (None, None) => format!("{:?} {} {:?}", s.id, s.extended, s.source),
    }
}

fn one(v: &Vehicle, s: &Signal, signal: usize, place: Place, unit: u8) -> Option<Rated> {
    let ratio = match place {
        Place::FrontShaft => v.axles.front.ratio_value(),
        Place::RearShaft | Place::Input => v.axles.rear.ratio_value(),
        _ => 1.0,
    };
    let (metres, u) = match place {
        // What is shown is metres already, whatever they were made of.
        Place::Speedometer => (1.0, 0.0),
        _ => set_circumference(v, s),
    };
    let per_kmh = ratio / metres / 3.6;
    let (turns_per, scale_u) = match s.measured() {
        Measures::SpeedKmh => (per_kmh, u),
        Measures::SpeedRpm => (1.0 / 60.0, 0.0),
        Measures::EdgeCount => (1.0 / s.counts_per_turn?, 0.0),
        Measures::State => return None,
    };
    let step = turns_per * SignalDecoder::new(s).resolution();
    let floor = match s.measured() {
        Measures::EdgeCount => 0.0,
        Measures::SpeedRpm => per_kmh * s.floor_kmh.unwrap_or(0.0),
        _ => per_kmh * s.floor_kmh.unwrap_or(FLOOR_KMH),
    };
    let scale = Scale { unit, u: scale_u };
    Some(Rated { place, signal, unit, turns_per, step, floor, scale })
}

/// Circumference in metres with which a unit makes a speed of turns, and its relative standard
/// uncertainty. A unit is set to one number for all its wheels, so the default is one too.
fn set_circumference(v: &Vehicle, s: &Signal) -> (f64, f64) {
    if let Some(mm) = s.circumference_mm {
        let u = s.circumference_u_mm.map_or(GIVEN_CIRCUMFERENCE_U, |u| u / mm);
        return (mm / 1e3, u);
    }
    let of = |t: &crate::vehicle::Tyre| t.circumference_mm().unwrap_or((2_200.0, 220.0));
    let (front, rear) = (of(&v.tyres.front), of(&v.tyres.rear));
    let mean = (front.0 + rear.0) / 2.0;
    let apart = (front.0 - rear.0) / 2.0;
    let u = apart.hypot(front.1.max(rear.1)) / mean;
    (mean / 1e3, u.hypot(SET_CIRCUMFERENCE_U))
}

/// Where a place stood when its unit said something.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Point {
    time_us: i64,
    turns: f64,
    rate: f64,
    /// Running sums: variance between samples, seconds at zero.
    between: f64,
    zero_s: f64,
    /// Stretch without a gap.
    run: u32,
}

/// The place at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Instant {
    point: Point,
    u: f64,
}

/// Turns of one place from what its unit sends.
#[derive(Debug, Clone)]
pub struct RateTrack {
    rated: Rated,
    points: VecDeque<Point>,
    count: Option<(u64, u64)>,
    usual_us: Option<f64>,
    run: u32,
    broken: bool,
    pub(crate) at_boundary: Option<Instant>,
}

impl RateTrack {
    /// A track that has heard nothing.
    pub fn new(rated: &Rated) -> Self {
        RateTrack {
            rated: rated.clone(),
            points: VecDeque::new(),
            count: None,
            usual_us: None,
            run: 0,
            broken: false,
            at_boundary: None,
        }
    }

    /// What it measures.
    pub fn rated(&self) -> &Rated {
        &self.rated
    }

    /// Takes in what a frame said; None where it said nothing that counts.
    pub fn push(&mut self, time_us: i64, said: Option<Said>) {
        if self.points.back().is_some_and(|last| time_us <= last.time_us) {
            return;
        }
        match said {
            Some(Said::Speed(v)) => self.speed(time_us, v.max(0.0) * self.rated.turns_per),
            Some(Said::Count(count, modulus)) => self.counted(time_us, count, modulus),
            Some(Said::State(_)) | None => self.broken = true,
        }
    }

    /// True when the point at `time_us` goes on from the one before; learns the usual period.
    fn goes_on(&mut self, time_us: i64) -> bool {
        let Some(last) = self.points.back() else { return false };
        let gap = (time_us - last.time_us) as f64;
        let usual = self.usual_us.get_or_insert(gap.min(LONGEST_US as f64));
        let watched = gap <= (USUAL * *usual + 20_000.0).min(LONGEST_US as f64);
        *usual += (gap.min(2.0 * *usual) - *usual) / 8.0;
        watched && !self.broken
    }

    fn begin(&mut self, time_us: i64, rate: f64) {
        self.run += 1;
        self.broken = false;
        let run = self.run;
        self.add(Point { time_us, turns: 0.0, rate, between: 0.0, zero_s: 0.0, run });
    }

    fn add(&mut self, point: Point) {
        self.points.push_back(point);
    }

    fn speed(&mut self, time_us: i64, rate: f64) {
        let goes_on = self.goes_on(time_us);
        let Some(last) = self.points.back().copied().filter(|_| goes_on) else {
            return self.begin(time_us, rate);
        };
        let s = (time_us - last.time_us) as f64 * 1e-6;
        // A line between the samples is wrong by at most about their bend over 12.
        let before = self.points.iter().rev().nth(1).filter(|p| p.run == last.run);
        let bend = s / 12.0 * (rate - 2.0 * last.rate + before.map_or(last.rate, |p| p.rate));
        let zeros = [last.rate, rate].iter().filter(|r| **r == 0.0).count();
        let half_hidden = if zeros == 1 { self.rated.floor * s / 12f64.sqrt() } else { 0.0 };
        self.add(Point {
            time_us,
            turns: last.turns + s * (last.rate + rate) / 2.0,
            rate,
            between: last.between + bend * bend + half_hidden * half_hidden,
            zero_s: last.zero_s + if zeros == 2 { s } else { 0.0 },
            run: last.run,
        });
    }

    fn counted(&mut self, time_us: i64, count: u64, modulus: u64) {
        let goes_on = self.goes_on(time_us);
        let before = self.count.replace((count, modulus));
        let last = self.points.back().copied().filter(|_| goes_on);
        let (Some(last), Some((was, _))) = (last, before) else {
            return self.begin(time_us, 0.0);
        };
        let new = (count + modulus - was % modulus) % modulus;
        let s = (time_us - last.time_us) as f64 * 1e-6;
        // More than half a turn of the counter between two frames may as well be several.
        if new > modulus / 2 {
            return self.begin(time_us, 0.0);
        }
        let turned = new as f64 * self.rated.turns_per;
        self.add(Point { time_us, turns: last.turns + turned, rate: turned / s, ..last });
    }

    /// How long after an instant its neighbours are known, microseconds.
    pub(crate) fn hold_us(&self) -> i64 {
        self.usual_us.map_or(0, |u| (3.0 * u) as i64).min(2 * LONGEST_US)
    }

    /// Where the place stood at an instant; None where nobody looked.
    pub(crate) fn instant(&self, at_us: i64) -> Option<Instant> {
        let after = self.points.partition_point(|p| p.time_us <= at_us);
        let (a, b) = (self.points.get(after.checked_sub(1)?)?, self.points.get(after)?);
        if a.run != b.run {
            return None;
        }
        let whole_s = (b.time_us - a.time_us) as f64 * 1e-6;
        let share = (at_us - a.time_us) as f64 * 1e-6 / whole_s;
        let line = |a: f64, b: f64| a + share * (b - a);
        let is_count = self.count.is_some();
        let (turns, u) = if is_count {
            (line(a.turns, b.turns), self.rated.turns_per / 12f64.sqrt())
        } else {
            let rate = line(a.rate, b.rate);
            let turns = a.turns + share * whole_s * (a.rate + rate) / 2.0;
            let bent = self.acceleration(after) * (2.0 * DELAY_U_S).powi(2) / 2.0;
            (turns, (b.between - a.between).max(0.0).sqrt().hypot(bent))
        };
        let point = Point {
            time_us: at_us,
            turns,
            rate: line(a.rate, b.rate),
            between: line(a.between, b.between),
            zero_s: line(a.zero_s, b.zero_s),
            run: a.run,
        };
        Some(Instant { point, u })
    }

    /// Change of the rate around a point, turns per second squared, over a tenth of a second.
    fn acceleration(&self, after: usize) -> f64 {
        let b = self.points[after];
        let near = |p: &&Point| p.run == b.run && b.time_us - p.time_us <= SLOPE_US;
        let a = self.points.iter().take(after).rev().take_while(near).last();
        a.map_or(0.0, |a| (b.rate - a.rate) / ((b.time_us - a.time_us) as f64 * 1e-6))
    }

    /// Turns from the boundary before to this one.
    pub(crate) fn turn_to(&self, end: Option<Instant>) -> Option<Turn> {
        let (start, end) = (self.at_boundary?, end?);
        let (a, b) = (start.point, end.point);
        if a.run != b.run {
            return None;
        }
        let seconds = (b.time_us - a.time_us) as f64 * 1e-6;
        let zero_s = b.zero_s - a.zero_s;
        let moving_s = (seconds - zero_s).max(0.0);
        // A number that is rounded, and one that is cut off, are both off by a rectangular
        // distribution one step wide; the second one's mean is half a step.
        let off =
            if self.count.is_some() { 0.0 } else { self.rated.step * moving_s / 12f64.sqrt() };
        Some(Turn {
            turns: (b.turns - a.turns).max(0.0),
            u_start: start.u,
            u_end: end.u,
            still: b.turns <= a.turns,
            edge: 0.0,
            sent: Some(Sent {
                unit: self.rated.unit,
                rounding: off,
                truncation: off,
                delay: (b.rate - a.rate) * DELAY_U_S,
                between: (b.between - a.between).max(0.0),
                hidden: self.rated.floor * zero_s,
            }),
        })
    }

    pub(crate) fn forget_before(&mut self, at_us: i64) {
        let after = self.points.partition_point(|p| p.time_us <= at_us);
        let near = self.points.partition_point(|p| p.time_us < at_us - SLOPE_US);
        self.points.drain(..after.saturating_sub(3).min(near));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_more_is_kept_of_what_was_heard_than_the_slope_and_the_next_step_need() {
        let (place, scale) = (Place::RearLeft, Scale { unit: 0, u: 0.0 });
        let (turns_per, step, floor) = (1.0, 0.0, 0.0);
        let rated = Rated { place, signal: 0, unit: 0, turns_per, step, floor, scale };
        let mut track = RateTrack::new(&rated);
        for k in 0..2_000 {
            track.push(10_000 * k, Some(Said::Speed(5.0)));
            track.forget_before(10_000 * k);
            // 150 ms before, and one at the instant.
            assert!(track.points.len() <= 17, "{} points", track.points.len());
        }
    }
}
