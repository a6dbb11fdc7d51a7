//! A receiver's fixes on the time axis: by the time of day that it gives them, not by when they
//! arrived.
//!
//! A busy computer reads a receiver late and in heaps; the fixes of a heap are as old as their own
//! clock says. The receiver's clock is mapped to the host's by the least delay, as a board's is;
//! what delay is always there, the course estimates later.

use wheelwitness_capture::decode::{Reading, Value};
use wheelwitness_capture::gnss::{Sentence, TimeOfDay};
use wheelwitness_driveline::clock::Envelope;
use wheelwitness_driveline::course::{Course, Fix};

const DAY_S: f64 = 86_400.0;

/// Sentences of one burst come closer together than this, seconds.
const BURST_S: f64 = 0.04;

/// A receiver's clock that gains so much on the host's was set, seconds.
const SET_S: f64 = 1.5;

/// A fix so much later than its time came in a heap, seconds.
const HEAP_S: f64 = 0.3;

/// Collects fixes.
#[derive(Debug, Clone, Default)]
pub struct Fixes {
    first_ns: Option<i64>,
    all: Vec<Taken>,
    /// One for each time that the receiver's clock was set.
    clocks: Vec<Envelope>,
    last: Option<(f64, f64)>,
}

/// A fix, its time being that of its arrival.
#[derive(Debug, Clone, Copy)]
struct Taken {
    fix: Fix,
    /// Which of the clocks, and its time in seconds.
    told: Option<(usize, f64)>,
}

impl Fixes {
    /// Takes a reading of any source.
    pub fn take(&mut self, reading: &Reading) {
        let since_ns =
            reading.boot_ns.saturating_sub(*self.first_ns.get_or_insert(reading.boot_ns));
        let arrival_s = (since_ns / 1_000) as f64 * 1e-6;
        let Value::Gnss(sentence) = &reading.value else { return };
        let (speed, course, time) = match sentence {
            Sentence::Rmc(r) => (r.speed_mps(), r.course_at_least(0.5), r.time),
            Sentence::Vtg(v) => (v.speed_mps(), v.course_at_least(0.5), None),
            Sentence::Gga(_) => return,
        };
        let Some(speed_mps) = speed else { return };
        let told = time.map(|t| self.clock(&t, arrival_s));
        // RMC and VTG of one burst say the same; the one with a time is taken.
        let same = |last: &Taken| match (last.told, told) {
            (Some(before), Some(now)) => now == before,
            _ => arrival_s <= last.fix.time_s + BURST_S,
        };
        let repeats = self.all.last().copied().filter(same);
        if let Some(last) = repeats {
            if last.told.is_some() || told.is_none() {
                return;
            }
            self.all.pop();
        }
        let course_rad = course.map_or(f64::NAN, f64::to_radians);
        self.all.push(Taken { fix: Fix { time_s: arrival_s, speed_mps, course_rad }, told });
    }

    /// The time of day as seconds that go on past midnight, by the clock that it belongs to.
    fn clock(&mut self, time: &TimeOfDay, arrival_s: f64) -> (usize, f64) {
        let of_day = time.ns() as f64 * 1e-9;
        let (last_s, last_arrival_s) = self.last.unwrap_or((of_day, arrival_s));
        let behind = ((last_s - of_day + DAY_S / 2.0) / DAY_S).floor();
        let now_s = of_day + DAY_S * behind;
        let gained_s = now_s - last_s - (arrival_s - last_arrival_s);
        if self.clocks.is_empty() || now_s < last_s || gained_s > SET_S {
            self.clocks.push(Envelope::default());
        }
        self.last = Some((now_s, arrival_s));
        let k = self.clocks.len() - 1;
        self.clocks[k].push(now_s, arrival_s);
        (k, now_s)
    }

    /// The fixes as a course, by seconds since `zero_ns`.
    pub fn course(self, zero_ns: i64) -> Course {
        let before_s = zero_ns.saturating_sub(self.first_ns.unwrap_or(zero_ns)) as f64 * 1e-9;
        let maps: Vec<_> = self.clocks.iter().map(Envelope::fit).collect();
        let mut heaped_s = f64::NEG_INFINITY;
        let mut course = Course::default();
        for Taken { mut fix, told } in self.all {
            let arrival_s = fix.time_s;
            match told.and_then(|(k, s)| Some(maps[k]?.host(s))) {
                Some(time_s) => {
                    if arrival_s - time_s > HEAP_S {
                        heaped_s = arrival_s;
                    }
                    fix.time_s = time_s;
                }
                // How old it is, nothing tells.
                None if arrival_s - heaped_s < 1.0 => continue,
                None => {}
            }
            fix.time_s -= before_s;
            course.push(fix);
        }
        course
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An RMC of a vehicle that turns by 6 degrees and speeds up a little in every fifth of a
    /// second, said at `time_s` of the day, as it arrives.
    fn reading(time_s: f64, arrival_s: f64) -> Reading {
        let fifths = (time_s * 5.0).round();
        let (h, m, s) = ((time_s / 3600.0) as u32, (time_s / 60.0) as u32 % 60, time_s % 60.0);
        let body = format!(
            "GPRMC,{h:02}{m:02}{s:05.2},A,4800.0000,N,01100.0000,E,{:.2},{:.1},010126,,,A",
            4.0 + 0.01 * (fifths % 100.0),
            (6.0 * fifths).rem_euclid(360.0)
        );
        let sum = wheelwitness_capture::nmea::checksum(body.as_bytes());
        let (value, faults) =
            wheelwitness_capture::decode::decode_sentence(format!("${body}*{sum:02X}").as_bytes());
        Reading {
            source: 2,
            first_record: 0,
            record: 0,
            boot_ns: (arrival_s * 1e9) as i64,
            value,
            faults,
        }
    }

    /// Where on the axis the fixes said at these times lie, less when they were said.
    fn placed(said: &[(f64, f64)]) -> Vec<f64> {
        let mut fixes = Fixes::default();
        said.iter().for_each(|(time_s, arrival_s)| fixes.take(&reading(*time_s, *arrival_s)));
        let course = fixes.course((said[0].1 * 1e9) as i64);
        let speeds = course.speeds_between(f64::NEG_INFINITY, f64::INFINITY);
        let start_s = said[0].0;
        speeds.iter().zip(said).map(|((at_s, _), (time_s, _))| at_s - (time_s - start_s)).collect()
    }

    #[test]
    fn fixes_read_late_in_a_heap_lie_where_their_own_clock_says() {
        // From 43,000 s of the day on, five times a second; the host reads nothing for 20 s.
        let said: Vec<(f64, f64)> = (0..600)
            .map(|k| (43_000.0 + 0.2 * f64::from(k), 100.0 + 0.2 * f64::from(k)))
            .map(|(t, a)| (t, if (130.0..150.0).contains(&a) { 150.0 } else { a }))
            .collect();
        let off = placed(&said);
        assert_eq!(off.len(), 600, "none is lost");
        assert!(off.iter().all(|o| o.abs() < 1e-3), "{off:?}");
    }

    #[test]
    fn a_day_that_ends_and_a_clock_that_is_set_lose_no_fix() {
        let over_midnight: Vec<(f64, f64)> = (0..600)
            .map(|k| (86_340.0 + 0.2 * f64::from(k), 5.0 + 0.2 * f64::from(k)))
            .map(|(t, a)| (t % DAY_S, a))
            .collect();
        let mut fixes = Fixes::default();
        over_midnight.iter().for_each(|(t, a)| fixes.take(&reading(*t, *a)));
        let course = fixes.course(5_000_000_000);
        assert_eq!(course.speeds_between(-1.0, 1e6).len(), 600);
        // A receiver that begins with a wrong time and then finds the right one.
        let set: Vec<(f64, f64)> = (0..600)
            .map(|k| (0.2 * f64::from(k), k))
            .map(|(t, k)| (if k < 100 { 7.0 + t } else { 43_000.0 + t }, 5.0 + t))
            .collect();
        let mut fixes = Fixes::default();
        set.iter().for_each(|(t, a)| fixes.take(&reading(*t, *a)));
        let course = fixes.course(5_000_000_000);
        let at: Vec<f64> = course.speeds_between(-1.0, 1e6).iter().map(|s| s.0).collect();
        let even = at.iter().enumerate().all(|(k, t)| (t - 0.2 * k as f64).abs() < 1e-3);
        assert!(at.len() == 600 && even, "{at:?}");
    }
}
