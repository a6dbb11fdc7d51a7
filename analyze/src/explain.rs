//! From a number in the report back to the raw records it rests on, and forward again.

use crate::assemble::{Beside, Drive, JudgeError, assemble};
use crate::axis::{Axis, Heard};
use crate::bus::{Bus, Role};
use crate::judge::result_of;
use crate::learning::edges_per_turn;
use crate::motion::Period as Engagement;
use crate::report::words;
use crate::result::{DriveResult, Period, RecordRange, Reported};
use crate::sound::place;
use crate::survey::readings;
use std::fmt::Write;
use wheelwitness_capture::board::{Says, Sentence};
use wheelwitness_capture::can::Received;
use wheelwitness_capture::decode::Value;
use wheelwitness_capture::read::{CaptureReader, Item, ReadError};
use wheelwitness_capture::record::Kind;
use wheelwitness_capture::storage::Storage;
use wheelwitness_driveline::signal::Said;
use wheelwitness_driveline::vehicle::{Place, Sensor};

/// What is to be explained, by the numbers that the report prints.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Target {
    /// A claim, and one of its periods.
    Claim {
        /// Number of the claim in the result, from 1.
        claim: usize,
        /// Number of the period, from 1.
        period: usize,
    },
    /// A selection by its number.
    Selection(u32),
}

/// Why nothing was explained.
#[derive(Debug, thiserror::Error)]
pub enum ExplainError {
    /// The capture has no result.
    #[error(transparent)]
    Judge(#[from] JudgeError),
    /// There is nothing of that number.
    #[error("{0}")]
    NoSuch(String),
}

impl From<ReadError> for ExplainError {
    fn from(e: ReadError) -> Self {
        ExplainError::Judge(e.into())
    }
}

/// Raw lines shown at each end of a range.
const LINES_SHOWN: usize = 4;

/// Walks a number back to raw records and recomputes it from them. `printed` is the result that
/// the reader has in hand, to be compared with what the capture gives now.
pub fn explain<S: Storage>(
    reader: &mut CaptureReader<S>,
    beside: Beside<'_>,
    target: Target,
    printed: Option<&DriveResult>,
) -> Result<String, ExplainError> {
    let drive = assemble(reader, beside)?;
    let now = result_of(&drive, reader)?;
    match target {
        Target::Claim { claim, period } => {
            claim_text(reader, &drive, &now, (claim, period), printed)
        }
        Target::Selection(number) => selection_text(reader, &now, number),
    }
}

fn claim_text<S: Storage>(
    reader: &mut CaptureReader<S>,
    drive: &Drive,
    now: &DriveResult,
    (claim, period): (usize, usize),
    printed: Option<&DriveResult>,
) -> Result<String, ExplainError> {
    let pick = |result: &DriveResult| -> Option<(String, Period)> {
        let c = result.claims.get(claim.checked_sub(1)?)?;
        let p = c.periods.get(period.checked_sub(1)?)?;
        let title = format!("{} ({}): {}", c.id, c.scope, words::verdict(c.verdict));
        Some((title, p.clone()))
    };
    let (title, p) = pick(now).ok_or_else(|| no_such(now, claim))?;
    let mut out = format!("{}\n{}\n", words::visible(&title), words::stretch(p.start_s, p.end_s));
    estimates(&mut out, &p);
    compare(&mut out, &p, printed.and_then(&pick).map(|(_, p)| p).as_ref());
    let start_us = (p.start_s * 1e6).round() as i64;
    if let Some(e) = drive.motions.periods.iter().find(|e| e.engaged.start_us == start_us) {
        rows(&mut out, e);
    }
    for range in &p.evidence {
        recount(reader, drive, *range, &p, &mut out)?;
        resum(reader, drive, *range, &mut out)?;
        raw(reader, *range, &mut out)?;
    }
    Ok(out)
}

fn no_such(result: &DriveResult, claim: usize) -> ExplainError {
    let known = match claim.checked_sub(1).and_then(|k| result.claims.get(k)) {
        Some(c) if c.periods.is_empty() => {
            format!("claim {claim} ({}) rests on no period: {}", c.id, c.reason)
        }
        Some(c) => format!("claim {claim} ({}) has periods 1 to {}", c.id, c.periods.len()),
        None => format!("there are claims 1 to {}", result.claims.len()),
    };
    ExplainError::NoSuch(words::visible(&known))
}

fn estimates(out: &mut String, p: &Period) {
    for e in &p.estimates {
        let _ = writeln!(out, "  {}: {}", e.name, words::estimate_value(e));
        for c in &e.components {
            let _ = writeln!(out, "      {:<20} u = {:.3e}", c.name, c.u);
        }
    }
}

fn compare(out: &mut String, now: &Period, printed: Option<&Period>) {
    let Some(printed) = printed else { return };
    let same = |a: &Reported, b: &Reported| a.name == b.name && a.value == b.value && a.u == b.u;
    let all = now.estimates.len() == printed.estimates.len()
        && now.estimates.iter().zip(&printed.estimates).all(|(a, b)| same(a, b));
    out.push_str(if all {
        "Recomputed from the capture: every number equals the one in the report.\n"
    } else {
        "RECOMPUTED NUMBERS DIFFER from the report: another capture, vehicle file or program?\n"
    });
}

/// The rows of the fit, so that the allowance can be worked by hand.
fn rows(out: &mut String, e: &Engagement) {
    out.push_str("\nStretches of about one curvature (turns of the outputs):\n");
    out.push_str(
        "    from s     to s   radius m       rear   front-rear   demanded    counting u\n",
    );
    for s in &e.segments {
        let radius = match s.curvature() {
            k if k.abs() < 1.0 / 150.0 => "straight".to_string(),
            k => format!("{:.1} {}", 1.0 / k.abs(), if k > 0.0 { "right" } else { "left" }),
        };
        let _ = writeln!(
            out,
            "  {:8.1} {:8.1} {:>10} {:10.3} {:12.3} {:10.3} {:13.4}",
            s.start_us as f64 * 1e-6,
            s.end_us as f64 * 1e-6,
            radius,
            s.rear,
            s.counted,
            s.demanded[0],
            s.counted_u()
        );
    }
}

/// Edges of one sensor between the ends of a range, from raw counts alone.
struct Tally {
    sensor: Sensor,
    first: Option<(u64, u16)>,
    last: Option<(u64, u16)>,
    edges: u64,
}

/// Counts the turns again from nothing but the raw counts in the records of a range.
fn recount<S: Storage>(
    reader: &mut CaptureReader<S>,
    drive: &Drive,
    range: RecordRange,
    p: &Period,
    out: &mut String,
) -> Result<(), ReadError> {
    let tally = |s: &Sensor| Tally { sensor: s.clone(), first: None, last: None, edges: 0 };
    let mut tallies: Vec<Tally> = drive.vehicle.sensors.iter().map(tally).collect();
    readings(
        reader,
        |r| {
            if r.record < range.first || r.record > range.last {
                return;
            }
            if let Value::Board(Sentence { says: Says::Counts(c), .. }) = &r.value {
                for t in &mut tallies {
                    let slot = t.sensor.channel.checked_sub(c.first_channel).map(usize::from);
                    let Some(channel) = slot.and_then(|k| c.channels.get(k)) else { continue };
                    if let Some((_, before)) = t.last {
                        t.edges += u64::from(channel.count.wrapping_sub(before));
                    }
                    t.last = Some((r.record, channel.count));
                    t.first = t.first.or(t.last);
                }
            }
        },
        |_| {},
    )?;
    out.push_str("\nCounted again from the raw counts of these records:\n");
    for t in &tallies {
        let (Some(first), Some(last)) = (t.first, t.last) else { continue };
        let turns = t.edges as f64 / f64::from(edges_per_turn(&t.sensor));
        let _ = write!(
            out,
            "  {:<18} {:04X} in record {} to {:04X} in record {}: {} edges = {turns:.3} turns",
            place(t.sensor.place),
            first.1,
            first.0,
            last.1,
            last.0,
            t.edges
        );
        let reported = match t.sensor.place {
            Place::FrontShaft => "front turns",
            Place::RearShaft => "rear turns",
            _ => "",
        };
        let said = p.estimates.iter().find(|e| e.name == reported).and_then(|e| e.value);
        match said {
            Some(v) => {
                let _ = writeln!(out, " (the report says {v:.3})");
            }
            None => out.push('\n'),
        }
    }
    Ok(())
}

/// The raw lines at both ends of a range.
fn raw<S: Storage>(
    reader: &mut CaptureReader<S>,
    range: RecordRange,
    out: &mut String,
) -> Result<(), ReadError> {
    reader.rewind();
    let _ = writeln!(out, "\nRaw records {} to {}:", range.first, range.last);
    while let Some(item) = reader.next_item()? {
        let Item::Record(r) = item else { continue };
        if r.number > range.last {
            break;
        }
        let near_start = r.number >= range.first && r.number < range.first + 2;
        let near_end = r.number + 1 >= range.last && r.number <= range.last;
        if near_start || near_end {
            let _ =
                writeln!(out, "  record {} from source {} at {} ns", r.number, r.source, r.boot_ns);
            let text = match r.kind {
                Kind::CanFrame => frame_text(&r.bytes),
                _ => String::from_utf8_lossy(&r.bytes).into_owned(),
            };
            for line in text.lines().filter(|l| !l.trim().is_empty()).take(LINES_SHOWN) {
                let _ = writeln!(out, "    {}", words::visible(line));
            }
        }
    }
    Ok(())
}

/// A frame of a bus: its identifier and its bytes.
fn frame_text(bytes: &[u8]) -> String {
    match Received::from_bytes(bytes).map(|r| r.frame) {
        Ok(frame) => match frame.id() {
            Some(id) => {
                let data: Vec<String> =
                    frame.payload().iter().map(|b| format!("{b:02X}")).collect();
                format!("{id} {}", data.join(" "))
            }
            None => "an error on the bus".into(),
        },
        Err(_) => "a frame that cannot be read".into(),
    }
}

/// Turns of one place, summed up from what a signal said in the records of a range.
#[derive(Clone, Default)]
struct Summed {
    frames: u64,
    turns: f64,
    last: Option<(i64, Said)>,
}

/// Sums the turns up again from nothing but the frames in the records of a range.
fn resum<S: Storage>(
    reader: &mut CaptureReader<S>,
    drive: &Drive,
    range: RecordRange,
    out: &mut String,
) -> Result<(), ReadError> {
    let mut bus = Bus::new(&drive.vehicle, &drive.survey);
    let rated = bus.rated().to_vec();
    let mut sums = vec![Summed::default(); rated.len()];
    Axis::new(&drive.survey).pass(reader, |at_us, record, heard| {
        let Heard::Frame { source, frame } = heard else { return };
        if record < range.first || record > range.last {
            return;
        }
        bus.hear(source, frame, |role, sample| {
            if let (Role::Turns(k), Some(said)) = (role, sample.sound()) {
                sums[k].take(at_us, said, rated[k].turns_per);
            }
        });
    })?;
    for (sum, rated) in sums.iter().zip(&rated).filter(|(s, _)| s.frames > 0) {
        let name = &drive.vehicle.signals[rated.signal].name;
        let _ = writeln!(
            out,
            "  {:<18} {} frames of \"{}\" summed over time = {:.3} turns",
            place(rated.place),
            sum.frames,
            words::visible(name),
            sum.turns
        );
    }
    Ok(())
}

impl Summed {
    fn take(&mut self, at_us: i64, said: Said, turns_per: f64) {
        let before = self.last.replace((at_us, said));
        self.frames += 1;
        let Some((then_us, was)) = before else { return };
        self.turns += turns_per
            * match (was, said) {
                (Said::Speed(a), Said::Speed(b)) => (a + b) * (at_us - then_us) as f64 * 0.5e-6,
                (Said::Count(a, n), Said::Count(b, _)) => ((b + n - a % n) % n) as f64,
                _ => 0.0,
            };
    }
}

fn selection_text<S: Storage>(
    reader: &mut CaptureReader<S>,
    now: &DriveResult,
    number: u32,
) -> Result<String, ExplainError> {
    let found = now.selections.iter().find(|s| s.number == number);
    let s = found.ok_or_else(|| {
        ExplainError::NoSuch(format!("this drive has {} selections", now.selections.len()))
    })?;
    let from = s.from.as_deref().unwrap_or("no row");
    let mut out = format!("Selection {number}: {from} to {}: {}\n", s.to, s.outcome);
    for stage in &s.stages {
        let _ = writeln!(out, "  {:<26} first edge {:8.4} s", stage.name, stage.first_edge_s);
    }
    let mut out = out.lines().map(words::visible).collect::<Vec<_>>().join("\n");
    out.push_str("\n\nSwitch edges in these records:\n");
    for range in &s.evidence {
        edges(reader, *range, &mut out)?;
        raw(reader, *range, &mut out)?;
    }
    Ok(out)
}

/// Every switch edge of a range, as the board sent it.
fn edges<S: Storage>(
    reader: &mut CaptureReader<S>,
    range: RecordRange,
    out: &mut String,
) -> Result<(), ReadError> {
    readings(
        reader,
        |r| {
            let inside = (range.first..=range.last).contains(&r.record);
            if let Value::Board(Sentence { tick, says: Says::Switch(s), .. }) = &r.value
                && inside
            {
                let level = if s.high { "high" } else { "low" };
                let _ = writeln!(
                    out,
                    "  record {:>8}  tick {tick:08X}  input {:>2}  {level:<4}  edge {}",
                    r.record, s.input, s.edges
                );
            }
        },
        |_| {},
    )?;
    Ok(())
}
