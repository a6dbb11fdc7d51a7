//! What is turned by hand, engine off: which couplings fit what was counted and seen.
//!
//! With everything else held, a case can do only few things when one of its outputs is turned.
//! [`expected`] is that table, coupling by coupling; [`weigh`] strikes out what a trial refutes,
//! and what is left is the evidence. Nothing left, or everything, is no evidence.
//!
//! Raised front wheel, its partner and the rear on the ground (so `N_R = 0`): the front's share of
//! the drive is `N_in / (r N_F)`, from `N_in / r = a N_F + (1 - a) N_R` (Willis; handbook of
//! differentials in any text on the theory of machines, from memory). Both shafts off and the
//! input held: `N_R = -N_F a / (1 - a)`, so the share is `N_R / (N_F + N_R)` of what is counted
//! without sign, *if* somebody saw them turn opposite ways: equal counts alone look like a lock.
//! Both shafts off and the input free: the least drag wins, and nothing is said.

mod sheet;

pub use sheet::{Felt, HandSheet, Input, Part, SHEET_FORMAT, SheetError, TEMPLATE, Trial, Watched};

use crate::quantity::{Component, Estimate};
use crate::vehicle::{Coupling, Vehicle};
use crate::verdict::{Bounds, Judgement, judge};

/// A share smaller than this is called none, one within this of the whole is called all of it
/// (common practice).
pub const NO_SHARE: f64 = 0.15;

/// A part that turned this far at its output turned on and on, turns. Less may be play taken up to
/// and fro (common practice; the sheet asks for several turns).
pub const TURNED_TURN: f64 = 0.75;

/// Why such a trial says nothing by itself; what creeps does this, and no lock.
pub const MOVED_FARTHER: &str = "it moved farther than its play and did not turn on and on";

/// Edges that a tooth may give by trembling before its sensor while its part is held (common
/// practice; five were found on simulated vehicles).
const TREMBLE_EDGES: f64 = 6.0;

/// Torque at an output that a lock must have held by hand to be called one, N m: about what a tyre
/// on loose ground passes to it (0.4 of 9 kN at 0.37 m over an axle ratio of 4; common practice).
/// A clutch or half a sleeve holds a bare hand as well.
pub const LOCK_HOLDS_NM: f64 = 300.0;

/// Everything that a case can be in.
const COUPLINGS: [Coupling; 5] = [
    Coupling::RearOnly,
    Coupling::Differential,
    Coupling::Locked,
    Coupling::FrontOnly,
    Coupling::Neutral,
];

/// Turns counted in a trial, without sign.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HandTurns {
    /// Turns.
    pub turns: f64,
    /// Turns from one edge to the next.
    pub edge: f64,
    /// Turns that edges of no tooth may have added: a standard uncertainty.
    pub stray: f64,
}

impl HandTurns {
    /// Both together.
    pub fn and(self, other: HandTurns) -> HandTurns {
        HandTurns {
            turns: self.turns + other.turns,
            edge: self.edge.hypot(other.edge),
            stray: self.stray.hypot(other.stray),
        }
    }

    /// Standard uncertainty: one edge more or less at each end of the stretch (triangular), and
    /// strays.
    pub fn u(&self) -> f64 {
        self.counting().hypot(self.stray)
    }

    fn counting(&self) -> f64 {
        self.edge / 6f64.sqrt()
    }
}

/// What was counted in a trial: each part at the shaft of the case, over the range ratio for the
/// input.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct HandCounts {
    /// Front output.
    pub front: Option<HandTurns>,
    /// Rear output.
    pub rear: Option<HandTurns>,
    /// Input over the ratio of the range.
    pub input: Option<HandTurns>,
}

/// What a coupling does in a trial.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Expected {
    /// The part stops after its play.
    Holds,
    /// It turns, and the front's share of the drive reads so; None where any share would do.
    Turns {
        /// Share, 1.
        share: Option<f64>,
    },
    /// Not in such a trial: in neutral nothing holds the carrier, whatever holds the input, and
    /// with both free the least drag decides.
    Impossible,
}

/// What other trials of the same sheet show about a part that held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Control {
    /// Nothing: a dragging brake may have held it.
    Nothing,
    /// It turns in another mode.
    Turns,
    /// It turns in another mode, and the input that was said to be free turned with it.
    InputFollows,
}

/// What a trial says.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighed {
    /// Couplings that fit.
    pub fits: Vec<Coupling>,
    /// The front's share of the drive, where the trial tells it.
    pub share: Option<Estimate>,
    /// Whether the part turned, if that is known.
    pub turned: Option<bool>,
    /// Why it says nothing, if it says nothing.
    pub silent: Option<&'static str>,
}

/// What a coupling does when a part is turned with the input free or held.
///
/// ```
/// use wheelwitness_driveline::hand::{Expected, Input, Part, expected};
/// use wheelwitness_driveline::vehicle::Coupling;
/// let open = expected(Coupling::Differential, Part::FrontLeft, Input::Free, Some(0.4));
/// assert_eq!(open, Expected::Turns { share: Some(0.4) });
/// let lock = expected(Coupling::Locked, Part::FrontLeft, Input::Free, Some(0.4));
/// assert_eq!(lock, Expected::Holds);
/// ```
pub fn expected(is: Coupling, part: Part, input: Input, share: Option<f64>) -> Expected {
    use Coupling::{Differential, FrontOnly, Locked, Neutral, RearOnly};
    let turns = |share: f64| Expected::Turns { share: Some(share) };
    match (part, input, is) {
        (Part::FrontLeft | Part::FrontRight, Input::Free, is) => match is {
            RearOnly | Neutral => turns(0.0),
            Differential => Expected::Turns { share },
            FrontOnly => turns(1.0),
            Locked => Expected::Holds,
        },
        (Part::FrontLeft | Part::FrontRight, Input::Held, is) => match is {
            RearOnly | Neutral => turns(0.0),
            Differential | FrontOnly | Locked => Expected::Holds,
        },
        (_, Input::Free, _) | (_, _, Neutral) => Expected::Impossible,
        (_, Input::Held, Differential) => Expected::Turns { share },
        (_, Input::Held, Locked) => Expected::Holds,
        (Part::FrontFlange, Input::Held, RearOnly) => turns(0.0),
        (Part::RearFlange, Input::Held, FrontOnly) => turns(1.0),
        (_, Input::Held, RearOnly | FrontOnly) => Expected::Holds,
    }
}

/// Weighs a trial: which couplings fit what was counted and what was seen.
///
/// `control` is what other trials say of a part that held here.
pub fn weigh(vehicle: &Vehicle, trial: &Trial, counts: &HandCounts, control: Control) -> Weighed {
    let silent =
        |turned, why| Weighed { fits: COUPLINGS.to_vec(), share: None, turned, silent: Some(why) };
    let turned = match turned(vehicle, trial, counts) {
        Ok(turned) => turned,
        Err(why) => return silent(None, why),
    };
    if trial.turned.is_wheel() && !trial.others_held {
        return silent(turned, "the other wheels were not held");
    }
    if !trial.turned.is_wheel() && trial.input == Input::Free {
        return silent(turned, "with the input free the least drag decides which part turns");
    }
    let Some(turned) = turned else {
        return silent(None, "it is not known whether the part turned or held");
    };
    if !turned && control == Control::Nothing {
        return silent(
            Some(false),
            "no trial shows that this part turns in another mode: a dragging brake would hold it",
        );
    }
    // An input that nobody saw turn may have been held after all.
    let unseen = !turned && control < Control::InputFollows;
    let input = if unseen { Input::Held } else { trial.input };
    let share = if turned { share(vehicle, trial, counts) } else { None };
    let declared = vehicle.center.front_share();
    let fits: Vec<Coupling> = COUPLINGS
        .into_iter()
        .filter(|is| match expected(*is, trial.turned, input, declared) {
            Expected::Impossible => false,
            Expected::Holds => !turned,
            Expected::Turns { share: of_it } => {
                let of_it = of_it.or(declared);
                turned
                    && share_fits(vehicle, *is, of_it, share.as_ref())
                    && seen_fits(trial, *is, of_it)
            }
        })
        .collect();
    match fits.is_empty() {
        true => {
            Weighed { share, ..silent(Some(turned), "nothing that a case can be in does this") }
        }
        false => Weighed { fits, share, turned: Some(turned), silent: None },
    }
}

/// Bounds of the share that a coupling has.
pub fn share_bounds(vehicle: &Vehicle, is: Coupling, share: Option<f64>) -> Option<Bounds> {
    let declared = vehicle.center.front_share().unwrap_or(2.0 * NO_SHARE);
    let none = NO_SHARE.min(0.5 * declared.min(1.0 - declared));
    let around = |s: f64, width: f64| Bounds::between(s - width, s + width);
    Some(match is {
        Coupling::Differential => around(share?, vehicle.limits.share_relative * share?),
        Coupling::FrontOnly => around(1.0, none),
        _ => Bounds::within(none),
    })
}

fn share_fits(vehicle: &Vehicle, is: Coupling, of_it: Option<f64>, e: Option<&Estimate>) -> bool {
    let bounds = share_bounds(vehicle, is, of_it);
    e.zip(bounds).is_none_or(|(e, bounds)| judge(e, bounds, 1) != Judgement::Outside)
}

/// What was seen of the watched part.
fn seen_fits(trial: &Trial, is: Coupling, share: Option<f64>) -> bool {
    let moves = is == Coupling::Differential
        || trial.turned.is_wheel() && trial.input == Input::Free && share == Some(1.0);
    match trial.watched {
        None => true,
        Some(Watched::None) => !moves,
        Some(Watched::Same) => moves && trial.turned.is_wheel(),
        Some(Watched::Opposite) => moves && !trial.turned.is_wheel(),
    }
}

/// Whether counts show that a part turned on and on; None where they cannot tell.
fn counted_turn(vehicle: &Vehicle, n: HandTurns) -> Result<Option<bool>, &'static str> {
    // Once to each side.
    let play = 2.0 * vehicle.limits.backlash_turn;
    let e = plain(n.turns, vec![Component::own("counting", n.u())]);
    let firm = Estimate { value: n.turns - TREMBLE_EDGES * n.edge, ..e.clone() };
    let to = |e: &Estimate, most| judge(e, Bounds::at_most(most), 1);
    match (to(&e, play), to(&firm, play.max(TURNED_TURN)), to(&firm, play)) {
        (Judgement::Inside, _, _) => Ok(Some(false)),
        (_, Judgement::Outside, _) => Ok(Some(true)),
        (_, _, Judgement::Outside) => Err(MOVED_FARTHER),
        _ => Ok(None),
    }
}

/// Whether the part turned: by counts, by what was felt, or by both where they agree.
fn turned(vehicle: &Vehicle, trial: &Trial, c: &HandCounts) -> Result<Option<bool>, &'static str> {
    let of_part = if trial.turned == Part::RearFlange { c.rear } else { c.front };
    let counted = of_part.map(|n| counted_turn(vehicle, n)).transpose()?.flatten();
    let felt = trial.felt.map(|f| f == Felt::Turned);
    match (counted, felt) {
        (Some(a), Some(b)) if a != b => Err("what was counted and what was felt disagree"),
        (counted, felt) => Ok(counted.or(felt)),
    }
}

/// The front's share of the drive by the counts of a trial.
fn share(vehicle: &Vehicle, trial: &Trial, c: &HandCounts) -> Option<Estimate> {
    if !trial.one_way {
        return None;
    }
    // The play is taken up once before the other part follows.
    let play = vehicle.limits.backlash_turn / 3f64.sqrt();
    if trial.turned.is_wheel() {
        let (front, input) = (c.front?, c.input.filter(|_| trial.input == Input::Free)?);
        return Some(of(input, front, front.turns, play));
    }
    let (front, rear) = (c.front?, c.rear?);
    // Opposite ways must have been seen; a part that stood was seen by its counter.
    let stood = front.turns.min(rear.turns) <= front.edge.max(rear.edge);
    let told = trial.watched == Some(Watched::Opposite) || stood;
    told.then(|| of(rear, front, front.turns + rear.turns, play))
}

/// `part / whole`, where the whole is `other` or both together.
fn of(part: HandTurns, other: HandTurns, whole: f64, play: f64) -> Estimate {
    let whole = whole.max(1e-6);
    let value = part.turns / whole;
    let both = whole > other.turns;
    let by_part = if both { 1.0 - value } else { 1.0 } / whole;
    let both = |u: fn(&HandTurns) -> f64| (by_part * u(&part)).hypot(value / whole * u(&other));
    let components = vec![
        Component::own("counting", both(HandTurns::counting)),
        Component::own("stray edges", both(|n| n.stray)),
        Component::own("backlash", value.max(0.05) * play / whole),
    ];
    plain(value, components)
}

fn plain(value: f64, components: Vec<Component>) -> Estimate {
    Estimate { name: "front share".into(), value, unit: "1".into(), components }
}

/// Torque at the output that a part held, N m: with the partner on the ground a wheel's torque
/// goes to the shaft as `2 T / i` (open axle differential, kinematics of the bevel set).
pub fn torque_at_output(vehicle: &Vehicle, trial: &Trial) -> Option<f64> {
    let torque = trial.torque_nm?;
    let ratio = vehicle.axles.front.ratio_value();
    Some(if trial.turned.is_wheel() { 2.0 * torque / ratio } else { torque })
}

#[cfg(test)]
mod tests;
