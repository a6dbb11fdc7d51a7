//! Many drives with known truth: are the verdicts right, and are the uncertainties honest?

use crate::by_bus::random_bus;
use crate::hands::{random_hands, sheet_of};
use crate::stress::{self, STRESSES};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt::Write;
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

/// Root mean square of error over uncertainty.
fn rms(of: &[&Measured], u: impl Fn(&Measured) -> f64) -> f64 {
    let sum: f64 = of.iter().map(|m| (m.error / u(m)).powi(2)).sum();
    (sum / of.len().max(1) as f64).sqrt()
}

/// A rule of the campaign that is broken.
#[derive(Debug)]
pub struct Failure {
    /// What broke it: the same drive or estimate breaks it under the same name.
    pub name: String,
    /// With the numbers, for a person.
    pub text: String,
    /// Whether errors are larger than the uncertainty promises.
    pub too_certain: bool,
}

/// What a campaign found, judged.
#[derive(Debug)]
pub struct Report {
    /// The tables, for a person.
    pub text: String,
    /// What went against the campaign's rules; empty when it passed.
    pub failures: Vec<Failure>,
}

/// Root mean square of error over uncertainty that honest uncertainties may have.
pub const RMS_MIN: f64 = 0.5;
/// See [`RMS_MIN`].
pub const RMS_MAX: f64 = 1.05;
/// Fewer estimates than this say nothing about an uncertainty.
const ENOUGH: usize = 25;
/// Share of its variance from which a component dominates an estimate.
const DOMINATES: f64 = 0.4;
/// Share of the claims that a drive must decide once its evidence goals are met.
const DECIDED_MIN: f64 = 0.95;

/// Judges a campaign: no wrong verdict, honest uncertainties, and decisions where the evidence is
/// in. `without` names an uncertainty component that is taken off everywhere, to see that the
/// campaign would notice.
pub fn report(outcomes: &[Outcome], without: Option<&str>) -> Report {
    let mut r = Report { text: String::new(), failures: Vec::new() };
    verdict_table(outcomes, &mut r);
    estimate_table(outcomes, without, &mut r);
    decision_table(outcomes, &mut r);
    r
}

fn verdict_table(outcomes: &[Outcome], r: &mut Report) {
    let mut calls: BTreeMap<&str, BTreeMap<Call, usize>> = BTreeMap::new();
    for c in outcomes.iter().flat_map(|o| &o.calls) {
        *calls.entry(&c.claim).or_default().entry(c.call).or_default() += 1;
    }
    let head = ("claim", "right", "wrong", "wrong near", "undecided");
    let _ =
        writeln!(r.text, "{:<22}{:>7}{:>7}{:>12}{:>11}", head.0, head.1, head.2, head.3, head.4);
    for (claim, n) in &calls {
        let of = |c: Call| n.get(&c).copied().unwrap_or(0);
        let (right, wrong) = (of(Call::Right), of(Call::Wrong));
        let (near, undecided) = (of(Call::WrongNear), of(Call::Undecided));
        let _ = writeln!(r.text, "{claim:<22}{right:>7}{wrong:>7}{near:>12}{undecided:>11}");
    }
    for (o, c) in outcomes.iter().flat_map(|o| o.calls.iter().map(move |c| (o, c))) {
        if c.call == Call::Wrong {
            let name = format!("{} {}: {} ({})", o.kind, o.seed, c.claim, c.scope);
            let text = format!("{name}: {}", c.line);
            r.failures.push(Failure { name, text, too_certain: false });
        }
    }
}

fn estimate_table(outcomes: &[Outcome], without: Option<&str>, r: &mut Report) {
    let u = |m: &Measured| match without {
        None => m.u,
        Some(name) => {
            let rest = m.components.iter().filter(|c| c.0 != name);
            rest.map(|c| c.1 * c.1).sum::<f64>().sqrt().max(1e-12)
        }
    };
    let mut groups: BTreeMap<String, Vec<&Measured>> = BTreeMap::new();
    for (o, m) in outcomes.iter().flat_map(|o| o.measured.iter().map(move |m| (o, m))) {
        // A stress keeps everything quiet but one thing: what it does not stress is too certain to
        // say whether an uncertainty is honest, so it makes no whole groups.
        match o.kind.as_str() {
            "random" | "hands" => groups.entry(m.name.clone()).or_default().push(m),
            "bus" => groups.entry(format!("{}, by bus", m.name)).or_default().push(m),
            kind => {
                groups.entry(format!("{}, stress by {kind}", m.name)).or_default().push(m);
            }
        }
        // Where a stress moved another number, that one is what a large error would tell of.
        let told = |name: &str| ["random", "hands", "bus", name].contains(&o.kind.as_str());
        let dominates = |c: f64| c * c > DOMINATES * m.u * m.u;
        for (name, _) in m.components.iter().filter(|(name, c)| dominates(*c) && told(name)) {
            groups.entry(format!("{}, mostly {name}", m.name)).or_default().push(m);
        }
    }
    let _ = writeln!(
        r.text,
        "\n{:<52}{:>6}{:>9}{:>10}{:>9}",
        "estimate", "n", "RMS e/u", "bias e/u", "cover95"
    );
    for (name, of) in &groups {
        let (n, spread) = (of.len(), rms(of, u));
        let bias = of.iter().map(|m| m.error / u(m)).sum::<f64>() / n as f64;
        let inside = of.iter().filter(|m| m.error.abs() <= 2.0 * u(m)).count();
        let cover = 100.0 * inside as f64 / n as f64;
        let _ = writeln!(r.text, "{name:<52}{n:>6}{spread:>9.2}{bias:>+10.2}{cover:>8.1}%");
        // What units on a bus leave open is seldom as bad as it may be.
        let picked = [", mostly ", ", stress by ", ", by bus"];
        let whole = !picked.iter().any(|p| name.contains(p));
        // A root mean square has a standard error itself. It excuses what is too cautious, and what
        // is too certain only in groups that are picked after the fact.
        let error = 1.0 / (2.0 * n as f64).sqrt();
        let too_certain = spread > if whole { RMS_MAX } else { RMS_MAX + error };
        let too_cautious = whole && spread * (1.0 + error) < RMS_MIN;
        if n >= ENOUGH && (too_certain || too_cautious) {
            let text = format!("{name}: RMS of error over uncertainty {spread:.2} in {n}");
            r.failures.push(Failure { name: name.clone(), text, too_certain });
        }
    }
}

fn decision_table(outcomes: &[Outcome], r: &mut Report) {
    // The goals are those of driving; a hand has none.
    let driven = outcomes.iter().filter(|o| o.kind != "hands");
    let met: Vec<&Called> = driven.flat_map(|o| &o.calls).filter(|c| c.goal_met).collect();
    let decided = met.iter().filter(|c| c.call != Call::Undecided).count();
    let share = decided as f64 / met.len().max(1) as f64;
    let (all, percent) = (met.len(), 100.0 * share);
    let _ = writeln!(
        r.text,
        "\ndecided where the evidence goal is met: {decided} of {all} ({percent:.1} %)"
    );
    if all >= ENOUGH && share < DECIDED_MIN {
        let text = format!("only {percent:.1} % decided where the evidence goal is met");
        r.failures.push(Failure { name: "decided".into(), text, too_certain: false });
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
    let told_apart =
        !["front-coupling-not-shown", "slip-may-cancel"].contains(&claim.reason_code.as_str());
    u <= asked && facts.iter().all(far) && told_apart
}
