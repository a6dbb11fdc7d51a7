//! Shafts as tubes, and what the speedometer is fed with.

use super::super::Place;
use super::{Found, key};

pub(super) fn shafts(f: &mut Found) {
    for (end, shaft) in [("front", &f.vehicle.shafts.front), ("rear", &f.vehicle.shafts.rear)] {
        let Some(shaft) = shaft else { continue };
        if 2.0 * shaft.wall_mm > shaft.outer_mm {
            let what = format!("two walls of {} mm are thicker than the tube", shaft.wall_mm);
            let instead = "measure the wall at a cut end; a solid shaft has half its diameter";
            f.at(key!["shafts", end, "wall_mm"], what, instead);
        }
        if shaft.outer_mm > shaft.length_mm / 2.0 {
            let what =
                format!("a tube {} mm thick and {} mm long", shaft.outer_mm, shaft.length_mm);
            let instead = "write millimetres, the length from joint centre to joint centre";
            f.at(key!["shafts", end, "length_mm"], what, instead);
        }
    }
}

pub(super) fn speedometer(f: &mut Found) {
    let Some(speedometer) = &f.vehicle.speedometer else { return };
    if speedometer.pulses_per_km.is_some() {
        return;
    }
    if f.vehicle.signal(Place::Speedometer).is_none() {
        let what = "neither what the speedometer expects nor what it shows is known";
        let instead = "add pulses_per_km, or a signal with place = \"speedometer\"";
        f.at(key!["speedometer"], what, instead);
    } else if speedometer.surplus_percent != 0.0 {
        let what = "surplus_percent without pulses_per_km: it is above what the pulses say";
        f.at_name(key!["speedometer", "surplus_percent"], what, "add pulses_per_km, or remove it");
    }
}
