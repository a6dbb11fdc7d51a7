//! The terminal summary: verdicts first, nothing cut off, nothing that drives a terminal.

use crate::fixture;
use proptest::prelude::*;
use wheelwitness_analyze::report::{terminal, words};

#[test]
fn the_verdict_table_comes_first_then_what_is_missing_then_the_selections() {
    let text = terminal(&fixture::invented().0, 80, false);
    let at = |word: &str| text.find(word).unwrap_or_else(|| panic!("{word:?} is not in\n{text}"));
    let order = ["Claim ", "capture-complete", "tyres-match", "Missing", "Selections"].map(at);
    assert!(order.is_sorted(), "{order:?}\n{text}");
    assert!(at("A verdict is evidence, not approval") > at("tyres-match"));
}

#[test]
fn every_claim_stands_with_its_verdict_its_key_number_and_its_next_step() {
    let (result, _) = fixture::invented();
    let text = terminal(&result, 160, false);
    for (claim, number) in result.claims.iter().zip(1..) {
        let id = words::numbered(number, claim);
        let row = text.lines().find(|l| l.starts_with(&id)).expect("a row for each claim");
        assert!(row.contains(words::verdict(claim.verdict)), "{row}");
        assert!(row.contains(&words::key_number(claim)), "{row}");
        let step = claim.next_step.as_deref().unwrap_or("");
        assert!(text.replace("\n        ", " ").contains(step), "{step}\n{text}");
    }
}

#[test]
fn the_key_number_is_that_of_the_period_that_decides() {
    let (result, _) = fixture::invented();
    let key = |id: &str| words::key_number(result.claims.iter().find(|c| c.id == id).unwrap());
    // Of 3.1 s, 11.4 s and 2.2 s against at most 5 s, the second one disproves.
    assert_eq!(key("selection-completes"), "time to engage 11.4000 ± 0.0020 s, 1 of 3");
    // Of 0.98 and 1.03 within 0.7 to 1.3 the second one is nearer to its bound.
    assert_eq!(key("center-opens"), "allowance 1.030 ± 0.058, 1 of 2");
    assert_eq!(key("capture-complete"), "sentences missing 12 exactly");
    assert_eq!(key("switch-table"), "observed for 72.60 s");
}

#[test]
fn control_characters_in_names_reach_no_terminal() {
    let (mut result, _) = fixture::invented();
    result.vehicle.name = "a\x1b]0;owned\x07b".into();
    result.claims[0].scope = "board\r\nfake  proven".into();
    result.selections[0].outcome = "done\u{9b}2J".into();
    let text = terminal(&result, 100, false);
    assert!(text.chars().all(|c| c == '\n' || !c.is_control()), "{text:?}");
    assert!(text.contains("a\\x1B]0;owned\\x07b") && text.contains("done\\x9B2J"));
}

#[test]
fn colour_changes_nothing_but_adds_escapes_to_verdict_words() {
    let (result, _) = fixture::invented();
    let plain = terminal(&result, 80, false);
    let mut coloured = terminal(&result, 80, true);
    for code in ["\x1b[1;36m", "\x1b[1;33m", "\x1b[1m", "\x1b[0m"] {
        assert!(coloured.contains(code), "{code:?}");
        coloured = coloured.replace(code, "");
    }
    assert_eq!(coloured, plain);
}

#[test]
fn an_empty_capture_says_so() {
    let text = terminal(&fixture::empty().0, 160, false);
    assert!(text.contains("length unknown, distance unknown"), "{text}");
    assert!(text.contains("not exercised") && text.contains("none in this drive"), "{text}");
}

#[test]
fn long_lists_are_counted_not_printed_in_full() {
    let (mut result, _) = fixture::invented();
    result.selections = vec![result.selections[0].clone(); 100];
    result.capture.holes = vec![result.capture.holes[0].clone(); 100];
    let text = terminal(&result, 80, false);
    assert_eq!(text.matches("and 88 more, all in result.json").count(), 2, "{text}");
    assert!(text.lines().count() < 120);
}

proptest! {
    #[test]
    fn no_line_is_wider_than_asked_for_and_no_word_is_lost(
        width in 30usize..161,
        names in prop::collection::vec("[a-zA-Z車é ±-]{0,60}", 6),
    ) {
        let (mut result, _) = fixture::invented();
        result.vehicle.name = names[0].clone();
        result.claims[0].scope = names[1].clone();
        result.claims[1].reason = names[2].clone();
        result.claims[2].next_step = Some(names[3].clone());
        result.selections[1].to = names[4].clone();
        result.sources[0].name = names[5].clone();
        let text = terminal(&result, width, false);
        for line in text.lines() {
            prop_assert!(textwrap::core::display_width(line) <= width, "{width}: {line:?}");
        }
        let letters = |s: &str| s.chars().filter(|c| c.is_alphanumeric()).collect::<String>();
        prop_assert!(letters(&text).contains(&letters(&names[0])));
        prop_assert!(letters(&text).contains(&letters(&names[2])));
    }
}
