//! The page: valid, self-contained, complete, printable.

use crate::fixture;
use roxmltree::{Document, Node, ParsingOptions};
use wheelwitness_analyze::report::{cautions, page};
use wheelwitness_analyze::result::{DriveResult, Verdict};

fn parsed(text: &str) -> Document<'_> {
    let options = ParsingOptions { allow_dtd: true, ..ParsingOptions::default() };
    Document::parse_with_options(text, options).expect("well-formed")
}

fn words_of(node: Node) -> String {
    node.descendants().filter_map(|n| n.is_text().then(|| n.text()).flatten()).collect()
}

fn page_of(result: &DriveResult) -> String {
    page(result, &fixture::invented().1)
}

#[test]
fn the_same_result_gives_the_same_page_byte_for_byte() {
    let (result, series) = fixture::invented();
    assert_eq!(page(&result, &series), page(&result, &series));
}

#[test]
fn the_page_loads_nothing_and_runs_nothing() {
    let text = page_of(&fixture::invented().0);
    let document = parsed(&text);
    let policy = document
        .descendants()
        .find(|n| n.attribute("http-equiv") == Some("Content-Security-Policy"))
        .and_then(|n| n.attribute("content"));
    // CSP Level 3 (W3C): default-src is the fallback of every fetch directive, scripts included.
    assert!(policy.is_some_and(|p| p.starts_with("default-src 'none';")), "{policy:?}");
    for node in document.descendants() {
        let name = node.tag_name().name();
        for loads in ["script", "link", "img", "iframe", "object", "embed", "image", "use"] {
            assert_ne!(name, loads);
        }
        for a in node.attributes() {
            assert!(!a.name().starts_with("on") && a.name() != "style", "{}", a.name());
            if ["href", "src"].contains(&a.name()) {
                assert!(a.value().starts_with('#'), "{}", a.value());
            }
        }
    }
    assert!(!text.contains("@import") && !text.contains("url("));
}

#[test]
fn every_link_leads_somewhere_in_the_page() {
    let text = page_of(&fixture::invented().0);
    let document = parsed(&text);
    let ids: Vec<_> = document.descendants().filter_map(|n| n.attribute("id")).collect();
    let links: Vec<_> = document.descendants().filter_map(|n| n.attribute("href")).collect();
    assert!(links.len() >= 8);
    for link in links {
        assert!(ids.contains(&link.trim_start_matches('#')), "{link}");
    }
    let mut unique = ids.clone();
    unique.sort_unstable();
    unique.dedup();
    assert_eq!(unique.len(), ids.len(), "an id stands twice");
}

#[test]
fn the_verdicts_come_before_everything_else() {
    let text = page_of(&fixture::invented().0);
    let document = parsed(&text);
    let headings: Vec<_> =
        document.descendants().filter(|n| n.has_tag_name("h2")).map(words_of).collect();
    assert_eq!(headings[0], "Verdicts");
}

#[test]
fn each_claim_has_its_limit_with_source_its_periods_components_and_the_way_back() {
    let (result, _) = fixture::invented();
    let text = page_of(&result);
    let document = parsed(&text);
    for (i, claim) in result.claims.iter().enumerate() {
        let id = format!("claim-{}", i + 1);
        let section = document.descendants().find(|n| n.attribute("id") == Some(&id)).unwrap();
        let words = words_of(section);
        for expected in [&claim.sentence, &claim.reason, &claim.reason_code] {
            assert!(words.contains(expected), "{expected} in {words}");
        }
        if let Some(limit) = &claim.limit {
            assert!(words.contains(&limit.source), "{words}");
        }
        for (k, period) in claim.periods.iter().enumerate() {
            let back = format!("wheelwitness explain CAPTURE --claim {} --period {}", i + 1, k + 1);
            assert!(words.contains(&back), "{back}");
            for r in &period.evidence {
                assert!(words.contains(&format!("{} to {}", r.first, r.last)));
            }
            for c in period.estimates.iter().flat_map(|e| &e.components) {
                assert!(words.contains(&c.name), "{}", c.name);
            }
        }
    }
}

#[test]
fn an_estimate_shows_value_uncertainty_interval_and_degrees_of_freedom() {
    let text = page_of(&fixture::invented().0);
    let document = parsed(&text);
    let section = document.descendants().find(|n| n.attribute("id") == Some("claim-5")).unwrap();
    let row = section.descendants().find(|n| n.has_tag_name("tr") && words_of(*n).contains("0.98"));
    let cells: Vec<_> = row.unwrap().children().map(words_of).filter(|w| w != "\n").collect();
    // By hand: u^2 = 0.021^2 + 0.014^2 + 0.008^2 + 0.012^2 = 0.000845, u = 0.02907;
    // Welch-Satterthwaite (JCGM 100:2008, G.4.1): u^4 / (0.012^4 / 5) = 172.2, cut to 172.
    assert_eq!(cells, ["allowance", "0.980 ± 0.058", "0.029", "0.922 to 1.038", "172"]);
}

#[test]
fn unknown_is_written_as_unknown() {
    let (mut result, _) = fixture::invented();
    let e = &mut result.claims[4].periods[0].estimates[0];
    (e.value, e.u, e.interval95) = (None, None, None);
    result.sources[1].missing = None;
    result.modes[1].coupling = None;
    let text = page_of(&result);
    let document = parsed(&text);
    let row = document.descendants().find(|n| {
        n.has_tag_name("tr") && words_of(*n).starts_with("allowanceunknownunknownunknown")
    });
    assert!(row.is_some());
    assert!(words_of(document.root()).contains("unknown: no numbers"));
}

#[test]
fn a_simulated_recording_is_called_simulated_and_a_real_one_is_not() {
    let (mut result, _) = fixture::invented();
    assert!(page_of(&result).contains("This recording was simulated"));
    result.capture.simulated_clock_scale = None;
    assert!(!page_of(&result).contains("imulated"));
}

#[test]
fn the_page_says_that_a_verdict_is_not_an_approval() {
    let (result, series) = fixture::empty();
    assert!(page(&result, &series).contains("A verdict is evidence, not approval"));
}

#[test]
fn cautions_of_a_lifted_wheel_stand_where_a_wheel_was_or_is_to_be_lifted() {
    let ids = |r: &DriveResult| cautions::for_drive(r).iter().map(|c| c.id).collect::<Vec<_>>();
    let (mut result, _) = fixture::invented();
    assert!(ids(&result).contains(&"chock-first"));
    assert!(result.hand.take().is_some(), "something was turned by hand");
    let driven = result.claims.iter_mut().find(|c| c.id == "front-driven").unwrap();
    driven.periods.clear();
    assert!(!ids(&result).contains(&"chock-first"));
    let driven = result.claims.iter_mut().find(|c| c.id == "front-driven").unwrap();
    driven.verdict = Verdict::Undecided;
    driven.next_step = Some("lift a front wheel".into());
    assert!(ids(&result).contains(&"chock-first") && ids(&result).contains(&"stands-not-jacks"));
}

#[test]
fn every_caution_has_a_source_and_an_id_of_its_own() {
    let mut ids: Vec<_> = cautions::ALL.iter().map(|c| c.id).collect();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), cautions::ALL.len());
    assert!(cautions::ALL.iter().all(|c| !c.source.is_empty()));
}
