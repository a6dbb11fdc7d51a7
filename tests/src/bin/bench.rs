//! How long does a verdict take? `cargo run --release -p wheelwitness-tests --bin bench`
//!
//! Judges a simulated drive of one hour and one of a quarter of it, against reading and checking
//! the same bytes, all in one run: ratios, because machines differ. The ratio of the two drives
//! shows that nothing grows faster than the drive does.

use std::time::{Duration, Instant};
use wheelwitness_analyze::judge::judge;
use wheelwitness_rig::scenario::{TRAIL_WAGON, trail_wagon};
use wheelwitness_rig::{Plan, Script};
use wheelwitness_tests::campaign::capture_of;

fn main() {
    println!(
        "{:>10}{:>12}{:>14}{:>14}{:>10}",
        "drive s", "MB", "read+CRC s", "to verdict s", "ratio"
    );
    let quarter = measure(8);
    let hour = measure(32);
    println!(
        "four times the drive takes {:.2} times the time",
        hour.as_secs_f64() / quarter.as_secs_f64()
    );
}

/// Time from capture to verdicts for a drive of so many laps.
fn measure(laps: usize) -> Duration {
    let lap = "speed 12\nstraight 700 at 12\ncoast 4\nspeed 1.6\ncircle left lock turns 1 at 1.6\n\
        circle right lock turns 1 at 1.6\n";
    let text = format!("select full-time\nawait 15 at 1\n{}stop\n", lap.repeat(laps));
    let script = Script::parse("bench", &text).expect("the script is sound");
    let run = Plan::new(trail_wagon(), script, 1, Vec::new()).run();
    let mut reader = capture_of(&run, TRAIL_WAGON);
    let begun = Instant::now();
    // The reader checks the CRC-32C of every block.
    let mut records = 0u64;
    while reader.next_item().expect("readable").is_some() {
        records += 1;
    }
    let read = begun.elapsed();
    let begun = Instant::now();
    let (result, _) = judge(&mut reader, None).expect("the drive can be judged");
    let judged = begun.elapsed();
    println!(
        "{:>10.0}{:>12.1}{:>14.3}{:>14.3}{:>10.0}   ({} claims, {records} records)",
        run.truth.duration_s,
        reader.segments().iter().map(|s| s.bytes).sum::<u64>() as f64 / 1e6,
        read.as_secs_f64(),
        judged.as_secs_f64(),
        judged.as_secs_f64() / read.as_secs_f64(),
        result.claims.len()
    );
    judged
}
