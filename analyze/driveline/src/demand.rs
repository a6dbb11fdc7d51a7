//! The demanded difference: what the road asks of the outputs, step by step.
//!
//! Had each axle rolled freely along its own path, the outputs would differ by
//! `i_F S_F / C_F - i_R S_R / C_R` turns. The *turn part* comes from the steered axle running
//! wider than the rear one; it is computed here for every step from the curvature of the path,
//! once with the declared numbers and once for each number that could be otherwise, so that every
//! later fit can be repeated with that number changed (GUM 5.1.3, sensitivities by difference).

use crate::course::Course;
use crate::pulse::Step;
use crate::rate::{Rated, Scale, rated};
use crate::turn::{PLACES, Turn, moved};
use crate::units::STANDARD_GRAVITY;
use crate::vehicle::{AxleKind, Place, Vehicle};

/// Outward side-slip angle of the rear axle per lateral acceleration, rad per g: the inverse of
/// the cornering stiffness per axle load, which lies between about 4 and 18 per radian for road
/// tyres (common practice).
pub const SIDE_SLIP_PER_G: f64 = 0.12;

/// Its standard uncertainty: a rectangular distribution of stiffness over that range.
pub const SIDE_SLIP_PER_G_U: f64 = 0.05;

/// Standard uncertainty of left against right circumference, relative (same-size tyres of one
/// axle, common practice).
pub const LEFT_RIGHT_U: f64 = 0.003;

/// A number of the demand that could be otherwise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doubt {
    /// Rear side slip.
    SideSlip,
    /// Wheelbase.
    Wheelbase,
    /// Front track.
    TrackFront,
    /// Rear track, where the curvature comes from the rear wheels.
    TrackRear,
    /// Left against right circumference of the wheels that tell the curvature.
    LeftRight,
    /// Rolling circumference, where the curvature comes from a course or a declared radius.
    Circumference,
    /// The declared radius.
    Radius,
}

/// All doubts with the component they are reported under.
pub const DOUBTS: [(Doubt, &str); 7] = [
    (Doubt::SideSlip, "side slip"),
    (Doubt::Wheelbase, "geometry"),
    (Doubt::TrackFront, "geometry"),
    (Doubt::TrackRear, "geometry"),
    (Doubt::LeftRight, "left/right tyres"),
    (Doubt::Circumference, "circumference"),
    (Doubt::Radius, "declared radius"),
];

/// Demanded turns as declared, then with each of [`DOUBTS`] moved by its standard uncertainty.
pub type Demanded = [f64; 1 + DOUBTS.len()];

/// The numbers of a vehicle that the demand rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Setup {
    /// Wheelbase, front and rear track, metres.
    pub lengths_m: [f64; 3],
    /// Standard uncertainty of each.
    pub length_u_m: f64,
    /// Axle ratios, front and rear.
    pub ratio: [f64; 2],
    /// Whether each axle's differential is open (and connected, as far as declared).
    pub open: [bool; 2],
    /// Rolling circumferences, front and rear, metres.
    pub circumference_m: [f64; 2],
    /// Relative standard uncertainty of the rear one.
    pub circumference_u: f64,
    /// Declared circle: radius and standard uncertainty, metres.
    pub declared_m: Option<(f64, f64)>,
    /// By place: the scale of the unit that sends its turns; None for counted edges.
    pub sent: [Option<Scale>; PLACES],
    /// What the front and the rear output are taken from: the shaft, or the wheels (their left one
    /// here) where it is not measured, or sent while they are counted.
    pub out: [Place; 2],
    /// Whether left against right rear wheel tells the curve: not where one of them counts edges
    /// that no tooth makes.
    pub rear_wheels_tell: bool,
}

fn is_front(place: Place) -> bool {
    matches!(place, Place::FrontShaft | Place::FrontLeft | Place::FrontRight)
}

fn sent(rated: &[Rated]) -> [Option<Scale>; PLACES] {
    let mut sent = [None; PLACES];
    rated.iter().for_each(|r| sent[r.place as usize] = Some(r.scale));
    sent
}

fn out(vehicle: &Vehicle, axle: usize) -> Place {
    let (shaft, wheels) = Place::AXLES[axle];
    let axles = [&vehicle.axles.front, &vehicle.axles.rear];
    let open = matches!(axles[axle].kind, AxleKind::Open | AxleKind::Disconnect);
    let counted = |p: Place| vehicle.sensor(p).is_some();
    let by_wheels = open && wheels.into_iter().all(counted) && !counted(shaft);
    if vehicle.is_measured(shaft) && !by_wheels { shaft } else { wheels[0] }
}

/// Where a curvature came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CurvatureSource {
    /// Rear wheel counts.
    RearWheels,
    /// Course over ground.
    Course,
    /// A circle declared in the vehicle file.
    Declared,
}

/// A curvature as one source has it.
#[derive(Debug, Clone, Copy)]
struct Curve {
    kappa: f64,
    u: f64,
    source: CurvatureSource,
    /// Window of a slope, seconds; 0 for other sources.
    window_s: f64,
}

impl Curve {
    /// The curvature whose square is what is left of this one's without its noise: demand goes
    /// with the square, and noise adds to a square.
    fn without_noise(&self) -> f64 {
        let square = self.kappa.powi(2) - self.u.powi(2);
        self.kappa.signum() * square.max(0.0).sqrt()
    }
}

/// One step as the driveline sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct Motion {
    /// Board time, microseconds.
    pub start_us: i64,
    /// Board time at the end, microseconds.
    pub end_us: i64,
    /// Raw records.
    pub records: (u64, u64),
    /// Front output turns with variances of its ends.
    pub front: Turn,
    /// Rear output turns.
    pub rear: Turn,
    /// Case input turns, undivided by the range ratio.
    pub input: Option<Turn>,
    /// Curvature of the path of the rear axle's middle, 1/m, positive to the right.
    pub curvature: Option<f64>,
    /// Its standard uncertainty, 1/m.
    pub curvature_u: f64,
    /// Where it came from.
    pub source: Option<CurvatureSource>,
    /// Ground speed by the rear output, m/s.
    pub speed_mps: f64,
    /// Demanded turn part; zeros without a curvature.
    pub demanded: Demanded,
    /// Length of the window over which a course was smeared, seconds; 0 for other sources.
    pub smear_s: f64,
    /// Demanded turn part by the course, as a second opinion where `source` is another one.
    pub demanded_by_course: Option<f64>,
    /// Relative standard uncertainty of the scale of the input against the rear output.
    pub input_scale_u: f64,
    /// An output is the mean of two wheels, and one of them gave no edge while the other one and
    /// the other output turned on: its sensor was blind, or its brake held it.
    pub one_sided: bool,
}

impl Motion {
    /// Length in seconds.
    pub fn seconds(&self) -> f64 {
        (self.end_us - self.start_us) as f64 * 1e-6
    }

    /// What one output turned is no more than a unit may hide of the other one under its floor.
    pub fn is_under_floor(&self) -> bool {
        let hidden = self.front.hidden() + self.rear.hidden();
        self.front.turns.max(self.rear.turns) <= 1.5 * hidden
    }
}

/// The sensor of one output gave no edge in a step, while the other output turned by more than the
/// way from one of its edges to the next, or than its unit may hide.
pub fn is_one_silent(front: &Turn, rear: &Turn) -> bool {
    let (silent, other) = match (front.still, rear.still) {
        (true, false) => (front, rear),
        (false, true) => (rear, front),
        _ => return false,
    };
    other.turns > 1.5 * silent.edge.max(front.hidden() + rear.hidden())
}

/// Which source of curvature goes first where there are two.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Prefer {
    /// Wheel counts: precise while the tyres roll.
    Wheels,
    /// Course over ground: coarse, but true while the tyres of a locked driveline slide.
    Course,
}

/// So many edges of one wheel in a step, and the other one cannot have stood in a turn (common
/// practice: the inner wheel of the sharpest circle turns half as fast as the outer one).
const MANY_EDGES: f64 = 8.0;

impl Setup {
    /// The numbers of a vehicle file. A missing circumference is taken as 2.2 m within 10 percent.
    pub fn new(vehicle: &Vehicle) -> Self {
        let mm = &vehicle.geometry;
        let tyre = |t: &crate::vehicle::Tyre| t.circumference_mm().unwrap_or((2_200.0, 220.0));
        let (front, rear) = (tyre(&vehicle.tyres.front), tyre(&vehicle.tyres.rear));
        let open = |k: AxleKind| matches!(k, AxleKind::Open | AxleKind::Disconnect);
        Setup {
            lengths_m: [mm.wheelbase_mm, mm.track_front_mm, mm.track_rear_mm].map(|l| l / 1e3),
            length_u_m: mm.u_mm / 1e3,
            ratio: [vehicle.axles.front.ratio_value(), vehicle.axles.rear.ratio_value()],
            open: [open(vehicle.axles.front.kind), open(vehicle.axles.rear.kind)],
            circumference_m: [front.0 / 1e3, rear.0 / 1e3],
            circumference_u: rear.1 / rear.0,
            declared_m: vehicle.declared_circle.as_ref().map(|c| (c.radius_m, c.radius_u_m)),
            sent: sent(&rated(vehicle)),
            out: [out(vehicle, 0), out(vehicle, 1)],
            rear_wheels_tell: true,
        }
    }

    /// Relative standard uncertainty of the scale of one place against another: none between
    /// counted edges, nor within one unit on one axle.
    pub fn scale_u(&self, a: Place, b: Place) -> f64 {
        match (self.sent[a as usize], self.sent[b as usize]) {
            (Some(x), Some(y)) => x.against(y, is_front(a) == is_front(b)),
            (x, y) => x.or(y).map_or(0.0, |s| s.u),
        }
    }

    /// Turns of the front output that free rolling at the same distance gives per rear turn, as
    /// declared: `i_F C_R / (i_R C_F)`.
    pub fn declared_ratio(&self) -> f64 {
        self.ratio[0] * self.circumference_m[1] / (self.ratio[1] * self.circumference_m[0])
    }

    /// Metres per turn of the rear output.
    pub fn metres_per_turn(&self) -> f64 {
        self.circumference_m[1] / self.ratio[1]
    }

    /// The same of the front output against the rear one.
    pub fn outputs_scale_u(&self) -> f64 {
        self.scale_u(self.out[0], self.out[1])
    }

    /// An output is its shaft where that is measured. The wheels stand in for a shaft that is
    /// missing in a step only where they turn by the same scale.
    fn by_shaft(&self, step: &Step, axle: usize) -> bool {
        let (shaft, wheels) = Place::AXLES[axle];
        let alone = self.scale_u(shaft, wheels[0]) > 0.0;
        self.out[axle] == shaft && (step.at(shaft).is_some() || alone)
    }

    /// Turns of an output in a step: of its shaft, or of both wheels through an open axle.
    pub fn output(&self, step: &Step, axle: usize) -> Option<Turn> {
        let (shaft, wheels) = Place::AXLES[axle];
        if self.by_shaft(step, axle) {
            return step.at(shaft);
        }
        let mean = Turn::mean(step.at(wheels[0])?, step.at(wheels[1])?);
        self.open[axle].then(|| mean.times(self.ratio[axle]))
    }

    /// One wheel of an output that is the mean of two gave no edge while the other gave many.
    fn one_sided(&self, step: &Step, axle: usize) -> bool {
        let wheels = Place::AXLES[axle].1.map(|p| step.at(p));
        let [Some(left), Some(right)] = wheels else { return false };
        let moving = if left.still { right } else { left };
        let many = moving.edge > 0.0 && moving.turns > MANY_EDGES * moving.edge;
        many && left.still != right.still && !self.by_shaft(step, axle)
    }

    /// What a step says about both outputs; None while one of them is not measured.
    pub fn motion(&self, step: &Step, course: &Course, prefer: Prefer) -> Option<Motion> {
        let (front, rear) = (self.output(step, 0)?, self.output(step, 1)?);
        // Beside a wheel that hangs and turns its partner stands, and a unit says so by zero.
        let hangs = front.still || rear.still;
        let whole = front.is_whole() && rear.is_whole();
        if !hangs && !whole {
            return None;
        }
        let metres = rear.turns * self.metres_per_turn();
        let mut motion = Motion {
            start_us: step.start_us,
            end_us: step.end_us,
            records: step.records,
            front,
            rear,
            input: step.at(Place::Input).filter(Turn::is_whole),
            curvature: None,
            curvature_u: 0.0,
            source: None,
            speed_mps: metres / step.seconds(),
            demanded: [0.0; 1 + DOUBTS.len()],
            smear_s: 0.0,
            demanded_by_course: None,
            input_scale_u: self.scale_u(Place::Input, self.out[1]),
            one_sided: !front.still && !rear.still && (0..2).any(|axle| self.one_sided(step, axle)),
        };
        self.curve(step, course, metres, prefer, &mut motion);
        Some(motion)
    }

    fn curve(&self, step: &Step, course: &Course, metres: f64, prefer: Prefer, m: &mut Motion) {
        if m.rear.still || metres <= 0.0 {
            return;
        }
        let wheels = self.curve_by_wheels(step);
        let by_course = self.curve_by_course(step, course, metres);
        let found = match prefer {
            Prefer::Wheels => wheels.or(by_course),
            Prefer::Course => by_course.or(wheels),
        };
        let Some(curve) = found.or(self.curve_declared(course)) else { return };
        (m.curvature, m.curvature_u, m.source) = (Some(curve.kappa), curve.u, Some(curve.source));
        m.smear_s = curve.window_s;
        let kappa = curve.without_noise();
        m.demanded = self.demanded(kappa, curve.source, m.speed_mps, m.rear.turns, apart_u(step));
        m.demanded_by_course = by_course.filter(|c| c.source != curve.source).map(|other| {
            let ahead = SIDE_SLIP_PER_G * m.speed_mps.powi(2) / STANDARD_GRAVITY;
            let [wheelbase, track, _] = self.lengths_m;
            let excess = front_excess([wheelbase, track], other.without_noise(), ahead);
            self.declared_ratio() * m.rear.turns * excess
        });
    }

    fn curve_by_wheels(&self, step: &Step) -> Option<Curve> {
        let (left, right) = step.at(Place::RearLeft).zip(step.at(Place::RearRight))?;
        let mean = (left.turns + right.turns) / 2.0;
        let whole = left.is_whole() && right.is_whole() && !left.still && !right.still;
        if !self.open[1] || !self.rear_wheels_tell || !whole || mean <= 0.0 {
            return None;
        }
        let per = 1.0 / (mean * self.lengths_m[2]);
        let u = [left.u_start, left.u_end, right.u_start, right.u_end];
        let u = u.iter().map(|u| u * u).sum::<f64>().sqrt();
        let kappa = (left.turns - right.turns) * per;
        Some(Curve { kappa, u: u * per, source: CurvatureSource::RearWheels, window_s: 0.0 })
    }

    fn curve_by_course(&self, step: &Step, course: &Course, metres: f64) -> Option<Curve> {
        let middle_s = (step.start_us + step.end_us) as f64 * 5e-7;
        let yaw = course.yaw_rate(middle_s)?;
        let per_metre = step.seconds() / metres;
        Some(Curve {
            kappa: yaw.rate * per_metre,
            u: yaw.u * per_metre,
            source: CurvatureSource::Course,
            window_s: yaw.window_s,
        })
    }

    fn curve_declared(&self, course: &Course) -> Option<Curve> {
        let (radius, _) = self.declared_m.filter(|_| course.is_empty())?;
        let (kappa, source) = (1.0 / radius, CurvatureSource::Declared);
        Some(Curve { kappa, u: 0.0, source, window_s: 0.0 })
    }

    /// Demanded turn part of `rear` turns at a curvature, as declared and with each doubt moved.
    ///
    /// `apart_u` is how well left and right wheel turns are told apart, relative.
    fn demanded(
        &self,
        kappa: f64,
        source: CurvatureSource,
        v: f64,
        rear: f64,
        apart_u: f64,
    ) -> Demanded {
        let ahead = |q: f64| q * v * v / STANDARD_GRAVITY;
        let [l, front, back] = self.lengths_m;
        let u = self.length_u_m;
        let scale = self.declared_ratio() * rear;
        let turn = |l: f64, front: f64, kappa: f64, q: f64| {
            scale * front_excess([l, front], kappa, ahead(q))
        };
        let base = turn(l, front, kappa, SIDE_SLIP_PER_G);
        let with = |doubt: Doubt| match (doubt, source) {
            (Doubt::SideSlip, _) => turn(l, front, kappa, SIDE_SLIP_PER_G + SIDE_SLIP_PER_G_U),
            (Doubt::Wheelbase, _) => turn(l + u, front, kappa, SIDE_SLIP_PER_G),
            (Doubt::TrackFront, _) => turn(l, front + u, kappa, SIDE_SLIP_PER_G),
            (Doubt::TrackRear, CurvatureSource::RearWheels) => {
                turn(l, front, kappa * back / (back + u), SIDE_SLIP_PER_G)
            }
            (Doubt::LeftRight, CurvatureSource::RearWheels) => {
                turn(l, front, kappa + LEFT_RIGHT_U.hypot(apart_u) / back, SIDE_SLIP_PER_G)
            }
            (Doubt::Circumference, CurvatureSource::Course) => {
                turn(l, front, kappa / (1.0 + self.circumference_u), SIDE_SLIP_PER_G)
            }
            (Doubt::Radius, CurvatureSource::Declared) => {
                let (radius, u) = self.declared_m.unwrap_or((1.0, 0.0));
                turn(l, front, kappa * radius / (radius + u), SIDE_SLIP_PER_G)
            }
            _ => base,
        };
        let mut all = [base; 1 + DOUBTS.len()];
        for (slot, (doubt, _)) in all[1..].iter_mut().zip(DOUBTS) {
            *slot = with(doubt);
        }
        all
    }
}

/// Relative standard uncertainty of left against right rear wheel turns from what units round, or
/// send at other times.
fn apart_u(step: &Step) -> f64 {
    let Some((left, right)) = step.at(Place::RearLeft).zip(step.at(Place::RearRight)) else {
        return 0.0;
    };
    let apart = moved(&left, &right).iter().map(|m| m * m).sum::<f64>().sqrt();
    apart / ((left.turns + right.turns) / 2.0).max(1e-6)
}

/// How much wider the mean of the front wheels runs than that of the rear ones, as a share:
/// wheelbase and front track in metres, curvature in 1/m, turn centre `ahead` metres before the
/// rear axle.
///
/// The turn centre lies at the lateral distance `R` of the rear axle's middle, moved forward by
/// `R alpha = q v^2 / g` because the rear axle points outward by its side-slip angle; the front
/// wheels run on radii `sqrt((L - x)^2 + (R -+ T/2)^2)` (plane geometry).
///
/// ```
/// use wheelwitness_driveline::demand::front_excess;
/// // Wheelbase 2.8 m, track 1.5 m, radius 6 m, no side slip: 10.481 % (worked by hand).
/// assert!((front_excess([2.8, 1.5], 1.0 / 6.0, 0.0) - 0.10481).abs() < 1e-5);
/// ```
pub fn front_excess([wheelbase, track]: [f64; 2], curvature: f64, ahead: f64) -> f64 {
    let k = curvature.abs();
    if k < 1e-9 {
        return 0.0;
    }
    let wheel = |side: f64| (k * (wheelbase - ahead)).hypot(1.0 + side * k * track / 2.0);
    (wheel(1.0) + wheel(-1.0)) / 2.0 - 1.0
}
