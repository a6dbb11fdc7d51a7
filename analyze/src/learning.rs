//! The first look at the counts: where the teeth of every sensor sit.

use crate::axis::{Axis, Heard};
use crate::bus::{Bus, Role};
use wheelwitness_capture::read::{CaptureReader, ReadError};
use wheelwitness_capture::storage::Storage;
use wheelwitness_driveline::pulse::{BREAK_US, Count, Counted, Counter, Sensing};
use wheelwitness_driveline::signal::{Said, Sample};
use wheelwitness_driveline::tooth::ToothPattern;
use wheelwitness_driveline::vehicle::{Edges, Place, Sensor, Vehicle};

/// A sensor's tooth pattern, learned.
#[derive(Debug, Clone)]
pub struct Tooth {
    /// The sensor.
    pub sensor: Sensor,
    /// Learned for the edges a turn that it gives: the declared number, or one fewer.
    pub pattern: ToothPattern,
    /// True when the edges repeat once a turn with one edge fewer and a double gap: a tooth or
    /// magnet is missing.
    pub missing_tooth: bool,
    /// True when edges come in between that no tooth makes.
    pub extra_edges: bool,
}

impl Tooth {
    /// What is wrong with what it counts, in words that follow its name.
    pub fn trouble(&self) -> Option<&'static str> {
        if self.missing_tooth {
            Some("misses one pulse a turn")
        } else if self.extra_edges {
            Some("counts edges that no tooth makes (noise)")
        } else {
            let slides = self.pattern.slides();
            slides.then_some(
                "gives edges that do not repeat once a turn: one is missing, or its \
                 pulses_per_turn is not as declared",
            )
        }
    }

    /// Edges too many, or too few in no order: what it counts cannot be held against its
    /// neighbour's.
    pub fn is_noisy(&self) -> bool {
        self.extra_edges || self.pattern.slides()
    }
}

/// Edges counted per turn.
pub fn edges_per_turn(sensor: &Sensor) -> u32 {
    sensor.pulses_per_turn * if sensor.edges == Edges::Both { 2 } else { 1 }
}

/// What the first look at the counts teaches.
#[derive(Debug, Clone)]
pub struct Learned {
    /// Tooth patterns, in the order of the vehicle file's sensors.
    pub teeth: Vec<Tooth>,
    /// Time (seconds) and edge rate of a sensor that turns with the vehicle, ascending.
    pub rates: Vec<(f64, f64)>,
}

/// Learns where the teeth of one sensor sit.
struct Learner {
    sensor: Sensor,
    counter: Counter,
    full: ToothPattern,
    one_short: Option<ToothPattern>,
}

impl Learner {
    fn new(sensor: &Sensor) -> Self {
        let n = edges_per_turn(sensor);
        Learner {
            sensor: sensor.clone(),
            counter: Counter::default(),
            full: ToothPattern::new(n),
            one_short: (n > 2).then(|| ToothPattern::new(n - 1)),
        }
    }

    fn begin_anew(&mut self) {
        self.counter = Counter::default();
        self.patterns().for_each(ToothPattern::begin_anew);
    }

    fn take(&mut self, at_us: i64, first_channel: u8, counts: &[Count; 4]) {
        let Some(count) = count_of(&self.sensor, first_channel, counts) else { return };
        match self.counter.observe(at_us, count) {
            Counted::Edge(edge) => self.patterns().for_each(|p| p.push(edge)),
            Counted::Implausible => self.patterns().for_each(ToothPattern::begin_anew),
            Counted::Same | Counted::Unpinned(_) => {}
        }
    }

    fn patterns(&mut self) -> impl Iterator<Item = &mut ToothPattern> {
        std::iter::once(&mut self.full).chain(&mut self.one_short)
    }
}

/// Learns the tooth pattern of every sensor, and samples the rate of the rear output (or
/// whatever turns with the vehicle) ten times a second: one pass.
pub fn learn<S: Storage>(
    vehicle: &Vehicle,
    axis: Axis,
    mut bus: Bus,
    reader: &mut CaptureReader<S>,
) -> Result<Learned, ReadError> {
    let mut rates = RateSampler::new(vehicle);
    let mut learners: Vec<Learner> = vehicle.sensors.iter().map(Learner::new).collect();
    let mut counted_us = None;
    axis.pass(reader, |at_us, _, event| match event {
        Heard::Reset => learners.iter_mut().for_each(Learner::begin_anew),
        Heard::Frame { source, frame } => bus.hear(source, frame, |role, sample| {
            rates.hear(at_us, role, &sample);
        }),
        Heard::Counts { first_channel, counts } => {
            rates.take(at_us, first_channel, &counts);
            if counted_us.replace(at_us).is_some_and(|before| at_us - before > BREAK_US) {
                learners.iter_mut().for_each(Learner::begin_anew);
            }
            learners.iter_mut().for_each(|l| l.take(at_us, first_channel, &counts));
        }
        _ => {}
    })?;
    let tooth = |l: Learner| {
        let extra_edges = l.full.has_extra_edges();
        let one_short = l.one_short.filter(|p| p.has_double_gap() && !l.full.has_double_gap());
        let missing_tooth = one_short.is_some();
        let pattern = one_short.unwrap_or(l.full);
        Tooth { sensor: l.sensor, pattern, missing_tooth, extra_edges }
    };
    Ok(Learned { teeth: learners.into_iter().map(tooth).collect(), rates: rates.samples })
}

/// Time between samples of a rate, microseconds.
const RATE_US: i64 = 200_000;

/// As many samples tell how late a receiver speaks (five hours of driving); memory stays bounded.
const MOST_RATES: usize = 90_000;

/// Samples the edge rate of one sensor that turns with the vehicle.
struct RateSampler {
    sensor: Option<Sensor>,
    counter: Counter,
    last: Option<(i64, i64)>,
    samples: Vec<(f64, f64)>,
}

impl RateSampler {
    fn new(vehicle: &Vehicle) -> Self {
        let places = [Place::RearLeft, Place::RearShaft, Place::FrontLeft, Place::FrontShaft];
        let sensor = places.into_iter().find_map(|p| vehicle.sensor(p)).cloned();
        RateSampler { sensor, counter: Counter::default(), last: None, samples: Vec::new() }
    }

    /// Without such a sensor, the first signal that turns with the vehicle tells.
    fn hear(&mut self, at_us: i64, role: Role, sample: &Sample) {
        let due = self.last.is_none_or(|(time_us, _)| at_us - time_us >= RATE_US);
        let free = due && self.samples.len() < MOST_RATES;
        if let (None, true, Role::Turns(0), Some(Said::Speed(v))) =
            (&self.sensor, free, role, sample.sound())
        {
            self.samples.push((at_us as f64 * 1e-6, v));
            self.last = Some((at_us, 0));
        }
    }

    fn take(&mut self, at_us: i64, first_channel: u8, counts: &[Count; 4]) {
        let wanted = self.sensor.as_ref().filter(|_| self.samples.len() < MOST_RATES);
        let count = wanted.and_then(|s| count_of(s, first_channel, counts));
        let Some(Counted::Edge(edge)) = count.map(|c| self.counter.observe(at_us, c)) else {
            return;
        };
        let Some((time_us, index)) = self.last else {
            self.last = Some((edge.time_us, edge.index));
            return;
        };
        let gap_us = edge.time_us - time_us;
        if gap_us >= RATE_US {
            let middle_s = (edge.time_us + time_us) as f64 * 5e-7;
            self.samples.push((middle_s, (edge.index - index) as f64 / gap_us as f64));
            self.last = Some((edge.time_us, edge.index));
        }
    }
}

fn count_of(sensor: &Sensor, first_channel: u8, counts: &[Count; 4]) -> Option<Count> {
    counts.get(usize::from(sensor.channel.checked_sub(first_channel)?)).copied()
}

/// Nothing tells a tooth's position better than the microsecond in which its edge is told: edges,
/// at 700 a second (rectangular).
const LEAST_TOOTH_U: f64 = 0.0002;

/// What the stepper must know of a sensor whose teeth were learned.
pub(crate) fn sensing(tooth: &Tooth) -> Sensing {
    // What it gives is counted, with its gap learned, whatever was declared.
    let edges_per_turn = edges_per_turn(&tooth.sensor) - u32::from(tooth.missing_tooth);
    // Not learned: magnets within 1.5 % of a turn, rings within 1 % of a pitch (common practice).
    let unlearned = if edges_per_turn <= 12 { 0.015 * f64::from(edges_per_turn) } else { 0.01 };
    let tooth_u = match tooth.pattern.position_u() {
        // The gap of a missing tooth can move: an edge too many shifts the numbers.
        Some(_) if tooth.missing_tooth => tooth.pattern.scatter().max(0.001),
        Some(u) => u.clamp(LEAST_TOOTH_U, unlearned),
        None => unlearned,
    };
    Sensing {
        place: tooth.sensor.place,
        channel: tooth.sensor.channel,
        edges_per_turn,
        pattern: tooth.pattern.learned(),
        tooth_u,
    }
}
