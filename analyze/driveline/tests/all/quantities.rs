//! Promises of estimates and their components.

use proptest::prelude::*;
use wheelwitness_driveline::quantity::{Component, Estimate};

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
