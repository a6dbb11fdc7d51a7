//! The clock door: three readings of one instant, and a simulated twin.

use std::sync::{Arc, Mutex};

/// One instant, read from three clocks, each in nanoseconds.
///
/// The time axis of a capture is `boot_ns` alone. `mono_ns` tells suspend from silence (boot-time
/// runs on while a computer sleeps, monotonic time does not). `wall_ns` is an annotation: it may
/// be wrong by decades on a computer without a clock battery, and may jump.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Stamp {
    /// Time since boot, suspend included (`CLOCK_BOOTTIME`).
    pub boot_ns: i64,
    /// Time since boot, suspend excluded (`CLOCK_MONOTONIC`).
    pub mono_ns: i64,
    /// Time since 1970-01-01 UTC as the host believes it (`CLOCK_REALTIME`).
    pub wall_ns: i64,
}

/// Where time comes from.
pub trait Clock: Send + Sync {
    /// The three clocks, read as one instant.
    fn now(&self) -> Stamp;
}

impl<C: Clock + ?Sized> Clock for Arc<C> {
    fn now(&self) -> Stamp {
        (**self).now()
    }
}

/// A clock that stands still until it is told otherwise. Clones share one time.
#[derive(Debug, Clone, Default)]
pub struct SimClock {
    now: Arc<Mutex<Stamp>>,
}

impl SimClock {
    /// A clock that shows `stamp`.
    pub fn at(stamp: Stamp) -> Self {
        SimClock { now: Arc::new(Mutex::new(stamp)) }
    }

    /// Shows `stamp` from now on.
    pub fn set(&self, stamp: Stamp) {
        *self.lock() = stamp;
    }

    /// Moves all three clocks on by `ns`.
    pub fn advance_ns(&self, ns: i64) {
        let mut now = self.lock();
        now.boot_ns += ns;
        now.mono_ns += ns;
        now.wall_ns += ns;
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Stamp> {
        self.now.lock().unwrap_or_else(|poisoned| poisoned.into_inner())
    }
}

impl Clock for SimClock {
    fn now(&self) -> Stamp {
        *self.lock()
    }
}
