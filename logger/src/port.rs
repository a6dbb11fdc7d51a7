//! The port door: opening a serial line, reading from it, writing to it.
//!
//! The real twin speaks to the operating system; [`crate::sim`] has the simulated one.

use crate::names::Seat;
use std::os::unix::fs::FileTypeExt;
use std::path::{Path, PathBuf};
use tokio::io::{AsyncRead, AsyncWrite};
use tokio_serial::SerialPortBuilderExt;

/// An open line. Reading `Ok(0)` means that the line has hung up.
pub trait Port: AsyncRead + AsyncWrite + Send + Unpin {}
impl<T: AsyncRead + AsyncWrite + Send + Unpin> Port for T {}

/// A line that was just opened.
pub struct Opened {
    /// The open line.
    pub port: Box<dyn Port>,
    /// The device behind the name, links followed.
    pub device: PathBuf,
    /// The seat, with the stable names that this device has.
    pub seat: Seat,
}

/// Why a line could not be opened.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum OpenError {
    /// Nothing is there now; it may come.
    #[error("{}: not there", .0.display())]
    Absent(PathBuf),
    /// The user may not open it.
    #[error("{}: permission denied", .0.display())]
    Denied(PathBuf),
    /// Somebody else has it open.
    #[error("{}: in use by another program", .0.display())]
    Busy(PathBuf),
    /// It is something else than a serial line.
    #[error("{}: not a serial port", .0.display())]
    NotAPort(PathBuf),
    /// It is no CAN interface.
    #[error("{}: not a CAN interface", .0.display())]
    NotABus(PathBuf),
    /// The system knows nothing of CAN.
    #[error("{}: this system has no CAN interfaces", .0.display())]
    NoCan(PathBuf),
    /// The interface is there but switched off.
    #[error("{}: the interface is down", .0.display())]
    Down(PathBuf),
    /// The device answered with an error; it may recover.
    #[error("{}: {text}", path.display())]
    Failed {
        /// The name that was tried.
        path: PathBuf,
        /// What the system said.
        text: String,
    },
}

impl OpenError {
    /// Whether waiting may help. The others need the user, so a recording does not start with them.
    pub fn may_pass(&self) -> bool {
        matches!(self, OpenError::Absent(_) | OpenError::Down(_) | OpenError::Failed { .. })
    }
}

/// The door: opens the device that belongs in a seat. May block; called off the reading thread,
/// inside a tokio runtime.
pub trait Ports: Send + Sync {
    /// Opens the best name of the seat that answers.
    fn open(&self, seat: &Seat, baud: u32) -> Result<Opened, OpenError>;
}

/// The serial lines of this computer: 8 data bits, no parity, 1 stop bit, opened exclusively.
#[derive(Clone, Debug)]
pub struct SerialPorts {
    links: PathBuf,
}

impl SerialPorts {
    /// Lines whose stable names are found under `links`, usually [`crate::names::SERIAL_LINKS`].
    pub fn new(links: impl Into<PathBuf>) -> Self {
        SerialPorts { links: links.into() }
    }
}

impl Ports for SerialPorts {
    fn open(&self, seat: &Seat, baud: u32) -> Result<Opened, OpenError> {
        let mut refusal = OpenError::Absent(seat.given.clone());
        for name in seat.candidates(&self.links) {
            match open_line(&name, baud) {
                Ok((port, device)) => {
                    let mut seat = seat.clone();
                    seat.learn(&device, &self.links);
                    return Ok(Opened { port, device, seat });
                }
                Err(OpenError::Absent(_)) => {}
                Err(other) => refusal = other,
            }
        }
        Err(refusal)
    }
}

fn open_line(name: &Path, baud: u32) -> Result<(Box<dyn Port>, PathBuf), OpenError> {
    let device = device_behind(name)?;
    let line = tokio_serial::new(device.to_string_lossy(), baud)
        .open_native_async()
        .map_err(|e| classify(name, &e))?;
    keep_lines_on_close(&line);
    Ok((Box::new(line), device))
}

/// Follows links, and refuses what is no serial port before it is touched.
fn device_behind(name: &Path) -> Result<PathBuf, OpenError> {
    let failed = |e: std::io::Error| match e.kind() {
        std::io::ErrorKind::NotFound => OpenError::Absent(name.into()),
        std::io::ErrorKind::PermissionDenied => OpenError::Denied(name.into()),
        _ => OpenError::Failed { path: name.into(), text: e.to_string() },
    };
    let device = std::fs::canonicalize(name).map_err(failed)?;
    let kind = std::fs::metadata(&device).map_err(failed)?.file_type();
    if kind.is_char_device() && !is_own_terminal(&device) {
        Ok(device)
    } else {
        Err(OpenError::NotAPort(name.into()))
    }
}

/// Recording from the terminal that the user types in would take away the interrupt key.
fn is_own_terminal(device: &Path) -> bool {
    nix::unistd::ttyname(std::io::stdin()).is_ok_and(|own| own == device)
        || nix::unistd::ttyname(std::io::stderr()).is_ok_and(|own| own == device)
}

fn classify(name: &Path, error: &tokio_serial::Error) -> OpenError {
    use std::io::ErrorKind as Io;
    use tokio_serial::ErrorKind as Kind;
    match error.kind {
        Kind::Io(Io::NotFound) => OpenError::Absent(name.into()),
        Kind::Io(Io::PermissionDenied) => OpenError::Denied(name.into()),
        // The serial library says "no device" when the exclusive lock is held by someone else.
        Kind::NoDevice => OpenError::Busy(name.into()),
        _ => OpenError::Failed { path: name.into(), text: error.to_string() },
    }
}

/// Best effort: asks the driver not to drop DTR when the line is closed, because that drop resets
/// many boards when the line is opened again. A pseudo-terminal has no such lines and no effect.
fn keep_lines_on_close(line: &tokio_serial::SerialStream) {
    use nix::sys::termios::{ControlFlags, SetArg, tcgetattr, tcsetattr};
    use std::os::fd::{AsRawFd, BorrowedFd};
    // SAFETY: `line` owns the descriptor and outlives this borrow.
    #[allow(unsafe_code)]
    let fd = unsafe { BorrowedFd::borrow_raw(line.as_raw_fd()) };
    if let Ok(mut settings) = tcgetattr(fd) {
        settings.control_flags.remove(ControlFlags::HUPCL);
        let _ = tcsetattr(fd, SetArg::TCSANOW, &settings);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nix::fcntl::OFlag;
    use nix::sys::termios::{ControlFlags, tcgetattr};
    use tokio_serial::SerialPort;

    #[tokio::test(flavor = "current_thread")]
    async fn keeping_the_control_lines_leaves_the_speed_as_it_was_set() {
        for baud in [9_600, 115_200, 250_000, 123_456] {
            let device = nix::pty::posix_openpt(OFlag::O_RDWR | OFlag::O_NOCTTY).unwrap();
            nix::pty::grantpt(&device).unwrap();
            nix::pty::unlockpt(&device).unwrap();
            let name = nix::pty::ptsname_r(&device).unwrap();
            let line = tokio_serial::new(name, baud).open_native_async().unwrap();
            keep_lines_on_close(&line);
            assert_eq!(line.baud_rate().unwrap(), baud);
            let flags = tcgetattr(&device).unwrap().control_flags;
            assert!(!flags.contains(ControlFlags::HUPCL));
        }
    }

    #[test]
    fn what_needs_the_user_is_told_from_what_may_pass() {
        let path = || PathBuf::from("/dev/x");
        let failed = OpenError::Failed { path: path(), text: "input/output error".into() };
        for error in [OpenError::Absent(path()), OpenError::Down(path()), failed] {
            assert!(error.may_pass(), "{error}");
        }
        for error in [
            OpenError::Denied(path()),
            OpenError::Busy(path()),
            OpenError::NotAPort(path()),
            OpenError::NotABus(path()),
            OpenError::NoCan(path()),
        ] {
            assert!(!error.may_pass(), "{error}");
        }
    }
}
