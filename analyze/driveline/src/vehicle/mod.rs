//! The vehicle description: what a vehicle file says, as plain types.
//!
//! The file is TOML with `format = 1`, `2` or `3`, unit-suffixed keys with underscores, words of
//! ours as values with hyphens (`rear-only`), and no unknown keys. These types are
//! exactly the file's shape; what follows from them (circumference of a size designation, share
//! of a planetary set) are methods, so that every user of the file gets the same number.

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

mod signals;
mod shafts;
mod speedometer;
mod derived;
mod mistake;
mod schema;
mod shape;
mod checks;
mod read;
mod template;
mod fit;

pub use derived::{Line, MEASURED_CIRCUMFERENCE_U, Origin};
pub use fit::{Ability, ClaimFit, fit_text, note_text};
pub use mistake::{Mistake, NEWEST_FORMAT, VehicleError};
pub use shafts::{Shaft, Shafts, Stock};
pub use signals::{ByteOrder, LockField, Measures, Message, Signal};
pub use speedometer::{SpeedRule, Speedometer};
pub use template::new_vehicle_text;

/// Most switches that are followed: inputs of a board, and states on a bus.
pub const LINES_MAX: usize = 32;

/// A whole vehicle file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Vehicle {
    /// Version of the vehicle file format; this program reads 1 to 3.
    pub format: u32,
    /// What people call the vehicle.
    pub name: String,
    /// Wheelbase and tracks.
    pub geometry: Geometry,
    /// Front and rear tyres.
    pub tyres: Pair<Tyre>,
    /// Front and rear axles.
    pub axles: Pair<Axle>,
    /// Range name to ratio (input turns per turn that drives the center differential).
    pub ranges: BTreeMap<String, f64>,
    /// The center differential.
    pub center: Center,
    /// The modes, in the order of the selector.
    #[serde(default)]
    pub modes: Vec<Mode>,
    /// What is declared about being between modes.
    #[serde(default)]
    pub transit: Transit,
    /// Switch inputs of the pulse board.
    #[serde(default)]
    pub switches: Vec<Switch>,
    /// Conditions under which the unit refuses a selection.
    #[serde(default)]
    pub interlocks: Vec<Interlock>,
    /// Pulse sensors.
    #[serde(default)]
    pub sensors: Vec<Sensor>,
    /// Quantities that units of the vehicle send on a CAN bus (format 2).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub signals: Vec<Signal>,
    /// Analog inputs of the pulse board.
    #[serde(default)]
    pub analog: Vec<Analog>,
    /// A circle marked on the test ground, for fits without wheel sensors or GNSS.
    #[serde(default)]
    pub declared_circle: Option<DeclaredCircle>,
    /// Propeller shafts as tubes between two joints (format 3).
    #[serde(default, skip_serializing_if = "Shafts::is_empty")]
    pub shafts: Shafts,
    /// The speedometer and its sender (format 3).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub speedometer: Option<Speedometer>,
    /// The ground on which the test cards are driven (format 3).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub test_ground: Option<TestGround>,
    /// Limits that claims are judged against; each has a sourced default.
    #[serde(default)]
    pub limits: Limits,
}

/// The same thing at the front and at the rear.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pair<T> {
    /// At the front axle.
    pub front: T,
    /// At the rear axle.
    pub rear: T,
}

/// Wheelbase and tracks, in millimetres.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Geometry {
    /// Distance between the axles.
    pub wheelbase_mm: f64,
    /// Distance between the middles of the front tyres.
    pub track_front_mm: f64,
    /// Distance between the middles of the rear tyres.
    pub track_rear_mm: f64,
    /// Standard uncertainty of each of these lengths.
    #[serde(default = "default_geometry_u_mm")]
    pub u_mm: f64,
}

fn default_geometry_u_mm() -> f64 {
    15.0
}

/// A tyre: a size designation, or a measured rolling circumference, or both (measured wins).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tyre {
    /// Size designation as on the side wall.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub size: Option<String>,
    /// Rolling circumference from a roll-out under load.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub circumference_mm: Option<f64>,
    /// Standard uncertainty of that roll-out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub circumference_u_mm: Option<f64>,
}

/// An axle: its ratio, as a number or as tooth counts, and what its differential is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Axle {
    /// Shaft turns per wheel turn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ratio: Option<f64>,
    /// Crown wheel and pinion teeth, in this order.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub teeth: Option<[u32; 2]>,
    /// What the axle differential allows.
    pub kind: AxleKind,
}

/// What an axle differential allows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AxleKind {
    /// Open: the shaft follows the mean of the wheels.
    Open,
    /// Locked or spool: both wheels turn alike.
    Locked,
    /// Limited slip: neither relation holds.
    LimitedSlip,
    /// Open, with an axle or hub disconnect: the relation holds only while connected.
    Disconnect,
}

/// The center differential.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", deny_unknown_fields, rename_all = "kebab-case")]
pub enum Center {
    /// Symmetric bevel set: even split.
    Bevel,
    /// Planetary set with its tooth counts.
    Planetary {
        /// Teeth of the sun.
        sun_teeth: u32,
        /// Teeth of the ring.
        ring_teeth: u32,
        /// Planets between sun and ring: single or double.
        pinions: Pinions,
        /// Which member drives the front output.
        front_output: Member,
    },
    /// A differential whose front torque share is declared directly.
    TorqueShare {
        /// Share of the front output, between 0 and 1.
        front_share: f64,
    },
    /// Viscous, torque-biasing or clutch: no single allowance exists.
    Viscous,
    /// See [`Center::Viscous`].
    TorqueBiasing,
    /// See [`Center::Viscous`].
    Clutch,
    /// No center differential: part-time only.
    None,
}

/// Planets between sun and ring.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pinions {
    /// One row; the input is the carrier.
    Single,
    /// Two rows; the input is the ring.
    Double,
}

/// A member of a planetary set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Member {
    /// The sun.
    Sun,
    /// The ring.
    Ring,
    /// The carrier.
    Carrier,
}

/// A mode row: how it is requested, how it couples, and its three state codes.
///
/// A code maps a switch name to the state it has once the mode is engaged; a switch that is not
/// named may be in either state.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mode {
    /// What the builder calls the mode.
    pub name: String,
    /// Name of its range, a key of `ranges`.
    pub range: String,
    /// How it couples the outputs.
    pub coupling: Coupling,
    /// Switches of the selector while it asks for this mode.
    #[serde(default)]
    pub request: BTreeMap<String, Level>,
    /// Limit contacts of the shift motor.
    #[serde(default)]
    pub limit_contacts: BTreeMap<String, Level>,
    /// Position switches on the forks.
    #[serde(default)]
    pub position_switches: BTreeMap<String, Level>,
    /// Indicator lamps.
    #[serde(default)]
    pub lamps: BTreeMap<String, Lamp>,
}

/// How a mode couples the outputs of the transfer case.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Coupling {
    /// Front released at the case.
    RearOnly,
    /// Through the center differential.
    Differential,
    /// Front and rear locked together.
    Locked,
    /// Rear released at the case.
    FrontOnly,
    /// Neither output is driven.
    Neutral,
}

/// State of a switch: on means active, whatever the voltage is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Level {
    /// Not active.
    Off,
    /// Active.
    On,
}

/// State of a lamp.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Lamp {
    /// Dark.
    Off,
    /// Lit (a dimmed lamp is lit).
    Steady,
    /// Flashing.
    Flashing,
}

/// What is declared about being between modes.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Transit {
    /// Position-switch codes that are normal on the way and match no row.
    #[serde(default)]
    pub position_switches: Vec<BTreeMap<String, Level>>,
    /// Lamps while a selection is under way.
    #[serde(default)]
    pub lamps: BTreeMap<String, Lamp>,
    /// Lamps while the unit waits for rotation.
    #[serde(default)]
    pub waiting_lamps: BTreeMap<String, Lamp>,
    /// Length of the lamp self-test after ignition, in seconds.
    #[serde(default)]
    pub self_test_s: Option<f64>,
}

/// A switch input of the pulse board.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Switch {
    /// Name used in mode rows.
    pub name: String,
    /// Switch input of the board, 1 to 16.
    pub input: u8,
    /// What the line is.
    pub role: Role,
    /// Electrical level that means "on".
    pub active: Active,
}

/// What a switch line is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Selector request.
    Request,
    /// Position switch on a fork.
    Position,
    /// Limit contact of the shift motor.
    LimitContact,
    /// Indicator lamp line.
    Lamp,
    /// Drive line of the shift motor.
    Motor,
    /// Interlock (gearbox position, range lever, brake).
    Interlock,
    /// Ignition.
    Ignition,
}

/// Electrical level that means "on".
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Active {
    /// High level is on.
    High,
    /// Low level is on (a contact to ground under a pull-up).
    Low,
}

/// A condition under which the unit refuses a selection into some modes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Interlock {
    /// Modes that it guards.
    pub modes: Vec<String>,
    /// Switch states that must hold for the unit to accept.
    #[serde(default)]
    pub requires: BTreeMap<String, Level>,
    /// Highest speed at which the unit accepts, in km/h.
    #[serde(default)]
    pub speed_max_kmh: Option<f64>,
}

/// A pulse sensor: which board channel, where in the driveline, how many pulses a turn.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sensor {
    /// Where it sits.
    pub place: Place,
    /// Pulse channel of the board, 1 to 8.
    pub channel: u8,
    /// Teeth or magnets per turn.
    pub pulses_per_turn: u32,
    /// Which edges the board counts on this channel.
    #[serde(default)]
    pub edges: Edges,
}

/// Where a pulse sensor sits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Place {
    /// Input of the transfer case (or the gearbox output that drives it).
    Input,
    /// Front propeller shaft.
    FrontShaft,
    /// Rear propeller shaft.
    RearShaft,
    /// Front left wheel.
    FrontLeft,
    /// Front right wheel.
    FrontRight,
    /// Rear left wheel.
    RearLeft,
    /// Rear right wheel.
    RearRight,
    /// Speed sender, on a gear of its own (format 3).
    SpeedSender,
    /// The speedometer, as its unit sends what it shows; a turn stands for a metre (format 5).
    Speedometer,
}

impl Place {
    /// The wheels, front before rear and left before right.
    pub const WHEELS: [Place; 4] =
        [Place::FrontLeft, Place::FrontRight, Place::RearLeft, Place::RearRight];

    /// Shaft and wheels of the front and the rear axle.
    pub const AXLES: [(Place, [Place; 2]); 2] = [
        (Place::FrontShaft, [Place::FrontLeft, Place::FrontRight]),
        (Place::RearShaft, [Place::RearLeft, Place::RearRight]),
    ];
}

/// Which edges of a pulse are counted.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Edges {
    /// One edge per pulse.
    #[default]
    One,
    /// Both edges: two counts per pulse.
    Both,
}

/// An analog input of the pulse board.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Analog {
    /// What it measures: the name of a switch, or `supply`, or `motor-current`.
    pub name: String,
    /// Analog input of the board, 1 to 6.
    pub input: u8,
    /// Units of the quantity per volt at the input (volt per volt, ampere per volt).
    pub per_volt: f64,
    /// Of a switch: highest voltage on its line that the unit surely reads as low, volts (in data
    /// sheets the maximum low-level input voltage; format 4).
    #[serde(default)]
    pub low_max_v: Option<f64>,
    /// Of a switch: lowest voltage on its line that the unit surely reads as high, volts (in data
    /// sheets the minimum high-level input voltage; format 4).
    #[serde(default)]
    pub high_min_v: Option<f64>,
}

/// A circle marked on the test ground.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DeclaredCircle {
    /// Radius of the path of the rear axle's middle, in metres.
    pub radius_m: f64,
    /// Standard uncertainty of that radius, in metres.
    pub radius_u_m: f64,
}

/// The ground on which the test cards are driven, as whoever drives declares it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TestGround {
    /// Under all four wheels while the center is locked.
    pub locked: Ground,
}

/// Whether tyres slip easily.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ground {
    /// Asphalt, concrete: a tyre that must slip grinds and winds up the shafts.
    Hard,
    /// Gravel, sand, mud, snow: it slips without harm.
    Loose,
}

/// Limits that claims are judged against. A missing key takes its sourced default.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Limits {
    /// Least allowance of an open center differential (common practice: 0.7).
    pub allowance_open_min: f64,
    /// Largest allowance of an open center differential (common practice: 1.3).
    pub allowance_open_max: f64,
    /// Largest size of the allowance of a locked center differential (common practice: 0.1).
    pub allowance_locked_max: f64,
    /// Backlash between the outputs, in turns of the shafts (common practice: 0.25).
    pub backlash_turn: f64,
    /// Largest difference of a shaft-to-wheel ratio from the declared one, in percent
    /// (common practice: 0.5).
    pub sensor_ratio_percent: f64,
    /// Largest difference of rolling circumferences, in millimetres (common practice: 9.975, the
    /// 2/32 inch rule of tread depth).
    pub circumference_mm: f64,
    /// Longest time from request to an engaged mode, in seconds (common practice: 5).
    pub selection_s: f64,
    /// Turns of the relevant relative angle after which a selection that waits is stuck
    /// (common practice: 2).
    pub stuck_after_turns: f64,
    /// Largest relative difference of the front torque share from the declared one
    /// (common practice: 0.3).
    pub share_relative: f64,
    /// Most that the tyres may be made to slip while the center is locked, metres per kilometre
    /// (common practice: 10, the rule of 1 percent of rolling radius; format 3).
    #[serde(skip_serializing_if = "is_usual_scrub")]
    pub scrub_m_per_km: f64,
    /// Largest difference of the speed sender's pulses per kilometre from what the speedometer
    /// expects, in percent (common practice: 1; format 3).
    #[serde(skip_serializing_if = "is_usual_sender")]
    pub sender_percent: f64,
}

const SCRUB_M_PER_KM: f64 = 10.0;
const SENDER_PERCENT: f64 = 1.0;

// What a file of an older format says is written in that format.
fn is_usual_scrub(x: &f64) -> bool {
    *x == SCRUB_M_PER_KM
}

fn is_usual_sender(x: &f64) -> bool {
    *x == SENDER_PERCENT
}

impl Default for Limits {
    fn default() -> Self {
        Limits {
            allowance_open_min: 0.7,
            allowance_open_max: 1.3,
            allowance_locked_max: 0.1,
            backlash_turn: 0.25,
            sensor_ratio_percent: 0.5,
            circumference_mm: 9.975,
            selection_s: 5.0,
            stuck_after_turns: 2.0,
            share_relative: 0.3,
            scrub_m_per_km: SCRUB_M_PER_KM,
            sender_percent: SENDER_PERCENT,
        }
    }
}
