//! Differentials, curves and slip against textbooks.

use crate::common::{close, reference};
use serde::Deserialize;
use wheelwitness_driveline::demand::front_excess;
use wheelwitness_driveline::kinematics::{
    Circle, Turning, front_turns, input_turns, lifted_wheel_factor, rear_turns, slip_braking,
    slip_driving, slip_j670, turning,
};
use wheelwitness_driveline::vehicle::{Center, Member, Pinions};

#[derive(Deserialize)]
struct Differentials {
    bevel: Vec<Bevel>,
    single: Vec<Single>,
    double: Vec<Double>,
    center: Vec<Shares>,
    raised: Raised,
}

#[derive(Deserialize)]
struct Raised {
    shown_kmh: f64,
    tread_kmh: f64,
    source: String,
}

#[derive(Deserialize)]
struct Bevel {
    case: f64,
    one: f64,
    other: f64,
    source: String,
}

#[derive(Deserialize)]
struct Single {
    sun_teeth: u32,
    ring_teeth: u32,
    sun_share: f64,
    carrier: f64,
    sun: f64,
    ring: f64,
    source: String,
}

#[derive(Deserialize)]
struct Double {
    sun_teeth: u32,
    ring_teeth: u32,
    sun_share: f64,
    ring: f64,
    sun: f64,
    carrier: f64,
    source: String,
}

#[derive(Deserialize)]
struct Shares {
    front_share: f64,
    front: f64,
    rear: f64,
    input: f64,
    source: String,
}

fn differentials() -> Differentials {
    reference("differentials.toml")
}

fn share(sun_teeth: u32, ring_teeth: u32, pinions: Pinions, front_output: Member) -> f64 {
    Center::Planetary { sun_teeth, ring_teeth, pinions, front_output }.front_share().unwrap()
}

#[test]
fn a_bevel_differential_turns_as_the_textbooks_say_signs_included() {
    let a = Center::Bevel.front_share().unwrap();
    for row in differentials().bevel {
        close(front_turns(a, row.case, row.one), row.other, 1e-9, &row.source);
        close(input_turns(a, row.one, row.other), row.case, 1e-9, &row.source);
    }
}

#[test]
fn a_planetary_set_with_single_planets_obeys_willis() {
    for row in differentials().single {
        let sun = share(row.sun_teeth, row.ring_teeth, Pinions::Single, Member::Sun);
        close(sun, row.sun_share, 5e-6, &row.source);
        close(rear_turns(sun, row.carrier, row.sun), row.ring, 5e-4, &row.source);
        // The same set with the ring at the front.
        let ring = share(row.sun_teeth, row.ring_teeth, Pinions::Single, Member::Ring);
        close(ring + sun, 1.0, 1e-12, &row.source);
        close(front_turns(ring, row.carrier, row.sun), row.ring, 5e-4, &row.source);
    }
}

#[test]
fn a_planetary_set_with_double_planets_obeys_willis() {
    for row in differentials().double {
        let sun = share(row.sun_teeth, row.ring_teeth, Pinions::Double, Member::Sun);
        close(sun, row.sun_share, 1e-12, &row.source);
        let turns = if row.sun == 0.0 {
            [rear_turns(sun, row.ring, row.sun), row.carrier]
        } else {
            [front_turns(sun, row.ring, row.carrier), row.sun]
        };
        close(turns[0], turns[1], 5e-4, &row.source);
        let carrier = share(row.sun_teeth, row.ring_teeth, Pinions::Double, Member::Carrier);
        close(carrier + sun, 1.0, 1e-12, &row.source);
    }
}

#[test]
fn the_speed_weights_of_a_center_differential_are_its_torque_shares() {
    for row in differentials().center {
        close(input_turns(row.front_share, row.front, row.rear), row.input, 5e-4, &row.source);
    }
}

#[test]
fn a_lone_wheel_runs_at_twice_what_the_dial_shows() {
    let row = differentials().raised;
    let all = turning(Turning::All, 0.5, 1000.0, 4.1);
    let lone = turning(Turning::OneLocked, 0.5, 1000.0, 4.1);
    close(lone.rear_shaft, all.rear_shaft, 0.0, &row.source);
    close(row.shown_kmh * lone.wheel / all.wheel, row.tread_kmh, 1e-9, &row.source);
}

#[test]
fn with_the_center_open_too_a_lone_wheel_turns_two_over_its_share_times_as_fast() {
    for share in [0.5, 0.4, 0.25] {
        let all = turning(Turning::All, share, 1000.0, 3.9).wheel;
        let [front, rear] =
            [Turning::OneFront, Turning::OneRear].map(|w| turning(w, share, 1000.0, 3.9));
        close(front.wheel / all, lifted_wheel_factor(share), 1e-12, "power balance");
        close(rear.wheel / all, lifted_wheel_factor(1.0 - share), 1e-12, "power balance");
        // Input turns are kept: Willis equation in its general form.
        for one in [front, rear] {
            close(input_turns(share, one.front_shaft, one.rear_shaft), 1000.0, 1e-9, "Willis");
        }
    }
}

#[test]
fn with_the_input_held_the_outputs_turn_opposite_ways() {
    // N_R = -N_F a / (1 - a): power balance.
    close(rear_turns(0.4, 0.0, 30.0), -20.0, 1e-12, "power balance");
}

#[test]
fn a_member_that_is_the_input_has_no_share() {
    let center = |pinions, front_output| Center::Planetary {
        sun_teeth: 30,
        ring_teeth: 60,
        pinions,
        front_output,
    };
    assert_eq!(center(Pinions::Single, Member::Carrier).front_share(), None);
    assert_eq!(center(Pinions::Double, Member::Ring).front_share(), None);
}

#[derive(Deserialize)]
struct Circles {
    circle: Vec<OnCircle>,
}

#[derive(Deserialize)]
struct OnCircle {
    wheelbase: f64,
    track: f64,
    radius: f64,
    rear: [f64; 2],
    front: [f64; 2],
    steering_deg: [f64; 2],
    shaft_ratio: f64,
    single_track: f64,
    source: String,
}

fn circles() -> Vec<OnCircle> {
    reference::<Circles>("turning.toml").circle
}

#[test]
fn wheels_on_a_circle_run_on_the_radii_of_plane_geometry() {
    for row in circles() {
        let (wheelbase, track, radius) = (row.wheelbase, row.track, row.radius);
        let circle = Circle { wheelbase, track, radius };
        for side in 0..2 {
            close(circle.rear()[side], row.rear[side], 5e-6, &row.source);
            close(circle.front()[side], row.front[side], 5e-6, &row.source);
            let degrees = circle.steering()[side].to_degrees();
            close(degrees, row.steering_deg[side], 5e-5, &row.source);
        }
        close(circle.shaft_ratio(), row.shaft_ratio, 5e-6, &row.source);
        close(circle.single_track_ratio(), row.single_track, 5e-6, &row.source);
    }
}

#[test]
fn the_steering_angles_obey_the_cotangent_rule() {
    for row in circles() {
        let (wheelbase, track, radius) = (row.wheelbase, row.track, row.radius);
        let [inner, outer] = Circle { wheelbase, track, radius }.steering();
        let difference = 1.0 / outer.tan() - 1.0 / inner.tan();
        close(difference, track / wheelbase, 1e-12, &row.source);
    }
}

#[test]
fn the_demand_of_the_analysis_is_that_geometry_where_nothing_slips() {
    for row in circles() {
        let excess = front_excess([row.wheelbase, row.track], 1.0 / row.radius, 0.0);
        close(1.0 + excess, row.shaft_ratio, 5e-6, &row.source);
    }
}

#[derive(Deserialize)]
struct Slips {
    slip: Vec<Slip>,
}

#[derive(Deserialize)]
struct Slip {
    speed: f64,
    radius: f64,
    spin: f64,
    j670: f64,
    driving: Option<f64>,
    braking: f64,
    source: String,
}

#[test]
fn slip_by_each_definition_is_what_its_source_says() {
    for row in reference::<Slips>("slip.toml").slip {
        let (tread, free) = (row.radius * row.spin, row.speed / row.radius);
        close(slip_j670(row.spin, free).unwrap(), row.j670, 1e-9, &row.source);
        close(slip_braking(tread, row.speed).unwrap(), row.braking, 1e-9, &row.source);
        let driving = slip_driving(tread, row.speed);
        assert_eq!(driving.is_some(), row.driving.is_some(), "{}", row.source);
        if let (Some(computed), Some(published)) = (driving, row.driving) {
            close(computed, published, 5e-7, &row.source);
        }
    }
}
