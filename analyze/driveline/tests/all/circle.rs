//! A circle marked on the ground and declared stands in for rear wheels and a receiver.

use super::motion::{PRIOR, SOUND, drive, leg, vehicle};
use crate::common::close;
use wheelwitness_driveline::allowance::{Allowance, fit};
use wheelwitness_driveline::course::{Course, Fix};
use wheelwitness_driveline::demand::{CurvatureSource, Motion, Prefer, Setup};
use wheelwitness_driveline::segment::{PeriodFold, Standstill};
use wheelwitness_driveline::vehicle::{DeclaredCircle, Place};

/// Motions of a slow circle of 6 m radius, by shafts alone and by what is declared.
fn motions(radius_m: f64, radius_u_m: f64, course: &Course) -> (Setup, Vec<Motion>) {
    let mut vehicle = vehicle();
    vehicle.sensors.retain(|s| !Place::WHEELS.contains(&s.place));
    vehicle.declared_circle = Some(DeclaredCircle { radius_m, radius_u_m });
    let setup = Setup::new(&vehicle);
    let mut steps = drive(&[leg(60.0, 1.0, 1.0 / 6.0)], SOUND);
    for step in &mut steps {
        Place::WHEELS.iter().for_each(|p| step.turn[*p as usize] = None);
    }
    let motion = |s| setup.motion(s, course, Prefer::Wheels);
    let found = steps.iter().filter_map(motion).collect();
    (setup, found)
}

fn allowance(radius_m: f64, radius_u_m: f64) -> Allowance {
    let (setup, motions) = motions(radius_m, radius_u_m, &Course::default());
    let mut fold = PeriodFold::new(1.0, setup.metres_per_turn(), 0.1);
    motions.iter().for_each(|m| fold.push(m, Standstill::Denied));
    fit(&fold.finish(), 0.05, PRIOR).expect("a circle exercises the mode")
}

fn by_radius(a: &Allowance) -> f64 {
    a.allowance.components.iter().find(|c| c.name == "declared radius").map_or(0.0, |c| c.u)
}

#[test]
fn a_declared_circle_demands_what_its_radius_does() {
    let (_, found) = motions(6.0, 0.1, &Course::default());
    let m = &found[found.len() / 2];
    assert_eq!(m.source, Some(CurvatureSource::Declared));
    close(m.curvature.expect("declared"), 1.0 / 6.0, 1e-12, "a circle of 6 m");
    // Plane geometry: the front wheels, 2.8 m ahead and 0.75 m to either side, on their circles.
    let front = [6.75f64, 5.25].map(|r| r.hypot(2.8)).iter().sum::<f64>() / 2.0;
    let excess = m.demanded[0] / m.rear.turns;
    close(excess, front / 6.0 - 1.0, 2e-3, "plane geometry; side slip below 2 % at 1 m/s");
}

/// The excess falls with the square of the radius, so that its doubt is about twice the radius's.
#[test]
fn a_radius_that_is_hardly_known_makes_the_allowance_as_uncertain() {
    let (well, badly) = (allowance(6.0, 0.01), allowance(6.0, 0.3));
    close(well.allowance.value, 1.0, 0.02, "an open center");
    let added = (by_radius(&badly).powi(2) - by_radius(&well).powi(2)).sqrt();
    close(added, 2.0 * 0.3 / 6.0, 0.02, "twice 5 % of the radius");
    // A circle that was marked wider than it was driven demands less, and the allowance tells.
    let wide = allowance(7.0, 0.3).allowance.value;
    close(wide, (7.0f64 / 6.0).powi(2), 0.06, "the square of the radii");
}

#[test]
fn a_receiver_that_saw_the_course_goes_before_a_declared_circle() {
    let mut course = Course::default();
    for k in 0..700 {
        let time_s = 5.0 + 0.1 * f64::from(k);
        let course_rad = (time_s / 6.0).rem_euclid(std::f64::consts::TAU);
        course.push(Fix { time_s, speed_mps: 1.0, course_rad });
    }
    let (_, found) = motions(6.0, 0.1, &course);
    assert!(found.iter().all(|m| m.source != Some(CurvatureSource::Declared)));
}
