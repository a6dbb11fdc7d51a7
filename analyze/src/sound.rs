//! Can the sensors of the outputs be trusted?

use crate::learning::Tooth;
use crate::motion::{Motions, Period};
use wheelwitness_driveline::places::Exchange;
use wheelwitness_driveline::vehicle::{Place, Vehicle};

/// Why the sensors of the outputs cannot be trusted, if they cannot.
pub fn unsound(vehicle: &Vehicle, teeth: &[Tooth], motions: &Motions) -> Option<String> {
    let shafts = [Place::FrontShaft, Place::RearShaft];
    let by_shafts = shafts.iter().all(|p| vehicle.is_measured(*p));
    let used = |p: Place| p == Place::Input || shafts.contains(&p) || !by_shafts;
    let bad = |t: &Tooth| Some(format!("the {} sensor {}", place(t.sensor.place), t.trouble()?));
    if let Some(why) = teeth.iter().filter(|t| used(t.sensor.place)).find_map(bad) {
        return Some(why);
    }
    // Left and right of one axle exchanged: every sum of the two stays what it is.
    let exchanged = motions.exchanged.filter(|e| !matches!(e.exchange, Exchange::Sides(_)));
    if let Some(e) = exchanged {
        return Some(exchange(e.exchange));
    }
    if let Some(why) = motions.periods.iter().find_map(parted) {
        return Some(why);
    }
    (0..2).find_map(|axle| {
        let (far, start_us, _) = motions.agreement[axle].as_ref()?.worst_piece;
        let name = ["front", "rear"][axle];
        (far.abs() > 5.0 * vehicle.limits.sensor_ratio_percent).then(|| {
            let at_s = start_us as f64 * 1e-6;
            format!("the {name} shaft and wheel sensors disagree by {far:.1} % at {at_s:.0} s")
        })
    })
}

/// On no road do the outputs part by so much of their turns (common practice: the tightest circle
/// asks for 10 %, wrong tyres or an axle ratio for a few percent more).
const PARTED: f64 = 0.2;

/// So many turns tell, turns.
const PARTED_TURNS: f64 = 30.0;

/// The outputs of a period parted by more than a road can ask for.
fn parted(p: &Period) -> Option<String> {
    if p.was_silent() {
        return None;
    }
    let rolls = p.segments.iter().filter(|s| !s.lifted);
    let (rear, apart) = rolls.fold((0.0, 0.0), |sum, s| (sum.0 + s.rear, sum.1 + s.counted));
    let share = apart / (rear + apart.max(0.0));
    (rear + apart > PARTED_TURNS && share.abs() > PARTED).then(|| {
        format!(
            "the front and rear outputs turned {:.0} and {:.0} times on the same way: a sensor \
             misses pulses, its pulses_per_turn or an axle ratio is not as declared, or a wheel \
             span",
            rear + apart,
            rear
        )
    })
}

/// An exchange in plain words.
pub fn exchange(exchange: Exchange) -> String {
    match exchange {
        Exchange::Axles => "the sensors of the two axles are exchanged, either the shafts' or the \
                            wheels'"
            .into(),
        Exchange::Wheels(a, b) => {
            format!("the sensors of the {} and the {} are exchanged", place(a), place(b))
        }
        Exchange::Sides(Some(axle)) => {
            format!("left and right of the {} axle are exchanged", ["front", "rear"][axle])
        }
        Exchange::Sides(None) => "left and right of one of the two axles are exchanged".into(),
    }
}

/// A place in plain words.
pub fn place(place: Place) -> &'static str {
    match place {
        Place::Input => "case input",
        Place::FrontShaft => "front shaft",
        Place::RearShaft => "rear shaft",
        Place::FrontLeft => "front left wheel",
        Place::FrontRight => "front right wheel",
        Place::RearLeft => "rear left wheel",
        Place::RearRight => "rear right wheel",
        Place::SpeedSender => "speed sender",
        Place::Speedometer => "speedometer",
    }
}
