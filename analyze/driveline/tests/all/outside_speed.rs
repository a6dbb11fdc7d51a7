//! Speedometer limits, pulse scales and frequency resolution against regulations and handbooks.

use crate::common::{close, reference};
use serde::Deserialize;
use wheelwitness_driveline::scale::{
    CABLE_1000_PER_MILE, CABLE_TURNS_PER_KM, frequency_hz, gated_resolution, one_period_reading_hz,
    pulse_distance_mm, pulses_per_km, pulses_per_mile, reciprocal_resolution, slowest_kmh,
    tooth_pitch,
};
use wheelwitness_driveline::speedometer::{cfr393_indicated, r39_indicated, r39_true};
use wheelwitness_driveline::tyre::{Size, true_speed_after_change};
use wheelwitness_driveline::units::{KM_PER_MILE, KMH_PER_KNOT};

#[derive(Deserialize)]
struct Speedometer {
    r39: Vec<Limit>,
    r39_indicated: Vec<Indicated>,
    cfr393: TwoSided,
    change: Vec<Change>,
}

#[derive(Deserialize)]
struct Limit {
    r#true: f64,
    most: f64,
    source: String,
}

#[derive(Deserialize)]
struct Indicated {
    indicated: f64,
    least_true: f64,
    source: String,
}

#[derive(Deserialize)]
struct TwoSided {
    r#true: f64,
    least: f64,
    most: f64,
    source: String,
}

#[derive(Deserialize)]
struct Change {
    old: String,
    new: String,
    r#true: f64,
    shows: f64,
    passes: bool,
    source: String,
}

fn speedometer() -> Speedometer {
    reference("speedometer.toml")
}

#[test]
fn un_r39_allows_a_tenth_and_four_kilometres_an_hour_above_and_nothing_below() {
    for row in speedometer().r39 {
        let [least, most] = r39_indicated(row.r#true);
        close(least, row.r#true, 0.0, &row.source);
        close(most, row.most, 1e-9, &row.source);
    }
}

#[test]
fn at_a_fixed_indication_un_r39_is_a_limit_of_true_speed() {
    for row in speedometer().r39_indicated {
        let [least, most] = r39_true(row.indicated);
        close(least, row.least_true, 5e-5, &row.source);
        close(most, row.indicated, 0.0, &row.source);
        close(r39_indicated(least)[1], row.indicated, 1e-9, &row.source);
    }
}

#[test]
fn the_federal_rule_is_two_sided_at_fifty_miles_an_hour() {
    let row = speedometer().cfr393;
    let [least, most] = cfr393_indicated();
    close(row.r#true, 50.0 * KM_PER_MILE, 1e-9, &row.source);
    close(least, row.least, 1e-9, &row.source);
    close(most, row.most, 1e-9, &row.source);
}

#[test]
fn larger_tyres_make_an_unadjusted_speedometer_fail_un_r39() {
    for row in speedometer().change {
        let size = |s: &str| s.parse::<Size>().unwrap_or_else(|e| panic!("{e}"));
        let shows = row.r#true / true_speed_after_change(1.0, &size(&row.old), &size(&row.new));
        close(shows, row.shows, 5e-4, &row.source);
        let [least, most] = r39_indicated(row.r#true);
        assert_eq!((least..=most).contains(&shows), row.passes, "{}", row.source);
    }
}

#[derive(Deserialize)]
struct Scales {
    scale: Vec<Scale>,
    frequency: Vec<Frequency>,
    per_mile: PerMile,
    resolution: Vec<Resolution>,
    one_period: OnePeriod,
    pitch: Pitch,
}

#[derive(Deserialize)]
struct Scale {
    name: String,
    turns_per_km: f64,
    pulses: f64,
    per_km: f64,
    distance_mm: f64,
    source: String,
}

#[derive(Deserialize)]
struct Frequency {
    per_km: f64,
    kmh: f64,
    hertz: f64,
    source: String,
}

#[derive(Deserialize)]
struct PerMile {
    teeth: f64,
    turns_per_mile: f64,
    axle_ratio: f64,
    pulses: f64,
    source: String,
}

#[derive(Deserialize)]
struct Resolution {
    hertz: f64,
    gate_s: f64,
    gated: f64,
    reciprocal: f64,
    source: String,
}

#[derive(Deserialize)]
struct OnePeriod {
    hertz: f64,
    clock_hz: f64,
    reads_hz: f64,
    source: String,
}

#[derive(Deserialize)]
struct Pitch {
    teeth: u32,
    radius_mm: f64,
    pitch_mm: f64,
    error_mm: f64,
    percent: f64,
    source: String,
}

fn scales() -> Scales {
    reference("pulse-scales.toml")
}

#[test]
fn sender_scales_are_those_of_the_manuals() {
    for row in scales().scale {
        let source = format!("{}: {}", row.name, row.source);
        let per_km = pulses_per_km(row.turns_per_km, row.pulses);
        close(per_km, row.per_km, 6e-4, &source);
        close(pulse_distance_mm(per_km), row.distance_mm, 5e-4, &source);
    }
    close(CABLE_TURNS_PER_KM, 637.0, 0.0, "JIS D 5601 practice, number from memory");
    close(CABLE_1000_PER_MILE, 621.3712, 5e-5, "SAE practice: 1000 turns a mile");
}

#[test]
fn two_common_scales_differ_by_what_looks_like_a_tyre_error() {
    let ratio = pulses_per_km(CABLE_TURNS_PER_KM, 4.0) / pulses_per_km(CABLE_1000_PER_MILE, 4.0);
    close((ratio - 1.0) * 100.0, 2.515, 5e-4, "2548 a km against 4000 a mile");
}

#[test]
fn frequencies_at_road_speeds_are_those_of_the_manuals() {
    for row in scales().frequency {
        close(frequency_hz(row.per_km, row.kmh), row.hertz, 5e-4, &row.source);
    }
}

#[test]
fn pulses_per_mile_are_teeth_times_turns_times_ratio() {
    let row = scales().per_mile;
    let pulses = pulses_per_mile(row.teeth, row.turns_per_mile, row.axle_ratio);
    close(pulses, row.pulses, 0.05, &row.source);
}

#[test]
fn a_gate_reads_coarsely_and_timed_periods_finely_as_the_handbooks_say() {
    for row in scales().resolution {
        let gated = gated_resolution(row.hertz, row.gate_s);
        close(gated / row.gated, 1.0, 2e-3, &row.source);
        let reciprocal = reciprocal_resolution(row.hertz, row.gate_s, 1e-6).unwrap();
        close(reciprocal / row.reciprocal, 1.0, 5e-3, &row.source);
    }
    assert_eq!(reciprocal_resolution(2.0, 0.1, 1e-6), None);
}

#[test]
fn one_period_in_whole_ticks_reads_high() {
    let row = scales().one_period;
    close(one_period_reading_hz(row.hertz, row.clock_hz), row.reads_hz, 5e-4, &row.source);
}

#[test]
fn one_tooth_out_of_place_is_worth_its_share_of_the_pitch() {
    let row = scales().pitch;
    let pitch = tooth_pitch(row.teeth, row.radius_mm);
    close(pitch, row.pitch_mm, 5e-4, &row.source);
    close(row.error_mm / pitch * 100.0, row.percent, 5e-4, &row.source);
}

#[test]
fn a_time_out_tells_rest_only_below_one_pulse_per_time_out() {
    let per_km = pulses_per_km(CABLE_TURNS_PER_KM, 4.0);
    close(frequency_hz(per_km, slowest_kmh(per_km, 0.5)), 2.0, 1e-12, "one pulse in half a second");
}

#[test]
fn a_knot_is_a_nautical_mile_an_hour() {
    close(
        22.4 * KMH_PER_KNOT,
        41.4848,
        1e-9,
        "NIST SP 811, from memory; a public NMEA 0183 example",
    );
}

/// 4,000 pulses a mile (check values, speedometer), shown with three percent more: worked by hand.
#[test]
fn what_is_shown_is_what_the_pulses_say_and_the_surplus() {
    use wheelwitness_driveline::vehicle::{Place, SpeedRule, Speedometer};
    let per_km = pulses_per_km(CABLE_1000_PER_MILE, 4.0);
    let dial = |pulses_per_km, surplus_percent| Speedometer {
        rule: SpeedRule::UnR39,
        pulses_per_km,
        sender: Place::SpeedSender,
        surplus_percent,
    };
    let hz = frequency_hz(per_km, 80.0);
    let kmh = |s: Speedometer| s.shown_mps(hz).map(|mps| 3.6 * mps);
    assert!((kmh(dial(Some(per_km), 3.0)).unwrap() - 82.4).abs() < 1e-9);
    assert!((kmh(dial(Some(per_km), 0.0)).unwrap() - 80.0).abs() < 1e-9);
    assert_eq!(kmh(dial(None, 0.0)), None);
}
