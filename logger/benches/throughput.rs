//! Recording through a pseudo-terminal against plain reading of the same bytes.
//!
//! `cargo bench -p wheelwitness-logger` prints both rates, their ratio, and processor time.
//! For comparison: a pulse board at 250,000 baud sends 25 kB/s.

use nix::fcntl::OFlag;
use nix::sys::resource::{UsageWho, getrusage};
use nix::sys::termios::{SetArg, cfmakeraw, tcgetattr, tcsetattr};
use nix::sys::time::TimeValLike;
use std::fs::File;
use std::io::{Read, Write};
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use wheelwitness_logger::recorder::Recorder;
use wheelwitness_logger::settings::{SourceSettings, Typed};
use wheelwitness_logger::stop::Reason;

const BYTES: usize = 64 * 1024 * 1024;
/// About two sentences of counts, as a board sends them.
const CHUNK_BYTES: usize = 128;
const ROUNDS: usize = 3;

fn main() {
    println!("{} MiB in chunks of {CHUNK_BYTES} bytes through a pseudo-terminal", BYTES >> 20);
    println!(
        "{:>12} {:>12} {:>12} {:>14} {:>14}",
        "plain MB/s", "kept MB/s", "ratio", "plain CPU s", "kept CPU s"
    );
    for round in 0..ROUNDS {
        let (plain, plain_cpu) = measured(read_plainly);
        let (kept, kept_cpu) = measured(|| record(round));
        let rate = |time: Duration| BYTES as f64 / 1e6 / time.as_secs_f64();
        println!(
            "{:>12.1} {:>12.1} {:>12.2} {plain_cpu:>14.2} {kept_cpu:>14.2}",
            rate(plain),
            rate(kept),
            kept.as_secs_f64() / plain.as_secs_f64(),
        );
    }
}

/// Wall time and processor time of the whole process, the sending thread included.
fn measured(work: impl FnOnce()) -> (Duration, f64) {
    let (begun, cpu) = (Instant::now(), cpu_s());
    work();
    (begun.elapsed(), cpu_s() - cpu)
}

fn cpu_s() -> f64 {
    let usage = getrusage(UsageWho::RUSAGE_SELF).expect("the system tells its own usage");
    (usage.user_time().num_microseconds() + usage.system_time().num_microseconds()) as f64 * 1e-6
}

fn terminal() -> (File, PathBuf) {
    let device = nix::pty::posix_openpt(OFlag::O_RDWR | OFlag::O_NOCTTY | OFlag::O_CLOEXEC)
        .expect("a pseudo-terminal");
    nix::pty::grantpt(&device).expect("a pseudo-terminal");
    nix::pty::unlockpt(&device).expect("a pseudo-terminal");
    let name = nix::pty::ptsname_r(&device).expect("a name");
    let mut raw = tcgetattr(&device).expect("settings");
    cfmakeraw(&mut raw);
    tcsetattr(&device, SetArg::TCSANOW, &raw).expect("settings");
    (File::from(OwnedFd::from(device)), name.into())
}

fn send(mut device: &File) {
    let chunk = [b'x'; CHUNK_BYTES];
    for _ in 0..BYTES / CHUNK_BYTES {
        device.write_all(&chunk).expect("the line takes bytes");
    }
}

fn read_plainly() {
    let (device, name) = terminal();
    let mut line = File::open(name).expect("the line opens");
    std::thread::scope(|threads| {
        threads.spawn(|| send(&device));
        let mut buffer = vec![0; 64 * 1024];
        let mut left = BYTES;
        while left > 0 {
            left -= line.read(&mut buffer).expect("the line gives bytes");
        }
    });
}

fn record(round: usize) {
    let (device, name) = terminal();
    let folder = std::env::temp_dir().join(format!("throughput-{}-{round}", std::process::id()));
    let source: SourceSettings = format!("s={},250000", name.display()).parse().expect("a source");
    let sources = vec![source.into()];
    let typed = Typed { into: Some(folder.clone()), sources, ..Typed::default() };
    let recorder = Recorder::new(typed.meant().expect("settings"));
    let (stop, status) = (recorder.stop(), recorder.status());
    std::thread::scope(|threads| {
        let recording = threads.spawn(|| recorder.run().expect("a recording"));
        send(&device);
        while status.snapshot().sources[0].bytes < BYTES as u64 {
            std::thread::yield_now();
        }
        stop.finish(Reason::Asked);
        let ended = recording.join().expect("no panic");
        assert_eq!(ended.kept.dropped_bytes, 0, "the comparison counts only what was kept");
    });
    assert!(size(&folder) >= BYTES as u64);
    std::fs::remove_dir_all(&folder).expect("the folder goes");
}

fn size(folder: &Path) -> u64 {
    let files = std::fs::read_dir(folder).expect("the folder is there").flatten();
    files.filter_map(|file| file.metadata().ok()).map(|meta| meta.len()).sum()
}
