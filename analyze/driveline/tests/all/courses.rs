//! Promises of a course over ground that need no drive: what breaks it, how much it scatters, which
//! speed is near.

use wheelwitness_driveline::course::{Course, Fix};

fn course(fixes: impl Iterator<Item = (f64, f64)>) -> Course {
    let mut course = Course::default();
    for (time_s, course_rad) in fixes {
        course.push(Fix { time_s, speed_mps: 10.0, course_rad });
    }
    course
}

#[test]
fn a_pause_of_more_than_two_and_a_half_seconds_breaks_a_course() {
    for (pause_s, whole) in [(2.5, true), (2.75, false)] {
        let times = (0..40).map(|k| 100.0 + 0.5 * f64::from(k));
        let later = |t: f64| if t > 110.0 { t + pause_s - 0.5 } else { t };
        let course = course(times.map(|t| (later(t), 1.0)));
        assert_eq!(course.unbroken(108.0, 114.0), whole, "a pause of {pause_s} s");
        assert!(course.unbroken(102.0, 108.0) && course.unbroken(115.0, 120.0), "{pause_s} s");
        assert!(!course.unbroken(10.0, 20.0), "there are no fixes");
    }
}

/// Three fixes a second apart, of courses 0, 0.05 and 0, and a pause: the second differences are
/// 0.1 within and 0.05 across the pause. One course has a variance of a sixth of theirs, and a
/// normal distribution's standard deviation is 1.4826 times the median of its absolute values.
#[test]
fn courses_that_lie_as_far_apart_as_two_and_a_half_gaps_say_nothing_of_the_noise() {
    let u_of = |bend: f64| bend / 6f64.sqrt() * 1.4826;
    for (pause_s, bend) in [(2.0, 0.1), (1.5, 0.1), (1.25, 0.05)] {
        let at = |k: u32| f64::from(k / 3) * (2.0 + pause_s) + f64::from(k % 3);
        let course = course((0..90).map(|k| (at(k), if k % 3 == 1 { 0.05 } else { 0.0 })));
        let (_, u) = course.at(at(46)).expect("fixes around");
        assert!((u - u_of(bend)).abs() < 1e-9, "a pause of {pause_s} s: {u} {}", u_of(bend));
    }
}

#[test]
fn the_speed_near_an_instant_is_that_of_the_nearest_fix_within_a_second_and_a_half() {
    let mut course = Course::default();
    for (time_s, speed_mps) in [(10.0, 3.0), (11.0, 4.0), (20.0, 5.0)] {
        course.push(Fix { time_s, speed_mps, course_rad: 0.0 });
    }
    for (at_s, speed) in [
        (8.5, Some(3.0)),
        (8.25, None),
        (10.25, Some(3.0)),
        (10.75, Some(4.0)),
        (12.5, Some(4.0)),
        (12.75, None),
        (18.5, Some(5.0)),
        (21.5, Some(5.0)),
        (21.75, None),
    ] {
        assert_eq!(course.speed_near(at_s), speed, "{at_s} s");
    }
}

#[test]
fn a_course_moved_earlier_has_the_same_speeds_and_courses_earlier() {
    let fixes = || (0..40).map(|k| (100.0 + 0.5 * f64::from(k), 0.01 * f64::from(k)));
    let (there, earlier) = (course(fixes()), course(fixes()).earlier_by(50.0));
    assert!(Course::default().is_empty() && !there.is_empty() && !earlier.is_empty());
    assert_eq!(earlier.speeds_between(50.0, 51.0), [(50.0, 10.0), (50.5, 10.0)]);
    assert_eq!((earlier.at(60.0), earlier.at(110.0)), (there.at(110.0), None));
}
