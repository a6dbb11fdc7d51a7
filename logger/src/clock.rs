//! The clock door: the host's three clocks, and a declared faster or slower twin of any clock.
//!
//! The time axis of a capture is the boot-time clock: it never steps and counts on through suspend.
//! Monotonic time tells how long the host slept; wall time is an annotation.

use nix::time::{ClockId, clock_gettime};
use wheelwitness_capture::clock::{Clock, Stamp};

#[cfg(any(target_os = "linux", target_os = "android"))]
const BOOT: ClockId = ClockId::CLOCK_BOOTTIME;
#[cfg(not(any(target_os = "linux", target_os = "android")))]
const BOOT: ClockId = ClockId::CLOCK_MONOTONIC;

/// The clocks of this computer: boot time, monotonic time and wall time.
#[derive(Clone, Copy, Debug, Default)]
pub struct HostClock;

impl Clock for HostClock {
    fn now(&self) -> Stamp {
        // Boot-time first: whoever looks for sleep relies on it.
        Stamp {
            boot_ns: read_ns(BOOT),
            mono_ns: read_ns(ClockId::CLOCK_MONOTONIC),
            wall_ns: read_ns(ClockId::CLOCK_REALTIME),
        }
    }
}

fn read_ns(id: ClockId) -> i64 {
    // These three clocks exist on every system we build for, and reading them cannot fail there.
    clock_gettime(id).map_or(0, |t| t.tv_sec() * 1_000_000_000 + t.tv_nsec())
}

/// A clock that runs `scale` times as fast as the one beneath it, from the moment it was made.
///
/// For a simulated vehicle that drives faster than real time. A recording made with it declares
/// the scale in a text record.
///
/// ```
/// use wheelwitness_capture::clock::{Clock, SimClock, Stamp};
/// use wheelwitness_logger::clock::ScaledClock;
///
/// let host = SimClock::at(Stamp { boot_ns: 1_000, mono_ns: 500, wall_ns: 0 });
/// let fast = ScaledClock::new(host.clone(), 8.0);
/// host.set(Stamp { boot_ns: 1_010, mono_ns: 510, wall_ns: 10 });
/// assert_eq!(fast.now(), Stamp { boot_ns: 1_080, mono_ns: 580, wall_ns: 80 });
/// ```
pub struct ScaledClock<C> {
    inner: C,
    origin: Stamp,
    scale: f64,
}

impl<C: Clock> ScaledClock<C> {
    /// A clock beginning at the present reading of `inner`.
    pub fn new(inner: C, scale: f64) -> Self {
        let origin = inner.now();
        ScaledClock { inner, origin, scale }
    }

    fn stretch(&self, origin_ns: i64, now_ns: i64) -> i64 {
        origin_ns + ((now_ns - origin_ns) as f64 * self.scale).round() as i64
    }
}

impl<C: Clock> Clock for ScaledClock<C> {
    fn now(&self) -> Stamp {
        let (at, from) = (self.inner.now(), self.origin);
        Stamp {
            boot_ns: self.stretch(from.boot_ns, at.boot_ns),
            mono_ns: self.stretch(from.mono_ns, at.mono_ns),
            wall_ns: self.stretch(from.wall_ns, at.wall_ns),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn boot_time_is_never_behind_monotonic_time() {
        // clock_gettime(2): CLOCK_BOOTTIME is CLOCK_MONOTONIC plus the time spent suspended.
        let stamp = HostClock.now();
        assert!(stamp.boot_ns + 1_000_000 >= stamp.mono_ns);
    }

    #[test]
    fn wall_time_agrees_with_the_standard_library() {
        let wall = HostClock.now().wall_ns as f64 * 1e-9;
        let unix = std::time::SystemTime::UNIX_EPOCH.elapsed().unwrap().as_secs_f64();
        assert!((wall - unix).abs() < 60.0, "{wall} and {unix}");
    }

    #[test]
    fn a_scaled_clock_never_runs_backward() {
        let clock = ScaledClock::new(HostClock, 20.0);
        let stamps: Vec<_> = (0..1000).map(|_| clock.now().boot_ns).collect();
        assert!(stamps.is_sorted());
    }
}
