//! A pack that was received. It comes from a stranger: nothing of it is believed.
//!
//! The newest manifest comes first and says which files follow, how long they are and what their
//! hashes are. Anything else in the file (another name, a link, a device, a second entry of the
//! same name, one byte more or less) refuses the whole. Names are compared with names that the
//! archive itself would give; no name of the file ever becomes a path. The drive's folder appears
//! only when every hash was right and every block of the capture was read.

use crate::archive::{ARRIVING, Archive, Drive};
use crate::disk::{self, Halves};
use crate::error::Error;
use crate::manifest::{KeptFile, MOST_BYTES, Manifest};
use crate::name::{DriveId, FileName, Role};
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufReader, Read};
use std::path::Path;
use tar::EntryType;

/// Most older manifests in a pack.
const MOST_GENERATIONS: u32 = 10_000;
/// Most bytes of manifests in a pack.
const MOST_MANIFEST_BYTES: u64 = 256 * 1024 * 1024;

/// What a whole pack holds.
#[derive(Debug)]
pub struct Packed {
    /// The newest manifest.
    pub manifest: Manifest,
    /// Names of all manifests.
    pub generations: Vec<FileName>,
}

impl Archive {
    /// Takes a pack in, if all of it is as it should be and it has at most `most_bytes`.
    pub fn unpack(&self, pack: &Path, most_bytes: u64) -> Result<Drive, Error> {
        let _held = self.hold()?;
        let building = self.folder().join(format!("{ARRIVING}pack"));
        disk::remove_folder(&building)?;
        disk::make_folder(&building)?;
        let taken = self.take_in(pack, most_bytes, &building);
        if taken.is_err() {
            // Best effort: the error that is reported is the one above.
            let _ = disk::remove_folder(&building);
        }
        taken
    }

    fn take_in(&self, pack: &Path, most_bytes: u64, building: &Path) -> Result<Drive, Error> {
        let manifest = read_pack(pack, most_bytes, Some(building))?.manifest;
        self.refuse_known(&manifest.drive, &manifest.recording.id)?;
        let id = manifest.drive.clone();
        let arrived =
            Drive { id: id.clone(), folder: building.into(), manifest, passed_over: Vec::new() };
        if let Some(d) = self.verify(&arrived)?.damage.first() {
            return Err(refused(pack, &format!("{}: {}", d.file, d.what)));
        }
        disk::sync_all_below(building)?;
        disk::settle(building, &self.folder_of(&id))?;
        self.drive(&id)
    }
}

/// Reads a pack to its end and checks all of it; with a folder, its files are written there.
pub fn read_pack(pack: &Path, most_bytes: u64, into: Option<&Path>) -> Result<Packed, Error> {
    let file = File::open(pack).map_err(Error::reading(pack))?;
    let mut tar = tar::Archive::new(BufReader::new(file));
    // Raw: entries that would rename others or change their length stand for themselves.
    let entries = tar.entries().map_err(|e| not_a_pack(pack, &e))?.raw(true);
    let mut intake: Option<Intake> = None;
    for entry in entries {
        let mut entry = entry.map_err(|e| not_a_pack(pack, &e))?;
        let (id, name, bytes) = head(&entry).map_err(|why| refused(pack, &why))?;
        let taken = match &mut intake {
            None => Intake::begin(id, &name, bytes, &mut entry, most_bytes, into)
                .map(|begun| intake = Some(begun)),
            Some(intake) => intake.take(&id, &name, bytes, &mut entry, into),
        };
        taken.map_err(|why| refused(pack, &why))?;
    }
    let intake = intake.ok_or_else(|| refused(pack, "it is empty"))?;
    intake.end().map_err(|why| refused(pack, &why))
}

fn refused(pack: &Path, why: &str) -> Error {
    let what = pack.display();
    Error::Unfit(format!("{what}: {why}; nothing was taken in: ask for the pack again"))
}

fn not_a_pack(pack: &Path, error: &io::Error) -> Error {
    refused(pack, &format!("it is no pack of a drive, or was cut off: {error}"))
}

/// Drive, name and length of an entry, if it is a plain file with a name that we would give.
fn head<R: Read>(entry: &tar::Entry<R>) -> Result<(DriveId, FileName, u64), String> {
    let header = entry.header();
    if header.entry_type() != EntryType::Regular {
        let kind = header.entry_type().as_byte();
        return Err(format!("an entry is no plain file (kind {kind})"));
    }
    let bytes = header.entry_size().map_err(|e| format!("an entry has no length: {e}"))?;
    let name = header.path_bytes();
    let parts = std::str::from_utf8(&name).ok().and_then(|n| n.split_once('/'));
    let known = parts.and_then(|(id, name)| Some((DriveId::parse(id)?, FileName::parse(name)?)));
    let (id, name) = known.ok_or("an entry has a name that no pack of a drive has")?;
    Ok((id, name, bytes))
}

/// What is still to come.
struct Intake {
    manifest: Manifest,
    generations: Vec<FileName>,
    /// The manifest that must be the next one: generation and hash.
    older: Option<(u32, String)>,
    manifest_bytes: u64,
    waiting: BTreeMap<FileName, KeptFile>,
}

impl Intake {
    fn begin(
        id: DriveId,
        name: &FileName,
        bytes: u64,
        entry: &mut impl Read,
        most_bytes: u64,
        into: Option<&Path>,
    ) -> Result<Intake, String> {
        let manifest = take_manifest(name, bytes, entry, into)?;
        if manifest.drive != id {
            return Err("its manifest is of another drive".into());
        }
        let travel: Vec<_> = manifest.files.iter().filter(|f| !f.is_page()).cloned().collect();
        let total = travel.iter().map(|f| f.bytes).fold(0, u64::saturating_add);
        if total > most_bytes {
            return Err(format!(
                "it would have {total} bytes, and {most_bytes} are allowed (see --most)"
            ));
        }
        if manifest.generation > MOST_GENERATIONS {
            return Err("it has more manifests than a drive can have".into());
        }
        Ok(Intake {
            generations: vec![name.clone()],
            older: before(&manifest),
            manifest,
            manifest_bytes: bytes,
            waiting: travel.into_iter().map(|f| (f.name.clone(), f)).collect(),
        })
    }

    fn take(
        &mut self,
        id: &DriveId,
        name: &FileName,
        bytes: u64,
        entry: &mut impl Read,
        into: Option<&Path>,
    ) -> Result<(), String> {
        if *id != self.manifest.drive {
            return Err("an entry belongs to another drive".into());
        }
        if matches!(name.role(), Role::Manifest(_)) {
            return self.take_older(name, bytes, entry, into);
        }
        let file = self
            .waiting
            .remove(name)
            .ok_or_else(|| format!("{name} is not in the manifest, or comes a second time"))?;
        if bytes != file.bytes {
            return Err(format!("{name} has another length than its manifest says"));
        }
        let found = take_file(&file, entry, into)?;
        if found != (file.bytes, file.sha256) {
            return Err(format!("{name} has another hash than its manifest says"));
        }
        Ok(())
    }

    fn take_older(
        &mut self,
        name: &FileName,
        bytes: u64,
        entry: &mut impl Read,
        into: Option<&Path>,
    ) -> Result<(), String> {
        let expected = self.older.take().map(|(n, hash)| FileName::manifest(n, &hash));
        if expected.as_ref() != Some(name) {
            return Err(format!("{name} is not the manifest that should come next"));
        }
        self.manifest_bytes = self.manifest_bytes.saturating_add(bytes);
        if self.manifest_bytes > MOST_MANIFEST_BYTES {
            return Err("its manifests are larger than those of a drive can be".into());
        }
        let older = take_manifest(name, bytes, entry, into)?;
        if older.drive != self.manifest.drive {
            return Err(format!("{name} is of another drive"));
        }
        self.older = before(&older);
        self.generations.push(name.clone());
        Ok(())
    }

    fn end(self) -> Result<Packed, String> {
        if let Some(name) = self.waiting.keys().next() {
            return Err(format!("{name} is missing in it"));
        }
        if self.older.is_some() {
            return Err("an older manifest is missing in it".into());
        }
        Ok(Packed { manifest: self.manifest, generations: self.generations })
    }
}

fn before(m: &Manifest) -> Option<(u32, String)> {
    m.previous.clone().map(|hash| (m.generation - 1, hash))
}

fn take_manifest(
    name: &FileName,
    bytes: u64,
    entry: &mut impl Read,
    into: Option<&Path>,
) -> Result<Manifest, String> {
    if !matches!(name.role(), Role::Manifest(_)) {
        return Err("it does not begin with a manifest".into());
    }
    if bytes > MOST_BYTES {
        return Err(format!("{name} is larger than a manifest can be"));
    }
    let mut text = Vec::new();
    entry.take(bytes).read_to_end(&mut text).map_err(|e| format!("{name}: {e}"))?;
    let manifest = Manifest::read(name, &text).map_err(|e| format!("{name}: {e}"))?;
    if let Some(folder) = into {
        disk::write_new(&name.below(folder), &text).map_err(|e| e.to_string())?;
    }
    Ok(manifest)
}

/// Length and hash of an entry; written where the manifest's own name leads, if at all.
fn take_file(
    file: &KeptFile,
    entry: &mut impl Read,
    into: Option<&Path>,
) -> Result<(u64, String), String> {
    let told = |e: Halves| match e {
        Halves::Reading(e) | Halves::Writing(e) => format!("{}: {e}", file.name),
    };
    let Some(folder) = into else {
        return disk::hash_reader(entry, file.bytes).map_err(told);
    };
    let path = file.name.below(folder);
    let parent = path.parent().unwrap_or(folder);
    disk::make_folder(parent).map_err(|e| e.to_string())?;
    disk::fill_new(entry, &path, file.bytes).map_err(told)
}
