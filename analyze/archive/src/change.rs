//! Changing a drive: a note, another judgement. What was there stays; a new manifest comes beside.

use crate::archive::{Archive, Drive};
use crate::difference::{Difference, differences};
use crate::disk;
use crate::error::Error;
use crate::judgement::{Bench, By, free_vehicle, kept, vehicle_text};
use crate::keep::new_note;
use crate::manifest::{KeptFile, Manifest};
use crate::name::{FileName, Role};

/// What another judgement came to.
#[derive(Debug)]
pub struct Again {
    /// The drive as it is now.
    pub drive: Drive,
    /// What is otherwise than in the judgement before; all claims if there was none.
    pub differences: Vec<Difference>,
}

impl Archive {
    /// Adds a note.
    pub fn note(&self, drive: &Drive, text: &str, now_ns: i64) -> Result<Drive, Error> {
        let _held = self.hold()?;
        let drive = self.drive(&drive.id)?;
        drive.refuse_damaged()?;
        let mut next = drive.manifest.next();
        next.notes.push(new_note(text, now_ns));
        drive.write(&next)?;
        self.drive(&drive.id)
    }

    /// Judges a drive again with the present program, by its own vehicle file or by another one.
    /// The old judgement and its report stay.
    pub fn rejudge(
        &self,
        drive: &Drive,
        vehicle: Option<&str>,
        bench: &Bench<'_>,
    ) -> Result<Again, Error> {
        let _held = self.hold()?;
        let drive = self.drive(&drive.id)?;
        drive.refuse_damaged()?;
        let mut next = drive.manifest.next();
        let by = match vehicle {
            Some(text) => Some((file_of(&drive, text, &mut next)?, text.to_owned())),
            None => last_vehicle(&drive)?,
        };
        let by = by.as_ref().map(|(file, text)| By { text, called: file.as_str(), file });
        bench.sit(&drive.folder, by, &mut next)?;
        drive.write(&next)?;
        let differences = differences(drive.manifest.judged(), next.judgements.last());
        Ok(Again { drive: self.drive(&drive.id)?, differences })
    }
}

/// The vehicle file of the drive that holds this text, added if there is none.
fn file_of(drive: &Drive, text: &str, next: &mut Manifest) -> Result<FileName, Error> {
    let hash = disk::sha256(text.as_bytes());
    let same = |f: &&KeptFile| matches!(f.name.role(), Role::Vehicle(_)) && f.sha256 == hash;
    if let Some(file) = next.files.iter().find(same) {
        return Ok(file.name.clone());
    }
    let mut name = free_vehicle(next);
    // One that was written by a judgement that was cut off is passed over, never overwritten.
    while name.below(&drive.folder).symlink_metadata().is_ok() {
        let Role::Vehicle(n) = name.role() else { break };
        name = FileName::vehicle(n + 1);
    }
    disk::appear(&name.below(&drive.folder), text.as_bytes())?;
    next.files.push(kept(&drive.folder, name.clone())?);
    Ok(name)
}

/// The vehicle file of the newest judgement that has one, else the drive's first.
fn last_vehicle(drive: &Drive) -> Result<Option<(FileName, String)>, Error> {
    let m = &drive.manifest;
    let judged_by = m.judgements.iter().rev().find_map(|j| j.vehicle_file.clone());
    let first = || {
        let vehicle = |f: &&KeptFile| matches!(f.name.role(), Role::Vehicle(_));
        m.files.iter().find(vehicle).map(|f| f.name.clone())
    };
    let Some(name) = judged_by.or_else(first) else { return Ok(None) };
    let text = vehicle_text(drive, &name)?;
    Ok(Some((name, text)))
}
