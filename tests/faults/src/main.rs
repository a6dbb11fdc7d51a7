//! The fault campaign: goes through the fault table and prints it, one line a row.

use std::process::ExitCode;
use wheelwitness_faults::cut::{Syncs, power_cuts};
use wheelwitness_faults::run::{chosen, go_through, hardware};
use wheelwitness_faults::table::Effort;
use wheelwitness_faults::unprotected::{NOT_TAKEN_AWAY, take_away};
use wheelwitness_faults::volume::System;

const HELP: &str = "\
faults [--full] [--row NUMBER]... [--times COUNT] [--threads COUNT] [--trials]
       [--into FILE]

Goes through the fault table: runs the named tests of every row and its trial, and prints one
line a row. A row that could not be tried counts as failed.
  --full      the whole campaign instead of short trials (hours)
  --row       only these rows
  --times     so many cuts, kills or endings instead of the usual number
  --threads   so many at once [default: 3]
  --unprotected  takes protections away in a copy of the house, one at a time, where the
              test that holds the row must then fail
  --into      keeps what the cuts of row 2 have shown so far, and goes on from there
  --trials    only the trials, not the tests of the house
Needs Linux, root, loop devices, strace, mkfs.ext4, mkfs.vfat and libfaketime; --full also cgroups.
";

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    match words.first().map(String::as_str) {
        // The recorder under trial is the shipped code; only its name differs.
        Some("record" | "ports") => {
            ExitCode::from(wheelwitness_logger::cli::run(std::env::args_os()) as u8)
        }
        // In the guest.
        Some("fat-cuts") => fat_cuts(&words[1..]),
        _ => match Campaign::typed(&words) {
            Ok(campaign) => campaign.run(),
            Err(why) => {
                eprint!("{why}\n{HELP}");
                ExitCode::from(2)
            }
        },
    }
}

fn fat_cuts(words: &[String]) -> ExitCode {
    let number = |n: usize| words.get(n).and_then(|word| word.parse().ok()).unwrap_or(0);
    match power_cuts(System::Vfat, Syncs::Honest, number(0), number(1), 1) {
        Ok(found) => println!("{}", found.line()),
        Err(why) => {
            println!("{why}");
            return ExitCode::FAILURE;
        }
    }
    ExitCode::SUCCESS
}

struct Campaign {
    rows: Vec<u8>,
    tests: bool,
    unprotected: bool,
    effort: Effort,
}

impl Campaign {
    fn typed(words: &[String]) -> Result<Campaign, String> {
        let program = std::env::current_exe().map_err(|e| e.to_string())?;
        let effort = Effort { program, full: false, times: None, threads: 3, into: None };
        let mut campaign = Campaign { rows: Vec::new(), tests: true, unprotected: false, effort };
        let mut words = words.iter();
        while let Some(word) = words.next() {
            let mut number = || -> Result<u64, String> {
                let text = words.next().ok_or_else(|| format!("{word}: a number is missing"))?;
                text.parse().map_err(|_| format!("{word}: {text} is no number"))
            };
            match word.as_str() {
                "--full" => campaign.effort.full = true,
                "--unprotected" => campaign.unprotected = true,
                "--trials" => campaign.tests = false,
                "--times" => campaign.effort.times = Some(number()?),
                "--into" => {
                    let file = words.next().ok_or("--into: a file is missing")?;
                    campaign.effort.into = Some(file.into());
                }
                "--threads" => campaign.effort.threads = number()?.max(1),
                "--row" => {
                    let row = number()?;
                    campaign.rows.push(row.try_into().map_err(|_| format!("no row {row}"))?);
                }
                _ => return Err(format!("{word} is not understood")),
            }
        }
        Ok(campaign)
    }

    fn run(&self) -> ExitCode {
        if self.unprotected {
            return self.run_unprotected();
        }
        let rows = chosen(&self.rows);
        let trials_only =
            |row: &&&wheelwitness_faults::table::Row| self.tests || row.trial.is_some();
        let rows: Vec<_> = rows.iter().filter(trials_only).copied().collect();
        let failed = go_through(&rows, &self.effort, self.tests, |line| {
            println!("{:>2}  {:<8}  {}: {}", line.number, line.word, line.promise, line.shown);
        });
        print!("{}", hardware());
        println!("{} rows, {failed} not held", rows.len());
        if failed == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
    }

    fn run_unprotected(&self) -> ExitCode {
        let bad = take_away(&self.rows, |protection, outcome| {
            println!("{:>2}  without {}: {outcome}", protection.row, protection.what);
        });
        for (row, why) in NOT_TAKEN_AWAY {
            println!("{row:>2}  not taken away: {why}");
        }
        match bad {
            Ok(0) => ExitCode::SUCCESS,
            Ok(bad) => {
                println!("{bad} protections that no test misses, or that were not tried");
                ExitCode::FAILURE
            }
            Err(why) => {
                println!("{why}");
                ExitCode::FAILURE
            }
        }
    }
}
