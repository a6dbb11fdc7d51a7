//! A number in the report, walked back to raw records and counted again.

use crate::bench::{Folder, capture_in, driven, number_of};
use std::process::Command;
use wheelwitness_analyze::report::json;
use wheelwitness_rig::scenario::{TRAIL_WAGON, demo_faults};

/// Pulses a turn of both shafts of the demo vehicle; one edge is counted of each.
const PULSES: f64 = 4.0;

fn program(words: &[&str]) -> String {
    let done = Command::new(env!("CARGO_BIN_EXE_wheelwitness")).args(words).output().unwrap();
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    assert!(done.status.success(), "{said}{}", String::from_utf8_lossy(&done.stderr));
    said
}

/// `... = 12.500 turns (the report says 12.400)`: both numbers.
fn turns(line: &str) -> (f64, f64) {
    let between = |from: &str, to: &str| -> f64 {
        let rest = &line[line.find(from).unwrap() + from.len()..];
        rest[..rest.find(to).unwrap()].trim().parse().unwrap()
    };
    (between("edges =", "turns"), between("the report says", ")"))
}

#[test]
fn the_allowance_is_recomputed_and_its_turns_are_counted_again_from_raw_counts() {
    let folder = Folder::new("explain");
    let (_, drive) = driven(1, demo_faults());
    let capture = folder.path("capture");
    capture_in(&capture, &drive, TRAIL_WAGON);
    let capture = capture.to_str().unwrap();
    program(&["judge", capture]);
    let result = std::fs::read_to_string(folder.path("capture/report/result.json")).unwrap();
    let result = json::read(&result).unwrap();
    let claim = number_of(&result, "center-opens", "full-time").to_string();
    let said = program(&["explain", capture, "--claim", &claim, "--period", "1"]);
    assert!(said.contains("every number equals the one in the report"), "{said}");
    for shaft in ["front shaft", "rear shaft"] {
        let line = said.lines().find(|l| l.trim().starts_with(shaft)).unwrap();
        let (counted, reported) = turns(line);
        assert!(reported > 50.0, "{line}");
        assert!((counted - reported).abs() <= 2.0 / PULSES, "one edge at each end: {line}");
    }
    assert!(said.contains("$PWWNA,"), "the raw lines are shown: {said}");
}

#[test]
fn a_number_that_was_tampered_with_is_noticed() {
    let folder = Folder::new("tampered");
    let (_, drive) = driven(1, demo_faults());
    let capture = folder.path("capture");
    capture_in(&capture, &drive, TRAIL_WAGON);
    let capture = capture.to_str().unwrap();
    program(&["judge", capture]);
    let file = folder.path("capture/report/result.json");
    let mut result = json::read(&std::fs::read_to_string(&file).unwrap()).unwrap();
    let claim = number_of(&result, "center-opens", "full-time");
    let first = &mut result.claims[claim - 1].periods[0].estimates[0];
    first.value = first.value.map(|v| v + 1e-9);
    std::fs::write(&file, json::write(&result)).unwrap();
    let said = program(&["explain", capture, "--claim", &claim.to_string()]);
    assert!(said.contains("RECOMPUTED NUMBERS DIFFER"), "{said}");
}
