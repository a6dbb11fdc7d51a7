//! What was turned by hand: the trials of a hand sheet, counted in the capture and weighed.

use crate::axis::{Axis, Heard};
use crate::learning::{Tooth, edges_per_turn};
use crate::result::{HandInfo, HandTrial, RecordRange};
use crate::stray::Rests;
use crate::switching::Switching;
use sha2::{Digest, Sha256};
use wheelwitness_capture::read::{CaptureReader, ReadError};
use wheelwitness_capture::storage::Storage;
use wheelwitness_driveline::hand::{
    Control, HandCounts, HandSheet, HandTurns, Input, Part, TURNED_TURN, Trial, Watched, Weighed,
    weigh,
};
use wheelwitness_driveline::pulse::{Count, Counted, Counter};
use wheelwitness_driveline::vehicle::{AxleKind, Coupling, Place, Vehicle};

/// Steps this close to a trial do not count as driving, microseconds.
const APART_US: i64 = 1_000_000;

/// A mode that changes this close to an end of a trial is another matter, seconds.
const EDGE_S: f64 = 0.5;

/// A trial with what became of it.
#[derive(Debug, Clone)]
pub struct Tried {
    /// The trial.
    pub trial: Trial,
    /// What was counted.
    pub counts: HandCounts,
    /// What it says.
    pub weighed: Weighed,
    /// Raw records of its stretch.
    pub records: Option<RecordRange>,
}

/// Everything that was tried by hand.
#[derive(Debug, Clone, Default)]
pub struct Tries {
    /// SHA-256 of the sheet, hexadecimal.
    pub sha256: String,
    /// The trials, in the order of the sheet.
    pub tried: Vec<Tried>,
}

/// Stretches that are no driving, microseconds on the axis.
pub fn apart(sheet: &HandSheet) -> Vec<(i64, i64)> {
    let us = |s: f64| (s * 1e6) as i64;
    let stretch = |t: &Trial| Some((us(t.start_s?) - APART_US, us(t.end_s?) + APART_US));
    sheet.trials.iter().filter_map(stretch).collect()
}

/// Counts and weighs the trials of a sheet: one pass. Counts of sensors that cannot be trusted
/// (`unsound`) are not used.
pub fn tried<S: Storage>(
    vehicle: &Vehicle,
    (sheet, text): (&HandSheet, &str),
    switching: &Switching,
    (teeth, unsound): (&[Tooth], bool),
    axis: Axis,
    reader: &mut CaptureReader<S>,
) -> Result<Tries, ReadError> {
    let mut tallies: Vec<Tally> = sheet.trials.iter().map(|t| Tally::new(t, teeth)).collect();
    let mut rests = Rests::new(teeth, apart(sheet));
    axis.pass(reader, |at_us, record, event| match event {
        Heard::Reset => {
            tallies.iter_mut().for_each(|t| t.begin_anew(at_us));
            rests.begin_anew();
        }
        Heard::Counts { first_channel, counts } => {
            rests.take(at_us, first_channel, &counts);
            tallies.iter_mut().for_each(|t| t.take(at_us, record, first_channel, &counts));
        }
        _ => {}
    })?;
    let strays = rests.per_second();
    let mut counted: Vec<HandCounts> = sheet
        .trials
        .iter()
        .zip(&tallies)
        .map(
            |(t, tally)| {
                if unsound { HandCounts::default() } else { tally.counts(vehicle, t, &strays) }
            },
        )
        .collect();
    forget_blind(&sheet.trials, &mut counted, Some(Part::FrontFlange), |c| &mut c.front);
    forget_blind(&sheet.trials, &mut counted, Some(Part::RearFlange), |c| &mut c.rear);
    forget_blind(&sheet.trials, &mut counted, None, |c| &mut c.input);
    let one = |k: usize| {
        let trial = &sheet.trials[k];
        let control = control(vehicle, sheet, &counted, k);
        let mut weighed = weigh(vehicle, trial, &counted[k], control);
        if let Some(why) = another_mode(trial, switching) {
            weighed.silent = Some(why);
        }
        Tried { trial: trial.clone(), counts: counted[k], weighed, records: tallies[k].records }
    };
    let sha256 = Sha256::digest(text.as_bytes()).iter().map(|b| format!("{b:02x}")).collect();
    Ok(Tries { sha256, tried: (0..sheet.trials.len()).map(one).collect() })
}

/// A sensor may be blind at the speed of a hand: that it gave nothing says nothing where the
/// slowest turn that it did count in any trial was quicker than what turned meanwhile, or where it
/// never counted one. It surely is blind, and nothing that it counted is used, where the very
/// flange that it watches was turned, something else turned with that, and it gave nothing.
fn forget_blind(
    trials: &[Trial],
    counted: &mut [HandCounts],
    watches: Option<Part>,
    place: fn(&mut HandCounts) -> &mut Option<HandTurns>,
) {
    let most_turned = |c: &HandCounts| {
        [c.front, c.rear, c.input].into_iter().flatten().map(|n| n.turns).fold(0.0, f64::max)
    };
    let (mut slowest, mut is_blind) = (None::<f64>, false);
    for (trial, counts) in trials.iter().zip(counted.iter_mut()) {
        let Some((own, seconds)) = (*place(counts)).zip(trial.seconds()) else { continue };
        if own.turns > TURNED_TURN {
            let rate = own.turns / seconds;
            slowest = Some(slowest.map_or(rate, |s| s.min(rate)));
        } else {
            is_blind |= watches == Some(trial.turned) && most_turned(counts) > TURNED_TURN;
        }
    }
    let is_known = |trial: &Trial, counts: &HandCounts, own: HandTurns| {
        let most = most_turned(counts);
        let quick = |slowest: f64| trial.seconds().is_some_and(|s| most / s >= slowest);
        let stood_beside = own.turns <= TURNED_TURN && most > TURNED_TURN;
        !is_blind && slowest.is_some_and(|s| !stood_beside || quick(s))
    };
    for (trial, counts) in trials.iter().zip(counted.iter_mut()) {
        let kept = (*place(counts)).filter(|own| is_known(trial, counts, *own));
        *place(counts) = kept;
    }
}

/// What the other trials of the same part show: that it can turn, and that the input follows.
fn control(vehicle: &Vehicle, sheet: &HandSheet, counted: &[HandCounts], k: usize) -> Control {
    let trial = &sheet.trials[k];
    let of = |j: usize| {
        let (other, counts) = (&sheet.trials[j], &counted[j]);
        let weighed = weigh(vehicle, other, counts, Control::Nothing);
        if j == k || other.turned != trial.turned || weighed.turned != Some(true) {
            return Control::Nothing;
        }
        let input_turned = counts.input.is_some_and(|n| n.turns > 2.0 * n.edge);
        let follows = other.watched == Some(Watched::Same) || input_turned;
        match other.turned.is_wheel() && other.input == Input::Free && follows {
            true => Control::InputFollows,
            false => Control::Turns,
        }
    };
    let most = (0..sheet.trials.len()).map(of).max().unwrap_or(Control::Nothing);
    // Bare flanges hold with the input held: that needs nothing to follow.
    match most {
        Control::Turns if !trial.turned.is_wheel() => Control::InputFollows,
        most => most,
    }
}

/// Why a trial is not about its mode: the switches show something else in its stretch.
fn another_mode(trial: &Trial, switching: &Switching) -> Option<&'static str> {
    let (start_s, end_s) = (trial.start_s?, trial.end_s?);
    let timeline = &switching.timeline;
    let overlaps = |from: f64, to: f64| from < end_s - EDGE_S && to > start_s + EDGE_S;
    let shown = timeline.modes.iter().filter(|m| m.known && overlaps(m.start_s, m.end_s));
    if shown.into_iter().any(|m| m.mode.as_deref() != Some(trial.mode.as_str())) {
        return Some("the switches do not show this mode throughout the stretch");
    }
    let mut asked = timeline.requests.iter().filter(|r| overlaps(r.start_s, r.end_s));
    let other = asked.any(|r| r.mode != trial.mode);
    other.then_some("another mode was requested in the stretch")
}

/// Edges of every sensor within the stretch of a trial.
struct Tally {
    stretch_us: Option<(i64, i64)>,
    sensors: Vec<(Place, u8, f64, Counter)>,
    /// Edge number of each sensor at the first report of the stretch, and at the last one.
    ends: Vec<Option<(i64, i64)>>,
    broken: bool,
    seen_us: Option<(i64, i64)>,
    records: Option<RecordRange>,
}

/// A stretch is counted when reports begin and end this close to its ends, microseconds.
const REPORTED_US: i64 = 500_000;

impl Tally {
    fn new(trial: &Trial, teeth: &[Tooth]) -> Self {
        let stretch = trial.start_s.zip(trial.end_s);
        let sensor = |t: &Tooth| {
            let edges = edges_per_turn(&t.sensor) - u32::from(t.missing_tooth);
            (t.sensor.place, t.sensor.channel, f64::from(edges.max(1)), Counter::default())
        };
        Tally {
            stretch_us: stretch.map(|(a, b)| ((a * 1e6) as i64, (b * 1e6) as i64)),
            sensors: teeth.iter().map(sensor).collect(),
            ends: vec![None; teeth.len()],
            broken: false,
            seen_us: None,
            records: None,
        }
    }

    fn begin_anew(&mut self, at_us: i64) {
        let inside = self.stretch_us.is_some_and(|(a, b)| (a..b).contains(&at_us));
        self.broken |= inside && self.seen_us.is_some();
        self.sensors.iter_mut().for_each(|s| s.3 = Counter::default());
    }

    fn take(&mut self, at_us: i64, record: u64, first_channel: u8, counts: &[Count; 4]) {
        let Some((start_us, end_us)) = self.stretch_us else { return };
        if !(start_us..=end_us).contains(&at_us) {
            return;
        }
        let (_, seen_us) = self.seen_us.get_or_insert((at_us, at_us));
        *seen_us = at_us;
        self.records.get_or_insert(RecordRange { first: record, last: record }).last = record;
        for ((_, channel, _, counter), ends) in self.sensors.iter_mut().zip(&mut self.ends) {
            let slot = channel.checked_sub(first_channel).map(usize::from);
            let Some(report) = slot.and_then(|k| counts.get(k)) else { continue };
            self.broken |= counter.observe(at_us, *report) == Counted::Implausible;
            let index = counter.index().unwrap_or(0);
            ends.get_or_insert((index, index)).1 = index;
        }
    }

    fn counts(&self, vehicle: &Vehicle, trial: &Trial, strays: &[Option<f64>]) -> HandCounts {
        let whole = self.stretch_us.zip(self.seen_us).is_some_and(|(stretch, seen)| {
            seen.0 - stretch.0 < REPORTED_US && stretch.1 - seen.1 < REPORTED_US
        });
        if self.broken || !whole {
            return HandCounts::default();
        }
        let ratio = vehicle.mode(&trial.mode).and_then(|m| vehicle.ranges.get(&m.range));
        let ratio = ratio.copied().unwrap_or(1.0);
        HandCounts {
            front: self.output(vehicle, trial, Place::FrontShaft, strays),
            rear: self.output(vehicle, trial, Place::RearShaft, strays),
            input: self.at(Place::Input, 1.0 / ratio, strays),
        }
    }

    /// Turns at a place, and of one edge, times a factor; with what stray edges may have added.
    fn at(&self, place: Place, factor: f64, strays: &[Option<f64>]) -> Option<HandTurns> {
        let k = self.sensors.iter().position(|s| s.0 == place)?;
        let (first, last) = self.ends[k]?;
        let (start_us, end_us) = self.stretch_us?;
        let edge = factor / self.sensors[k].2;
        let stray = strays[k]? * (end_us - start_us) as f64 * 1e-6 * edge;
        Some(HandTurns { turns: (last - first) as f64 * edge, edge, stray })
    }

    /// An output by its own sensor, or by both wheels of its axle where they tell it better.
    fn output(
        &self,
        vehicle: &Vehicle,
        trial: &Trial,
        shaft: Place,
        strays: &[Option<f64>],
    ) -> Option<HandTurns> {
        let (axle, wheels) = match shaft {
            Place::FrontShaft => (&vehicle.axles.front, [Place::FrontLeft, Place::FrontRight]),
            _ => (&vehicle.axles.rear, [Place::RearLeft, Place::RearRight]),
        };
        let own = self.at(shaft, 1.0, strays);
        let tied = trial.turned.is_wheel() && axle.kind != AxleKind::Disconnect;
        let wheel = |p: Place| self.at(p, axle.ratio_value() / 2.0, strays).filter(|_| tied);
        let by_wheels = wheel(wheels[0]).zip(wheel(wheels[1])).map(|(a, b)| a.and(b));
        match (own, by_wheels) {
            (Some(own), Some(by)) => Some(if by.u() < own.u() { by } else { own }),
            (own, by) => own.or(by),
        }
    }
}

impl Tries {
    /// For the result; None where there was no sheet.
    pub fn info(&self) -> Option<HandInfo> {
        if self.sha256.is_empty() {
            return None;
        }
        let trials = self.tried.iter().zip(1..).map(|(t, number)| t.told(number)).collect();
        Some(HandInfo { sha256: self.sha256.clone(), trials })
    }
}

impl Tried {
    fn told(&self, number: u32) -> HandTrial {
        let turns = |n: Option<HandTurns>| n.map(|n| n.turns);
        HandTrial {
            number,
            mode: self.trial.mode.clone(),
            what: self.what(),
            start_s: self.trial.start_s,
            end_s: self.trial.end_s,
            front_turn: turns(self.counts.front),
            rear_turn: turns(self.counts.rear),
            input_turn: turns(self.counts.input),
            fits: match self.weighed.silent {
                None => self.weighed.fits.clone(),
                Some(_) => Vec::new(),
            },
            silent: self.weighed.silent.map(Into::into),
            by: self.trial.by.clone(),
            on: self.trial.on.clone(),
            evidence: self.records.into_iter().collect(),
        }
    }

    /// Whether what was counted and seen fits a coupling.
    pub fn fits(&self, coupling: Coupling) -> bool {
        self.weighed.fits.contains(&coupling)
    }

    /// What was turned, with what held.
    pub fn what(&self) -> String {
        let input = match self.trial.input {
            Input::Held => "input held",
            Input::Free => "gearbox in neutral",
        };
        let torque = self.trial.torque_nm.map_or(String::new(), |t| format!(", up to {t:.0} N·m"));
        format!("{}, {input}{torque}", self.trial.turned.words())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A trial of ten seconds.
    fn trial(turned: Part) -> Trial {
        let text = "mode = \"open\"\nturned = \"front-flange\"\ninput = \"held\"\nstart_s = 0.0\n\
                    end_s = 10.0\nby = \"somebody\"\non = \"a day\"";
        Trial { turned, ..toml::from_str(text).expect("a trial") }
    }

    /// The front's count of each trial after what may be blind was forgotten; turns of the front
    /// and the rear output by trial.
    fn known(trials: &[(Part, f64, f64)]) -> Vec<Option<f64>> {
        let n = |turns| Some(HandTurns { turns, edge: 0.25, stray: 0.0 });
        let count = |t: &(Part, f64, f64)| HandCounts { front: n(t.1), rear: n(t.2), input: None };
        let mut counted: Vec<HandCounts> = trials.iter().map(count).collect();
        let trials: Vec<Trial> = trials.iter().map(|t| trial(t.0)).collect();
        forget_blind(&trials, &mut counted, Some(Part::FrontFlange), |c| &mut c.front);
        counted.iter().map(|c| c.front.map(|n| n.turns)).collect()
    }

    #[test]
    fn a_counter_that_stood_is_believed_at_speeds_at_which_it_was_seen_to_count() {
        use Part::{FrontLeft, RearFlange};
        let quick = (FrontLeft, 20.0, 0.0);
        assert_eq!(known(&[quick, (RearFlange, 0.0, 7.0)]), [Some(20.0), None]);
        assert_eq!(known(&[quick, (RearFlange, 0.0, 25.0)]), [Some(20.0), Some(0.0)]);
        let slow = (FrontLeft, 5.0, 0.0);
        assert_eq!(known(&[quick, slow, (RearFlange, 0.0, 7.0)])[2], Some(0.0));
        assert_eq!(known(&[(RearFlange, 0.0, 7.0)]), [None], "it was never seen to count");
        assert_eq!(known(&[quick, (FrontLeft, 0.0, 0.0)])[1], Some(0.0), "nothing turned at all");
    }

    #[test]
    fn a_counter_at_the_flange_that_was_turned_and_gave_nothing_is_blind_everywhere() {
        use Part::{FrontFlange, FrontLeft};
        let counted = [(FrontLeft, 3.0, 0.0), (FrontFlange, 0.0, 6.0), (FrontLeft, 9.0, 0.0)];
        assert_eq!(known(&counted), [None, None, None]);
        let held = [(FrontLeft, 3.0, 0.0), (FrontFlange, 0.0, 0.0)];
        assert_eq!(known(&held), [Some(3.0), Some(0.0)], "a flange that held turned nothing");
    }
}
