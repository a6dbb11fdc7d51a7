//! Changing a drive: a note, another judgement. What was there stays; a new manifest comes beside.

use crate::archive::{Archive, Drive};
use crate::difference::{Difference, differences};
use crate::disk;
use crate::error::Error;
use crate::judgement::{Bench, By, Paper, Texts, kept, paper_text};
use crate::keep::new_note;
use crate::manifest::{KeptFile, Manifest};
use crate::name::FileName;

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

    /// Judges a drive again with the present program, by its own vehicle file and hand sheet or by
    /// others. The old judgement and its report stay.
    pub fn rejudge(
        &self,
        drive: &Drive,
        texts: Texts<'_>,
        bench: &Bench<'_>,
    ) -> Result<Again, Error> {
        let _held = self.hold()?;
        let drive = self.drive(&drive.id)?;
        drive.refuse_damaged()?;
        let mut next = drive.manifest.next();
        let by = By {
            vehicle: file_or_last(&drive, Paper::Vehicle, texts.vehicle, &mut next)?,
            hand: file_or_last(&drive, Paper::Hand, texts.hand, &mut next)?,
        };
        bench.sit(&drive.folder, &by, &mut next)?;
        drive.write(&next)?;
        let differences = differences(drive.manifest.judged(), next.judgements.last());
        Ok(Again { drive: self.drive(&drive.id)?, differences })
    }
}

/// The file of the drive that holds this text, added if there is none; without a text the one that
/// the drive was judged by last.
fn file_or_last(
    drive: &Drive,
    paper: Paper,
    text: Option<&str>,
    next: &mut Manifest,
) -> Result<Option<(FileName, String)>, Error> {
    match text {
        Some(text) => Ok(Some((file_of(drive, paper, text, next)?, text.to_owned()))),
        None => last(drive, paper),
    }
}

fn file_of(
    drive: &Drive,
    paper: Paper,
    text: &str,
    next: &mut Manifest,
) -> Result<FileName, Error> {
    let hash = disk::sha256(text.as_bytes());
    let same = |f: &&KeptFile| paper.number(&f.name).is_some() && f.sha256 == hash;
    if let Some(file) = next.files.iter().find(same) {
        return Ok(file.name.clone());
    }
    let taken = next.files.iter().filter_map(|f| paper.number(&f.name)).max().unwrap_or(0);
    let mut number = taken + 1;
    // One that was written by a judgement that was cut off is passed over, never overwritten.
    while paper.name(number).below(&drive.folder).symlink_metadata().is_ok() {
        number += 1;
    }
    let name = paper.name(number);
    disk::appear(&name.below(&drive.folder), text.as_bytes())?;
    next.files.push(kept(&drive.folder, name.clone())?);
    Ok(name)
}

/// The vehicle file or hand sheet of the newest judgement that has one, else the drive's first.
fn last(drive: &Drive, paper: Paper) -> Result<Option<(FileName, String)>, Error> {
    let m = &drive.manifest;
    let judged_by = m.judgements.iter().rev().find_map(|j| match paper {
        Paper::Vehicle => j.vehicle_file.clone(),
        Paper::Hand => j.hand_file.clone(),
    });
    let first = || {
        let is_such = |f: &&KeptFile| paper.number(&f.name).is_some();
        m.files.iter().find(is_such).map(|f| f.name.clone())
    };
    let Some(name) = judged_by.or_else(first) else { return Ok(None) };
    let text = paper_text(drive, &name)?;
    Ok(Some((name, text)))
}
