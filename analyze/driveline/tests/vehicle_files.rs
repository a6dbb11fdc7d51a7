//! Promises of reading vehicle files.

use std::path::PathBuf;
use wheelwitness_driveline::vehicle::{Place, Vehicle};

fn fixture(name: &str) -> Vehicle {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/vehicles").join(name);
    let text = std::fs::read_to_string(&path).expect("a fixture of this repository");
    Vehicle::parse(&text, name).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn the_fixture_vehicles_read_and_check_clean() {
    let wagon = fixture("trail-wagon.toml");
    assert_eq!(wagon.center.front_share(), Some(0.375));
    assert_eq!(wagon.sensors.len(), 7);
    assert_eq!(wagon.modes.len(), 5);
    assert_eq!(wagon.range_ratio(wagon.mode("low-locked").unwrap()), Some(2.5));
    assert!(fixture("shafts-only.toml").sensor(Place::Input).is_none());
    assert_eq!(fixture("wheels-only.toml").center.front_share(), Some(0.4));
}
