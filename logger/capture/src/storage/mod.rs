//! The storage door: five methods are all that a capture asks of a medium.
//!
//! [`DirStorage`] is a real folder. [`SimStorage`] lives in memory, remembers what a power cut
//! would leave, and can fail any operation.

mod dir;
mod sim;

pub use dir::DirStorage;
pub use sim::SimStorage;

use std::io;

/// A flat set of append-only files.
///
/// What a writer may rely on after `Ok`: see "The medium" in `FORMAT.md`.
pub trait Storage: Send {
    /// Makes a new, empty file and makes its name durable; fails if it exists.
    fn create_new(&mut self, name: &str) -> io::Result<()>;
    /// Adds all `bytes` at the end of the file, or fails having added any part of them.
    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()>;
    /// Returns once everything appended to the file is durable. After an error nothing appended
    /// since the last `Ok` may be trusted, whatever a later call says.
    fn sync(&mut self, name: &str) -> io::Result<()>;
    /// The files' names and lengths, in the order of their names.
    fn list(&mut self) -> io::Result<Vec<(String, u64)>>;
    /// Reads from `offset` on into `into`; returns how many bytes were there (0 at the end).
    fn read(&mut self, name: &str, offset: u64, into: &mut [u8]) -> io::Result<usize>;
}

impl<S: Storage + ?Sized> Storage for Box<S> {
    fn create_new(&mut self, name: &str) -> io::Result<()> {
        (**self).create_new(name)
    }
    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        (**self).append(name, bytes)
    }
    fn sync(&mut self, name: &str) -> io::Result<()> {
        (**self).sync(name)
    }
    fn list(&mut self) -> io::Result<Vec<(String, u64)>> {
        (**self).list()
    }
    fn read(&mut self, name: &str, offset: u64, into: &mut [u8]) -> io::Result<usize> {
        (**self).read(name, offset, into)
    }
}
