//! What the drag of a center differential hides of a mismatch is put back.
//!
//! The truth is put in: friction that grows with speed holds back a share of every difference.

use proptest::prelude::*;
use wheelwitness_driveline::mismatch::{Mismatch, OpenCenter};
use wheelwitness_driveline::quantity::Estimate;

/// Millimetres of circumference for one turn more per turn.
const MM: f64 = -2_300.0;

/// What is seen of a mismatch where friction is `friction` in a turn that asks for `demand`, and
/// the straight is driven `k` times as fast; and what an allowance then reads.
fn seen(mismatch: f64, friction: f64, demand: f64, k: f64) -> (f64, f64) {
    let straight = mismatch / (1.0 + friction * k);
    let parted = (demand + mismatch) / (1.0 + friction);
    (straight, parted / (demand + straight))
}

fn undone(straight: f64, allowance: f64, u: f64, demand: f64, k: f64) -> Estimate {
    let name = "circumference difference".into();
    let mut m = Mismatch {
        difference_mm: Estimate {
            name,
            value: MM * straight,
            unit: "mm".into(),
            components: vec![],
        },
        straight_m: 300.0,
        through_differential: 1.0,
        differential_mps: k,
        span_us: (0, 1),
        records: (0, 1),
    };
    m.undo_drag(&OpenCenter { allowance, u, at_mps: 1.0, demand }, straight, MM);
    m.difference_mm
}

proptest! {
    #[test]
    fn a_drag_that_is_shown_is_undone_to_the_whole_difference(
        mismatch in -0.008f64..0.008,
        friction in 0.02f64..0.5,
        demand in 0.02f64..0.08,
        k in 1.0f64..8.0,
    ) {
        let (straight, allowance) = seen(mismatch, friction, demand, k);
        // Where nearly all of the parting is mismatch, nothing tells the two apart.
        prop_assume!(k * straight < 0.75 * allowance * (demand + straight));
        prop_assume!(allowance < 0.99);
        let found = undone(straight, allowance, 1e-6, demand, k);
        let (value, truth) = (found.value, MM * mismatch);
        prop_assert!((value - truth).abs() < 1e-6, "{value} of {truth}");
    }

    /// The allowance is off by up to one of its uncertainties; the truth stays within three.
    #[test]
    fn a_drag_that_is_not_shown_is_a_doubt_that_holds_it(
        mismatch in -0.006f64..0.006,
        friction in 0.0f64..0.15,
        off in -1.0f64..1.0,
        k in 2.0f64..7.0,
    ) {
        let (demand, u) = (0.03, 0.08);
        let (straight, allowance) = seen(mismatch, friction, demand, k);
        prop_assume!(k * straight < 0.75 * allowance * (demand + straight));
        let found = undone(straight, allowance + off * u, u, demand, k);
        let error = (found.value - MM * mismatch).abs();
        prop_assert!(error <= 3.0 * found.u() + 1e-9, "{error} with u {}", found.u());
    }
}

#[test]
fn a_free_center_hides_nothing_and_leaves_little_open() {
    let found = undone(0.002, 1.0, 0.01, 0.05, 4.0);
    assert_eq!(found.value, MM * 0.002);
    assert!(found.u() < 0.15, "{}", found.u());
}

/// Tyres that make up for unlike axle ratios leave nothing to hold back.
#[test]
fn outputs_that_turn_alike_hide_nothing_however_much_the_center_drags() {
    let found = undone(0.0, 0.5, 0.01, 0.05, 8.0);
    assert_eq!((found.value, found.u()), (0.0, 0.0));
}
