//! What follows from plain sums: mismatch, tubes, tyres and senders after a change.

use crate::common::close;
use proptest::prelude::*;
use wheelwitness_driveline::effect::mismatch_effect;
use wheelwitness_driveline::speedometer::Geared;
use wheelwitness_driveline::stats::Moments;
use wheelwitness_driveline::tyre::{Size, circumference_ratio};
use wheelwitness_driveline::vehicle::{Shaft, Stock};

proptest! {
    /// Tyres and axle ratios account for all turns of the outputs against each other; locked, both
    /// outputs make one number of turns, and the axles' ways differ.
    #[test]
    fn a_mismatch_is_its_tyres_and_its_axles_and_nothing_else(
        i in [2.5f64..6.0, 2.5..6.0],
        c in [1.8f64..3.0, 1.8..3.0],
    ) {
        let e = mismatch_effect(i, c);
        let turns = [0, 1].map(|k| i[k] * 1000.0 / c[k]);
        let sum = e.by_tyres_per_km + e.by_axles_per_km;
        prop_assert!((e.turns_per_km - (turns[0] - turns[1])).abs() < 1e-9);
        prop_assert!((sum - e.turns_per_km).abs() < 1e-9);
        // With equal tyres the axles make all of it, with equal ratios the tyres.
        let by_axles = mismatch_effect(i, [c[0]; 2]);
        let by_tyres = mismatch_effect([i[0]; 2], c);
        prop_assert!((by_axles.by_axles_per_km - (i[0] - i[1]) * 1000.0 / c[0]).abs() < 1e-9);
        prop_assert!(by_axles.by_tyres_per_km.abs() < 1e-9);
        let tyres = i[0] * (1000.0 / c[0] - 1000.0 / c[1]);
        prop_assert!((by_tyres.by_tyres_per_km - tyres).abs() < 1e-9);
        prop_assert!(by_tyres.by_axles_per_km.abs() < 1e-9);
        let both = (turns[0] + turns[1]) / 2.0;
        let way = [0, 1].map(|k| both / i[k] * c[k]);
        prop_assert!((e.slip_m_per_km - (way[0] - way[1]).abs()).abs() < 1e-9);
    }
}

#[test]
fn a_tube_is_known_as_well_as_a_caliper_and_a_tape_know_it() {
    let shaft = |length_u_mm| Shaft {
        outer_mm: 76.2,
        wall_mm: 3.0,
        length_mm: 1200.0,
        length_u_mm,
        material: Stock::Steel,
        working_angles_deg: None,
        share_max: 0.65,
    };
    // Common practice: 0.2 mm of a diameter, 0.15 mm of a wall, 2 % of modulus over density.
    let u = shaft(5.0).tube_u();
    close(u.outer_m, 0.2e-3, 1e-12, "common practice");
    close(u.wall_m, 0.15e-3, 1e-12, "common practice");
    close(u.length_m, 5.0e-3, 1e-12, "as declared");
    close(u.material, 0.02, 1e-12, "common practice");
    let tube = shaft(5.0).tube();
    close(tube.inner_m, 0.0702, 1e-12, "two walls off the outer diameter");
}

#[test]
fn two_markings_make_a_ratio_as_uncertain_as_both_together() {
    let size = |text: &str| text.parse::<Size>().expect("a size");
    let (old, new) = (size("235/75R15"), size("265/75R16"));
    let [ratio, u] = circumference_ratio(&old, &new);
    let relative = |s: &Size| s.rolling_circumference_u_mm() / s.rolling_circumference_mm();
    close(ratio, new.rolling_circumference_mm() / old.rolling_circumference_mm(), 1e-12, "ratio");
    let expected = relative(&old).powi(2) + relative(&new).powi(2);
    close((u / ratio).powi(2), expected, 1e-15, "GUM 5.1.6: relative variances of a quotient add");
    assert!(u > 0.0);
}

#[test]
fn a_change_at_the_sender_is_as_uncertain_as_both_circumferences_together() {
    let geared = |circumference_mm, u_mm| Geared { circumference_mm, u_mm, sender_turns: 4.1 };
    let (before, after) = (geared(2200.0, 22.0), geared(2400.0, 12.0));
    let [ratio, u] = before.true_per_shown(&after);
    close(ratio, 2400.0 / 2200.0, 1e-12, "longer tyres, fewer turns");
    close(
        u / ratio,
        0.01f64.hypot(0.005),
        1e-12,
        "GUM 5.1.6: relative variances of a quotient add",
    );
}

#[test]
fn one_value_has_no_scatter_and_two_have() {
    let sd = |values: &[f64]| values.iter().copied().collect::<Moments>().sd();
    assert!(sd(&[]).is_nan() && sd(&[3.0]).is_nan());
    close(sd(&[3.0, 5.0]), 2f64.sqrt(), 1e-12, "sample standard deviation, n - 1");
}
