//! A stand: one stretch in which one mode is requested, and what happened in it.

use super::latency::Latency;
use super::outcome::Selection;
use super::reading::Reading;
use super::table::{Passage, Row, Table};
use super::travel::{Need, Travel};
use super::{MARGIN_S, PASSING_S, Stage, StageTime};
use crate::switches::{Action, LampState, Moment, Motion, Picture, Step};
use crate::vehicle::{LINES_MAX, Role};

/// Everything that is known at one instant, given with each step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scene {
    pub now_s: f64,
    pub picture: Picture,
    pub lamps: [Option<LampState>; LINES_MAX],
    pub speed_kmh: Option<f64>,
}

/// Why a stand ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum End {
    /// Another row was requested.
    Request(usize),
    /// No row was requested any more.
    NoRequest,
    /// Ignition off.
    Power,
    /// The recording ended.
    Recording,
}

/// Where a stand came from.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Before {
    /// Row that the switches showed.
    pub shown: Option<usize>,
    /// Row that was requested before and matched to the end.
    pub asked: Option<usize>,
    /// Row that was requested before, whether it ever matched or not.
    pub stood: Option<usize>,
}

impl Before {
    /// The row the change began at, if the request before and the switches agree on it.
    pub fn agreed(&self) -> Option<usize> {
        self.shown.filter(|_| self.shown == self.asked)
    }
}

/// One stretch in which one row is requested.
#[derive(Debug, Clone)]
pub(super) struct Stand {
    pub row: usize,
    pub before: Before,
    /// The request edge; `None` when the recording or the power began with the request standing.
    pub request: Option<Moment>,
    pub began_s: f64,
    pub need: Need,
    pub motor_on: Option<Moment>,
    pub motor_off: Option<Moment>,
    pub motor_runs: bool,
    /// The motor was energised again after it and the row had come to rest.
    ran_again: bool,
    pub limit_change: Option<Moment>,
    pub limits_fit: Option<bool>,
    pub matched: Option<Moment>,
    /// The row matched when it was requested.
    pub read_at_request: bool,
    match_parts: Option<Moment>,
    /// A position switch changed after the motor was energised.
    pub position_moved: bool,
    /// Position switches that changed at all until the row matched.
    changed: u32,
    /// Position switches that read otherwise than the row that was requested before.
    doubted: u32,
    pub left_s: Option<f64>,
    /// The row matched for a short while with the motor at rest.
    pub touched: bool,
    /// Another row that the position switches show, and whether the limit contacts do too.
    pub shown_other: Option<usize>,
    pub contacts_show_other: bool,
    pub position_fits: Option<bool>,
    pub blocking: u32,
    pub lamp: Option<Moment>,
    pub lamps_fit: Option<bool>,
    /// The lamps showed something else since they last showed the row.
    lamps_differed: bool,
    pub passage: Passage,
    /// Motion since the motor stopped (or the contacts reached the row, or the unit had its time).
    pub travel: Option<Travel>,
    pub travel_at_match: Option<Travel>,
    since_match: Travel,
    /// Time at rest between motor stop and match, in seconds.
    pub rested_s: f64,
    resting_since_s: Option<f64>,
    pub survived: bool,
    /// Time in which sentences were lost, in seconds.
    pub blind_s: f64,
    pub reading: Reading,
    /// What the limit contacts read, from the match on while the motor rests.
    pub contacts: Reading,
    pub records: (u64, u64),
}

impl Stand {
    pub fn new(
        table: &Table,
        row: usize,
        before: Before,
        request: Option<Moment>,
        scene: &Scene,
        record: u64,
    ) -> Self {
        let this = &table.rows[row];
        let from = before.agreed().map(|k| &table.rows[k]);
        let fits = this.position.fits(&scene.picture);
        let began_s = request.map_or(scene.now_s, |m| m.first_s);
        let mut stand = Stand {
            row,
            before,
            request,
            began_s,
            need: Need::of(from, this),
            motor_on: None,
            motor_off: None,
            ran_again: false,
            motor_runs: scene.picture.on & table.bits(Role::Motor) != 0,
            limit_change: None,
            limits_fit: this.limits.fits(&scene.picture),
            matched: (fits == Some(true)).then(|| Moment::at(began_s)),
            read_at_request: fits == Some(true),
            match_parts: None,
            position_moved: false,
            changed: 0,
            doubted: before.stood.map_or(0, |k| table.rows[k].position.differing(&scene.picture)),
            left_s: None,
            touched: false,
            shown_other: None,
            contacts_show_other: false,
            position_fits: fits,
            blocking: this.position.differing(&scene.picture),
            lamp: None,
            lamps_fit: this.lamps_fit(&scene.lamps),
            lamps_differed: false,
            passage: table.passage(row, &scene.picture, scene.speed_kmh),
            travel: None,
            travel_at_match: None,
            since_match: Travel::default(),
            rested_s: 0.0,
            resting_since_s: None,
            survived: false,
            // What moved before a missed request edge was noticed went to the stand before.
            blind_s: request.map_or(0.0, |m| m.first_s - m.earliest_s),
            reading: Reading::new(this.position),
            contacts: Reading::new(this.limits),
            records: (record, record),
        };
        if stand.matched.is_some() {
            stand.travel_at_match = Some(Travel::default());
            stand.reading.begin(began_s, &scene.picture);
        }
        stand
    }

    /// True when the row was engaged already and nothing has moved for it.
    pub fn was_there(&self) -> bool {
        self.matched.is_some_and(|m| m.first_s == self.began_s) && !self.position_moved
    }

    /// The motor was energised between the request edge and the time at which that was settled.
    pub fn motor_ran_already(&mut self, on: Moment) {
        self.motor_runs = true;
        self.motor_on = Some(on);
    }

    /// Takes what a switch did.
    pub fn take(&mut self, table: &Table, step: &Step, scene: &Scene) {
        let role = table.role(step.switch);
        if role != Role::Lamp {
            self.records.0 = self.records.0.min(step.records.0);
            self.records.1 = self.records.1.max(step.records.1);
        }
        match role {
            Role::Motor => self.motor(table, step, scene),
            Role::LimitContact => self.limit_contacts(table, step, scene),
            Role::Position => self.position(table, step, scene),
            Role::Lamp => self.lamps(table, step, scene),
            Role::Interlock => self.look_at_interlocks(table, scene),
            Role::Request | Role::Ignition => {}
        }
        self.pass(table, scene);
    }

    /// Lets time pass.
    pub fn pass(&mut self, table: &Table, scene: &Scene) {
        let patience_s = table.limits.selection_s + MARGIN_S;
        if scene.now_s >= self.began_s + patience_s {
            self.read(patience_s, scene);
            // Without motor line and limit contacts the unit has had its time by now.
            let unseen = !self.motor_is_seen(table) && !self.limits_are_seen(table);
            if self.travel.is_none() && (unseen || self.request.is_none() && !self.motor_runs) {
                self.travel = Some(Travel::default());
            }
        }
        self.reading.pass(scene.now_s, &scene.picture);
        self.read_contacts(table, scene, patience_s);
    }

    /// The row is read from when it should have matched. A unit that stirs only then has another
    /// such time: nothing was to be read before.
    fn read(&mut self, patience_s: f64, scene: &Scene) {
        let stirred = self.motor_on.or(self.limit_change).filter(|_| self.matched.is_none());
        let late_s = stirred.map(|m| m.first_s).filter(|s| *s > self.began_s + patience_s);
        let due_s = late_s.unwrap_or(self.began_s) + patience_s;
        if late_s.is_some() && self.reading.stretch().is_some_and(|(from_s, _)| from_s < due_s) {
            self.reading.restart();
        }
        if scene.now_s >= due_s {
            self.reading.begin(due_s, &scene.picture);
        }
    }

    /// The limit contacts are read once the row matches and the motor has come to rest, or has had
    /// its time.
    fn read_contacts(&mut self, table: &Table, scene: &Scene, patience_s: f64) {
        if self.motor_runs {
            return self.contacts.restart();
        }
        let stopped = self.motor_is_seen(table) && self.motor_off.is_some();
        let at_rest = stopped || self.was_there() || scene.now_s >= self.began_s + patience_s;
        if at_rest && self.matched.is_some_and(|m| m.settled_s <= scene.now_s) {
            self.contacts.begin(scene.now_s, &scene.picture);
        }
        self.contacts.pass(scene.now_s, &scene.picture);
    }

    /// Takes motion of the outputs.
    pub fn motion(&mut self, table: &Table, m: &Motion, scene: &Scene) {
        let row = &table.rows[self.row];
        if let Some(travel) = &mut self.travel {
            travel.push(m, row.ratio);
            self.rest(m);
        }
        if self.matched.is_some() && self.left_s.is_none() {
            self.since_match.push(m, row.ratio);
            self.survived |= self.since_match.reversals() > 0;
        }
        if self.motor_on.is_none() {
            self.look_at_interlocks(table, scene);
        }
        self.pass(table, scene);
    }

    /// Counts the time that was surely at rest until the row matched: not the last of each rest,
    /// in which the vehicle may have moved off already.
    fn rest(&mut self, m: &Motion) {
        if m.moving == Some(false) && self.matched.is_none() {
            self.resting_since_s.get_or_insert(m.time_s);
        } else if let Some(since_s) = self.resting_since_s.take() {
            let until_s = self.matched.map_or(m.time_s, |at| at.settled_s.min(m.time_s));
            self.rested_s += (until_s - since_s - m.unseen_s).max(0.0);
        }
    }

    /// Something was lost on the line, or the board began anew.
    pub fn gap(&mut self, seconds: f64, anew: bool) {
        self.blind_s += seconds.max(0.0);
        if anew {
            self.since_match.rebase();
            self.travel.as_mut().map(Travel::rebase);
        }
    }

    fn look_at_interlocks(&mut self, table: &Table, scene: &Scene) {
        if self.motor_on.is_none() && !matches!(self.passage, Passage::Blocked(_)) {
            self.passage = table.passage(self.row, &scene.picture, scene.speed_kmh);
        }
    }

    pub fn motor_is_seen(&self, table: &Table) -> bool {
        table.bits(Role::Motor) != 0
    }

    pub fn limits_are_seen(&self, table: &Table) -> bool {
        table.rows[self.row].limits.is_declared()
    }

    fn motor(&mut self, table: &Table, step: &Step, scene: &Scene) {
        let bits = table.bits(Role::Motor);
        let chatters = step.action == Action::Chatter;
        let runs = scene.picture.on & bits != 0 || chatters;
        if self.ran_again || runs == self.motor_runs || (!runs && bits & !scene.picture.known != 0)
        {
            return;
        }
        if runs && self.has_stood(step.moment.first_s) {
            self.ran_again = true;
            return;
        }
        self.motor_runs = runs;
        if runs {
            self.motor_on.get_or_insert(step.moment);
            (self.motor_off, self.travel) = (None, None);
            (self.rested_s, self.resting_since_s) = (0.0, None);
        } else {
            self.motor_off = Some(step.moment);
            self.travel = Some(Travel::default());
        }
    }

    /// The row matches and the motor has come to rest: what the motor does next is for another
    /// request, though its edge was not seen.
    fn has_stood(&self, at_s: f64) -> bool {
        let stood = |m: Moment| at_s - m.settled_s >= PASSING_S;
        self.motor_off.is_some_and(stood) && self.matched.is_some_and(stood)
    }

    fn limit_contacts(&mut self, table: &Table, step: &Step, scene: &Scene) {
        if step.action != Action::Blip {
            self.contacts.edge(step.switch, step.moment.first_s, &scene.picture);
        }
        let Action::Settled { was, level } = step.action else { return };
        if was.is_some_and(|w| w != level) {
            let whole = self.limit_change.get_or_insert(step.moment);
            whole.settled_s = step.moment.settled_s;
            whole.latest_s = step.moment.latest_s;
        }
        let fits = table.rows[self.row].limits.fits(&scene.picture);
        let arrived = fits == Some(true) && self.limits_fit != Some(true);
        self.limits_fit = fits;
        self.look_at_other(table, scene);
        if arrived && !self.motor_is_seen(table) {
            self.travel = Some(Travel::default());
        }
    }

    fn position(&mut self, table: &Table, step: &Step, scene: &Scene) {
        let code = table.rows[self.row].position;
        let cared = code.care >> step.switch & 1 == 1;
        let from_unknown = matches!(step.action, Action::Settled { was: None, .. });
        // Of two that change at once the first one told may make the row match.
        let until_match = self.matched.is_none_or(|m| step.moment.first_s <= m.settled_s);
        if until_match && !from_unknown {
            self.changed |= 1 << step.switch;
        }
        if let Action::Settled { was, level } = step.action {
            let on_request = self.motor_on.is_some() || !self.motor_is_seen(table);
            self.position_moved |= on_request && was.is_some_and(|w| w != level);
            if cared {
                let so_far = self.match_parts.unwrap_or(step.moment);
                self.match_parts = Some(so_far.and(&step.moment));
            }
        }
        if step.action != Action::Blip {
            self.reading.edge(step.switch, step.moment.first_s, &scene.picture);
        }
        if scene.picture.moving & code.care != 0 {
            return;
        }
        self.blocking = code.differing(&scene.picture);
        let fits = code.fits(&scene.picture);
        if fits == Some(true) && self.position_fits != Some(true) {
            self.arrive(step.moment, scene);
        } else if fits == Some(false) && self.position_fits != Some(false) {
            self.leave(step.moment.first_s, table.limits.selection_s);
        }
        self.position_fits = fits;
        self.match_parts = None;
        self.shown_other =
            table.shown(&scene.picture, None).ok().flatten().filter(|k| *k != self.row);
        self.look_at_other(table, scene);
    }

    fn look_at_other(&mut self, table: &Table, scene: &Scene) {
        let fits = |k: usize| table.rows[k].limits.fits(&scene.picture) == Some(true);
        self.contacts_show_other =
            self.limits_fit == Some(false) && self.shown_other.is_some_and(fits);
    }

    fn arrive(&mut self, last: Moment, scene: &Scene) {
        if self.matched.is_none() {
            self.matched = Some(self.match_parts.unwrap_or(last));
            self.travel_at_match = self.travel;
            self.since_match = Travel::default();
            self.reading.begin(self.matched.map_or(scene.now_s, |m| m.settled_s), &scene.picture);
        }
    }

    /// The row no longer matches: in passing, or for good.
    fn leave(&mut self, at_s: f64, selection_s: f64) {
        let Some(matched) = self.matched else { return };
        let found_there = self.request.is_some() && matched.first_s == self.began_s;
        let on_its_way = found_there && at_s - self.began_s < selection_s;
        if self.motor_runs || on_its_way || at_s - matched.settled_s < PASSING_S {
            self.touched |= !self.motor_runs && !on_its_way;
            self.matched = None;
            self.reading.restart();
        } else {
            self.left_s.get_or_insert(at_s);
        }
    }

    fn lamps(&mut self, table: &Table, step: &Step, scene: &Scene) {
        let row: &Row = &table.rows[self.row];
        if !row.lamps.iter().any(|(n, _)| *n == step.switch) {
            return;
        }
        let fits = row.lamps_fit(&scene.lamps);
        if fits == Some(true) && self.lamps_fit != Some(true) {
            // Lamps that were not heard of for a while did not show anything else.
            if self.lamp.is_none() || self.lamps_differed {
                self.lamp = Some(self.lamp.map_or(step.moment, |m| m.and(&step.moment)));
            }
            self.lamps_differed = false;
        } else if fits == Some(false) {
            self.lamps_differed = true;
            if self.matched.is_none() {
                self.lamp = None;
            }
        }
        self.lamps_fit = fits;
    }

    /// The time that the unit and its motor took, when a channel shows it.
    pub fn motor_part(&self) -> Option<Latency> {
        let done =
            self.motor_off.or(self.limit_change.filter(|_| self.limits_fit == Some(true)))?;
        Some(Latency::between(&self.request?, &done))
    }

    /// The motor was surely at rest when the row matched.
    fn matched_at_rest(&self) -> bool {
        let at = |m: Moment| self.motor_off.is_some_and(|off| off.latest_s <= m.first_s);
        !self.motor_runs && self.matched.is_some_and(at)
    }

    /// Switches that alone say that the row is engaged and the sleeve no longer under way to it,
    /// where these never changed, or read wrongly before, and the motor may still have moved the
    /// sleeve.
    pub fn untold_from_transit(&self, table: &Table) -> u32 {
        let seen_to_arrive = self.matched_at_rest() || self.was_there();
        let told_by = self.changed & !self.doubted;
        if seen_to_arrive { 0 } else { table.untold_from_transit(self.row, told_by) }
    }

    /// How long the motor still ran after the row had matched, in seconds: a row can match in
    /// passing.
    pub fn ran_on_s(&self) -> f64 {
        let last_s =
            if self.motor_runs { Some(f64::INFINITY) } else { self.motor_off.map(|m| m.first_s) };
        let (Some(m), Some(off_s), Some(_)) = (self.matched, last_s, self.motor_on) else {
            return 0.0;
        };
        (off_s - m.settled_s).max(0.0)
    }

    /// When the row had matched, the motor had come to rest and the unit's lamps were steady, in
    /// seconds: a row can match in passing, while the sleeve still waits.
    pub fn at_rest_s(&self) -> Option<f64> {
        let matched_s = self.matched?.settled_s;
        let lamp = self.lamp.filter(|_| self.lamps_fit == Some(true));
        let later = [self.motor_off, lamp].into_iter().flatten().map(|m| m.settled_s);
        Some(later.fold(matched_s, f64::max))
    }

    /// When the row was engaged, as far as all that the unit shows tells, in seconds: it matched
    /// and everything came to rest; or a switch of it lies, and limit contacts and lamps came to
    /// show it. A row that was read before the unit moved does not tell when the unit arrived.
    pub fn engaged_s(&self) -> Option<f64> {
        let lamps_show = self.lamps_fit == Some(true);
        if self.matched.is_some() {
            let is_told = !self.read_at_request || self.motor_on.is_none() || lamps_show;
            return self.at_rest_s().filter(|_| is_told);
        }
        let last = [self.motor_off, self.limit_change, self.lamp].into_iter().flatten();
        let last_s = last.map(|m| m.settled_s).fold(self.began_s, f64::max);
        (lamps_show && self.limits_fit != Some(false)).then_some(last_s)
    }

    /// From the request to the engaged row.
    pub fn total(&self) -> Option<Latency> {
        Some(Latency::between(&self.request?, &self.matched?))
    }

    /// Stages in the order in which they came.
    pub fn stages(&self) -> Vec<StageTime> {
        let reached = self.matched.filter(|_| !self.was_there());
        let all = [
            (Stage::MotorEnergised, self.motor_on),
            (Stage::LimitContactsChanged, self.limit_change),
            (Stage::MotorStopped, self.motor_off),
            (Stage::PositionSwitchesMatch, reached),
            (Stage::LampSteady, self.lamp),
        ];
        let mut stages: Vec<StageTime> = all
            .into_iter()
            .filter_map(|(stage, moment)| Some(StageTime { stage, moment: moment? }))
            .collect();
        stages.sort_by(|a, b| a.moment.first_s.total_cmp(&b.moment.first_s));
        stages
    }

    /// Ends the stand; a selection is told only if its request edge was seen.
    pub fn end(&mut self, table: &Table, at_s: f64, why: End) -> Option<Selection> {
        self.reading.end(at_s);
        self.contacts.end(at_s);
        self.request.map(|request| Selection::new(table, self, request, at_s, why))
    }
}
