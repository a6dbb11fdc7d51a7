//! A wall clock that was set is told, with by how much; one that was not is not.

use proptest::prelude::*;
use wheelwitness_capture::clock::Stamp;
use wheelwitness_capture::wall::{ClockSet, WallClock};

const MS: i64 = 1_000_000;
const HOUR_MS: i64 = 3_600_000;

/// Stamps at these times, wall time ahead of boot-time by so much; both in milliseconds.
fn told(stamps: impl IntoIterator<Item = (i64, i64)>) -> Vec<ClockSet> {
    let mut wall = WallClock::default();
    let stamp = |(at_ms, ahead_ms): (i64, i64)| {
        let boot_ns = at_ms * MS;
        Stamp { boot_ns, mono_ns: boot_ns, wall_ns: boot_ns + ahead_ms * MS }
    };
    stamps.into_iter().filter_map(|s| wall.push(stamp(s))).collect()
}

/// Four blocks a second for a minute.
fn minute(ahead_ms: impl Fn(i64) -> i64) -> Vec<ClockSet> {
    told((1..240).map(|n| (n * 250, ahead_ms(n * 250))))
}

#[test]
fn a_clock_set_forward_or_back_is_told_once_with_by_how_much() {
    for by_ms in [HOUR_MS, -HOUR_MS, 1_795_000_000_000, -1_795_000_000_000, 500, -500] {
        let found = minute(|at| 2_000_000_000_000 + if at > 30_000 { by_ms } else { 0 });
        let found: Vec<_> = found
            .iter()
            .map(|s| (s.by_ns / MS, s.before.boot_ns / MS, s.after.boot_ns / MS))
            .collect();
        assert_eq!(found, [(by_ms, 30_000, 30_250)]);
    }
}

#[test]
fn a_clock_set_twice_is_told_twice() {
    let found = minute(|at| 1_000_000 + [0, HOUR_MS, -HOUR_MS][(at / 20_001) as usize]);
    let by_ms: Vec<_> = found.iter().map(|s| s.by_ns / MS).collect();
    assert_eq!(by_ms, [HOUR_MS, -2 * HOUR_MS]);
}

#[test]
fn a_reader_that_was_held_up_before_it_read_the_wall_clock_did_not_set_it() {
    let held_up = |at| match at {
        250 => 9_000,
        7_000 | 30_000 | 30_500 => 3_000,
        40_000 => 600,
        _ => 0,
    };
    assert_eq!(minute(|at| 1_000_000 + held_up(at)), []);
}

/// The quickest that clocks are corrected gradually: a twelfth.
#[test]
fn a_clock_that_is_corrected_gradually_was_not_set() {
    assert_eq!(minute(|at| 1_000_000 + at / 12), []);
    assert_eq!(minute(|at| 1_000_000 - at / 12), []);
}

#[test]
fn a_wall_time_that_is_not_known_is_not_set_and_neither_is_one_that_is_told_at_last() {
    assert_eq!(minute(|at| -at), []);
    assert_eq!(minute(|at| if at < 9_000 { -at } else { 1_795_000_000_000 }), []);
}

#[test]
fn all_records_of_a_block_confirm_nothing_that_its_stamp_does_not() {
    let stamps = (1..240).flat_map(|n| [n * 250; 50]);
    assert_eq!(told(stamps.map(|at| (at, 1_000_000 + if at == 9_000 { 700 } else { 0 }))), []);
}

proptest! {
    #[test]
    fn no_stamps_whatever_make_a_sum_run_over(stamps: Vec<(i64, i64, i64)>) {
        let mut wall = WallClock::default();
        for (boot_ns, mono_ns, wall_ns) in stamps {
            wall.push(Stamp { boot_ns, mono_ns, wall_ns });
        }
        for wall_ns in [i64::MIN, i64::MAX, i64::MAX, i64::MIN, i64::MIN] {
            wall.push(Stamp { boot_ns: !wall_ns, mono_ns: 0, wall_ns });
        }
    }
}
