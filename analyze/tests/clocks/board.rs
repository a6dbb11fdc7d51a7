//! Board time is mapped to host time by the lower envelope of delays: a stream with known truth.

use wheelwitness_driveline::clock::{ClockMap, Envelope};

/// Repeatable noise (xorshift, Marsaglia 2003).
struct Noise(u64);

impl Noise {
    /// At least 0 and below 1.
    fn unit(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// Sentences a hundred times a second over `span_s`: a board clock that is off by up to 200 ppm
/// (more than any crystal), USB that hands over every 16 ms (the usual setting of an adapter's
/// latency timer), waiting times that fall off exponentially, and a stall of up to 200 ms now and
/// then. Gives the map, the true rate, and as a function of board time the truth, later by the
/// least delay of the stream: no one-way stream shows it, and no difference of times feels it.
fn mapped(seed: u64, span_s: f64) -> (ClockMap, f64, impl Fn(f64) -> f64) {
    let mut noise = Noise(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
    let rate = 1.0 + (noise.unit() - 0.5) * 400e-6;
    let (begin_s, phase_s) = (1000.0 * noise.unit(), 0.016 * noise.unit());
    let truth = move |board_s: f64| begin_s + rate * board_s;
    let mut envelope = Envelope::default();
    let (mut arrived_before_s, mut least_s) = (0.0_f64, f64::INFINITY);
    for n in 0..(span_s * 100.0) as u64 {
        let board_s = n as f64 * 0.01;
        let mut ready_s = truth(board_s) + 0.0003 - 0.002 * (1.0 - noise.unit()).ln();
        if noise.unit() < 0.0005 {
            ready_s += 0.2 * noise.unit();
        }
        let handed_over_s = ((ready_s - phase_s) / 0.016).ceil() * 0.016 + phase_s;
        // A line does not overtake itself.
        arrived_before_s = arrived_before_s.max(handed_over_s);
        least_s = least_s.min(arrived_before_s - truth(board_s));
        envelope.push(board_s, arrived_before_s);
    }
    (envelope.fit().unwrap(), rate, move |board_s| truth(board_s) + least_s)
}

/// The largest error over the whole stream.
fn worst_s(map: &ClockMap, truth: impl Fn(f64) -> f64, span_s: f64) -> f64 {
    let at = (0..=100).map(|n| span_s * f64::from(n) / 100.0);
    at.map(|s| (map.host(s) - truth(s)).abs()).fold(0.0, f64::max)
}

/// Rounds of 10 ms and hand-overs of 16 ms meet every 2 ms. A clock that drifts by less than that
/// in the whole stream keeps step with USB: then the least delay depends on the phase, and how much
/// is anybody's guess.
const BEAT_S: f64 = 0.002;

#[test]
fn after_ten_minutes_board_time_is_known_within_a_millisecond() {
    for seed in 1..=40 {
        let (map, rate, truth) = mapped(seed, 600.0);
        let worst_s = worst_s(&map, truth, 600.0);
        let in_step = (rate - 1.0).abs() * 600.0 < BEAT_S;
        let allowed_s = if in_step { BEAT_S } else { 0.001 };
        assert!(worst_s <= allowed_s, "seed {seed}: {:.3} ms", worst_s * 1e3);
        let off_ppm = (map.rate - rate).abs() * 1e6;
        let allowed_ppm = if in_step { BEAT_S / 600.0 * 1e6 } else { 0.5 };
        assert!(off_ppm <= allowed_ppm, "seed {seed}: {off_ppm:.3} ppm");
    }
}

/// Under a minute the rate is not usable (see the constant `RATE_SPAN_S`): 200 ppm of
/// it and one batch are what is left open.
#[test]
fn under_a_minute_board_time_is_coarse_but_within_twenty_milliseconds() {
    for seed in 1..=40 {
        for span_s in [5.0, 20.0, 59.0] {
            let (map, _, truth) = mapped(seed, span_s);
            assert_eq!(map.rate, 1.0);
            let worst_s = worst_s(&map, truth, span_s);
            assert!(worst_s <= 0.020, "seed {seed}, {span_s} s: {:.3} ms", worst_s * 1e3);
        }
    }
}

/// What the envelope is there for: least squares chases the delays.
#[test]
fn a_stall_of_two_seconds_does_not_move_the_map() {
    let (mut still, mut stalled) = (Envelope::default(), Envelope::default());
    for n in 0..60_000 {
        let board_s = f64::from(n) * 0.01;
        let host_s = 5.0 + 1.000_05 * board_s + 0.001 * f64::from(n % 7);
        still.push(board_s, host_s);
        let until_s = if (20_000..20_200).contains(&n) { 5.0 + 202.1 } else { 0.0 };
        stalled.push(board_s, host_s.max(until_s));
    }
    assert_eq!(still.fit(), stalled.fit());
}
