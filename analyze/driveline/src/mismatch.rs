//! Do the rolling circumferences match? Front against rear, and left against right.
//!
//! In straight, steady running the ratio of front to rear wheel turns is `C_R / C_F`. Drive torque
//! adds slip, so the ratio is taken at zero traction: acceleration, rolling resistance and drag
//! are a column of the fit, and the intercept is what is reported.

use crate::course::Course;
use crate::demand::Setup;
use crate::pulse::Step;
use crate::quantity::{Component, Estimate};
use crate::segment::STRAIGHT_PER_M;
use crate::stats::least_squares;
use crate::turn::{MOVED, MOVED_NAMES, Turn, moved};
use crate::vehicle::{Coupling, Place};

/// Rolling resistance as an acceleration, m/s^2 (common practice: 1 to 2 % of weight).
const RESISTANCE_MPS2: f64 = 0.15;
/// How well that is known, m/s^2: a grade counts alike, and ordinary roads have 1 to 2 % (common
/// practice).
pub const RESISTANCE_U_MPS2: f64 = 0.17;

/// Air drag as an acceleration per speed squared, 1/m (common practice: drag area 1.1 m^2 on
/// 1.9 t).
const DRAG_PER_M: f64 = 0.00035;

/// Slope of front less rear slip on traction, per m/s^2, and how well it is known beforehand: with
/// the drive shared the two slips nearly cancel, with the rear axle driven alone it slips by 0.2 to
/// 0.3 % per m/s^2 on hard ground and more on soft tyres or loose ground (common practice).
const SLOPES: [(Coupling, f64, f64); 2] =
    [(Coupling::Differential, 0.0, 0.002), (Coupling::RearOnly, -0.004, 0.004)];

/// How differently the left and the right tyre slip under the same torque, as a share of the slip
/// (common practice: tyre stiffness within a fifth).
const LEFT_RIGHT_SHARE_U: f64 = 0.2;

/// Slip of an axle per m/s^2 where it drives alone (root mean square of 0.4 +- 0.4 %, see
/// [`SLOPES`]), where it drives with the other one, and where it rolls freely.
const SLIP_ALONE: f64 = 0.0057;
const SLIP_SHARED: f64 = 0.0029;
const SLIP_FREE: f64 = 0.0005;

/// Longest row, metres.
const ROW_M: f64 = 60.0;

/// Least straight running that says anything, metres.
pub const STRAIGHT_MIN_M: f64 = 100.0;

/// Slowing down by more than this is braking, m/s^2: the brakes share themselves otherwise than the
/// driveline does, and such steps are left out.
const BRAKING_MPS2: f64 = 0.6;

/// Slower running is left out, m/s.
const SPEED_MIN_MPS: f64 = 1.5;

#[derive(Debug, Clone, Default)]
struct Row {
    end_us: i64,
    a: f64,
    b: f64,
    metres: f64,
    turn_part: f64,
    traction: f64,
    first_u2: f64,
    last_u2: f64,
    coupling: Option<Coupling>,
    first_speed: f64,
    last_speed: f64,
    start_us: i64,
    records: (u64, u64),
    moved: [f64; MOVED],
    scale_u: f64,
}

// The turn part of a stretch this straight is below 0.4 mm of circumference and taken off; what is
// not known of it is below 0.1 mm and no component.

/// Which two sides are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sides {
    /// Front axle against rear axle.
    FrontRear,
    /// Left against right wheel of the front axle.
    FrontLeftRight,
    /// Left against right wheel of the rear axle.
    RearLeftRight,
}

/// Folds straight running into rows for one comparison.
#[derive(Debug, Clone)]
pub struct MismatchFold {
    sides: Sides,
    open: Option<Row>,
    rows: Vec<Row>,
    before: Option<(i64, f64)>,
}

/// What a comparison says.
#[derive(Debug, Clone, PartialEq)]
pub struct Mismatch {
    /// Circumference of the first side less that of the second, millimetres.
    pub difference_mm: Estimate,
    /// Straight running it rests on, metres.
    pub straight_m: f64,
    /// Share of it that was driven through the center differential, whose drag hides a part.
    pub through_differential: f64,
    /// Mean speed of that share, m/s.
    pub differential_mps: f64,
    /// First and last instant, board microseconds.
    pub span_us: (i64, i64),
    /// First and last raw record.
    pub records: (u64, u64),
}

const ROWS_MAX: usize = 8192;

impl Mismatch {
    /// Puts back what the drag of the center differential hides: friction between the outputs
    /// holds back a share of any difference, a larger one at speed. `seen` is by how much more than
    /// the rear output the front one was seen to turn when straight, relative; `mm` is what one of
    /// that means in [`Self::difference_mm`].
    ///
    /// In the turn the outputs should have parted by the demand `d` and the whole mismatch
    /// `M = seen (1 + f k)`, and parted by `C (1 + f)` less friction, `C = y (d + seen)`; so the
    /// friction in the turn is `f = (1/y - 1) / (1 - k seen / C)`, with `k` by how much faster the
    /// straight was driven. A drag that this does not show for certain, or from next to nothing
    /// that is left to tell it, is a doubt only.
    pub fn undo_drag(&mut self, open: &OpenCenter, seen: f64, mm: f64) {
        let k = self.differential_mps / open.at_mps.max(0.5) * self.through_differential;
        let y = open.allowance.max(0.05);
        let parted = y * (open.demand + seen);
        let left = if parted > 0.0 { 1.0 - k * seen / parted } else { 1.0 };
        let tells = left > LEAST_LEFT;
        let left = left.max(LEAST_LEFT);
        let (friction, u) = ((1.0 / y - 1.0) / left, open.u / left);
        let is_shown = tells && friction > 2.0 * u;
        let hidden_mm = mm * seen * k;
        let unsure = if is_shown { 0.4 * friction } else { friction.max(0.0) };
        if is_shown {
            self.difference_mm.value += hidden_mm * friction;
        }
        let doubt = hidden_mm.abs() * unsure.hypot(u / 2.0);
        let component = Some(Component::shared("center drag", doubt)).filter(|c| c.u > 0.0);
        self.difference_mm.components.extend(component);
    }
}

/// How an open center differential was seen to let the outputs of a turn part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OpenCenter {
    /// Share let through; 1.
    pub allowance: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// Speed in the turn, m/s.
    pub at_mps: f64,
    /// By how much the turn asked the outputs to part for each turn of the rear one; 1.
    pub demand: f64,
}

/// What the mismatch leaves of the outputs' parting to tell a friction, at least: below, next to
/// nothing tells the two apart.
const LEAST_LEFT: f64 = 0.2;

impl MismatchFold {
    /// A fold for one comparison.
    pub fn new(sides: Sides) -> Self {
        MismatchFold { sides, open: None, rows: Vec::new(), before: None }
    }

    /// Takes one step in with the coupling that was engaged, if one was.
    pub fn push(
        &mut self,
        step: &Step,
        setup: &Setup,
        curvature: Option<(f64, f64)>,
        coupling: Option<Coupling>,
    ) {
        let straight = curvature.is_some_and(|(k, _)| k.abs() < STRAIGHT_PER_M);
        let free = matches!(coupling, Some(Coupling::Differential | Coupling::RearOnly));
        let usable = match self.sides {
            Sides::FrontRear => free && straight,
            _ => free || coupling == Some(Coupling::Locked),
        };
        let pair = self.pair(step, setup).filter(|_| usable);
        let Some(((a, b), metres)) = pair else { return self.cut() };
        let speed = metres / step.seconds();
        let before = self.before.replace((step.end_us, speed));
        let slowing =
            before.filter(|b| b.0 == step.start_us).map(|b| (b.1 - speed) / step.seconds());
        if slowing.is_some_and(|a| a > BRAKING_MPS2) {
            return self.cut();
        }
        if a.still
            || b.still
            || speed < SPEED_MIN_MPS
            || (self.sides != Sides::FrontRear && speed < 3.0)
        {
            return self.cut();
        }
        let continues = self.open.as_ref().is_some_and(|r| {
            r.end_us == step.start_us && r.coupling == coupling && r.metres < ROW_M
        });
        if !continues {
            self.cut();
        }
        let scale_u = self.scale_u(step, setup);
        let row = self.open.get_or_insert_with(|| Row {
            first_u2: a.u_start.powi(2) + b.u_start.powi(2),
            coupling,
            first_speed: speed,
            start_us: step.start_us,
            records: step.records,
            ..Row::default()
        });
        row.end_us = step.end_us;
        row.records.1 = step.records.1;
        row.a += a.turns;
        row.b += b.turns;
        row.metres += metres;
        row.turn_part += curvature.map_or(0.0, |(_, excess)| excess) * b.turns;
        row.traction += (RESISTANCE_MPS2 + DRAG_PER_M * speed * speed) * b.turns;
        row.last_u2 = a.u_end.powi(2) + b.u_end.powi(2);
        row.first_u2 += a.between() + b.between();
        row.moved.iter_mut().zip(moved(&a, &b)).for_each(|(sum, m)| *sum += m);
        row.scale_u = scale_u;
        row.last_speed = speed;
        if row.metres >= ROW_M {
            self.cut();
        }
    }

    /// The two sides in turns of their wheels, and metres run.
    fn pair(&self, step: &Step, setup: &Setup) -> Option<((Turn, Turn), f64)> {
        let whole = |p: Place| step.at(p).filter(|t| t.is_whole() && !t.is_unseen());
        let wheels = |l: Place, r: Place| Some((whole(l)?, whole(r)?));
        // A wheel that stands while the other one turns is no straight running.
        let both = |l: Turn, r: Turn| Turn { still: l.still || r.still, ..Turn::mean(l, r) };
        let front = wheels(Place::FrontLeft, Place::FrontRight);
        let rear = wheels(Place::RearLeft, Place::RearRight);
        let (a, b) = match self.sides {
            Sides::FrontLeftRight => front?,
            Sides::RearLeftRight => rear?,
            Sides::FrontRear => match (front, rear) {
                (Some((fl, fr)), Some((rl, rr))) if by_wheels(step) => (both(fl, fr), both(rl, rr)),
                _ => (
                    whole(Place::FrontShaft)?.times(1.0 / setup.ratio[0]),
                    whole(Place::RearShaft)?.times(1.0 / setup.ratio[1]),
                ),
            },
        };
        let circumference = setup.circumference_m[usize::from(self.sides != Sides::FrontLeftRight)];
        Some(((a, b), b.turns * circumference))
    }

    fn cut(&mut self) {
        let Some(mut row) = self.open.take() else { return };
        if row.metres >= ROW_M / 4.0 && self.rows.len() < ROWS_MAX {
            let gained = (row.last_speed.powi(2) - row.first_speed.powi(2)) / 2.0;
            row.traction += gained * row.b / row.metres;
            self.rows.push(row);
        }
    }

    /// In this stretch the front was not driven, whatever the mode: the rear axle slipped alone.
    pub fn was_rear_only(&mut self, (from_us, to_us): (i64, i64)) {
        self.cut();
        let within = |r: &&mut Row| r.start_us >= from_us && r.end_us <= to_us;
        let open = |r: &&mut Row| r.coupling == Some(Coupling::Differential);
        for row in self.rows.iter_mut().filter(within).filter(open) {
            row.coupling = Some(Coupling::RearOnly);
        }
    }

    /// Straight running so far, metres.
    pub fn straight_m(&self) -> f64 {
        self.rows.iter().map(|r| r.metres).sum()
    }

    /// The comparison; None below [`STRAIGHT_MIN_M`] or, left against right, without a course.
    pub fn finish(mut self, setup: &Setup, course: &Course) -> Option<Mismatch> {
        self.cut();
        if self.sides != Sides::FrontRear {
            self.rows.retain(|r| turned(r, course).is_some());
        }
        let (straight_m, n) = (self.straight_m(), self.rows.len());
        if straight_m < STRAIGHT_MIN_M || n < 2 {
            return None;
        }
        let (ratio, mut components) = match self.sides {
            Sides::FrontRear => self.front_rear()?,
            Sides::FrontLeftRight => self.left_right(setup.lengths_m[1], course)?,
            Sides::RearLeftRight => self.left_right(setup.lengths_m[2], course)?,
        };
        components.extend(self.units());
        let axle = usize::from(self.sides == Sides::RearLeftRight);
        let mm = setup.circumference_m[axle] * 1e3;
        // More turns over the same road: a smaller circumference.
        let difference_mm = Estimate {
            name: "circumference difference".into(),
            value: -ratio * mm,
            unit: "mm".into(),
            components: components
                .into_iter()
                .map(|c| Component { u: c.u * mm, ..c })
                .filter(|c| c.u > 0.0)
                .collect(),
        };
        let (first, last) = (&self.rows[0], &self.rows[n - 1]);
        let open = self.rows.iter().filter(|r| r.coupling == Some(Coupling::Differential));
        let (metres, seconds) = open.fold((0.0, 0.0), |sum, r| {
            (sum.0 + r.metres, sum.1 + (r.end_us - r.start_us) as f64 * 1e-6)
        });
        Some(Mismatch {
            through_differential: metres / straight_m,
            differential_mps: if seconds > 0.0 { metres / seconds } else { 0.0 },
            difference_mm,
            straight_m,
            span_us: (first.start_us, last.end_us),
            records: (first.records.0, last.records.1),
        })
    }

    /// Scale of one side against the other, where units of their own send them.
    fn scale_u(&self, step: &Step, setup: &Setup) -> f64 {
        match self.sides {
            Sides::FrontLeftRight => setup.scale_u(Place::FrontLeft, Place::FrontRight),
            Sides::RearLeftRight => setup.scale_u(Place::RearLeft, Place::RearRight),
            Sides::FrontRear => {
                if by_wheels(step) {
                    setup.scale_u(Place::FrontLeft, Place::RearLeft)
                } else {
                    setup.scale_u(Place::FrontShaft, Place::RearShaft)
                }
            }
        }
    }

    /// What units leave open of the ratio, relative: it is alike in all rows.
    fn units(&self) -> Vec<Component> {
        let turns: f64 = self.rows.iter().map(|r| r.b).sum();
        let scale = self.rows.iter().map(|r| r.scale_u).fold(0.0, f64::max);
        let mut components = vec![Component::shared("signal scale", scale)];
        for (k, name) in MOVED_NAMES.iter().enumerate() {
            let u = self.rows.iter().map(|r| r.moved[k]).sum::<f64>() / turns;
            Component::gather(&mut components, name, u);
        }
        components
    }

    fn front_rear(&self) -> Option<(f64, Vec<Component>)> {
        let design = |r: &Row| {
            let slope = |k: usize| if r.coupling == Some(SLOPES[k].0) { r.traction } else { 0.0 };
            vec![r.b, slope(0), slope(1)]
        };
        let mut x: Vec<Vec<f64>> = self.rows.iter().map(design).collect();
        let mut y: Vec<f64> = self.rows.iter().map(|r| r.a - r.b - r.turn_part).collect();
        let mut sd: Vec<f64> = self
            .rows
            .iter()
            .map(|r| (r.first_u2 + r.last_u2 + (2e-4 * r.b).powi(2)).sqrt())
            .collect();
        for (k, (_, slope, u)) in SLOPES.iter().enumerate() {
            let mut row = vec![0.0; 3];
            row[k + 1] = 1.0;
            x.push(row);
            y.push(*slope);
            sd.push(*u);
        }
        let fit = least_squares(&x, &y, &sd)?;
        let total: f64 = self.rows.iter().map(|r| r.b).sum();
        let slope: f64 = SLOPES
            .iter()
            .zip(&fit.beta[1..])
            .map(|((coupling, ..), beta)| {
                let rows = self.rows.iter().filter(|r| r.coupling == Some(*coupling));
                beta * rows.map(|r| r.b).sum::<f64>() / total
            })
            .sum();
        let dof = self.rows.len() as f64 - 2.0;
        let u = fit.covariance[0][0].sqrt();
        let birge = (fit.chi2 / dof.max(1.0) - 1.0).max(0.0).sqrt();
        Some((
            fit.beta[0],
            vec![
                Component::own("counting", u),
                Component::from_few("scatter", u * birge, dof),
                Component::shared("traction", RESISTANCE_U_MPS2 * slope.abs().max(0.0005)),
            ],
        ))
    }

    /// Slip of the axle in these rows, as a root mean square over what is not known of it.
    fn slip(&self) -> f64 {
        let slope = |r: &Row| match (r.coupling, self.sides) {
            (Some(Coupling::RearOnly), Sides::RearLeftRight) => SLIP_ALONE,
            (Some(Coupling::RearOnly), _) => SLIP_FREE,
            _ => SLIP_SHARED,
        };
        let (mut known, mut unknown, mut turns) = (0.0, 0.0, 0.0);
        for r in &self.rows {
            known += slope(r) * r.traction;
            unknown += slope(r) * RESISTANCE_U_MPS2 * r.b;
            turns += r.b;
        }
        f64::hypot(known, unknown) / turns
    }

    /// Left less right, with what the course says the path turned taken off.
    fn left_right(&self, track_m: f64, course: &Course) -> Option<(f64, Vec<Component>)> {
        let (mut sum, mut weights) = (0.0, 0.0);
        let mut each = Vec::new();
        for row in &self.rows {
            let (angle, u_angle) = turned(row, course)?;
            let metres = row.metres;
            let mean = (row.a + row.b) / 2.0;
            let value = (row.a - row.b) / mean - track_m * angle / metres;
            let u2 =
                (track_m * u_angle / metres).powi(2) + (row.first_u2 + row.last_u2) / mean.powi(2);
            sum += value / u2;
            weights += 1.0 / u2;
            each.push((value, u2));
        }
        let mean = sum / weights;
        let dof = each.len() as f64 - 1.0;
        let chi2: f64 = each.iter().map(|(v, u2)| (v - mean).powi(2) / u2).sum();
        let u = (1.0 / weights).sqrt();
        let birge = (chi2 / dof.max(1.0) - 1.0).max(0.0).sqrt();
        let angle: f64 = self.rows.iter().filter_map(|r| turned(r, course)).map(|t| t.0).sum();
        let metres: f64 = self.straight_m();
        Some((
            mean,
            vec![
                Component::own("course", u),
                Component::from_few("scatter", u * birge, dof),
                Component::shared("traction", LEFT_RIGHT_SHARE_U * self.slip()),
                Component::shared("geometry", 0.01 * track_m * angle.abs() / metres),
            ],
        ))
    }
}

/// Front against rear is compared by the wheels where all are measured, unless some of them are
/// sent and both shafts are counted.
fn by_wheels(step: &Step) -> bool {
    let counted = |p: Place| step.at(p).is_some_and(|t| t.sent.is_none());
    let shafts_counted = counted(Place::FrontShaft) && counted(Place::RearShaft);
    Place::WHEELS.iter().all(|p| step.at(*p).is_some())
        && (Place::WHEELS.into_iter().all(counted) || !shafts_counted)
}

/// Angle that the path turned to the right over a row, by the course, and its uncertainty.
fn turned(row: &Row, course: &Course) -> Option<(f64, f64)> {
    let (from, to) = (row.start_us as f64 * 1e-6, row.end_us as f64 * 1e-6);
    let (a, b) = (course.at(from)?, course.at(to)?);
    let angle = b.0 - a.0;
    let straight = (angle / row.metres).abs() < 4.0 * STRAIGHT_PER_M;
    (course.unbroken(from, to) && straight).then(|| (angle, a.1.hypot(b.1)))
}
