//! The capture folder: made new, never overwritten, and marked while it is being recorded.

use crate::error::Error;
use crate::text::bytes;
use std::fs::{self, File, TryLockError};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use wheelwitness_capture::storage::DirStorage;

/// Holds the number of the recording process and a lock that ends with it.
pub const MARK_NAME: &str = "recorder.lock";

/// A folder that this process records into. The mark goes when this is dropped.
pub struct Folder {
    path: PathBuf,
    // Held, not read: the system lets go of the lock when the process ends, however it ends.
    _lock: File,
}

impl Folder {
    /// Makes the folder and marks it as being recorded.
    pub fn claim(path: &Path) -> Result<(Folder, DirStorage), Error> {
        refuse_existing(path)?;
        let storage = DirStorage::create(path).map_err(|e| match e.kind() {
            ErrorKind::AlreadyExists => taken(path),
            _ => refused(path, &e),
        })?;
        let lock = lock(path).map_err(|e| refused(path, &e))?;
        Ok((Folder { path: path.into(), _lock: lock }, storage))
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // Only a courtesy: a mark without a lock means nothing.
        let _ = fs::remove_file(self.path.join(MARK_NAME));
    }
}

/// A mark whose recorder is gone: that recording was cut off.
#[derive(Debug)]
pub struct Abandoned {
    /// The process that recorded, as it called itself.
    pub process: String,
    mark: PathBuf,
    // Held, so that of two programs that find the mark only one deals with it.
    _lock: File,
}

impl Abandoned {
    /// Takes over the mark in a folder, if there is one that nobody holds.
    pub fn take(folder: &Path) -> std::io::Result<Option<Abandoned>> {
        let mark = folder.join(MARK_NAME);
        let lock = match File::open(&mark) {
            Ok(file) => file,
            Err(e) if matches!(e.kind(), ErrorKind::NotFound | ErrorKind::NotADirectory) => {
                return Ok(None);
            }
            Err(e) => return Err(e),
        };
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Ok(None),
            Err(TryLockError::Error(e)) => return Err(e),
        }
        let process = fs::read_to_string(&mark).unwrap_or_default().trim().to_owned();
        // Between creating and locking its mark a recorder holds no lock. One that is just
        // beginning has not written its number yet, and nothing was recorded.
        let begun = !process.is_empty();
        Ok(begun.then_some(Abandoned { process, mark, _lock: lock }))
    }

    /// Removes the mark: everything that was to be said about it is written.
    pub fn clear(self) -> std::io::Result<()> {
        fs::remove_file(&self.mark)
    }
}

/// Refuses a folder that exists already, before any device is touched.
pub fn refuse_existing(path: &Path) -> Result<(), Error> {
    if path.symlink_metadata().is_ok() { Err(taken(path)) } else { Ok(()) }
}

/// Refuses a medium with no more than the reserve left, before any device is touched.
pub fn refuse_full(path: &Path, reserve_bytes: u64) -> Result<(), Error> {
    let there = path.ancestors().find(|dir| dir.exists()).unwrap_or(Path::new("."));
    match free_bytes(there) {
        Some(free) if free <= reserve_bytes => Err(Error::Storage(format!(
            "{}: {} left and {} kept in reserve: make space, choose another medium or set a \
             smaller --reserve",
            path.display(),
            bytes(free),
            bytes(reserve_bytes),
        ))),
        _ => Ok(()),
    }
}

/// Space left for this user on the medium of the folder, in bytes.
pub fn free_bytes(path: &Path) -> Option<u64> {
    let room = nix::sys::statvfs::statvfs(path).ok()?;
    Some(room.blocks_available() as u64 * room.fragment_size() as u64)
}

fn lock(path: &Path) -> std::io::Result<File> {
    let mut file = File::create_new(path.join(MARK_NAME))?;
    file.try_lock().map_err(|e| match e {
        TryLockError::Error(e) => e,
        TryLockError::WouldBlock => ErrorKind::WouldBlock.into(),
    })?;
    writeln!(file, "{}", std::process::id())?;
    // After a power cut the mark tells that this recording was cut off: it is on the medium before
    // any segment is.
    file.sync_all()?;
    sync_folder(path)?;
    Ok(file)
}

fn sync_folder(path: &Path) -> std::io::Result<()> {
    File::open(path)?.sync_all()
}

fn taken(path: &Path) -> Error {
    let lock = path.join(MARK_NAME);
    let held = File::open(&lock)
        .is_ok_and(|f| matches!(f.try_lock_shared(), Err(TryLockError::WouldBlock)));
    let name = path.display();
    if held {
        let process = fs::read_to_string(&lock).unwrap_or_default();
        return Error::Storage(format!(
            "{name} is being recorded right now by process {}: choose a new name",
            process.trim()
        ));
    }
    Error::Storage(format!(
        "{name} exists already, and a capture is never overwritten: choose a new name"
    ))
}

fn refused(path: &Path, error: &std::io::Error) -> Error {
    let cure = match error.kind() {
        ErrorKind::ReadOnlyFilesystem => {
            "the medium is read-only: check it (fsck, as root, unmounted) or choose another"
        }
        ErrorKind::StorageFull => "make space or choose another medium",
        ErrorKind::PermissionDenied => "choose a folder that you may write to",
        _ => "choose another folder",
    };
    Error::Storage(format!("cannot record into {}: {error}; {cure}", path.display()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_is_claimed_once_and_says_who_has_it() {
        let path = std::env::temp_dir().join(format!("claim-{}/drives/first", std::process::id()));
        let (folder, _) = Folder::claim(&path).unwrap();
        let second = Folder::claim(&path).err().unwrap();
        assert!(
            second.to_string().contains(&format!("process {}", std::process::id())),
            "{second}"
        );
        drop(folder);
        let third = Folder::claim(&path).err().unwrap();
        assert!(third.to_string().contains("never overwritten"), "{third}");
        assert_eq!(third.exit_code(), 6);
        fs::remove_dir_all(path.ancestors().nth(2).unwrap()).unwrap();
    }

    #[test]
    fn a_medium_with_only_the_reserve_left_is_refused() {
        let path = std::env::temp_dir().join("not/there/yet");
        assert_eq!(refuse_full(&path, 0), Ok(()));
        let refused = refuse_full(&path, u64::MAX).unwrap_err();
        assert_eq!(refused.exit_code(), 6);
        assert!(refused.to_string().contains("--reserve"), "{refused}");
    }

    #[test]
    fn the_space_left_is_told() {
        assert!(free_bytes(&std::env::temp_dir()).is_some());
        assert_eq!(free_bytes(Path::new("/nowhere/at/all")), None);
    }
}
