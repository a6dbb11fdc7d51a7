//! Protections taken away on purpose: a copy of the house with one of them removed, in which the
//! test that holds the row must fail. A test that goes on passing proves nothing.

use crate::bench::{Scratch, must};
use crate::guest::top;
use std::path::Path;
use std::process::Command;

/// A protection, as the text that makes it.
pub struct Protection {
    /// The row of the fault table.
    pub row: u8,
    /// What it is.
    pub what: &'static str,
    /// Where it stands, from the top of the house.
    pub file: &'static str,
    /// Its text, there once.
    pub text: &'static str,
    /// What stands there without it.
    pub without: &'static str,
    /// The target of the test, as cargo wants it.
    pub target: &'static [&'static str],
    /// The name of the test that must fail.
    pub test: &'static str,
}

const CAPTURE: &[&str] = &["-p", "wheelwitness-capture", "--test", "promises"];
const BLOCK: &str = "logger/capture/src/block.rs";
const SEGMENT: &str = "logger/capture/src/read/segment.rs";
const WRITE: &str = "logger/capture/src/write.rs";

const fn of_capture(
    row: u8,
    what: &'static str,
    file: &'static str,
    [text, without]: [&'static str; 2],
    test: &'static str,
) -> Protection {
    Protection { row, what, file, text, without, target: CAPTURE, test }
}

/// All that are taken away, one at a time.
pub const PROTECTIONS: [Protection; 8] = [
    of_capture(
        4,
        "a segment ends at its first error",
        WRITE,
        ["self.segment.take().map(|s| s.name)", "self.segment.as_ref().map(|s| s.name.clone())"],
        "any_single_failure_is_told_and_costs_nothing",
    ),
    of_capture(
        8,
        "the search for the next block",
        SEGMENT,
        ["            self.skip_to_magic(storage);", "            break;"],
        "damage_of_any_kind_keeps_the_blocks_that_it_did_not_touch",
    ),
    of_capture(
        9,
        "the recording id in every block",
        SEGMENT,
        ["recording.is_none_or(|id| id == header.recording)", "recording.is_none_or(|_| true)"],
        "a_tail_of_zeros_noise_or_another_recording_gives_no_record",
    ),
    of_capture(
        9,
        "block numbers that only rise",
        SEGMENT,
        ["!wanted || header.sequence < self.next_sequence", "!wanted"],
        "stale_blocks_of_the_same_recording_give_no_record_twice",
    ),
    of_capture(
        20,
        "a folder that holds a segment is refused",
        WRITE,
        ["find(|(n, _)| segment_number(n).is_some())", "find(|(n, _)| n.is_empty())"],
        "a_capture_is_never_written_over_another",
    ),
    of_capture(
        21,
        "the checksum of a block",
        BLOCK,
        [
            "block_crc(block) == u32::from_le_bytes(*stated)",
            "block_crc(block) != 0 || *stated != [0; 4]",
        ],
        "any_flipped_bit_costs_its_own_block_and_nothing_else",
    ),
    of_capture(
        29,
        "the CRC-16 of a board sentence",
        "logger/capture/src/board.rs",
        ["hex(written) != Some(u32::from(computed))", "hex(written).is_none()"],
        "every_single_and_double_bit_flip_in_a_board_sentence_is_refused",
    ),
    Protection {
        row: 47,
        what: "control characters are shown as what they are",
        file: "logger/src/text.rs",
        text: "if c.is_control() || changes_direction(c)",
        without: "if changes_direction(c)",
        target: &["-p", "wheelwitness-logger", "--lib"],
        test: "no_control_character_survives",
    },
];

/// Takes each away in a copy, tells what became of the test; gives how many went on passing, or
/// could not be tried.
pub fn take_away(rows: &[u8], mut told: impl FnMut(&Protection, &str)) -> Result<u32, String> {
    let scratch = Scratch::new("unprotected")?;
    let copy = scratch.path("house");
    copy_house(&copy)?;
    let mut bad = 0;
    for protection in PROTECTIONS.iter().filter(|p| rows.is_empty() || rows.contains(&p.row)) {
        let outcome = without(protection, &copy)?;
        bad += u32::from(outcome != FAILS);
        told(protection, &outcome);
    }
    Ok(bad)
}

const FAILS: &str = "its test fails";

/// Everything that is kept in version control, as it stands now.
fn copy_house(copy: &Path) -> Result<(), String> {
    let list = must(Command::new("git").args(["ls-files"]).current_dir(top()))?;
    for name in list.lines() {
        let (from, to) = (top().join(name), copy.join(name));
        let folder = to.parent().ok_or("a file without a folder")?;
        let copied = std::fs::create_dir_all(folder).and_then(|()| std::fs::copy(from, &to));
        copied.map_err(|e| format!("{}: {e}", to.display()))?;
    }
    Ok(())
}

fn without(protection: &Protection, copy: &Path) -> Result<String, String> {
    let file = copy.join(protection.file);
    let whole = std::fs::read_to_string(&file).map_err(|e| e.to_string())?;
    if whole.matches(protection.text).count() != 1 {
        return Ok("its text is not there once: the list is out of date".into());
    }
    let write = |text: &str| std::fs::write(&file, text).map_err(|e| e.to_string());
    write(&whole.replace(protection.text, protection.without))?;
    let outcome = outcome(protection, copy);
    write(&whole)?;
    outcome
}

fn outcome(protection: &Protection, copy: &Path) -> Result<String, String> {
    let mut command = Command::new("cargo");
    command.arg("test").args(protection.target).args(["--", protection.test]).current_dir(copy);
    command.env("CARGO_TARGET_DIR", top().join("target/unprotected")).env("PROPTEST_CASES", "64");
    let output = command.output().map_err(|e| e.to_string())?;
    let said = String::from_utf8_lossy(&output.stdout);
    let ran = said.lines().find(|line| {
        line.starts_with("test ") && line.contains(&format!("{} ... ", protection.test))
    });
    Ok(match ran {
        Some(line) if line.ends_with("FAILED") => FAILS.into(),
        Some(_) => "its test goes on passing".into(),
        None => {
            let said = String::from_utf8_lossy(&output.stderr);
            let errors: Vec<&str> = said.lines().filter(|l| l.starts_with("error")).collect();
            format!("not tried: {}", errors.join("; "))
        }
    })
}
