//! Stretches of about one curvature: the rows of every fit over an engagement period.
//!
//! Steps of a period are folded into segments, segments of one turning manoeuvre into one row.
//! Turns add up without error within a stretch, because neighbouring steps share a phase; what
//! counting leaves open are the phases at the ends.

use crate::demand::{CurvatureSource, DOUBTS, Demanded, Motion, is_one_silent};
use crate::quantity::SURE;
use crate::turn::{Opens, Turn};

/// Straight enough: below this curvature a stretch is not a turn, 1/m.
pub const STRAIGHT_PER_M: f64 = 1.0 / 150.0;

/// Longest segment, microseconds; longer stretches become several rows.
const SEGMENT_MAX_US: i64 = 15_000_000;

/// Variances of phases, turns squared.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Phases {
    /// Of the front output.
    pub front: f64,
    /// Of the rear output.
    pub rear: f64,
    /// Of the input over the range ratio; 0 where it is not measured.
    pub input: f64,
}

impl Phases {
    /// Of the outputs and the input of a step, by what `u` takes from each; the input's over
    /// the range ratio.
    fn of(m: &Motion, range: f64, u: impl Fn(&Turn) -> f64) -> Self {
        let input = m.input.as_ref().map_or(0.0, |i| (u(i) / range).powi(2));
        Phases { front: u(&m.front).powi(2), rear: u(&m.rear).powi(2), input }
    }
}

impl std::ops::Add for Phases {
    type Output = Phases;
    fn add(self, o: Phases) -> Phases {
        Phases {
            front: self.front + o.front,
            rear: self.rear + o.rear,
            input: self.input + o.input,
        }
    }
}

impl std::ops::Mul<f64> for Phases {
    type Output = Phases;
    fn mul(self, k: f64) -> Phases {
        Phases { front: self.front * k, rear: self.rear * k, input: self.input * k }
    }
}

/// Where the phases of a stretch are open: only its ends, since steps share the phase between
/// them, and both sides of any gap within.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Open {
    /// At its start.
    pub start: Phases,
    /// At gaps within.
    pub within: Phases,
    /// By rocking, where it went slowly.
    pub rocked: Phases,
    /// At its end.
    pub end: Phases,
}

impl Open {
    /// All of it.
    pub fn sum(&self) -> Phases {
        self.start + self.within + self.rocked + self.end
    }
}

/// Slower than this, shafts may rock: play is taken up and torsion let go, an edge passes forward,
/// backward and forward again, and a sensor without direction counts it each time. m/s.
const ROCKING_MPS: f64 = 0.5;

/// What rocking leaves open, edges. An edge too many is rare (a few in a thousand rests of
/// simulated vehicles); with this much, one of them stays within two or three standard
/// uncertainties of a period with a usual number of rests.
const ROCKED_EDGES: f64 = 0.17;

/// Least demanded difference that exercises a mode, turns.
pub const EXERCISE_TURN: f64 = 1.5;

/// Counts that are open by more than this part of what was demanded say nothing of it.
const TELLING: f64 = 0.3;

/// Play of the gears between input and outputs, as a share of the play between the outputs
/// (common practice: the case alone, without joints and axles).
const GEAR_PLAY: f64 = 0.03;

/// What the noise of its curvature leaves open of a stretch.
///
/// Curvatures are slopes of what was counted, or of a course, and slopes add up to a change: what
/// is open about their sum are its two ends, as much as about one window, however many there are.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Noise {
    /// Sum over steps of the squares of what is open about a whole window at each.
    squares: f64,
    /// The same of the steps alone, all to one side.
    sum: f64,
    steps: u32,
}

impl Noise {
    /// Takes what is open about a step in, and how many steps its curvature was smeared over.
    fn take(&mut self, u: f64, window: f64) {
        self.squares += (u * window.max(1.0)).powi(2);
        self.sum += u;
        self.steps += 1;
    }

    fn u(&self) -> f64 {
        (self.squares / f64::from(self.steps.max(1))).sqrt().min(self.sum)
    }
}

/// A stretch of steps with about one curvature: one row of the fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Segment {
    /// Board time at the start, microseconds.
    pub start_us: i64,
    /// Board time at the end, microseconds.
    pub end_us: i64,
    /// Raw records, first and last.
    pub records: (u64, u64),
    /// Rear output turns.
    pub rear: f64,
    /// Front less rear output turns.
    pub counted: f64,
    /// Input turns over range ratio, where measured throughout.
    pub input: Option<f64>,
    /// What the phases at both ends, and at gaps in between, leave open.
    pub open: Open,
    /// Demanded turn part.
    pub demanded: Demanded,
    /// Standard uncertainty of the demanded part from the noise of the curvature, turns.
    pub demanded_u: f64,
    /// What was taken off the demanded part because noise adds to the square of a curvature, turns.
    pub noise_turn: f64,
    /// Demanded part where the course gave a second opinion: by the wheels, by the course, turns.
    pub opinions: [f64; 2],
    /// Integral of acceleration over rear turns, m/s^2 times turns.
    pub traction: f64,
    /// Sum of curvature times rear turns (signed).
    pub curvature_turn: f64,
    /// Where the curvature came from; None where there was none.
    pub source: Option<CurvatureSource>,
    /// Rear output at rest while the front one and the input turned: a wheel is lifted.
    pub lifted: bool,
    /// What units that send their turns leave open.
    pub sent: Opens,
    /// Scale of the input against the rear output, relative standard uncertainty.
    pub input_scale_u: f64,
    noise: Noise,
    first_speed: f64,
    last_speed: f64,
    metres_per_turn: f64,
    /// Widest window of the slopes that told the curvature, seconds; 0 where it was no course.
    pub smear_s: f64,
    /// End of the segment before, where every step since then was seen (standing still included):
    /// the phase at which the one ends and the other begins is the same.
    after_us: Option<i64>,
    rocking: bool,
}

impl Segment {
    /// Mean curvature, 1/m, positive to the right.
    pub fn curvature(&self) -> f64 {
        if self.rear > 0.0 { self.curvature_turn / self.rear } else { 0.0 }
    }

    /// What counting leaves open of the difference, turns.
    pub fn counted_u(&self) -> f64 {
        let open = self.open.sum();
        (open.front + open.rear).sqrt()
    }

    /// What counting leaves open of the input against what outputs of these shares make of it,
    /// turns: both sides are counted with the same phases, so it depends on the share.
    pub fn input_u(&self, front_share: f64) -> f64 {
        let (a, open) = (front_share, self.open.sum());
        let outputs = (1.0 - a).powi(2) * open.rear + a * a * open.front;
        (open.input + outputs + self.sent.input_between).sqrt().max(1e-6)
    }

    /// The same with the play of the gears between input and outputs, which torque takes up or
    /// gives back. It is a share of the play between the outputs at most: anything from nothing to
    /// that, and the gears lie anywhere within it (both rectangular, GUM 4.3.7; the variance of a
    /// play `p` is `p^2 / 12`, its mean over plays up to `b` is `b^2 / 36`).
    pub fn input_u_with_play(&self, front_share: f64, backlash_turn: f64) -> f64 {
        self.input_u(front_share).hypot(GEAR_PLAY * backlash_turn / 6.0)
    }

    /// Length in seconds.
    pub fn seconds(&self) -> f64 {
        (self.end_us - self.start_us) as f64 * 1e-6
    }

    /// Whether its counts say anything of what it demanded, or would of what exercises a mode: not
    /// where one of its ends lies in a stretch that nobody saw.
    pub fn tells(&self) -> bool {
        self.counted_u() < TELLING * self.demanded[0].max(EXERCISE_TURN)
    }

    fn begin(m: &Motion, range: f64, metres_per_turn: f64, lifted: bool) -> Self {
        let mut s = Segment {
            start_us: m.start_us,
            end_us: m.start_us,
            records: m.records,
            rear: 0.0,
            counted: 0.0,
            input: Some(0.0),
            open: Open { start: Phases::of(m, range, |t| t.u_start), ..Open::default() },
            demanded: [0.0; 1 + DOUBTS.len()],
            demanded_u: 0.0,
            noise_turn: 0.0,
            noise: Noise::default(),
            opinions: [0.0; 2],
            traction: 0.0,
            curvature_turn: 0.0,
            source: m.source,
            lifted,
            sent: Opens::default(),
            input_scale_u: m.input_scale_u,
            first_speed: m.speed_mps,
            last_speed: m.speed_mps,
            metres_per_turn,
            smear_s: m.smear_s,
            after_us: None,
            rocking: false,
        };
        s.take(m, range);
        s
    }

    fn take(&mut self, m: &Motion, range: f64) {
        self.end_us = m.end_us;
        self.records.1 = m.records.1;
        self.rear += m.rear.turns;
        self.counted += m.front.turns - m.rear.turns;
        self.input = self.input.zip(m.input).map(|(sum, i)| sum + i.turns / range);
        self.demanded.iter_mut().zip(m.demanded).for_each(|(sum, d)| *sum += d);
        if let Some(by_course) = m.demanded_by_course {
            self.opinions[0] += m.demanded[0];
            self.opinions[1] += by_course;
        }
        let k = m.curvature.unwrap_or(0.0);
        self.curvature_turn += k * m.rear.turns;
        if k != 0.0 {
            let noise = m.curvature_u / k.abs();
            self.noise.take(2.0 * noise * m.demanded[0], m.smear_s / m.seconds());
            self.demanded_u = self.noise.u();
            self.noise_turn += noise * noise * m.demanded[0];
            self.smear_s = self.smear_s.max(m.smear_s);
        }
        self.sent.add(&Opens::of(&m.front, &m.rear, m.input.map(|i| i.times(1.0 / range))));
        if m.speed_mps < ROCKING_MPS {
            self.rock(m, range);
        } else {
            self.rocking = false;
        }
        self.last_speed = m.speed_mps;
        self.traction =
            (self.last_speed.powi(2) - self.first_speed.powi(2)) / 2.0 / self.metres_per_turn;
    }

    /// Its shafts may rock at one end or between two stretches that are not slow.
    fn rock(&mut self, m: &Motion, range: f64) {
        if !self.rocking && !self.lifted {
            self.open.rocked = self.open.rocked + Phases::of(m, range, |t| ROCKED_EDGES * t.edge);
            self.rocking = true;
        }
    }

    fn close(mut self, end: &Motion, range: f64) -> Self {
        self.open.end = Phases::of(end, range, |t| t.u_end);
        self
    }

    /// Takes the following segment of the same manoeuvre in.
    fn absorb(&mut self, next: &Segment) {
        let meet = next.after_us == Some(self.end_us);
        let gap = if meet { Phases::default() } else { self.open.end + next.open.start };
        self.open.within = self.open.within + gap + next.open.within;
        self.open.rocked = self.open.rocked + next.open.rocked;
        self.open.end = next.open.end;
        self.end_us = next.end_us;
        self.records.1 = next.records.1;
        self.rear += next.rear;
        self.counted += next.counted;
        self.input = self.input.zip(next.input).map(|(a, b)| a + b);
        self.demanded.iter_mut().zip(next.demanded).for_each(|(a, b)| *a += b);
        self.demanded_u = self.demanded_u.hypot(next.demanded_u);
        self.noise_turn += next.noise_turn;
        self.opinions[0] += next.opinions[0];
        self.opinions[1] += next.opinions[1];
        self.traction += next.traction;
        self.sent.add(&next.sent);
        self.curvature_turn += next.curvature_turn;
        self.smear_s = self.smear_s.max(next.smear_s);
    }

    fn continues_with(&self, m: &Motion) -> bool {
        let (mean, k) = (self.curvature(), m.curvature.unwrap_or(0.0));
        let alike = match self.source {
            // A course lags and smears: a whole turn stays together, with how it began and ended.
            Some(CurvatureSource::Course) => side(k) == side(mean),
            _ => (k - mean).abs() <= STRAIGHT_PER_M.max(0.25 * mean.abs()),
        };
        alike
            && m.start_us == self.end_us
            && m.source == self.source
            && m.end_us - self.start_us <= SEGMENT_MAX_US
    }
}

/// Folds the motions of one engagement period into segments.
#[derive(Debug, Clone)]
pub struct PeriodFold {
    range: f64,
    metres_per_turn: f64,
    open: Option<(Segment, Motion)>,
    done: Vec<Segment>,
    /// The last motion, until it is known whether a sensor fell silent right after it.
    held: Option<(Motion, Standstill)>,
    /// A sensor was silent until then.
    silent_to_us: Option<i64>,
    /// End of the last step that was pushed.
    seen_us: Option<i64>,
    /// End of the last segment, while no step since then was missed.
    ended_us: Option<i64>,
    /// Steps in which one output, or one wheel of it, stood still while all others turned and no
    /// lifted wheel explains it: a silent sensor.
    pub silent_steps: u32,
    /// Steps in which the input gave no edge while the outputs turned by more than two of them.
    pub input_silent_steps: u32,
    /// How far the outputs went apart at once, beyond the share of the demand that a lock may let
    /// through; turns.
    pub parted: Parted,
}

/// The largest sure rise of the counted difference beyond a share of the demanded one: a lock that
/// lets go for a moment at the end of a long turn is lost in the mean over that turn.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Parted {
    /// Share of the demand that may be let through.
    share: f64,
    sum: f64,
    /// Where the rise began; None after a rest, and while shafts may rock.
    low: Option<f64>,
    /// The largest rise so far, turns.
    pub most: f64,
}

impl Parted {
    fn take(&mut self, m: &Motion) {
        if m.speed_mps < ROCKING_MPS {
            self.low = None;
            return;
        }
        let sure = |u: fn(&Turn) -> f64| SURE * u(&m.front).hypot(u(&m.rear));
        let from = self.sum + sure(|t| t.u_start);
        let low = self.low.map_or(from, |low| low.min(from));
        self.low = Some(low);
        self.sum += m.front.turns - m.rear.turns - self.share * m.demanded[0];
        self.most = self.most.max(self.sum - sure(|t| t.u_end) - low);
    }
}

/// What else stood still, for steps in which the rear output did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standstill {
    /// Another witness (rear wheels, receiver) says that the vehicle stood.
    Confirmed,
    /// No other witness.
    Unknown,
    /// Another witness says that it moved.
    Denied,
}

/// No center differential gives an output less of the drive than this (common practice).
const LEAST_SHARE: f64 = 0.25;

/// Most segments kept in one period; longer periods go on without the later ones' detail.
const SEGMENTS_MAX: usize = 4096;

impl PeriodFold {
    /// A period in a range (input turns per turn of the center differential's carrier);
    /// `locked_max` is the share of the demand that a lock may let through.
    pub fn new(range: f64, metres_per_turn: f64, locked_max: f64) -> Self {
        PeriodFold {
            range,
            metres_per_turn,
            open: None,
            done: Vec::new(),
            held: None,
            silent_to_us: None,
            seen_us: None,
            ended_us: None,
            silent_steps: 0,
            input_silent_steps: 0,
            parted: Parted { share: locked_max, ..Parted::default() },
        }
    }

    /// Takes one motion in. Where a sensor falls silent, and where it speaks again, it may have
    /// missed edges in a part of a step: the motions beside its silence are left out.
    pub fn push(&mut self, m: &Motion, standstill: Standstill) {
        if is_one_silent(&m.front, &m.rear) && standstill != Standstill::Confirmed {
            self.silent_steps += 1;
            return self.silence(m.start_us, m.end_us);
        }
        let speaks_again = self.silent_to_us.take() == Some(m.start_us);
        self.release();
        self.held = (!speaks_again).then(|| (m.clone(), standstill));
    }

    /// A sensor of an output was silent between these times, in the period or right beside it.
    pub fn silence(&mut self, from_us: i64, to_us: i64) {
        self.held = self.held.take().filter(|(m, _)| m.end_us != from_us || m.front.still);
        self.release();
        self.parted.low = None;
        self.cut();
        self.silent_to_us = Some(to_us);
    }

    fn release(&mut self) {
        if let Some((m, standstill)) = self.held.take() {
            self.take(&m, standstill);
        }
    }

    fn take(&mut self, m: &Motion, standstill: Standstill) {
        if self.seen_us.replace(m.end_us) != Some(m.start_us) {
            self.cut();
            self.parted.low = None;
            self.ended_us = None;
        }
        // A curve that nobody saw demanded what nobody knows.
        if m.front.is_unseen() || m.rear.is_unseen() {
            self.parted.low = None;
            self.cut();
            self.ended_us = None;
            return;
        }
        let lifted = m.rear.still && !m.front.still && m.front.turns > 0.0;
        let usable = match (m.front.still, m.rear.still) {
            (false, false) => true,
            (true, true) => return self.rest(),
            _ => lifted && standstill == Standstill::Confirmed,
        };
        let usable = usable && !m.one_sided;
        if !usable || lifted {
            self.parted.low = None;
        } else {
            self.parted.take(m);
        }
        if !usable {
            self.silent_steps += u32::from(!m.is_under_floor());
            return self.cut();
        }
        self.input_silent_steps += u32::from(self.is_input_silent(m));
        match &mut self.open {
            Some((s, last)) if s.lifted == lifted && s.continues_with(m) => {
                s.take(m, self.range);
                *last = m.clone();
            }
            _ => {
                self.cut();
                let mut s = Segment::begin(m, self.range, self.metres_per_turn, lifted);
                s.after_us = self.ended_us;
                self.open = Some((s, m.clone()));
            }
        }
    }

    /// A brake may bring the shafts to rest within one step, which then is not slow on the mean.
    fn rest(&mut self) {
        self.parted.low = None;
        if let Some((s, last)) = &mut self.open {
            s.rock(last, self.range);
        }
        self.cut();
    }

    /// True where the input must have given edges and gave none.
    fn is_input_silent(&self, m: &Motion) -> bool {
        let Some(input) = m.input.filter(|i| i.still && !m.is_under_floor()) else { return false };
        let (front, rear) = (m.front.turns, m.rear.turns);
        // The carrier makes what both outputs make, or a share of the one that turns.
        let carrier = front.min(rear).max(LEAST_SHARE * front.max(rear));
        self.range * carrier > 2.0 * input.edge
    }

    fn cut(&mut self) {
        let Some((s, last)) = self.open.take() else { return };
        self.ended_us = Some(s.end_us);
        if self.done.len() < SEGMENTS_MAX {
            self.done.push(s.close(&last, self.range));
        }
    }

    /// The segments so far; the open one is closed.
    pub fn finish(&mut self) -> Vec<Segment> {
        self.release();
        self.cut();
        std::mem::take(&mut self.done)
    }
}

/// No turn.
pub fn is_straight(s: &Segment) -> bool {
    side(s.curvature()) == 0
}

/// Right (1), left (-1) or straight (0).
pub fn side(curvature: f64) -> i8 {
    match curvature {
        k if k > STRAIGHT_PER_M => 1,
        k if k < -STRAIGHT_PER_M => -1,
        _ => 0,
    }
}

/// One row per turning manoeuvre: what a model of turning misses, it misses alike all through one
/// manoeuvre, and the small differences within it tell nothing.
pub fn by_manoeuvre(segments: Vec<Segment>) -> Vec<Segment> {
    let mut out: Vec<Segment> = Vec::new();
    for s in segments {
        match out.last_mut() {
            Some(last) if !is_straight(&s) && side(last.curvature()) == side(s.curvature()) => {
                last.absorb(&s);
            }
            _ => out.push(s),
        }
    }
    out
}

/// One row per stretch of turning and per straight between, to whichever side: for what adds up
/// over any stretch, so that only the phases at its ends are open.
pub fn by_kind(segments: Vec<Segment>) -> Vec<Segment> {
    let mut out: Vec<Segment> = Vec::new();
    let mut last_straight = None;
    for s in segments {
        let straight = is_straight(&s);
        match out.last_mut() {
            Some(last) if last_straight == Some(straight) => last.absorb(&s),
            _ => out.push(s),
        }
        last_straight = Some(straight);
    }
    out
}
