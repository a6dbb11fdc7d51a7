//! From a capture to its result: the passes in order.

use crate::axis::Axis;
use crate::claims::{Case, judge_all};
use crate::motion::{Engaged, Motions, Tooth, motions, teeth};
use crate::result::{CaptureInfo, DriveResult, ModeSpan, Program, SCHEMA, VehicleInfo};
use crate::series::Series;
use crate::survey::Survey;
use sha2::{Digest, Sha256};
use wheelwitness_capture::read::{CaptureReader, ReadError};
use wheelwitness_capture::storage::Storage;
use wheelwitness_driveline::demand::Setup;
use wheelwitness_driveline::vehicle::{Vehicle, VehicleError};

/// Why a capture has no result.
#[derive(Debug, thiserror::Error)]
pub enum JudgeError {
    /// The capture cannot be read.
    #[error(transparent)]
    Capture(#[from] ReadError),
    /// The vehicle file has mistakes.
    #[error("{0}")]
    Vehicle(VehicleError),
    /// There is no vehicle file.
    #[error("the capture holds no vehicle file; give one with --vehicle FILE")]
    NoVehicle,
}

/// Judges a capture by the vehicle file inside, or by another one (its text and file name).
///
/// Same capture, same vehicle file, same program: same result, byte for byte.
pub fn judge<S: Storage>(
    reader: &mut CaptureReader<S>,
    other_vehicle: Option<(&str, &str)>,
) -> Result<(DriveResult, Series), JudgeError> {
    let survey = Survey::of(reader)?;
    let inside = survey.vehicle_text.as_deref().map(|text| (text, "vehicle file in the capture"));
    let (text, name) = other_vehicle.or(inside).ok_or(JudgeError::NoVehicle)?;
    let vehicle = Vehicle::parse(text, name).map_err(JudgeError::Vehicle)?;
    let setup = Setup::new(&vehicle);
    let axis = Axis::new(&survey);
    let course = axis.course(reader)?;
    let teeth = teeth(&vehicle, axis.clone(), reader)?;
    let engaged = Vec::new();
    let motions = motions(&vehicle, &setup, &teeth, &course, &engaged, axis, reader)?;
    let case = Case {
        vehicle: &vehicle,
        setup: &setup,
        survey: &survey,
        teeth: &teeth,
        motions: &motions,
    };
    let claims = judge_all(&case);
    let duration_s = survey.span_ns.map(|(a, b)| (b - a) as f64 * 1e-9);
    let result = DriveResult {
        schema: SCHEMA.into(),
        program: Program { name: "wheelwitness".into(), version: env!("CARGO_PKG_VERSION").into() },
        capture: capture_info(reader, &survey)?,
        vehicle: VehicleInfo {
            name: vehicle.name.clone(),
            sha256: hex(&Sha256::digest(text.as_bytes())),
            format: vehicle.format,
        },
        sources: survey.source_infos(),
        duration_s,
        distance_m: motions.distance_m,
        modes: Vec::new(),
        selections: Vec::new(),
        claims,
    };
    Ok((result, motions.series))
}

fn capture_info<S: Storage>(
    reader: &mut CaptureReader<S>,
    survey: &Survey,
) -> Result<CaptureInfo, ReadError> {
    let mut sha = Sha256::new();
    reader.read_bytes(|bytes| sha.update(bytes))?;
    Ok(CaptureInfo {
        recording: reader.recording().map_or(String::new(), |id| id.to_string()),
        sha256: hex(&sha.finalize()),
        segments: reader.segments().len() as u32,
        records: survey.records,
        holes: survey.holes.clone(),
        closed: survey.closed,
        started_wall_ns: survey.first_stamp.map(|s| s.wall_ns),
        simulated_clock_scale: survey.clock_scale,
    })
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}
