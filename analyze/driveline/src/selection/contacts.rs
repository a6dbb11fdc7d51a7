//! The claim `contacts-clean`: no contact drops out or chatters while nothing is being selected.
//!
//! Quiet is a stretch in which the position switches read the row that is requested, the motor
//! rests and the lamps are steady, without [`QUIET_MARGIN_S`] at either end. A contact *flickers*
//! there when it leaves its level and comes back within the calm time, when it does not settle,
//! or when it comes back so soon that nothing can have moved ([`RETURN_S`]). Several contacts
//! that flicker in one moment have a cause in common, the supply or the ground, and say nothing
//! against one contact; where the supply is measured and was low (as at cranking), that is told
//! apart.
//!
//! Where the voltage of a contact is measured and its unit's thresholds are declared, a contact
//! that stays on the wrong side of them, or too near to tell, is not clean either
//! ([`super::voltages`]).
//!
//! The board counts every edge, so that an event that is too short for a sentence is in the count:
//! as long as none is missing there, none was overlooked.

use super::finding::{Finding, FindingPeriod, Word};
use super::rows::{RowPeriod, seconds};
use super::timeline::{Timeline, keep};
use super::voltages::{ANALOG_INPUTS, Taps, Worst};
use super::{MAX_SPANS, MIN_REQUEST_S};
use crate::quantity::{Component, Estimate};
use crate::switches::{Action, Gap, Moment, Picture, SETTLE_S, Step};
use crate::vehicle::{LINES_MAX, Level, Role, Vehicle};
use crate::verdict::{Judgement, judge as judge_estimate};

/// Time around a selection that is not quiet, in seconds (common practice).
const QUIET_MARGIN_S: f64 = 1.0;
/// A switch on a fork that is back so soon did not move, in seconds (common practice).
const RETURN_S: f64 = 1.0;
/// Flickers that begin within this belong to one moment, in seconds.
const TOGETHER_S: f64 = 0.02;
/// So many other contacts in one moment have a cause in common.
const OTHERS: usize = 2;
/// Least time that a contact is closed in quiet before it is called clean, in seconds (common
/// practice).
const MIN_CLOSED_S: f64 = 10.0;
/// So many flickers of one contact outside quiet are more than shifts explain (common practice).
const UNPLACED: usize = 3;
/// What to do about a contact that is near its unit's threshold.
const NEAR_THRESHOLD: &str = "clean the contact and its ground (ignition off), then drive in this \
                              mode again for a minute";
/// A supply of 12 V that reads less is being cranked or fails, in volts (common practice).
pub const SUPPLY_LOW_V: f64 = 10.5;

/// A contact that left its level and came back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flicker {
    /// Number of the switch among the vehicle's lines.
    pub switch: usize,
    /// First edge, in seconds.
    pub start_s: f64,
    /// Last edge that was seen, in seconds.
    pub end_s: f64,
    /// Edges of it, as far as known.
    pub edges: u32,
    /// First and last raw record.
    pub records: (u64, u64),
    /// False when edges of it were missed: then it may have been something else.
    pub certain: bool,
}

/// What is kept of a drive about contacts, in bounded memory.
#[derive(Debug, Clone, Default)]
pub(super) struct Watch {
    last_change: [Option<(Level, Step)>; LINES_MAX],
    flickers: Vec<Flicker>,
    /// Stretches in which the supply was low.
    low_s: Vec<(f64, f64)>,
    /// A stretch in which a whole drop-out may have been lost.
    blind: bool,
    not_kept: u64,
    taps: Taps,
}

impl Watch {
    /// Nothing seen yet of the contacts of a vehicle.
    pub fn new(vehicle: &Vehicle) -> Self {
        Watch { taps: Taps::new(vehicle), ..Watch::default() }
    }

    /// Takes what a switch did.
    pub fn take(&mut self, step: &Step, role: Role) {
        let last = &mut self.last_change[step.switch];
        match step.action {
            Action::Blip | Action::Chatter => self.flicker(step, step.moment, step.edges),
            Action::Unknown => {
                *last = None;
                self.blind = true;
            }
            Action::Settled { was: Some(was), level } if was != level => {
                let before = last.replace((level, *step));
                let within_s = if role == Role::Request { MIN_REQUEST_S } else { RETURN_S };
                let back = |(to, s): &(Level, Step)| {
                    *to == was && step.moment.first_s - s.moment.first_s < within_s
                };
                if let Some((_, s)) = before.filter(back) {
                    *last = None;
                    let moment = Moment {
                        earliest_s: s.moment.earliest_s,
                        first_s: s.moment.first_s,
                        ..step.moment
                    };
                    self.flicker(&s, moment, s.edges + step.edges);
                }
            }
            _ => {}
        }
    }

    fn flicker(&mut self, begun: &Step, moment: Moment, edges: u32) {
        let flicker = Flicker {
            switch: begun.switch,
            start_s: moment.first_s,
            end_s: moment.settled_s,
            edges,
            records: begun.records,
            certain: moment.is_certain(),
        };
        keep(&mut self.flickers, flicker, MAX_SPANS, &mut self.not_kept);
    }

    /// Sentences were lost: longer than the calm time, a drop-out may have come and gone.
    pub fn lose(&mut self, gap: &Gap) {
        self.blind |= gap.to_s - gap.from_s > SETTLE_S;
    }

    /// The analog inputs read so many volts at a time.
    pub fn analog(&mut self, time_s: f64, inputs: &[f64; ANALOG_INPUTS], stood: &Picture) {
        let supply = self.taps.take(time_s, inputs, stood);
        if supply.is_none_or(|volts| volts >= SUPPLY_LOW_V) {
            return;
        }
        match self.low_s.last_mut().filter(|l| time_s - l.1 < 1.0) {
            Some(last) => last.1 = time_s,
            None => keep(&mut self.low_s, (time_s, time_s), MAX_SPANS, &mut self.not_kept),
        }
    }

    /// Others flickered in the same moment.
    fn is_shared(&self, f: &Flicker) -> bool {
        let near = self.near(f).filter(|o| o.switch != f.switch);
        let mut others: Vec<usize> = near.map(|o| o.switch).collect();
        others.sort_unstable();
        others.dedup();
        others.len() >= OTHERS
    }

    /// How often a contact flickered alone in the whole drive.
    fn own_of(&self, switch: usize) -> usize {
        self.flickers.iter().filter(|f| f.switch == switch && !self.is_shared(f)).count()
    }

    /// Flickers that began together with one (they are nearly in order of time).
    fn near<'a>(&'a self, f: &'a Flicker) -> impl Iterator<Item = &'a Flicker> {
        self.flickers.iter().filter(|o| (o.start_s - f.start_s).abs() <= TOGETHER_S)
    }

    fn supply_was_low(&self, f: &Flicker) -> bool {
        self.low_s.iter().any(|l| l.0 - 0.3 <= f.end_s && f.start_s <= l.1 + 0.3)
    }
}

/// Contacts of one kind, and which of them a row closes.
struct Kind {
    role: Role,
    scope: &'static str,
}

const KINDS: [Kind; 3] = [
    Kind { role: Role::Request, scope: "selector" },
    Kind { role: Role::LimitContact, scope: "limit contacts" },
    Kind { role: Role::Position, scope: "position switches" },
];

pub(super) fn contacts_clean(timeline: &Timeline) -> Vec<Finding> {
    KINDS.iter().filter_map(|kind| of_kind(timeline, kind)).collect()
}

/// Switches of a kind that rows name, as a set, and those that row `k` closes.
fn named(timeline: &Timeline, role: Role, k: usize) -> (u32, u32) {
    let row = &timeline.table.rows[k];
    let code = match role {
        Role::Request => &row.request,
        Role::LimitContact => &row.limits,
        _ => &row.position,
    };
    (code.care, code.care & code.on)
}

fn quiet(p: &RowPeriod) -> Option<(f64, f64)> {
    let (from_s, to_s) = p.stretch_s?;
    let quiet = (from_s.max(p.at_rest_s?) + QUIET_MARGIN_S, to_s - QUIET_MARGIN_S);
    (quiet.1 > quiet.0).then_some(quiet)
}

/// Rows that were shown, with what of it was quiet.
fn stretches(timeline: &Timeline) -> impl Iterator<Item = (&RowPeriod, (f64, f64))> {
    timeline.row_periods.iter().filter_map(|p| Some((p, quiet(p)?)))
}

fn of_kind(timeline: &Timeline, kind: &Kind) -> Option<Finding> {
    let rows = 0..timeline.table.rows.len();
    let all = rows.fold(0, |set, k| set | named(timeline, kind.role, k).0);
    if all == 0 {
        return None;
    }
    let scope = kind.scope.to_string();
    let never = (
        "never-quiet",
        "no requested mode was shown by its position switches for longer than 2 s".to_string(),
        "drive for a minute in each mode without touching the selector".to_string(),
    );
    let closed_s = |n: usize| -> f64 {
        let closes = |p: &RowPeriod| named(timeline, kind.role, p.row()).1 >> n & 1 == 1;
        stretches(timeline).filter(|(p, _)| closes(p)).map(|(_, q)| q.1 - q.0).sum()
    };
    let periods: Vec<FindingPeriod> =
        stretches(timeline).map(|(p, q)| judge(timeline, kind.role, (p, q), all)).collect();
    let mut finding = Finding::from_periods("contacts-clean", scope, periods, never);
    if finding.word == Word::Proven {
        let contacts: Vec<(usize, f64)> =
            (0..LINES_MAX).filter(|n| all >> n & 1 == 1).map(|n| (n, closed_s(n))).collect();
        conclude(timeline, kind.role, &contacts, &mut finding);
    }
    Some(finding)
}

/// Nothing was seen: was there enough to see, and was everything seen? A contact that this drive
/// never closed is watched for closing only; it is named and not judged, as long as there are
/// others.
fn conclude(timeline: &Timeline, role: Role, contacts: &[(usize, f64)], finding: &mut Finding) {
    let is_idle = |c: &(usize, f64)| c.1 == 0.0 && contacts.iter().any(|c| c.1 > 0.0);
    let names = |test: &dyn Fn(&(usize, f64)) -> bool| {
        let set = contacts.iter().filter(|c| test(c)).fold(0, |set, c| set | 1 << c.0);
        (set != 0).then(|| timeline.table.names_of(set))
    };
    // Of a contact that a requested row closes, but never in quiet, one flicker may be a drop-out.
    let is_asked = |n: usize| {
        let mut rows = timeline.row_periods.iter().map(RowPeriod::row);
        rows.any(|k| named(timeline, role, k).1 >> n & 1 == 1)
    };
    let least = |c: &(usize, f64)| if is_idle(c) && is_asked(c.0) { 1 } else { UNPLACED };
    let unseen = |c: &(usize, f64)| timeline.tallies.get(c.0).is_some_and(|(_, t)| t.unplaced > 0);
    let watch = &timeline.watch;
    let open = if watch.blind || watch.not_kept > 0 {
        let why = "sentences were lost or the board started anew: what happened meanwhile is not \
                   known";
        Some(("not-all-seen", why.to_string()))
    } else if let Some(who) = names(&unseen) {
        Some(("not-all-seen", format!("edges of {who} were counted by the board but lost")))
    } else if let Some(who) = names(&|c| watch.own_of(c.0) >= least(c)) {
        let why = format!("{who} flickered, but not while a row was shown for long enough");
        Some(("flickers-unplaced", why))
    } else {
        names(&|c| c.1 < MIN_CLOSED_S && !is_idle(c)).map(|who| {
            let why = format!("{who}: closed for less than {MIN_CLOSED_S:.0} s of quiet");
            ("contact-not-closed", why)
        })
    };
    if let Some((code, reason)) = open {
        let step = "drive for a minute in each mode, so that every contact is closed for a while, \
                    without touching the selector";
        (finding.word, finding.code, finding.reason) = (Word::Undecided, code, reason);
        finding.next_step = Some(step.into());
        return;
    }
    let closed = contacts.iter().filter(|c| !is_idle(c));
    let least_s = closed.map(|c| c.1).fold(f64::INFINITY, f64::min);
    let not_judged = names(&is_idle).map_or(String::new(), |who| {
        format!("; {who}: never closed in a quiet stretch of this drive, not judged")
    });
    let excused = watch.flickers.iter().filter(|f| watch.is_shared(f)).count();
    let told_apart = match excused {
        0 => String::new(),
        n => format!("; {n} flickers with a low supply were told apart"),
    };
    let nearest = stretches(timeline)
        .filter_map(|(p, q)| worst_of(timeline, role, p, q))
        .min_by(|a, b| a.2.margin_v().total_cmp(&b.2.margin_v()));
    let voltages = nearest.map_or(String::new(), |(n, _, w)| {
        let (name, margin) = (&timeline.table.names[n], w.margin_v());
        format!("; voltages keep {margin:.1} V from what the unit may misread (`{name}`)")
    });
    finding.reason = format!(
        "none flickered; the one closed least was closed for {least_s:.0} s of quiet: fewer than \
         {:.2} drop-outs a minute (95 %, 3 over the time); every edge that reaches the board is \
         counted{voltages}{told_apart}{not_judged}",
        60.0 * 3.0 / least_s
    );
}

fn judge(
    timeline: &Timeline,
    role: Role,
    (p, q): (&RowPeriod, (f64, f64)),
    all: u32,
) -> FindingPeriod {
    let watch = &timeline.watch;
    let inside = |f: &&Flicker| all >> f.switch & 1 == 1 && f.start_s >= q.0 && f.end_s <= q.1;
    let (shared, own): (Vec<&Flicker>, Vec<&Flicker>) =
        watch.flickers.iter().filter(inside).partition(|f| watch.is_shared(f));
    let told_apart = shared.iter().all(|f| watch.supply_was_low(f));
    let certain = own.iter().filter(|f| f.certain).count();
    let worst = worst_of(timeline, role, p, q);
    let volts = worst.as_ref().map(|(n, is_on, w)| misread(timeline, (*n, *is_on), w));
    let (word, code, reason, next_step) = if certain > 0 {
        (Word::Disproven, "contact-flickers", who(timeline, &own), None)
    } else if !own.is_empty() {
        let reason = format!("{}, but edges were lost there", who(timeline, &own));
        let step = "drive in this mode again for a minute without touching the selector";
        (Word::Undecided, "edges-lost", reason, Some(step.to_string()))
    } else if let Some((_, reason)) = volts.as_ref().filter(|v| v.0 == Judgement::Outside) {
        (Word::Disproven, "voltage-beyond-threshold", reason.clone(), None)
    } else if !told_apart {
        let at_s = shared[0].start_s;
        let reason = format!("several contacts flickered in one moment, first at {at_s:.2} s");
        let step = "check supply and ground of the unit and of the board, and record the supply \
                    voltage on an analog input";
        (Word::Undecided, "several-at-once", reason, Some(step.to_string()))
    } else if let Some((_, reason)) = volts.filter(|v| v.0 == Judgement::Between) {
        (Word::Undecided, "voltage-near-threshold", reason, Some(NEAR_THRESHOLD.to_string()))
    } else {
        let reason = format!("no contact flickered in {:.1} s of quiet", q.1 - q.0);
        (Word::Proven, "no-flicker", reason, None)
    };
    let records = own.first().map_or(p.records, |f| f.records);
    let count = Estimate {
        name: "drop-outs".into(),
        value: own.len() as f64,
        unit: "1".into(),
        components: vec![Component::own("edges lost", (own.len() - certain) as f64)],
    };
    let mut estimates = vec![count, seconds("exposure", q.1 - q.0)];
    estimates.extend(worst.map(|(n, is_on, w)| {
        let (contact, state) = (&timeline.table.names[n], if is_on { "on" } else { "off" });
        Estimate { name: format!("voltage of {contact} ({state})"), ..w.estimate }
    }));
    FindingPeriod {
        start_s: q.0,
        end_s: q.1,
        word,
        code,
        reason,
        estimates,
        records,
        next_step,
        idle: false,
    }
}

/// The contact of a row whose voltage in a quiet stretch is the nearest to what its unit may
/// misread, whether it was on, and that voltage.
fn worst_of(
    timeline: &Timeline,
    role: Role,
    p: &RowPeriod,
    q: (f64, f64),
) -> Option<(usize, bool, Worst)> {
    let (named, on) = named(timeline, role, p.row());
    let contacts = (0..LINES_MAX).filter(|n| named >> n & 1 == 1);
    let seen = contacts.filter_map(|n| {
        let is_on = on >> n & 1 == 1;
        Some((n, is_on, timeline.watch.taps.worst(n, is_on, q)?))
    });
    seen.min_by(|a, b| a.2.margin_v().total_cmp(&b.2.margin_v()))
}

/// Whether a unit may misread a contact, in words.
fn misread(timeline: &Timeline, (n, is_on): (usize, bool), w: &Worst) -> (Judgement, String) {
    let (name, state) = (&timeline.table.names[n], if is_on { "on" } else { "off" });
    let limit_v = w.bounds.upper.or(w.bounds.lower).unwrap_or(f64::NAN);
    let side = if w.bounds.upper.is_some() { "up to" } else { "from" };
    let (volts, read_as) = (w.estimate.value, w.read_as);
    let reason = format!(
        "`{name}` lies at {volts:.2} ± {:.2} V while it is {state}; its unit surely reads \
         {read_as} only {side} {limit_v} V",
        2.0 * w.estimate.u()
    );
    (judge_estimate(&w.estimate, w.bounds, 1), reason)
}

/// Who flickered, how often and for how long.
fn who(timeline: &Timeline, own: &[&Flicker]) -> String {
    let each = |(n, name): (usize, &String)| {
        let of: Vec<_> = own.iter().filter(|f| f.switch == n).collect();
        let first = of.first()?;
        let longest_s = of.iter().map(|f| f.end_s - f.start_s).fold(0.0, f64::max);
        Some(format!(
            "`{name}` dropped out or chattered {} times while nothing was being selected (first \
             at {:.2} s, longest {:.0} ms)",
            of.len(),
            first.start_s,
            1e3 * longest_s
        ))
    };
    timeline.table.names.iter().enumerate().filter_map(each).collect::<Vec<_>>().join("; ")
}
