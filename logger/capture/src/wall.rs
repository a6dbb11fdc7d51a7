//! Was the wall clock set? Boot-time goes on evenly, so a jump of wall time against it tells.
//!
//! The clocks of a stamp are read one after the other, wall time last. Whatever holds the reader
//! up in between makes wall time look too late, for one stamp; a clock that was set stays where it
//! is. So two stamps in a row must agree before a new setting counts. A clock that is corrected
//! gradually runs up to a tenth fast or slow, and was not set.

use crate::clock::Stamp;

/// The wall clock was set between two stamps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ClockSet {
    /// The last stamp by the old setting.
    pub before: Stamp,
    /// The first stamp by the new one.
    pub after: Stamp,
    /// By how much, in nanoseconds; forward is positive.
    pub by_ns: i64,
}

/// Follows the stamps of a recording.
///
/// ```
/// use wheelwitness_capture::clock::Stamp;
/// use wheelwitness_capture::wall::WallClock;
///
/// let (s, mut wall) = (1_000_000_000, WallClock::default());
/// // Somebody sets the clock forward by an hour after three seconds.
/// let set = (1..9).find_map(|n| {
///     let wall_ns = n * s + if n > 3 { 3600 * s } else { 0 };
///     wall.push(Stamp { boot_ns: n * s, mono_ns: n * s, wall_ns })
/// });
/// assert_eq!(set.map(|set| (set.by_ns, set.after.boot_ns)), Some((3600 * s, 4 * s)));
/// ```
#[derive(Debug, Clone, Default)]
pub struct WallClock {
    /// The newest stamp by the setting that counts.
    steady: Option<Stamp>,
    /// A stamp that does not go with it: the clock was set, or the reader was held up.
    doubtful: Option<Stamp>,
}

/// Two stamps may disagree by this much, in nanoseconds: far above what reading clocks costs.
const SLACK_NS: i64 = 100_000_000;
/// ... and by this part of the time between them: the quickest that clocks are corrected
/// gradually is about a twelfth.
const GRADUAL_PART: i64 = 10;

impl WallClock {
    /// Takes the next stamp; tells that the clock was set once a second stamp confirms it. A wall
    /// time of 0 is not known.
    pub fn push(&mut self, stamp: Stamp) -> Option<ClockSet> {
        // All records of a block have its stamp: it confirms nothing that it told itself.
        if stamp.wall_ns == 0 || self.doubtful == Some(stamp) {
            return None;
        }
        if self.steady.is_some_and(|steady| agree(steady, stamp)) {
            self.steady = Some(stamp);
            self.doubtful = None;
            return None;
        }
        let after = self.doubtful.replace(stamp).filter(|doubtful| agree(*doubtful, stamp))?;
        self.doubtful = None;
        let before = self.steady.replace(stamp)?;
        // Being held up makes wall time look later: what is less ahead is nearer to the truth.
        let by_ns = ahead_ns(after).min(ahead_ns(stamp)).saturating_sub(ahead_ns(before));
        Some(ClockSet { before, after, by_ns })
    }
}

fn ahead_ns(stamp: Stamp) -> i64 {
    stamp.wall_ns.saturating_sub(stamp.boot_ns)
}

fn agree(a: Stamp, b: Stamp) -> bool {
    let passed_ns = b.boot_ns.saturating_sub(a.boot_ns).max(0);
    let moved_ns = ahead_ns(b).saturating_sub(ahead_ns(a)).saturating_abs();
    moved_ns <= SLACK_NS.saturating_add(passed_ns / GRADUAL_PART)
}
