//! The result of one drive: what `result.json` holds, and what every report is printed from.
//!
//! Frozen as `wheelwitness-result/2` in `SCHEMAS.md`; version 1 is read as it is.
//! Unknown is `null`, never 0.

use serde::{Deserialize, Serialize};
pub use wheelwitness_driveline::quantity::{Component, Estimate};
pub use wheelwitness_driveline::vehicle::Coupling;

/// Name and version of the result format.
pub const SCHEMA: &str = "wheelwitness-result/2";

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
    /// Times of the selections for each pair of modes.
    #[serde(default)]
    pub pairs: Vec<PairTimes>,
    /// What was requested, what the switches said and what the shafts did, over time.
    #[serde(default)]
    pub witnesses: Witnesses,
    /// What was turned by hand; `null` without a hand sheet.
    #[serde(default)]
    pub hand: Option<HandInfo>,
}

/// Times of the selections from one mode to another.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PairTimes {
    /// Mode before; `null` if none matched.
    pub from: Option<String>,
    /// Mode requested.
    pub to: String,
    /// Selections that have a time.
    pub n: usize,
    /// Median, seconds.
    pub median_s: f64,
    /// Longest, seconds.
    pub worst_s: f64,
    /// 95th percentile, seconds; `null` with fewer than 59.
    pub percentile95_s: Option<f64>,
}

/// Three witnesses of the mode.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Witnesses {
    /// Mode that was requested.
    pub requested: Vec<WitnessSpan>,
    /// Mode by the switches.
    pub switches: Vec<WitnessSpan>,
    /// Couplings that fit what the shafts did; silent where the road demanded nothing.
    pub shafts: Vec<WitnessSpan>,
    /// Where two of them differ.
    pub conflicts: Vec<Conflict>,
}

/// What a witness says in a stretch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WitnessSpan {
    /// Start on the time axis, seconds.
    pub start_s: f64,
    /// End on the time axis, seconds.
    pub end_s: f64,
    /// Mode row; `null` where no row matches, and for the shafts.
    pub mode: Option<String>,
    /// Couplings that it says or leaves possible.
    pub couplings: Vec<Coupling>,
    /// How sure it is.
    pub sureness: Sureness,
    /// Raw records that show it.
    pub evidence: Vec<RecordRange>,
}

/// How sure a witness is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sureness {
    /// One answer by the factor of a verdict, or everything that could contradict agrees.
    Sure,
    /// Several answers fit, or something beside it contradicts.
    Partly,
}

/// Who says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Witness {
    /// The selector.
    Requested,
    /// Position switches and limit contacts.
    Switches,
    /// Shafts and wheels.
    Shafts,
}

/// A stretch in which two witnesses differ.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Conflict {
    /// Start on the time axis, seconds.
    pub start_s: f64,
    /// End on the time axis, seconds.
    pub end_s: f64,
    /// Which two.
    pub between: [Witness; 2],
    /// What each says, in the same order.
    pub says: [String; 2],
}

/// The hand sheet of a drive, weighed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HandInfo {
    /// SHA-256 of the sheet's bytes, hexadecimal.
    pub sha256: String,
    /// Its trials.
    pub trials: Vec<HandTrial>,
}

/// One trial by hand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HandTrial {
    /// Number in the sheet, from 1.
    pub number: u32,
    /// Mode engaged.
    pub mode: String,
    /// What was turned, with what held.
    pub what: String,
    /// Stretch of the recording, seconds; `null` where nothing was recorded.
    pub start_s: Option<f64>,
    /// See `start_s`.
    pub end_s: Option<f64>,
    /// Turns counted at the front output, without sign.
    pub front_turn: Option<f64>,
    /// The same at the rear output.
    pub rear_turn: Option<f64>,
    /// The same at the case input, over the ratio of its range.
    pub input_turn: Option<f64>,
    /// Couplings that do this; empty where it says nothing.
    pub fits: Vec<Coupling>,
    /// Why it says nothing; `null` where it speaks.
    pub silent: Option<String>,
    /// Who did it.
    pub by: String,
    /// When, as written.
    pub on: String,
    /// Raw records of its stretch.
    pub evidence: Vec<RecordRange>,
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
    /// Seconds from the request to the engaged row, rest included; `null` if it never matched.
    #[serde(default)]
    pub completion_s: Option<f64>,
    /// What the change needs once the motor has stopped: turns of a relative angle, or reversals.
    #[serde(default)]
    pub needs: String,
    /// How much of that it had; `null` where nothing measures it.
    #[serde(default)]
    pub needed: Option<f64>,
    /// Position switches that keep the row from matching at the end.
    #[serde(default)]
    pub blocked_by: Vec<String>,
    /// Lamps that flashed while it was under way.
    #[serde(default)]
    pub flashing: Vec<Flash>,
    /// What fits best where it did not go well: a lead, not a verdict.
    #[serde(default)]
    pub lead: Option<Lead>,
    /// Raw records that show it.
    pub evidence: Vec<RecordRange>,
}

/// A lamp that flashed during a selection.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Flash {
    /// Name of the lamp.
    pub lamp: String,
    /// Start on the time axis, seconds.
    pub start_s: f64,
    /// End on the time axis, seconds.
    pub end_s: f64,
}

/// What fits best.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Lead {
    /// Where to look first, in words.
    pub cause: String,
    /// What was seen that fits.
    pub fits: String,
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
