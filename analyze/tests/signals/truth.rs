//! Verdicts by every fit against what the rig knows to be true.

use crate::capture::capture;
use crate::drive::result;
use wheelwitness_analyze::result::{Claim, Verdict};
use wheelwitness_rig::{BusSettings, Fact, Fit, scenario};

/// Drives of the demo's script with units as they come: some are set to another circumference for
/// each axle, and the builder does not know it.
const SEEDS: std::ops::Range<u64> = 20..24;

fn holds(facts: &[Fact], claim: &Claim) -> Option<bool> {
    let is_about = |f: &&Fact| {
        f.claim == claim.id
            && match claim.id.as_str() {
                "selection-completes" => f.scope.ends_with(&format!(" to {}", claim.scope)),
                "sensors-agree" => claim.scope == format!("{} axle", f.scope),
                _ => f.scope == claim.scope,
            }
    };
    let mut about = facts.iter().filter(is_about).peekable();
    about.peek()?;
    Some(about.all(|f| f.holds))
}

#[test]
fn no_verdict_by_any_fit_is_against_the_truth() {
    let (mut wrong, mut decided) = (Vec::new(), 0);
    for seed in SEEDS {
        let mut plan = scenario::demo(seed, Vec::new());
        let bus = BusSettings::draw(seed);
        plan.settings.bus = Some(bus);
        let run = plan.run();
        let storage = capture(&run);
        let facts = run.truth.facts(&plan.declared);
        for fit in Fit::ALL {
            let text = toml::to_string(&fit.of(&plan.declared, &bus)).expect("plain types");
            for c in result(&storage, &text).claims {
                let said = match c.verdict {
                    Verdict::Proven => true,
                    Verdict::Disproven => false,
                    Verdict::Undecided => continue,
                };
                decided += 1;
                if holds(&facts, &c).is_some_and(|h| h != said) {
                    let (id, scope, reason) = (&c.id, &c.scope, &c.reason);
                    wrong.push(format!("seed {seed}, {fit}: {id} ({scope}) {said}: {reason}"));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(decided > 100, "{decided} verdicts only");
}
