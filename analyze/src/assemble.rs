//! A drive: everything that the passes over a capture add up to, ready to be judged.

use crate::axis::Axis;
use crate::bus::Bus;
use crate::hand::{Tries, apart, tried};
use crate::learning::{Learned, Tooth, learn};
use crate::motion::{Motions, Stretches, motions};
use crate::sound::unsound;
use crate::survey::Survey;
use crate::switching::{Switching, switching};
use crate::witness::seen;
use wheelwitness_capture::read::{CaptureReader, ReadError};
use wheelwitness_capture::storage::Storage;
use wheelwitness_driveline::demand::Setup;
use wheelwitness_driveline::hand::{HandSheet, SheetError};
use wheelwitness_driveline::vehicle::{Place, Vehicle, VehicleError};

/// How late a receiver speaks when nothing tells, seconds (common practice: 0.05 to 0.5).
const TYPICAL_LAG_S: f64 = 0.2;

/// Why a capture has no result.
#[derive(Debug, thiserror::Error)]
pub enum JudgeError {
    /// The capture cannot be read.
    #[error(transparent)]
    Capture(#[from] ReadError),
    /// The vehicle file has mistakes.
    #[error("{0}")]
    Vehicle(VehicleError),
    /// The hand sheet has a mistake.
    #[error(transparent)]
    Hand(#[from] SheetError),
    /// There is no vehicle file.
    #[error("the capture holds no vehicle file; give one with --vehicle FILE")]
    NoVehicle,
}

/// What a claim may look at.
#[derive(Debug)]
pub struct Drive {
    /// Text of the vehicle file.
    pub vehicle_text: String,
    /// The vehicle file.
    pub vehicle: Vehicle,
    /// The numbers of it that the demanded difference rests on.
    pub setup: Setup,
    /// What is in the capture and what is missing.
    pub survey: Survey,
    /// Modes and selections.
    pub switching: Switching,
    /// Tooth patterns of the sensors.
    pub teeth: Vec<Tooth>,
    /// Whether the receiver's latency was estimated in this drive, or taken as typical.
    pub lag_estimated: bool,
    /// What the motion adds up to.
    pub motions: Motions,
    /// What was turned by hand.
    pub hand: Tries,
}

/// What lies beside a capture: texts with the names of their files.
#[derive(Debug, Clone, Copy, Default)]
pub struct Beside<'a> {
    /// A vehicle file to judge by instead of the one in the capture.
    pub vehicle: Option<(&'a str, &'a str)>,
    /// A hand sheet: what was turned by hand in this recording.
    pub hand: Option<(&'a str, &'a str)>,
}

impl Drive {
    /// Why the sensors of the outputs cannot be trusted, if they cannot.
    pub fn unsound(&self) -> Option<String> {
        unsound(&self.vehicle, &self.teeth, &self.motions)
    }
}

/// Reads a capture, pass by pass, by the vehicle file inside or by another one.
pub fn assemble<S: Storage>(
    reader: &mut CaptureReader<S>,
    beside: Beside<'_>,
) -> Result<Drive, JudgeError> {
    let mut survey = Survey::of(reader)?;
    let inside = survey.vehicle_text.as_deref().map(|text| (text, "vehicle file in the capture"));
    let (text, name) = beside.vehicle.or(inside).ok_or(JudgeError::NoVehicle)?;
    let vehicle_text = text.to_owned();
    let vehicle = Vehicle::parse(text, name).map_err(JudgeError::Vehicle)?;
    let sheet =
        beside.hand.map(|(text, name)| HandSheet::parse(text, name, &vehicle)).transpose()?;
    let mut setup = Setup::new(&vehicle);
    let axis = Axis::new(&survey);
    let zero_ns = survey.span_ns.map_or(0, |s| s.0);
    let course = std::mem::take(&mut survey.fixes).course(zero_ns);
    let bus = Bus::new(&vehicle, &survey);
    let Learned { teeth, rates } = learn(&vehicle, axis.clone(), bus.clone(), reader)?;
    let is_rear = |t: &&Tooth| matches!(t.sensor.place, Place::RearLeft | Place::RearRight);
    setup.rear_wheels_tell = !teeth.iter().filter(is_rear).any(Tooth::is_noisy);
    let lag_s = course.lag_s(&rates);
    let lag_estimated = lag_s.is_some();
    let course = course.earlier_by(lag_s.unwrap_or(TYPICAL_LAG_S));
    let mut switching = switching(&vehicle, &survey, &course, (axis.clone(), bus.clone()), reader)?;
    let stretches = Stretches {
        engaged: &switching.engaged,
        by_hand: sheet.as_ref().map_or(Vec::new(), apart),
    };
    let motions =
        motions(&vehicle, &setup, &teeth, &course, &stretches, (axis.clone(), bus), reader)?;
    let is_unsound = unsound(&vehicle, &teeth, &motions).is_some();
    switching.hear(if is_unsound { Vec::new() } else { seen(&vehicle, &motions) });
    let hand = match (&sheet, beside.hand) {
        (Some(sheet), Some((text, _))) => {
            let sensors = (teeth.as_slice(), is_unsound);
            tried(&vehicle, (sheet, text), &switching, sensors, axis, reader)?
        }
        _ => Tries::default(),
    };
    Ok(Drive {
        vehicle_text,
        vehicle,
        setup,
        survey,
        switching,
        teeth,
        lag_estimated,
        motions,
        hand,
    })
}
