//! How far a long reading is: a storage that is watched while it is read.

use std::io::{self, IsTerminal, Write};
use std::path::Path;
use std::time::{Duration, Instant};
use wheelwitness_capture::storage::{DirStorage, Storage};

/// How often a capture is read from end to end until its report is ready: four passes of the
/// analysis, and one for its hash.
const READINGS: u64 = 5;
/// Nothing is shown of what takes less time.
const PATIENCE: Duration = Duration::from_secs(2);
/// Time between two looks.
const EVERY: Duration = Duration::from_millis(500);

/// Who wants to know.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Shown {
    No,
    /// One line, written over again and again.
    Live,
    /// A line for each tenth.
    Lines,
}

/// A folder that tells how far its reading is.
#[derive(Debug)]
pub struct Watched {
    inner: DirStorage,
    bytes_to_read: u64,
    bytes_read: u64,
    shown: Shown,
    last: Instant,
    tenth: u64,
    told: bool,
}

impl Watched {
    /// Opens a folder; progress goes to standard error if a person looks there, or with `lines`,
    /// a line for each tenth, to whoever does.
    pub fn open(folder: &Path, lines: bool) -> io::Result<Self> {
        let mut inner = DirStorage::open(folder)?;
        let segment = |name: &str| name.ends_with(".wwc");
        let files = inner.list()?;
        let bytes: u64 = files.iter().filter(|(n, _)| segment(n)).map(|(_, b)| b).sum();
        let shown = match (lines, io::stderr().is_terminal()) {
            (true, _) => Shown::Lines,
            (false, true) => Shown::Live,
            (false, false) => Shown::No,
        };
        let last = Instant::now() + PATIENCE - EVERY;
        let (bytes_to_read, bytes_read, tenth, told) = (bytes * READINGS, 0, 0, false);
        Ok(Watched { inner, bytes_to_read, bytes_read, shown, last, tenth, told })
    }

    fn show(&mut self) {
        let permille = self.bytes_read * 1000 / self.bytes_to_read.max(1);
        let percent = (permille / 10).min(100);
        match self.shown {
            Shown::Live if self.last.elapsed() >= EVERY => {
                let _ = write!(io::stderr(), "\rreading and judging: {percent} % ");
                (self.last, self.told) = (Instant::now(), true);
            }
            Shown::Lines if percent / 10 > self.tenth => {
                self.tenth = percent / 10;
                let _ = writeln!(io::stderr(), "reading and judging: {} %", self.tenth * 10);
            }
            _ => {}
        }
    }
}

impl Drop for Watched {
    fn drop(&mut self) {
        if self.told {
            let _ = write!(io::stderr(), "\r{:30}\r", "");
        }
    }
}

impl Storage for Watched {
    fn create_new(&mut self, name: &str) -> io::Result<()> {
        self.inner.create_new(name)
    }
    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        self.inner.append(name, bytes)
    }
    fn sync(&mut self, name: &str) -> io::Result<()> {
        self.inner.sync(name)
    }
    fn list(&mut self) -> io::Result<Vec<(String, u64)>> {
        self.inner.list()
    }
    fn read(&mut self, name: &str, offset: u64, into: &mut [u8]) -> io::Result<usize> {
        let got = self.inner.read(name, offset, into)?;
        self.bytes_read += got as u64;
        self.show();
        Ok(got)
    }
}
