//! What the tests share: scratch folders, the program as a process, captures of any length.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use wheelwitness_capture::import::{Extras, import_wire};
use wheelwitness_capture::record::RecordingId;
use wheelwitness_capture::storage::DirStorage;
use wheelwitness_rig::scenario::TRAIL_WAGON;
use wheelwitness_rig::{Plan, Script, scenario};

/// A folder of a test's own, removed afterwards.
pub struct Folder(pub PathBuf);

impl Folder {
    pub fn new() -> Self {
        static NUMBER: AtomicU32 = AtomicU32::new(0);
        let n = NUMBER.fetch_add(1, Ordering::Relaxed);
        let path = std::env::temp_dir().join(format!("outside-{}-{n}", std::process::id()));
        fs::create_dir_all(&path).unwrap();
        Folder(path)
    }

    pub fn path(&self, name: impl AsRef<Path>) -> PathBuf {
        self.0.join(name)
    }

    /// A file with contents.
    pub fn file(&self, name: &str, contents: impl AsRef<[u8]>) -> PathBuf {
        fs::write(self.path(name), contents).unwrap();
        self.path(name)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// The program, not started yet, in a folder.
pub fn program(at: &Path, words: &[&OsStr]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_wheelwitness"));
    command.args(words).current_dir(at).stdin(Stdio::null()).env("COLUMNS", "80");
    command
}

/// Words of a command line.
pub fn words<'a>(texts: &[&'a str]) -> Vec<&'a OsStr> {
    texts.iter().map(|t| OsStr::new(*t)).collect()
}

/// Runs the program under an address-space limit; the limit counts everything, the program's own
/// code too.
pub fn limited(at: &Path, mebibytes: u64, texts: &[&str]) -> Output {
    let script = format!("ulimit -v {}; exec \"$0\" \"$@\"", mebibytes * 1024);
    let mut command = Command::new("sh");
    command.args(["-c", &script, env!("CARGO_BIN_EXE_wheelwitness")]).args(texts);
    command.current_dir(at).stdin(Stdio::null()).output().expect("sh starts")
}

/// What a process said on both ends.
pub fn said(output: &Output) -> String {
    let mut all = String::from_utf8_lossy(&output.stdout).into_owned();
    all += &String::from_utf8_lossy(&output.stderr);
    all
}

/// A short drive of the rig as a capture.
pub fn short_drive(folder: &Path, vehicle: &str, source: &str) {
    let script = Script::parse("short", "wait 2\nspeed 3\nstraight 20 at 3\nstop").unwrap();
    let run = Plan::new(scenario::trail_wagon(), script, 3, vec![]).run();
    let lines = run.wire_lines().replace(" board ", &format!(" {source} "));
    let extras = Extras { vehicle_file: Some(vehicle), simulated_clock_scale: Some(1.0) };
    let storage = DirStorage::create(folder).unwrap();
    import_wire(lines.as_bytes(), storage, RecordingId([7; 16]), &extras).unwrap();
}

/// The vehicle of the rig.
pub fn wagon() -> &'static str {
    TRAIL_WAGON
}
