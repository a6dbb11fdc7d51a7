//! The truth campaign: `cargo run --release -p wheelwitness-tests --bin campaign -- FIRST COUNT`.

use wheelwitness_tests::campaign::{Call, drive, table};

fn main() {
    let args: Vec<u64> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    let (first, count) = (args.first().copied().unwrap_or(1), args.get(1).copied().unwrap_or(20));
    let mut outcomes = Vec::new();
    for seed in first..first + count {
        let o = drive(seed);
        for (claim, scope, call, line) in &o.calls {
            if matches!(call, Call::Wrong | Call::WrongNear) {
                println!(
                    "   faults {:?}",
                    wheelwitness_rig::random_drive::random_drive(seed).plan.faults
                );
                println!("{call:?} seed {seed} {:?} {:?} {claim} {scope}: {line}", o.fit, o.close);
            }
        }
        for m in &o.measured {
            if (m.error / m.u).abs() > 3.0 {
                println!(
                    "far seed {seed} {:?} {:?} {} {:+.4} u {:.4} ({:+.1}) {:?}",
                    o.fit,
                    o.close,
                    m.name,
                    m.error,
                    m.u,
                    m.error / m.u,
                    m.components
                );
            }
        }
        outcomes.push(o);
    }
    print!("{}", table(&outcomes));
}
