//! The result of one drive: what `result.json` holds, and what every report is printed from.
//!
//! Frozen as `wheelwitness-result/1` in `SCHEMAS.md`. Unknown is `null`, never 0.

use serde::{Deserialize, Serialize};
pub use wheelwitness_driveline::quantity::{Component, Estimate};
pub use wheelwitness_driveline::vehicle::Coupling;

/// Name and version of the result format.
pub const SCHEMA: &str = "wheelwitness-result/1";

/// Everything that is said about one drive.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DriveResult {
    /// [`SCHEMA`].
    pub schema: String,
    /// The program that made it.
    pub program: Program,
    /// The capture it was made from.
    pub capture: CaptureInfo,
    /// The vehicle file it was judged by.
    pub vehicle: VehicleInfo,
    /// What was recorded, source by source.
    pub sources: Vec<SourceInfo>,
    /// Length of the drive on the time axis, in seconds; `null` for an empty capture.
    pub duration_s: Option<f64>,
    /// Distance, in metres, by whatever sensor allows it.
    pub distance_m: Option<f64>,
    /// When each mode was engaged.
    pub modes: Vec<ModeSpan>,
    /// Every selection of the drive.
    pub selections: Vec<Selection>,
    /// The claims, in the order of the handbook.
    pub claims: Vec<Claim>,
}

/// The program that made a result.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Program {
    /// `wheelwitness`.
    pub name: String,
    /// Version, as in the manifest.
    pub version: String,
}

/// The capture a result was made from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CaptureInfo {
    /// Recording id, hexadecimal.
    pub recording: String,
    /// SHA-256 over the segments' bytes in order, hexadecimal.
    pub sha256: String,
    /// Number of segments.
    pub segments: u32,
    /// Whole records read.
    pub records: u64,
    /// Holes: stretches of the file that could not be read.
    pub holes: Vec<Hole>,
    /// True when the recording was closed cleanly.
    pub closed: bool,
    /// Wall clock at the start, nanoseconds since 1970 UTC, as the host had it: an annotation.
    pub started_wall_ns: Option<i64>,
    /// For a simulated recording, the factor by which its clock ran fast; `null` for a real one.
    pub simulated_clock_scale: Option<f64>,
}

/// A stretch of a capture that could not be read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Hole {
    /// Segment number.
    pub segment: u32,
    /// First byte of the hole in that segment.
    pub offset: u64,
    /// Length in bytes.
    pub bytes: u64,
    /// Records known to be missing, when the numbering tells.
    pub records_missing: Option<u64>,
}

/// The vehicle file a result was judged by.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VehicleInfo {
    /// Name in the file.
    pub name: String,
    /// SHA-256 of the file's bytes, hexadecimal.
    pub sha256: String,
    /// Version of the file format.
    pub format: u32,
}

/// One recorded source.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct SourceInfo {
    /// Number in the capture.
    pub number: u16,
    /// Name given by the logger's settings.
    pub name: String,
    /// What it turned out to speak: `pulse board`, `GNSS`, `unknown`.
    pub speaks: String,
    /// Bytes received.
    pub bytes: u64,
    /// Sentences accepted.
    pub accepted: u64,
    /// Sentences refused, by fault name.
    pub faults: std::collections::BTreeMap<String, u64>,
    /// Sentences known to be missing by their numbers; `null` for a source without numbers.
    pub missing: Option<u64>,
    /// Times the source was lost and found again.
    pub interruptions: u32,
}

/// A stretch in which one mode row was engaged, by the switches.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ModeSpan {
    /// Start on the time axis, seconds.
    pub start_s: f64,
    /// End on the time axis, seconds.
    pub end_s: f64,
    /// Name of the mode row; `null` while no row matches.
    pub mode: Option<String>,
    /// Its coupling.
    pub coupling: Option<Coupling>,
}

/// One selection, from the request to its outcome.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Selection {
    /// Number in the drive, from 1.
    pub number: u32,
    /// Mode engaged before; `null` if none matched.
    pub from: Option<String>,
    /// Mode requested.
    pub to: String,
    /// Request edge on the time axis, seconds.
    pub requested_s: f64,
    /// How it ended: one of the handbook's outcomes, in words.
    pub outcome: String,
    /// What to know about it: the switch that blocks, the row reached instead.
    pub detail: Option<String>,
    /// Its stages, in the order in which they came.
    pub stages: Vec<Stage>,
    /// Turns of the front-rear relative angle between motor stop and engagement.
    pub turns_since_motor_stop: Option<f64>,
    /// Raw records that show it.
    pub evidence: Vec<RecordRange>,
}

/// A stage of a selection.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stage {
    /// What happened: `motor energised`, `limit contacts changed`, `motor stopped`,
    /// `position switches match`, `lamp steady`.
    pub name: String,
    /// Seconds from the request to the first edge.
    pub first_edge_s: f64,
    /// Seconds from the request until it was settled; `null` if it never settled.
    pub settled_s: Option<f64>,
}

/// The word of a claim.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// The estimate lies inside the limit by the verdict factor, in every period.
    Proven,
    /// It lies outside by as much in at least one period.
    Disproven,
    /// Anything else.
    Undecided,
}

/// One claim about the vehicle in this drive.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Claim {
    /// Stable id: `center-opens`.
    pub id: String,
    /// The sentence; it begins "In this drive".
    pub sentence: String,
    /// What part of the vehicle it is about: a mode, `front/rear`, a sensor.
    pub scope: String,
    /// The verdict.
    pub verdict: Verdict,
    /// Stable reason code: `inside-limit`, `no-turning-in-mode`.
    pub reason_code: String,
    /// The reason in plain words.
    pub reason: String,
    /// What to drive or do to decide it; present whenever the verdict is `undecided`.
    pub next_step: Option<String>,
    /// The limit it was judged against.
    pub limit: Option<LimitInfo>,
    /// The periods that exercised it.
    pub periods: Vec<Period>,
}

/// A limit and where it comes from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LimitInfo {
    /// Name of the estimate that is judged.
    pub quantity: String,
    /// Lower bound, in `unit`.
    pub lower: Option<f64>,
    /// Upper bound, in `unit`.
    pub upper: Option<f64>,
    /// Unit of the bounds.
    pub unit: String,
    /// Source: a standard's clause, `vehicle file`, or `common practice`.
    pub source: String,
}

/// A stretch of the drive that exercised a claim.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Period {
    /// Start on the time axis, seconds.
    pub start_s: f64,
    /// End on the time axis, seconds.
    pub end_s: f64,
    /// What this period alone says.
    pub verdict: Verdict,
    /// Why, in plain words.
    pub reason: String,
    /// What was measured in it; the first one is judged against the limit.
    pub estimates: Vec<Reported>,
    /// Raw records that carry it.
    pub evidence: Vec<RecordRange>,
}

/// An estimate as printed: with its combined uncertainty and 95 % interval spelled out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reported {
    /// Name, as in [`Estimate`].
    pub name: String,
    /// Best value; `null` when unknown.
    pub value: Option<f64>,
    /// Unit.
    pub unit: String,
    /// Combined standard uncertainty.
    pub u: Option<f64>,
    /// Effective degrees of freedom; `null` when unlimited.
    pub dof: Option<f64>,
    /// The 95 % interval (k = 2).
    pub interval95: Option<[f64; 2]>,
    /// Contributions to the uncertainty.
    pub components: Vec<Component>,
}

/// Raw records first..=last of the capture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct RecordRange {
    /// First record number.
    pub first: u64,
    /// Last record number.
    pub last: u64,
}

impl From<&Estimate> for Reported {
    fn from(e: &Estimate) -> Self {
        let (u, dof) = (e.u(), e.dof());
        Reported {
            name: e.name.clone(),
            value: e.value.is_finite().then_some(e.value),
            unit: e.unit.clone(),
            u: u.is_finite().then_some(u),
            dof: dof.is_finite().then_some(dof),
            interval95: (e.value.is_finite() && u.is_finite())
                .then_some([e.value - 2.0 * u, e.value + 2.0 * u]),
            components: e.components.clone(),
        }
    }
}
