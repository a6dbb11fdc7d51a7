//! Promises of what a locked center makes the tyres slip, over drives whose slip is worked out.

use crate::motion::{Build, SOUND, drive, leg, segments_of};
use wheelwitness_driveline::allowance::MismatchPrior;
use wheelwitness_driveline::scrub::{NoScrub, scrub};

/// Metres per turn of the rear output of the test's vehicle: 2.2 m over its axle ratio.
fn metres_per_turn() -> f64 {
    wheelwitness_driveline::demand::Setup::new(&crate::motion::vehicle()).metres_per_turn()
}

fn known(mean: f64, u: f64) -> MismatchPrior {
    MismatchPrior { mean, u, scale: (0.0, 0.0) }
}

const LOCKED: Build = Build { allowance: 0.0, ..SOUND };

#[test]
fn straight_on_a_lock_slips_the_mismatch_and_nothing_else() {
    let segments = segments_of(&drive(&[leg(60.0, 4.0, 0.0)], LOCKED));
    // Front tyres that would turn a hundredth more often: 10 m in every kilometre.
    for mean in [0.01, -0.01] {
        let s = scrub(&segments, metres_per_turn(), &known(mean, 0.001)).expect("240 m straight");
        assert!((s.per_km.value - 10.0).abs() < 0.05, "{mean}: {:?}", s.per_km);
        assert!((s.scrubbed_m / s.driven_m * 1e3 - s.per_km.value).abs() < 1e-9);
        assert!((s.driven_m - 238.0).abs() < 4.0, "{}", s.driven_m);
        let mismatch = s.per_km.components.iter().find(|c| c.name == "mismatch").expect("open");
        assert!((mismatch.u - 1.0).abs() < 0.01, "a thousandth is a metre: {mismatch:?}");
    }
}

#[test]
fn in_a_circle_it_slips_by_how_much_wider_the_front_runs() {
    let segments = segments_of(&drive(&[leg(60.0, 1.0, 0.125)], LOCKED));
    let s = scrub(&segments, metres_per_turn(), &known(0.0, 1e-6)).expect("60 m");
    // Bicycle model, no side slip: the front's path is sqrt(1 + (2.8 / 8)^2) of the rear's.
    let wider = (1.0f64 + 0.35 * 0.35).sqrt() - 1.0;
    assert!((s.per_km.value / (1e3 * wider) - 1.0).abs() < 0.05, "{:?} {wider}", s.per_km);
    let open = segments_of(&drive(&[leg(60.0, 1.0, 0.125)], SOUND));
    let free = scrub(&open, metres_per_turn(), &known(0.0, 1e-6)).expect("60 m");
    assert!(free.per_km.value < 0.05 * s.per_km.value, "what may part does not slip: {free:?}");
}

#[test]
fn a_short_way_says_nothing() {
    let segments = segments_of(&drive(&[leg(12.0, 1.0, 0.0)], LOCKED));
    let told = scrub(&segments, metres_per_turn(), &known(0.0, 0.001));
    assert_eq!(told, Err(NoScrub::TooShort));
}
