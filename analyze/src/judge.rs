//! From a capture to its result.

use crate::assemble::{Beside, Drive, JudgeError, assemble};
use crate::claims::judge_all;
use crate::result::{CaptureInfo, DriveResult, Program, SCHEMA, VehicleInfo};
use crate::series::Series;
use crate::survey::Survey;
use crate::three::witnesses;
use sha2::{Digest, Sha256};
use wheelwitness_capture::read::{CaptureReader, ReadError};
use wheelwitness_capture::storage::Storage;

/// Judges a capture by the vehicle file inside, or by another one (its text and file name).
///
/// Same capture, same vehicle file, same program: same result, byte for byte.
pub fn judge<S: Storage>(
    reader: &mut CaptureReader<S>,
    other_vehicle: Option<(&str, &str)>,
) -> Result<(DriveResult, Series), JudgeError> {
    judge_beside(reader, Beside { vehicle: other_vehicle, ..Beside::default() })
}

/// The same with everything that may lie beside a capture.
pub fn judge_beside<S: Storage>(
    reader: &mut CaptureReader<S>,
    beside: Beside<'_>,
) -> Result<(DriveResult, Series), JudgeError> {
    let drive = assemble(reader, beside)?;
    let result = result_of(&drive, reader)?;
    Ok((result, drive.motions.series))
}

/// The result of an assembled drive.
pub fn result_of<S: Storage>(
    drive: &Drive,
    reader: &mut CaptureReader<S>,
) -> Result<DriveResult, ReadError> {
    Ok(DriveResult {
        schema: SCHEMA.into(),
        program: Program { name: "wheelwitness".into(), version: env!("CARGO_PKG_VERSION").into() },
        capture: capture_info(reader, &drive.survey)?,
        vehicle: VehicleInfo {
            name: drive.vehicle.name.clone(),
            sha256: hex(&Sha256::digest(drive.vehicle_text.as_bytes())),
            format: drive.vehicle.format,
        },
        sources: drive.survey.source_infos(),
        duration_s: drive.survey.duration_s(),
        distance_m: drive.motions.distance_m,
        modes: drive.switching.spans.clone(),
        selections: drive.switching.selections.clone(),
        claims: judge_all(drive),
        pairs: drive.switching.pairs(),
        witnesses: witnesses(
            &drive.vehicle,
            &drive.switching.timeline,
            &drive.motions,
            &drive.switching.seen,
        ),
        hand: drive.hand.info(),
    })
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
