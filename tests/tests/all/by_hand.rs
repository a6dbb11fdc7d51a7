//! The example that `DEVELOPERS.md` follows by hand is what the program does.

use crate::tree::file;
use wheelwitness_tests::by_hand::{hops, reading};

/// The hops as the page shows them.
fn shown() -> Vec<String> {
    let page = file("DEVELOPERS.md").text;
    let from = page.find("```text\nwire ").expect("the page shows the hops") + "```text\n".len();
    let block = &page[from..];
    block[..block.find("```").expect("a block ends")].lines().map(str::to_string).collect()
}

/// Numbers of a text, signs included.
fn numbers(text: &str) -> Vec<f64> {
    let parts = text.split(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'));
    parts.filter_map(|p| p.trim_end_matches('.').parse().ok()).collect()
}

/// The hop of that name.
fn hop<'a>(hops: &'a [String], name: &str) -> &'a str {
    hops.iter().find(|h| h.starts_with(name)).unwrap_or_else(|| panic!("no hop {name}"))
}

#[test]
fn the_sentence_on_the_page_decodes_to_the_reading_on_the_page() {
    let page = shown();
    let sentence = hop(&page, "sentence").trim_start_matches("sentence").trim();
    assert_eq!(reading(sentence), hop(&page, "reading"));
}

/// Which bytes arrive when is the rig's business and may change; what the drive proves may not
/// wander off by more than its uncertainty while the page still shows the old numbers.
#[test]
fn the_example_on_the_page_is_still_what_the_program_finds() {
    let (page, now) = (shown(), hops());
    let names = |hops: &[String]| -> Vec<String> {
        hops.iter().map(|h| h.split_whitespace().next().unwrap_or("").to_string()).collect()
    };
    assert_eq!(names(&page), names(&now));
    assert_eq!(hop(&page, "verdict"), hop(&now, "verdict"));
    let (old, new) = (numbers(hop(&page, "estimate")), numbers(hop(&now, "estimate")));
    assert_eq!(old[2..], new[2..], "the limit");
    assert!((old[0] - new[0]).abs() <= old[1], "allowance {} is now {}", old[0], new[0]);
    let (old, new) = (numbers(hop(&page, "segment")), numbers(hop(&now, "segment")));
    let far = old.iter().zip(&new).any(|(a, b)| (a - b).abs() > 0.05 * a.abs().max(1.0));
    assert!(!far, "the segment {old:?} is now {new:?}: print the example again");
}
