//! An archive: a folder of drives.

use crate::disk;
use crate::error::Error;
use crate::manifest::{MOST_BYTES, Manifest};
use crate::name::{DriveId, FileName, Role};
use std::cell::Cell;
use std::fs::{self, File};
use std::path::{Path, PathBuf};

/// Held by whoever changes an archive.
const LOCK: &str = ".lock";

/// An archive.
#[derive(Debug)]
pub struct Archive {
    folder: PathBuf,
    opened: Cell<u64>,
}

/// A drive as found: its newest whole manifest.
#[derive(Debug, Clone)]
pub struct Drive {
    /// Its name.
    pub id: DriveId,
    /// Its folder.
    pub folder: PathBuf,
    /// Its newest whole manifest.
    pub manifest: Manifest,
    /// Newer manifests that were passed over, each with the reason.
    pub passed_over: Vec<(FileName, String)>,
}

/// What a look through an archive found.
#[derive(Debug, Default)]
pub struct Listing {
    /// The drives, oldest first.
    pub drives: Vec<Drive>,
    /// Folders that should be drives and cannot be read, with the reason.
    pub unreadable: Vec<(DriveId, String)>,
    /// What was left behind by something that was cut off.
    pub leftovers: Vec<PathBuf>,
}

/// The right to change an archive, until it is dropped.
#[derive(Debug)]
pub struct Held {
    _lock: File,
}

impl Archive {
    /// Opens an archive that exists.
    pub fn open(folder: &Path) -> Result<Self, Error> {
        let is_folder = fs::metadata(folder).map(|m| m.is_dir()).map_err(|e| {
            let what = folder.display();
            Error::Unfit(format!(
                "{what}: {e}; name an archive with --archive, or begin one with \
                 `wheelwitness archive keep`"
            ))
        })?;
        if !is_folder {
            return Err(Error::Unfit(format!("{}: an archive is a folder", folder.display())));
        }
        Ok(Archive { folder: folder.into(), opened: Cell::new(0) })
    }

    /// Opens an archive, made if it is not there.
    pub fn open_or_make(folder: &Path) -> Result<Self, Error> {
        disk::make_folder(folder)?;
        Self::open(folder)
    }

    /// Its folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Files opened so far to find drives.
    pub fn files_opened(&self) -> u64 {
        self.opened.get()
    }

    /// Waits for nobody: whoever changes an archive at the same time is told so.
    pub fn hold(&self) -> Result<Held, Error> {
        let path = self.folder.join(LOCK);
        let file = File::options().create(true).append(true).open(&path);
        let lock = file.map_err(Error::writing(&path))?;
        match lock.try_lock() {
            Ok(()) => Ok(Held { _lock: lock }),
            Err(_) => Err(Error::Refused(format!(
                "{}: somebody else is changing this archive; try again when they are done",
                self.folder.display()
            ))),
        }
    }

    /// Folder of a drive, there or not.
    pub fn folder_of(&self, id: &DriveId) -> PathBuf {
        self.folder.join(id.as_str())
    }

    /// Everything in the archive: one manifest is opened for each drive that is whole.
    pub fn list(&self) -> Result<Listing, Error> {
        let mut listing = Listing::default();
        for entry in fs::read_dir(&self.folder).map_err(Error::reading(&self.folder))? {
            let entry = entry.map_err(Error::reading(&self.folder))?;
            let name = entry.file_name();
            match name.to_str().and_then(DriveId::parse) {
                Some(id) => match self.drive(&id) {
                    Ok(drive) => listing.drives.push(drive),
                    Err(e) => listing.unreadable.push((id, e.to_string())),
                },
                None if is_leftover(&name.to_string_lossy()) => {
                    listing.leftovers.push(entry.path());
                }
                None => {}
            }
        }
        listing.drives.sort_by_key(|d| (d.manifest.date_wall_ns(), d.id.clone()));
        listing.unreadable.sort();
        listing.leftovers.sort();
        Ok(listing)
    }

    /// One drive by its name.
    pub fn drive(&self, id: &DriveId) -> Result<Drive, Error> {
        let folder = self.folder_of(id);
        let (manifest, passed_over) = self.newest(&folder)?;
        if manifest.drive != *id {
            let what = folder.display();
            let is = &manifest.drive;
            return Err(Error::Unfit(format!("{what}: its manifest says that it is {is}")));
        }
        Ok(Drive { id: id.clone(), folder, manifest, passed_over })
    }

    /// A drive by the beginning of its name or of its recording id, if only one fits.
    pub fn find(&self, text: &str) -> Result<Drive, Error> {
        if let Some(id) = DriveId::parse(text).filter(|id| self.folder_of(id).exists()) {
            return self.drive(&id);
        }
        let mut drives = self.list()?.drives;
        let fits = |d: &Drive| {
            d.id.as_str().starts_with(text) || d.manifest.recording.id.starts_with(text)
        };
        drives.retain(fits);
        let at = self.folder.display();
        let all = "`wheelwitness archive list` shows all of them";
        match drives.len() {
            1 => Ok(drives.remove(0)),
            0 => Err(Error::Unfit(format!("{at}: no drive's name begins with {text:?}; {all}"))),
            n => Err(Error::Unfit(format!("{at}: {n} drives begin with {text:?}; {all}"))),
        }
    }

    fn newest(&self, folder: &Path) -> Result<(Manifest, Vec<(FileName, String)>), Error> {
        let mut passed_over = Vec::new();
        for name in manifests(folder)? {
            match self.manifest(folder, &name) {
                Ok(manifest) => return Ok((manifest, passed_over)),
                Err(e) => passed_over.push((name, e.to_string())),
            }
        }
        let what = folder.display();
        Err(Error::Unfit(match passed_over.first() {
            Some((name, why)) => format!("{what}/{name}: {why}"),
            None => format!("{what}: holds no manifest"),
        }))
    }

    /// One manifest of a drive, checked against its name.
    pub fn manifest(&self, folder: &Path, name: &FileName) -> Result<Manifest, Error> {
        self.opened.set(self.opened.get() + 1);
        let path = name.below(folder);
        let bytes = disk::read_capped(&path, MOST_BYTES)?;
        Manifest::read(name, &bytes).map_err(|e| Error::Unfit(format!("{}: {e}", path.display())))
    }
}

/// Names of the manifests in a drive's folder, newest first.
pub fn manifests(folder: &Path) -> Result<Vec<FileName>, Error> {
    let mut names = Vec::new();
    for entry in fs::read_dir(folder).map_err(Error::reading(folder))? {
        let entry = entry.map_err(Error::reading(folder))?;
        let name = entry.file_name().to_str().and_then(FileName::parse);
        names.extend(name.filter(|n| matches!(n.role(), Role::Manifest(_))));
    }
    names.sort();
    names.reverse();
    Ok(names)
}

/// Begin of the names under which drives arrive and leave.
pub const ARRIVING: &str = ".arriving-";
/// See [`ARRIVING`].
pub const LEAVING: &str = ".leaving-";

fn is_leftover(name: &str) -> bool {
    name.starts_with(ARRIVING) || name.starts_with(LEAVING)
}

impl Drive {
    /// Writes the next generation of the manifest beside the others.
    pub fn write(&self, next: &Manifest) -> Result<(), Error> {
        disk::appear(&next.file_name().below(&self.folder), next.text().as_bytes())
    }

    /// Folder of its capture.
    pub fn capture(&self) -> PathBuf {
        self.folder.join("capture")
    }

    /// Refuses what has damage that a change could bury.
    pub fn refuse_damaged(&self) -> Result<(), Error> {
        match self.passed_over.first() {
            None => Ok(()),
            Some((_, why)) => Err(Error::Refused(format!(
                "{why}; nothing was changed: look at `wheelwitness archive verify {}` first",
                self.id
            ))),
        }
    }
}
