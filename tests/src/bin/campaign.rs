//! The truth campaign: many seeded drives over random vehicles, judged and held against the truth.
//!
//! `cargo run -p wheelwitness-tests --bin campaign -- [--first N] [--drives N]
//! [--without COMPONENT] [--ablate]` exits with 1 when a rule of the campaign is broken. Results
//! with a seed reproduce exactly.

use std::collections::BTreeSet;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use wheelwitness_rig::random_drive::random_drive;
use wheelwitness_tests::campaign::{Call, Failure, Outcome, drive, report, stress};
use wheelwitness_tests::stress::STRESSES;

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let value = |name: &str| args.iter().position(|a| a == name).and_then(|k| args.get(k + 1));
    let number = |name: &str, default: u64| match value(name).map(|v| v.parse()) {
        None => default,
        Some(Ok(n)) => n,
        Some(Err(_)) => usage(name),
    };
    let (first, drives) = (number("--first", 1), number("--drives", 500));
    let outcomes = all(first, drives);
    for o in &outcomes {
        for c in o.calls.iter().filter(|c| matches!(c.call, Call::Wrong | Call::WrongNear)) {
            println!("{:?}, {} {}: {} ({}): {}", c.call, o.kind, o.seed, c.claim, c.scope, c.line);
            if o.kind == "random" {
                println!("    faults: {:?}", random_drive(o.seed).plan.faults);
            }
        }
        for m in o.measured.iter().filter(|m| (m.error / m.u).abs() > 3.5) {
            let times = m.error / m.u;
            println!("far, {} {}: {} by {times:+.1} u {:?}", o.kind, o.seed, m.name, m.components);
        }
    }
    let report = report(&outcomes, value("--without").map(String::as_str));
    println!("{}", report.text);
    for failure in &report.failures {
        println!("BROKEN: {}", failure.text);
    }
    let blind = if args.iter().any(|a| a == "--ablate") { ablate(&outcomes) } else { 0 };
    println!("{drives} drives, {} rules broken", report.failures.len());
    std::process::exit(i32::from(!report.failures.is_empty() || blind > 0));
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

fn usage(name: &str) -> ! {
    eprintln!("{name} takes a whole number");
    std::process::exit(2);
}

/// Drives all seeds on all cores, and one stress drive of each kind for every fifth of them; the
/// order of the results does not depend on the cores.
fn all(first: u64, drives: u64) -> Vec<Outcome> {
    let stresses = STRESSES.len() as u64;
    let jobs = drives + stresses * (drives / 5);
    let next = AtomicU64::new(0);
    let done = Mutex::new(Vec::new());
    let cores = std::thread::available_parallelism().map_or(1, |n| n.get());
    std::thread::scope(|scope| {
        for _ in 0..cores {
            scope.spawn(|| {
                loop {
                    let job = next.fetch_add(1, Ordering::Relaxed);
                    let outcome = match job.checked_sub(drives) {
                        _ if job >= jobs => return,
                        None => drive(first + job),
                        Some(k) => stress((k % stresses) as usize, first + k / stresses),
                    };
                    done.lock().unwrap_or_else(|e| e.into_inner()).push((job, outcome));
                }
            });
        }
    });
    let mut outcomes = done.into_inner().unwrap_or_else(|e| e.into_inner());
    outcomes.sort_by_key(|o| o.0);
    outcomes.into_iter().map(|o| o.1).collect()
}
