//! An interrupted end: the termination signal, and a kill soon after it.

use crate::bench::{Feed, Kept, Outcome, Program, Scratch, Wire, Worst};
use nix::sys::signal::Signal;
use std::path::Path;
use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Milliseconds from the signal to the kill, and the most that may be lost, in seconds.
pub const STEPS: [(u64, f64); 4] = [(0, 1.0), (50, 1.0), (200, 0.0), (500, 0.0)];

/// The line talks so long before the signal, then longer by so much each time, in milliseconds:
/// eight times reach every moment between two syncs. Always at one moment, a recorder that waits
/// for its next sync would look as good as one that syncs at once.
const TALK_MS: u64 = 400;
const LONGER_MS: u64 = 31;
const BETWEEN_SYNCS_MS: u64 = 250;

/// Ends a recording by a signal and kills it after each of the times, `times` times.
pub fn interrupted_ends(program: &Path, times: u64) -> Outcome {
    let bench = Scratch::in_memory("ending")?;
    let mut told = Vec::new();
    for (after_ms, may_lose_s) in STEPS {
        let lost = Worst::default();
        for n in 0..times {
            let into = bench.path(&format!("drive-{after_ms}-{n}"));
            let talk_ms = TALK_MS + n * LONGER_MS % BETWEEN_SYNCS_MS;
            let talk = Duration::from_millis(talk_ms);
            let lost_s = one_end(program, &into, talk, Duration::from_millis(after_ms))?;
            if lost_s > may_lose_s {
                return Err(format!("killed {after_ms} ms after the signal: {lost_s:.3} s lost"));
            }
            lost.take_s(lost_s);
            let _ = std::fs::remove_dir_all(into);
        }
        told.push(format!("after {after_ms} ms at most {:.3} s", lost.s()));
    }
    Ok(format!("{times} times each, lost when killed: {}", told.join(", ")))
}

/// Gives the span lost, in seconds, of what came before the signal.
fn one_end(program: &Path, into: &Path, talk: Duration, after: Duration) -> Result<f64, String> {
    let wire = Wire::new()?;
    // A board that does not answer: the recording is held open for its closing sentence.
    let board = format!("{},pulse-board", wire.source());
    let mut command = Command::new(program);
    command.args(["record", "--quiet", "--source", &board, "--into"]).arg(into);
    let mut recorder = Program::start(&mut command)?;
    recorder.wait_for("opened")?;
    let (feed, on) = (Feed::default(), AtomicBool::new(true));
    let mut device = wire.device()?;
    let signalled = std::thread::scope(|scope| {
        scope.spawn(|| {
            let on = || on.load(Ordering::Relaxed);
            feed.run(&mut device, 10, Duration::from_millis(3), on);
        });
        std::thread::sleep(talk);
        on.store(false, Ordering::Relaxed);
        let signalled = Instant::now();
        recorder.signal(Signal::SIGTERM);
        std::thread::sleep(after);
        recorder.signal(Signal::SIGKILL);
        signalled
    });
    recorder.end()?;
    let kept = Kept::of(into)?;
    kept.check_holes()?;
    Ok(feed.lost_s(kept.words()?, signalled))
}
