//! Putting a capture into the archive: copied, checked, judged, then there at once.

use crate::archive::{ARRIVING, Archive, Drive};
use crate::disk;
use crate::error::Error;
use crate::judgement::{Bench, By, Paper, Texts, kept};
use crate::manifest::{Manifest, Note, Recording, SCHEMA_WITHOUT_HAND, Source};
use crate::name::{DriveId, FileName};
use std::path::Path;
use wheelwitness_analyze::survey::Survey;
use wheelwitness_capture::read::CaptureReader;

impl Archive {
    /// Keeps a capture. The original is only read; the drive appears under its name complete or
    /// not at all. A vehicle file or a hand sheet that is given is kept and judged by.
    pub fn keep(
        &self,
        capture: &Path,
        texts: Texts<'_>,
        note: Option<&str>,
        bench: &Bench<'_>,
    ) -> Result<Drive, Error> {
        let _held = self.hold()?;
        refuse_while_recording(capture)?;
        let (recording, inside) = recorded(capture)?;
        let id = DriveId::of(&recording.id, recording.started_wall_ns).ok_or_else(|| {
            let what = capture.display();
            Error::Unfit(format!("{what}: not one whole block is in it: nothing to keep"))
        })?;
        self.refuse_known(&id, &recording.id)?;
        let building = self.folder().join(format!("{ARRIVING}{id}"));
        disk::remove_folder(&building)?;
        let mut manifest = empty(id.clone(), recording, bench.now_ns);
        manifest.notes.extend(note.map(|text| new_note(text, bench.now_ns)));
        copy_capture(capture, &building, &mut manifest)?;
        let vehicle = texts.vehicle.or(inside.as_deref());
        judge_new(&building, Texts { vehicle, ..texts }, bench, &mut manifest)?;
        let bytes = manifest.text();
        disk::write_new(&manifest.file_name().below(&building), bytes.as_bytes())?;
        disk::sync_all_below(&building)?;
        disk::settle(&building, &self.folder_of(&id))?;
        self.drive(&id)
    }

    /// A recording is in an archive once.
    pub fn refuse_known(&self, id: &DriveId, recording: &str) -> Result<(), Error> {
        let taken = || Error::Refused(format!("{id} is in this archive already; nothing was done"));
        if self.folder_of(id).symlink_metadata().is_ok() {
            return Err(taken());
        }
        let listing = self.list()?;
        match listing.drives.iter().find(|d| d.manifest.recording.id == recording) {
            Some(d) => Err(Error::Refused(format!(
                "this recording is in the archive already, as {}; nothing was done",
                d.id
            ))),
            None => Ok(()),
        }
    }
}

/// What a recorder marks a folder with while it records.
const RECORDER_LOCK: &str = "recorder.lock";

fn refuse_while_recording(capture: &Path) -> Result<(), Error> {
    let lock = std::fs::File::open(capture.join(RECORDER_LOCK));
    let held =
        lock.is_ok_and(|f| matches!(f.try_lock_shared(), Err(std::fs::TryLockError::WouldBlock)));
    if held {
        let what = capture.display();
        return Err(Error::Refused(format!(
            "{what} is being recorded right now; stop the recording, then keep it"
        )));
    }
    Ok(())
}

/// What was recorded, and the vehicle file inside.
fn recorded(capture: &Path) -> Result<(Recording, Option<String>), Error> {
    let unfit = |e: wheelwitness_capture::read::ReadError| Error::Unfit(e.to_string());
    let mut reader = CaptureReader::open(capture).map_err(unfit)?;
    let survey = Survey::of(&mut reader).map_err(unfit)?;
    let source = |s: wheelwitness_analyze::result::SourceInfo| Source {
        name: s.name,
        speaks: s.speaks,
        missing: s.missing,
        interruptions: s.interruptions,
    };
    let recording = Recording {
        id: reader.recording().map_or(String::new(), |id| id.to_string()),
        started_wall_ns: survey.first_stamp.map(|s| s.wall_ns),
        duration_s: survey.duration_s(),
        records: survey.records,
        closed: survey.closed,
        holes: survey.holes.clone(),
        simulated_clock_scale: survey.clock_scale.filter(|s| s.is_finite()),
        sources: survey.source_infos().into_iter().map(source).collect(),
    };
    Ok((recording, survey.vehicle_text))
}

fn empty(drive: DriveId, recording: Recording, now_ns: i64) -> Manifest {
    Manifest {
        schema: SCHEMA_WITHOUT_HAND.into(),
        generation: 1,
        previous: None,
        drive,
        kept_wall_ns: now_ns,
        recording,
        files: Vec::new(),
        judgements: Vec::new(),
        notes: Vec::new(),
    }
}

/// A note of now.
pub fn new_note(text: &str, now_ns: i64) -> Note {
    Note { at_wall_ns: now_ns, text: text.into() }
}

/// Copies the segments, and reads every copy once more: a medium that lies is found out now.
fn copy_capture(capture: &Path, into: &Path, manifest: &mut Manifest) -> Result<(), Error> {
    disk::make_folder(&into.join("capture"))?;
    let reader = CaptureReader::open(capture).map_err(|e| Error::Unfit(e.to_string()))?;
    for segment in reader.segments() {
        let Some(name) = FileName::segment(&segment.name) else { continue };
        let copied = disk::copy_new(&capture.join(&segment.name), &name.below(into))?;
        let file = kept(into, name)?;
        if copied != (file.bytes, file.sha256.clone()) {
            let what = file.name.below(into);
            return Err(Error::Unfit(format!(
                "{}: reads back otherwise than it was written; choose another medium",
                what.display()
            )));
        }
        manifest.files.push(file);
    }
    Ok(())
}

fn judge_new(
    folder: &Path,
    texts: Texts<'_>,
    bench: &Bench<'_>,
    manifest: &mut Manifest,
) -> Result<(), Error> {
    let mut file = |paper: Paper, text: Option<&str>| -> Result<_, Error> {
        let Some(text) = text else { return Ok(None) };
        let name = paper.name(1);
        disk::write_new(&name.below(folder), text.as_bytes())?;
        manifest.files.push(kept(folder, name.clone())?);
        Ok(Some((name, text.to_owned())))
    };
    let vehicle = file(Paper::Vehicle, texts.vehicle)?;
    let by = By { vehicle, hand: file(Paper::Hand, texts.hand)? };
    bench.sit(folder, &by, manifest).map(|_| ())
}
