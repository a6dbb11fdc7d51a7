//! The truth campaign: many seeded drives over random vehicles, judged and held against the truth.
//!
//! `cargo run -p wheelwitness-tests --bin campaign -- --drives 500 --ablate`; `--help` tells the
//! rest. Exits with 1 when a rule of the campaign is broken. Results with a seed reproduce exactly.

use clap::Parser;
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::process::ExitCode;
use wheelwitness_rig::random_drive::random_drive;
use wheelwitness_tests::by_bus::random_bus;
use wheelwitness_tests::campaign::{Call, Outcome};
use wheelwitness_tests::hands::random_hands;
use wheelwitness_tests::store::{Job, Store, build, jobs};
use wheelwitness_tests::tables::{Failure, report};

/// Judges seeded drives with known truth and says whether verdicts and uncertainties are honest.
#[derive(Debug, Parser)]
struct Asked {
    /// First seed.
    #[arg(long, default_value_t = 1)]
    first: u64,
    /// Random drives; for every fifth of them a vehicle is turned by hand, one is watched through
    /// its bus, and each kind of stress drive is done.
    #[arg(long, default_value_t = 500)]
    drives: u64,
    /// Do only this part of the seeds, such as 2/8: each part may run on another machine, into a
    /// file of its own; the files joined are the whole.
    #[arg(long, value_parser = part)]
    part: Option<(u64, u64)>,
    /// Do only this kind: random, hands, bus, or a stress by its name.
    #[arg(long)]
    only: Option<String>,
    /// File that outcomes are appended to, a line each; drives that are in it are not done again.
    #[arg(long)]
    into: Option<PathBuf>,
    /// Judge as if this component of uncertainty were zero everywhere.
    #[arg(long)]
    without: Option<String>,
    /// Take each component off in turn, and say which nobody would miss.
    #[arg(long)]
    ablate: bool,
}

fn part(text: &str) -> Result<(u64, u64), String> {
    let numbers = text.split_once('/').and_then(|(k, n)| Some((k.parse().ok()?, n.parse().ok()?)));
    numbers.filter(|(k, n)| (1..=*n).contains(k)).ok_or("write it as 1/4, 2/4, ... 4/4".into())
}

fn main() -> ExitCode {
    match campaign(&Asked::parse()) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::from(1),
        Err(why) => {
            eprintln!("{why}");
            ExitCode::from(2)
        }
    }
}

/// True when no rule is broken.
fn campaign(asked: &Asked) -> Result<bool, String> {
    let mut jobs = jobs(asked.first, asked.drives);
    if let Some((k, n)) = asked.part {
        jobs.retain(|j: &Job| j.seed % n == k - 1);
    }
    if let Some(kind) = &asked.only {
        jobs.retain(|j: &Job| j.name() == kind);
        if jobs.is_empty() {
            return Err(format!("no drive of kind {kind} among these: see --help"));
        }
    }
    let nowhere = PathBuf::from("/dev/null");
    let store = Store::open(asked.into.as_ref().unwrap_or(&nowhere), build()?)?;
    store.run(&jobs)?;
    let outcomes = store.of(&jobs);
    tell_odd_ones(&outcomes);
    let report = report(&outcomes, asked.without.as_deref());
    println!("{}", report.text);
    for failure in &report.failures {
        println!("BROKEN: {}", failure.text);
    }
    let blind = if asked.ablate { ablate(&outcomes) } else { 0 };
    println!("{} drives, {} rules broken", outcomes.len(), report.failures.len());
    Ok(report.failures.is_empty() && blind == 0)
}

fn tell_odd_ones(outcomes: &[Outcome]) {
    for o in outcomes {
        for c in o.calls.iter().filter(|c| matches!(c.call, Call::Wrong | Call::WrongNear)) {
            println!("{:?}, {} {}: {} ({}): {}", c.call, o.kind, o.seed, c.claim, c.scope, c.line);
            match o.kind.as_str() {
                "random" => println!("    faults: {:?}", random_drive(o.seed).plan.faults),
                "hands" => println!("    faults: {:?}", random_hands(o.seed).plan.faults),
                "bus" => println!("    faults: {:?}", random_bus(o.seed).plan.faults),
                _ => {}
            }
        }
        for m in o.measured.iter().filter(|m| (m.error / m.u).abs() > 3.5) {
            let times = m.error / m.u;
            println!("far, {} {}: {} by {times:+.1} u {:?}", o.kind, o.seed, m.name, m.components);
        }
    }
}

/// Takes each uncertainty component off in turn; returns how many nobody would miss.
fn ablate(outcomes: &[Outcome]) -> usize {
    let all = outcomes.iter().flat_map(|o| &o.measured).flat_map(|m| &m.components);
    let names: BTreeSet<&str> = all.map(|c| c.0.as_str()).collect();
    let whole = report(outcomes, None).failures;
    let mut blind = 0;
    for name in names {
        let failures = report(outcomes, Some(name)).failures;
        let known = |f: &&Failure| !whole.iter().any(|w| w.name == f.name && w.too_certain);
        let new: Vec<&Failure> = failures.iter().filter(|f| f.too_certain).filter(known).collect();
        blind += usize::from(new.is_empty());
        let example = new.first().map_or("NOBODY WOULD MISS IT", |f| f.text.as_str());
        println!("without {name}: {} rules more broken: {example}", new.len());
    }
    blind
}
