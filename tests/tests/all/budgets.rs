//! Every component of every uncertainty is there.
//!
//! Whether the components are large enough is for the campaign, over thousands of drives; that one
//! is gone shows here in a few.

use std::collections::BTreeSet;
use wheelwitness_tests::campaign::{drive, stress, turned};
use wheelwitness_tests::stress::STRESSES;

/// The budget of each estimate: what the GUM (JCGM 100:2008, 3.3.2) asks to be listed.
const BUDGETS: [(&str, &[&str]); 13] = [
    (
        "allowance, locks",
        &[
            "backlash",
            "circumference",
            "counting",
            "course",
            "geometry",
            "left/right tyres",
            "mistaken mismatch",
            "scatter",
            "side slip",
            "wheel slip",
        ],
    ),
    (
        "allowance, opens",
        &[
            "backlash",
            "circumference",
            "counting",
            "course",
            "geometry",
            "left/right tyres",
            "scatter",
            "side slip",
            "wheel slip",
        ],
    ),
    ("circumference front/rear", &["center drag", "counting", "scatter", "traction"]),
    ("circumference front/rear, shafts", &["center drag", "counting", "scatter", "traction"]),
    ("circumference left/right", &["course", "geometry", "scatter", "traction"]),
    ("front share", &["backlash", "counting", "scatter"]),
    ("front share, by hand", &["backlash", "counting", "stray edges"]),
    ("range ratio", &["backlash", "counting", "scatter"]),
    (
        "scrub",
        &[
            "circumference",
            "counting",
            "course",
            "geometry",
            "left/right tyres",
            "mismatch",
            "side slip",
            "sliding tyres",
        ],
    ),
    ("sender scale excess", &["counting", "latency", "receiver", "receiver noise", "scatter"]),
    ("shaft-to-wheel ratio", &["counting", "scatter"]),
    ("share of critical speed", &["change of speed", "counting", "tube"]),
    ("shown less true speed", &["counting", "latency", "receiver", "receiver noise", "scatter"]),
];

#[test]
fn no_component_of_any_uncertainty_is_missing() {
    let kind = |name: &str| STRESSES.iter().position(|s| s.0 == name).expect("a stress");
    // Few drives that have all of them; any others that do will serve.
    let drives = [
        drive(300_183),
        drive(300_635),
        drive(312_514),
        turned(3),
        stress(kind("circumference"), 300_020),
        stress(kind("receiver noise"), 300_001),
    ];
    let measured = drives.iter().flat_map(|o| &o.measured);
    let found: BTreeSet<(&str, &str)> = measured
        .flat_map(|m| m.components.iter().filter(|c| c.1 > 0.0).map(|c| (&*m.name, &*c.0)))
        .collect();
    let listed: BTreeSet<(&str, &str)> = BUDGETS
        .into_iter()
        .flat_map(|(name, components)| components.iter().map(move |c| (name, *c)))
        .collect();
    let missing: Vec<_> = listed.difference(&found).collect();
    assert!(missing.is_empty(), "no uncertainty of this kind any more: {missing:?}");
    let new: Vec<_> = found.difference(&listed).collect();
    assert!(new.is_empty(), "not in the list: {new:?}");
}
