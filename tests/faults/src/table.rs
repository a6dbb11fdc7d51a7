//! The fault table as data: number, what is promised, the figure, and what holds it.

use crate::bench::Outcome;
use crate::cut::{Syncs, power_cuts};
use crate::volume::System;
use crate::{calls, clock_set, ending, full, guest, kill, memory, soak};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How much a trial does.
#[derive(Clone, Debug)]
pub struct Effort {
    /// The program that records: this one, called with `record`.
    pub program: PathBuf,
    /// The whole campaign.
    pub full: bool,
    /// So many cuts, kills and the like, instead of the usual number.
    pub times: Option<u64>,
    /// Trials that mostly wait run on so many threads.
    pub threads: u64,
    /// The file that keeps what trials of hours have shown so far, so that they can be gone on
    /// with.
    pub into: Option<PathBuf>,
}

impl Effort {
    fn times(&self, short: u64, full: u64) -> u64 {
        self.times.unwrap_or(if self.full { full } else { short })
    }
}

/// A trial of this crate.
pub type Trial = fn(&Effort) -> Outcome;

/// A test of the house: the file it stands in, and its name.
pub type Test = (&'static str, &'static str);

/// One row of the table.
pub struct Row {
    /// Its number.
    pub number: u8,
    /// What happens.
    pub fault: &'static str,
    /// What is promised then.
    pub promise: &'static str,
    /// The figure that must be shown.
    pub figure: &'static str,
    /// Tests that hold it.
    pub tests: &'static [Test],
    /// The trial that holds it.
    pub trial: Option<Trial>,
    /// What is still missing; with neither tests nor trial the row is not held.
    pub open: &'static str,
}

impl Row {
    /// Whether anything holds the row.
    pub fn is_held(&self) -> bool {
        self.trial.is_some() || !self.tests.is_empty()
    }
}

mod paths;
mod row;
mod lost;
mod wrong;
mod hindered;

/// All rows, in the order of their numbers.
pub fn rows() -> impl Iterator<Item = &'static Row> {
    lost::LOST.iter().chain(&wrong::WRONG).chain(&hindered::HINDERED)
}

/// What needs real hardware, beyond the rows: not verified by anything here.
pub const HARDWARE: [&str; 6] = [
    "a card or stick that calls a sync done before it is, or damages neighbouring data at a cut",
    "sectors written out of order or torn inside the medium",
    "USB adapters: the control lines at opening, their latency timer, overrun counters",
    "the wrong speed on a real line",
    "a real suspend of the computer",
    "exFAT, and FAT of other kernels than the guest's",
];

fn ext4_cuts(effort: &Effort) -> Outcome {
    let count = effort.times(100, 10_000);
    power_cuts(System::Ext4, Syncs::Honest, 0, count, effort.threads).map(|found| found.to_string())
}

fn fat_cuts(effort: &Effort) -> Outcome {
    guest::fat_cuts(&effort.program, effort.times(25, 1000), effort.into.as_deref())
}

fn kills(effort: &Effort) -> Outcome {
    let killed = kill::kills(&effort.program, effort.times(40, 2000), effort.threads)?;
    // Not every machine lets a process have less memory than there is.
    if !effort.full {
        return Ok(killed);
    }
    let starved = memory::starved(&effort.program)?;
    Ok(format!("{killed}; {starved}"))
}

fn failing_calls(effort: &Effort) -> Outcome {
    calls::sweep(&effort.program, effort.full, effort.threads)
}

fn stall(effort: &Effort) -> Outcome {
    calls::stall(&effort.program, Duration::from_secs(5))
}

fn interrupted_ends(effort: &Effort) -> Outcome {
    ending::interrupted_ends(&effort.program, effort.times(8, 50))
}

fn clock_sets(effort: &Effort) -> Outcome {
    clock_set::clock_set(&effort.program)
}

fn long_drive(effort: &Effort) -> Outcome {
    soak::soak(if effort.full { 12.0 } else { 0.1 })
}

fn space_returns(effort: &Effort) -> Outcome {
    full::space_returns(&effort.program)
}

fn pulled(effort: &Effort) -> Outcome {
    full::pulled(&effort.program)
}

fn read_only(effort: &Effort) -> Outcome {
    full::read_only(&effort.program)
}

fn longest_file(effort: &Effort) -> Outcome {
    full::longest_file(&effort.program)
}

/// The file of a test, from the top of the house.
pub fn file_of(test: &Test) -> PathBuf {
    guest::top().join(Path::new(test.0))
}
