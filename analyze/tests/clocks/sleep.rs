//! Sleep is a gap of its true length.

use wheelwitness_analyze::judge::judge;
use wheelwitness_analyze::result::{Claim, Verdict};
use wheelwitness_capture::board::{Says, Sentence, Tally};
use wheelwitness_capture::clock::{SimClock, Stamp};
use wheelwitness_capture::encode;
use wheelwitness_capture::read::CaptureReader;
use wheelwitness_capture::record::{Kind, RecordingId, title};
use wheelwitness_capture::storage::SimStorage;
use wheelwitness_capture::write::{Limits, Writer};

const MS: i64 = 1_000_000;
const BOARD: u16 = 0;
const RECEIVER: u16 = 1;
const RMC: &[u8] = b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\r\n";

/// A minute of a board and a receiver; at some of the deliveries, ten a second, the computer slept
/// for so long. Boot-time runs on through sleep, monotonic time does not (clock_gettime(2)).
fn recorded(sleeps: &[(i64, i64)]) -> Vec<Claim> {
    let (storage, clock) = (SimStorage::new(), SimClock::default());
    // Sleeps of this computer before the recording.
    let mut now = Stamp { boot_ns: 90_000_000 * MS, mono_ns: 7_000 * MS, wall_ns: 0 };
    clock.set(now);
    let id = RecordingId([3; 16]);
    let mut writer = Writer::create(storage.clone(), clock.clone(), id, Limits::default()).unwrap();
    writer.append_text(BOARD, title::SOURCE_KIND, "pulse-board").unwrap();
    writer.append_text(RECEIVER, title::SOURCE_KIND, "gnss").unwrap();
    for n in 0..600 {
        let slept_ns = sleeps.iter().find(|s| s.0 == n).map_or(0, |s| s.1);
        now.boot_ns += 100 * MS + slept_ns;
        now.mono_ns += 100 * MS;
        clock.set(now);
        let closing = n == 599;
        let tally = Tally { boot_number: 1, sent: n as u32 + 1, closing };
        let tick = (now.boot_ns / 1000) as u32;
        let sentence = Sentence { sequence: n as u8, tick, says: Says::Tally(tally) };
        writer.append(BOARD, Kind::Bytes, now.boot_ns, &encode::board(&sentence)).unwrap();
        writer.append(RECEIVER, Kind::Bytes, now.boot_ns, RMC).unwrap();
        writer.pump();
    }
    writer.close();
    let mut reader = CaptureReader::from_storage(storage).unwrap();
    let vehicle = wheelwitness_rig::scenario::TRAIL_WAGON;
    let (result, _) = judge(&mut reader, Some((vehicle, "vehicle.toml"))).unwrap();
    result.claims.into_iter().filter(|claim| claim.id == "capture-complete").collect()
}

#[test]
fn a_computer_that_never_slept_has_no_gap() {
    let claims = recorded(&[]);
    assert_eq!(claims.len(), 2);
    for claim in claims {
        assert_eq!((claim.verdict, claim.periods.len()), (Verdict::Proven, 1), "{claim:#?}");
    }
}

#[test]
fn a_computer_that_slept_is_told_by_gaps_of_their_true_length() {
    let slept = [(100, 61_234 * MS), (101, 2_000 * MS), (400, 3_600_007 * MS)];
    let claims = recorded(&slept);
    for claim in &claims {
        // The first two gaps lie next to each other, perhaps within one block.
        let total_s: f64 = claim.periods[1..].iter().map(|p| p.estimates[0].value.unwrap()).sum();
        assert!((total_s - 3663.241).abs() < 0.010, "{total_s} s");
        let last = claim.periods.last().unwrap();
        let gap_s = last.end_s - last.start_s;
        assert!((last.estimates[0].value.unwrap() - 3600.007).abs() < 0.010);
        assert!((gap_s - 3600.107).abs() < 0.010, "the gap in the records: {gap_s} s");
        assert!(last.reason.contains("slept"));
    }
    // The board numbers its sentences; nobody knows what the receiver said to a computer asleep.
    assert_eq!(claims[0].verdict, Verdict::Proven);
    assert_eq!(claims[1].verdict, Verdict::Undecided);
    assert_eq!(claims[1].reason_code, "computer-slept");
}
