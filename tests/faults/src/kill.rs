//! Kills: the real program, killed at any moment, and started again.

use crate::bench::{Feed, Kept, Noise, Outcome, Program, Scratch, Wire, Worst, repeat};
use nix::sys::signal::Signal;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};
use wheelwitness_logger::recovery::NOTE_NAME;

/// Longest life of a recorder, in milliseconds.
const LONGEST_MS: u64 = 600;
/// Some live longer by so much: long enough to lose more than a kill may cost.
const LONG_LIFE: (u64, u64) = (8, 2_000);
/// A kill costs at most so much, in seconds: what waited for its sync, on a busy computer too.
const MAY_COST_S: f64 = 1.0;
/// Kills in a row on one bench.
const IN_A_ROW: u64 = 20;
/// From a new start to recording takes at most so long, in seconds.
const RESTART_S: f64 = 2.0;

/// Kills a recorder `count` times; each next one must find what the one before left.
pub fn kills(program: &Path, count: u64, threads: u64) -> Outcome {
    let (restart, lost, settled) = (Worst::default(), Worst::default(), Worst::default());
    let words = AtomicU64::new(0);
    repeat(count.div_ceil(IN_A_ROW), threads, |number| {
        let bench = Scratch::in_memory("kills")?;
        let mut before: Option<PathBuf> = None;
        for nth in 0..IN_A_ROW.min(count - number * IN_A_ROW) {
            let into = bench.path(&format!("drive-{nth}"));
            let (every, more_ms) = LONG_LIFE;
            let more_ms = if nth % every == 0 { more_ms } else { 0 };
            let life_ms = Noise::new(number * 1000 + nth).below(LONGEST_MS) + more_ms;
            let life = Life::new(program, &into, before.as_deref(), life_ms)?;
            restart.take_s(life.started_s);
            let kept = Kept::of(&into)?;
            kept.check_holes()?;
            let there = kept.words()?;
            if kept.closed || there > life.feed.sent() {
                return Err("a killed recording holds what it cannot".into());
            }
            lost.take_s(life.feed.lost_s(there, life.ended));
            settled.take_s(life.settled_s);
            words.fetch_add(there as u64, Ordering::Relaxed);
            if let Some(folder) = before.replace(into) {
                let _ = std::fs::remove_dir_all(folder);
            }
        }
        Ok(())
    })?;
    let told = format!(
        "{count} kills: {} words kept, in order and once; at most {:.3} s lost; back to recording \
         within {:.3} s; the one before noted within {:.3} s",
        words.load(Ordering::Relaxed),
        lost.s(),
        restart.s(),
        settled.s()
    );
    if restart.s() > RESTART_S || lost.s() > MAY_COST_S { Err(told) } else { Ok(told) }
}

/// One life of a recorder, from start to kill.
struct Life {
    feed: Feed,
    started_s: f64,
    settled_s: f64,
    ended: Instant,
}

impl Life {
    fn new(
        program: &Path,
        into: &Path,
        before: Option<&Path>,
        life_ms: u64,
    ) -> Result<Life, String> {
        let wire = Wire::new()?;
        let begun = Instant::now();
        let mut command = Command::new(program);
        command.args(["record", "--quiet", "--source", &wire.source(), "--into"]).arg(into);
        let mut recorder = Program::start(&mut command)?;
        recorder.wait_for("opened")?;
        let started_s = begun.elapsed().as_secs_f64();
        let (feed, on) = (Feed::default(), AtomicBool::new(true));
        let mut device = wire.device()?;
        let settled_s = std::thread::scope(|scope| {
            scope.spawn(|| {
                let on = || on.load(Ordering::Relaxed);
                feed.run(&mut device, 10, Duration::from_millis(3), on);
            });
            let settled = before.map_or(Ok(0.0), |folder| noted(folder, begun));
            std::thread::sleep(Duration::from_millis(life_ms));
            recorder.signal(Signal::SIGKILL);
            on.store(false, Ordering::Relaxed);
            settled
        });
        let ended = Instant::now();
        recorder.end()?;
        Ok(Life { feed, started_s, settled_s: settled_s?, ended })
    }
}

/// Waits for the note in a folder that was cut off; gives how long it took.
fn noted(folder: &Path, begun: Instant) -> Result<f64, String> {
    let note = folder.join(NOTE_NAME);
    while !note.exists() {
        if begun.elapsed() > crate::bench::LIMIT {
            return Err(format!("{} was never noted as cut off", folder.display()));
        }
        std::thread::sleep(Duration::from_millis(1));
    }
    Ok(begun.elapsed().as_secs_f64())
}
