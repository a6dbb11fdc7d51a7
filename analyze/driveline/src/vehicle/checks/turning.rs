//! What came with format 3: shafts as tubes, the speedometer and its sender, the test ground.

use super::super::{Place, Vehicle};
use super::{Found, key};

/// An older program must refuse such a file by its number.
pub(super) fn format(f: &mut Found) {
    if f.vehicle.format >= 3 {
        return;
    }
    let v: &Vehicle = f.vehicle;
    let given = [
        (!v.shafts.is_empty(), "shafts"),
        (v.speedometer.is_some(), "a speedometer"),
        (v.sensors.iter().any(|s| s.place == Place::SpeedSender), "a speed-sender"),
        (v.test_ground.is_some(), "test_ground"),
        (f.is_given(["limits", "scrub_m_per_km"]), "scrub_m_per_km"),
        (f.is_given(["limits", "sender_percent"]), "sender_percent"),
    ];
    for (_, what) in given.into_iter().filter(|g| g.0) {
        let what = format!("{what} in a file of format {}", f.vehicle.format);
        f.at(key!["format"], what, "write format = 3; nothing else in the file changes");
    }
}

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
