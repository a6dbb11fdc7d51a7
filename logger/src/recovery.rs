//! Recordings that were cut off: found when the next one begins, and told what they lack.
//!
//! A recorder that was killed, or whose power went, leaves its mark (`recorder.lock`) behind. Its
//! capture needs no repair: every whole block proves itself. What is missing is somebody to say
//! so. A note, `recovered.txt`, is put beside the segments; the segments stay byte for byte as
//! they are, so that hashes taken before still hold.
//!
//! On FAT not even that is read: a file whose end was cut off can be said to be longer than it is,
//! and reading it there makes Linux set the whole medium read-only (seen with Linux 6.1), while the
//! next drive is being recorded on it.

use crate::folder::{Abandoned, MARK_NAME};
use crate::text::clock_face;
use std::fmt::Write as _;
use std::fs::File;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use wheelwitness_capture::read::{ReadError, Tail, tail};
use wheelwitness_capture::storage::DirStorage;

/// The note's file name.
pub const NOTE_NAME: &str = "recovered.txt";

const MISSING: &str = "whatever arrived after the last sync: a quarter of a second where the \
                       medium kept up, more where a sync took longer";

/// One recording that was found cut off.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recovered {
    /// Its folder.
    pub folder: PathBuf,
    /// What it holds.
    pub holds: Holds,
}

/// What a recording that was cut off holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Holds {
    /// Nothing was ever written.
    Nothing,
    /// Whole records, up to this end.
    Records(Tail),
    /// Nobody looked, or nothing can be read: why.
    Unknown(String),
}

/// Settles all recordings right below `parent` that were cut off; each is told by its message, as
/// is what could not be settled.
pub fn settle_all(parent: &Path, mut told: impl FnMut(String)) {
    let Ok(entries) = std::fs::read_dir(parent) else { return };
    for folder in entries.flatten().map(|entry| entry.path()) {
        match settle(&folder) {
            Ok(Some(found)) => told(found.message()),
            Ok(None) => {}
            Err(error) => told(format!(
                "{} was cut off and cannot be noted as such: {error}; its whole blocks can be read",
                folder.display()
            )),
        }
    }
}

/// Settles one folder; `None` if nothing was cut off there. May be cut off itself at any point:
/// the mark goes last.
pub fn settle(folder: &Path) -> io::Result<Option<Recovered>> {
    let Some(abandoned) = Abandoned::take(folder)? else { return Ok(None) };
    let found = Recovered { folder: folder.to_owned(), holds: Holds::of(folder)? };
    let closed = matches!(found.holds, Holds::Records(tail) if tail.closed);
    if !closed {
        write_note(folder, &found.note(&abandoned.process))?;
    }
    abandoned.clear()?;
    Ok((!closed).then_some(found))
}

impl Holds {
    fn of(folder: &Path) -> io::Result<Holds> {
        if is_upset_by_reading(folder) {
            let why = "not looked into: on this file system that is done after a check only";
            return Ok(Holds::Unknown(format!("{why} (fsck, as root, unmounted)")));
        }
        Ok(match DirStorage::open(folder).map(tail)? {
            Ok(tail) => Holds::Records(tail),
            Err(ReadError::NoCapture { .. }) => Holds::Nothing,
            Err(error) => Holds::Unknown(error.to_string()),
        })
    }
}

/// FAT and exFAT, by the numbers of linux/magic.h.
#[cfg(target_os = "linux")]
fn is_upset_by_reading(folder: &Path) -> bool {
    use nix::sys::statfs::{FsType, MSDOS_SUPER_MAGIC, statfs};
    const EXFAT_SUPER_MAGIC: FsType = FsType(0x2011_BAB0);
    let kind = statfs(folder).map(|fs| fs.filesystem_type());
    kind.is_ok_and(|kind| kind == MSDOS_SUPER_MAGIC || kind == EXFAT_SUPER_MAGIC)
}

/// Seen with Linux only.
#[cfg(not(target_os = "linux"))]
fn is_upset_by_reading(_folder: &Path) -> bool {
    false
}

/// The note may be there already, from an attempt that was cut off; it says the same.
fn write_note(folder: &Path, text: &str) -> io::Result<()> {
    let mut file = File::create(folder.join(NOTE_NAME))?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    File::open(folder)?.sync_all()
}

impl Recovered {
    /// One sentence for the user.
    pub fn message(&self) -> String {
        let name = self.folder.display();
        let tail = match &self.holds {
            Holds::Records(tail) => tail,
            Holds::Nothing => return format!("{name} was cut off before anything was recorded"),
            Holds::Unknown(why) => return format!("{name} was cut off; what it holds: {why}"),
        };
        format!(
            "{name} was cut off: {} records, {} long, are whole; what came after its last sync is \
             missing ({NOTE_NAME} in it says more)",
            tail.next_record,
            clock_face(length_ns(tail)),
        )
    }

    fn note(&self, process: &str) -> String {
        let mut text = String::from(
            "This recording was cut off: it has no closing record. Nothing in its segments was \
             changed.\n\n",
        );
        let mut line = |what: &str, is: String| {
            // Writing to a String cannot fail.
            let _ = writeln!(text, "{what:<16}{is}");
        };
        line("recorder", format!("process {process}, marked in {MARK_NAME}"));
        let tail = match &self.holds {
            Holds::Records(tail) => tail,
            Holds::Nothing => {
                line("kept", "nothing: it was cut off before its first sync".into());
                return text;
            }
            Holds::Unknown(why) => {
                line("kept", why.clone());
                line("missing", MISSING.into());
                return text;
            }
        };
        line("recording", tail.recording.map_or("none".into(), |id| id.to_string()));
        line("whole records", tail.next_record.to_string());
        line("length", clock_face(length_ns(tail)));
        if let Some(stamp) = tail.last_stamp {
            let seconds = stamp.wall_ns / 1_000_000_000;
            line("last synced", format!("{seconds} s since 1970 UTC, by the computer's clock"));
        }
        line("torn tail", format!("{} bytes that are no whole block", tail.torn_bytes));
        line("missing", MISSING.into());
        text
    }
}

fn length_ns(tail: &Tail) -> i64 {
    let first_ns = tail.first_stamp.map_or(0, |stamp| stamp.boot_ns);
    tail.last_boot_ns.map_or(0, |last_ns| last_ns.saturating_sub(first_ns))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::folder::Folder;
    use wheelwitness_capture::clock::SimClock;
    use wheelwitness_capture::record::{Kind, RecordingId};
    use wheelwitness_capture::write::{Limits, Writer};

    struct Drives(PathBuf);

    impl Drives {
        fn new(name: &str) -> Drives {
            let path = std::env::temp_dir().join(format!("{name}-{}", std::process::id()));
            let _ = std::fs::remove_dir_all(&path);
            Drives(path)
        }

        /// Records ten records, and lets the recorder vanish.
        fn cut_off(&self, name: &str, close: bool) -> PathBuf {
            let path = self.0.join(name);
            let (folder, storage) = Folder::claim(&path).unwrap();
            let (clock, id) = (SimClock::default(), RecordingId([7; 16]));
            let mut writer = Writer::create(storage, clock, id, Limits::default()).unwrap();
            for n in 0..10 {
                writer.append(0, Kind::Bytes, n * 1_000_000_000, b"x").unwrap();
            }
            writer.flush();
            if close {
                writer.close();
            }
            let mark = path.join(MARK_NAME);
            let said = std::fs::read(&mark).unwrap();
            drop(folder);
            std::fs::write(mark, said).unwrap();
            path
        }

        fn settled(&self) -> Vec<String> {
            let mut all = Vec::new();
            settle_all(&self.0, |text| all.push(text));
            all
        }
    }

    impl Drop for Drives {
        fn drop(&mut self) {
            let _ = std::fs::remove_dir_all(&self.0);
        }
    }

    fn segment(folder: &Path) -> Vec<u8> {
        std::fs::read(folder.join("segment-000001.wwc")).unwrap()
    }

    #[test]
    fn a_recording_that_was_cut_off_is_noted_once_and_its_segments_stay_as_they_are() {
        let drives = Drives::new("recovery-noted");
        let folder = drives.cut_off("first", false);
        let torn = [&segment(&folder)[..], b"\x89WWC torn"].concat();
        std::fs::write(folder.join("segment-000001.wwc"), &torn).unwrap();
        let told = drives.settled();
        assert!(told[0].contains("10 records, 0:00:09 long, are whole"), "{told:?}");
        let note = std::fs::read_to_string(folder.join(NOTE_NAME)).unwrap();
        for part in ["process ", "whole records   10", "torn tail       9 bytes", "07070707"] {
            assert!(note.contains(part), "{part:?} is missing in {note}");
        }
        assert_eq!(segment(&folder), torn);
        assert!(!folder.join(MARK_NAME).exists());
        assert_eq!(drives.settled(), [""; 0], "the second time there is nothing to find");
    }

    #[test]
    fn a_closed_recording_whose_mark_was_left_is_complete_and_gets_no_note() {
        let drives = Drives::new("recovery-closed");
        let folder = drives.cut_off("first", true);
        assert_eq!(drives.settled(), [""; 0]);
        assert!(!folder.join(MARK_NAME).exists() && !folder.join(NOTE_NAME).exists());
    }

    #[test]
    fn a_running_recording_is_left_alone() {
        let drives = Drives::new("recovery-running");
        let path = drives.0.join("running");
        let (folder, _) = Folder::claim(&path).unwrap();
        assert_eq!(drives.settled(), [""; 0]);
        assert!(path.join(MARK_NAME).exists());
        drop(folder);
    }

    #[test]
    fn a_recording_cut_off_before_its_first_sync_kept_nothing_and_says_so() {
        let drives = Drives::new("recovery-nothing");
        let path = drives.0.join("first");
        std::fs::create_dir_all(&path).unwrap();
        std::fs::write(path.join(MARK_NAME), "4242\n").unwrap();
        assert!(drives.settled()[0].contains("before anything was recorded"));
        let note = std::fs::read_to_string(path.join(NOTE_NAME)).unwrap();
        assert!(note.contains("process 4242") && note.contains("nothing"), "{note}");
    }
}
