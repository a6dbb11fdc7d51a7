//! Verdicts held against what a rig knows to be true of its drive.

use wheelwitness_analyze::result::{Claim, DriveResult, Verdict};
use wheelwitness_rig::facts::Fact;
use wheelwitness_rig::{Plan, Run};

/// What is true of a drive.
#[derive(Debug, Clone)]
pub struct Answers(Vec<Fact>);

impl Answers {
    /// The facts of a run by the limits of its vehicle file.
    pub fn of(plan: &Plan, run: &Run) -> Self {
        Answers(run.truth.facts(&plan.declared))
    }

    /// Whether a claim's sentence is true; `None` where the rig has no fact about it. A claim
    /// about several periods or selections is true when it is true of each.
    pub fn holds(&self, claim: &Claim) -> Option<bool> {
        let mut about = self.0.iter().filter(|f| is_about(f, claim)).peekable();
        about.peek()?;
        Some(about.all(|f| f.holds))
    }

    /// Claims with a verdict that is not the truth.
    pub fn mistakes<'a>(&self, result: &'a DriveResult) -> Vec<&'a Claim> {
        let is_wrong = |c: &&Claim| match (c.verdict, self.holds(c)) {
            (Verdict::Proven, Some(holds)) => !holds,
            (Verdict::Disproven, Some(holds)) => holds,
            _ => false,
        };
        result.claims.iter().filter(is_wrong).collect()
    }

    /// How the verdicts compare with the truth, in words.
    pub fn summary(&self, result: &DriveResult) -> String {
        let known = result.claims.iter().filter(|c| self.holds(c).is_some());
        let (open, decided): (Vec<&Claim>, Vec<&Claim>) =
            known.partition(|c| c.verdict == Verdict::Undecided);
        let mistakes = self.mistakes(result);
        let (all, right) = (decided.len() + open.len(), decided.len() - mistakes.len());
        let mut text = format!(
            "The rig knows the truth of {all} claims: {right} verdicts agree with it, {} do not, \
             {} are undecided.\n",
            mistakes.len(),
            open.len()
        );
        for c in mistakes {
            let word = if c.verdict == Verdict::Proven { "proven" } else { "disproven" };
            text += &format!("NOT TRUE: {} ({}) is called {word}\n", c.id, c.scope);
        }
        text
    }
}

fn is_about(fact: &Fact, claim: &Claim) -> bool {
    fact.claim == claim.id
        && match claim.id.as_str() {
            "selection-completes" => fact.scope.ends_with(&format!(" to {}", claim.scope)),
            "sensors-agree" => claim.scope == format!("{} axle", fact.scope),
            _ => fact.scope == claim.scope,
        }
}
