//! Three witnesses of the mode held against each other: what was requested, what the switches
//! say, what the shafts did.
//!
//! While a change may be under way (for the limit of a selection after its request) request and
//! switches are not held against each other. The shafts speak about whole stretches, and only
//! about stretches that lie within one mode of the other witness.

use crate::motion::Motions;
use crate::result::{Conflict, RecordRange, Sureness, Witness, WitnessSpan, Witnesses};
use wheelwitness_driveline::selection::{CouplingSeen, ModeSpan, Timeline};
use wheelwitness_driveline::vehicle::{Coupling, Vehicle};

/// Disagreements shorter than this are a change on its way, seconds (common practice).
const SHORT_S: f64 = 0.5;
/// Rear output turns that tell neutral from standing, and the part of them that an input in
/// neutral may turn along by drag (common practice).
const NEUTRAL_TURN: f64 = 5.0;
const DRAGGED: f64 = 0.02;

/// What each witness says over time, and where two of them differ.
pub fn witnesses(
    vehicle: &Vehicle,
    timeline: &Timeline,
    motions: &Motions,
    seen: &[CouplingSeen],
) -> Witnesses {
    let requested: Vec<WitnessSpan> = timeline
        .requests
        .iter()
        .map(|r| {
            let couplings = coupling(vehicle, &r.mode).into_iter().collect();
            let mode = Some(r.mode.clone());
            span((r.start_s, r.end_s), mode, couplings, Sureness::Sure, None)
        })
        .collect();
    let known = timeline.modes.iter().filter(|m| m.known);
    let switches: Vec<WitnessSpan> = known.map(|m| by_switches(timeline, m)).collect();
    let mut shafts: Vec<WitnessSpan> = seen.iter().map(by_shafts).collect();
    shafts.extend(in_neutral(motions));
    shafts.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    let patience_s = vehicle.limits.selection_s;
    let settled: Vec<WitnessSpan> = requested
        .iter()
        .map(|r| WitnessSpan {
            start_s: r.start_s + after_edge(timeline, r, patience_s),
            ..r.clone()
        })
        .filter(|r| r.end_s > r.start_s)
        .collect();
    let mut conflicts = named(&settled, &switches);
    conflicts.extend(contradicted(Witness::Requested, &settled, &shafts));
    conflicts.extend(contradicted(Witness::Switches, &switches, &shafts));
    conflicts.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    Witnesses { requested, switches, shafts, conflicts }
}

/// A request that stood when the recording began was no change.
fn after_edge(timeline: &Timeline, r: &WitnessSpan, patience_s: f64) -> f64 {
    let edge = |s: &wheelwitness_driveline::selection::Selection| {
        (s.request.first_s - r.start_s).abs() < 1e-6
    };
    if timeline.selections.iter().any(edge) { patience_s } else { 0.0 }
}

fn coupling(vehicle: &Vehicle, mode: &str) -> Option<Coupling> {
    vehicle.mode(mode).map(|m| m.coupling)
}

fn span(
    (start_s, end_s): (f64, f64),
    mode: Option<String>,
    couplings: Vec<Coupling>,
    sureness: Sureness,
    records: Option<(u64, u64)>,
) -> WitnessSpan {
    let evidence = records.map(|(first, last)| RecordRange { first, last }).into_iter().collect();
    WitnessSpan { start_s, end_s, mode, couplings, sureness, evidence }
}

/// Sure where the limit contacts and the lamps do not contradict the position switches.
fn by_switches(timeline: &Timeline, m: &ModeSpan) -> WitnessSpan {
    let within = |p: &&wheelwitness_driveline::selection::RowPeriod| {
        Some(&p.mode) == m.mode.as_ref() && p.requested_s < m.end_s && p.ended_s > m.start_s
    };
    let agree = timeline.row_periods.iter().filter(within).any(|p| {
        p.limits_fit != Some(false) && p.lamps_fit != Some(false) && p.disagreements.is_empty()
    });
    let sureness = if agree { Sureness::Sure } else { Sureness::Partly };
    let couplings = m.coupling.into_iter().collect();
    span((m.start_s, m.end_s), m.mode.clone(), couplings, sureness, None)
}

/// Sure where one coupling alone fits by the factor of a verdict.
fn by_shafts(s: &CouplingSeen) -> WitnessSpan {
    let sureness = if s.possible.len() == 1 { Sureness::Sure } else { Sureness::Partly };
    span((s.start_s, s.end_s), None, s.possible.clone(), sureness, Some(s.records))
}

/// Outputs that turn while the input stands: neutral, or an input sensor that is silent.
fn in_neutral(motions: &Motions) -> Vec<WitnessSpan> {
    let one = |p: &crate::motion::Period| {
        let rolling = || p.segments.iter().filter(|s| !s.lifted);
        let (rear, input) = (p.rear_turn, p.input_turn?);
        let (first, last) = (rolling().next()?, rolling().next_back()?);
        let stretch = (first.start_us as f64 * 1e-6, last.end_us as f64 * 1e-6);
        let records = Some((p.records.first, p.records.last));
        let stands = rear > NEUTRAL_TURN && input.abs() < DRAGGED * rear;
        let sureness = Sureness::Partly;
        stands.then(|| span(stretch, None, vec![Coupling::Neutral], sureness, records))
    };
    motions.periods.iter().filter_map(one).collect()
}

/// Where the switches show another mode than the request, or none.
fn named(requested: &[WitnessSpan], switches: &[WitnessSpan]) -> Vec<Conflict> {
    let mut found: Vec<Conflict> = Vec::new();
    for r in requested {
        for s in switches.iter().filter(|s| s.start_s < r.end_s && s.end_s > r.start_s) {
            let (start_s, end_s) = (s.start_s.max(r.start_s), s.end_s.min(r.end_s));
            if s.mode == r.mode || end_s - start_s < SHORT_S {
                continue;
            }
            found.push(Conflict {
                start_s,
                end_s,
                between: [Witness::Requested, Witness::Switches],
                says: [told(r), told(s)],
            });
        }
    }
    found
}

/// Where the shafts show none of what the other witness says.
fn contradicted(who: Witness, others: &[WitnessSpan], shafts: &[WitnessSpan]) -> Vec<Conflict> {
    let one = |s: &WitnessSpan| {
        let around = |o: &&WitnessSpan| o.start_s <= s.start_s && o.end_s >= s.end_s;
        let other = others.iter().find(around).filter(|o| !o.couplings.is_empty())?;
        let fits = other.couplings.iter().any(|c| s.couplings.contains(c));
        (!fits).then(|| Conflict {
            start_s: s.start_s,
            end_s: s.end_s,
            between: [who, Witness::Shafts],
            says: [told(other), told(s)],
        })
    };
    shafts.iter().filter_map(one).collect()
}

/// What a witness says, in words.
fn told(s: &WitnessSpan) -> String {
    let couplings: Vec<&str> =
        s.couplings.iter().map(|c| crate::report::words::coupling(*c)).collect();
    match (&s.mode, couplings.is_empty()) {
        (None, _) if s.couplings == [Coupling::Neutral] => "neutral, or a silent input".into(),
        (Some(mode), _) => mode.clone(),
        (None, true) => "no row matches".into(),
        (None, false) => couplings.join(" or "),
    }
}
