//! Making room: by age or by size, only when told to, and never the last copy.
//!
//! A drive is the last copy unless another archive or a pack, given with the command, holds all
//! of it and was read to its last byte, just now, with every hash right. What an older check said
//! does not count.

use crate::archive::{Archive, Drive, Held, LEAVING};
use crate::disk;
use crate::error::Error;
use crate::manifest::Manifest;
use crate::name::{DriveId, FileName};
use crate::pack::pack_name;
use crate::unpack::read_pack;
use std::path::{Path, PathBuf};

/// Which drives are to go.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Rule {
    /// Drives that began, and were kept, before this wall-clock time (nanoseconds since 1970).
    pub before_ns: Option<i64>,
    /// The oldest drives, until the archive has at most this many bytes.
    pub down_to_bytes: Option<u64>,
}

/// What would go, or went.
#[derive(Debug, Default)]
pub struct Plan {
    /// Drives that may go, and where the copy is that was checked.
    pub going: Vec<(Drive, PathBuf)>,
    /// Drives that the rule meets and that stay, each with the reason.
    pub staying: Vec<(DriveId, String)>,
}

impl Archive {
    /// What a rule meets, each with a copy that was read to the end and is whole, or with the
    /// reason why it stays. Nothing is changed.
    pub fn plan(&self, rule: &Rule, copies: &[PathBuf]) -> Result<Plan, Error> {
        let mut plan = Plan::default();
        for drive in met(self.list()?.drives, rule) {
            match self.copy_of(&drive, copies) {
                Ok(copy) => plan.going.push((drive, copy)),
                Err(why) => plan.staying.push((drive.id, why)),
            }
        }
        Ok(plan)
    }

    /// Does what a rule says, now; the copies are checked again, and archives among them cannot
    /// be thinned meanwhile.
    pub fn thin(&self, rule: &Rule, copies: &[PathBuf]) -> Result<Plan, Error> {
        let _held = self.hold()?;
        let _others = self.hold_others(copies)?;
        let plan = self.plan(rule, copies)?;
        for (drive, _) in &plan.going {
            let leaving = self.folder().join(format!("{LEAVING}{}", drive.id));
            disk::remove_folder(&leaving)?;
            std::fs::rename(&drive.folder, &leaving).map_err(Error::writing(&drive.folder))?;
            disk::sync_folder(self.folder())?;
            disk::remove_folder(&leaving)?;
        }
        Ok(plan)
    }

    /// A whole copy of a drive elsewhere.
    fn copy_of(&self, drive: &Drive, copies: &[PathBuf]) -> Result<PathBuf, String> {
        let mut why = Vec::new();
        for place in copies {
            let candidates = [place.clone(), place.join(pack_name(drive))];
            for pack in candidates.iter().filter(|p| p.is_file()) {
                match packed(drive, pack) {
                    Ok(()) => return Ok(pack.clone()),
                    Err(e) => why.push(e),
                }
            }
            if place.join(drive.id.as_str()).is_dir() {
                match self.archived(drive, place) {
                    Ok(()) => return Ok(place.join(drive.id.as_str())),
                    Err(e) => why.push(e),
                }
            }
        }
        let last = "this is the last copy that was checked: pack it, or keep it in another \
             archive, and name that with --copy";
        why.push(last.into());
        Err(why.join("; "))
    }

    /// Holds the archives among the copies, so that two archives never thin against each other at
    /// once. One that cannot be written cannot be thinned either.
    fn hold_others(&self, copies: &[PathBuf]) -> Result<Vec<Held>, Error> {
        let mut held = Vec::new();
        let here = self.folder().canonicalize().ok();
        let elsewhere = |p: &&PathBuf| p.is_dir() && p.canonicalize().ok() != here;
        for place in copies.iter().filter(elsewhere) {
            match Archive::open(place)?.hold() {
                Ok(lock) => held.push(lock),
                Err(Error::Writing { .. }) => {}
                Err(other) => return Err(other),
            }
        }
        Ok(held)
    }

    fn archived(&self, drive: &Drive, place: &Path) -> Result<(), String> {
        let other = Archive::open(place).map_err(|e| e.to_string())?;
        let copy = other.drive(&drive.id).map_err(|e| e.to_string())?;
        if same_files(drive, &copy) {
            return Err(format!("{} is this very drive, not a copy", copy.folder.display()));
        }
        let found = other.verify(&copy).map_err(|e| e.to_string())?;
        if let Some(d) = found.damage.first() {
            return Err(format!("{}: {}: {}", copy.folder.display(), d.file, d.what));
        }
        let ours = drive.manifest.file_name();
        let knows = ours.below(&copy.folder).is_file();
        let what = copy.folder.display();
        holds_all(drive, &copy.manifest, knows).map_err(|e| format!("{what}: {e}"))
    }
}

/// Drives that a rule meets, oldest first.
fn met(mut drives: Vec<Drive>, rule: &Rule) -> Vec<Drive> {
    drives.sort_by_key(|d| (age_mark(&d.manifest), d.id.clone()));
    let mut total = drives.iter().map(|d| d.manifest.bytes()).fold(0, u64::saturating_add);
    let mut all = Vec::new();
    for drive in drives {
        let old = rule.before_ns.is_some_and(|t| age_mark(&drive.manifest) < t);
        let much = rule.down_to_bytes.is_some_and(|most| total > most);
        if old || much {
            total -= drive.manifest.bytes().min(total);
            all.push(drive);
        }
    }
    all
}

/// A clock that was never set makes no drive old: the later of start and keeping counts.
fn age_mark(m: &Manifest) -> i64 {
    m.date_wall_ns().max(m.kept_wall_ns)
}

fn packed(drive: &Drive, pack: &Path) -> Result<(), String> {
    let found = read_pack(pack, u64::MAX, None).map_err(|e| e.to_string())?;
    let knows = found.generations.contains(&drive.manifest.file_name());
    holds_all(drive, &found.manifest, knows).map_err(|e| format!("{}: {e}", pack.display()))
}

/// Whether a copy holds every file of a drive that cannot be made again, and all its notes.
fn holds_all(drive: &Drive, copy: &Manifest, knows_newest: bool) -> Result<(), String> {
    let originals = drive.manifest.files.iter().filter(|f| !f.is_page());
    let missing: Option<&FileName> =
        originals.filter(|f| !copy.files.contains(f)).map(|f| &f.name).next();
    match missing {
        Some(name) => Err(format!("does not hold {name}")),
        None if !knows_newest => Err("does not know the newest notes and judgements".into()),
        None => Ok(()),
    }
}

/// Whether two folders share a file: the same place by another path, or linked files.
#[cfg(unix)]
fn same_files(a: &Drive, b: &Drive) -> bool {
    use std::os::unix::fs::MetadataExt;
    let of = |d: &Drive, name: &FileName| {
        name.below(&d.folder).metadata().ok().map(|m| (m.dev(), m.ino()))
    };
    let shared = |name: &FileName| of(a, name).is_some_and(|id| of(b, name) == Some(id));
    a.manifest.files.iter().any(|f| shared(&f.name)) || shared(&a.manifest.file_name())
}

/// Whether two folders are the same place.
#[cfg(not(unix))]
fn same_files(a: &Drive, b: &Drive) -> bool {
    a.folder.canonicalize().ok() == b.folder.canonicalize().ok()
}
