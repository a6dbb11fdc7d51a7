//! The format that a file declares, against what it holds: an older program must refuse a file
//! with something new in it by its number.

use super::super::{Place, Vehicle};
use super::{Found, key};

pub(super) fn format(f: &mut Found) {
    let v: &Vehicle = f.vehicle;
    let is_unfed = v.speedometer.as_ref().is_some_and(|s| s.pulses_per_km.is_none());
    // What came with which format.
    let newer = [
        (2, !v.signals.is_empty(), "signals"),
        (3, !v.shafts.is_empty(), "shafts"),
        (3, v.speedometer.is_some(), "a speedometer"),
        (3, v.sensors.iter().any(|s| s.place == Place::SpeedSender), "a speed-sender"),
        (3, v.test_ground.is_some(), "test_ground"),
        (3, f.is_given(["limits", "scrub_m_per_km"]), "scrub_m_per_km"),
        (3, f.is_given(["limits", "sender_percent"]), "sender_percent"),
        (4, v.analog.iter().any(|a| a.low_max_v.is_some()), "low_max_v"),
        (4, v.analog.iter().any(|a| a.high_min_v.is_some()), "high_min_v"),
        (5, v.signal(Place::Speedometer).is_some(), "a signal of the speedometer"),
        (5, is_unfed, "a speedometer without pulses_per_km"),
    ];
    let held = newer.into_iter().filter(|(since, given, _)| *given && v.format < *since);
    let (since, names): (Vec<u32>, Vec<&str>) = held.map(|(since, _, name)| (since, name)).unzip();
    let Some(needed) = since.into_iter().max() else { return };
    let what = format!("{} in a file of format {}", names.join(", "), v.format);
    let instead = format!("write format = {needed}; nothing else in the file changes");
    f.at(key!["format"], what, instead);
}
