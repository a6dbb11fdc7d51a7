//! What power cuts have shown, added up; also as a line of text, so that a campaign can be gone
//! on with.

use super::QUICK_SYNC_S;
use std::fmt;

/// Figures of some cuts. Times are in microseconds.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Found {
    /// Cuts made.
    pub cuts: u64,
    /// Records that were called safe. All of them are there, or the cut is told as an error.
    pub acknowledged: u64,
    /// The longest span that a cut cost.
    pub lost_us: u64,
    /// The longest sync.
    pub longest_sync_us: u64,
    /// The longest time that noting a cut-off recording took.
    pub settled_us: u64,
    /// Tails that were no whole block.
    pub torn: u64,
    /// Recordings noted as cut off.
    pub noted: u64,
    /// Cuts in whose recording a sync took long.
    pub long_syncs: u64,
    /// Cuts that came while a sync was under way.
    pub within_sync: u64,
    /// FAT: files said to be longer than their chain of clusters.
    pub said_too_long: u64,
    /// FAT: cuts after which the driver gave less than what was safe until the volume was checked,
    /// although all of it was on the medium.
    pub read_late: u64,
    /// FAT: looks at an earlier file that gave other bytes than before, none of them safe ones.
    pub tails_changed: u64,
}

/// How a figure is added up.
#[derive(Clone, Copy, PartialEq, Eq)]
enum By {
    Sum,
    Worst,
}

impl Found {
    fn figures(&mut self) -> [(&'static str, By, &mut u64); 12] {
        [
            ("cuts", By::Sum, &mut self.cuts),
            ("acknowledged", By::Sum, &mut self.acknowledged),
            ("lost-us", By::Worst, &mut self.lost_us),
            ("longest-sync-us", By::Worst, &mut self.longest_sync_us),
            ("settled-us", By::Worst, &mut self.settled_us),
            ("torn", By::Sum, &mut self.torn),
            ("noted", By::Sum, &mut self.noted),
            ("long-syncs", By::Sum, &mut self.long_syncs),
            ("within-sync", By::Sum, &mut self.within_sync),
            ("said-too-long", By::Sum, &mut self.said_too_long),
            ("read-late", By::Sum, &mut self.read_late),
            ("tails-changed", By::Sum, &mut self.tails_changed),
        ]
    }

    /// Adds what other cuts have shown.
    pub fn add(&mut self, other: &Found) {
        let mut other = other.clone();
        for ((_, by, mine), (_, _, theirs)) in self.figures().into_iter().zip(other.figures()) {
            *mine = if by == By::Sum { *mine + *theirs } else { (*mine).max(*theirs) };
        }
    }

    /// The figures as one line.
    pub fn line(&self) -> String {
        let mut all = self.clone();
        all.figures().map(|(name, _, value)| format!("{name}={value}")).join(" ")
    }

    /// Reads such a line; `None` if it is none.
    pub fn of_line(line: &str) -> Option<Found> {
        let mut found = Found::default();
        let mut parts = line.split(' ');
        for (name, _, value) in found.figures() {
            *value = parts.next()?.strip_prefix(name)?.strip_prefix('=')?.parse().ok()?;
        }
        parts.next().is_none().then_some(found)
    }
}

impl fmt::Display for Found {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let s = |us: u64| us as f64 / 1e6;
        write!(
            f,
            "{} cuts ({} of them within a sync): 0 of {} acknowledged records lost; at most \
             {:.3} s lost, longest sync {:.3} s ({} over {QUICK_SYNC_S} s); {} torn tails; {} \
             noted as cut off, in at most {:.3} s",
            self.cuts,
            self.within_sync,
            self.acknowledged,
            s(self.lost_us),
            s(self.longest_sync_us),
            self.long_syncs,
            self.torn,
            self.noted,
            s(self.settled_us),
        )?;
        if self.said_too_long > 0 || self.read_late > 0 {
            let (long, late) = (self.said_too_long, self.read_late);
            write!(
                f,
                "; {long} files said to be longer than they are, {late} not read to the end of \
                 what was safe before the volume was checked"
            )?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_gives_back_its_figures_and_sums_and_worsts_add_up() {
        let one = Found { cuts: 3, acknowledged: 7, lost_us: 500, torn: 1, ..Found::default() };
        assert_eq!(Found::of_line(&one.line()), Some(one.clone()));
        let mut both = Found { cuts: 2, lost_us: 900, ..Found::default() };
        both.add(&one);
        assert_eq!((both.cuts, both.acknowledged, both.lost_us, both.torn), (5, 7, 900, 1));
        assert_eq!(Found::of_line("cuts=3"), None);
    }
}
