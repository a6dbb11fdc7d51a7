//! What fuzzing found is fed again, without its engine.

use wheelwitness_fuzz::corpus;
use wheelwitness_fuzz::targets::TARGETS;

/// Feeding panics where a target does not hold.
#[test]
fn every_input_that_was_kept_is_read_without_a_panic() {
    for target in &TARGETS {
        let inputs = corpus::all(target);
        assert!(!inputs.is_empty(), "{}: no input", target.name);
        inputs.iter().for_each(|bytes| (target.feed)(bytes));
    }
}

/// One byte less, one bit changed, the middle twice: the simplest damage of each.
#[test]
fn simple_damage_of_every_input_is_read_without_a_panic() {
    for target in &TARGETS {
        for (n, bytes) in corpus::all(target).into_iter().enumerate().take(40) {
            let at = (n * 7919) % bytes.len().max(1);
            (target.feed)(&bytes[..at]);
            (target.feed)(&[&bytes[..at], &bytes[at / 2..]].concat());
            let mut flipped = bytes;
            if let Some(byte) = flipped.get_mut(at) {
                *byte ^= 1 << (n % 8);
            }
            (target.feed)(&flipped);
        }
    }
}

#[test]
fn no_two_targets_have_one_name_and_each_row_says_what_it_is() {
    let mut names: Vec<&str> = TARGETS.iter().map(|target| target.name).collect();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), TARGETS.len());
    assert!(TARGETS.iter().all(|target| !target.what.is_empty() && target.longest >= 64));
}
