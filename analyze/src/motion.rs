//! The pass over the motion: steps, and what they add up to for every claim about the driveline.

use crate::axis::{Axis, Heard};
use crate::bus::{Bus, Role};
use crate::drawn::Plot;
use crate::learning::{Tooth, sensing};
use crate::result::RecordRange;
use crate::series::Series;
use wheelwitness_capture::read::{CaptureReader, ReadError};
use wheelwitness_capture::storage::Storage;
use wheelwitness_driveline::agreement::{Agreement, AgreementFold, CountedTwice};
use wheelwitness_driveline::allowance::{Allowance, MismatchPrior, fit, front_share};
use wheelwitness_driveline::course::Course;
use wheelwitness_driveline::demand::{Motion, Prefer, Setup, is_one_silent};
use wheelwitness_driveline::fastest::{Fastest, FastestFold};
use wheelwitness_driveline::mismatch::{Mismatch, MismatchFold, OpenCenter, Sides};
use wheelwitness_driveline::places::{Exchanged, PlacesFold};
use wheelwitness_driveline::pulse::{Sensing, Step, Stepper};
use wheelwitness_driveline::quantity::Estimate;
use wheelwitness_driveline::segment::{PeriodFold, Segment, Standstill};
use wheelwitness_driveline::steady::{Band, SteadyFold};
use wheelwitness_driveline::vehicle::{Coupling, Place, Vehicle};

/// A stretch in which one mode row was engaged, on the axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Engaged {
    /// Start, microseconds.
    pub start_us: i64,
    /// End, microseconds.
    pub end_us: i64,
    /// Index of the mode row.
    pub mode: usize,
    /// False where the row was requested but nothing else says that it was engaged: such a period
    /// is a witness of what the shafts did, and no claim about the mode rests on it.
    pub certain: bool,
}

/// Stretches of a drive that are taken by themselves.
#[derive(Debug, Clone, Default)]
pub struct Stretches<'a> {
    /// Engagement periods, in order.
    pub engaged: &'a [Engaged],
    /// Stretches in which something was turned by hand, microseconds: no driving.
    pub by_hand: Vec<(i64, i64)>,
}

/// What an engagement period adds up to.
#[derive(Debug, Clone, PartialEq)]
pub struct Period {
    /// The period.
    pub engaged: Engaged,
    /// Its segments.
    pub segments: Vec<Segment>,
    /// Steps in which one output was silent while the other turned.
    pub silent_steps: u32,
    /// Steps in which the input was silent while an output turned.
    pub input_silent_steps: u32,
    /// How far the outputs surely went apart at once, beyond what a lock may let through, turns.
    pub parted_turn: f64,
    /// By how much the shafts were surely counted otherwise than their wheels, turns.
    pub miscounted_turn: f64,
    /// Rear output turns in all.
    pub rear_turn: f64,
    /// Front output turns in all.
    pub front_turn: f64,
    /// Input turns over the range ratio in all, silent or not; None where it was not measured
    /// throughout.
    pub input_turn: Option<f64>,
    /// Raw records.
    pub records: RecordRange,
}

/// Steps of silence that show a sensor as failing; fewer may be one odd start from rest.
pub const SILENT_STEPS: u32 = 4;

impl Period {
    /// An output's sensor failed: it was silent for longer than an odd start from rest explains.
    pub fn was_silent(&self) -> bool {
        self.silent_steps >= SILENT_STEPS
    }

    /// Its allowance, with what wheels say against the counts of the shafts as a doubt.
    pub fn allowance(&self, backlash_turn: f64, prior: MismatchPrior) -> Option<Allowance> {
        let mut found = fit(&self.segments, backlash_turn, prior)?;
        found.doubt_counts(self.miscounted_turn);
        Some(found)
    }
}

/// Everything the motion adds up to.
#[derive(Debug, Clone)]
pub struct Motions {
    /// By engagement period, in order.
    pub periods: Vec<Period>,
    /// Front and rear axle.
    pub agreement: [Option<Agreement>; 2],
    /// Silent steps of shaft, left and right wheel, front and rear axle.
    pub silent: [[u32; 3]; 2],
    /// Sensors that do not sit where they are declared.
    pub exchanged: Option<Exchanged>,
    /// Front/rear, front left/right, rear left/right.
    pub mismatch: [Option<Mismatch>; 3],
    /// What is known of the mismatch before any period is fitted.
    pub prior: MismatchPrior,
    /// Straight running seen for each comparison, metres.
    pub straight_m: [f64; 3],
    /// Highest speed of the front and the rear shaft.
    pub fastest: [Option<Fastest>; 2],
    /// The speed sender against the speed over ground, by speed.
    pub steady: Vec<Band>,
    /// What the speedometer shows against the speed over ground, a turn being a metre.
    pub shown: Vec<Band>,
    /// Distance, metres, by the rear output.
    pub distance_m: Option<f64>,
    /// For the plots.
    pub series: Series,
}

impl Motions {
    /// The input's sensor failed for a while, or the gearing between it and the outputs was out.
    /// Where it fell silent once, it may have missed edges anywhere: at the speed at which it falls
    /// silent it misses some.
    pub fn was_input_silent(&self, vehicle: &Vehicle) -> bool {
        let coupled = |p: &&Period| coupling(vehicle, p.engaged.mode) != Coupling::Neutral;
        self.periods.iter().filter(coupled).any(|p| p.input_silent_steps > 0)
    }
}

/// Folds the steps of a drive.
struct Folds<'a> {
    vehicle: &'a Vehicle,
    setup: &'a Setup,
    course: &'a Course,
    engaged: &'a [Engaged],
    by_hand: &'a [(i64, i64)],
    next: usize,
    current: Option<(Period, PeriodFold, CountedTwice)>,
    /// The step before, where the sensor of an output was silent in it.
    silence_us: Option<(i64, i64)>,
    agreement: [AgreementFold; 2],
    places: Option<PlacesFold>,
    mismatch: [MismatchFold; 3],
    fastest: [FastestFold; 2],
    steady: SteadyFold,
    shown: SteadyFold,
    plot: Plot,
    out: Motions,
}

/// The motion of a drive: one pass.
pub fn motions<S: Storage>(
    vehicle: &Vehicle,
    setup: &Setup,
    teeth: &[Tooth],
    course: &Course,
    stretches: &Stretches<'_>,
    (axis, mut bus): (Axis, Bus),
    reader: &mut CaptureReader<S>,
) -> Result<Motions, ReadError> {
    let sensors: Vec<Sensing> = teeth.iter().map(sensing).collect();
    let mut stepper = Stepper::new(&sensors, bus.rated());
    let mut folds = Folds {
        vehicle,
        setup,
        course,
        engaged: stretches.engaged,
        by_hand: &stretches.by_hand,
        next: 0,
        current: None,
        silence_us: None,
        agreement: [AgreementFold::new(setup, 0), AgreementFold::new(setup, 1)],
        places: PlacesFold::new(setup, vehicle.limits.sensor_ratio_percent),
        mismatch: [Sides::FrontRear, Sides::FrontLeftRight, Sides::RearLeftRight]
            .map(MismatchFold::new),
        fastest: Default::default(),
        steady: SteadyFold::default(),
        shown: SteadyFold::default(),
        plot: Plot::default(),
        out: Motions {
            periods: Vec::new(),
            agreement: [None, None],
            silent: [[0; 3]; 2],
            exchanged: None,
            mismatch: [None, None, None],
            prior: unseen(setup),
            straight_m: [0.0; 3],
            fastest: [None, None],
            steady: Vec::new(),
            shown: Vec::new(),
            distance_m: None,
            series: Series::default(),
        },
    };
    axis.pass(reader, |at_us, record, event| match event {
        Heard::Reset => stepper.restart(&mut |step| folds.take(step)),
        Heard::Frame { source, frame } => bus.hear(source, frame, |role, sample| {
            if let Role::Turns(k) = role {
                stepper.hear(at_us, record, k, sample.sound(), &mut |step| folds.take(step));
            }
        }),
        Heard::Counts { first_channel, counts } => {
            stepper.push(at_us, record, first_channel, &counts, &mut |step| folds.take(step));
        }
        _ => {}
    })?;
    stepper.restart(&mut |step| folds.take(step));
    Ok(folds.finish())
}

impl Folds<'_> {
    fn take(&mut self, step: &Step) {
        if self.by_hand.iter().any(|(from, to)| step.start_us < *to && step.end_us > *from) {
            return;
        }
        let silence_us = self.is_one_silent(step).then_some((step.start_us, step.end_us));
        let engaged = self.engaged_at(step, silence_us);
        let mode = engaged.map(|e| &self.vehicle.modes[e.mode]);
        let prefer = match mode.map(|m| m.coupling) {
            Some(Coupling::Locked) => Prefer::Course,
            _ => Prefer::Wheels,
        };
        let motion = self.setup.motion(step, self.course, prefer);
        // Turns of a wheel that hangs free are no way.
        if let Some(m) = motion.as_ref().filter(|_| self.standstill(step) != Standstill::Confirmed)
        {
            let metres = m.rear.turns * self.setup.metres_per_turn();
            *self.out.distance_m.get_or_insert(0.0) += metres;
        }
        if let (Some(m), Some(engaged)) = (&motion, engaged) {
            self.fold_period(m, engaged, step);
        }
        self.silence_us = silence_us;
        self.agreement.iter_mut().for_each(|a| a.push(step));
        if let Some(places) = &mut self.places {
            let middle_s = (step.start_us + step.end_us) as f64 * 5e-7;
            places.push(step, self.course.yaw_rate(middle_s).map(|y| y.rate));
        }
        let curvature = motion.as_ref().and_then(|m| {
            let excess = m.demanded[0] / (m.rear.turns * self.setup.declared_ratio()).max(1e-9);
            Some((m.curvature?, excess))
        });
        let coupling = mode.map(|m| m.coupling);
        for (axle, fold) in self.fastest.iter_mut().enumerate() {
            fold.push(step, self.setup.output(step, axle));
        }
        let rolls = coupling != Some(Coupling::Locked);
        let of = |place| step.at(place).filter(|_| rolls);
        self.steady.push(step, self.course, of(self.vehicle.sender_place()));
        self.shown.push(step, self.course, of(Place::Speedometer));
        for fold in &mut self.mismatch {
            fold.push(step, self.setup, curvature, coupling);
        }
        let range = mode.map_or(1.0, |m| self.range(m.range.as_str()));
        self.plot.take(step, motion.as_ref(), range);
    }

    /// The sensor of an output gave nothing while the other output turned, and no lifted wheel
    /// explains it.
    fn is_one_silent(&self, step: &Step) -> bool {
        let [Some(front), Some(rear)] = [0, 1].map(|axle| self.setup.output(step, axle)) else {
            return false;
        };
        is_one_silent(&front, &rear) && self.standstill(step) != Standstill::Confirmed
    }

    fn range(&self, name: &str) -> f64 {
        self.vehicle.ranges.get(name).copied().unwrap_or(1.0)
    }

    /// The period that holds the whole step, if one does; closes periods that are over. A sensor
    /// that is silent right after a period may have missed edges in its last step as well.
    fn engaged_at(&mut self, step: &Step, silence_us: Option<(i64, i64)>) -> Option<Engaged> {
        while self.engaged.get(self.next).is_some_and(|e| step.end_us > e.end_us) {
            if let (Some((_, fold, _)), Some((from, to))) = (&mut self.current, silence_us) {
                fold.silence(from, to);
            }
            self.close();
            self.next += 1;
        }
        self.engaged.get(self.next).filter(|e| step.start_us >= e.start_us).copied()
    }

    fn fold_period(&mut self, m: &Motion, engaged: Engaged, step: &Step) {
        let standstill = self.standstill(step);
        let range = self.range(&self.vehicle.modes[engaged.mode].range);
        let per_turn = self.setup.metres_per_turn();
        let locked_max = self.vehicle.limits.allowance_locked_max;
        let (period, fold, twice) = self.current.get_or_insert_with(|| {
            let period = Period {
                engaged,
                segments: Vec::new(),
                silent_steps: 0,
                input_silent_steps: 0,
                parted_turn: 0.0,
                miscounted_turn: 0.0,
                rear_turn: 0.0,
                front_turn: 0.0,
                input_turn: Some(0.0),
                records: RecordRange { first: m.records.0, last: m.records.1 },
            };
            let mut fold = PeriodFold::new(range, per_turn, locked_max);
            self.silence_us.iter().for_each(|(from, to)| fold.silence(*from, *to));
            (period, fold, CountedTwice::default())
        });
        twice.push(step, self.setup);
        period.rear_turn += m.rear.turns;
        period.front_turn += m.front.turns;
        period.input_turn = period.input_turn.zip(m.input).map(|(sum, i)| sum + i.turns / range);
        period.records.last = m.records.1;
        fold.push(m, standstill);
    }

    /// What other witnesses say about standing still in this step.
    fn standstill(&self, step: &Step) -> Standstill {
        let wheels = [Place::RearLeft, Place::RearRight].map(|p| step.at(p));
        if let [Some(left), Some(right)] = wheels {
            let still = left.still && right.still;
            if !still {
                return Standstill::Denied;
            }
            // A unit that sends zero under its floor speed does not confirm a standstill.
            if left.hidden() + right.hidden() == 0.0 {
                return Standstill::Confirmed;
            }
        }
        let middle_s = (step.start_us + step.end_us) as f64 * 5e-7;
        match self.course.speed_near(middle_s) {
            Some(v) if v < 0.4 => Standstill::Confirmed,
            Some(_) => Standstill::Denied,
            None => Standstill::Unknown,
        }
    }

    fn close(&mut self) {
        if let Some((mut period, mut fold, twice)) = self.current.take() {
            period.miscounted_turn = twice.finish();
            period.segments = fold.finish();
            period.silent_steps = fold.silent_steps;
            period.input_silent_steps = fold.input_silent_steps;
            period.parted_turn = fold.parted.most;
            self.out.periods.push(period);
        }
    }

    fn finish(mut self) -> Motions {
        self.close();
        let mut out = self.out;
        out.silent = [self.agreement[0].silent, self.agreement[1].silent];
        let [front, rear] = self.agreement;
        out.agreement = [front.finish(), rear.finish()];
        out.exchanged = self.places.and_then(PlacesFold::finish);
        for span_us in rear_only(self.vehicle, &out.periods) {
            self.mismatch.iter_mut().for_each(|fold| fold.was_rear_only(span_us));
        }
        for (k, fold) in self.mismatch.into_iter().enumerate() {
            out.straight_m[k] = fold.straight_m();
            out.mismatch[k] = fold.finish(self.setup, self.course);
        }
        if let Some(front_rear) = &out.mismatch[0] {
            out.prior = prior(self.setup, front_rear);
        }
        let open = open_center(self.vehicle, self.setup, &out);
        if let Some(front_rear) = &mut out.mismatch[0] {
            let front_mm = 1e3 * self.setup.circumference_m[0];
            let mm = -front_mm * self.setup.ratio[1] / self.setup.ratio[0];
            front_rear.undo_drag(&open, out.prior.mean, mm);
            out.prior = prior(self.setup, front_rear);
        }
        out.fastest = self.fastest.map(FastestFold::finish);
        out.steady = self.steady.finish();
        out.shown = self.shown.finish();
        out.series = self.plot.finish();
        out
    }
}

/// Standard uncertainty of the mismatch where no straight running showed it (common practice: a
/// wrong axle ratio or tyre size is off by a few percent).
const UNSEEN_MISMATCH_U: f64 = 0.02;

/// How far the mismatch of a turn may differ from that of straight running (drag of the steered
/// wheels; common practice).
const TURNING_MISMATCH_U: f64 = 0.0015;

/// The mismatch where no straight running has shown it.
fn unseen(setup: &Setup) -> MismatchPrior {
    let scale_u = setup.outputs_scale_u();
    let mean = setup.declared_ratio() - 1.0;
    MismatchPrior { mean, u: UNSEEN_MISMATCH_U.hypot(scale_u), scale: (0.0, scale_u) }
}

fn prior(setup: &Setup, front_rear: &Mismatch) -> MismatchPrior {
    let front_mm = 1e3 * setup.circumference_m[0];
    let circumferences = 1.0 - front_rear.difference_mm.value / front_mm;
    let mean = setup.ratio[0] / setup.ratio[1] * circumferences - 1.0;
    // How fast the outputs turn against each other was seen; how much of that is the scale of a
    // unit was not. Both were known beforehand, and share what was found by their variances.
    let (own, units): (Vec<_>, Vec<_>) =
        front_rear.difference_mm.components.iter().partition(|c| c.name != "signal scale");
    let u = own.iter().map(|c| c.u * c.u).sum::<f64>().sqrt() / front_mm;
    let u = u.hypot(TURNING_MISMATCH_U);
    let (seen_u, scale_u) =
        (units.iter().map(|c| c.u).sum::<f64>() / front_mm, setup.outputs_scale_u());
    if seen_u == 0.0 || scale_u == 0.0 {
        // It was seen with another ruler than the outputs are measured with.
        let u = u.hypot(seen_u).hypot(scale_u);
        return MismatchPrior { mean, u, scale: (0.0, scale_u) };
    }
    let found = mean - (setup.declared_ratio() - 1.0);
    let of_scale = scale_u.powi(2) / (scale_u.powi(2) + UNSEEN_MISMATCH_U.powi(2));
    let shared_u = scale_u * UNSEEN_MISMATCH_U / scale_u.hypot(UNSEEN_MISMATCH_U);
    let left = shared_u.hypot(of_scale * u);
    MismatchPrior { mean, u, scale: (of_scale * found, left) }
}

/// Spans of the periods in which the input turned with the rear output alone, whatever the other
/// did: the front was not driven.
fn rear_only(vehicle: &Vehicle, periods: &[Period]) -> Vec<(i64, i64)> {
    let backlash = vehicle.limits.backlash_turn;
    let share = |p: &Period| front_share(&p.segments, backlash).filter(|_| !p.was_silent());
    let surely = |e: Estimate| e.value.abs() + 3.0 * e.u() < RELEASED_SHARE;
    let alone = periods.iter().filter(|p| share(p).is_some_and(surely));
    alone.map(|p| (p.engaged.start_us, p.engaged.end_us)).collect()
}

/// A front whose share is smaller than this is called released (common practice).
pub const RELEASED_SHARE: f64 = 0.15;

/// How far an open center differential that was not watched in a turn may be from free: it is
/// called open from 0.7 to 1.3 (common practice), rectangular.
const UNSEEN_ALLOWANCE_U: f64 = 0.3 / 1.732_050_8;

/// What a tight turn asks for (common practice: 2 to 10 %).
const UNSEEN_DEMAND: f64 = 0.05;

/// The open center differential as measured in this drive; where it was not, or where it may have
/// been locked all the same, free or nearly so.
fn open_center(vehicle: &Vehicle, setup: &Setup, out: &Motions) -> OpenCenter {
    let open =
        out.periods.iter().filter(|p| coupling(vehicle, p.engaged.mode) == Coupling::Differential);
    let fits =
        open.filter_map(|p| Some((p.allowance(vehicle.limits.backlash_turn, out.prior)?, p)));
    let locked_max = vehicle.limits.allowance_locked_max;
    let parts = |a: &Estimate| a.value - 2.0 * a.u() > locked_max;
    let best = fits
        .filter(|f| parts(&f.0.allowance))
        .min_by(|a, b| a.0.allowance.u().total_cmp(&b.0.allowance.u()));
    let Some((found, period)) = best else {
        return OpenCenter {
            allowance: 1.0,
            u: UNSEEN_ALLOWANCE_U,
            at_mps: 2.0,
            demand: UNSEEN_DEMAND,
        };
    };
    let turning = period.segments.iter().filter(|s| s.demanded[0] > 0.1);
    let (turns, seconds, demanded) = turning.fold((0.0, 0.0, 0.0), |sum, s| {
        (sum.0 + s.rear, sum.1 + s.seconds(), sum.2 + s.demanded[0])
    });
    OpenCenter {
        allowance: found.allowance.value,
        u: found.allowance.u(),
        at_mps: turns * setup.metres_per_turn() / f64::max(seconds, 1e-3),
        demand: if turns > 0.0 { demanded / turns } else { UNSEEN_DEMAND },
    }
}

/// Coupling of a mode row.
pub fn coupling(vehicle: &Vehicle, mode: usize) -> Coupling {
    vehicle.modes[mode].coupling
}
