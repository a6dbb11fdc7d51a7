//! The claim `switch-table`: in every mode the switches read what the table says.

use super::MARGIN_S;
use super::finding::{Finding, FindingPeriod, Word};
use super::outcome::had_motion;
use super::reading::Disagreement;
use super::stand::Stand;
use super::table::Table;
use super::timeline::Timeline;
use super::travel::Need;
use super::witness::{Shafts, shafts};
use crate::quantity::{Component, Estimate};
use crate::switches::SETTLE_S;

/// Least time that a row is read before it is judged, in seconds (common practice).
const MIN_EXPOSURE_S: f64 = 1.0;

/// What the position switches of one row read in one stretch in which the row was requested.
#[derive(Debug, Clone, PartialEq)]
pub struct RowPeriod {
    /// Row by name.
    pub mode: String,
    /// When the request began, in seconds.
    pub requested_s: f64,
    /// When the request ended, in seconds.
    pub ended_s: f64,
    /// Stretch in which the row was read; `None` if the request did not stand long enough.
    pub stretch_s: Option<(f64, f64)>,
    /// Time of it in which every switch of the row could be read.
    pub exposure_s: f64,
    /// Switches that read otherwise, by name.
    pub disagreements: Vec<(String, Disagreement)>,
    /// When the row matched and had settled, in seconds; `None` if it never did.
    pub matched_s: Option<f64>,
    /// When moreover the motor had come to rest and the lamps were steady, in seconds.
    pub at_rest_s: Option<f64>,
    /// From when on it was engaged, as far as all that the unit shows tells: switches, motor and
    /// lamps, in seconds. None where they do not tell.
    pub engaged_s: Option<f64>,
    /// True when the switches changed to the row after a request edge that was seen.
    pub followed: bool,
    /// True when the request stood already when the recording (or the power) began.
    pub initial: bool,
    /// True when the switches moved on with the next selection.
    pub moved_on: bool,
    /// Whether the motor ran and rests again; `None` without motor line, or when it did not run.
    pub motor_rests: Option<bool>,
    /// Whether the limit contacts read the row.
    pub limits_fit: Option<bool>,
    /// Limit contacts that read otherwise all the time from the match on, by name.
    pub contacts_otherwise: Vec<(String, Disagreement)>,
    /// Whether the lamps show the row.
    pub lamps_fit: Option<bool>,
    /// What the sleeve waits for.
    pub need: Need,
    /// True when it had so much of that that waiting is no excuse any more.
    pub had_motion: bool,
    /// First and last raw record.
    pub records: (u64, u64),
    row: usize,
    agreed_from: Option<usize>,
}

impl RowPeriod {
    pub(super) fn new(table: &Table, stand: &Stand, ended_s: f64) -> Self {
        let reading = &stand.reading;
        let differed = |n: &usize| reading.switches[*n].times + reading.switches[*n].drops > 0;
        let motor_rests =
            if stand.motor_runs { Some(false) } else { stand.motor_off.map(|_| true) };
        RowPeriod {
            mode: table.rows[stand.row].name.clone(),
            requested_s: stand.began_s,
            ended_s,
            stretch_s: reading.stretch(),
            exposure_s: reading.readable_s,
            disagreements: (0..table.names.len())
                .filter(differed)
                .map(|n| (table.names[n].clone(), reading.switches[n]))
                .collect(),
            matched_s: stand.matched.map(|m| m.settled_s),
            at_rest_s: stand.at_rest_s(),
            engaged_s: stand.engaged_s(),
            followed: stand.request.is_some() && stand.matched.is_some() && stand.position_moved,
            initial: stand.request.is_none(),
            moved_on: false,
            motor_rests,
            limits_fit: stand.limits_fit,
            contacts_otherwise: stand
                .contacts
                .throughout()
                .into_iter()
                .map(|(n, d)| (table.names[n].clone(), d))
                .collect(),
            lamps_fit: stand.lamps_fit,
            need: stand.need,
            had_motion: had_motion(table, stand),
            records: stand.records,
            row: stand.row,
            agreed_from: stand.before.agreed(),
        }
    }

    /// Time of readings otherwise than the row, of the worst position switch, in seconds.
    pub fn disagreement_s(&self) -> f64 {
        worst_s(&self.disagreements)
    }

    /// True when the switches cannot have been stuck at the row's code: they came with the
    /// request, or, for the row in which the recording began, they went with the next one.
    pub(super) fn shows_movement(&self) -> bool {
        self.followed || self.initial && self.matched_s.is_some() && self.moved_on
    }

    /// Number of its row.
    pub(super) fn row(&self) -> usize {
        self.row
    }

    /// True when it is the period of a row.
    pub(super) fn is_row(&self, row: usize) -> bool {
        self.row == row
    }

    /// True when both sets of contacts, and the motor if there is a line of it, say that the row
    /// is engaged, all the time, and moved for it.
    pub(super) fn is_shown_by_contacts(&self) -> bool {
        let calm = self.disagreements.is_empty() && self.contacts_otherwise.is_empty();
        let arrived = self.limits_fit == Some(true) && self.motor_rests != Some(false);
        self.shows_movement() && calm && arrived
    }

    /// Other witnesses for and against the row being engaged, the shafts aside.
    fn votes(&self) -> (u32, u32) {
        let moved = self.shows_movement().then_some(true);
        let others = [moved, self.motor_rests, self.limits_fit, self.lamps_fit];
        let count = |vote| others.iter().filter(|v| **v == Some(vote)).count() as u32;
        (count(true), count(false))
    }

    /// Switches that read otherwise for long, as a sentence.
    fn who(&self) -> String {
        self.named(&self.disagreements)
    }

    fn named(&self, all: &[(String, Disagreement)]) -> String {
        let long = all.iter().filter(|(_, d)| d.times > 0);
        let each = |(name, d): &(String, Disagreement)| {
            format!("`{name}` for {:.1} s of {:.1} s", d.total_s, self.exposure_s)
        };
        long.map(each).collect::<Vec<_>>().join(", ")
    }
}

fn worst_s(all: &[(String, Disagreement)]) -> f64 {
    all.iter().map(|(_, d)| d.total_s).fold(0.0, f64::max)
}

pub(super) fn switch_table(timeline: &Timeline) -> Vec<Finding> {
    let table = &timeline.table;
    (0..table.rows.len())
        .map(|k| {
            let name = &table.rows[k].name;
            let never = if table.rows[k].position.is_declared() && table.rows[k].position.whole {
                (
                    "mode-not-requested",
                    format!("`{name}` was not requested in this drive"),
                    format!(
                        "select `{name}` and keep it requested for at least {:.0} s while \
                        driving",
                        hold_s(table)
                    ),
                )
            } else {
                no_switches(name)
            };
            let of_row = |p: &&RowPeriod| p.row == k && table.rows[k].position.is_declared();
            let periods =
                timeline.row_periods.iter().filter(of_row).map(|p| judge(timeline, p)).collect();
            Finding::from_periods("switch-table", name.clone(), periods, never)
        })
        .collect()
}

/// Code, reason and next step for a row without usable position switches.
pub(super) fn no_switches(name: &str) -> (&'static str, String, String) {
    (
        "no-position-switches",
        format!("no position switches are declared for `{name}`, or one of them is no switch"),
        format!("wire the position switches and declare them in the row of `{name}`"),
    )
}

fn hold_s(table: &Table) -> f64 {
    table.limits.selection_s + MARGIN_S + MIN_EXPOSURE_S
}

/// Word, code, reason, next step, and whether the period was idle.
type Judged = (Word, &'static str, String, Option<String>, bool);

fn judge(timeline: &Timeline, p: &RowPeriod) -> FindingPeriod {
    let (word, code, reason, next_step, idle) = match p.stretch_s {
        Some(stretch) if p.exposure_s >= MIN_EXPOSURE_S => {
            if p.disagreement_s() > 0.0 {
                disagreeing(timeline, p, stretch)
            } else {
                agreeing(timeline, p, stretch)
            }
        }
        _ => {
            let step = format!(
                "keep `{}` requested for at least {:.0} s",
                p.mode,
                hold_s(&timeline.table)
            );
            let reason = "the request did not stand long enough to read the row".to_string();
            (Word::Undecided, "not-held-long-enough", reason, Some(step), true)
        }
    };
    let (start_s, end_s) = p.stretch_s.unwrap_or((p.requested_s, p.ended_s));
    let worst_s = p.disagreement_s().max(worst_s(&p.contacts_otherwise));
    let estimates = vec![seconds("disagreement", worst_s), seconds("exposure", p.exposure_s)];
    FindingPeriod {
        start_s,
        end_s,
        word,
        code,
        reason,
        estimates,
        records: p.records,
        next_step,
        idle,
    }
}

/// A time in which switches read something.
pub(super) fn seconds(name: &str, value: f64) -> Estimate {
    let components = vec![Component::own("calm time", SETTLE_S)];
    Estimate { name: name.into(), value, unit: "s".into(), components }
}

pub(super) fn said(timeline: &Timeline, p: &RowPeriod, stretch: (f64, f64)) -> Shafts {
    shafts(&timeline.seen, &timeline.table, p.row, p.agreed_from, stretch)
}

fn agreeing(timeline: &Timeline, p: &RowPeriod, stretch: (f64, f64)) -> Judged {
    let (for_it, against) = p.votes();
    let shafts = said(timeline, p, stretch);
    let for_it = for_it + u32::from(shafts == Shafts::Confirm);
    let circles = format!(
        "keep `{}` requested and drive circles both ways with both shafts \
        measured, or look at the linkage by hand",
        p.mode
    );
    if shafts == Shafts::Deny {
        let reason = "the switches read the row, but the shafts show another mode".into();
        return (Word::Undecided, "shafts-contradict-switches", reason, Some(circles), false);
    }
    if !p.shows_movement() && shafts != Shafts::Confirm {
        let reason = "the switches read the row, but did not move for it in this drive: they may \
            be stuck there"
            .to_string();
        let again = format!("select another mode and then `{}` again, or {circles}", p.mode);
        // It says nothing; but what limit contacts say against it stays open.
        let idle = p.contacts_otherwise.is_empty();
        return (Word::Undecided, "switches-did-not-move", reason, Some(again), idle);
    }
    if !p.contacts_otherwise.is_empty() {
        let who = p.named(&p.contacts_otherwise);
        let reason = format!("read otherwise while the position switches read the row: {who}");
        let arrived = p.lamps_fit == Some(true) && p.motor_rests != Some(false);
        if shafts == Shafts::Confirm || arrived {
            return (Word::Disproven, "limit-contacts-disagree", reason, None, false);
        }
        return (Word::Undecided, "limit-contacts-disagree", reason, Some(circles), false);
    }
    if p.limits_fit == Some(false) {
        let reason = "the limit contacts read the row, but not to the end".to_string();
        return (Word::Undecided, "limit-contacts-disagree", reason, Some(circles), false);
    }
    if for_it > against {
        let reason = format!(
            "every switch read the row for {:.1} s; {for_it} other witnesses agree, {against} do \
                not",
            p.exposure_s
        );
        return (Word::Proven, "switches-read-the-row", reason, None, false);
    }
    let reason = format!(
        "the switches read the row, but {for_it} other witnesses agree and {against} do not"
    );
    (Word::Undecided, "witnesses-disagree", reason, Some(circles), false)
}

fn disagreeing(timeline: &Timeline, p: &RowPeriod, stretch: (f64, f64)) -> Judged {
    let lies = |d: &Disagreement| d.times > 0 && said(timeline, p, d.longest_s) == Shafts::Confirm;
    let who = p.who();
    if p.disagreements.iter().any(|(_, d)| lies(d)) {
        let reason = format!("read otherwise while the shafts showed the mode: {who}");
        return (Word::Disproven, "switch-disagrees", reason, None, false);
    }
    if said(timeline, p, stretch) == Shafts::Deny {
        let reason = format!("the shafts show that the mode was not engaged; otherwise: {who}");
        let step = p.need.next_step().to_string();
        return (Word::Undecided, "mode-not-engaged", reason, Some(step), true);
    }
    if p.matched_s.is_some() {
        let reason = format!("the row matched, and then read otherwise: {who}");
        let step = "drive circles both ways in this mode with both shafts measured, and check \
            that contact with the vehicle at rest";
        return (Word::Undecided, "row-left-again", reason, Some(step.into()), false);
    }
    if !p.had_motion {
        let reason = format!("the sleeve may still wait for motion; otherwise: {who}");
        let step = p.need.next_step().to_string();
        return (Word::Undecided, "may-wait-for-rotation", reason, Some(step), false);
    }
    let reason = format!("either the sleeve hangs or a switch is wrong: {who}");
    let step = "drive circles both ways in this mode with both shafts and the input measured, or \
        turn one lifted wheel by hand: the shafts tell which";
    (Word::Undecided, "stuck-or-switch", reason, Some(step.into()), false)
}
