//! Is everything still as it was kept? Every hash, every block, every generation.

use crate::archive::{Archive, Drive, manifests};
use crate::disk;
use crate::error::Error;
use crate::manifest::{KeptFile, Manifest};
use crate::name::{FileName, Role};
use std::collections::BTreeSet;
use wheelwitness_analyze::result::Hole;
use wheelwitness_capture::read::{CaptureReader, Item};

/// What is not as it was kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Damage {
    /// The file, within the drive's folder.
    pub file: String,
    /// What is wrong, and what to do.
    pub what: String,
}

/// What a check of a drive found.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub struct Verified {
    /// Files whose hashes were taken.
    pub files: u64,
    /// Bytes read for them.
    pub bytes: u64,
    /// Whole records that the capture's blocks gave.
    pub records: u64,
    /// Pages and figures that are not here; they can be made again.
    pub pages_not_here: u64,
    /// What is not as it was kept.
    pub damage: Vec<Damage>,
    /// What is worth knowing and no damage.
    pub remarks: Vec<String>,
}

impl Verified {
    /// Whether everything is as it was kept.
    pub fn is_whole(&self) -> bool {
        self.damage.is_empty()
    }

    fn damaged(&mut self, file: impl ToString, what: impl Into<String>) {
        self.damage.push(Damage { file: file.to_string(), what: what.into() });
    }
}

/// What to do about a damaged original.
const FROM_A_COPY: &str = "take this drive from a pack or another archive; keep this folder too, \
     `wheelwitness judge` on its capture reads what is left";

impl Archive {
    /// Checks one drive: every hash of the manifest, every block of the capture, every generation.
    pub fn verify(&self, drive: &Drive) -> Result<Verified, Error> {
        let mut v = Verified::default();
        self.check_generations(drive, &mut v)?;
        for file in &drive.manifest.files {
            check_file(drive, file, &mut v);
        }
        check_blocks(drive, &mut v);
        let known: BTreeSet<&str> = drive.manifest.files.iter().map(|f| f.name.as_str()).collect();
        for name in disk::names_below(&drive.folder)? {
            let manifest =
                FileName::parse(&name).is_some_and(|n| matches!(n.role(), Role::Manifest(_)));
            if !manifest && !known.contains(name.as_str()) {
                v.remarks.push(format!(
                    "{name}: is not in the manifest; it was left by something that was cut off, \
                     or put there by hand"
                ));
            }
        }
        Ok(v)
    }

    fn check_generations(&self, drive: &Drive, v: &mut Verified) -> Result<(), Error> {
        for (name, why) in &drive.passed_over {
            v.damaged(name, format!("{why}; the generation before it counts now"));
        }
        let names = manifests(&drive.folder)?;
        let mut newer = drive.manifest.clone();
        while let Some(hash) = newer.previous.clone() {
            let name = FileName::manifest(newer.generation - 1, &hash);
            if !names.contains(&name) {
                v.damaged(name, "an older manifest is missing; newer ones hold all notes of it");
                break;
            }
            match self.manifest(&drive.folder, &name) {
                Ok(older) => {
                    check_succession(&older, &newer, &name, v);
                    newer = older;
                }
                Err(e) => {
                    v.damaged(name, e.to_string());
                    break;
                }
            }
        }
        Ok(())
    }
}

/// Notes and judgements are only ever added, and the capture stays.
fn check_succession(older: &Manifest, newer: &Manifest, name: &FileName, v: &mut Verified) {
    let capture = |m: &Manifest| {
        let segments = m.files.iter().filter(|f| f.name.role() == Role::Segment);
        segments.cloned().collect::<Vec<_>>()
    };
    let kept = newer.notes.starts_with(&older.notes)
        && newer.judgements.starts_with(&older.judgements)
        && newer.recording == older.recording
        && capture(newer) == capture(older);
    if !kept {
        v.damaged(name, "the generation after it does not hold all that it holds");
    }
}

fn check_file(drive: &Drive, file: &KeptFile, v: &mut Verified) {
    let path = file.name.below(&drive.folder);
    if path.symlink_metadata().is_err() && file.is_page() {
        v.pages_not_here += 1;
        return;
    }
    let cure = if file.is_page() {
        format!("`wheelwitness archive rejudge {}` makes a new one", drive.id)
    } else {
        FROM_A_COPY.into()
    };
    match disk::hash_file(&path) {
        Ok((bytes, hash)) => {
            v.files += 1;
            v.bytes += bytes;
            if (bytes, &hash) != (file.bytes, &file.sha256) {
                v.damaged(&file.name, format!("is not what was kept; {cure}"));
            }
        }
        Err(e) => v.damaged(&file.name, format!("{e}; {cure}")),
    }
}

/// Reads every block; holes that were there when the drive was kept are no damage.
fn check_blocks(drive: &Drive, v: &mut Verified) {
    let mut reader = match CaptureReader::open(&drive.capture()) {
        Ok(reader) => reader,
        Err(e) => return v.damaged("capture", format!("{e}; {FROM_A_COPY}")),
    };
    let known = &drive.manifest.recording;
    if reader.recording().map(|id| id.to_string()).as_ref() != Some(&known.id) {
        v.damaged("capture", format!("is another recording than was kept; {FROM_A_COPY}"));
    }
    loop {
        match reader.next_item() {
            Ok(Some(Item::Record(_))) => v.records += 1,
            Ok(Some(Item::Hole(h))) => {
                let hole = Hole {
                    segment: h.segment,
                    offset: h.offset,
                    bytes: h.bytes,
                    records_missing: h.records_missing,
                };
                if !known.holes.contains(&hole) {
                    let file = format!("capture/segment-{:06}.wwc", h.segment);
                    let n = h.bytes;
                    let at = h.offset;
                    let what = format!("{n} bytes from byte {at} on are no whole block any more");
                    v.damaged(file, format!("{what}; {FROM_A_COPY}"));
                }
            }
            Ok(None) => break,
            Err(e) => return v.damaged("capture", format!("{e}; {FROM_A_COPY}")),
        }
    }
    if v.records != known.records && v.is_whole() {
        let (is, was) = (v.records, known.records);
        v.damaged("capture", format!("has {is} records, and had {was}; {FROM_A_COPY}"));
    }
}
