//! RECORD: devices, clocks, the recording loop and its status line.
//!
//! The logger keeps what arrived. It knows no vehicle, computes no quantity that it stores, and
//! never makes a source wait: not for the disk, not for the screen.
//!
//! ```text
//! line ── read ──► queue ── take ──► capture writer ── sync ──► medium
//!  port    source    queue     store        (wheelwitness-capture)
//! ```
//!
//! One task a source reads whatever its line has at once and stamps it ([`source`]). A bounded
//! queue ([`queue`]) leads to the one thread that may wait for the disk ([`store`]). The doors to
//! the world are the [`port`], the [`bus`] and the clock ([`clock`]) here and the storage of the
//! capture crate;
//! each has a simulated twin. [`recorder`] puts it all together, [`cli`] is what the user types.
//!
//! Modules are listed from inner to outer; each uses only those above it.

pub mod clock;

pub mod error;

pub mod text;

pub mod names;

pub mod port;

pub mod sim;

pub mod bus;

pub mod inventory;

pub mod watch;

pub mod settings;

pub mod queue;

pub mod stop;

pub mod status;

pub mod tap;

pub mod source;

pub mod folder;

pub mod recovery;

pub mod store;

pub mod screen;

pub mod recorder;

pub mod cli;

#[doc = include_str!("../STANDING-PROMISES.md")]
pub mod standing_promises {}
