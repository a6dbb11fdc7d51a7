//! A real folder.

use super::Storage;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// Files in one folder of the file system.
#[derive(Debug)]
pub struct DirStorage {
    path: PathBuf,
    writing: Option<(String, File)>,
    reading: Option<(String, File)>,
}

impl DirStorage {
    /// Opens a folder that exists.
    pub fn open(path: &Path) -> io::Result<Self> {
        if !fs::metadata(path)?.is_dir() {
            let why = format!("{} is not a folder", path.display());
            return Err(io::Error::new(io::ErrorKind::NotADirectory, why));
        }
        Ok(DirStorage { path: path.to_owned(), writing: None, reading: None })
    }

    /// Makes a new folder (and its parents) and opens it; fails if it exists, so that no capture
    /// is ever overwritten.
    pub fn create(path: &Path) -> io::Result<Self> {
        let parent = path.parent().filter(|p| !p.as_os_str().is_empty());
        if let Some(parent) = parent {
            fs::create_dir_all(parent)?;
        }
        fs::create_dir(path)?;
        sync_folder(parent.unwrap_or(Path::new(".")))?;
        Self::open(path)
    }

    /// The folder.
    pub fn path(&self) -> &Path {
        &self.path
    }

    fn writing(&mut self, name: &str) -> io::Result<&mut File> {
        if !matches!(&self.writing, Some((open, _)) if open == name) {
            let file = OpenOptions::new().append(true).open(self.path.join(name))?;
            self.writing = Some((name.to_owned(), file));
        }
        opened(&mut self.writing)
    }

    fn reading(&mut self, name: &str) -> io::Result<&mut File> {
        if !matches!(&self.reading, Some((open, _)) if open == name) {
            self.reading = Some((name.to_owned(), File::open(self.path.join(name))?));
        }
        opened(&mut self.reading)
    }
}

fn opened(slot: &mut Option<(String, File)>) -> io::Result<&mut File> {
    match slot {
        Some((_, file)) => Ok(file),
        None => Err(io::Error::other("no file is open")),
    }
}

impl Storage for DirStorage {
    fn create_new(&mut self, name: &str) -> io::Result<()> {
        let path = self.path.join(name);
        let file = OpenOptions::new().append(true).create_new(true).open(path)?;
        self.writing = Some((name.to_owned(), file));
        sync_folder(&self.path)
    }

    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        self.writing(name)?.write_all(bytes)
    }

    fn sync(&mut self, name: &str) -> io::Result<()> {
        self.writing(name)?.sync_data()
    }

    fn list(&mut self) -> io::Result<Vec<(String, u64)>> {
        let mut files = Vec::new();
        for entry in fs::read_dir(&self.path)? {
            let entry = entry?;
            let meta = entry.metadata()?;
            if let (true, Ok(name)) = (meta.is_file(), entry.file_name().into_string()) {
                files.push((name, meta.len()));
            }
        }
        files.sort();
        Ok(files)
    }

    fn read(&mut self, name: &str, offset: u64, into: &mut [u8]) -> io::Result<usize> {
        let file = self.reading(name)?;
        file.seek(SeekFrom::Start(offset))?;
        let mut filled = 0;
        while filled < into.len() {
            match file.read(&mut into[filled..]) {
                Ok(0) => break,
                Ok(n) => filled += n,
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(e) => return Err(e),
            }
        }
        Ok(filled)
    }
}

/// A new name is only durable once its folder is synced.
#[cfg(unix)]
fn sync_folder(path: &Path) -> io::Result<()> {
    File::open(path)?.sync_all()
}

/// Folders cannot be opened as files here; the file system keeps its own order.
#[cfg(not(unix))]
fn sync_folder(_path: &Path) -> io::Result<()> {
    Ok(())
}
