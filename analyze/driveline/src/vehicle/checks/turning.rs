//! What came with format 3: shafts as tubes, the speedometer and its sender, the test ground.

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
