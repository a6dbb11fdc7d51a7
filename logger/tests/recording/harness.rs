//! Three verbs for tests with the real program: start it, wait for what must appear, end it.
//!
//! Nothing waits for a fixed time. A limit ends a test that would hang; it is far longer than
//! anything takes on a slow, loaded computer.

use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use std::fs::File;
use std::io::{BufRead, BufReader, Write};
use std::os::fd::OwnedFd;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};
use wheelwitness_capture::read::{CaptureReader, Item};
use wheelwitness_capture::record::{Kind, Record};

/// Ends a test that would hang.
pub const LIMIT: Duration = Duration::from_secs(120);

/// A folder of its own for one test, removed at the end.
pub struct Bench(pub PathBuf);

impl Bench {
    pub fn new() -> Bench {
        static NUMBER: AtomicU32 = AtomicU32::new(0);
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let name = format!("recording-{}-{number}", std::process::id());
        let path = std::env::temp_dir().join(name);
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).unwrap();
        Bench(path)
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }

    /// Points the link `name` to `target`, as the device manager does when a device comes.
    pub fn point(&self, name: &str, target: &Path) -> PathBuf {
        let (link, fresh) = (self.path(name), self.path("fresh-link"));
        symlink(target, &fresh).unwrap();
        std::fs::rename(&fresh, &link).unwrap();
        link
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// A pseudo-terminal; the test holds the device's end. Dropping it is pulling the plug.
pub struct Wire {
    device: File,
    pub name: PathBuf,
}

impl Wire {
    pub fn new() -> Wire {
        use nix::fcntl::OFlag;
        use nix::sys::termios::{SetArg, cfmakeraw, tcgetattr, tcsetattr};
        // Closed in child processes from the very beginning: a program that another test starts
        // would else hold the line open.
        let flags = OFlag::O_RDWR | OFlag::O_NOCTTY | OFlag::O_CLOEXEC;
        let device = nix::pty::posix_openpt(flags).unwrap();
        nix::pty::grantpt(&device).unwrap();
        nix::pty::unlockpt(&device).unwrap();
        let name = PathBuf::from(nix::pty::ptsname_r(&device).unwrap());
        let mut raw = tcgetattr(&device).unwrap();
        cfmakeraw(&mut raw);
        tcsetattr(&device, SetArg::TCSANOW, &raw).unwrap();
        Wire { device: File::from(OwnedFd::from(device)), name }
    }

    /// Sends bytes; waits while the line is full, as a device with flow control would.
    pub fn send(&mut self, bytes: &[u8]) {
        self.device.write_all(bytes).unwrap();
    }

    /// The device's end, for a thread of its own.
    pub fn device(&self) -> File {
        self.device.try_clone().unwrap()
    }
}

/// The real program, recording.
pub struct Program {
    child: Child,
    lines: Receiver<String>,
    said: Vec<String>,
}

/// How the program ended.
pub struct Over {
    pub code: Option<i32>,
    pub said: String,
}

impl Program {
    pub fn record(args: &[&str]) -> Program {
        Program::start(
            Command::new(env!("CARGO_BIN_EXE_wheelwitness-log")).arg("record").args(args),
        )
    }

    pub fn start(command: &mut Command) -> Program {
        let mut child = command
            .stdin(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let (sender, lines) = channel();
        let stderr = BufReader::new(child.stderr.take().unwrap());
        std::thread::spawn(move || {
            for line in stderr.lines().map_while(Result::ok) {
                let _ = sender.send(line);
            }
        });
        Program { child, lines, said: Vec::new() }
    }

    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Waits until the program says `text` in a line that was not waited for before.
    pub fn wait_for(&mut self, text: &str) {
        let until = Instant::now() + LIMIT;
        loop {
            let left = until.saturating_duration_since(Instant::now());
            let line = self.lines.recv_timeout(left);
            let line = line.unwrap_or_else(|_| panic!("never said {text:?}, but {:#?}", self.said));
            self.said.push(line);
            if self.said.last().is_some_and(|line| line.contains(text)) {
                return;
            }
        }
    }

    pub fn signal(&self, signal: Signal) {
        kill(Pid::from_raw(self.child.id() as i32), signal).unwrap();
    }

    /// Waits for the end.
    pub fn end(mut self) -> Over {
        let until = Instant::now() + LIMIT;
        let code = loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                break status.code();
            }
            assert!(Instant::now() < until, "still running; it said {:#?}", self.said);
            std::thread::sleep(Duration::from_millis(5));
        };
        self.said.extend(self.lines.iter());
        Over { code, said: self.said.join("\n") }
    }

    pub fn end_by(self, signal: Signal) -> Over {
        self.signal(signal);
        self.end()
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        // A failing test leaves no recorder behind.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Everything that can be read from a capture, and whether it was closed cleanly.
pub fn read(folder: &Path) -> (Vec<Record>, bool) {
    let mut records = Vec::new();
    let Ok(mut reader) = CaptureReader::open(folder) else { return (records, false) };
    while let Ok(Some(item)) = reader.next_item() {
        if let Item::Record(record) = item {
            records.push(record);
        }
    }
    let closed = reader.is_closed();
    (records, closed)
}

/// The bytes of one source, joined.
pub fn bytes_of(records: &[Record], source: u16) -> Vec<u8> {
    let of_source = records.iter().filter(|r| r.source == source && r.kind == Kind::Bytes);
    of_source.flat_map(|r| r.bytes.iter().copied()).collect()
}

/// The kinds of one source's records in order, runs of bytes as one.
pub fn story(records: &[Record], source: u16) -> Vec<Kind> {
    let kinds = records.iter().filter(|r| r.source == source).map(|r| r.kind);
    let mut story: Vec<_> = kinds.filter(|kind| *kind != Kind::Text).collect();
    story.dedup();
    story
}

/// Waits until the capture holds at least `count` bytes of a source.
pub fn wait_for_bytes(folder: &Path, source: u16, count: usize) {
    let until = Instant::now() + LIMIT;
    while bytes_of(&read(folder).0, source).len() < count {
        assert!(Instant::now() < until, "{count} bytes never arrived in the capture");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Repeatable noise: the same seed gives the same bytes (xorshift, Marsaglia 2003).
pub struct Noise(u64);

impl Noise {
    pub fn new(seed: u64) -> Noise {
        Noise(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    pub fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    pub fn bytes(&mut self, count: usize) -> Vec<u8> {
        (0..count).map(|_| (self.next() >> 24) as u8).collect()
    }
}

/// `name=port[,rest]` as text.
pub fn source(name: &str, port: &Path, rest: &str) -> String {
    format!("{name}={}{rest}", port.display())
}

/// A path as text.
pub fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}
