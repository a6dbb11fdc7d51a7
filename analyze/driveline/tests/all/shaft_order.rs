//! Promises of the order sheet of a shaft: its geometry held against arms and axes in space.

use nalgebra::{Rotation3, Unit, Vector3};
use proptest::prelude::*;
use std::f64::consts::{FRAC_PI_2, PI};
use wheelwitness_driveline::joints::{Bent, Order, Position};
use wheelwitness_driveline::shaft::joint_ripple;

const CROSS: &str = "a universal joint's cross: its two arms stay square to each other";

fn close(computed: f64, expected: f64, tolerance: f64, source: &str) {
    let off = (computed - expected).abs();
    assert!(off <= tolerance, "{computed} against {expected} +- {tolerance}: {source}");
}

fn at(run_mm: f64, fall_mm: f64, side_mm: f64, pinion_up_deg: f64) -> Position {
    Position { run_mm, fall_mm, side_mm, pinion_up_deg }
}

fn axis(down_deg: f64) -> Vector3<f64> {
    let a = down_deg.to_radians();
    Vector3::new(a.cos(), 0.0, -a.sin())
}

fn turned(v: Vector3<f64>, about: Vector3<f64>, angle: f64) -> Vector3<f64> {
    Rotation3::from_axis_angle(&Unit::new_normalize(about), angle) * v
}

/// Where the pinion's arm points when the case's arm has turned by `angle` from the plane of the
/// first joint: two crosses, each with its arms square to one another and to their shafts.
fn output_arm(case_down: f64, p: Position, phase: f64, angle: f64) -> Vector3<f64> {
    let (case, pinion) = (axis(case_down), axis(p.pinion_up_deg));
    let tube = Vector3::new(p.run_mm, p.side_mm, -p.fall_mm).normalize();
    let in_plane = (tube - case * tube.dot(&case)).normalize();
    let driving = turned(in_plane, case, angle);
    let driven = tube.cross(&driving).normalize();
    let second = turned(driven, tube, phase);
    pinion.cross(&second).normalize()
}

/// Speed ratio by differences of the angle of the output arm.
fn simulated_ratio(case_down: f64, p: Position, phase: f64, angle: f64) -> f64 {
    let step = 1e-5;
    let [a, b] = [-step, step].map(|d| output_arm(case_down, p, phase, angle + d));
    let sine = a.cross(&b).dot(&axis(p.pinion_up_deg));
    sine.asin() / (2.0 * step)
}

proptest! {
    #[test]
    fn the_ratio_is_that_of_two_crosses_in_space(
        (run, fall, side) in (400.0..1800.0, -300.0..600.0, -300.0..300.0),
        (down, up) in (-5.0..12.0, -10.0..25.0),
        (phase, angle) in (-1.5..1.5, 0.0..6.2),
    ) {
        let p = at(run, fall, side, up);
        let bent = Bent::of(down, p).unwrap();
        prop_assume!(bent.case_rad.min(bent.axle_rad) > 1e-3);
        let off = bent.ratio(angle, phase) - simulated_ratio(down, p, phase, angle);
        prop_assert!(off.abs() < 1e-6, "{off}");
    }

    #[test]
    fn no_other_phase_than_the_twist_leaves_less_ripple(
        (run, fall, side) in (400.0..1800.0, 20.0..600.0, -300.0..300.0),
        (down, up, phase) in (-5.0..12.0, -10.0..25.0, -1.5..1.5),
    ) {
        let bent = Bent::of(down, at(run, fall, side, up)).unwrap();
        prop_assert!(bent.ripple(bent.twist_rad) <= bent.ripple(phase) + 1e-6);
    }

    #[test]
    fn the_slip_holds_every_place_of_the_travel(
        (run, fall, side) in (400.0..1800.0, -100.0..300.0, -300.0..300.0),
        (up, down, share) in (0f64..250.0, 0f64..250.0, 0f64..1.0),
    ) {
        let [rest, bump, droop] = [0.0, -up, down].map(|d| at(run, fall + d, side, 3.0));
        let order = Order::of(3.0, [rest, bump, droop]).unwrap();
        let here = Bent::of(3.0, at(run, fall - up + (up + down) * share, side, 3.0)).unwrap();
        let stretch = here.length_mm - order.rest.length_mm;
        // Places are a hundredth of the travel apart.
        prop_assert!(stretch <= order.slip_out_mm + 1e-9);
        prop_assert!(-stretch <= order.slip_in_mm + 0.01);
    }
}

#[test]
fn parallel_axes_with_the_yokes_in_line_leave_no_ripple() {
    for side in [0.0, 120.0] {
        let bent = Bent::of(4.0, at(1000.0, 180.0, side, 4.0)).unwrap();
        close(bent.case_rad, bent.axle_rad, 1e-12, "parallel axes");
        close(bent.twist_rad, 0.0, 1e-12, CROSS);
        close(bent.ripple(0.0), 0.0, 1e-12, CROSS);
    }
}

#[test]
fn equal_angles_in_one_plane_leave_no_ripple_where_the_axes_meet() {
    // The shaft level, both axes pointing at one place above it: the other classic arrangement.
    let bent = Bent::of(-5.0, at(1000.0, 0.0, 0.0, 5.0)).unwrap();
    close(bent.case_rad.to_degrees(), 5.0, 1e-9, "a level shaft");
    close(bent.ripple(0.0), 0.0, 1e-12, CROSS);
}

#[test]
fn yokes_a_quarter_turn_out_of_line_double_the_fluctuation_as_published() {
    // Public quiz on machine dynamics: 500 rpm, both joints at 20 degrees, 441.5 to 566.25 rpm.
    let bent = Bent::of(0.0, at(1000.0, 1000.0 * 20f64.to_radians().tan(), 0.0, 0.0)).unwrap();
    close(bent.case_rad.to_degrees(), 20.0, 1e-9, "geometry");
    let swing = 500.0 * bent.ripple(FRAC_PI_2);
    close(swing, 566.25 - 441.5, 0.1, "public quiz on machine dynamics");
}

#[test]
fn a_pinion_in_line_with_the_shaft_leaves_the_ripple_of_one_joint() {
    // As with a double joint at the case end: the axle end straight.
    let slope = (200f64 / 1000.0).atan().to_degrees();
    let bent = Bent::of(0.0, at(1000.0, 200.0, 0.0, slope)).unwrap();
    close(bent.axle_rad, 0.0, 1e-9, "geometry");
    close(bent.ripple(0.0), joint_ripple(bent.case_rad), 1e-6, "Theory of Machines");
}

#[test]
fn a_shaft_is_shortest_where_it_lies_level_and_not_at_the_end_of_the_travel() {
    // Pythagoras: 1000 level; 50 up or down gives 1001.25, 100 down 1004.99.
    let places =
        [at(1000.0, 50.0, 0.0, 0.0), at(1000.0, -50.0, 0.0, 0.0), at(1000.0, 100.0, 0.0, 0.0)];
    let order = Order::of(0.0, places).unwrap();
    close(order.slip_in_mm, 1001.249 - 1000.0, 1e-3, "Pythagoras");
    close(order.slip_out_mm, 1004.988 - 1001.249, 1e-3, "Pythagoras");
    close(order.most_case_rad, 0.1f64.atan(), 1e-12, "geometry");
}

#[test]
fn joints_in_one_place_and_numbers_that_are_none_make_no_shaft() {
    assert_eq!(Bent::of(3.0, at(0.0, 0.0, 0.0, 3.0)), None);
    assert_eq!(Bent::of(3.0, at(f64::NAN, 0.0, 0.0, 3.0)), None);
    assert_eq!(Bent::of(f64::INFINITY, at(1000.0, 0.0, 0.0, 3.0)), None);
    assert!(Bent::of(0.0, at(1000.0, 0.0, 0.0, 0.0)).unwrap().ripple(PI) < 1e-12);
}
