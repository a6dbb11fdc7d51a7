//! The real program, several at once and after others that did not end well.

use nix::sys::signal::Signal::SIGTERM;
use std::path::{Path, PathBuf};
use std::process::Command;
use wheelwitness_faults::bench::{Noise, Program, Scratch, Wire};

fn record(into: &Path, wire: &Wire) -> Program {
    let mut command = Command::new(env!("CARGO_BIN_EXE_faults"));
    command.args(["record", "--quiet", "--source", &wire.source(), "--into"]).arg(into);
    Program::start(&mut command).unwrap()
}

#[test]
fn of_many_recorders_that_start_at_once_one_gets_the_folder() {
    let bench = Scratch::new("many").unwrap();
    let into = bench.path("drive");
    let wires: Vec<Wire> = (0..8).map(|_| Wire::new().unwrap()).collect();
    let programs: Vec<Program> = wires.iter().map(|wire| record(&into, wire)).collect();
    let ended: Vec<_> = std::thread::scope(|scope| {
        let wait = |mut program: Program| {
            if program.wait_for("opened").is_ok() {
                program.signal(SIGTERM);
            }
            program.end().unwrap()
        };
        let waiting: Vec<_> = programs.into_iter().map(|p| scope.spawn(move || wait(p))).collect();
        waiting.into_iter().map(|thread| thread.join().unwrap()).collect()
    });
    let with = |code| ended.iter().filter(|(ended, _)| *ended == Some(code)).count();
    assert_eq!((with(0), with(6)), (1, 7), "{ended:#?}");
}

#[test]
fn no_damage_of_a_mark_or_a_note_stops_the_next_recording() {
    let bench = Scratch::new("marks").unwrap();
    let mut noise = Noise::new(5);
    let mut damaged: Vec<PathBuf> = Vec::new();
    for length in [0, 1, 7, 300, 70_000] {
        for name in ["recorder.lock", "recovered.txt", "segment-000001.wwc"] {
            let folder = bench.path(&format!("drive-{length}-{name}"));
            std::fs::create_dir(&folder).unwrap();
            let bytes: Vec<u8> = (0..length).map(|_| noise.below(256) as u8).collect();
            std::fs::write(folder.join("recorder.lock"), "17").unwrap();
            std::fs::write(folder.join(name), bytes).unwrap();
            damaged.push(folder);
        }
    }
    // Places where a file is expected and a folder stands, or nothing can be read.
    std::fs::create_dir_all(bench.path("folder/recorder.lock")).unwrap();
    let wire = Wire::new().unwrap();
    let mut program = record(&bench.path("next"), &wire);
    program.wait_for("opened").unwrap();
    program.signal(SIGTERM);
    let (code, said) = program.end().unwrap();
    assert_eq!(code, Some(0), "{said}");
    assert!(said.chars().all(|c| c == '\n' || !c.is_control()), "{said:?}");
    let noted = damaged.iter().filter(|folder| folder.join("recovered.txt").exists()).count();
    assert!(noted >= 9, "{noted} noted: {said}");
}
