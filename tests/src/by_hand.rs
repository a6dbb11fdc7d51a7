//! The straight path followed by hand on one example, as `DEVELOPERS.md` shows it.
//!
//! A simulated drive, one counts sentence of it, and what becomes of that sentence, hop by hop, to
//! the verdict that it helps to carry.

use wheelwitness_analyze::assemble::{Beside, Drive, assemble};
use wheelwitness_analyze::axis::{Axis, Heard};
use wheelwitness_analyze::judge::result_of;
use wheelwitness_analyze::learning::edges_per_turn;
use wheelwitness_analyze::report::words;
use wheelwitness_analyze::result::Claim;
use wheelwitness_capture::board::{Says, Sentence};
use wheelwitness_capture::decode::{Value, decode_sentence};
use wheelwitness_capture::import::{Extras, import_wire};
use wheelwitness_capture::read::{CaptureReader, Item};
use wheelwitness_capture::record::{Record, RecordingId};
use wheelwitness_capture::storage::SimStorage;
use wheelwitness_driveline::pulse::{Pattern, Sensing, Step, Stepper};
use wheelwitness_driveline::vehicle::{Place, Vehicle};
use wheelwitness_rig::{Chunk, Run, Source, scenario};

/// The seed of the example.
pub const SEED: u64 = 3;

/// Where in the drive the sentence is taken, seconds: within the second circle in `locked`.
const AT_S: f64 = 150.0;

/// The claim that is followed.
const CLAIM: (&str, &str) = ("center-locks", "locked");

/// One line for each hop, in the order of the path, each beginning with the name of the hop.
pub fn hops() -> Vec<String> {
    let run = scenario::demo(SEED, Vec::new()).run();
    let mut reader = capture(&run);
    let drive = assemble(&mut reader, Beside::default()).expect("the example has a vehicle file");
    let result = result_of(&drive, &mut reader).expect("a simulated medium can be read");
    let (chunk, sentence) = pick(&run);
    let record = record_of(&mut reader, chunk);
    let claims = || result.claims.iter().enumerate();
    let (number, claim) = claims()
        .find(|(_, c)| (c.id.as_str(), c.scope.as_str()) == CLAIM)
        .expect("the claim is judged whatever the drive was");
    vec![
        wire(chunk),
        format!("sentence  {sentence}"),
        format!(
            "record    number {}, source {}, boot-time {} ns, {} bytes",
            record.number,
            record.source,
            record.boot_ns,
            record.bytes.len()
        ),
        reading(sentence),
        step(&drive, &mut reader, &record),
        segment(&drive, &record),
        estimate(claim),
        format!(
            "verdict   claim {}, {} in {}: {}",
            number + 1,
            claim.id,
            claim.scope,
            words::verdict(claim.verdict)
        ),
    ]
}

fn capture(run: &Run) -> CaptureReader<SimStorage> {
    let storage = SimStorage::new();
    let extras =
        Extras { vehicle_file: Some(scenario::TRAIL_WAGON), simulated_clock_scale: Some(1.0) };
    let lines = run.wire_lines();
    import_wire(lines.as_bytes(), storage.clone(), RecordingId([3; 16]), &extras)
        .expect("the rig writes what the import reads");
    CaptureReader::from_storage(storage).expect("what was just written can be read")
}

/// The first chunk from [`AT_S`] on with a whole sentence of channels 1 to 4, and that sentence.
fn pick(run: &Run) -> (&Chunk, &str) {
    let from_ns = run.wire[0].boot_ns + (AT_S * 1e9) as i64;
    let late = run.wire.iter().filter(|c| c.boot_ns >= from_ns && c.source == Source::Board);
    late.filter_map(|c| Some((c, whole_sentence(&c.bytes)?))).next().expect("rounds go on")
}

fn whole_sentence(bytes: &[u8]) -> Option<&str> {
    let text = std::str::from_utf8(bytes).ok()?;
    let from = &text[text.find("$PWWNA")?..];
    Some(&from[..from.find("\r\n")?])
}

fn wire(chunk: &Chunk) -> String {
    let digits: String = chunk.bytes.iter().take(24).map(|b| format!("{b:02X}")).collect();
    format!("wire      {} {} {digits}...", chunk.boot_ns, chunk.source.name())
}

fn record_of(reader: &mut CaptureReader<SimStorage>, chunk: &Chunk) -> Record {
    reader.rewind();
    let records = reader.filter_map(|item| match item {
        Ok(Item::Record(record)) => Some(record),
        _ => None,
    });
    let same = |r: &Record| r.boot_ns == chunk.boot_ns && r.bytes == chunk.bytes;
    records.into_iter().find(same).expect("every chunk became a record")
}

/// What a counts sentence says, in words.
pub fn reading(sentence: &str) -> String {
    let (value, faults) = decode_sentence(sentence.as_bytes());
    let Value::Board(Sentence { sequence, tick, says: Says::Counts(counts) }) = value else {
        return format!("reading   {value:?}, faults {faults:?}");
    };
    let channels: Vec<String> = counts
        .channels
        .iter()
        .map(|c| match c.age_us {
            Some(age) => format!("{} ({age} us ago)", c.count),
            None => format!("{} (long ago)", c.count),
        })
        .collect();
    let n = counts.first_channel;
    format!(
        "reading   sentence {sequence}, tick {tick} us, channels {n} to {}: {}; {} faults",
        n + 3,
        channels.join(", "),
        faults.len()
    )
}

/// The half-second that the record carries a part of.
fn step(drive: &Drive, reader: &mut CaptureReader<SimStorage>, record: &Record) -> String {
    let mut stepper = Stepper::new(&sensing(&drive.vehicle), &[]);
    let mut found: Option<Step> = None;
    let mut take = |s: &Step| {
        let carries = s.records.0 <= record.number && record.number <= s.records.1;
        if carries && found.is_none() {
            found = Some(s.clone());
        }
    };
    Axis::new(&drive.survey)
        .pass(reader, |tick_us, number, event| {
            if let Heard::Counts { first_channel, counts } = event {
                stepper.push(tick_us, number, first_channel, &counts, &mut take);
            }
        })
        .expect("a simulated medium can be read");
    let s = found.expect("steps cover the whole drive");
    let turns = |place| s.at(place).map_or(f64::NAN, |t| t.turns);
    format!(
        "step      {:.3} s to {:.3} s: front shaft {:.4} turns, rear shaft {:.4} turns",
        s.start_us as f64 * 1e-6,
        s.end_us as f64 * 1e-6,
        turns(Place::FrontShaft),
        turns(Place::RearShaft)
    )
}

fn sensing(vehicle: &Vehicle) -> Vec<Sensing> {
    let one = |s: &wheelwitness_driveline::vehicle::Sensor| Sensing {
        place: s.place,
        channel: s.channel,
        edges_per_turn: edges_per_turn(s),
        pattern: Pattern::default(),
        tooth_u: 0.06,
    };
    vehicle.sensors.iter().map(one).collect()
}

/// The row of the fit that the record carries a part of.
fn segment(drive: &Drive, record: &Record) -> String {
    let mut segments = drive.motions.periods.iter().flat_map(|p| &p.segments);
    let s = segments
        .find(|s| s.records.0 <= record.number && record.number <= s.records.1)
        .expect("the vehicle was moving in a mode");
    format!(
        "segment   {:.1} s to {:.1} s: rear {:.3} turns, front less rear {:.3}, demanded {:.3}",
        s.start_us as f64 * 1e-6,
        s.end_us as f64 * 1e-6,
        s.rear,
        s.counted,
        s.demanded[0]
    )
}

fn estimate(claim: &Claim) -> String {
    let judged = claim.periods.first().and_then(|p| p.estimates.first());
    let value = judged.map_or("none".into(), words::estimate);
    let limit = claim.limit.as_ref().map_or("none".into(), words::limit);
    format!("estimate  {value} at 95 %; limit: {limit}")
}
