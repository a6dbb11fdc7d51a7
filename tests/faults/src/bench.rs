//! The bench: folders, wires, the real program under the hammer, and numbered words on its line.

use nix::fcntl::OFlag;
use nix::sys::signal::{Signal, kill};
use nix::sys::termios::{SetArg, cfmakeraw, tcgetattr, tcsetattr};
use nix::unistd::Pid;
use std::fs::File;
use std::io::{BufRead, BufReader, Write};
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};
use wheelwitness_capture::read::{CaptureReader, Hole, Item};
use wheelwitness_capture::record::{Kind, Record};
use wheelwitness_capture::storage::{SimStorage, Storage};

/// Ends a trial that would hang.
pub const LIMIT: Duration = Duration::from_secs(60);
/// A word of the feed: its number, eight bytes.
pub const WORD_BYTES: usize = 8;

/// What went wrong, for a person.
pub type Outcome = Result<String, String>;

/// A folder of its own, removed at the end.
pub struct Scratch(PathBuf);

impl Scratch {
    /// Makes the folder below that of temporary files.
    pub fn new(name: &str) -> Result<Scratch, String> {
        Scratch::below(&std::env::temp_dir(), name)
    }

    /// Makes it in memory where there is such a place, so that no real disk sets the pace.
    pub fn in_memory(name: &str) -> Result<Scratch, String> {
        let shm = Path::new("/dev/shm");
        let tmp = std::env::temp_dir();
        Scratch::below(if shm.is_dir() { shm } else { &tmp }, name)
    }

    fn below(parent: &Path, name: &str) -> Result<Scratch, String> {
        static NUMBER: AtomicU64 = AtomicU64::new(0);
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let path = parent.join(format!("faults-{name}-{}-{number}", std::process::id()));
        std::fs::create_dir_all(&path).map_err(|e| format!("{}: {e}", path.display()))?;
        Ok(Scratch(path))
    }

    /// A path in it.
    pub fn path(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// Repeatable noise: the same seed gives the same numbers (xorshift, Marsaglia 2003).
pub struct Noise(u64);

impl Noise {
    /// Noise from a seed.
    pub fn new(seed: u64) -> Noise {
        Noise(seed.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    /// The next number below `end`.
    pub fn below(&mut self, end: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) % end
    }
}

/// A pseudo-terminal; the trial holds the device's end.
pub struct Wire {
    device: File,
    /// What the program opens.
    pub name: PathBuf,
}

impl Wire {
    /// A new line.
    pub fn new() -> Result<Wire, String> {
        let made = || -> nix::Result<Wire> {
            // A line that nobody reads any more must not hold up the trial.
            let flags = OFlag::O_RDWR | OFlag::O_NOCTTY | OFlag::O_CLOEXEC | OFlag::O_NONBLOCK;
            let device = nix::pty::posix_openpt(flags)?;
            nix::pty::grantpt(&device)?;
            nix::pty::unlockpt(&device)?;
            let name = PathBuf::from(nix::pty::ptsname_r(&device)?);
            let mut raw = tcgetattr(&device)?;
            cfmakeraw(&mut raw);
            tcsetattr(&device, SetArg::TCSANOW, &raw)?;
            Ok(Wire { device: File::from(OwnedFd::from(device)), name })
        };
        made().map_err(|e| format!("no pseudo-terminal: {e}"))
    }

    /// The device's end, for a thread of its own.
    pub fn device(&self) -> Result<File, String> {
        self.device.try_clone().map_err(|e| e.to_string())
    }

    /// As a source of the kind `other`.
    pub fn source(&self) -> String {
        format!("s={}", self.name.display())
    }
}

/// When each word was sent.
#[derive(Default)]
pub struct Feed(Mutex<Vec<Instant>>);

impl Feed {
    /// Sends numbered words in bursts every `pause` while `on` holds.
    pub fn run(&self, device: &mut File, burst: u64, pause: Duration, on: impl Fn() -> bool) {
        while on() {
            let mut bytes = Vec::new();
            {
                let mut sent = self.lock();
                for _ in 0..burst {
                    bytes.extend((sent.len() as u64).to_le_bytes());
                    sent.push(Instant::now());
                }
            }
            if !send(device, &bytes, &on) {
                return;
            }
            std::thread::sleep(pause);
        }
    }

    /// How many words were sent before `until`.
    pub fn sent_before(&self, until: Instant) -> usize {
        self.lock().iter().filter(|at| **at < until).count()
    }

    /// How many words were sent.
    pub fn sent(&self) -> usize {
        self.lock().len()
    }

    /// The span from the first word that is not among `kept` to `end`, in seconds.
    pub fn lost_s(&self, kept: usize, end: Instant) -> f64 {
        let sent = self.lock();
        let first = sent.get(kept).filter(|at| **at < end);
        first.map_or(0.0, |at| end.duration_since(*at).as_secs_f64())
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Vec<Instant>> {
        self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}

/// Sends all bytes, waiting while the line is full and `on` holds; `false` if they did not go.
pub fn send(device: &mut File, mut bytes: &[u8], on: impl Fn() -> bool) -> bool {
    let until = Instant::now() + LIMIT;
    while !bytes.is_empty() {
        match device.write(bytes) {
            Ok(sent) => bytes = &bytes[sent..],
            Err(e) if e.kind() == std::io::ErrorKind::WouldBlock && Instant::now() < until => {
                if !on() {
                    return false;
                }
                std::thread::sleep(Duration::from_millis(1));
            }
            Err(_) => return false,
        }
    }
    true
}

/// The real program, recording.
pub struct Program {
    child: Child,
    lines: Receiver<String>,
    said: String,
}

impl Program {
    /// Starts a command and listens to what it says.
    pub fn start(command: &mut Command) -> Result<Program, String> {
        let command = command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped());
        let mut child = command.spawn().map_err(|e| format!("{command:?}: {e}"))?;
        let (sender, lines) = channel();
        let stderr = BufReader::new(child.stderr.take().ok_or("no standard error")?);
        std::thread::spawn(move || {
            for line in stderr.lines().map_while(Result::ok) {
                let _ = sender.send(line);
            }
        });
        Ok(Program { child, lines, said: String::new() })
    }

    /// The process.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Waits until it says `text`.
    pub fn wait_for(&mut self, text: &str) -> Result<(), String> {
        let until = Instant::now() + LIMIT;
        loop {
            let left = until.saturating_duration_since(Instant::now());
            let line = self.lines.recv_timeout(left);
            let line = line.map_err(|_| format!("never said {text:?}, but: {}", self.said))?;
            self.said += &line;
            self.said.push('\n');
            if line.contains(text) {
                return Ok(());
            }
        }
    }

    /// Sends a signal.
    pub fn signal(&self, signal: Signal) {
        // The process may have ended by itself.
        let _ = kill(Pid::from_raw(self.child.id() as i32), signal);
    }

    /// Waits until the process has ended, however it did.
    pub fn wait_until_gone(&mut self) -> Result<(), String> {
        let until = Instant::now() + LIMIT;
        while Instant::now() < until {
            if self.child.try_wait().map_err(|e| e.to_string())?.is_some() {
                return Ok(());
            }
            std::thread::sleep(Duration::from_millis(2));
        }
        Err("still running".into())
    }

    /// Waits for the end; gives exit code and everything it said.
    pub fn end(mut self) -> Result<(Option<i32>, String), String> {
        let until = Instant::now() + LIMIT;
        let code = loop {
            match self.child.try_wait() {
                Ok(Some(status)) => break status.code(),
                Ok(None) if Instant::now() < until => std::thread::sleep(Duration::from_millis(2)),
                Ok(None) => return Err(format!("still running; it said: {}", self.said)),
                Err(e) => return Err(e.to_string()),
            }
        };
        let mut said = std::mem::take(&mut self.said);
        while let Ok(line) = self.lines.recv_timeout(Duration::from_secs(1)) {
            said += &line;
            said.push('\n');
        }
        Ok((code, said))
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// What a capture holds, as far as it can be read.
#[derive(Debug, Default)]
pub struct Kept {
    /// Its records.
    pub records: Vec<Record>,
    /// Its holes.
    pub holes: Vec<Hole>,
    /// It was closed cleanly.
    pub closed: bool,
}

impl Kept {
    /// Reads a capture. One that has no segment yet holds nothing, and neither does one of which
    /// the medium gives nothing at all.
    pub fn of(folder: &Path) -> Result<Kept, String> {
        use wheelwitness_capture::read::ReadError::{Medium, NoCapture};
        match CaptureReader::open(folder) {
            Ok(reader) => Kept::read(reader),
            Err(NoCapture { .. } | Medium { .. }) => Ok(Kept::default()),
            Err(e) => Err(e.to_string()),
        }
    }

    /// The same of one segment's bytes.
    pub fn of_bytes(segment: &[u8]) -> Result<Kept, String> {
        let medium = SimStorage::new();
        medium.put("segment-000001.wwc", segment);
        Kept::read(CaptureReader::from_storage(medium).map_err(|e| e.to_string())?)
    }

    fn read(mut reader: CaptureReader<impl Storage>) -> Result<Kept, String> {
        let mut kept = Kept::default();
        while let Some(item) = reader.next_item().map_err(|e| e.to_string())? {
            match item {
                Item::Record(record) => kept.records.push(record),
                Item::Hole(hole) => kept.holes.push(hole),
            }
        }
        kept.closed = reader.is_closed();
        Ok(kept)
    }

    /// The bytes that came over the line, joined.
    pub fn bytes(&self) -> Vec<u8> {
        let chunks = self.records.iter().filter(|r| r.kind == Kind::Bytes);
        chunks.flat_map(|r| r.bytes.iter().copied()).collect()
    }

    /// How many whole words came, if they are words 0, 1, 2 ... without a gap.
    pub fn words(&self) -> Result<usize, String> {
        let bytes = self.bytes();
        for (n, word) in bytes.chunks_exact(WORD_BYTES).enumerate() {
            if word != (n as u64).to_le_bytes() {
                return Err(format!("word {n} of the capture is not the one that was sent"));
            }
        }
        Ok(bytes.len() / WORD_BYTES)
    }

    /// Holes may stand at the end only, or cost nothing.
    pub fn check_holes(&self) -> Result<(), String> {
        match self.holes.iter().find(|hole| hole.records_missing.is_some_and(|n| n > 0)) {
            Some(hole) => Err(format!("records are missing in the middle: {hole:?}")),
            None => Ok(()),
        }
    }
}

/// Runs a command that must succeed.
pub fn must(command: &mut Command) -> Result<String, String> {
    let output = command.output().map_err(|e| format!("{command:?}: {e}"))?;
    if output.status.success() {
        return Ok(String::from_utf8_lossy(&output.stdout).into_owned());
    }
    Err(format!("{command:?}: {}", String::from_utf8_lossy(&output.stderr).trim()))
}

/// Runs `count` trials on several threads; the first failure ends it. `each` gets the number of
/// the trial.
pub fn repeat(
    count: u64,
    threads: u64,
    each: impl Fn(u64) -> Result<(), String> + Sync,
) -> Result<(), String> {
    let next = AtomicU64::new(0);
    let failed = Mutex::new(None);
    let lock = || failed.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                while lock().is_none() {
                    let number = next.fetch_add(1, Ordering::Relaxed);
                    if number >= count {
                        return;
                    }
                    if let Err(why) = each(number) {
                        lock().get_or_insert(format!("trial {number}: {why}"));
                    }
                }
            });
        }
    });
    lock().take().map_or(Ok(()), Err)
}

/// A running worst value, in microseconds or whatever else is counted.
#[derive(Default)]
pub struct Worst(AtomicU64);

impl Worst {
    /// Takes a value in seconds.
    pub fn take_s(&self, seconds: f64) {
        self.0.fetch_max((seconds * 1e6) as u64, Ordering::Relaxed);
    }

    /// The worst so far, in seconds.
    pub fn s(&self) -> f64 {
        self.0.load(Ordering::Relaxed) as f64 / 1e6
    }
}
