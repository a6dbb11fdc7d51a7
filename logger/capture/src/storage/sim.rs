//! A medium in memory that can lose power and can fail.

use super::Storage;
use std::collections::BTreeMap;
use std::io;
use std::sync::{Arc, Mutex, MutexGuard};

/// Files in memory. Clones share one medium, so a test can look on while a writer works.
///
/// Keeps, for each file, the bytes that a program would read now (*live*) and those that a power
/// cut would leave (*durable*: what was there at the last good sync). After a failed sync, what it
/// should have made durable never will be: a later sync succeeds and leaves zeros in its place, as
/// real file systems were seen to do. Operations that can fail are `create_new`, `append` and
/// `sync`, numbered from 1 in the order in which they are called.
#[derive(Debug, Clone, Default)]
pub struct SimStorage {
    medium: Arc<Mutex<Medium>>,
}

#[derive(Debug, Default)]
struct Medium {
    files: BTreeMap<String, Contents>,
    operations: u64,
    failures: Vec<Failure>,
}

#[derive(Debug, Default, Clone)]
struct Contents {
    live: Vec<u8>,
    durable: Vec<u8>,
    /// How many live bytes the medium will not write back (again).
    clean: usize,
}

impl Contents {
    fn sync(&mut self) {
        self.durable.resize(self.clean, 0);
        self.durable.extend_from_slice(&self.live[self.clean..]);
        self.clean = self.live.len();
    }

    fn unsynced(&self) -> &[u8] {
        &self.live[self.clean..]
    }
}

#[derive(Debug)]
struct Failure {
    first: u64,
    last: u64,
    kind: io::ErrorKind,
    written: usize,
}

impl SimStorage {
    /// An empty medium that works.
    pub fn new() -> Self {
        Self::default()
    }

    /// Lets operation `n` (from 1) fail with `kind`.
    pub fn fail_operation(&self, n: u64, kind: io::ErrorKind) {
        self.fail_operations(n, n, kind, 0);
    }

    /// Lets operations `first..=last` fail with `kind`; an append among them still writes its
    /// first `written` bytes.
    pub fn fail_operations(&self, first: u64, last: u64, kind: io::ErrorKind, written: usize) {
        self.lock().failures.push(Failure { first, last, kind, written });
    }

    /// How many operations that can fail were called.
    pub fn operations(&self) -> u64 {
        self.lock().operations
    }

    /// What a power cut at this moment would leave: synced bytes only, on a medium that works.
    pub fn crash_image(&self) -> SimStorage {
        self.crash_image_keeping(|_, _| 0)
    }

    /// As [`crash_image`](Self::crash_image), but the medium happened to keep
    /// `extra(name, unsynced)` of each file's unsynced bytes: power was cut while it was writing
    /// back.
    pub fn crash_image_keeping(&self, extra: impl Fn(&str, usize) -> usize) -> SimStorage {
        let image = SimStorage::new();
        for (name, contents) in &self.lock().files {
            let unsynced = contents.unsynced();
            let kept = extra(name, unsynced.len()).min(unsynced.len());
            image.put(name, &[&contents.durable, &unsynced[..kept]].concat());
        }
        image
    }

    /// The live bytes of a file, if it exists.
    pub fn get(&self, name: &str) -> Option<Vec<u8>> {
        self.lock().files.get(name).map(|c| c.live.clone())
    }

    /// Puts a file in place, durable, replacing what was there: how a test damages a medium.
    pub fn put(&self, name: &str, bytes: &[u8]) {
        let (live, durable) = (bytes.to_vec(), bytes.to_vec());
        let contents = Contents { live, durable, clean: bytes.len() };
        self.lock().files.insert(name.to_owned(), contents);
    }

    fn lock(&self) -> MutexGuard<'_, Medium> {
        self.medium.lock().unwrap_or_else(|poisoned| poisoned.into_inner())
    }
}

impl Medium {
    /// Counts an operation; `Err` is the failure that was asked for, with the bytes still written.
    fn operate(&mut self) -> Result<(), (io::Error, usize)> {
        self.operations += 1;
        let n = self.operations;
        match self.failures.iter().find(|f| (f.first..=f.last).contains(&n)) {
            Some(f) => Err((io::Error::new(f.kind, format!("operation {n} failed")), f.written)),
            None => Ok(()),
        }
    }

    fn file(&mut self, name: &str) -> io::Result<&mut Contents> {
        self.files.get_mut(name).ok_or_else(|| io::ErrorKind::NotFound.into())
    }
}

impl Storage for SimStorage {
    fn create_new(&mut self, name: &str) -> io::Result<()> {
        let mut medium = self.lock();
        medium.operate().map_err(|(error, _)| error)?;
        if medium.files.contains_key(name) {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        medium.files.insert(name.to_owned(), Contents::default());
        Ok(())
    }

    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        let mut medium = self.lock();
        let outcome = medium.operate();
        let written = outcome.as_ref().map_or_else(|(_, n)| *n, |()| bytes.len());
        medium.file(name)?.live.extend_from_slice(&bytes[..written.min(bytes.len())]);
        outcome.map_err(|(error, _)| error)
    }

    fn sync(&mut self, name: &str) -> io::Result<()> {
        let mut medium = self.lock();
        let outcome = medium.operate().map_err(|(error, _)| error);
        let contents = medium.file(name)?;
        match &outcome {
            Ok(()) => contents.sync(),
            Err(_) => contents.clean = contents.live.len(),
        }
        outcome
    }

    fn list(&mut self) -> io::Result<Vec<(String, u64)>> {
        let medium = self.lock();
        Ok(medium.files.iter().map(|(n, c)| (n.clone(), c.live.len() as u64)).collect())
    }

    fn read(&mut self, name: &str, offset: u64, into: &mut [u8]) -> io::Result<usize> {
        let mut medium = self.lock();
        let live = &medium.file(name)?.live;
        let start = usize::try_from(offset).unwrap_or(usize::MAX).min(live.len());
        let count = into.len().min(live.len() - start);
        into[..count].copy_from_slice(&live[start..start + count]);
        Ok(count)
    }
}
