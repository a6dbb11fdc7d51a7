//! Why a recording could not be made, for the user, and the exit codes of the programs.

/// The world said no. The text names the thing and the next step.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Error {
    /// What was typed makes no sense.
    #[error("{0}")]
    Usage(String),
    /// A file that should be read cannot be.
    #[error("{0}")]
    Input(String),
    /// A device is refused, most often for want of permission.
    #[error("{0}")]
    Device(String),
    /// The medium refuses.
    #[error("{0}")]
    Storage(String),
    /// Our bug.
    #[error("{0}: this is a bug in the program, please report it")]
    Bug(String),
}

/// Everything as it should be.
pub const EXIT_DONE: i32 = 0;
/// Recorded, but something is missing, and the capture says what.
pub const EXIT_HOLES: i32 = 4;
/// The medium failed or is full.
pub const EXIT_STORAGE: i32 = 6;

impl Error {
    /// The exit code that tells this kind of error from the others.
    pub fn exit_code(&self) -> i32 {
        match self {
            Error::Bug(_) => 1,
            Error::Usage(_) => 2,
            Error::Input(_) => 3,
            Error::Device(_) => 5,
            Error::Storage(_) => EXIT_STORAGE,
        }
    }
}
