//! Simulated drives as captures, and vehicle files that look at them in different ways.

use std::fmt::Write;
use wheelwitness_analyze::judge::judge;
use wheelwitness_analyze::result::DriveResult;
use wheelwitness_capture::read::CaptureReader;
use wheelwitness_capture::storage::SimStorage;
use wheelwitness_driveline::vehicle::Vehicle;
use wheelwitness_rig::scenario::{self, TRAIL_WAGON};
use wheelwitness_rig::{BusSettings, Plan};

/// The demo drive with every message on a bus whose units are set to circumferences of their own.
pub fn plan(seed: u64, assumed: [f64; 2]) -> Plan {
    let mut plan = scenario::demo(seed, Vec::new());
    let bus = BusSettings { assumed, floor_kmh: 1.0, ..BusSettings::draw(seed) };
    plan.settings.bus = Some(bus);
    plan
}

/// The result of a capture by a vehicle file.
pub fn result(storage: &SimStorage, vehicle: &str) -> DriveResult {
    let mut reader = CaptureReader::from_storage(storage.clone()).expect("just written");
    match judge(&mut reader, Some((vehicle, "vehicle.toml"))) {
        Ok((result, _)) => result,
        Err(e) => panic!("{e}"),
    }
}

/// The demo vehicle with pulse sensors only where `counted` says so, and these signals.
pub fn vehicle(counted: &[&str], signals: &str) -> String {
    let mut parts = TRAIL_WAGON.split("\n[[sensors]]\n");
    let mut out = parts.next().expect("a beginning").to_string();
    for part in parts {
        // The last sensor's part holds the rest of the file.
        let (sensor, rest) = part.split_once("\n[").map_or((part, None), |(s, r)| (s, Some(r)));
        if counted.iter().any(|p| sensor.contains(&format!("place = \"{p}\""))) {
            let _ = write!(out, "\n[[sensors]]\n{sensor}\n");
        }
        if let Some(rest) = rest {
            let _ = write!(out, "\n[{rest}\n");
        }
    }
    format!("{out}\n{signals}")
}

/// High resolution wheel speeds of these wheels; the circumference that the unit is set to, where
/// the builder has read it out, is known to half a millimetre.
pub fn wheels(places: &[&str], set_to: Option<[f64; 2]>) -> String {
    let mut out = String::new();
    for place in places {
        let axle = usize::from(place.starts_with("rear"));
        let _ = write!(
            out,
            "[[signals]]\nname = \"wheel {place}\"\nmessage = \"j1939-hrw\"\nplace = \"{place}\"\n\
             floor_kmh = 1.0\n"
        );
        if let Some(mm) = set_to {
            let _ = writeln!(out, "circumference_mm = {:.1}", mm[axle]);
            let _ = writeln!(out, "circumference_u_mm = 0.5");
        }
    }
    out
}

/// The gearbox output, which is the input of the case.
pub const GEARBOX: &str =
    "[[signals]]\nname = \"gearbox\"\nmessage = \"j1939-etc1\"\nplace = \"input\"\n";

/// Circumferences that the units of a plan are set to, millimetres, front and rear.
pub fn set_to(plan: &Plan) -> [f64; 2] {
    let declared: &Vehicle = &plan.declared;
    let assumed = plan.settings.bus.as_ref().map_or([1.0; 2], |b| b.assumed);
    let mm = |t: &wheelwitness_driveline::vehicle::Tyre| t.circumference_mm().map_or(0.0, |c| c.0);
    [mm(&declared.tyres.front) * assumed[0], mm(&declared.tyres.rear) * assumed[1]]
}
