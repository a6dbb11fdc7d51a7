//! What was turned by hand, as further evidence of four claims.
//!
//! A trial strikes out couplings (`driveline/src/hand`); what the trials of one mode leave over
//! together is what they show. A drive that exercised a claim and could not decide it stays
//! undecided: a hand does not outvote the road.

use super::Finding;
use crate::assemble::Drive;
use crate::hand::Tried;
use crate::result::{Period, Reported, Verdict};
use wheelwitness_driveline::hand::{
    Felt, LOCK_HOLDS_NM, MOVED_FARTHER, share_bounds, torque_at_output,
};
use wheelwitness_driveline::vehicle::{Coupling, Mode};
use wheelwitness_driveline::verdict::{Judgement, judge};

/// Which claim trials are asked about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Asked {
    /// `center-opens`.
    Opens,
    /// `center-locks`.
    Locks,
    /// `front-driven`.
    Driven,
    /// `front-released`.
    Released,
}

/// What the trials of a mode say together.
struct Said<'a> {
    verdict: Verdict,
    reason: String,
    next: Option<String>,
    trials: Vec<(&'a Tried, Verdict)>,
}

/// A finding about a mode with what was found by hand.
pub fn with_hand(drive: &Drive, mode: &Mode, asked: Asked, finding: Finding) -> Finding {
    let Some(said) = said(drive, mode, asked) else { return finding };
    let coupled = || {
        finding.code == "front-coupling-not-shown"
            && said_of(drive, mode, Asked::Driven).is_some_and(|s| s.verdict == Verdict::Proven)
    };
    let untried = finding.periods.is_empty();
    let (verdict, code) = match (finding.verdict, said.verdict) {
        (Verdict::Disproven, _) => (Verdict::Disproven, finding.code),
        (_, Verdict::Disproven) => (Verdict::Disproven, "refuted-by-hand"),
        (Verdict::Undecided, Verdict::Proven) if untried || coupled() => {
            (Verdict::Proven, "shown-by-hand")
        }
        (Verdict::Undecided, _) if asked == Asked::Opens && coupled() => {
            (Verdict::Proven, "coupled-by-hand")
        }
        (Verdict::Undecided, Verdict::Undecided) if untried => {
            (Verdict::Undecided, "by-hand-not-enough")
        }
        (word, _) => (word, finding.code),
    };
    let mut periods = finding.periods.clone();
    periods.extend(said.trials.iter().map(|(t, word)| period(t, *word)));
    let finding = Finding { periods, ..finding };
    if code == finding.code {
        return finding;
    }
    let reason = match code {
        "coupled-by-hand" => format!("{}; by hand the front is coupled", finding.reason),
        _ => said.reason,
    };
    let next_step = match verdict {
        Verdict::Undecided => said.next.or(finding.next_step.clone()),
        _ => None,
    };
    Finding { verdict, code, reason, next_step, ..finding }
}

fn said<'a>(drive: &'a Drive, mode: &Mode, asked: Asked) -> Option<Said<'a>> {
    // Viscous, torque-biasing and clutch centers have no single allowance, by hand neither.
    if asked == Asked::Opens && drive.vehicle.center.front_share().is_none() {
        return None;
    }
    said_of(drive, mode, asked)
}

fn said_of<'a>(drive: &'a Drive, mode: &Mode, asked: Asked) -> Option<Said<'a>> {
    let of_mode: Vec<&Tried> =
        drive.hand.tried.iter().filter(|t| t.trial.mode == mode.name).collect();
    let speaks = |t: &&&Tried| t.weighed.silent.is_none();
    let first = of_mode.first()?;
    let speaking: Vec<&Tried> = of_mode.iter().filter(speaks).copied().collect();
    let words = |t: &Tried| match t.weighed.silent {
        Some(_) => Verdict::Undecided,
        None => word(drive, asked, &t.weighed.fits, std::slice::from_ref(&t)),
    };
    let trials: Vec<(&Tried, Verdict)> = of_mode.iter().map(|t| (*t, words(t))).collect();
    if speaking.is_empty() {
        let why = first.weighed.silent.unwrap_or_default();
        let reason = format!("by hand ({}): {why}", first.what());
        let next = Some("turn it again as the hand sheet says".into());
        return Some(Said { verdict: Verdict::Undecided, reason, next, trials });
    }
    let left: Vec<Coupling> = speaking[0]
        .weighed
        .fits
        .iter()
        .copied()
        .filter(|c| speaking.iter().all(|t| t.weighed.fits.contains(c)))
        .collect();
    // What slips holds in one trial like a lock and turns in another one like a differential.
    let slips = |t: &Tried| [Coupling::Differential, Coupling::Locked].iter().any(|c| t.fits(*c));
    let clutch = speaking.iter().all(|t| slips(t))
        && !left.iter().any(|c| matches!(c, Coupling::Differential | Coupling::Locked));
    if clutch && matches!(asked, Asked::Driven | Asked::Released) {
        let reason = "by hand: it turned in one trial and held in another one, as what slips does";
        let next = Some("turn it again in this mode, as far as it goes, with one torque".into());
        let (verdict, reason) = (Verdict::Undecided, reason.into());
        return Some(Said { verdict, reason, next, trials });
    }
    let refuted = trials.iter().find(|(_, w)| *w == Verdict::Disproven);
    let (verdict, leading) = match refuted {
        Some((t, _)) => (Verdict::Disproven, *t),
        None => (word(drive, asked, &left, &speaking), leading(drive, asked, &speaking)),
    };
    let crept = |t: &&Tried| t.weighed.silent == Some(MOVED_FARTHER);
    if let (Asked::Locks, Verdict::Proven, Some(t)) =
        (asked, verdict, of_mode.iter().find(|t| crept(t)))
    {
        let reason = format!("by hand ({}): {MOVED_FARTHER}, as a clutch does", t.what());
        let next = Some(next_step(asked, &left));
        return Some(Said { verdict: Verdict::Undecided, reason, next, trials });
    }
    let fits = if refuted.is_some() { &leading.weighed.fits } else { &left };
    let reason = format!("by hand ({}): {}", leading.what(), told(fits));
    let next = (verdict == Verdict::Undecided).then(|| next_step(asked, fits));
    Some(Said { verdict, reason, next, trials })
}

/// The trial that a reason names: of a lock, the one that held most.
fn leading<'a>(drive: &Drive, asked: Asked, speaking: &[&'a Tried]) -> &'a Tried {
    let held = |t: &Tried| match asked {
        Asked::Locks => torque_at_output(&drive.vehicle, &t.trial).unwrap_or(0.0),
        _ => 0.0,
    };
    let most = |a: &'a Tried, b: &'a Tried| if held(b) > held(a) { b } else { a };
    speaking.iter().copied().reduce(most).unwrap_or(speaking[0])
}

/// What couplings that are left over say about a claim.
fn word(drive: &Drive, asked: Asked, left: &[Coupling], trials: &[&Tried]) -> Verdict {
    let drives = |c: &Coupling| !matches!(c, Coupling::RearOnly | Coupling::Neutral);
    let all = |is: bool| !left.is_empty() && left.iter().all(|c| drives(c) == is);
    let only = |c: Coupling| left == [c];
    match asked {
        _ if left.is_empty() => Verdict::Undecided,
        Asked::Driven if all(true) => Verdict::Proven,
        Asked::Driven if all(false) => Verdict::Disproven,
        Asked::Released if all(false) => Verdict::Proven,
        Asked::Released if all(true) => Verdict::Disproven,
        Asked::Opens if only(Coupling::Differential) && near_declared(drive, trials) => {
            Verdict::Proven
        }
        Asked::Opens if !left.contains(&Coupling::Differential) => Verdict::Disproven,
        Asked::Locks if only(Coupling::Locked) && held_enough(drive, trials) => Verdict::Proven,
        Asked::Locks if !left.contains(&Coupling::Locked) => Verdict::Disproven,
        _ => Verdict::Undecided,
    }
}

/// Where a share was counted, it must lie within the bounds of the declared one.
fn near_declared(drive: &Drive, trials: &[&Tried]) -> bool {
    let declared = drive.vehicle.center.front_share();
    let bounds = share_bounds(&drive.vehicle, Coupling::Differential, declared);
    let near = |t: &&Tried| {
        let share = t.weighed.share.as_ref().zip(bounds);
        share.is_none_or(|(e, bounds)| judge(e, bounds, 1) == Judgement::Inside)
    };
    trials.iter().all(near)
}

/// Whether a part held what a lock holds. Somebody must have felt it stop: a clutch that creeps
/// moves by no more than play for a while, and is counted as little.
fn held_enough(drive: &Drive, trials: &[&Tried]) -> bool {
    let stopped = |t: &Tried| t.weighed.turned == Some(false) && t.trial.felt == Some(Felt::Held);
    let held = trials.iter().filter(|t| stopped(t));
    let torques = held.filter_map(|t| torque_at_output(&drive.vehicle, &t.trial));
    torques.fold(0.0, f64::max) >= LOCK_HOLDS_NM
}

/// What is left, in plain words.
fn told(left: &[Coupling]) -> String {
    let word = |c: &Coupling| match c {
        Coupling::RearOnly => "a released front",
        Coupling::Differential => "the open center differential",
        Coupling::Locked => "a lock",
        Coupling::FrontOnly => "a released rear",
        Coupling::Neutral => "neutral",
    };
    match left {
        [] => "its trials contradict each other".into(),
        [one] => format!("only {} does this", word(one)),
        many => {
            let words: Vec<&str> = many.iter().map(word).collect();
            format!("it may be {}", words.join(" or "))
        }
    }
}

fn next_step(asked: Asked, left: &[Coupling]) -> String {
    match (asked, left) {
        (Asked::Locks, [Coupling::Locked]) => format!(
            "a clutch holds a bare hand as well: drive circles both ways on loose ground in this \
             mode, or hold the bare flange, input held, against {LOCK_HOLDS_NM:.0} N·m by a \
             torque wrench (engine off)"
        ),
        _ => {
            "with the engine off, chocked, parking brake set before selecting, turn a raised front \
              wheel one way for several turns with the gearbox in neutral and the case input \
              counted"
                .into()
        }
    }
}

fn period(t: &Tried, word: Verdict) -> Period {
    let why = t.weighed.silent.map_or_else(|| told(&t.weighed.fits), Into::into);
    let (by, on) = (&t.trial.by, &t.trial.on);
    Period {
        start_s: t.trial.start_s.unwrap_or(0.0),
        end_s: t.trial.end_s.unwrap_or(0.0),
        verdict: word,
        reason: format!("by hand, {by}, {on}: {}: {why}", t.what()),
        estimates: t.weighed.share.iter().map(Reported::from).collect(),
        evidence: t.records.into_iter().collect(),
    }
}
