//! Many drives with known truth: are the verdicts right, and are the uncertainties honest?

use std::collections::BTreeMap;
use wheelwitness_analyze::judge::judge;
use wheelwitness_analyze::result::{Claim, DriveResult, Reported, Verdict};
use wheelwitness_capture::clock::{SimClock, Stamp};
use wheelwitness_capture::read::CaptureReader;
use wheelwitness_capture::record::{Kind, RECORDER, RecordingId, Text, title};
use wheelwitness_capture::storage::SimStorage;
use wheelwitness_capture::write::{Limits, Writer};
use wheelwitness_rig::facts::Fact;
use wheelwitness_rig::random_drive::{Close, Fit, random_drive};
use wheelwitness_rig::truth::{DriveSums, PeriodTruth};
use wheelwitness_rig::{Fault, Plan, Run, Source};

/// How one claim came out against the truth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
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
#[derive(Debug, Clone)]
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

/// What one drive showed.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// Seed.
    pub seed: u64,
    /// Fit.
    pub fit: Fit,
    /// The limit that the truth was put close to.
    pub close: Close,
    /// Claim, scope, what became of it, a line for a person.
    pub calls: Vec<(String, String, Call, String)>,
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
            for source in [Source::Board, Source::Gnss] {
                writer.append_text(source as u16, title::SOURCE_NAME, source.name()).expect("room");
            }
        }
        writer.append(chunk.source as u16, Kind::Bytes, chunk.boot_ns, &chunk.bytes).expect("room");
        writer.pump();
    }
    writer.close();
    CaptureReader::from_storage(storage).expect("what was just written can be read")
}

/// Drives, judges and compares one seed.
pub fn drive(seed: u64) -> Outcome {
    let random = random_drive(seed);
    let run = random.plan.run();
    let mut reader = capture_of(&run, &random.vehicle_text);
    let (result, _) = judge(&mut reader, None).expect("a random drive can be judged");
    let facts = facts(&random.plan, &run);
    let calls = result.claims.iter().filter_map(|c| call(c, &facts)).collect();
    let measured = measured(seed, &random.plan, &run, &result, &facts);
    Outcome { seed, fit: random.fit, close: random.close, calls, measured }
}

/// The facts of a run. A request for the mode that is engaged already is no selection, and what a
/// board drops because its line is full is missing too.
fn facts(plan: &Plan, run: &Run) -> Vec<Fact> {
    let mut facts = run.truth.facts(&plan.declared);
    facts.retain(|f| {
        let same = f.scope.split_once(" to ").is_some_and(|(from, to)| from == to);
        !(f.claim == "selection-completes" && same)
    });
    for f in facts.iter_mut() {
        if f.claim == "capture-complete" {
            f.holds &= run.truth.board.dropped == 0;
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

/// Share of the demanded difference that the outputs showed in the turns of a period: counted
/// over free, both summed by the simulation. None where the turns demanded next to nothing.
fn let_through(p: &PeriodTruth) -> Option<f64> {
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

fn call(claim: &Claim, facts: &[Fact]) -> Option<(String, String, Call, String)> {
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
        f.limit.iter().flatten().any(|l| (v - l).abs() <= u)
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
    Some((claim.id.clone(), claim.scope.clone(), call, line))
}

fn measured(
    seed: u64,
    plan: &Plan,
    run: &Run,
    result: &DriveResult,
    facts: &[Fact],
) -> Vec<Measured> {
    let mut all = Vec::new();
    if spoils_counts(plan) {
        return all;
    }
    let mut push = |name: &str, e: &Reported, truth: f64| {
        let (Some(value), Some(u)) = (e.value, e.u) else { return };
        let components = e.components.iter().map(|c| (c.name.clone(), c.u)).collect();
        all.push(Measured { name: name.into(), seed, error: value - truth, u, components });
    };
    for claim in &result.claims {
        for period in &claim.periods {
            let Some(first) = period.estimates.first() else { continue };
            let middle = (period.start_s + period.end_s) / 2.0;
            match claim.id.as_str() {
                "center-opens" | "center-locks" => {
                    let truth =
                        run.truth.periods.iter().find(|p| p.start_s < middle && middle < p.end_s);
                    if let Some(y) = truth.and_then(let_through) {
                        push(&format!("allowance, {}", &claim.id[7..]), first, y);
                    }
                }
                "front-driven" if first.name == "front share" => {
                    let truth =
                        run.truth.periods.iter().find(|p| p.start_s < middle && middle < p.end_s);
                    let coupled = truth.is_some_and(|t| {
                        t.real != wheelwitness_driveline::vehicle::Coupling::RearOnly
                    });
                    push(
                        "front share",
                        first,
                        if coupled { run.truth.vehicle.front_share } else { 0.0 },
                    );
                }
                "tyres-match" => {
                    if let Some(f) =
                        facts.iter().find(|f| f.claim == claim.id && f.scope == claim.scope)
                    {
                        let kind =
                            if claim.scope == "front/rear" { "front/rear" } else { "left/right" };
                        let fit = if kind == "left/right" || plan.declared.sensors.len() != 3 {
                            ""
                        } else {
                            ", shafts"
                        };
                        push(
                            &format!("circumference {kind}{fit}"),
                            first,
                            f.value.unwrap_or(f64::NAN),
                        );
                    }
                }
                "sensors-agree" => {
                    if let Some(f) = facts_of(claim, facts).first() {
                        push("shaft-to-wheel ratio", first, f.value.unwrap_or(f64::NAN));
                    }
                }
                _ => {}
            }
        }
    }
    all
}

/// Root mean square of error over uncertainty, and how many.
pub fn rms<'a>(
    of: impl Iterator<Item = &'a Measured>,
    u: impl Fn(&Measured) -> f64,
) -> (f64, usize) {
    let (mut sum, mut n) = (0.0, 0);
    for m in of {
        sum += (m.error / u(m)).powi(2);
        n += 1;
    }
    ((sum / n.max(1) as f64).sqrt(), n)
}

/// The table of a campaign.
pub fn table(outcomes: &[Outcome]) -> String {
    use std::fmt::Write;
    let mut out = String::new();
    let mut calls: BTreeMap<&str, BTreeMap<Call, usize>> = BTreeMap::new();
    for o in outcomes {
        for (claim, _, call, _) in &o.calls {
            *calls.entry(claim).or_default().entry(*call).or_default() += 1;
        }
    }
    let _ = writeln!(
        out,
        "{:<22}{:>7}{:>7}{:>12}{:>11}",
        "claim", "right", "wrong", "wrong near", "undecided"
    );
    for (claim, n) in &calls {
        let of = |c: Call| n.get(&c).copied().unwrap_or(0);
        let _ = writeln!(
            out,
            "{claim:<22}{:>7}{:>7}{:>12}{:>11}",
            of(Call::Right),
            of(Call::Wrong),
            of(Call::WrongNear),
            of(Call::Undecided)
        );
    }
    let mut names: Vec<&str> =
        outcomes.iter().flat_map(|o| &o.measured).map(|m| m.name.as_str()).collect();
    names.sort();
    names.dedup();
    let _ = writeln!(
        out,
        "\n{:<28}{:>6}{:>9}{:>10}{:>9}",
        "estimate", "n", "RMS e/u", "bias e/u", "cover95"
    );
    for name in names {
        let of: Vec<&Measured> =
            outcomes.iter().flat_map(|o| &o.measured).filter(|m| m.name == name).collect();
        let (r, n) = rms(of.iter().copied(), |m| m.u);
        let bias = of.iter().map(|m| m.error / m.u).sum::<f64>() / n as f64;
        let cover = of.iter().filter(|m| m.error.abs() <= 2.0 * m.u).count() as f64 / n as f64;
        let _ = writeln!(out, "{name:<28}{n:>6}{r:>9.2}{bias:>+10.2}{:>8.1}%", 100.0 * cover);
    }
    out
}
