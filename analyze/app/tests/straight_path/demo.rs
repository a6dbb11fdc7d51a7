//! The demo through the real program: rig, pseudo-terminals, recorder, capture, verdicts, page.

use crate::bench::{Folder, assert_true, disproven};
use std::path::Path;
use std::process::{Command, Output};
use wheelwitness::exit;
use wheelwitness_analyze::report::json;
use wheelwitness_analyze::result::DriveResult;
use wheelwitness_capture::read::{CaptureReader, Item};
use wheelwitness_capture::record::Kind;
use wheelwitness_rig::{Run, Source, scenario};

fn demo(folder: &Folder, words: &[&str]) -> Output {
    let mut program = Command::new(env!("CARGO_BIN_EXE_wheelwitness"));
    program.current_dir(&folder.0).arg("demo").args(words).output().unwrap()
}

fn result_in(capture: &Path) -> DriveResult {
    json::read(&std::fs::read_to_string(capture.join("report/result.json")).unwrap()).unwrap()
}

/// The bytes of one source in a capture, joined.
fn recorded(capture: &Path, source: Source) -> Vec<u8> {
    let mut reader = CaptureReader::open(capture).unwrap();
    let mut bytes = Vec::new();
    while let Some(item) = reader.next_item().unwrap() {
        if let Item::Record(r) = item
            && r.kind == Kind::Bytes
            && r.source == source as u16
        {
            bytes.extend(r.bytes);
        }
    }
    bytes
}

fn sent(run: &Run, source: Source) -> Vec<u8> {
    run.wire.iter().filter(|c| c.source == source).flat_map(|c| c.bytes.clone()).collect()
}

/// The same bytes; otherwise it tells where they part and what the recorder said.
fn assert_same(got: &[u8], sent: &[u8], warned: &str) {
    let parting = got.iter().zip(sent).position(|(a, b)| a != b);
    assert!(got == sent, "{} of {} bytes, parting at {parting:?}: {warned}", got.len(), sent.len());
}

#[test]
fn one_command_records_a_drive_and_says_what_is_true_of_it() {
    let folder = Folder::new("demo");
    let done = demo(&folder, &["--seed", "1"]);
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    let warned = String::from_utf8_lossy(&done.stderr).into_owned();
    assert_eq!(done.status.code(), Some(exit::DONE), "{said}{warned}");
    let mut plan = scenario::demo(1, scenario::demo_faults());
    plan.settings.close = false;
    let run = plan.run();

    let capture = folder.path("demo-drive/capture");
    let board = recorded(&capture, Source::Board);
    let wire = sent(&run, Source::Board);
    assert!(board.starts_with(&wire), "every byte of the board is there, in order, once");
    let closing = String::from_utf8_lossy(&board[wire.len()..]).into_owned();
    assert!(closing.starts_with("$PWWNZ,") && closing.ends_with("\r\n"), "{closing}");
    assert_same(&recorded(&capture, Source::Gnss), &sent(&run, Source::Gnss), &warned);

    let result = result_in(&capture);
    assert!(result.capture.closed && result.capture.holes.is_empty());
    assert_eq!(result.capture.simulated_clock_scale, Some(12.0), "it says that it is simulated");
    let sizes: Vec<_> = result.sources.iter().map(|s| s.bytes as usize).collect();
    assert_eq!(sizes, [board.len(), sent(&run, Source::Gnss).len()]);
    assert_true(&result, &run.truth.facts(&plan.declared));
    let faults = [("switch-table", "locked"), ("tyres-match", "front/rear")];
    assert_eq!(disproven(&result), faults.map(|(id, s)| (id.to_string(), s.to_string())));

    let page = said.lines().last().and_then(|l| l.strip_prefix("Report: ")).unwrap();
    let text = std::fs::read_to_string(folder.path(page)).unwrap();
    assert!(text.contains("<svg") && text.to_lowercase().contains("simulated"));
}

#[test]
fn it_overwrites_nothing() {
    let folder = Folder::new("demo-again");
    std::fs::create_dir(folder.path("mine")).unwrap();
    let done = demo(&folder, &["--into", "mine"]);
    assert_eq!(done.status.code(), Some(exit::STORAGE));
    assert!(String::from_utf8_lossy(&done.stderr).contains("does not exist yet"));
    assert_eq!(std::fs::read_dir(folder.path("mine")).unwrap().count(), 0);
}

#[test]
fn a_speed_that_is_no_speed_is_a_usage_mistake() {
    let folder = Folder::new("demo-scale");
    for scale in ["0", "-3", "fast", "1000"] {
        let done = demo(&folder, &[&format!("--clock-scale={scale}")]);
        assert_eq!(done.status.code(), Some(exit::USAGE), "{scale}");
    }
}
