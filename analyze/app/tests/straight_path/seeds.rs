//! The numbers come from the drive, and each verdict from its own part of the vehicle file.

use crate::bench::{Folder, disproven};
use crate::bench::{assert_true, capture_in, driven, judged, run, verdicts};
use wheelwitness::exit;
use wheelwitness_analyze::result::{DriveResult, Verdict};
use wheelwitness_rig::scenario::{TRAIL_WAGON, demo_faults};

/// The first number of every claim that has one.
fn numbers(result: &DriveResult) -> Vec<(String, String, f64)> {
    let first = |c: &wheelwitness_analyze::result::Claim| {
        let e = c.periods.first()?.estimates.first()?;
        Some((c.id.clone(), c.scope.clone(), e.value?))
    };
    result.claims.iter().filter_map(first).collect()
}

#[test]
fn another_seed_changes_the_numbers_and_stays_true() {
    let results: Vec<_> = [1, 2, 3]
        .into_iter()
        .map(|seed| {
            let (plan, drive) = driven(seed, demo_faults());
            let result = judged(&drive, TRAIL_WAGON);
            assert_true(&result, &drive.truth.facts(&plan.declared));
            numbers(&result)
        })
        .collect();
    let measured = ["center-opens", "center-locks", "tyres-match", "sensors-agree"];
    for (one, other) in [(0, 1), (0, 2), (1, 2)] {
        let (a, b) = (&results[one], &results[other]);
        let of_both = a.iter().zip(b).filter(|(a, _)| measured.contains(&a.0.as_str()));
        let mut compared = 0;
        for (a, b) in of_both {
            assert_eq!((&a.0, &a.1), (&b.0, &b.1));
            assert_ne!(a.2, b.2, "{} ({})", a.0, a.1);
            compared += 1;
        }
        assert!(compared >= 7, "{compared}");
    }
}

#[test]
fn a_corrupted_switch_row_changes_exactly_its_verdict() {
    let (_, drive) = driven(4, vec![]);
    let sound = verdicts(&judged(&drive, TRAIL_WAGON));
    let key = ("switch-table".to_string(), "locked".to_string());
    assert_eq!(sound[&key], Verdict::Proven);
    let row = r#"limit_contacts = { limit-a = "off", limit-b = "on", limit-c = "off" }"#;
    assert_eq!(TRAIL_WAGON.matches(row).count(), 1, "the row of mode locked");
    let corrupted = TRAIL_WAGON.replace(row, &row.replace(r#"b = "on""#, r#"b = "off""#));
    let mut after = verdicts(&judged(&drive, &corrupted));
    assert_eq!(after.insert(key, Verdict::Proven), Some(Verdict::Disproven));
    assert_eq!(after, sound, "every other verdict is as it was");
}

#[test]
fn a_sound_vehicle_is_disproven_nowhere() {
    let (plan, drive) = driven(5, vec![]);
    let result = judged(&drive, TRAIL_WAGON);
    assert_true(&result, &drive.truth.facts(&plan.declared));
    assert!(disproven(&result).is_empty());
}

#[test]
fn the_same_capture_gives_the_same_result_byte_for_byte() {
    let folder = Folder::new("twice");
    let (_, drive) = driven(1, demo_faults());
    let capture = folder.path("capture");
    capture_in(&capture, &drive, TRAIL_WAGON);
    let files = ["first", "second"].map(|name| {
        let report = folder.path(name);
        let code = run(&["judge", "--report"], &[&report, &capture]);
        assert_eq!(code, exit::DONE);
        ["result.json", "report.html", "summary.txt"]
            .map(|file| std::fs::read(report.join(file)).unwrap())
    });
    assert!(files[0] == files[1]);
}
