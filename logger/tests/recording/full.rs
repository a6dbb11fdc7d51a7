//! The real program on a medium that fills up.

use crate::harness::*;
use nix::sys::signal::Signal::SIGTERM;
use std::path::Path;

/// A small medium of its own, or a printed reason why there is none.
struct SmallMedium(std::path::PathBuf);

impl SmallMedium {
    fn new(at: &Path, size: &str) -> Option<SmallMedium> {
        use nix::mount::{MsFlags, mount};
        std::fs::create_dir_all(at).unwrap();
        let options = format!("size={size}");
        match mount(Some("tmpfs"), at, Some("tmpfs"), MsFlags::empty(), Some(options.as_str())) {
            Ok(()) => Some(SmallMedium(at.into())),
            Err(error) => {
                eprintln!(
                    "NOT CHECKED: a small medium cannot be mounted here ({error}); needs root"
                );
                None
            }
        }
    }
}

impl Drop for SmallMedium {
    fn drop(&mut self) {
        let _ = nix::mount::umount2(&self.0, nix::mount::MntFlags::MNT_DETACH);
    }
}

#[test]
fn a_full_medium_is_told_and_nothing_acknowledged_is_lost() {
    let bench = Bench::new();
    let Some(medium) = SmallMedium::new(&bench.path("medium"), "1m") else { return };
    let into = medium.0.join("drive");
    let mut wire = Wire::new();
    let port = source("s", &wire.name, "");
    let args = ["--into", text(&into), "--source", &port, "--reserve", "0", "--patience", "1"];
    let mut program = Program::record(&args);
    program.wait_for("opened");
    let sent = Noise::new(9).bytes(2_000_000);
    wire.send(&sent);
    program.wait_for("No space left");
    let over = program.end();
    assert_eq!(over.code, Some(6), "{}", over.said);
    assert!(over.said.contains("could not be written"), "{}", over.said);
    let (records, _) = read(&into);
    let kept = bytes_of(&records, 0);
    assert!(sent.starts_with(&kept) && kept.len() > 500_000, "{} bytes kept", kept.len());
}

#[test]
fn the_recording_stops_cleanly_when_only_the_reserve_is_left() {
    let bench = Bench::new();
    let Some(medium) = SmallMedium::new(&bench.path("medium"), "8m") else { return };
    let into = medium.0.join("drive");
    let mut wire = Wire::new();
    let port = source("s", &wire.name, "");
    let mut program =
        Program::record(&["--into", text(&into), "--source", &port, "--reserve", "4"]);
    program.wait_for("opened");
    let sent = Noise::new(10).bytes(4_500_000);
    wire.send(&sent);
    let over = program.end();
    assert_eq!(over.code, Some(6), "{}", over.said);
    assert!(over.said.contains("only the reserve is left"), "{}", over.said);
    let (records, closed) = read(&into);
    assert!(closed && sent.starts_with(&bytes_of(&records, 0)));
}

#[test]
fn the_second_medium_takes_over_when_the_first_is_full() {
    let bench = Bench::new();
    let Some(medium) = SmallMedium::new(&bench.path("medium"), "1m") else { return };
    let (into, spare) = (medium.0.join("drive"), bench.path("spare"));
    let mut wire = Wire::new();
    let port = source("s", &wire.name, "");
    let args =
        ["--into", text(&into), "--spare", text(&spare), "--source", &port, "--reserve", "0"];
    let mut program = Program::record(&args);
    program.wait_for("opened");
    let sent = Noise::new(11).bytes(3_000_000);
    wire.send(&sent);
    program.wait_for("recording goes on into");
    wait_for_bytes(&spare, 0, 1_000_000);
    let over = program.end_by(SIGTERM);
    assert_eq!(over.code, Some(0), "{}", over.said);
    let whole = bench.path("whole");
    std::fs::create_dir(&whole).unwrap();
    for file in [&into, &spare].into_iter().flat_map(|dir| std::fs::read_dir(dir).unwrap()) {
        let file = file.unwrap();
        std::fs::copy(file.path(), whole.join(file.file_name())).unwrap();
    }
    let (records, closed) = read(&whole);
    assert!(closed && bytes_of(&records, 0) == sent);
}
