//! How a drive is judged: by a function that the program gives, into a report of its own number.

use crate::archive::Drive;
use crate::disk;
use crate::error::Error;
use crate::manifest::{Judgement, KeptFile, Manifest};
use crate::name::{FileName, Role, report_folder};
use std::path::Path;
use wheelwitness_analyze::result::DriveResult;

/// Judges a capture folder by a vehicle file (text and name) or by the one inside, and writes the
/// report into a folder that does not exist yet. The error is for reading, in plain words.
pub type Judge<'a> = dyn Fn(&Path, Option<(&str, &str)>, &Path) -> Result<DriveResult, String> + 'a;

/// Who judges, and when.
pub struct Bench<'a> {
    /// The function.
    pub judge: &'a Judge<'a>,
    /// Version of the program.
    pub program: &'a str,
    /// Wall clock now, nanoseconds since 1970 UTC.
    pub now_ns: i64,
}

/// The text and name of the vehicle file, and which file of the drive it is.
#[derive(Debug, Clone, Copy)]
pub struct By<'a> {
    /// Its text.
    pub text: &'a str,
    /// What complaints call it.
    pub called: &'a str,
    /// Its name in the drive's folder.
    pub file: &'a FileName,
}

impl Bench<'_> {
    /// Judges the capture in a drive's folder; adds the report's files and the judgement to the
    /// manifest. A drive that cannot be judged is still kept: the judgement says why.
    pub fn sit(
        &self,
        folder: &Path,
        by: Option<By<'_>>,
        manifest: &mut Manifest,
    ) -> Result<Option<DriveResult>, Error> {
        let number = free_number(folder, manifest);
        let building = folder.join(format!(".{}.partial", report_folder(number)));
        disk::remove_folder(&building)?;
        let vehicle = by.map(|b| (b.text, b.called));
        match (self.judge)(&folder.join("capture"), vehicle, &building) {
            Ok(result) => {
                let place = folder.join(report_folder(number));
                disk::settle(&building, &place)?;
                manifest.files.extend(listed(folder, &place, number)?);
                let file = by.map(|b| b.file.clone());
                manifest.judgements.push(Judgement::of(&result, number, self.now_ns, file));
                Ok(Some(result))
            }
            Err(why) => {
                disk::remove_folder(&building)?;
                let failed = Judgement::failed(number, self.now_ns, self.program, &why);
                manifest.judgements.push(failed);
                Ok(None)
            }
        }
    }
}

/// The next number that neither the manifest nor the folder knows: a judgement that was cut off
/// may have left a report behind.
fn free_number(folder: &Path, manifest: &Manifest) -> u32 {
    let known = manifest.judgements.iter().map(|j| j.number).max().unwrap_or(0);
    let mut number = known + 1;
    while folder.join(report_folder(number)).symlink_metadata().is_ok() {
        number += 1;
    }
    number
}

fn listed(folder: &Path, place: &Path, number: u32) -> Result<Vec<KeptFile>, Error> {
    let mut files = Vec::new();
    for name in disk::names_below(place)? {
        let name = format!("{}/{name}", report_folder(number));
        let Some(name) = FileName::parse(&name) else { continue };
        files.push(kept(folder, name)?);
    }
    Ok(files)
}

/// A file that is there, as the manifest lists it.
pub fn kept(folder: &Path, name: FileName) -> Result<KeptFile, Error> {
    let (bytes, sha256) = disk::hash_file(&name.below(folder))?;
    Ok(KeptFile { name, bytes, sha256 })
}

/// The next free number of a vehicle file.
pub fn free_vehicle(manifest: &Manifest) -> FileName {
    let number = |f: &KeptFile| match f.name.role() {
        Role::Vehicle(n) => n,
        _ => 0,
    };
    FileName::vehicle(manifest.files.iter().map(number).max().unwrap_or(0) + 1)
}

/// Largest vehicle file that is read.
const MOST_VEHICLE_BYTES: u64 = 4 * 1024 * 1024;

/// Text of a vehicle file of a drive.
pub fn vehicle_text(drive: &Drive, name: &FileName) -> Result<String, Error> {
    let path = name.below(&drive.folder);
    let bytes = disk::read_capped(&path, MOST_VEHICLE_BYTES)?;
    String::from_utf8(bytes).map_err(|_| Error::Unfit(format!("{}: is no text", path.display())))
}

/// The result of a judgement, as it was written.
pub fn result_of(drive: &Drive, number: u32) -> Result<DriveResult, Error> {
    let path = FileName::result(number).below(&drive.folder);
    let bytes = disk::read_capped(&path, MOST_RESULT_BYTES)?;
    let text = String::from_utf8_lossy(&bytes);
    wheelwitness_analyze::report::json::read(&text)
        .map_err(|e| Error::Unfit(format!("{}: {e}", path.display())))
}

/// Largest result that is read.
const MOST_RESULT_BYTES: u64 = 256 * 1024 * 1024;
