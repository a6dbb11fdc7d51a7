//! The door to the disk: reading with caps, writing so that a cut leaves the old or the new.
//!
//! On FAT a rename that is followed by a power cut can leave a name whose contents are lost
//! (measured), so files are synced again after their folder was renamed, and nothing that exists
//! is ever replaced.

use crate::error::Error;
use sha2::{Digest, Sha256};
use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::Path;

/// Read this much at once.
const CHUNK_BYTES: usize = 256 * 1024;

/// SHA-256 as hexadecimal.
pub fn sha256(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

/// The bytes of a plain file of at most `cap` bytes; a link is no plain file.
pub fn read_capped(path: &Path, cap: u64) -> Result<Vec<u8>, Error> {
    let length = plain_length(path).map_err(Error::reading(path))?;
    if length > cap {
        let why = format!("it has {length} bytes, and {cap} are the most that it may have");
        return Err(Error::reading(path)(io::Error::other(why)));
    }
    let mut bytes = Vec::new();
    let file = File::open(path).map_err(Error::reading(path))?;
    file.take(cap).read_to_end(&mut bytes).map_err(Error::reading(path))?;
    Ok(bytes)
}

/// Length of a plain file.
pub fn plain_length(path: &Path) -> io::Result<u64> {
    let meta = path.symlink_metadata()?;
    if meta.is_file() { Ok(meta.len()) } else { Err(io::Error::other("it is no plain file")) }
}

/// Length and SHA-256 of a plain file.
pub fn hash_file(path: &Path) -> Result<(u64, String), Error> {
    plain_length(path).map_err(Error::reading(path))?;
    let mut file = File::open(path).map_err(Error::reading(path))?;
    flow(&mut file, &mut io::sink(), u64::MAX).map_err(|e| e.into_error(path, path))
}

/// Copies a file to a new name, makes it durable, and returns its length and SHA-256.
pub fn copy_new(from: &Path, to: &Path) -> Result<(u64, String), Error> {
    let mut source = File::open(from).map_err(Error::reading(from))?;
    fill_new(&mut source, to, u64::MAX).map_err(|e| e.into_error(from, to))
}

/// Fills a new file from a reader, at most `cap` bytes, and makes it durable.
pub fn fill_new(source: &mut impl Read, to: &Path, cap: u64) -> Result<(u64, String), Halves> {
    let mut file = File::create_new(to).map_err(Halves::Writing)?;
    let done = flow(source, &mut file, cap)?;
    file.sync_all().map_err(Halves::Writing)?;
    Ok(done)
}

/// Length and SHA-256 of what a reader gives, at most `cap` bytes.
pub fn hash_reader(source: &mut impl Read, cap: u64) -> Result<(u64, String), Halves> {
    flow(source, &mut io::sink(), cap)
}

/// Which end of a copy failed.
#[derive(Debug)]
pub enum Halves {
    /// The end that is read.
    Reading(io::Error),
    /// The end that is written.
    Writing(io::Error),
}

impl Halves {
    /// The error, with the file that it belongs to.
    pub fn into_error(self, from: &Path, to: &Path) -> Error {
        match self {
            Halves::Reading(e) => Error::reading(from)(e),
            Halves::Writing(e) => Error::writing(to)(e),
        }
    }
}

fn flow(from: &mut impl Read, to: &mut impl Write, cap: u64) -> Result<(u64, String), Halves> {
    let mut sha = Sha256::new();
    let mut buffer = vec![0; CHUNK_BYTES];
    let mut total = 0u64;
    loop {
        let got = match from.read(&mut buffer) {
            Ok(0) => break,
            Ok(n) => n,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
            Err(e) => return Err(Halves::Reading(e)),
        };
        total += got as u64;
        if total > cap {
            let why = format!("it goes on after the {cap} bytes that it should have");
            return Err(Halves::Reading(io::Error::other(why)));
        }
        sha.update(&buffer[..got]);
        to.write_all(&buffer[..got]).map_err(Halves::Writing)?;
    }
    Ok((total, hex(&sha.finalize())))
}

/// Writes a file that must not be there yet, and makes it durable.
pub fn write_new(path: &Path, bytes: &[u8]) -> Result<(), Error> {
    let written = File::create_new(path).and_then(|mut f| {
        f.write_all(bytes)?;
        f.sync_all()
    });
    written.map_err(Error::writing(path))
}

/// Writes a file whole or not at all under a name that nobody has: built beside it, moved there,
/// synced again under its new name.
pub fn appear(path: &Path, bytes: &[u8]) -> Result<(), Error> {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let building = path.with_file_name(format!(".{name}.partial"));
    match fs::remove_file(&building) {
        Err(e) if e.kind() != io::ErrorKind::NotFound => {
            return Err(Error::writing(&building)(e));
        }
        _ => {}
    }
    write_new(&building, bytes)?;
    settle(&building, path)
}

/// Moves a finished file or folder to a name that nobody has, and makes that durable.
pub fn settle(building: &Path, place: &Path) -> Result<(), Error> {
    if place.symlink_metadata().is_ok() {
        let there = io::Error::from(io::ErrorKind::AlreadyExists);
        return Err(Error::writing(place)(there));
    }
    fs::rename(building, place).map_err(Error::writing(place))?;
    sync_all_below(place)?;
    sync_folder(place.parent().unwrap_or(Path::new(".")))
}

/// Makes everything below a path durable, files first.
pub fn sync_all_below(path: &Path) -> Result<(), Error> {
    if !path.is_dir() {
        return File::open(path).and_then(|f| f.sync_all()).map_err(Error::writing(path));
    }
    for entry in fs::read_dir(path).map_err(Error::reading(path))? {
        sync_all_below(&entry.map_err(Error::reading(path))?.path())?;
    }
    sync_folder(path)
}

/// A new name is only durable once its folder is synced.
#[cfg(unix)]
pub fn sync_folder(path: &Path) -> Result<(), Error> {
    let path = if path.as_os_str().is_empty() { Path::new(".") } else { path };
    File::open(path).and_then(|f| f.sync_all()).map_err(Error::writing(path))
}

/// Folders cannot be opened as files here; the file system keeps its own order.
#[cfg(not(unix))]
pub fn sync_folder(_path: &Path) -> Result<(), Error> {
    Ok(())
}

/// Makes a folder, and its parents.
pub fn make_folder(path: &Path) -> Result<(), Error> {
    fs::create_dir_all(path).map_err(Error::writing(path))
}

/// Removes a folder and everything below, if it is there.
pub fn remove_folder(path: &Path) -> Result<(), Error> {
    match fs::remove_dir_all(path) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(()),
        other => other.map_err(Error::writing(path)),
    }
}

/// Names of everything below a folder that is no folder itself, with `/`, in order. Links are
/// named, never followed.
pub fn names_below(folder: &Path) -> Result<Vec<String>, Error> {
    let mut names = Vec::new();
    walk(folder, "", 0, &mut names)?;
    names.sort();
    Ok(names)
}

/// Folders in folders in a drive: two. More is told as a name, not entered.
const DEPTH: u32 = 3;

fn walk(folder: &Path, below: &str, depth: u32, names: &mut Vec<String>) -> Result<(), Error> {
    for entry in fs::read_dir(folder).map_err(Error::reading(folder))? {
        let entry = entry.map_err(Error::reading(folder))?;
        let name = format!("{below}{}", entry.file_name().to_string_lossy());
        let kind = entry.file_type().map_err(Error::reading(&entry.path()))?;
        if kind.is_dir() && depth < DEPTH {
            walk(&entry.path(), &format!("{name}/"), depth + 1, names)?;
        } else {
            names.push(name);
        }
    }
    Ok(())
}
