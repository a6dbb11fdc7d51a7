//! Going through the table: tests by name, trials, one line a row.

use crate::bench::Outcome;
use crate::guest::{runner, top};
use crate::table::{Effort, HARDWARE, Row, Test, rows};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;

/// What became of a row.
#[derive(Debug)]
pub struct Line {
    /// Its number.
    pub number: u8,
    /// Its promise.
    pub promise: &'static str,
    /// The word: held, FAILED or NOT HELD.
    pub word: &'static str,
    /// What was shown, what failed, or what is missing.
    pub shown: String,
}

/// Goes through `rows`; with `tests` the named tests of the house are run too.
pub fn go_through(rows: &[&Row], effort: &Effort, tests: bool, mut each: impl FnMut(&Line)) -> u32 {
    let passed = if tests { passed_tests(rows) } else { BTreeSet::new() };
    let mut failed = 0;
    for row in rows {
        let line = line_of(row, effort, tests.then_some(&passed));
        failed += u32::from(line.word != "held");
        each(&line);
    }
    failed
}

fn line_of(row: &Row, effort: &Effort, passed: Option<&BTreeSet<Test>>) -> Line {
    let line = |word, shown| Line { number: row.number, promise: row.promise, word, shown };
    if !row.is_held() {
        return line("NOT HELD", row.open.to_owned());
    }
    let missing = |test: &&Test| passed.is_some_and(|passed| !passed.contains(*test));
    if let Some((file, name)) = row.tests.iter().find(missing) {
        return line("FAILED", format!("{file}: {name} did not pass, or was left out"));
    }
    let mut shown = match row.trial.map(|trial| trial(effort)) {
        Some(Err(why)) => return line("FAILED", why),
        Some(Ok(figure)) => figure,
        None if passed.is_none() => {
            return line("FAILED", "left out: its tests were not run".into());
        }
        None => String::new(),
    };
    if passed.is_some() && !row.tests.is_empty() {
        let tests = format!("{} tests", row.tests.len());
        shown = if shown.is_empty() { tests } else { format!("{shown}; {tests}") };
    }
    if !row.open.is_empty() {
        shown += &format!(" [open: {}]", row.open);
    }
    line("held", shown)
}

/// Names the rows that no trial of this computer can show.
pub fn hardware() -> String {
    let lines = HARDWARE.iter().map(|what| format!("not verified, needs hardware: {what}\n"));
    lines.collect()
}

/// Runs the named tests of the rows, each target once, and gives those that passed.
fn passed_tests(rows: &[&Row]) -> BTreeSet<Test> {
    let mut targets: BTreeMap<Vec<String>, Vec<Test>> = BTreeMap::new();
    let in_guest = |test: &Test| test.0.ends_with("/vcan.rs");
    for test in rows.iter().flat_map(|row| row.tests) {
        let mut target = target_of(test);
        if in_guest(test) {
            target.push("guest".into());
        }
        targets.entry(target).or_default().push(*test);
    }
    let mut passed = BTreeSet::new();
    for (mut target, tests) in targets {
        let guest = target.last().is_some_and(|last| last == "guest") && target.pop().is_some();
        let said = cargo_test(&target, &tests, guest).unwrap_or_else(|why| why);
        for test in tests {
            let ok = |line: &str| {
                let named =
                    line.strip_prefix("test ").and_then(|rest| rest.strip_suffix(" ... ok"));
                named.is_some_and(|path| path.rsplit("::").next() == Some(test.1))
            };
            if said.lines().any(ok) && !said.contains("NOT CHECKED") {
                passed.insert(test);
            }
        }
    }
    passed
}

fn cargo_test(target: &[String], tests: &[Test], guest: bool) -> Outcome {
    let mut command = Command::new("cargo");
    command.args(["test", "--no-fail-fast"]).args(target).arg("--").arg("--show-output");
    command.args(tests.iter().map(|(_, name)| name)).current_dir(top());
    if guest {
        command.env("CARGO_TARGET_X86_64_UNKNOWN_LINUX_GNU_RUNNER", runner());
    }
    let output = command.output().map_err(|e| e.to_string())?;
    Ok(String::from_utf8_lossy(&output.stdout).into_owned())
}

/// The package and target of a test, as cargo wants them.
fn target_of(test: &Test) -> Vec<String> {
    let path = Path::new(test.0);
    let folder = path.ancestors().find(|dir| top().join(dir).join("Cargo.toml").exists());
    let folder = folder.unwrap_or(Path::new(""));
    let manifest = format!("{}/Cargo.toml", top().join(folder).display());
    let mut words = vec!["--manifest-path".to_owned(), manifest];
    let below = path.strip_prefix(folder).unwrap_or(path);
    let mut parts = below.components().map(|part| part.as_os_str().to_string_lossy());
    if parts.next().as_deref() == Some("src") {
        words.push("--lib".into());
    } else {
        let name = parts.next().unwrap_or_default();
        words.extend(["--test".to_owned(), name.trim_end_matches(".rs").to_owned()]);
    }
    words
}

/// All rows, or those whose numbers are given.
pub fn chosen(numbers: &[u8]) -> Vec<&'static Row> {
    rows().filter(|row| numbers.is_empty() || numbers.contains(&row.number)).collect()
}
