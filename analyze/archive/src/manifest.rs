//! The manifest of a drive: what it is, what is in its folder, what was found and noted.
//!
//! Frozen as `wheelwitness-drive/1` and `/2` in `SCHEMAS.md`: a drive without a hand sheet is
//! written as 1, so that programs that know no hand sheets read it.

use crate::disk::sha256;
use crate::name::{DriveId, FileName, Role};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use wheelwitness_analyze::result::{DriveResult, Hole, Verdict};

/// Name and newest version of the manifest format: drives with a hand sheet.
pub const SCHEMA: &str = "wheelwitness-drive/2";

/// Name and version of the manifest of a drive without one.
pub const SCHEMA_WITHOUT_HAND: &str = "wheelwitness-drive/1";

/// Largest manifest that is read, in bytes.
pub const MOST_BYTES: u64 = 16 * 1024 * 1024;

/// Most files that a manifest may list.
pub const MOST_FILES: usize = 10_000;

/// One generation of the manifest of a drive.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    /// [`SCHEMA`] or [`SCHEMA_WITHOUT_HAND`].
    pub schema: String,
    /// 1 when the drive was kept, one more with every note and judgement.
    pub generation: u32,
    /// SHA-256 of the generation before; `null` for the first.
    pub previous: Option<String>,
    /// Name of the drive's folder.
    pub drive: DriveId,
    /// Wall clock when the drive was kept, nanoseconds since 1970 UTC.
    pub kept_wall_ns: i64,
    /// What was recorded.
    pub recording: Recording,
    /// The files of the folder, manifests left out.
    pub files: Vec<KeptFile>,
    /// Judgements, oldest first; never removed.
    pub judgements: Vec<Judgement>,
    /// Notes, oldest first; never removed, never changed.
    pub notes: Vec<Note>,
}

/// What was recorded, whatever it means.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Recording {
    /// Recording id, hexadecimal.
    pub id: String,
    /// Wall clock at the start, nanoseconds since 1970 UTC, as the host had it.
    pub started_wall_ns: Option<i64>,
    /// Length, seconds.
    pub duration_s: Option<f64>,
    /// Whole records.
    pub records: u64,
    /// Whether it was closed cleanly.
    pub closed: bool,
    /// Stretches that could not be read when the drive was kept.
    pub holes: Vec<Hole>,
    /// For a simulated recording, the factor by which its clock ran fast.
    pub simulated_clock_scale: Option<f64>,
    /// The sources.
    pub sources: Vec<Source>,
}

/// A source of a recording.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// Name by the logger's settings.
    pub name: String,
    /// What it turned out to speak.
    pub speaks: String,
    /// Sentences or frames known to be missing; `null` where nothing counts.
    pub missing: Option<u64>,
    /// Times it was lost and found again.
    pub interruptions: u32,
}

/// A file of a drive's folder.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeptFile {
    /// Its name.
    pub name: FileName,
    /// Its length.
    pub bytes: u64,
    /// SHA-256 of its bytes, hexadecimal.
    pub sha256: String,
}

impl KeptFile {
    /// Whether it is a page that can be made again, and does not travel.
    pub fn is_page(&self) -> bool {
        matches!(self.name.role(), Role::Page(_))
    }
}

/// One judgement of the drive.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Judgement {
    /// Number: of the folder `report-NNNNNN`, if there is one.
    pub number: u32,
    /// Wall clock, nanoseconds since 1970 UTC.
    pub at_wall_ns: i64,
    /// Version of the program.
    pub program: String,
    /// The vehicle file that it was judged by; `null` when there was none.
    pub vehicle_file: Option<FileName>,
    /// The hand sheet that it was judged by, if one was given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hand_file: Option<FileName>,
    /// Name of the vehicle in that file.
    pub vehicle: Option<String>,
    /// Why there is no result; `null` when there is one.
    pub failed: Option<String>,
    /// Distance, metres.
    pub distance_m: Option<f64>,
    /// Modes seen, in the order of their first appearance.
    pub modes: Vec<String>,
    /// Claims and their verdicts.
    pub claims: Vec<ClaimSaid>,
}

/// A claim and its verdict.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClaimSaid {
    /// Stable id.
    pub id: String,
    /// What part of the vehicle it is about.
    pub scope: String,
    /// The verdict.
    pub verdict: Verdict,
}

/// A note.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Note {
    /// Wall clock, nanoseconds since 1970 UTC.
    pub at_wall_ns: i64,
    /// The text.
    pub text: String,
}

/// Why bytes are no manifest.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
pub enum NoManifest {
    /// The bytes are not those that the name promises.
    #[error("its contents do not match the hash in its name: it was damaged or changed")]
    Hash,
    /// Not JSON, or of another shape.
    #[error("it is no manifest of a drive: {0}")]
    Shape(String),
    /// A later version.
    #[error("it is {0}, and this program reads up to {SCHEMA}: use a newer wheelwitness")]
    Newer(String),
    /// It contradicts itself.
    #[error("it contradicts itself: {0}")]
    Contradiction(&'static str),
}

impl Manifest {
    /// The canonical text: fields in the order of `SCHEMAS.md`.
    pub fn text(&self) -> String {
        serde_json::to_string_pretty(self).expect("a manifest has only string keys") + "\n"
    }

    /// Name of its file.
    pub fn file_name(&self) -> FileName {
        FileName::manifest(self.generation, &sha256(self.text().as_bytes()))
    }

    /// Reads a manifest under its name: hash, version, shape and inner sense are checked.
    pub fn read(name: &FileName, bytes: &[u8]) -> Result<Manifest, NoManifest> {
        let Role::Manifest(generation) = name.role() else {
            return Err(NoManifest::Shape("its file has another name".into()));
        };
        let hash = sha256(bytes);
        if name.hash_digits().is_none_or(|digits| !hash.starts_with(digits)) {
            return Err(NoManifest::Hash);
        }
        let manifest = parse(bytes)?;
        if manifest.text().as_bytes() != bytes {
            return Err(NoManifest::Shape("it is not in the one form that manifests have".into()));
        }
        if manifest.generation != generation {
            return Err(NoManifest::Contradiction("its name has another generation"));
        }
        manifest.make_sense()
    }

    fn make_sense(self) -> Result<Manifest, NoManifest> {
        let names: BTreeSet<&FileName> = self.files.iter().map(|f| &f.name).collect();
        let manifests = |f: &KeptFile| matches!(f.name.role(), Role::Manifest(_));
        let id = DriveId::of(&self.recording.id, self.recording.started_wall_ns);
        let wrong = if id.as_ref() != Some(&self.drive) {
            Some("its drive has the name of another recording")
        } else if self.files.len() > MOST_FILES {
            Some("it lists more files than a drive can have")
        } else if names.len() != self.files.len() {
            Some("it lists a file twice")
        } else if self.files.iter().any(manifests) {
            Some("it lists a manifest among its files")
        } else if self.previous.is_some() != (self.generation > 1) {
            Some("it names a generation before the first, or none before a later one")
        } else {
            None
        };
        wrong.map_or(Ok(self), |why| Err(NoManifest::Contradiction(why)))
    }

    /// The next generation, to be changed by the caller.
    pub fn next(&self) -> Manifest {
        Manifest {
            generation: self.generation + 1,
            previous: Some(sha256(self.text().as_bytes())),
            ..self.clone()
        }
    }

    fn has_hand_sheet(&self) -> bool {
        let is_sheet = |f: &KeptFile| matches!(f.name.role(), Role::Hand(_));
        self.judgements.iter().any(|j| j.hand_file.is_some()) || self.files.iter().any(is_sheet)
    }

    /// The newest judgement that has a result.
    pub fn judged(&self) -> Option<&Judgement> {
        self.judgements.iter().rev().find(|j| j.failed.is_none())
    }

    /// Name of the vehicle, by the newest judgement.
    pub fn vehicle(&self) -> Option<&str> {
        self.judged().and_then(|j| j.vehicle.as_deref())
    }

    /// Bytes of all files listed.
    pub fn bytes(&self) -> u64 {
        self.files.iter().map(|f| f.bytes).fold(0, u64::saturating_add)
    }

    /// Wall clock when it began, if a clock was set.
    pub fn started_wall_ns(&self) -> Option<i64> {
        self.recording.started_wall_ns.filter(|t| *t > 0)
    }

    /// When it began, or when it was kept if nobody knows.
    pub fn date_wall_ns(&self) -> i64 {
        self.started_wall_ns().unwrap_or(self.kept_wall_ns)
    }
}

fn parse(bytes: &[u8]) -> Result<Manifest, NoManifest> {
    #[derive(Deserialize)]
    struct Head {
        schema: String,
    }
    let shape = |e: serde_json::Error| NoManifest::Shape(e.to_string());
    let head: Head = serde_json::from_slice(bytes).map_err(shape)?;
    match version(&head.schema) {
        Some(v) if Some(v) > version(SCHEMA) => Err(NoManifest::Newer(head.schema)),
        Some(v @ (1 | 2)) => {
            let manifest: Manifest = serde_json::from_slice(bytes).map_err(shape)?;
            match v == 1 && manifest.has_hand_sheet() {
                true => {
                    Err(NoManifest::Shape("a hand sheet, which version 1 does not have".into()))
                }
                false => Ok(manifest),
            }
        }
        _ => Err(NoManifest::Shape(format!("it calls itself {:?}", head.schema))),
    }
}

fn version(schema: &str) -> Option<u32> {
    schema.strip_prefix("wheelwitness-drive/")?.parse().ok()
}

impl Judgement {
    /// What a result said.
    pub fn of(
        result: &DriveResult,
        number: u32,
        at_wall_ns: i64,
        [vehicle_file, hand_file]: [Option<FileName>; 2],
    ) -> Self {
        let mut modes: Vec<String> = Vec::new();
        for mode in result.modes.iter().filter_map(|m| m.mode.as_ref()) {
            if !modes.contains(mode) {
                modes.push(mode.clone());
            }
        }
        let said = |c: &wheelwitness_analyze::result::Claim| ClaimSaid {
            id: c.id.clone(),
            scope: c.scope.clone(),
            verdict: c.verdict,
        };
        Judgement {
            number,
            at_wall_ns,
            program: result.program.version.clone(),
            vehicle_file,
            hand_file,
            vehicle: Some(result.vehicle.name.clone()),
            failed: None,
            distance_m: result.distance_m,
            modes,
            claims: result.claims.iter().map(said).collect(),
        }
    }

    /// A judgement that came to no result.
    pub fn failed(number: u32, at_wall_ns: i64, program: &str, why: &str) -> Self {
        Judgement {
            number,
            at_wall_ns,
            program: program.into(),
            vehicle_file: None,
            hand_file: None,
            vehicle: None,
            failed: Some(why.into()),
            distance_m: None,
            modes: Vec::new(),
            claims: Vec::new(),
        }
    }
}
