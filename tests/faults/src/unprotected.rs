//! Protections taken away on purpose: a copy of the house with one of them removed, in which the
//! test that holds the row must fail. A test that goes on passing proves nothing.

use crate::bench::{Scratch, must};
use crate::guest::{runner, top};
use std::fmt;
use std::path::Path;
use std::process::{Command, Output};

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
    /// The target of what must fail, as cargo wants it.
    pub target: &'static [&'static str],
    /// What must fail.
    pub holder: Holder,
}

mod list;
pub use list::{NOT_TAKEN_AWAY, PROTECTIONS};

/// What holds a row and must fail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Holder {
    /// A test of the house, by its name.
    Test(&'static str),
    /// A test of the house that runs in the guest.
    InGuest(&'static str),
    /// The trial of the row, so many times (0: as often as in a short campaign).
    Trial(u64),
}

/// Takes each away in a copy, tells what became of the test; gives how many went on passing, or
/// could not be tried.
pub fn take_away(rows: &[u8], mut told: impl FnMut(&Protection, &str)) -> Result<u32, String> {
    let scratch = Scratch::new("unprotected")?;
    let copy = scratch.path("house");
    copy_house(&copy)?;
    let mut bad = 0;
    for protection in PROTECTIONS.iter().filter(|p| rows.is_empty() || rows.contains(&p.row)) {
        let outcome = without(protection, &copy)?;
        bad += u32::from(!matches!(outcome, Without::Missed(_)));
        told(protection, &outcome.to_string());
    }
    Ok(bad)
}

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

/// What became of a test without what it holds.
enum Without {
    /// It failed, as it must.
    Missed(String),
    /// It went on passing.
    Passed,
    /// Nothing is known.
    NotTried(String),
}

impl fmt::Display for Without {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Without::Missed(how) => f.write_str(how),
            Without::Passed => f.write_str("ITS TEST GOES ON PASSING"),
            Without::NotTried(why) => write!(f, "NOT TRIED: {why}"),
        }
    }
}

fn without(protection: &Protection, copy: &Path) -> Result<Without, String> {
    let file = copy.join(protection.file);
    let whole = std::fs::read_to_string(&file).map_err(|e| e.to_string())?;
    if whole.matches(protection.text).count() != 1 {
        let why = "its text is not there once: the list is out of date";
        return Ok(Without::NotTried(why.into()));
    }
    let write = |text: &str| std::fs::write(&file, text).map_err(|e| e.to_string());
    write(&whole.replace(protection.text, protection.without))?;
    let outcome = match protection.holder {
        Holder::Test(name) => test_fails(copy, false, protection.target, name),
        Holder::InGuest(name) => test_fails(copy, true, protection.target, name),
        Holder::Trial(times) => trial_fails(protection.row, times, copy),
    };
    write(&whole)?;
    outcome
}

/// A test that waits for what never comes is ended after so long, building not counted.
const LONGEST_S: &str = "300";

/// Builds with the words of a cargo command, then runs them with those that follow.
fn built_and_run(copy: &Path, guest: bool, words: [&[&str]; 2]) -> Result<Ran, String> {
    let [what, how] = words;
    let prepared = |mut command: Command| {
        command.current_dir(copy).env("CARGO_TARGET_DIR", top().join("target/unprotected"));
        if guest {
            command.env("CARGO_TARGET_X86_64_UNKNOWN_LINUX_GNU_RUNNER", runner());
        }
        command.env("PROPTEST_CASES", "64").output().map_err(|e| e.to_string())
    };
    let mut building = Command::new("cargo");
    match what.split_first() {
        Some((&"test", rest)) => building.arg("test").args(rest).arg("--no-run"),
        Some((_, rest)) => building.arg("build").args(rest),
        None => return Err("nothing to build".into()),
    };
    let built = prepared(building)?;
    if !built.status.success() {
        return Ok(Ran::NotBuilt(errors(&built)));
    }
    // `timeout` ends the test too, not only cargo.
    let mut running = Command::new("timeout");
    running.args([LONGEST_S, "cargo"]).args(what).arg("--").args(how);
    let output = prepared(running)?;
    Ok(match output.status.code() {
        Some(124) => Ran::Endless,
        _ => Ran::Ended(String::from_utf8_lossy(&output.stdout).into_owned()),
    })
}

/// What became of a command.
enum Ran {
    NotBuilt(String),
    Endless,
    Ended(String),
}

fn test_fails(copy: &Path, guest: bool, target: &[&str], name: &str) -> Result<Without, String> {
    let said = match built_and_run(copy, guest, [&[&["test"], target].concat(), &[name]])? {
        Ran::NotBuilt(why) => return Ok(Without::NotTried(why)),
        Ran::Endless => return Ok(Without::Missed("its test never ends".into())),
        Ran::Ended(said) => said,
    };
    let ran = |line: &&str| line.starts_with("test ") && line.contains(&format!("{name} ... "));
    Ok(match said.lines().find(ran) {
        Some(line) if line.ends_with("FAILED") => Without::Missed("its test fails".into()),
        Some(line) if line.ends_with("ok") => Without::Passed,
        _ => Without::NotTried("its test did not run, or did not come to an end".into()),
    })
}

fn trial_fails(row: u8, times: u64, copy: &Path) -> Result<Without, String> {
    let (row, times) = (row.to_string(), times.to_string());
    let mut how = vec!["--trials", "--row", row.as_str()];
    if times != "0" {
        how.extend(["--times", times.as_str()]);
    }
    let what = ["run", "-p", "wheelwitness-faults", "--bin", "faults"];
    let said = match built_and_run(copy, false, [&what, &how])? {
        Ran::NotBuilt(why) => return Ok(Without::NotTried(why)),
        Ran::Endless => return Ok(Without::Missed("its trial never ends".into())),
        Ran::Ended(said) => said,
    };
    let line = said.lines().find(|line| line.trim_start().starts_with(&format!("{row} ")));
    Ok(match line.and_then(|line| Some((line, line.split_whitespace().nth(1)?))) {
        Some((line, "FAILED")) => {
            Without::Missed(format!("its trial fails:{}", after_promise(line)))
        }
        Some((_, "held")) => Without::Passed,
        _ => Without::NotTried("its trial did not run".into()),
    })
}

/// What a line of the campaign says after its promise, in short.
fn after_promise(line: &str) -> String {
    let said = line.rsplit_once(": ").map_or(line, |(_, said)| said);
    format!(" {}", said.chars().take(90).collect::<String>())
}

fn errors(output: &Output) -> String {
    let said = String::from_utf8_lossy(&output.stderr);
    let errors: Vec<&str> = said.lines().filter(|l| l.starts_with("error")).collect();
    errors.join("; ")
}
