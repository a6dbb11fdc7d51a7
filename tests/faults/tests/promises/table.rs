//! The table: every row is there, and what it names is there too.

use wheelwitness_faults::guest::top;
use wheelwitness_faults::table::{HARDWARE, file_of, rows};
use wheelwitness_faults::unprotected::{Holder, NOT_TAKEN_AWAY, PROTECTIONS};

#[test]
fn every_row_is_held_by_something_that_exists_or_says_that_it_is_not() {
    let mut missing = Vec::new();
    for row in rows() {
        for test in row.tests {
            let text = std::fs::read_to_string(file_of(test)).unwrap_or_default();
            if !text.contains(&format!("fn {}(", test.1)) {
                missing.push(format!("row {}: {} in {}", row.number, test.1, test.0));
            }
        }
        assert!(row.is_held() || !row.open.is_empty(), "row {} says nothing", row.number);
    }
    assert!(missing.is_empty(), "tests that do not exist: {missing:#?}");
    for row in rows().filter(|row| !row.is_held()) {
        println!("NOT HELD: {} {}: {}", row.number, row.fault, row.open);
    }
}

#[test]
fn the_rows_are_numbered_without_a_gap() {
    assert!(rows().map(|row| row.number).eq(1..=51));
}

/// The page of standing promises tells every row that is not held.
#[test]
fn the_page_names_what_is_not_held() {
    let page = std::fs::read_to_string(top().join("logger/STANDING-PROMISES.md")).unwrap();
    for row in rows().filter(|row| !row.is_held()) {
        assert!(page.contains(row.fault), "row {}: {:?} is not on the page", row.number, row.fault);
    }
    for what in HARDWARE {
        assert!(page.contains(what), "{what:?} is not on the page");
    }
}

/// What must fail without a protection is what holds its row, so that the row is shown to be able
/// to fail; and what is taken away is still there.
#[test]
fn every_row_has_a_protection_that_its_own_test_misses_or_says_why_not() {
    let mut bad = Vec::new();
    for row in rows() {
        let taken: Vec<_> = PROTECTIONS.iter().filter(|p| p.row == row.number).collect();
        let excused = NOT_TAKEN_AWAY.iter().any(|(number, _)| *number == row.number);
        if taken.is_empty() != excused {
            bad.push(format!("row {}: {} taken away", row.number, taken.len()));
        }
        for protection in taken {
            let text = std::fs::read_to_string(top().join(protection.file)).unwrap();
            if text.matches(protection.text).count() != 1 {
                bad.push(format!("row {}: not there once: {}", row.number, protection.text));
            }
            let own = match protection.holder {
                Holder::Trial(_) => row.trial.is_some(),
                Holder::Test(name) | Holder::InGuest(name) => row.tests.iter().any(|t| t.1 == name),
            };
            if !own {
                let what = protection.what;
                bad.push(format!("row {}, {what}: another test would have to fail", row.number));
            }
        }
    }
    assert!(bad.is_empty(), "{bad:#?}");
}
