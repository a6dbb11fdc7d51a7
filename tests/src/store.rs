//! Outcomes of drives in a file, a line each: a campaign of hours can be stopped, gone on with and
//! split.

use crate::campaign::{Outcome, by_bus, drive, stress, turned};
use crate::stress::STRESSES;
use serde::{Deserialize, Serialize};
use std::collections::{HashMap, HashSet};
use std::fs::File;
use std::hash::{DefaultHasher, Hasher};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// What is done with a vehicle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// It is driven anyhow.
    Random,
    /// It is turned by hand.
    Hands,
    /// It is driven anyhow and watched through its bus.
    Bus,
    /// The stress of this number.
    Stress(usize),
}

/// One drive to be done: its kind and its seed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Job {
    /// Kind.
    pub kind: Kind,
    /// Seed.
    pub seed: u64,
}

impl Job {
    /// Name of its kind.
    pub fn name(&self) -> &'static str {
        match self.kind {
            Kind::Random => "random",
            Kind::Hands => "hands",
            Kind::Bus => "bus",
            Kind::Stress(k) => STRESSES[k].0,
        }
    }

    fn run(&self) -> Outcome {
        match self.kind {
            Kind::Random => drive(self.seed),
            Kind::Hands => turned(self.seed),
            Kind::Bus => by_bus(self.seed),
            Kind::Stress(k) => stress(k, self.seed),
        }
    }
}

/// Random drives from a seed on; for every fifth of them one vehicle that is turned by hand, one
/// that is watched through its bus, and one stress drive of each kind.
pub fn jobs(first: u64, drives: u64) -> Vec<Job> {
    let random = (first..first + drives).map(|seed| Job { kind: Kind::Random, seed });
    let others = (0..STRESSES.len()).map(Kind::Stress).chain([Kind::Hands, Kind::Bus]);
    let others = (first..first + drives / 5)
        .flat_map(|seed| others.clone().map(move |kind| Job { kind, seed }));
    random.chain(others).collect()
}

#[derive(Serialize, Deserialize)]
struct Line {
    build: u64,
    outcome: Outcome,
}

/// Outcomes so far, and where more of them go.
#[derive(Debug)]
pub struct Store {
    path: PathBuf,
    build: u64,
    file: Mutex<File>,
    /// What was read, and what was done since.
    outcomes: Mutex<Vec<Outcome>>,
}

impl Store {
    /// Opens or makes a file. Outcomes of another build of this program say nothing about this
    /// one and are refused; a line that was cut off is left out and done again.
    pub fn open(path: &Path, build: u64) -> Result<Store, String> {
        let told = |e: std::io::Error| format!("{}: {e}", path.display());
        let text = if path.exists() {
            std::fs::read_to_string(path).map_err(told)?
        } else {
            String::new()
        };
        let mut outcomes = Vec::new();
        for (number, line) in text.lines().enumerate() {
            let Ok(line) = serde_json::from_str::<Line>(line) else { continue };
            if line.build != build {
                return Err(format!(
                    "{}:{}: this drive was judged by another build; name another file",
                    path.display(),
                    number + 1
                ));
            }
            outcomes.push(line.outcome);
        }
        let mut file = File::options().create(true).append(true).open(path).map_err(told)?;
        if !text.is_empty() && !text.ends_with('\n') {
            file.write_all(b"\n").map_err(told)?;
        }
        let (path, outcomes) = (path.to_owned(), Mutex::new(outcomes));
        Ok(Store { path, build, file: Mutex::new(file), outcomes })
    }

    /// Does what is not done yet of the jobs on all cores.
    pub fn run(&self, jobs: &[Job]) -> Result<(), String> {
        let left = self.left(jobs);
        let next = AtomicUsize::new(0);
        let cores = std::thread::available_parallelism().map_or(1, |n| n.get());
        std::thread::scope(|scope| {
            let work = || {
                while let Some(job) = left.get(next.fetch_add(1, Ordering::Relaxed)) {
                    self.keep(job.run())?;
                }
                Ok(())
            };
            let workers: Vec<_> = (0..cores).map(|_| scope.spawn(work)).collect();
            workers.into_iter().try_for_each(|w| w.join().expect("a drive panicked"))
        })
    }

    fn left(&self, jobs: &[Job]) -> Vec<Job> {
        let outcomes = self.outcomes.lock().unwrap_or_else(|e| e.into_inner());
        let done: HashSet<(&str, u64)> =
            outcomes.iter().map(|o| (o.kind.as_str(), o.seed)).collect();
        jobs.iter().filter(|j| !done.contains(&(j.name(), j.seed))).copied().collect()
    }

    fn keep(&self, outcome: Outcome) -> Result<(), String> {
        let line = Line { build: self.build, outcome };
        let mut text = serde_json::to_string(&line).map_err(|e| e.to_string())?;
        text.push('\n');
        let mut file = self.file.lock().unwrap_or_else(|e| e.into_inner());
        file.write_all(text.as_bytes()).map_err(|e| format!("{}: {e}", self.path.display()))?;
        self.outcomes.lock().unwrap_or_else(|e| e.into_inner()).push(line.outcome);
        Ok(())
    }

    /// The outcomes of the jobs, in their order, whoever did them.
    pub fn of(self, jobs: &[Job]) -> Vec<Outcome> {
        let places: HashMap<(&str, u64), usize> =
            jobs.iter().enumerate().map(|(at, j)| ((j.name(), j.seed), at)).collect();
        let all = self.outcomes.into_inner().unwrap_or_else(|e| e.into_inner());
        let place = |o: Outcome| Some((*places.get(&(o.kind.as_str(), o.seed))?, o));
        let mut placed: Vec<(usize, Outcome)> = all.into_iter().filter_map(place).collect();
        placed.sort_by_key(|p| p.0);
        placed.into_iter().map(|p| p.1).collect()
    }
}

/// What tells this build from another one: a hash of the program file.
pub fn build() -> Result<u64, String> {
    let program = std::env::current_exe().and_then(std::fs::read);
    let bytes = program.map_err(|e| format!("the program cannot be read: {e}"))?;
    let mut hasher = DefaultHasher::new();
    hasher.write(&bytes);
    Ok(hasher.finish())
}
