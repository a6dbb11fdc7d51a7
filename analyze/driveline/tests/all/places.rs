//! Promises about where sensors sit: paths of four wheels from the published turning table tell
//! every exchange, and nothing but a turn does.

use wheelwitness_driveline::demand::Setup;
use wheelwitness_driveline::places::{Exchange, PlacesFold};
use wheelwitness_driveline::pulse::Step;
use wheelwitness_driveline::turn::{PLACES, Turn};
use wheelwitness_driveline::vehicle::Place::{self, *};
use wheelwitness_driveline::vehicle::{Vehicle, new_vehicle_text};

/// Radii in a turn to the right, outer (left) wheel first: front, then rear, metres, for a
/// wheelbase of 2.8 m, a track of 1.5 m and a radius of 10 m (Gillespie 1992 ch. 6, from memory;
/// recomputed).
const RIGHT_TURN: [(Place, f64); 4] =
    [(FrontLeft, 11.108_67), (FrontRight, 9.664_50), (RearLeft, 10.75), (RearRight, 9.25)];
const STRAIGHT: [(Place, f64); 4] =
    [(FrontLeft, 10.0), (FrontRight, 10.0), (RearLeft, 10.0), (RearRight, 10.0)];
const RATIO: f64 = 4.1;

fn setup() -> Setup {
    let vehicle = Vehicle::parse(new_vehicle_text(), "new.toml").expect("a template is sound");
    let mut setup = Setup::new(&vehicle);
    (setup.ratio, setup.open) = ([RATIO; 2], [true; 2]);
    setup
}

fn turn(turns: f64) -> Turn {
    Turn { turns, u_start: 0.002, u_end: 0.002, still: false, edge: 0.02, sent: None }
}

/// Steps of half a second at 2 m/s along such paths; `label` says which sensor is declared where.
fn drive(
    fold: &mut PlacesFold,
    paths: &[(Place, f64); 4],
    mirrored: bool,
    yaw_rate: Option<f64>,
    label: impl Fn(Place) -> Place,
) {
    let radius = |place: Place| {
        let side = match (place, mirrored) {
            (FrontLeft, true) => FrontRight,
            (FrontRight, true) => FrontLeft,
            (RearLeft, true) => RearRight,
            (RearRight, true) => RearLeft,
            (place, _) => place,
        };
        paths.iter().find(|(p, _)| *p == side).expect("a wheel").1
    };
    let turned = |place: Place| match place {
        FrontShaft => RATIO * (radius(FrontLeft) + radius(FrontRight)) / 2.0,
        RearShaft => RATIO * (radius(RearLeft) + radius(RearRight)) / 2.0,
        wheel => radius(wheel),
    };
    for n in 0..60_i64 {
        let mut step = Step {
            start_us: n * 500_000,
            end_us: (n + 1) * 500_000,
            records: (n as u64, n as u64),
            turn: [None; PLACES],
        };
        for place in [FrontShaft, RearShaft, FrontLeft, FrontRight, RearLeft, RearRight] {
            // 0.1 rad in half a second, over a circumference of 2.2 m.
            step.turn[label(place) as usize] = Some(turn(turned(place) * 0.1 / 2.2));
        }
        fold.push(&step, yaw_rate.map(|r| if mirrored { -r } else { r }));
    }
}

fn swapped(a: Place, b: Place) -> impl Fn(Place) -> Place + Copy {
    move |p| {
        if p == a {
            b
        } else if p == b {
            a
        } else {
            p
        }
    }
}

/// What a circle each way shows of sensors so labelled.
fn shown(label: impl Fn(Place) -> Place + Copy, yaw_rate: Option<f64>) -> Option<Exchange> {
    let mut fold = PlacesFold::new(&setup(), 0.5).expect("open axles");
    for mirrored in [false, true] {
        drive(&mut fold, &RIGHT_TURN, mirrored, yaw_rate, label);
    }
    fold.finish().map(|e| e.exchange)
}

#[test]
fn sensors_at_their_places_are_never_called_exchanged() {
    assert_eq!(shown(|p| p, Some(0.2)), None);
    assert_eq!(shown(|p| p, None), None);
}

#[test]
fn every_exchange_across_the_axles_is_named() {
    for front in [FrontLeft, FrontRight] {
        for rear in [RearLeft, RearRight] {
            let found = shown(swapped(front, rear), None);
            assert_eq!(found, Some(Exchange::Wheels(front, rear)));
        }
    }
    assert_eq!(shown(swapped(FrontShaft, RearShaft), None), Some(Exchange::Axles));
    let axles = |p| swapped(FrontLeft, RearLeft)(swapped(FrontRight, RearRight)(p));
    assert_eq!(shown(axles, Some(0.2)), Some(Exchange::Axles));
}

#[test]
fn left_and_right_exchanged_are_found_and_the_course_tells_at_which_axle() {
    let (front, rear) = (swapped(FrontLeft, FrontRight), swapped(RearLeft, RearRight));
    assert_eq!(shown(front, None), Some(Exchange::Sides(None)));
    assert_eq!(shown(front, Some(0.2)), Some(Exchange::Sides(Some(0))));
    assert_eq!(shown(rear, Some(0.2)), Some(Exchange::Sides(Some(1))));
}

#[test]
fn a_straight_road_shows_no_exchange() {
    let mut fold = PlacesFold::new(&setup(), 0.5).expect("open axles");
    drive(&mut fold, &STRAIGHT, false, Some(0.0), swapped(FrontLeft, RearRight));
    assert_eq!(fold.finish(), None);
}

/// A wrong tooth count contradicts the shaft too, but no exchange explains it.
#[test]
fn a_wrong_tooth_count_is_not_called_an_exchange() {
    let mut setup = setup();
    setup.ratio[0] *= 1.1;
    let mut fold = PlacesFold::new(&setup, 0.5).expect("open axles");
    drive(&mut fold, &RIGHT_TURN, false, Some(0.2), |p| p);
    assert_eq!(fold.finish(), None);
}

#[test]
fn an_axle_that_is_not_open_says_nothing() {
    let mut setup = setup();
    setup.open[1] = false;
    assert!(PlacesFold::new(&setup, 0.5).is_none());
}
