//! Mode timeline, selections and their outcomes, and the two claims about switches.
//!
//! [`Selections`] is fed with [`Event`]s in time order and keeps bounded memory. At the end it
//! gives a [`Timeline`]: which row the position switches showed when, which row was requested
//! when, every selection with its stages and outcome, and what each row's switches read while the
//! row was requested. [`Timeline::hear`] adds what the shafts showed; then
//! [`Timeline::switch_table`] and [`Timeline::selection_completes`] judge.
//!
//! # How a switch table can be judged at all
//!
//! A switch table is judged against the mode that is engaged, but the mode is known from the
//! switches. The rule that breaks the circle:
//!
//! 1. A row is read in a *stretch*: from the moment at which its switches match while it is
//!    requested, or from `selection_s` plus [`MARGIN_S`] after the request if they do not, to the
//!    end of the request.
//! 2. Switches that read the row are *proven* if they cannot have been stuck there and the other
//!    witnesses agree. Not stuck: a switch moved with the request (for the row in which the
//!    recording began, with the next one), or the shafts confirm the mode. The other witnesses: the
//!    motor ran and rests, the limit contacts read the row, the lamps show it, the shafts behave
//!    as the mode says. The majority decides; the shafts can veto alone.
//! 3. A switch that reads otherwise for at least 0.2 s is *disproven* only if the shafts show,
//!    inside that time, every property that the selection had to change (the coupling, and the
//!    range if it changes or the vehicle began in an unknown one). Without the shafts a switch
//!    that lies and a sleeve that hangs or waits look alike, however many contacts and lamps
//!    agree: then the row is *undecided* and says what to drive.
//! 4. For the same reason a position switch that never matches cannot alone disprove the
//!    selection: a selection is *disproven* when the unit and its motor took longer than the
//!    limit, when nothing moved at all though nothing forbade it, or when the shafts show another
//!    coupling after the sleeve had the motion that it needs.
//!
//! ```
//! # let text = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/all/two-modes.toml"));
//! # let vehicle =
//! #     wheelwitness_driveline::vehicle::Vehicle::parse(text, "two-modes.toml").unwrap();
//! use wheelwitness_driveline::selection::{CouplingSeen, Selections};
//! use wheelwitness_driveline::switches::{Event, LevelChange, Levels};
//! let mut selections = Selections::new(&vehicle);
//! let levels = |time_s, mask, record| Event::Levels(Levels { time_s, mask, record });
//! let edge = |time_s, input, edge_count| {
//!     Event::Change(LevelChange { time_s, input, level: true, edge_count, record: 7 })
//! };
//! selections.push(&levels(0.5, 0b00, 1)); // not requested, not engaged
//! selections.push(&edge(1.0, 1, 1)); // request of the lock
//! selections.push(&edge(2.5, 2, 1)); // position switch of the lock
//! for n in 0..80 {
//!     selections.push(&levels(3.0 + 0.25 * f64::from(n), 0b11, 8));
//! }
//! let timeline = selections.finish(23.0);
//! let lock = &timeline.selections[0];
//! assert_eq!((lock.to.1.as_str(), lock.outcome.words()), ("locked", "completed"));
//! assert!((lock.completion().unwrap().value - 1.5).abs() < 1e-9);
//! ```

mod completes;
mod contacts;
mod finding;
mod lamps;
mod latency;
mod lead;
mod outcome;
mod reading;
mod rows;
mod stand;
mod table;
mod timeline;
mod travel;
mod voltages;
mod witness;

pub use contacts::{Flicker, SUPPLY_LOW_V};
pub use finding::{Finding, FindingPeriod, Word};
pub use latency::Latency;
pub use lead::{Cause, Lead};
pub use outcome::{Outcome, Selection, Stage, StageTime, Timeliness};
pub use reading::Disagreement;
pub use rows::RowPeriod;
pub use timeline::{LampSpan, ModeSpan, PERCENTILE_FROM, PairTimes, RequestSpan, Timeline};
pub use travel::Need;
pub use voltages::ANALOG_INPUTS;
pub use witness::CouplingSeen;

use crate::switches::{
    Action, Event, Gap, InOrder, Moment, Motion, Picture, Step, Switches, WINDOW_S,
};
use crate::vehicle::{LINES_MAX, Role, Vehicle};
use contacts::Watch;
use stand::{Before, End, Scene, Stand};
use table::Table;
use timeline::Keeper;

/// Time beyond the selection limit before a row is read unmatched, in seconds (common practice).
pub const MARGIN_S: f64 = 1.0;
/// A request that stands shorter than this is the selector passing by, in seconds (common
/// practice).
pub const MIN_REQUEST_S: f64 = 0.3;
/// A match shorter than this is the fork passing by, in seconds (common practice).
pub const PASSING_S: f64 = 0.5;
/// Selections and row periods that are kept; more are only counted.
pub const MAX_KEPT: usize = 2000;
/// Mode, request and lamp spans that are kept; more are only counted.
pub const MAX_SPANS: usize = 20_000;
/// Steps that are held back while a request is still too short.
const MAX_HELD: usize = 1024;

/// A request that has not stood long enough to be one.
#[derive(Debug, Clone)]
struct Candidate {
    row: Option<usize>,
    moment: Moment,
    record: u64,
    /// Row that the switches showed at the request.
    shown: Option<usize>,
    scene: Scene,
    /// What happened since, for whichever stand it turns out to belong to.
    held: Vec<Held>,
}

#[derive(Debug, Clone, Copy)]
enum Held {
    Step(Step, Scene),
    Motion(Motion, Scene),
    Gap(Gap, bool),
}

/// Follows requests, modes and selections through a drive. See the [module](self).
#[derive(Debug, Clone)]
pub struct Selections {
    table: Table,
    order: InOrder,
    switches: Switches,
    scene: Scene,
    steps: Vec<Step>,
    stand: Option<Stand>,
    candidate: Option<Candidate>,
    /// The row that was requested and reached before the present stand.
    asked_before: Option<usize>,
    /// Row of the stand before, whether it was reached or not.
    stood_before: Option<usize>,
    motor_on: Option<Moment>,
    powered: Option<bool>,
    keeper: Keeper,
    watch: Watch,
}

impl Selections {
    /// Begins for a vehicle, with nothing known.
    pub fn new(vehicle: &Vehicle) -> Self {
        let table = Table::new(vehicle);
        let scene = Scene {
            now_s: f64::NEG_INFINITY,
            picture: Default::default(),
            lamps: [None; LINES_MAX],
            speed_kmh: None,
        };
        Selections {
            order: InOrder::default(),
            switches: Switches::new(
                &vehicle.switches,
                vehicle.lines().count() - vehicle.switches.len(),
            ),
            scene,
            steps: Vec::new(),
            stand: None,
            candidate: None,
            asked_before: None,
            stood_before: None,
            motor_on: None,
            powered: None,
            keeper: Keeper::default(),
            watch: Watch::new(vehicle),
            table,
        }
    }

    /// Takes one event; events come in the order in which the board sent them, a lost notice
    /// before the sentence that revealed the loss.
    pub fn push(&mut self, event: &Event) {
        let mut order = std::mem::take(&mut self.order);
        order.push(*event, &mut |event| self.live(&event));
        self.order = order;
    }

    /// The analog inputs of the board read so many volts at a time (at the board, undivided).
    pub fn analog(&mut self, time_s: f64, inputs: &[f64; ANALOG_INPUTS]) {
        self.watch.analog(time_s, inputs, &self.scene.picture);
    }

    fn live(&mut self, event: &Event) {
        // First what had settled before the event, with the picture of that time.
        self.advance(event.time_s());
        let steps = &mut self.steps;
        self.switches.push(event, &mut |step| steps.push(step));
        self.take_steps();
        match event {
            Event::Motion(m) => {
                self.scene.speed_kmh = m.speed_kmh;
                self.route(Held::Motion(*m, self.scene));
            }
            Event::Lost(gap) => {
                if gap.to_s - gap.from_s > 2.0 * WINDOW_S {
                    self.keeper.lose_lamps(gap.from_s);
                }
                self.watch.lose(gap);
                self.route(Held::Gap(*gap, false));
            }
            Event::Reset(gap) => {
                self.scene.lamps = [None; LINES_MAX];
                self.keeper.lose_lamps(gap.from_s);
                self.route(Held::Gap(*gap, true));
            }
            Event::Change(_) | Event::Levels(_) | Event::Told(_) => {}
        }
        self.settle_candidate(false);
        if let Some(stand) = self.stand.as_mut().filter(|_| self.candidate.is_none()) {
            stand.pass(&self.table, &self.scene);
        }
    }

    /// Name of the row that is engaged now by the switches, if exactly one is.
    pub fn engaged_now(&self) -> Option<&str> {
        let hint = self.stand.as_ref().map(|s| s.row);
        let shown = self.table.shown(&self.scene.picture, hint).ok().flatten();
        shown.map(|k| self.table.rows[k].name.as_str())
    }

    /// Ends the drive.
    pub fn finish(mut self, end_s: f64) -> Timeline {
        std::mem::take(&mut self.order).flush(&mut |event| self.live(&event));
        self.advance(end_s);
        self.settle_candidate(true);
        self.end_stand(self.scene.now_s, End::Recording);
        let tallies = self.switches.tallies();
        self.keeper.finish((self.table, self.watch), self.scene.now_s, tallies)
    }

    fn advance(&mut self, now_s: f64) {
        let steps = &mut self.steps;
        self.switches.advance(now_s, &mut |step| steps.push(step));
        self.scene.now_s = self.scene.now_s.max(now_s);
        self.take_steps();
    }

    /// Several switches may settle by one event, told in the order of the vehicle file, and the
    /// picture has them all. They are taken in the order of their times: for a step, those whose
    /// step is still to come have not settled yet.
    fn take_steps(&mut self) {
        let picture = self.switches.picture();
        let mut steps = std::mem::take(&mut self.steps);
        steps.sort_by(|a, b| {
            let (a, b) = (a.moment, b.moment);
            a.first_s.total_cmp(&b.first_s).then(a.earliest_s.total_cmp(&b.earliest_s))
        });
        for (k, step) in steps.iter().enumerate() {
            let changes = |s: &&Step| match s.action {
                Action::Settled { was, level } => was != Some(level),
                _ => false,
            };
            let to_come = steps[k + 1..].iter().filter(changes);
            let to_come = to_come.fold(0, |bits, s| bits | 1 << s.switch);
            self.scene.picture = Picture { moving: picture.moving | to_come, ..picture };
            self.take(step);
        }
        self.scene.picture = picture;
        self.steps = steps;
        self.steps.clear();
    }

    fn take(&mut self, step: &Step) {
        let role = self.table.role(step.switch);
        self.watch.take(step, role);
        if let Action::Lamp(state) = step.action {
            self.scene.lamps[step.switch] = Some(state);
            self.keeper.lamp(&self.table.names[step.switch], state, step.moment.first_s);
        }
        if role == Role::Motor && self.scene.picture.on & self.table.bits(Role::Motor) != 0 {
            self.motor_on = Some(step.moment);
        }
        match role {
            Role::Request => self.look_at_request(step),
            Role::Ignition => self.look_at_power(step),
            _ => self.route(Held::Step(*step, self.scene)),
        }
        if matches!(role, Role::Position | Role::LimitContact | Role::Request) {
            self.look_at_mode(step);
        }
    }

    /// Gives something to the present stand, or keeps it until it is clear which stand it is.
    fn route(&mut self, held: Held) {
        match (&mut self.candidate, &mut self.stand) {
            (Some(c), _) if c.held.len() < MAX_HELD => c.held.push(held),
            (_, Some(stand)) => give(&self.table, stand, &held),
            _ => {}
        }
    }

    fn look_at_request(&mut self, step: &Step) {
        if self.powered == Some(false)
            || self.scene.picture.moving & self.table.bits(Role::Request) != 0
            || step.action == Action::Blip
        {
            return;
        }
        let Ok(row) = self.table.asked(&self.scene.picture) else { return };
        let Some(stand) = &self.stand else {
            if let Some(row) = row {
                self.begin_stand(row, step);
            }
            return;
        };
        let standing = self.candidate.as_ref().map_or(Some(stand.row), |c| c.row);
        if row == standing {
            return;
        }
        if row == Some(stand.row) {
            // Back within the time of a request: it was none.
            let held = self.candidate.take().map(|c| c.held).unwrap_or_default();
            held.into_iter().for_each(|h| self.route(h));
            self.keeper.passed_by += 1;
            return;
        }
        let shown = self.table.shown(&self.scene.picture, Some(stand.row)).ok().flatten();
        let earlier = self.candidate.take();
        self.keeper.passed_by += u64::from(earlier.as_ref().is_some_and(|c| c.row.is_some()));
        let shown = earlier.as_ref().map_or(shown, |c| c.shown);
        let held = earlier.map(|c| c.held).unwrap_or_default();
        let record = step.records.0;
        let (moment, scene) = (step.moment, self.scene);
        self.candidate = Some(Candidate { row, moment, record, shown, scene, held });
    }

    /// A stand whose request edge is not in the recording, or that follows none.
    fn begin_stand(&mut self, row: usize, step: &Step) {
        let changed =
            matches!(step.action, Action::Settled { was: Some(was), level } if was != level);
        let request = changed.then_some(step.moment);
        let before = Before {
            shown: self.table.shown(&self.scene.picture, None).ok().flatten(),
            asked: self.asked_before,
            stood: self.stood_before,
        };
        let record = step.records.0;
        let stand = Stand::new(&self.table, row, before, request, &self.scene, record);
        self.stand = Some(stand);
    }

    /// Once a request has stood long enough, the stand before it ends and a new one begins.
    fn settle_candidate(&mut self, at_end: bool) {
        let stood_s = |c: &Candidate| self.scene.now_s - c.moment.first_s;
        if !self.candidate.as_ref().is_some_and(|c| at_end || stood_s(c) >= MIN_REQUEST_S) {
            return;
        }
        let Some(c) = self.candidate.take() else { return };
        self.end_stand(c.moment.first_s, c.row.map_or(End::NoRequest, End::Request));
        let Some(row) = c.row else { return };
        let before = Before { shown: c.shown, asked: self.asked_before, stood: self.stood_before };
        let request = Some(c.moment);
        let mut stand = Stand::new(&self.table, row, before, request, &c.scene, c.record);
        if let Some(on) = self.motor_on.filter(|on| on.first_s >= c.moment.earliest_s)
            && stand.motor_runs
        {
            stand.motor_ran_already(on);
        }
        c.held.iter().for_each(|held| give(&self.table, &mut stand, held));
        self.stand = Some(stand);
    }

    fn end_stand(&mut self, at_s: f64, why: End) {
        let Some(mut stand) = self.stand.take() else { return };
        if stand.request.is_some() && at_s - stand.began_s < MIN_REQUEST_S && why != End::Power {
            self.keeper.passed_by += 1;
            return;
        }
        let selection = stand.end(&self.table, at_s, why);
        self.stood_before = Some(stand.row);
        self.asked_before =
            (stand.matched.is_some() && stand.left_s.is_none()).then_some(stand.row);
        self.keeper.stand(&self.table, &stand, selection, at_s);
    }

    fn look_at_power(&mut self, step: &Step) {
        let bits = self.table.bits(Role::Ignition);
        if self.scene.picture.known & bits != bits {
            return;
        }
        let on = self.scene.picture.on & bits != 0;
        if self.powered == Some(on) {
            return;
        }
        self.powered = Some(on);
        if on {
            if let Ok(Some(row)) = self.table.asked(&self.scene.picture)
                && self.stand.is_none()
            {
                let unseen = Step { action: Action::Unknown, ..*step };
                self.begin_stand(row, &unseen);
            }
        } else {
            self.candidate = None;
            self.end_stand(step.moment.first_s, End::Power);
            (self.asked_before, self.stood_before) = (None, None);
        }
    }

    fn look_at_mode(&mut self, step: &Step) {
        if self.scene.picture.moving & self.table.bits(Role::Position) != 0 {
            return;
        }
        let hint = self.stand.as_ref().map(|s| s.row);
        let shown = self.table.shown(&self.scene.picture, hint);
        self.keeper.mode(&self.table, shown, &step.moment);
    }
}

fn give(table: &Table, stand: &mut Stand, held: &Held) {
    match held {
        Held::Step(step, scene) => stand.take(table, step, scene),
        Held::Motion(m, scene) => stand.motion(table, m, scene),
        Held::Gap(gap, anew) => stand.gap(gap.to_s - gap.from_s, *anew),
    }
}

#[cfg(test)]
mod tests;
