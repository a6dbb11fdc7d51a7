//! `capture-complete`: numbered sources prove it by their numbers up to a closing one; the others
//! can only say that no loss is visible.

use super::Finding;
use crate::assemble::Drive;
use crate::result::{Period, RecordRange, Reported, Verdict};
use crate::sleep::Sleep;
use crate::survey::Source;
use wheelwitness_capture::wall::ClockSet;
use wheelwitness_driveline::quantity::Estimate;

/// One finding per source.
pub fn judge(drive: &Drive) -> Vec<Finding> {
    if drive.survey.sources.is_empty() {
        return vec![Finding::undecided(
            "all sources",
            "no-source",
            "the capture holds no source".into(),
            "record a drive with at least one source connected".into(),
        )];
    }
    let told = drive.survey.clock_sets.told();
    let of = |source| {
        let finding = one(drive, source).shown_by(periods(drive, source));
        let reason = std::iter::once(finding.reason).chain(told.clone());
        Finding { reason: reason.collect::<Vec<_>>().join("; "), ..finding }
    };
    drive.survey.sources.values().map(of).collect()
}

fn one(drive: &Drive, source: &Source) -> Finding {
    let name = source.info.name.as_str();
    let damaged: u64 = source.info.faults.values().sum();
    if source.info.accepted == 0 {
        let next = "check baud rate and wiring: `wheelwitness ports` lists what is connected";
        let reason = "not one valid sentence or frame arrived".to_string();
        return Finding::undecided(name, "nothing-understood", reason, next.into());
    }
    if drive.survey.dropped_records > 0 {
        let n = drive.survey.dropped_records;
        let reason = format!("the recorder had to let go of {n} records (storage too slow)");
        return Finding::decided(name, Verdict::Disproven, "recorder-dropped", reason);
    }
    if source.lost > 0 {
        let reason = format!("{} frames or records of it were lost before the disk", source.lost);
        return Finding::decided(name, Verdict::Disproven, "counted-losses", reason);
    }
    let finding = match (source.board, source.can) {
        (true, false) => return board(drive, source),
        (_, true) => bus(drive, source, damaged),
        (false, false) => unnumbered(drive, source, damaged),
    };
    // Nobody counted what was sent to a computer that slept.
    match asleep(drive).filter(|_| finding.verdict == Verdict::Proven) {
        Some(reason) => Finding::undecided(name, "computer-slept", reason, STAY_AWAKE.into()),
        None => finding,
    }
}

const STAY_AWAKE: &str = "keep the computer awake (lid open, no sleep on idle) and record again";

/// What to say of sleep, if there was any.
fn asleep(drive: &Drive) -> Option<String> {
    let sleeps = drive.survey.sleeps.found();
    let total_s: f64 = sleeps.iter().map(|s| s.slept_ns as f64 * 1e-9).sum();
    let times = match sleeps.len() {
        0 => return None,
        1 => "once".to_owned(),
        n => format!("{n} times"),
    };
    Some(format!("the computer slept {times}, {total_s:.2} s in all; nothing was received then"))
}

fn board(drive: &Drive, source: &Source) -> Finding {
    let name = source.info.name.as_str();
    let totals = source.track.sequence.totals();
    let gone = totals.lost + totals.dropped_by_board;
    if gone > 0 {
        let reason = format!(
            "{} sentences did not arrive, {} were dropped by the board",
            totals.lost, totals.dropped_by_board
        );
        return Finding::decided(name, Verdict::Disproven, "sentences-missing", reason);
    }
    let doubt = if totals.restarts > 0 {
        Some((
            "board-restarted",
            format!(
                "the board began anew {} times; what it had not sent by then is unknown",
                totals.restarts
            ),
        ))
    } else if !drive.survey.holes.is_empty() {
        Some((
            "holes-in-capture",
            format!("{} stretches of the capture cannot be read", drive.survey.holes.len()),
        ))
    } else if !source.track.sequence.is_closed() {
        Some(("no-closing-sentence", "the board's closing sentence is not in the capture".into()))
    } else {
        None
    };
    match doubt {
        Some((code, reason)) => Finding::undecided(
            name,
            code,
            reason,
            "record the drive again and end it with Ctrl-C, so that the board can close".into(),
        ),
        None => Finding::decided(
            name,
            Verdict::Proven,
            "numbers-complete",
            format!(
                "all {} sentences up to the closing one arrived{}",
                totals.received,
                match totals.switch_edges_unsent {
                    0 => String::new(),
                    n => format!(" ({n} edges of bouncing switches were counted, not sent)"),
                }
            ),
        ),
    }
}

/// A bus: the kernel counts what it drops; what the controller itself missed, it reports.
fn bus(drive: &Drive, source: &Source, damaged: u64) -> Finding {
    let name = source.info.name.as_str();
    // An error on the bus makes the sender repeat: no frame is missing for it.
    let errors = source.info.faults.get("CAN error frame").copied().unwrap_or(0);
    let filtered = match &source.filters {
        Some(filters) => format!(", of those that pass the filters set ({filters})"),
        None => String::new(),
    };
    if source.bus_off > 0 || damaged > errors || source.info.interruptions > 0 {
        let reason = format!(
            "{} damaged records, {} interruptions, {} times off the bus",
            damaged - errors,
            source.info.interruptions,
            source.bus_off
        );
        return Finding::decided(name, Verdict::Disproven, "loss-visible", reason);
    }
    if !drive.survey.holes.is_empty() {
        let reason = "parts of the capture cannot be read".into();
        let next = "record the drive again on a sound medium".into();
        return Finding::undecided(name, "holes-in-capture", reason, next);
    }
    let reason = format!("no loss is visible in {} frames{filtered}", source.info.accepted);
    Finding::decided(name, Verdict::Proven, "no-loss-visible", reason)
}

fn unnumbered(drive: &Drive, source: &Source, damaged: u64) -> Finding {
    let name = source.info.name.as_str();
    if damaged > 0 || source.info.interruptions > 0 {
        let reason =
            format!("{damaged} damaged sentences and {} interruptions", source.info.interruptions);
        return Finding::decided(name, Verdict::Disproven, "loss-visible", reason);
    }
    if !drive.survey.holes.is_empty() {
        let reason = "parts of the capture cannot be read".into();
        let next = "record the drive again on a sound medium".into();
        return Finding::undecided(name, "holes-in-capture", reason, next);
    }
    let reason = format!(
        "no loss is visible in {} sentences (this source does not number them)",
        source.info.accepted
    );
    Finding::decided(name, Verdict::Proven, "no-loss-visible", reason)
}

/// The whole recording, then every sleep in it, with its true length, and every setting of the
/// clock.
fn periods(drive: &Drive, source: &Source) -> Vec<Period> {
    let zero_ns = drive.survey.span_ns.map_or(0, |s| s.0);
    let at_s = |ns: i64| ns.saturating_sub(zero_ns) as f64 * 1e-9;
    let told = |stretch_ns: [i64; 2], verdict, reason: &str, name: &str, value_ns: i64| Period {
        start_s: at_s(stretch_ns[0]),
        end_s: at_s(stretch_ns[1]),
        verdict,
        reason: reason.into(),
        estimates: vec![Reported::from(&Estimate {
            name: name.into(),
            value: value_ns as f64 * 1e-9,
            unit: "s".into(),
            components: Vec::new(),
        })],
        evidence: Vec::new(),
    };
    let sleep = |s: &Sleep| {
        let (stretch_ns, why) = ([s.from_ns, s.to_ns], "the computer slept");
        told(stretch_ns, Verdict::Undecided, why, "slept", s.slept_ns)
    };
    let sleeps = drive.survey.sleeps.found().iter().take(SLEEPS_SHOWN).map(sleep);
    let whole = shown(drive, source);
    let set = |s: &ClockSet| {
        let why = "the clock of the computer was set; nothing is missing for that";
        let stretch_ns = [s.before.boot_ns, s.after.boot_ns];
        told(stretch_ns, whole.verdict, why, "set forward by", s.by_ns)
    };
    let sets: Vec<_> = drive.survey.clock_sets.found().iter().take(SETS_SHOWN).map(set).collect();
    std::iter::once(whole).chain(sleeps).chain(sets).collect()
}

/// As many are listed one by one.
const SLEEPS_SHOWN: usize = 20;
const SETS_SHOWN: usize = 20;

fn shown(drive: &Drive, source: &Source) -> Period {
    let totals = source.track.sequence.totals();
    let count = |name: &str, value: u64| {
        Reported::from(&Estimate {
            name: name.into(),
            value: value as f64,
            unit: "sentences".into(),
            components: Vec::new(),
        })
    };
    let mut estimates = vec![count("accepted", source.info.accepted)];
    if source.can {
        let lost = Reported { unit: "frames".into(), ..count("lost", source.lost) };
        estimates = vec![lost, Reported { unit: "frames".into(), ..estimates.remove(0) }];
    }
    if source.board {
        estimates.insert(0, count("missing", totals.lost + totals.dropped_by_board));
    }
    let length_s = drive.survey.duration_s().unwrap_or(0.0);
    Period {
        start_s: 0.0,
        end_s: length_s,
        verdict: one(drive, source).verdict,
        reason: "the whole recording".into(),
        estimates,
        evidence: vec![RecordRange { first: source.records.0, last: source.records.1 }],
    }
}
