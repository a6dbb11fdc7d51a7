//! Promises of estimates and their components.

use proptest::prelude::*;
use wheelwitness_driveline::quantity::{Component, Estimate};
use wheelwitness_driveline::stats::{least_squares, t_factor};

fn estimate(components: Vec<Component>) -> Estimate {
    Estimate { name: "allowance".into(), value: 0.9, unit: "1".into(), components }
}

#[test]
fn an_estimate_without_components_claims_no_uncertainty_and_no_scatter() {
    let e = estimate(vec![]);
    assert_eq!((e.u(), e.dof()), (0.0, f64::INFINITY));
}

#[test]
fn one_component_from_scatter_keeps_its_own_degrees_of_freedom() {
    let e = estimate(vec![Component::from_scatter("counting", 0.02, 7.0)]);
    assert!((e.dof() - 7.0).abs() < 1e-9);
}

#[test]
fn a_component_is_never_negative() {
    assert_eq!(Component::own("geometry", -0.1).u, 0.1);
    assert_eq!(Component::shared("geometry", -0.1).u, 0.1);
}

#[test]
fn unlimited_freedom_is_written_as_null_and_read_back() {
    let e = estimate(vec![Component::shared("side slip", 0.05)]);
    let text = serde_json::to_string(&e).unwrap();
    assert!(text.contains("\"dof\":null"), "{text}");
    assert_eq!(serde_json::from_str::<Estimate>(&text).unwrap(), e);
}

proptest! {
    #[test]
    fn combined_uncertainty_lies_between_the_largest_part_and_the_sum(
        parts in prop::collection::vec((1e-6f64..1e3, 1f64..100.0), 1..8)
    ) {
        let part = |(i, &(u, dof)): (usize, &(f64, f64))| {
            Component::from_scatter(&i.to_string(), u, dof)
        };
        let e = estimate(parts.iter().enumerate().map(part).collect());
        let largest = parts.iter().map(|p| p.0).fold(0.0, f64::max);
        let sum: f64 = parts.iter().map(|p| p.0).sum();
        prop_assert!(e.u() >= largest * (1.0 - 1e-12) && e.u() <= sum * (1.0 + 1e-12));
        // Welch-Satterthwaite (GUM G.4.1): never fewer than the poorest part has, never more
        // than all together.
        let poorest = parts.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
        let all: f64 = parts.iter().map(|p| p.1).sum();
        prop_assert!(e.dof() >= poorest * (1.0 - 1e-9) && e.dof() <= all * (1.0 + 1e-9));
    }
}

#[test]
fn shared_parts_of_one_name_gather_and_own_parts_stay_by_themselves() {
    let mut all = vec![Component::own("tape", 1.0), Component::shared("course", 2.0)];
    Component::gather(&mut all, "tape", 3.0);
    Component::gather(&mut all, "tape", 4.0);
    Component::gather(&mut all, "course", 1.5);
    let of = |name: &str, shared: bool| {
        let found: Vec<f64> =
            all.iter().filter(|c| c.name == name && c.shared == shared).map(|c| c.u).collect();
        assert_eq!(found.len(), 1, "{name}, shared {shared}: {all:?}");
        found[0]
    };
    assert_eq!(of("tape", false), 1.0, "what one period has alone is left alone");
    assert_eq!(of("tape", true), 5.0);
    assert_eq!(of("course", true), 2.5);
    assert_eq!(all.len(), 3);
}

#[test]
fn scatter_of_few_data_is_widened_and_counted_with_three_degrees_more() {
    let c = Component::from_few("scatter", 0.5, 4.0);
    assert!((c.u - 0.5 * 2f64.sqrt()).abs() < 1e-12 && c.dof == 7.0 && !c.shared, "{c:?}");
    let none = Component::from_few("scatter", -0.5, 0.0);
    assert!((none.u - 0.5 * 2.2).abs() < 1e-12 && none.dof == 4.0, "{none:?}");
}

#[test]
fn a_million_degrees_of_freedom_are_as_good_as_all() {
    let normal = t_factor(0.95, f64::INFINITY);
    // Two-sided 95 % of the normal distribution (handbook table).
    assert!((normal - 1.959_964).abs() < 1e-6);
    assert_eq!(t_factor(0.95, 1e6), normal);
    assert_eq!(t_factor(0.95, 3e6), normal);
    assert!(t_factor(0.95, 1e4) > normal + 1e-4);
    // Student's table, one degree: 12.706; fewer are taken as one.
    assert!((t_factor(0.95, 1.0) - 12.706).abs() < 1e-3);
    assert_eq!(t_factor(0.95, 0.2), t_factor(0.95, 1.0));
}

#[test]
fn a_fit_without_freedom_has_no_scatter_and_one_of_dependent_columns_is_none() {
    let exact = least_squares(&[vec![1.0], vec![0.0]][..1], &[3.0], &[1.0]).expect("one row");
    assert!((exact.beta[0] - 3.0).abs() < 1e-12 && exact.dof == 0 && exact.residual_sd().is_nan());
    let twice = [vec![1.0, 2.0], vec![2.0, 4.0], vec![3.0, 6.0]];
    assert_eq!(least_squares(&twice, &[1.0, 2.0, 3.0], &[1.0; 3]), None);
    let nothing = [vec![1.0, 0.0], vec![2.0, 0.0]];
    assert_eq!(least_squares(&nothing, &[1.0, 2.0], &[1.0; 2]), None);
    let short = [vec![1.0, 2.0]];
    assert_eq!(least_squares(&short, &[1.0], &[1.0]), None);
    // Mean of 1, 2, 6 with unit weights: residuals -2, -1, 3, their deviation is sqrt(14 / 2).
    let mean = least_squares(&[vec![1.0], vec![1.0], vec![1.0]], &[1.0, 2.0, 6.0], &[1.0; 3]);
    let mean = mean.expect("three rows");
    assert!((mean.residual_sd() - 7f64.sqrt()).abs() < 1e-12);
    assert!((mean.u_scatter(0) - (7.0 / 3.0f64).sqrt()).abs() < 1e-12);
}
