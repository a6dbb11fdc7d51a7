//! How a drive is judged: by a function that the program gives, into a report of its own number.

use crate::archive::Drive;
use crate::disk;
use crate::error::Error;
use crate::manifest::{Judgement, KeptFile, Manifest, SCHEMA};
use crate::name::{FileName, Role, report_folder};
use std::path::Path;
use wheelwitness_analyze::assemble::Beside;
use wheelwitness_analyze::result::DriveResult;

/// Judges a capture folder by what lies beside it, and writes the report into a folder that does
/// not exist yet. The error is for reading, in plain words.
pub type Judge<'a> = dyn Fn(&Path, Beside<'_>, &Path) -> Result<DriveResult, String> + 'a;

/// Who judges, and when.
pub struct Bench<'a> {
    /// The function.
    pub judge: &'a Judge<'a>,
    /// Version of the program.
    pub program: &'a str,
    /// Wall clock now, nanoseconds since 1970 UTC.
    pub now_ns: i64,
}

/// Texts that a drive is judged by besides its capture.
#[derive(Debug, Clone, Copy, Default)]
pub struct Texts<'a> {
    /// Of a vehicle file.
    pub vehicle: Option<&'a str>,
    /// Of a hand sheet.
    pub hand: Option<&'a str>,
}

/// What a drive is judged by: files of its folder, each with its text.
#[derive(Debug, Clone, Default)]
pub struct By {
    /// The vehicle file.
    pub vehicle: Option<(FileName, String)>,
    /// The hand sheet.
    pub hand: Option<(FileName, String)>,
}

impl By {
    fn beside(&self) -> Beside<'_> {
        Beside { vehicle: borrowed(&self.vehicle), hand: borrowed(&self.hand) }
    }

    fn files(&self) -> [Option<FileName>; 2] {
        [&self.vehicle, &self.hand].map(|of| of.as_ref().map(|(name, _)| name.clone()))
    }
}

/// Text and name of a file.
fn borrowed(file: &Option<(FileName, String)>) -> Option<(&str, &str)> {
    file.as_ref().map(|(name, text)| (text.as_str(), name.as_str()))
}

/// Files that a drive may hold several of, by number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// Vehicle files.
    Vehicle,
    /// Hand sheets.
    Hand,
}

impl Paper {
    /// The name of this number.
    pub fn name(self, number: u32) -> FileName {
        match self {
            Paper::Vehicle => FileName::vehicle(number),
            Paper::Hand => FileName::hand(number),
        }
    }

    /// The number of a name, where it is one of these.
    pub fn number(self, name: &FileName) -> Option<u32> {
        match (self, name.role()) {
            (Paper::Vehicle, Role::Vehicle(n)) | (Paper::Hand, Role::Hand(n)) => Some(n),
            _ => None,
        }
    }
}

impl Bench<'_> {
    /// Judges the capture in a drive's folder; adds the report's files and the judgement to the
    /// manifest. A drive that cannot be judged is still kept: the judgement says why.
    pub fn sit(
        &self,
        folder: &Path,
        by: &By,
        manifest: &mut Manifest,
    ) -> Result<Option<DriveResult>, Error> {
        if by.hand.is_some() {
            manifest.schema = SCHEMA.into();
        }
        let number = free_number(folder, manifest);
        let building = folder.join(format!(".{}.partial", report_folder(number)));
        disk::remove_folder(&building)?;
        match (self.judge)(&folder.join("capture"), by.beside(), &building) {
            Ok(result) => {
                let place = folder.join(report_folder(number));
                disk::settle(&building, &place)?;
                manifest.files.extend(listed(folder, &place, number)?);
                let judgement = Judgement::of(&result, number, self.now_ns, by.files());
                manifest.judgements.push(judgement);
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

/// Largest vehicle file or hand sheet that is read.
const MOST_PAPER_BYTES: u64 = 4 * 1024 * 1024;

/// Text of a vehicle file or a hand sheet of a drive.
pub fn paper_text(drive: &Drive, name: &FileName) -> Result<String, Error> {
    let path = name.below(&drive.folder);
    let bytes = disk::read_capped(&path, MOST_PAPER_BYTES)?;
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
