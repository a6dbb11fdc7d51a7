//! How a selection ended.

use super::latency::Latency;
use super::stand::{End, Stand};
use super::table::{Passage, Table};
use super::travel::Need;
use crate::quantity::Estimate;
use crate::switches::Moment;
use crate::verdict::Judgement;
use serde::{Deserialize, Serialize};

/// Stages of a selection.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// A drive line of the shift motor came on.
    MotorEnergised,
    /// A limit contact changed.
    LimitContactsChanged,
    /// The last drive line of the motor went off.
    MotorStopped,
    /// The position switches read what the row says.
    PositionSwitchesMatch,
    /// The lamps show what the row says.
    LampSteady,
}

impl Stage {
    /// The stage in words.
    pub fn words(&self) -> &'static str {
        match self {
            Stage::MotorEnergised => "motor energised",
            Stage::LimitContactsChanged => "limit contacts changed",
            Stage::MotorStopped => "motor stopped",
            Stage::PositionSwitchesMatch => "position switches match",
            Stage::LampSteady => "lamp steady",
        }
    }
}

/// A stage and when it came.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StageTime {
    /// Which stage.
    pub stage: Stage,
    /// When, on the time axis.
    pub moment: Moment,
}

/// How a selection ended, by the switches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// The row matched.
    Completed,
    /// It matched, and went on doing so through a drive/coast reversal.
    Confirmed,
    /// The unit and its motor took longer than the limit.
    Slow,
    /// The motor did its part; the sleeve has not had the motion that it needs.
    WaitingForRotation,
    /// No row matches although the sleeve had the motion that it needs.
    StuckBetween,
    /// Another row matches.
    WrongRow,
    /// The request went back before the row matched.
    Reversed,
    /// The request went on to a third row before the row matched.
    Replaced,
    /// An interlock was not as the unit requires, and nothing moved.
    RefusedByInterlock,
    /// Nothing moved although nothing forbade it.
    RequestLost,
    /// Ignition went off before the row matched.
    PowerLost,
    /// The recording does not show how it ended.
    NotSeen,
}

impl Outcome {
    /// The outcome in words.
    pub fn words(&self) -> &'static str {
        match self {
            Outcome::Completed => "completed",
            Outcome::Confirmed => "confirmed",
            Outcome::Slow => "slow",
            Outcome::WaitingForRotation => "waiting for rotation",
            Outcome::StuckBetween => "stuck between",
            Outcome::WrongRow => "wrong row",
            Outcome::Reversed => "reversed",
            Outcome::Replaced => "replaced",
            Outcome::RefusedByInterlock => "refused by interlock",
            Outcome::RequestLost => "request lost",
            Outcome::PowerLost => "power lost",
            Outcome::NotSeen => "not seen",
        }
    }

    /// True when the switches say that the mode was reached.
    pub fn is_reached(&self) -> bool {
        matches!(self, Outcome::Completed | Outcome::Confirmed)
    }
}

/// One selection, from its request edge to its outcome.
#[derive(Debug, Clone, PartialEq)]
pub struct Selection {
    /// Number in the drive, from 1.
    pub number: u32,
    /// Row that the switches showed before, by index and name.
    pub from: Option<(usize, String)>,
    /// Row requested, by index and name.
    pub to: (usize, String),
    /// The request edge.
    pub request: Moment,
    /// When the request ended (or the recording).
    pub ended_s: f64,
    /// Stages in the order in which they came.
    pub stages: Vec<StageTime>,
    /// How it ended.
    pub outcome: Outcome,
    /// What to know about it: the switch that blocks, the row reached instead.
    pub detail: Option<String>,
    /// From the request to the engaged row; `None` if it never matched, or was there already.
    pub total: Option<Latency>,
    /// Time at rest between motor stop and engagement, in seconds; the limit does not count it.
    pub rested_s: f64,
    /// True when the motor was still running as the row matched.
    pub ran_on: bool,
    /// From when the row no longer matched although it was still requested.
    pub left_s: Option<f64>,
    /// True when the row matched for less than half a second with the motor at rest.
    pub touched: bool,
    /// The share of the unit and its motor, when a channel shows it.
    pub motor_part: Option<Latency>,
    /// Turns of the front-rear relative angle between motor stop and engagement (or the end).
    pub turns_since_motor_stop: Option<f64>,
    /// What the sleeve waits for in this change.
    pub need: Need,
    /// How much of that came between motor stop and engagement (or the end): turns of the relative
    /// angle, or torque reversals; `None` where nothing measures it.
    pub needed: Option<f64>,
    /// Position switches that read otherwise than the row at the end.
    pub blocked_by: Vec<String>,
    /// Whether the limit contacts read the row at the end; `None` where none are declared.
    pub limits_fit: Option<bool>,
    /// Whether the lamps showed the row at the end; `None` where that is not known.
    pub lamps_fit: Option<bool>,
    /// True when it had so much of that that waiting is no excuse any more.
    pub had_motion: bool,
    /// True when the row was engaged already when it was requested, and nothing moved.
    pub was_there: bool,
    /// How its time stands to the limit.
    pub timeliness: Timeliness,
    /// First and last raw record of it.
    pub records: (u64, u64),
    pub(super) agreed_from: Option<usize>,
    /// See [`Stand::untold_from_transit`].
    pub(super) untold: u32,
    /// The position switches read the row when it was requested.
    pub(super) read_at_request: bool,
}

/// How the time of a selection stands to the limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Timeliness {
    /// Surely within it, time at rest not counted.
    Within,
    /// Surely beyond it by the unit and its motor.
    Beyond,
    /// Beyond it, but the sleeve may have waited for motion, which the limit does not count.
    Waited,
    /// Too close to the limit, or edges were missed.
    Unclear,
    /// There is no time: it was not reached, or was there already.
    None,
}

impl Selection {
    pub(super) fn new(
        table: &Table,
        stand: &Stand,
        request: Moment,
        ended_s: f64,
        why: End,
    ) -> Self {
        let timeliness = timeliness(table, stand, ended_s);
        let (outcome, detail) = classify(table, stand, timeliness, ended_s, why);
        let named = |k: usize| (k, table.rows[k].name.clone());
        let travel = stand.matched.map_or(stand.travel, |_| stand.travel_at_match);
        Selection {
            number: 0,
            from: stand.before.shown.map(named),
            to: named(stand.row),
            request,
            ended_s,
            stages: stand.stages(),
            outcome,
            detail,
            total: stand.total().filter(|_| !stand.was_there()),
            rested_s: stand.rested_s,
            ran_on: stand.ran_on_s() > 0.0,
            left_s: stand.left_s,
            touched: stand.touched,
            motor_part: stand.motor_part(),
            turns_since_motor_stop: travel.and_then(|t| t.turns()),
            need: stand.need,
            needed: travel.and_then(|t| t.of(stand.need)),
            blocked_by: table.listed(stand.blocking),
            limits_fit: stand.limits_fit,
            lamps_fit: stand.lamps_fit,
            had_motion: had_motion(table, stand),
            was_there: stand.was_there(),
            timeliness,
            records: stand.records,
            agreed_from: stand.before.agreed(),
            untold: stand.untold_from_transit(table),
            read_at_request: stand.read_at_request,
        }
    }

    /// The time from request to engaged row as an estimate.
    pub fn completion(&self) -> Option<Estimate> {
        Some(self.total.as_ref()?.estimate("completion"))
    }
}

pub(super) fn had_motion(table: &Table, stand: &Stand) -> bool {
    stand.travel.is_some_and(|t| t.is_decisive(stand.need, &table.limits, table.several_ranges))
}

/// A motor that is switched off by its contacts stops within this after the row matched, in seconds
/// (common practice).
const MOTOR_STOPS_S: f64 = 0.5;

fn timeliness(table: &Table, stand: &Stand, ended_s: f64) -> Timeliness {
    let limit_s = table.limits.selection_s;
    let beyond = |l: Latency| l.judge(limit_s, 1) == Judgement::Outside;
    if stand.was_there() {
        return Timeliness::None;
    }
    let still_running = stand.motor_runs && stand.blind_s == 0.0;
    if stand.matched.is_none() && still_running {
        let so_far = stand.request.map(|r| Latency::between(&r, &Moment::at(ended_s)));
        return if so_far.is_some_and(beyond) { Timeliness::Beyond } else { Timeliness::None };
    }
    let Some(total) = stand.total() else { return Timeliness::None };
    let counted = total.without(stand.rested_s);
    // A row can match in passing; a motor that goes on for long, or after the limit, may have more
    // to do, and the sleeve after it.
    let late = || stand.motor_part().is_none_or(|l| l.judge(limit_s, 1) != Judgement::Inside);
    let ran_on_s = stand.ran_on_s();
    if ran_on_s > MOTOR_STOPS_S || ran_on_s > 0.0 && late() {
        return if beyond(total) { Timeliness::Beyond } else { Timeliness::Unclear };
    }
    match total.judge(limit_s, 1) {
        Judgement::Inside => Timeliness::Within,
        _ if counted.judge(limit_s, 1) == Judgement::Inside => Timeliness::Within,
        Judgement::Between => Timeliness::Unclear,
        Judgement::Outside if stand.motor_part().is_some_and(beyond) => Timeliness::Beyond,
        Judgement::Outside => Timeliness::Waited,
    }
}

fn classify(
    table: &Table,
    stand: &Stand,
    timeliness: Timeliness,
    ended_s: f64,
    why: End,
) -> (Outcome, Option<String>) {
    if stand.matched.is_some() {
        return reached(stand, timeliness);
    }
    if why == End::Power {
        return (Outcome::PowerLost, None);
    }
    let had_time = ended_s - stand.began_s >= table.limits.selection_s;
    if let Some(found) = unmoved(table, stand, had_time) {
        return found;
    }
    if timeliness == Timeliness::Beyond {
        return (Outcome::Slow, Some("the motor was still energised".into()));
    }
    if had_time
        && stand.blind_s == 0.0
        && let Some(found) = misplaced(table, stand)
    {
        return found;
    }
    withdrawn(table, stand, had_time, why)
}

fn reached(stand: &Stand, timeliness: Timeliness) -> (Outcome, Option<String>) {
    let left = stand.left_s.map(|t| format!("the row no longer matched from {t:.2} s"));
    if stand.was_there() {
        return (Outcome::Completed, left.or(Some("was engaged when it was requested".into())));
    }
    if timeliness == Timeliness::Beyond {
        return (Outcome::Slow, left);
    }
    if stand.survived && left.is_none() {
        return (Outcome::Confirmed, None);
    }
    let rested = (stand.rested_s > 0.0).then(|| format!("{:.1} s of it at rest", stand.rested_s));
    let waited = (timeliness == Timeliness::Waited).then(|| "after waiting for motion".into());
    (Outcome::Completed, left.or(waited).or(rested))
}

/// Nothing moved: refused, or lost.
fn unmoved(table: &Table, stand: &Stand, had_time: bool) -> Option<(Outcome, Option<String>)> {
    let seen = stand.motor_is_seen(table) || stand.limits_are_seen(table);
    let moved = stand.motor_on.is_some()
        || stand.motor_runs
        || stand.limit_change.is_some()
        || stand.position_moved;
    if moved || !seen || stand.blind_s > 0.0 {
        return None;
    }
    match &stand.passage {
        Passage::Blocked(by) => Some((Outcome::RefusedByInterlock, Some(by.clone()))),
        Passage::Free if had_time => Some((Outcome::RequestLost, None)),
        Passage::Unknown if had_time => {
            Some((Outcome::NotSeen, Some("nothing moved; an interlock is not known".into())))
        }
        _ => None,
    }
}

/// Something moved, and the switches show no row or another one.
fn misplaced(table: &Table, stand: &Stand) -> Option<(Outcome, Option<String>)> {
    let other = stand.shown_other.filter(|k| Some(*k) != stand.before.shown);
    if let Some(k) = other
        && (had_motion(table, stand) || stand.contacts_show_other)
        && !stand.motor_runs
    {
        return Some((Outcome::WrongRow, Some(format!("reached `{}`", table.rows[k].name))));
    }
    if !had_motion(table, stand) || stand.blocking == 0 {
        return None;
    }
    let blocking = table.names_of(stand.blocking);
    Some((Outcome::StuckBetween, Some(format!("kept from matching by {blocking}"))))
}

fn withdrawn(table: &Table, stand: &Stand, had_time: bool, why: End) -> (Outcome, Option<String>) {
    let blocking =
        (stand.blocking != 0).then(|| format!("not matching: {}", table.names_of(stand.blocking)));
    let back = stand.before.asked.or(stand.before.shown);
    match why {
        End::Request(k) if Some(k) == back => (Outcome::Reversed, blocking),
        End::Request(_) if had_time && stand.travel.is_some() => {
            (Outcome::WaitingForRotation, blocking)
        }
        End::Request(k) => (Outcome::Replaced, Some(format!("by `{}`", table.rows[k].name))),
        End::NoRequest => (Outcome::Reversed, Some("the selector left the mode".into())),
        _ if !table.rows[stand.row].position.is_declared() => {
            (Outcome::NotSeen, Some("no position switches declared".into()))
        }
        _ if stand.blind_s > 0.0 => (Outcome::NotSeen, Some("sentences were lost in it".into())),
        _ if had_time => (Outcome::WaitingForRotation, blocking),
        _ => (Outcome::NotSeen, Some("the recording ended in it".into())),
    }
}
