//! Tyre sizes against tables and formulas that others published.

use crate::common::{close, reference};
use serde::Deserialize;
use wheelwitness_driveline::kinematics::rolling_radius;
use wheelwitness_driveline::tyre::{
    RIM_CODES, ROLLING_FACTOR_RADIAL, Size, true_speed_after_change,
};
use wheelwitness_driveline::units::{KM_PER_MILE, MM_PER_INCH, wheel_rpm};

#[derive(Deserialize)]
struct Tyres {
    metric: Vec<Outer>,
    misprint: Misprint,
    flotation: Vec<Outer>,
    legal_range: Vec<LegalRange>,
    rolling: Vec<Rolling>,
    published_turns_per_mile: Turns,
    change: Vec<Change>,
    mismatch: Vec<Depth>,
    radius: Radius,
    quarter_inch: Quarter,
    one_percent: OnePercent,
    worn: Worn,
}

#[derive(Deserialize)]
struct Outer {
    size: String,
    outer_mm: u32,
    nominal_in: Option<f64>,
    source: String,
}

#[derive(Deserialize)]
struct Misprint {
    size: String,
    printed_mm: u32,
}

#[derive(Deserialize)]
struct LegalRange {
    size: String,
    least_mm: f64,
    largest_mm: f64,
    source: String,
}

#[derive(Deserialize)]
struct Rolling {
    size: String,
    circumference_mm: f64,
    turns_per_km: f64,
    source: String,
}

#[derive(Deserialize)]
struct Turns {
    size: String,
    turns: f64,
    source: String,
}

#[derive(Deserialize)]
struct Change {
    old: String,
    new: String,
    indicated: f64,
    r#true: f64,
    source: String,
}

#[derive(Deserialize)]
struct Depth {
    depth_in: f64,
    circumference_mm: f64,
    source: String,
}

#[derive(Deserialize)]
struct Radius {
    free: f64,
    loaded: f64,
    rolling: f64,
    source: String,
}

#[derive(Deserialize)]
struct Quarter {
    circumference_in: f64,
    depth_32nds: f64,
    source: String,
}

#[derive(Deserialize)]
struct OnePercent {
    size: String,
    axle_ratio: f64,
    kmh: f64,
    center_rpm: f64,
    source: String,
}

#[derive(Deserialize)]
struct Worn {
    new_in: f64,
    worn_in: f64,
    new_turns: f64,
    worn_turns: f64,
    source: String,
}

fn tyres() -> Tyres {
    reference("tyres.toml")
}

fn size(text: &str) -> Size {
    text.parse().unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn metric_sizes_have_the_published_outer_diameter() {
    for row in tyres().metric {
        let outer = size(&row.size).outer_diameter_mm();
        assert_eq!(outer, row.outer_mm, "{}: {}", row.size, row.source);
    }
}

#[test]
fn a_misprinted_table_entry_is_not_followed() {
    let row = tyres().misprint;
    assert_eq!(size(&row.size).outer_diameter_mm(), 733);
    assert_ne!(row.printed_mm, 733);
}

#[test]
fn flotation_sizes_have_their_design_diameter_and_not_the_one_they_name() {
    for row in tyres().flotation {
        let outer = size(&row.size).outer_diameter_mm();
        assert_eq!(outer, row.outer_mm, "{}: {}", row.size, row.source);
        let nominal = row.nominal_in.expect("a flotation size names inches") * MM_PER_INCH;
        let excess = nominal / f64::from(outer) - 1.0;
        assert!((0.0135..0.0180).contains(&excess), "{}: {excess}", row.size);
    }
}

#[test]
fn the_legal_range_of_the_outer_diameter_is_that_of_un_r30() {
    for row in tyres().legal_range {
        let (least, largest) = size(&row.size).outer_diameter_range_mm();
        close(least, row.least_mm, 0.005, &row.source);
        close(largest, row.largest_mm, 0.005, &row.source);
    }
}

#[test]
fn a_size_alone_is_good_to_about_one_percent() {
    let size = size("265/70R16");
    let relative = size.rolling_circumference_u_mm() / size.rolling_circumference_mm();
    assert!((0.008..0.012).contains(&relative), "{relative}");
}

#[test]
fn rolling_circumferences_and_turns_per_kilometre_agree_with_the_manual() {
    for row in tyres().rolling {
        let size = size(&row.size);
        close(size.rolling_circumference_mm(), row.circumference_mm, 0.005, &row.source);
        close(size.turns_per_km(), row.turns_per_km, 0.0005, &row.source);
    }
}

#[test]
fn published_turns_per_mile_lie_within_half_a_percent() {
    // Tables of turns per mile sit about 0.4 % below a factor of 3.05, so 0.5 % is the test.
    let row = tyres().published_turns_per_mile;
    close(size(&row.size).turns_per_mile() / row.turns, 1.0, 0.005, &row.source);
}

#[test]
fn a_change_of_tyres_moves_the_true_speed_by_the_ratio_of_diameters() {
    for row in tyres().change {
        let new = true_speed_after_change(row.indicated, &size(&row.old), &size(&row.new));
        close(new, row.r#true, 0.0005, &row.source);
    }
}

#[test]
fn the_limit_of_circumference_is_the_two_thirty_seconds_rule() {
    for row in tyres().mismatch {
        let computed = std::f64::consts::TAU * row.depth_in * MM_PER_INCH;
        close(computed, row.circumference_mm, 0.0005, &row.source);
        let limit = wheelwitness_driveline::vehicle::Limits::default().circumference_mm;
        close(limit, row.circumference_mm, 1e-9, &row.source);
    }
}

#[test]
fn the_rolling_radius_lies_a_third_of_the_deflection_below_the_free_one() {
    let row = tyres().radius;
    close(rolling_radius(row.free, row.loaded), row.rolling, 0.005, &row.source);
}

#[test]
fn rim_diameters_are_the_code_in_inches_rounded_to_millimetres() {
    // UN R30 and R54, from memory: 15 is 381 mm, 16 is 406 mm (both seen in public guides).
    for (code, mm) in RIM_CODES {
        assert_eq!((code * MM_PER_INCH).round(), f64::from(mm), "code {code}");
    }
}

#[test]
fn a_quarter_inch_of_circumference_is_the_tighter_of_the_two_common_rules() {
    let row = tyres().quarter_inch;
    let depth = row.circumference_in / std::f64::consts::TAU * 32.0;
    close(depth, row.depth_32nds, 5e-4, &row.source);
    let limit = wheelwitness_driveline::vehicle::Limits::default().circumference_mm;
    assert!(row.circumference_in * MM_PER_INCH < limit);
}

#[test]
fn one_percent_of_radius_keeps_the_center_differential_turning_all_the_time() {
    let row = tyres().one_percent;
    let circumference = size(&row.size).rolling_circumference_mm();
    let shaft = wheel_rpm(row.kmh, circumference) * row.axle_ratio;
    close(shaft * 0.01, row.center_rpm, 5e-3, &row.source);
}

#[test]
fn a_worn_tyre_turns_more_often_by_the_ratio_of_its_circumference() {
    // Whole turns are printed: half a turn either way is 0.06 %.
    let row = tyres().worn;
    close(row.new_in / row.worn_in, row.worn_turns / row.new_turns, 1.2e-3, &row.source);
    for (diameter, turns) in [(row.new_in, row.new_turns), (row.worn_in, row.worn_turns)] {
        let factor = KM_PER_MILE * 1e6 / turns / (diameter * MM_PER_INCH);
        close(factor / ROLLING_FACTOR_RADIAL, 1.0, 0.005, &row.source);
    }
}
