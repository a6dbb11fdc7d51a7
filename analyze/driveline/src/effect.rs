//! What a mismatch of front and rear does: how far a center differential turns because of it, and
//! how far tyres slip where the center is locked.

/// Effect of a mismatch on a straight road.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effect {
    /// Turns of the front output against the rear one in a kilometre, positive where the front
    /// turns more.
    pub turns_per_km: f64,
    /// The part of it that is due to the tyres.
    pub by_tyres_per_km: f64,
    /// The part of it that is due to the axle ratios.
    pub by_axles_per_km: f64,
    /// Way by which front and rear tyres slip against each other in a kilometre with the center
    /// locked, metres.
    pub slip_m_per_km: f64,
}

/// Effect of axle ratios (shaft turns per wheel turn) and rolling circumferences (metres), front
/// and rear each.
///
/// An output makes `i / C` turns per metre; the difference of the two products is split by the
/// mean of the other factor, which leaves nothing over. Locked, both outputs make the mean number
/// of turns, and each axle's way is `C / i` times that.
///
/// ```
/// use wheelwitness_driveline::effect::mismatch_effect;
/// // Handbook figure (common practice, reckoned): tyres of which one pair is 1 % smaller, axle
/// // ratio 4.1, 421.425 turns of the other pair a kilometre: 28.80 turns a minute at 100 km/h.
/// let c = 1000.0 / 421.425;
/// let effect = mismatch_effect([4.1; 2], [c / 1.01, c]);
/// assert!((effect.turns_per_km * 100.0 / 60.0 - 28.80).abs() < 0.01);
/// assert_eq!(effect.by_axles_per_km, 0.0);
/// assert!((effect.slip_m_per_km - 9.95).abs() < 0.01);
/// ```
pub fn mismatch_effect(ratio: [f64; 2], circumference_m: [f64; 2]) -> Effect {
    let [front, rear] = circumference_m.map(|c| 1000.0 / c);
    let [i_front, i_rear] = ratio;
    let turns = [i_front * front, i_rear * rear];
    let mean = (turns[0] + turns[1]) / 2.0;
    Effect {
        turns_per_km: turns[0] - turns[1],
        by_tyres_per_km: (front - rear) * (i_front + i_rear) / 2.0,
        by_axles_per_km: (i_front - i_rear) * (front + rear) / 2.0,
        slip_m_per_km: 1000.0 * (mean / turns[0] - mean / turns[1]).abs(),
    }
}
