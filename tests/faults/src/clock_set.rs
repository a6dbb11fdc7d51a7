//! The wall clock of the computer is set while it records: the real program, whose wall clock
//! alone is moved by a library (`faketime`).

use crate::bench::{Feed, Kept, Outcome, Program, Scratch, Wire};
use nix::sys::signal::Signal;
use std::path::Path;
use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use wheelwitness_capture::read::CaptureReader;
use wheelwitness_capture::wall::WallClock;

/// Where Debian's package `faketime` has its library, by processor.
const LIBRARIES: [&str; 2] = [
    "/usr/lib/x86_64-linux-gnu/faketime/libfaketime.so.1",
    "/usr/lib/aarch64-linux-gnu/faketime/libfaketime.so.1",
];
/// Offsets of the wall clock one after the other, in seconds, and how the program tells each.
const OFFSETS: [(&str, &str); 4] = [
    ("-1700000000", ""),
    ("+0", "set forward by 1700000000"),
    ("+3600", "set forward by 3600"),
    ("+0", "set back by 3600"),
];
/// The same to the nearest second, as the stamps of the capture must tell it.
const STEPS_S: [i64; 3] = [1_700_000_000, 3_600, -3_600];
/// Longest gap between two chunks of a line that is fed all the time.
const LONGEST_GAP_S: f64 = 1.0;

/// Sets the clock from half a century ago to now, an hour on and an hour back.
pub fn clock_set(program: &Path) -> Outcome {
    let library = LIBRARIES.iter().find(|path| Path::new(path).exists());
    let library = library.ok_or("no libfaketime: install the package faketime")?;
    let bench = Scratch::new("clock")?;
    let (offset, into) = (bench.path("offset"), bench.path("drive"));
    set(&offset, OFFSETS[0].0)?;
    let wire = Wire::new()?;
    let mut command = Command::new(program);
    command.args(["record", "--quiet", "--source", &wire.source(), "--into"]).arg(&into);
    command.env("LD_PRELOAD", library).env("FAKETIME_TIMESTAMP_FILE", &offset);
    command.env("FAKETIME_NO_CACHE", "1").env("FAKETIME_DONT_FAKE_MONOTONIC", "1");
    let mut recorder = Program::start(&mut command)?;
    recorder.wait_for("opened")?;
    let (feed, on) = (Feed::default(), AtomicBool::new(true));
    let mut device = wire.device()?;
    let told_s = std::thread::scope(|scope| {
        scope.spawn(|| {
            feed.run(&mut device, 10, Duration::from_millis(3), || on.load(Ordering::Relaxed));
        });
        let told_s = set_and_listen(&mut recorder, &offset);
        on.store(false, Ordering::Relaxed);
        told_s
    })?;
    recorder.signal(Signal::SIGTERM);
    let (code, said) = recorder.end()?;
    let words = Kept::of(&into)?.words()?;
    if code != Some(0) || words != feed.sent() {
        return Err(format!("exit code {code:?}, {words} of {} words: {said}", feed.sent()));
    }
    let gap_s = check_capture(&into)?;
    Ok(format!(
        "set {} times, each told within {told_s:.1} s and kept in the capture; all {words} words \
         kept, longest gap {gap_s:.3} s",
        STEPS_S.len()
    ))
}

/// Moves the clock on its way; gives the longest time until that was told, in seconds.
fn set_and_listen(recorder: &mut Program, offset: &Path) -> Result<f64, String> {
    let mut longest_s = 0.0_f64;
    for (to, told) in &OFFSETS[1..] {
        // So that every setting stands for some blocks.
        std::thread::sleep(Duration::from_millis(2500));
        set(offset, to)?;
        let begun = Instant::now();
        recorder.wait_for(told)?;
        longest_s = longest_s.max(begun.elapsed().as_secs_f64());
    }
    Ok(longest_s)
}

fn set(offset: &Path, to: &str) -> Result<(), String> {
    // In one piece: the library may look at any moment.
    let next = offset.with_extension("next");
    let written = std::fs::write(&next, format!("{to}\n"));
    written.and_then(|()| std::fs::rename(&next, offset)).map_err(|e| e.to_string())
}

/// The stamps tell every setting, and no record was moved; gives the longest gap, in seconds.
fn check_capture(folder: &Path) -> Result<f64, String> {
    let mut reader = CaptureReader::open(folder).map_err(|e| e.to_string())?;
    let (mut wall, mut steps_s, mut times) = (WallClock::default(), Vec::new(), Vec::new());
    while let Some(item) = reader.next_item().map_err(|e| e.to_string())? {
        let set = reader.stamp().and_then(|stamp| wall.push(stamp));
        steps_s.extend(set.map(|set| (set.by_ns as f64 / 1e9).round() as i64));
        if let wheelwitness_capture::read::Item::Record(record) = item {
            times.push(record.boot_ns);
        }
    }
    if steps_s != STEPS_S {
        return Err(format!("the capture tells {steps_s:?} s instead of {STEPS_S:?} s"));
    }
    if !times.is_sorted() {
        return Err("records went back in time".into());
    }
    let gaps = times.windows(2).map(|pair| (pair[1] - pair[0]) as f64 / 1e9);
    let gap_s = gaps.fold(0.0, f64::max);
    if gap_s > LONGEST_GAP_S { Err(format!("a gap of {gap_s:.3} s")) } else { Ok(gap_s) }
}
