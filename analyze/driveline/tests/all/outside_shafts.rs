//! Universal joints and critical speeds against textbooks and worked examples.

use crate::common::{close, reference};
use serde::Deserialize;
use wheelwitness_driveline::shaft::{
    Material, Tube, TubeU, joint_angle_error, joint_extremes, joint_from_ripple, joint_ratio,
    joint_ripple, unbalance_g_mm,
};
use wheelwitness_driveline::units::{rad_s_from_rpm, rpm_from_rad_s, wheel_rpm};

#[derive(Deserialize)]
struct Shafts {
    joint: Vec<Joint>,
    around: Around,
    quiz: Quiz,
    from_ripple: FromRipple,
    critical: Vec<Critical>,
    lumped: Lumped,
    road: Road,
    balance: Vec<Balance>,
    short_form: Vec<ShortForm>,
    handbook_k: HandbookK,
}

#[derive(Deserialize)]
struct Balance {
    grade: f64,
    kg: f64,
    rpm: f64,
    g_mm: f64,
    tolerance: f64,
    source: String,
}

#[derive(Deserialize)]
struct ShortForm {
    k: f64,
    psi: f64,
    lb_in3: f64,
    source: String,
}

#[derive(Deserialize)]
struct HandbookK {
    k: f64,
    source: String,
}

#[derive(Deserialize)]
struct Joint {
    deg: f64,
    most: f64,
    least: f64,
    ripple_percent: f64,
    angle_error_deg: f64,
    source: String,
}

#[derive(Deserialize)]
struct Around {
    deg: f64,
    input_deg: Vec<f64>,
    ratio: Vec<f64>,
    source: String,
}

#[derive(Deserialize)]
struct Quiz {
    rpm: f64,
    deg: f64,
    one: [f64; 2],
    two: [f64; 2],
    source: String,
}

#[derive(Deserialize)]
struct FromRipple {
    rpm: f64,
    fluctuation_rpm: f64,
    deg: f64,
    printed_deg: f64,
    source: String,
}

#[derive(Deserialize)]
struct Critical {
    name: String,
    outer_mm: f64,
    inner_mm: f64,
    length_mm: f64,
    youngs_gpa: f64,
    density: f64,
    rpm: f64,
    tolerance_rpm: f64,
    source: String,
}

#[derive(Deserialize)]
struct Lumped {
    outer_mm: f64,
    inner_mm: f64,
    length_mm: f64,
    youngs_gpa: f64,
    density: f64,
    lumped_rpm: f64,
    distributed_rpm: f64,
    source: String,
}

#[derive(Deserialize)]
struct Road {
    kmh: f64,
    circumference_mm: f64,
    axle_ratio: f64,
    wheel_rpm: f64,
    rpm: f64,
    source: String,
}

fn shafts() -> Shafts {
    reference("shafts.toml")
}

fn tube(outer_mm: f64, inner_mm: f64, length_mm: f64, youngs_gpa: f64, density: f64) -> Tube {
    let material = Material { youngs_pa: youngs_gpa * 1e9, density };
    let [outer_m, inner_m, length_m] = [outer_mm, inner_mm, length_mm].map(|mm| mm / 1e3);
    Tube { outer_m, inner_m, length_m, material }
}

#[test]
fn a_joint_ripples_as_the_theory_of_machines_says() {
    for row in shafts().joint {
        let angle = row.deg.to_radians();
        let [least, most] = joint_extremes(angle);
        close(most, row.most, 5e-7, &row.source);
        close(least, row.least, 5e-7, &row.source);
        close(joint_ripple(angle) * 100.0, row.ripple_percent, 5e-6, &row.source);
        close(joint_angle_error(angle).to_degrees(), row.angle_error_deg, 5e-5, &row.source);
        close(joint_from_ripple(joint_ripple(angle)), angle, 1e-9, &row.source);
    }
}

#[test]
fn the_ratio_around_one_turn_is_that_of_the_table_and_its_mean_is_one() {
    let row = shafts().around;
    let angle = row.deg.to_radians();
    for (input, ratio) in row.input_deg.iter().zip(&row.ratio) {
        close(joint_ratio(angle, input.to_radians()), *ratio, 5e-7, &row.source);
    }
    let turn: f64 = (0..3600).map(|i| joint_ratio(angle, f64::from(i).to_radians() / 10.0)).sum();
    close(turn / 3600.0, 1.0, 1e-9, "equal turns in and out");
}

#[test]
fn one_joint_and_two_wrongly_phased_ones_give_the_published_extremes() {
    let row = shafts().quiz;
    for (factor, published) in joint_extremes(row.deg.to_radians()).iter().zip(row.one) {
        close(row.rpm * factor, published, 0.05, &row.source);
    }
    for (factor, published) in joint_extremes(row.deg.to_radians()).iter().zip(row.two) {
        close(row.rpm * factor * factor, published, 0.05, &row.source);
    }
}

#[test]
fn the_angle_from_a_fluctuation_is_exact_and_not_the_misprinted_one() {
    let row = shafts().from_ripple;
    let angle = joint_from_ripple(row.fluctuation_rpm / row.rpm).to_degrees();
    close(angle, row.deg, 5e-5, &row.source);
    assert!((angle - row.printed_deg).abs() > 0.2);
}

#[test]
fn critical_speeds_agree_with_published_calculations() {
    for row in shafts().critical {
        let t = tube(row.outer_mm, row.inner_mm, row.length_mm, row.youngs_gpa, row.density);
        close(
            t.critical_rpm(),
            row.rpm,
            row.tolerance_rpm,
            &format!("{}: {}", row.name, row.source),
        );
    }
}

/// The constant of the short form for a material: critical speed of a solid bar of one inch.
fn short_form_k(psi: f64, lb_in3: f64) -> f64 {
    const PA_PER_PSI: f64 = 6894.757;
    const KG_M3_PER_LB_IN3: f64 = 27_679.905;
    let bar = tube(25.4, 0.0, 25.4, psi * PA_PER_PSI / 1e9, lb_in3 * KG_M3_PER_LB_IN3);
    bar.critical_rpm()
}

#[test]
fn the_short_form_for_steel_tubes_is_the_beam_formula() {
    let all = shafts();
    let mut range = (f64::MAX, f64::MIN);
    for row in &all.short_form {
        let k = short_form_k(row.psi, row.lb_in3);
        close(k / row.k, 1.0, 2e-5, &row.source);
        range = (range.0.min(k), range.1.max(k));
    }
    // The handbook's constant lies within the spread of steels.
    let HandbookK { k, source } = &all.handbook_k;
    assert!((range.0..range.1).contains(k), "{k} in {range:?}: {source}");
}

#[test]
fn the_residual_unbalance_is_that_of_the_standard() {
    for row in shafts().balance {
        close(unbalance_g_mm(row.grade, row.kg, row.rpm), row.g_mm, row.tolerance, &row.source);
    }
}

#[test]
fn the_uncertainty_of_a_critical_speed_is_what_measuring_wrongly_would_do() {
    // GUM 5.1.3, note 2: half the change over plus and minus one uncertainty, one input at a time.
    let of = |outer_mm: f64, wall_mm: f64, length_mm: f64, gpa: f64| {
        tube(outer_mm, outer_mm - 2.0 * wall_mm, length_mm, gpa, 7850.0).critical_rpm()
    };
    let u = TubeU { outer_m: 0.5e-3, wall_m: 0.2e-3, length_m: 3e-3, material: 0.02 };
    let half = |high: f64, low: f64| ((high - low) / 2.0).powi(2);
    let moved = half(of(76.7, 3.0, 1200.0, 207.0), of(75.7, 3.0, 1200.0, 207.0))
        + half(of(76.2, 3.2, 1200.0, 207.0), of(76.2, 2.8, 1200.0, 207.0))
        + half(of(76.2, 3.0, 1203.0, 207.0), of(76.2, 3.0, 1197.0, 207.0))
        + half(of(76.2, 3.0, 1200.0, 207.0 * 1.02), of(76.2, 3.0, 1200.0, 207.0 * 0.98));
    let computed = tube(76.2, 70.2, 1200.0, 207.0, 7850.0).critical_u_rpm(&u);
    close(computed / moved.sqrt(), 1.0, 1e-3, "GUM 5.1.3");
}

#[test]
fn an_exercise_with_all_mass_in_the_middle_is_recognised_as_such() {
    let row = shafts().lumped;
    let t = tube(row.outer_mm, row.inner_mm, row.length_mm, row.youngs_gpa, row.density);
    close(t.critical_rpm_lumped(), row.lumped_rpm, 0.1, &row.source);
    close(t.critical_rpm(), row.distributed_rpm, 0.1, &row.source);
}

#[test]
fn a_road_speed_is_a_shaft_speed_by_turns_per_kilometre_and_axle_ratio() {
    let row = shafts().road;
    let wheel = wheel_rpm(row.kmh, row.circumference_mm);
    close(wheel, row.wheel_rpm, 0.0005, &row.source);
    close(wheel * row.axle_ratio, row.rpm, 0.05, &row.source);
    close(rpm_from_rad_s(rad_s_from_rpm(row.rpm)), row.rpm, 1e-9, "definition of the radian");
}
