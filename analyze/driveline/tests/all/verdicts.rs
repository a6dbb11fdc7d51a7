//! Promises of the verdict rule: what is inside, outside or neither, and whether periods agree.

use proptest::prelude::*;
use wheelwitness_driveline::quantity::{Component, Estimate};
use wheelwitness_driveline::verdict::{Bounds, Judgement, agree, factor, judge};

fn estimate(value: f64, components: Vec<Component>) -> Estimate {
    Estimate { name: "allowance".into(), value, unit: "1".into(), components }
}

fn own(value: f64, u: f64) -> Estimate {
    estimate(value, vec![Component::own("counting", u)])
}

/// Student's t, two-sided 99.73 %: 3.000 for a normal distribution, 19.21 for 2, 6.62 for 4, 4.09
/// for 9, 3.33 for 25 degrees of freedom (JCGM 100:2008, table G.2, from memory).
#[test]
fn the_factor_is_students_t_at_99_73_percent_and_never_below_three() {
    for (dof, t) in [(2.0, 19.21), (4.0, 6.62), (9.0, 4.09), (25.0, 3.33)] {
        assert!((factor(dof, 1) / t - 1.0).abs() < 0.002, "{dof}: {}", factor(dof, 1));
    }
    assert!((factor(f64::INFINITY, 1) - 3.0).abs() < 1e-3);
    assert_eq!(factor(f64::INFINITY, 0), factor(f64::INFINITY, 1), "no period is one");
}

proptest! {
    #[test]
    fn a_verdict_needs_the_factor_to_the_nearer_bound_and_three_of_it_decide(
        value in -2.0..2.0f64,
        u in 0.01..0.5f64,
        periods in 1..6usize,
    ) {
        let (lower, upper) = (-0.7, 0.9);
        let (k, far) = (factor(f64::INFINITY, 1) * u, factor(f64::INFINITY, periods) * u);
        let expected = if value - lower >= k && upper - value >= k {
            Judgement::Inside
        } else if lower - value > far || value - upper > far {
            Judgement::Outside
        } else {
            Judgement::Between
        };
        prop_assert_eq!(judge(&own(value, u), Bounds::between(lower, upper), periods), expected);
    }
}

#[test]
fn an_absent_bound_never_binds_and_what_is_no_number_decides_nothing() {
    assert_eq!(judge(&own(-1e6, 0.1), Bounds::at_most(1.0), 1), Judgement::Inside);
    assert_eq!(judge(&own(1.5, 0.1), Bounds::at_most(1.0), 1), Judgement::Outside);
    let free = Bounds { lower: Some(0.0), upper: None };
    assert_eq!(judge(&own(1e6, 0.1), free, 1), Judgement::Inside);
    assert_eq!(judge(&own(-1.0, 0.1), free, 1), Judgement::Outside);
    for odd in [own(f64::NAN, 0.1), own(f64::INFINITY, 0.1), own(0.0, f64::NAN)] {
        assert_eq!(judge(&odd, Bounds::within(1.0), 1), Judgement::Between, "{odd:?}");
    }
}

#[test]
fn periods_agree_within_the_factor_of_what_is_their_own() {
    let k = factor(f64::INFINITY, 1);
    let apart = |times: f64| agree(&[&own(0.0, 0.03), &own(times * k * 0.05, 0.04)]);
    assert!(apart(0.99) && apart(-0.99), "0.03 and 0.04 make 0.05");
    assert!(!apart(1.01) && !apart(-1.01));
    assert!(agree(&[]) && agree(&[&own(5.0, 0.1)]), "one alone agrees");
}

#[test]
fn what_periods_share_moves_them_alike_and_excuses_no_disagreement() {
    let shared = |value: f64| {
        let all = vec![Component::own("counting", 0.01), Component::shared("geometry", 1.0)];
        estimate(value, all)
    };
    assert!(!agree(&[&shared(0.0), &shared(0.1)]));
    assert!(agree(&[&shared(0.0), &shared(0.03)]));
}

#[test]
fn one_pair_that_disagrees_is_enough_and_more_pairs_are_given_more_room() {
    let (a, b, c) = (own(0.0, 0.1), own(0.05, 0.1), own(0.9, 0.1));
    assert!(agree(&[&a, &b]) && !agree(&[&a, &b, &c]) && !agree(&[&c, &a, &b]));
    // Of three periods there are three pairs (Bonferroni).
    let far = own(3.1 * 0.1 * 2f64.sqrt(), 0.1);
    assert!(!agree(&[&a, &far]) && agree(&[&a, &far, &own(0.22, 0.1)]));
}
