//! Many drives with known truth: are the verdicts right, and are the uncertainties honest?

use crate::by_bus::random_bus;
use crate::hands::{random_hands, sheet_of};
use crate::stress::{self, STRESSES};
use serde::{Deserialize, Serialize};
use wheelwitness_analyze::assemble::Beside;
use wheelwitness_analyze::judge::judge_beside;
use wheelwitness_analyze::result::{Claim, DriveResult, Period, Verdict};
use wheelwitness_capture::clock::{SimClock, Stamp};
use wheelwitness_capture::read::CaptureReader;
use wheelwitness_capture::record::{Kind, RECORDER, RecordingId, Text, source_kind, title};
use wheelwitness_capture::storage::SimStorage;
use wheelwitness_capture::write::{Limits, Writer};
use wheelwitness_driveline::vehicle::{Coupling, Place};
use wheelwitness_rig::facts::Fact;
use wheelwitness_rig::faults::FaultTruth;
use wheelwitness_rig::random_drive::random_drive;
use wheelwitness_rig::truth::{DriveSums, PeriodTruth, SelectionTruth};
use wheelwitness_rig::{Content, Fault, Plan, Run, Source};

/// How one claim came out against the truth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Call {
    /// The verdict is the truth.
    Right,
    /// It is not, and the truth lies more than one uncertainty beyond the limit.
    Wrong,
    /// It is not, but the truth lies within one uncertainty of the limit.
    WrongNear,
    /// Not decided.
    Undecided,
}

/// An estimate beside its truth.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Measured {
    /// Name of the estimate, with its claim where the name alone is ambiguous.
    pub name: String,
    /// Seed of the drive.
    pub seed: u64,
    /// Estimate less truth.
    pub error: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// Components by name.
    pub components: Vec<(String, f64)>,
}

/// One claim against its facts.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Called {
    /// Id of the claim.
    pub claim: String,
    /// Its scope.
    pub scope: String,
    /// What became of it.
    pub call: Call,
    /// Whether the drive met the claim's evidence goal.
    pub goal_met: bool,
    /// Verdict and truth in a line for a person.
    pub line: String,
}

/// What one drive showed.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Outcome {
    /// Seed.
    pub seed: u64,
    /// What kind of drive it is: `random`, or the stress.
    pub kind: String,
    /// Each claim against its facts.
    pub calls: Vec<Called>,
    /// Estimates with known truth.
    pub measured: Vec<Measured>,
}

/// A run as the recorder would have stored it.
pub fn capture_of(run: &Run, vehicle_text: &str) -> CaptureReader<SimStorage> {
    let clock = SimClock::default();
    let storage = SimStorage::new();
    let made =
        Writer::create(storage.clone(), clock.clone(), RecordingId([7; 16]), Limits::default());
    let mut writer = made.expect("a simulated medium takes a new capture");
    let mut begun = false;
    for chunk in &run.wire {
        clock.set(Stamp { boot_ns: chunk.boot_ns, mono_ns: chunk.boot_ns, wall_ns: 0 });
        if !begun {
            begun = true;
            let text = Text::new(title::VEHICLE_FILE, vehicle_text).to_bytes();
            writer.append(RECORDER, Kind::Text, chunk.boot_ns, &text).expect("room");
            name_sources(&mut writer, run);
        }
        let kind = match chunk.content {
            Content::Bytes => Kind::Bytes,
            Content::Frame => Kind::CanFrame,
            Content::Losses => Kind::Losses,
        };
        writer.append(chunk.source as u16, kind, chunk.boot_ns, &chunk.bytes).expect("room");
        writer.pump();
    }
    writer.close();
    CaptureReader::from_storage(storage).expect("what was just written can be read")
}

/// Names and, for a bus, kinds of the sources, as a recorder tells them.
fn name_sources(writer: &mut Writer<SimStorage>, run: &Run) {
    for source in [Source::Board, Source::Gnss] {
        writer.append_text(source as u16, title::SOURCE_NAME, source.name()).expect("room");
    }
    if let Some(chunk) = run.wire.iter().find(|c| c.source == Source::Can) {
        let serial = chunk.content == Content::Bytes;
        let kind = if serial { source_kind::SERIAL_CAN } else { "can" };
        let number = Source::Can as u16;
        writer.append_text(number, title::SOURCE_NAME, Source::Can.name()).expect("room");
        writer.append_text(number, title::SOURCE_KIND, kind).expect("room");
    }
}

/// Drives, judges and compares one random drive.
pub fn drive(seed: u64) -> Outcome {
    let random = random_drive(seed);
    outcome("random", seed, &random.plan, &random.vehicle_text)
}

/// The same for a vehicle that is turned by hand, with the sheet of who did it.
pub fn turned(seed: u64) -> Outcome {
    let random = random_hands(seed);
    let run = random.plan.run();
    let sheet = sheet_of(&run, seed);
    outcome_of("hands", seed, &random.plan, &run, (&random.vehicle_text, Some(&sheet)))
}

/// The same for a stress drive.
pub fn stress(kind: usize, seed: u64) -> Outcome {
    let plan = stress::plan(kind, seed);
    let text = toml::to_string(&plan.declared).expect("a vehicle is plain data");
    outcome(STRESSES[kind].0, seed, &plan, &text)
}

/// The same for a vehicle that is watched through its bus.
pub fn by_bus(seed: u64) -> Outcome {
    let random = random_bus(seed);
    outcome("bus", seed, &random.plan, &random.vehicle_text)
}

fn outcome(kind: &str, seed: u64, plan: &Plan, vehicle_text: &str) -> Outcome {
    outcome_of(kind, seed, plan, &plan.run(), (vehicle_text, None))
}

/// A run by its vehicle file and, where hands turned something, their sheet.
fn outcome_of(
    kind: &str,
    seed: u64,
    plan: &Plan,
    run: &Run,
    (vehicle_text, sheet): (&str, Option<&str>),
) -> Outcome {
    let mut reader = capture_of(run, vehicle_text);
    let beside = Beside { vehicle: None, hand: sheet.map(|text| (text, "hands.toml")) };
    let (result, _) = judge_beside(&mut reader, beside).expect("a simulated drive can be judged");
    let facts = facts(plan, run);
    let calls = result.claims.iter().filter_map(|c| call(c, &facts)).collect();
    let measured = measured(seed, plan, run, &result, &facts);
    Outcome { seed, kind: kind.into(), calls, measured }
}

/// The facts of a run. A request for the mode that is engaged already is no selection, and what a
/// board drops because its line is full is missing too.
fn facts(plan: &Plan, run: &Run) -> Vec<Fact> {
    let mut facts = run.truth.facts(&plan.declared);
    // A case stuck in rear-only moves its fork and switches, and engages nothing: whether that is a
    // completed selection is a matter of words.
    let stuck = plan.faults.contains(&Fault::StuckRearOnly);
    facts.retain(|f| {
        let same = f.claim == "selection-completes" && stuck
            || f.scope.split_once(" to ").is_some_and(|(from, to)| from == to);
        !(f.claim == "selection-completes" && same)
    });
    // Where hands turned something, what was driven in between is no turn.
    let turns = |f: &Fact| {
        let start = |s: f64| run.truth.periods.iter().find(|p| p.start_s == s);
        f.span_s.and_then(|s| start(s[0])).is_none_or(|p| let_through(p).is_some())
    };
    facts.retain(|f| {
        run.truth.hands.is_empty() || !f.claim.starts_with("center-") || by_hand(run, f) || turns(f)
    });
    // Once another mode was asked for, nobody speaks of this one any more.
    facts.retain(|f| f.claim != "center-locks" || !popped_after_next_request(run, f));
    for f in facts.iter_mut() {
        if f.claim == "capture-complete" {
            f.holds &= run.truth.board.dropped == 0;
        }
        if popped_s(run).is_some() && f.claim == "center-locks" && !by_hand(run, f) {
            // The request goes on; what happens after the lock popped out is part of it. Where the
            // outputs parted by no more than a lock that holds lets them, its play once each way,
            // they stayed together all the same.
            let play = 2.0 * plan.declared.limits.backlash_turn;
            let parted = |p: &PeriodTruth| p.let_go_range.is_some_and(|[a, b]| b - a > play);
            let showed = run.truth.periods.iter().any(|p| p.mode == f.scope && parted(p));
            (f.holds, f.value) = (!showed, None);
            continue;
        }
        let span = f.span_s.filter(|_| f.claim.starts_with("center-"));
        let period = span.and_then(|s| run.truth.periods.iter().find(|p| p.start_s == s[0]));
        if let (Some(y), Some(before)) = (period.and_then(let_through), f.value) {
            let within =
                |y: f64| f.limit[0].is_none_or(|l| y >= l) && f.limit[1].is_none_or(|l| y <= l);
            // What else the fact rests on (the front being coupled) stays.
            f.holds = within(y) && (f.holds || !within(before));
            f.value = Some(y);
        }
    }
    facts
}

/// Whether a fact is of a stretch in which a hand turned something.
fn by_hand(run: &Run, f: &Fact) -> bool {
    f.span_s.is_some_and(|[start_s, _]| run.truth.hands.iter().any(|h| h.start_s == start_s))
}

/// When a lock popped out.
fn popped_s(run: &Run) -> Option<f64> {
    let popped = |t: &&FaultTruth| matches!(t.fault, Fault::LockPopsOut { .. }) && t.count > 0;
    run.truth.faults.iter().find(popped)?.times_s.first().copied()
}

fn popped_after_next_request(run: &Run, f: &Fact) -> bool {
    let Some([start_s, end_s]) = f.span_s else { return false };
    let next = |s: &&SelectionTruth| s.requested_s > start_s && s.to != f.scope;
    let next_s = run.truth.selections.iter().find(next).map(|s| s.requested_s);
    next_s.zip(popped_s(run)).is_some_and(|(next, popped)| (next..end_s).contains(&popped))
}

/// Share of the demanded difference that the outputs showed in the turns of a period: counted
/// over free, both summed by the simulation. None where the turns demanded next to nothing, or
/// rear wheels drove alone.
fn let_through(p: &PeriodTruth) -> Option<f64> {
    // Teeth let nothing through; what moved is play, and play is no share of a demand.
    if p.real == Coupling::Locked {
        return (p.left.free_turn_part.abs() + p.right.free_turn_part.abs() > 1.0).then_some(0.0);
    }
    // No center differential is at work where nothing drives the front axle: it follows the road,
    // and what the rear wheels slip meanwhile is no share of a turn.
    if p.real == Coupling::RearOnly {
        return None;
    }
    let sum = |f: fn(&DriveSums) -> f64| f(&p.left) + f(&p.right);
    let demanded = sum(|s| s.free_turn_part.abs());
    let free = sum(|s| s.free_turn_part + s.free_distance_part);
    (demanded > 1.0 && free.abs() > 0.5 * demanded).then(|| sum(|s| s.counted) / free)
}

/// Whether a fault spoils what a pulse sensor counts: its estimates have no simple truth.
fn spoils_counts(plan: &Plan) -> bool {
    plan.faults.iter().any(|f| {
        matches!(
            f,
            Fault::NoiseEdges { .. } | Fault::BlindBelow { .. } | Fault::MissingPulses { .. }
        )
    })
}

/// Whether a stretch of the drive is not in the capture.
fn loses_a_stretch(plan: &Plan) -> bool {
    plan.faults.iter().any(|f| {
        matches!(
            f,
            Fault::LostStretch { .. }
                | Fault::MessageMissing { .. }
                | Fault::MessageNotAvailable { .. }
                | Fault::MessageInError { .. }
                | Fault::BusOff { .. }
                | Fault::LostFrames { .. }
        )
    })
}

/// Facts about a claim in its scope.
fn facts_of<'a>(claim: &Claim, facts: &'a [Fact]) -> Vec<&'a Fact> {
    facts
        .iter()
        .filter(|f| f.claim == claim.id)
        .filter(|f| match claim.id.as_str() {
            "selection-completes" => f.scope.ends_with(&format!(" to {}", claim.scope)),
            "sensors-agree" => claim.scope == format!("{} axle", f.scope),
            _ => f.scope == claim.scope,
        })
        .collect()
}

fn call(claim: &Claim, facts: &[Fact]) -> Option<Called> {
    let facts = facts_of(claim, facts);
    if facts.is_empty() {
        return None;
    }
    let holds = facts.iter().all(|f| f.holds);
    let right = match claim.verdict {
        Verdict::Undecided => None,
        Verdict::Proven => Some(holds),
        Verdict::Disproven => Some(!holds),
    };
    let u = claim.periods.iter().filter_map(|p| p.estimates.first()?.u).fold(0.0, f64::max);
    let near = |f: &&Fact| {
        let v = f.value.unwrap_or(f64::INFINITY);
        // What is counted exactly is near nothing.
        f.limit.iter().flatten().any(|l| u > 0.0 && (v - l).abs() <= u)
    };
    let call = match right {
        None => Call::Undecided,
        Some(true) => Call::Right,
        Some(false) if facts.iter().any(near) => Call::WrongNear,
        Some(false) => Call::Wrong,
    };
    let values: Vec<String> =
        facts.iter().map(|f| format!("{:?} {:?}", f.holds, f.value)).collect();
    let line = format!(
        "{:?} [{}] {} | truth {}",
        claim.verdict,
        claim.reason_code,
        claim.reason,
        values.join("; ")
    );
    let goal_met = goal_met(claim, &facts);
    Some(Called { claim: claim.id.clone(), scope: claim.scope.clone(), call, goal_met, line })
}

/// Estimates beside what the simulation knows of them.
fn measured(
    seed: u64,
    plan: &Plan,
    run: &Run,
    result: &DriveResult,
    facts: &[Fact],
) -> Vec<Measured> {
    if spoils_counts(plan) {
        return Vec::new();
    }
    let known = Known { plan, run, facts };
    let periods = result.claims.iter().flat_map(|c| c.periods.iter().map(move |p| (c, p)));
    let all = periods.filter_map(|(claim, period)| {
        let e = period.estimates.first()?;
        let (name, truth) = known.of(claim, period)?;
        let (value, u) = (e.value?, e.u?);
        let components = e.components.iter().map(|c| (c.name.clone(), c.u)).collect();
        Some(Measured { name, seed, error: value - truth, u, components })
    });
    all.collect()
}

/// What is known of a drive.
struct Known<'a> {
    plan: &'a Plan,
    run: &'a Run,
    facts: &'a [Fact],
}

impl Known<'_> {
    /// Name of the first estimate of a claim's period, and its true value where there is one.
    fn of(&self, claim: &Claim, period: &Period) -> Option<(String, f64)> {
        let first = period.estimates.first()?;
        let middle = (period.start_s + period.end_s) / 2.0;
        let fact = || facts_of(claim, self.facts).first().and_then(|f| f.value);
        let mut periods = self.run.truth.periods.iter();
        let truth = periods.find(|p| p.start_s < middle && middle < p.end_s);
        match claim.id.as_str() {
            // Of a lock that let go once another mode was asked for nobody speaks.
            "center-opens" | "center-locks" => {
                facts_of(claim, self.facts).first()?;
                Some((format!("allowance, {}", &claim.id[7..]), truth.and_then(let_through)?))
            }
            "front-driven"
                if first.name == "front share" && period.reason.starts_with("by hand") =>
            {
                Some(("front share, by hand".into(), self.share_by_hand(middle)?))
            }
            "front-driven" if first.name == "front share" => {
                let real = truth.map_or(Coupling::RearOnly, |t| t.real);
                Some((first.name.clone(), self.share_of(real)))
            }
            "tyres-match" => Some((self.of_tyres(&claim.scope), fact()?)),
            // Of what was lost nobody knows how fast it was: the estimate is of what was watched.
            // What a hand turned is no driving.
            "shafts-within-limit"
                if loses_a_stretch(self.plan) || !self.run.truth.hands.is_empty() =>
            {
                None
            }
            "shafts-within-limit" | "sender-scale" => Some((first.name.clone(), fact()?)),
            "no-wind-up" => {
                let of = |f: &&Fact| f.span_s.is_some_and(|s| s[0] < middle && middle < s[1]);
                let fact = facts_of(claim, self.facts).into_iter().find(of)?;
                Some((first.name.clone(), fact.value?))
            }
            "speedometer-true" => Some((first.name.clone(), self.shown_more(period)?)),
            "sensors-agree" => Some(("shaft-to-wheel ratio".into(), fact()?)),
            "range-ratio" => Some(("range ratio".into(), fact()?)),
            _ => None,
        }
    }

    /// The front's share of the drive while a hand turned something; a lock has none of its own.
    fn share_by_hand(&self, at_s: f64) -> Option<f64> {
        let h = self.run.truth.hands.iter().find(|h| h.start_s < at_s && at_s < h.end_s)?;
        (h.real != Coupling::Locked).then(|| self.share_of(h.real))
    }

    /// The front's share of the drive in what really couples; of a lock, that of its gears.
    fn share_of(&self, real: Coupling) -> f64 {
        match real {
            Coupling::RearOnly | Coupling::Neutral => 0.0,
            Coupling::FrontOnly => 1.0,
            Coupling::Differential | Coupling::Locked => self.run.truth.vehicle.front_share,
        }
    }

    fn of_tyres(&self, scope: &str) -> String {
        if scope != "front/rear" {
            return "circumference left/right".into();
        }
        let wheels = self.plan.declared.sensors.iter().any(|s| s.place == Place::RearLeft);
        format!("circumference {scope}{}", if wheels { "" } else { ", shafts" })
    }

    /// Shown less true speed at the speed of a period, by the true scale of the sender.
    fn shown_more(&self, period: &Period) -> Option<f64> {
        let percent = self.facts.iter().find(|f| f.claim == "sender-scale")?.value?;
        let speed = period.estimates.get(1)?.value?;
        let surplus = self.plan.declared.speedometer.as_ref().map_or(0.0, |s| s.surplus_percent);
        Some(speed * ((1.0 + percent / 100.0) * (1.0 + surplus / 100.0) - 1.0))
    }
}

/// Whether a claim's evidence goal is met: its estimates are as certain as the test cards ask for,
/// and the truth does not lie so near the limit that no drive could tell.
fn goal_met(claim: &Claim, facts: &[&Fact]) -> bool {
    let first = claim.periods.iter().filter_map(|p| p.estimates.first());
    let u = first.filter_map(|e| e.u).fold(f64::NAN, f64::max);
    let asked = match claim.id.as_str() {
        "center-opens" => 0.05,
        "center-locks" => 0.0175,
        "front-driven" | "torque-share" | "rear-driven" => 0.02,
        "tyres-match" => 1.0,
        "sensors-agree" | "axle-ratios-match" | "range-ratio" => 0.1,
        "shafts-within-limit" => 0.015,
        "sender-scale" => 0.15,
        "speedometer-true" => 0.1,
        _ => return false,
    };
    let far = |f: &&Fact| {
        let v = f.value.unwrap_or(f64::INFINITY);
        f.limit.iter().flatten().all(|l| (v - l).abs() > 4.0 * u)
    };
    // A stretch that nobody watched may have been the fastest: no estimate tells of it.
    let beside_u = ["front-coupling-not-shown", "slip-may-cancel", "not-watched"];
    u <= asked && facts.iter().all(far) && !beside_u.contains(&claim.reason_code.as_str())
}
