//! Why something about an archive cannot be done, and what to do next.

use std::io;
use std::path::{Path, PathBuf};

/// Why something cannot be done.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// A file or folder cannot be read.
    #[error("{path} cannot be read: {source}")]
    Reading {
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A file or folder cannot be written.
    #[error("{path} cannot be written: {source}; check space and permissions, then try again")]
    Writing {
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// What was given is not what it should be.
    #[error("{0}")]
    Unfit(String),
    /// The archive refuses, to protect what it has.
    #[error("{0}")]
    Refused(String),
}

impl Error {
    /// Something could not be read.
    pub fn reading(path: &Path) -> impl FnOnce(io::Error) -> Error {
        let path = path.to_owned();
        move |source| Error::Reading { path, source }
    }

    /// Something could not be written.
    pub fn writing(path: &Path) -> impl FnOnce(io::Error) -> Error {
        let path = path.to_owned();
        move |source| Error::Writing { path, source }
    }
}
