//! What is kept of a drive: spans, selections and readings, all bounded.

use super::contacts::Watch;
use super::finding::Finding;
use super::lead::{self, Lead};
use super::outcome::{Outcome, Selection};
use super::rows::{self, RowPeriod};
use super::stand::Stand;
use super::table::Table;
use super::witness::{CouplingSeen, Shafts, shafts};
use super::{MAX_KEPT, MAX_SPANS, PASSING_S, completes, contacts, lamps};
use crate::switches::{LampState, LineTally, Moment};
use crate::vehicle::Coupling;

/// A stretch in which the position switches showed one thing.
///
/// While a change bounces, and while edges are missing, nothing is covered.
#[derive(Debug, Clone, PartialEq)]
pub struct ModeSpan {
    /// Start, in seconds.
    pub start_s: f64,
    /// End, in seconds.
    pub end_s: f64,
    /// Row by name; `None` while no row matches or that is not known.
    pub mode: Option<String>,
    /// Its coupling.
    pub coupling: Option<Coupling>,
    /// False while what the switches show is not known.
    pub known: bool,
}

/// A stretch in which one mode was requested.
#[derive(Debug, Clone, PartialEq)]
pub struct RequestSpan {
    /// Start, in seconds.
    pub start_s: f64,
    /// End, in seconds.
    pub end_s: f64,
    /// Row by name.
    pub mode: String,
}

/// A stretch in which a lamp showed one thing.
#[derive(Debug, Clone, PartialEq)]
pub struct LampSpan {
    /// Name of the lamp's switch.
    pub lamp: String,
    /// Start, in seconds.
    pub start_s: f64,
    /// End: when it next showed something else, in seconds.
    pub end_s: f64,
    /// What it showed.
    pub state: LampState,
}

/// Times of the selections from one mode to another.
#[derive(Debug, Clone, PartialEq)]
pub struct PairTimes {
    /// Mode before; `None` if no row matched.
    pub from: Option<String>,
    /// Mode requested.
    pub to: String,
    /// Selections that have a time.
    pub n: usize,
    /// Median time, time at rest included, in seconds.
    pub median_s: f64,
    /// Longest time, in seconds.
    pub worst_s: f64,
    /// 95th percentile, in seconds; from [`PERCENTILE_FROM`] on.
    pub percentile95_s: Option<f64>,
}

/// So few selections bound a 95th percentile at all: `0.95^59 < 0.05` (order statistics; Wilks
/// 1941, from memory).
pub const PERCENTILE_FROM: usize = 59;

/// A drive as the switches tell it.
#[derive(Debug, Clone)]
pub struct Timeline {
    /// What the position switches showed.
    pub modes: Vec<ModeSpan>,
    /// What was requested.
    pub requests: Vec<RequestSpan>,
    /// What the lamps showed.
    pub lamps: Vec<LampSpan>,
    /// The selections, in order.
    pub selections: Vec<Selection>,
    /// What each requested row's switches read. Their stretches are where the shafts should be
    /// asked for [`Timeline::hear`], because they do not depend on the switches being right.
    pub row_periods: Vec<RowPeriod>,
    /// Selections, periods and spans beyond what is kept.
    pub not_kept: u64,
    /// Requests that stood too short to be one.
    pub passed_by: u64,
    /// What was counted on each switch, with its name.
    pub tallies: Vec<(String, LineTally)>,
    pub(super) seen: Vec<CouplingSeen>,
    pub(super) table: Table,
    pub(super) watch: Watch,
}

/// Collects a [`Timeline`] in bounded memory.
#[derive(Debug, Clone, Default)]
pub(super) struct Keeper {
    modes: Vec<ModeSpan>,
    open_mode: Option<(Result<Option<usize>, ()>, f64)>,
    requests: Vec<RequestSpan>,
    lamps: Vec<LampSpan>,
    open_lamps: Vec<LampSpan>,
    selections: Vec<Selection>,
    count: u32,
    row_periods: Vec<RowPeriod>,
    not_kept: u64,
    pub passed_by: u64,
}

pub(super) fn keep<T>(list: &mut Vec<T>, item: T, most: usize, not_kept: &mut u64) {
    if list.len() < most { list.push(item) } else { *not_kept += 1 }
}

impl Keeper {
    /// The switches show this from a moment on.
    pub fn mode(&mut self, table: &Table, shown: Result<Option<usize>, ()>, at: &Moment) {
        if self.open_mode.is_some_and(|(before, _)| before == shown) {
            return;
        }
        self.close_mode(table, at.earliest_s);
        self.open_mode = Some((shown, at.latest_s));
    }

    fn close_mode(&mut self, table: &Table, end_s: f64) {
        let Some((shown, start_s)) = self.open_mode.take() else { return };
        let end_s = end_s.max(start_s);
        let row = shown.ok().flatten().filter(|_| end_s - start_s >= PASSING_S);
        let span = ModeSpan {
            start_s,
            end_s,
            mode: row.map(|k| table.rows[k].name.clone()),
            coupling: row.map(|k| table.rows[k].coupling),
            known: shown.is_ok(),
        };
        if end_s > start_s {
            keep(&mut self.modes, span, MAX_SPANS, &mut self.not_kept);
        }
    }

    pub fn lamp(&mut self, lamp: &str, state: LampState, start_s: f64) {
        let kind = std::mem::discriminant(&state);
        let open = self.open_lamps.iter().position(|s| s.lamp == lamp);
        if let Some(n) = open {
            if std::mem::discriminant(&self.open_lamps[n].state) == kind {
                self.open_lamps[n].state = state;
                return;
            }
            let mut span = self.open_lamps.swap_remove(n);
            span.end_s = start_s.max(span.start_s);
            keep(&mut self.lamps, span, MAX_SPANS, &mut self.not_kept);
        }
        self.open_lamps.push(LampSpan { lamp: lamp.into(), start_s, end_s: start_s, state });
    }

    /// From a time on nothing is known of any lamp, until it is told again.
    pub fn lose_lamps(&mut self, from_s: f64) {
        for mut span in std::mem::take(&mut self.open_lamps) {
            span.end_s = from_s.max(span.start_s);
            keep(&mut self.lamps, span, MAX_SPANS, &mut self.not_kept);
        }
    }

    /// A stand has ended.
    pub fn stand(
        &mut self,
        table: &Table,
        stand: &Stand,
        selection: Option<Selection>,
        end_s: f64,
    ) {
        let mode = table.rows[stand.row].name.clone();
        let span = RequestSpan { start_s: stand.began_s, end_s, mode };
        keep(&mut self.requests, span, MAX_SPANS, &mut self.not_kept);
        if let Some(mut selection) = selection {
            self.count += 1;
            selection.number = self.count;
            keep(&mut self.selections, selection, MAX_KEPT, &mut self.not_kept);
        }
        if let Some(before) = self.row_periods.last_mut().filter(|_| stand.position_moved) {
            before.moved_on = true;
        }
        let period = RowPeriod::new(table, stand, end_s);
        keep(&mut self.row_periods, period, MAX_KEPT, &mut self.not_kept);
    }

    pub fn finish(
        mut self,
        (table, watch): (Table, Watch),
        end_s: f64,
        tallies: Vec<LineTally>,
    ) -> Timeline {
        self.close_mode(&table, end_s);
        self.lose_lamps(end_s);
        self.lamps.sort_by(|a, b| a.start_s.total_cmp(&b.start_s).then(a.lamp.cmp(&b.lamp)));
        Timeline {
            modes: self.modes,
            requests: self.requests,
            lamps: self.lamps,
            selections: self.selections,
            row_periods: self.row_periods,
            not_kept: self.not_kept,
            passed_by: self.passed_by,
            tallies: table.names.iter().cloned().zip(tallies).collect(),
            seen: Vec::new(),
            table,
            watch,
        }
    }
}

impl Timeline {
    /// Hears what the shafts showed. A selection that the switches call unfinished, while the
    /// shafts show its mode, becomes completed, and its detail names the switch.
    pub fn hear(&mut self, seen: Vec<CouplingSeen>) {
        self.seen = seen;
        for s in &mut self.selections {
            let hangs = matches!(
                s.outcome,
                Outcome::StuckBetween | Outcome::WrongRow | Outcome::WaitingForRotation
            );
            let stretch = (s.request.latest_s, s.ended_s);
            let said = shafts(&self.seen, &self.table, s.to.0, s.agreed_from, stretch);
            if hangs && said == Shafts::Confirm {
                s.outcome = Outcome::Completed;
                let but = s.detail.take().unwrap_or_default();
                s.detail = Some(format!("the shafts show the mode; the switches do not: {but}"));
            }
        }
    }

    /// Where the position switches and the request name the same mode: what an engagement period
    /// should be taken from, since one lying switch can show another row's code.
    pub fn agreed_spans(&self) -> Vec<ModeSpan> {
        let mut agreed = Vec::new();
        let mut first = 0;
        for mode in self.modes.iter().filter(|m| m.mode.is_some()) {
            while self.requests.get(first).is_some_and(|r| r.end_s <= mode.start_s) {
                first += 1;
            }
            let overlapping = self.requests[first..].iter().take_while(|r| r.start_s < mode.end_s);
            for r in overlapping.filter(|r| Some(&r.mode) == mode.mode.as_ref()) {
                let (start_s, end_s) = (mode.start_s.max(r.start_s), mode.end_s.min(r.end_s));
                agreed.push(ModeSpan { start_s, end_s, ..mode.clone() });
            }
        }
        agreed
    }

    /// The claim `switch-table`, row by row.
    pub fn switch_table(&self) -> Vec<Finding> {
        rows::switch_table(self)
    }

    /// The claim `lamps-truthful`, for each row that declares lamps.
    pub fn lamps_truthful(&self) -> Vec<Finding> {
        lamps::lamps_truthful(self)
    }

    /// The claim `contacts-clean`, for the contacts of each kind.
    pub fn contacts_clean(&self) -> Vec<Finding> {
        contacts::contacts_clean(self)
    }

    /// The claim `selection-completes` over every request of the drive.
    pub fn selection_completes(&self) -> Finding {
        completes::overall(self)
    }

    /// The claim `selection-completes` for each mode; a mode that was never requested is
    /// undecided.
    pub fn selection_completes_by_mode(&self) -> Vec<Finding> {
        completes::by_mode(self)
    }

    /// What fits a selection best that did not go well; a lead, not a verdict.
    pub fn lead(&self, selection: &Selection) -> Option<Lead> {
        lead::lead(self, selection)
    }

    /// Stretches in which a lamp flashed while a selection was under way.
    pub fn flashing<'a>(&'a self, s: &'a Selection) -> impl Iterator<Item = &'a LampSpan> {
        let during = |l: &&LampSpan| l.start_s < s.ended_s && l.end_s > s.request.first_s;
        let flashes = |l: &&LampSpan| matches!(l.state, LampState::Flashing { .. });
        self.lamps.iter().filter(flashes).filter(during)
    }

    /// Number, median and worst time for each pair of modes.
    pub fn pair_times(&self) -> Vec<PairTimes> {
        completes::pair_times(self)
    }
}
