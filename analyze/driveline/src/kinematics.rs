//! Relations of turning parts: differentials, wheels on a curve, slip.
//!
//! Turns and speeds are signed: forward is positive. A counter has no sign, so whoever feeds
//! counts to these functions must know that everything moved forward.

/// Turns of the input of a differential from those of its outputs, `a` being the torque share of
/// the front (or first) output: `N_in = a N_F + (1 - a) N_R`.
///
/// The speed weights are the torque shares, because power in equals power out whatever the
/// outputs do. It holds for a bevel set (`a` = 0.5: Theory of Machines texts), for a planetary set
/// with single planets and the input on the carrier, and for double planets with the input on the
/// ring (Willis equation), with the share of [`Center::front_share`].
///
/// [`Center::front_share`]: crate::vehicle::Center::front_share
///
/// ```
/// use wheelwitness_driveline::kinematics::input_turns;
/// assert_eq!(input_turns(0.5, 1010.0, 1000.0), 1005.0);
/// ```
pub fn input_turns(front_share: f64, front: f64, rear: f64) -> f64 {
    front_share * front + (1.0 - front_share) * rear
}

/// Turns of the front output, see [`input_turns`]. With the input held (0) the outputs turn
/// opposite ways.
///
/// ```
/// use wheelwitness_driveline::kinematics::front_turns;
/// assert_eq!(front_turns(0.5, 0.0, 100.0), -100.0);
/// ```
pub fn front_turns(front_share: f64, input: f64, rear: f64) -> f64 {
    (input - (1.0 - front_share) * rear) / front_share
}

/// Turns of the rear output, see [`input_turns`].
pub fn rear_turns(front_share: f64, input: f64, front: f64) -> f64 {
    (input - front_share * front) / (1.0 - front_share)
}

/// How many times faster than in normal driving a lifted front wheel turns with the center
/// differential open and the rear output at rest: `2 / a`. A sender on the rear output then reads
/// zero, so nobody may judge this by the dial.
///
/// ```
/// use wheelwitness_driveline::kinematics::lifted_wheel_factor;
/// assert_eq!((lifted_wheel_factor(0.5), lifted_wheel_factor(0.4)), (4.0, 5.0));
/// ```
pub fn lifted_wheel_factor(front_share: f64) -> f64 {
    2.0 / front_share
}

/// Which wheels turn while the engine drives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turning {
    /// All alike: normal driving straight on.
    All,
    /// One wheel of each axle, the center locked; their partners stand.
    OneLocked,
    /// One front wheel, the center differential open; the rear output and the partner stand.
    OneFront,
    /// One rear wheel, the center differential open; the front output and the partner stand.
    OneRear,
}

/// Turns of shafts, and of the wheel that turns fastest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turns {
    /// Front propeller shaft.
    pub front_shaft: f64,
    /// Rear propeller shaft: what a sender on the rear output sees.
    pub rear_shaft: f64,
    /// The wheel that turns, or any of them in normal driving.
    pub wheel: f64,
}

/// What turns how fast for so many turns of the case input in high range, with bevel axle
/// differentials of one ratio and torque share `a` of the front output.
///
/// ```
/// use wheelwitness_driveline::kinematics::{Turning, turning};
/// let lone = turning(Turning::OneFront, 0.5, 820.0, 4.1);
/// assert_eq!((lone.front_shaft, lone.rear_shaft), (1640.0, 0.0));
/// assert!((lone.wheel - 800.0).abs() < 1e-9);
/// ```
pub fn turning(which: Turning, front_share: f64, input: f64, axle_ratio: f64) -> Turns {
    let [front_shaft, rear_shaft] = match which {
        Turning::All | Turning::OneLocked => [input, input],
        Turning::OneFront => [front_turns(front_share, input, 0.0), 0.0],
        Turning::OneRear => [0.0, rear_turns(front_share, input, 0.0)],
    };
    let case = front_shaft.max(rear_shaft) / axle_ratio;
    // The axle's own bevel differential has an even share.
    let wheel = if which == Turning::All { case } else { front_turns(0.5, case, 0.0) };
    Turns { front_shaft, rear_shaft, wheel }
}

/// A vehicle on a circle at walking pace: no slip, the turn centre on the line of the rear axle.
/// All lengths in one unit, usually metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circle {
    /// Wheelbase.
    pub wheelbase: f64,
    /// Track, the same at both axles.
    pub track: f64,
    /// Radius of the path of the rear axle's middle.
    pub radius: f64,
}

impl Circle {
    /// Radii of the inner and outer rear wheel.
    pub fn rear(&self) -> [f64; 2] {
        [self.radius - self.track / 2.0, self.radius + self.track / 2.0]
    }

    /// Radii of the inner and outer front wheel.
    pub fn front(&self) -> [f64; 2] {
        self.rear().map(|r| r.hypot(self.wheelbase))
    }

    /// Steering angles of the inner and outer front wheel in radians, without any slip angle
    /// (`cot outer - cot inner = track / wheelbase`; strictly the king-pin spacing).
    pub fn steering(&self) -> [f64; 2] {
        self.rear().map(|r| self.wheelbase.atan2(r))
    }

    /// Front shaft turns per rear shaft turn, both axle differentials open, all tyres and axle
    /// ratios alike: mean front radius over rear radius.
    ///
    /// ```
    /// use wheelwitness_driveline::kinematics::Circle;
    /// let circle = Circle { wheelbase: 2.8, track: 1.5, radius: 10.0 };
    /// assert!((circle.shaft_ratio() - 1.03866).abs() < 5e-6);
    /// ```
    pub fn shaft_ratio(&self) -> f64 {
        let [inner, outer] = self.front();
        (inner + outer) / (2.0 * self.radius)
    }

    /// The same by the single-track approximation, for rough estimates.
    pub fn single_track_ratio(&self) -> f64 {
        self.wheelbase.hypot(self.radius) / self.radius
    }
}

/// Longitudinal slip by SAE J670 and ISO 8855 (form from memory): `(spin - free) / free`, `free`
/// being the spin of the same wheel rolling freely at this speed. Driving is positive, a locked
/// wheel -1. There is no single definition of slip: say which one a number is. `None` at rest.
///
/// ```
/// use wheelwitness_driveline::kinematics::slip_j670;
/// assert_eq!(slip_j670(0.0, 27.8), Some(-1.0));
/// ```
pub fn slip_j670(spin: f64, free: f64) -> Option<f64> {
    (free != 0.0).then(|| (spin - free) / free)
}

/// Slip of a driven wheel over its tread speed (Wong, Theory of Ground Vehicles, from memory):
/// `(r w - v) / (r w)`. Smaller than [`slip_j670`]; `None` for a wheel that stands.
pub fn slip_driving(tread_speed: f64, ground_speed: f64) -> Option<f64> {
    (tread_speed != 0.0).then(|| (tread_speed - ground_speed) / tread_speed)
}

/// Slip of a braked wheel, positive (Wong, from memory): `(v - r w) / v`. `None` at rest.
pub fn slip_braking(tread_speed: f64, ground_speed: f64) -> Option<f64> {
    (ground_speed != 0.0).then(|| (ground_speed - tread_speed) / ground_speed)
}

/// Effective rolling radius from the free and the loaded one (textbook estimate, Jazar, Vehicle
/// Dynamics, from memory): a third of the deflection below the free radius. A roll-out is better.
pub fn rolling_radius(free: f64, loaded: f64) -> f64 {
    free - (free - loaded) / 3.0
}
