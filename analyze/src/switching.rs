//! The pass over switches: which mode was engaged when, and how every selection went.

use crate::axis::{Axis, Heard};
use crate::bus::{Bus, Role, state};
use crate::learning::edges_per_turn;
use crate::motion::Engaged;
use crate::result::{Flash, Lead, ModeSpan, PairTimes, RecordRange, Selection, Stage};
use crate::survey::Survey;
use std::collections::VecDeque;
use wheelwitness_capture::board::Says;
use wheelwitness_capture::read::{CaptureReader, ReadError};
use wheelwitness_capture::storage::Storage;
use wheelwitness_driveline::course::Course;
use wheelwitness_driveline::demand::Setup;
use wheelwitness_driveline::pulse::{Count, Counter};
use wheelwitness_driveline::rate::Rated;
use wheelwitness_driveline::selection::{
    CouplingSeen, RowPeriod, Selection as Found, Selections, Timeline,
};
use wheelwitness_driveline::signal::Said;
use wheelwitness_driveline::switches::{Event, Gap, LevelChange, Levels, Motion, Told};
use wheelwitness_driveline::vehicle::{Place, Vehicle};

/// Time left out at both ends of an engagement period, microseconds: a sleeve that slides in or
/// out is neither.
const TRIM_US: i64 = 300_000;

/// A vehicle that drives off gently gathers speed by so much, m/s^2 (common practice).
const GENTLE_MPS2: f64 = 0.5;

/// Whatever tells that the vehicle moves tells it within this, seconds (common practice).
const UNSEEN_MAX_S: f64 = 2.0;

/// Turns are reported to the selections this often, microseconds.
const MOTION_US: i64 = 100_000;

/// What the switches of a drive tell.
#[derive(Debug)]
pub struct Switching {
    /// The timeline; claims about switches are judged by it.
    pub timeline: Timeline,
    /// Engagement periods, in order.
    pub engaged: Vec<Engaged>,
    /// Modes over time, for the result.
    pub spans: Vec<ModeSpan>,
    /// Selections, for the result.
    pub selections: Vec<Selection>,
    /// What the shafts showed.
    pub seen: Vec<CouplingSeen>,
}

/// Follows the switches: one pass.
pub fn switching<S: Storage>(
    vehicle: &Vehicle,
    survey: &Survey,
    course: &Course,
    (axis, mut bus): (Axis, Bus),
    reader: &mut CaptureReader<S>,
) -> Result<Switching, ReadError> {
    let mut feed = Feed::new(vehicle, course, bus.rated());
    let end_us = survey.span_ns.map_or(0, |s| axis.arrival_us(s.1));
    axis.pass(reader, |at_us, record, event| match event {
        Heard::Frame { source, frame } => bus.hear(source, frame, |role, sample| {
            feed.heard_us = feed.heard_us.max(at_us);
            match role {
                Role::Turns(k) => feed.hear(at_us, k, sample.sound()),
                Role::State(k) => feed.told(at_us, record, k, state(&sample)),
            }
        }),
        event => feed.take(at_us, record, event),
    })?;
    // What a line did after the last word about it, nobody knows.
    let timeline = feed.selections.finish(seconds(end_us.min(feed.heard_us)));
    Ok(Switching {
        engaged: engaged(vehicle, &timeline),
        spans: timeline.modes.iter().filter(|s| s.known).map(span).collect(),
        selections: Vec::new(),
        seen: Vec::new(),
        timeline,
    })
}

impl Switching {
    /// Hears what the shafts showed and settles how each selection ended.
    pub fn hear(&mut self, seen: Vec<CouplingSeen>) {
        self.seen.clone_from(&seen);
        self.timeline.hear(seen);
        let timeline = &self.timeline;
        self.selections = timeline.selections.iter().map(|s| selection(timeline, s)).collect();
    }

    /// Times for each pair of modes, for the result.
    pub fn pairs(&self) -> Vec<PairTimes> {
        let one = |p: wheelwitness_driveline::selection::PairTimes| PairTimes {
            from: p.from,
            to: p.to,
            n: p.n,
            median_s: p.median_s,
            worst_s: p.worst_s,
            percentile95_s: p.percentile95_s,
        };
        self.timeline.pair_times().into_iter().map(one).collect()
    }
}

fn seconds(us: i64) -> f64 {
    us as f64 * 1e-6
}

/// Feeds one board's events to the selections.
struct Feed<'a> {
    selections: Selections,
    course: &'a Course,
    outputs: Vec<Output>,
    metres_per_rear_turn: f64,
    /// See [`Motion::unseen_s`].
    unseen_s: f64,
    /// Every output is told by a unit that sends zero under a floor: zero is no rest.
    hides: bool,
    last_us: i64,
    /// When a board or a unit said something last.
    heard_us: i64,
    last_motion_us: i64,
    recent: VecDeque<(f64, f64)>,
}

/// What tells the turns of an output or of the input.
struct Output {
    place: Place,
    /// Turns of the place for one of what is measured: half the axle ratio for a wheel.
    weight: f64,
    by: By,
    turns: f64,
}

/// What is measured.
enum By {
    /// Edges on a channel of the board, so many a turn.
    Edges { channel: u8, per_turn: f64, counter: Counter },
    /// A signal, by its number among the rated places: turns by unit, and what it said last.
    Signal { rated: usize, turns_per: f64, last: Option<(i64, Said)> },
}

/// A signal that was silent for longer told nothing about the time between, microseconds.
const SILENT_US: i64 = 1_500_000;

impl Output {
    fn of(vehicle: &Vehicle, rated: &[Rated], place: Place) -> Option<Self> {
        let by = match vehicle.sensor(place) {
            Some(s) => By::Edges {
                channel: s.channel,
                per_turn: f64::from(edges_per_turn(s)),
                counter: Counter::default(),
            },
            None => {
                let k = rated.iter().position(|r| r.place == place)?;
                By::Signal { rated: k, turns_per: rated[k].turns_per, last: None }
            }
        };
        Some(Output { place, weight: 1.0, by, turns: 0.0 })
    }

    fn count(&mut self, at_us: i64, first_channel: u8, counts: &[Count; 4]) {
        let By::Edges { channel, per_turn, counter } = &mut self.by else { return };
        let slot = channel.checked_sub(first_channel).map(usize::from);
        if let Some(report) = slot.and_then(|k| counts.get(k)) {
            counter.observe(at_us, *report);
            self.turns = self.weight * counter.index().unwrap_or(0) as f64 / *per_turn;
        }
    }

    fn hear(&mut self, at_us: i64, signal: usize, said: Option<Said>) {
        let By::Signal { rated, turns_per, last } = &mut self.by else { return };
        if *rated != signal {
            return;
        }
        let before = std::mem::replace(last, said.map(|s| (at_us, s)));
        let Some(((then_us, was), is)) = before.zip(said) else { return };
        let new = match (was, is) {
            (Said::Speed(a), Said::Speed(b)) => (a + b) / 2.0 * (at_us - then_us) as f64 * 1e-6,
            (Said::Count(a, n), Said::Count(b, _)) => ((b + n - a % n) % n) as f64,
            _ => 0.0,
        };
        if (1..SILENT_US).contains(&(at_us - then_us)) {
            self.turns += self.weight * *turns_per * new;
        }
    }

    /// Whether zero may be turning under the floor of a unit.
    fn hides(&self, units: &[Rated]) -> bool {
        matches!(self.by, By::Signal { rated, .. } if units[rated].floor > 0.0)
    }

    /// Turns between two things that it tells; none where a unit sends a speed all the time.
    fn gap_turn(&self) -> f64 {
        match self.by {
            By::Edges { per_turn, .. } => self.weight / per_turn,
            By::Signal { .. } => 0.0,
        }
    }

    fn begin_anew(&mut self) {
        self.turns = 0.0;
        if let By::Edges { counter, .. } = &mut self.by {
            *counter = Counter::default();
        }
    }
}

impl<'a> Feed<'a> {
    fn new(vehicle: &Vehicle, course: &'a Course, rated: &[Rated]) -> Self {
        let output = |place: Place| Output::of(vehicle, rated, place);
        let ratio = [vehicle.axles.front.ratio_value(), vehicle.axles.rear.ratio_value()];
        let mut outputs: Vec<Output> = [Place::FrontShaft, Place::RearShaft, Place::Input]
            .into_iter()
            .filter_map(output)
            .collect();
        // An output without a shaft sensor turns with the mean of its wheels, times the ratio.
        for ((shaft, wheels), i) in Place::AXLES.into_iter().zip(ratio) {
            if output(shaft).is_none() {
                let wheel = |o: Output| Output { place: shaft, weight: i / 2.0, ..o };
                outputs.extend(wheels.into_iter().filter_map(output).map(wheel));
            }
        }
        let metres_per_rear_turn = Setup::new(vehicle).metres_per_turn();
        let gap_m = outputs.iter().filter(|o| o.place != Place::Input).map(Output::gap_turn);
        let gap_m = gap_m.fold(f64::INFINITY, f64::min) * metres_per_rear_turn;
        Feed {
            selections: Selections::new(vehicle),
            course,
            hides: outputs.iter().filter(|o| o.place != Place::Input).all(|o| o.hides(rated)),
            outputs,
            metres_per_rear_turn,
            unseen_s: (2.0 * gap_m / GENTLE_MPS2).sqrt().min(UNSEEN_MAX_S),
            last_us: 0,
            heard_us: 0,
            last_motion_us: i64::MIN / 2,
            recent: VecDeque::new(),
        }
    }

    fn take(&mut self, at_us: i64, record: u64, event: Heard<'_>) {
        let gap = Gap { from_s: seconds(self.last_us), to_s: seconds(at_us), record };
        match event {
            Heard::Missing => self.selections.push(&Event::Lost(gap)),
            Heard::Reset => {
                self.outputs.iter_mut().for_each(Output::begin_anew);
                self.recent.clear();
                self.selections.push(&Event::Reset(gap));
            }
            Heard::Counts { first_channel, counts } => self.count(at_us, first_channel, &counts),
            Heard::Says(says) => self.say(at_us, record, says),
            Heard::Frame { .. } => return,
        }
        self.last_us = self.last_us.max(at_us);
        self.heard_us = self.heard_us.max(at_us);
    }

    fn say(&mut self, at_us: i64, record: u64, says: &Says) {
        let time_s = seconds(at_us);
        match says {
            Says::Switch(s) => self.selections.push(&Event::Change(LevelChange {
                time_s,
                input: s.input,
                level: s.high,
                edge_count: s.edges,
                record,
            })),
            Says::Levels(mask) => {
                self.selections.push(&Event::Levels(Levels { time_s, mask: *mask, record }));
            }
            Says::Analog(mv) => {
                self.selections.analog(time_s, &mv.map(|mv| f64::from(mv) * 1e-3));
            }
            _ => {}
        }
    }

    fn count(&mut self, at_us: i64, first_channel: u8, counts: &[Count; 4]) {
        self.outputs.iter_mut().for_each(|o| o.count(at_us, first_channel, counts));
        self.move_on(at_us);
    }

    fn hear(&mut self, at_us: i64, signal: usize, said: Option<Said>) {
        self.outputs.iter_mut().for_each(|o| o.hear(at_us, signal, said));
        self.move_on(at_us);
    }

    fn told(&mut self, at_us: i64, record: u64, state: usize, on: Option<bool>) {
        let time_s = seconds(at_us);
        self.selections.push(&Event::Told(Told { time_s, state, on, record }));
    }

    fn move_on(&mut self, at_us: i64) {
        if at_us - self.last_motion_us >= MOTION_US {
            self.last_motion_us = at_us;
            let motion = self.motion(seconds(at_us));
            self.selections.push(&Event::Motion(motion));
        }
    }

    fn turns(&self, place: Place) -> Option<f64> {
        let of: Vec<f64> =
            self.outputs.iter().filter(|o| o.place == place).map(|o| o.turns).collect();
        (!of.is_empty()).then(|| of.iter().sum())
    }

    fn motion(&mut self, time_s: f64) -> Motion {
        let rear_turn = self.turns(Place::RearShaft);
        let front_turn = self.turns(Place::FrontShaft);
        let most = [rear_turn, front_turn].into_iter().flatten().fold(f64::NAN, f64::max);
        self.recent.push_back((time_s, most));
        while self.recent.front().is_some_and(|r| time_s - r.0 > 2.05) {
            self.recent.pop_front();
        }
        let rate = |ago: f64, span: f64| {
            let at = |ago: f64| self.recent.iter().rev().find(|r| time_s - r.0 >= ago - 0.05);
            let (b, a) = (at(ago)?, at(ago + span)?);
            Some((b.1 - a.1) / (b.0 - a.0).max(0.05) * self.metres_per_rear_turn)
        };
        let speed = rate(0.0, 0.5);
        let acceleration = rate(0.0, 1.0).zip(rate(1.0, 1.0)).map(|(now, before)| now - before);
        let by_gnss = self.course.speed_near(time_s);
        let told = |moving: &bool| *moving || !self.hides;
        Motion {
            time_s,
            front_turn,
            rear_turn,
            input_turn: self.turns(Place::Input),
            moving: speed.map(|v| v > 0.0).filter(told).or(by_gnss.map(|v| v > 0.5).filter(told)),
            unseen_s: self.unseen_s,
            speed_kmh: by_gnss.or(speed).map(|v| 3.6 * v),
            torque_sign: acceleration.map(torque_sign),
        }
    }
}

/// Drive or coast by the acceleration (m/s^2): rolling resistance alone slows by 0.15.
fn torque_sign(acceleration: f64) -> i8 {
    match acceleration {
        a if a > 0.25 => 1,
        a if a < -0.4 => -1,
        _ => 0,
    }
}

/// Engagement periods: a row that was requested, from when it was engaged as far as its switches,
/// motor and lamps tell. Other requests that stood long enough are kept as uncertain.
fn engaged(vehicle: &Vehicle, timeline: &Timeline) -> Vec<Engaged> {
    let period = |p: &RowPeriod| {
        let (read_s, end_s) = p.stretch_s?;
        // A row that is late is read from when it should have matched; it engaged when it did.
        let start_s = p.engaged_s.map_or(read_s, |engaged_s| engaged_s.max(read_s));
        let certain = p.engaged_s.is_some();
        let mode = vehicle.modes.iter().position(|m| m.name == p.mode)?;
        let start_us = (start_s * 1e6) as i64 + TRIM_US;
        let end_us = (end_s * 1e6) as i64 - TRIM_US;
        (end_us > start_us).then_some(Engaged { start_us, end_us, mode, certain })
    };
    timeline.row_periods.iter().filter_map(period).collect()
}

fn span(s: &wheelwitness_driveline::selection::ModeSpan) -> ModeSpan {
    ModeSpan { start_s: s.start_s, end_s: s.end_s, mode: s.mode.clone(), coupling: s.coupling }
}

fn selection(timeline: &Timeline, s: &Found) -> Selection {
    let zero = s.request.first_s;
    Selection {
        number: s.number,
        from: s.from.as_ref().map(|f| f.1.clone()),
        to: s.to.1.clone(),
        requested_s: zero,
        outcome: s.outcome.words().into(),
        detail: s.detail.clone(),
        stages: s
            .stages
            .iter()
            .map(|stage| Stage {
                name: stage.stage.words().into(),
                first_edge_s: stage.moment.first_s - zero,
                settled_s: Some(stage.moment.settled_s - zero),
            })
            .collect(),
        turns_since_motor_stop: s.turns_since_motor_stop,
        completion_s: s.completion().map(|e| e.value),
        needs: s.need.words().into(),
        needed: s.needed,
        blocked_by: if s.total.is_none() && !s.was_there { s.blocked_by.clone() } else { vec![] },
        flashing: timeline
            .flashing(s)
            .map(|l| Flash { lamp: l.lamp.clone(), start_s: l.start_s, end_s: l.end_s })
            .collect(),
        lead: timeline.lead(s).map(|l| Lead { cause: l.cause.words().into(), fits: l.evidence }),
        evidence: vec![RecordRange { first: s.records.0, last: s.records.1 }],
    }
}
