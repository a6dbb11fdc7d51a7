//! Text from outside stays text. Every text field of a result is filled with hostile payloads;
//! the page and the figures must have the same elements and attributes as without them.

use crate::fixture;
use roxmltree::{Document, Node, ParsingOptions};
use wheelwitness_analyze::report::{page, plots};
use wheelwitness_analyze::result::DriveResult;
use wheelwitness_analyze::series::Series;

/// Payloads in the manner of the OWASP "Cross Site Scripting" cheat sheets (from memory), with
/// terminal escapes, bidirectional text and characters that XML cannot hold.
const PAYLOADS: &[&str] = &[
    "<script>alert(1)</script>",
    "</script><script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "<svg onload=alert(1)>",
    "<svg><script>alert(1)</script></svg>",
    "</svg><iframe src=javascript:alert(1)>",
    "</style><script>alert(1)</script>",
    "</title><script>alert(1)</script>",
    "</textarea><script>alert(1)</script>",
    "<!--",
    "--><script>alert(1)</script>",
    "<![CDATA[",
    "]]><script>alert(1)</script>",
    "<?xml version=\"1.0\"?>",
    "<!DOCTYPE html>",
    "<!ENTITY x SYSTEM \"file:///etc/passwd\">",
    "&lt;script&gt;",
    "&#60;script&#62;",
    "&#x3c;script&#x3e;",
    "&amp;lt;script&amp;gt;",
    "&nosuchentity;",
    "&",
    "&&&&",
    "\"",
    "'",
    "\" onmouseover=\"alert(1)",
    "' onmouseover='alert(1)",
    "\"><script>alert(1)</script>",
    "'><script>alert(1)</script>",
    "` onmouseover=alert(1) `",
    "javascript:alert(1)",
    "JaVaScRiPt:alert(1)",
    "data:text/html,<script>alert(1)</script>",
    "url(javascript:alert(1))",
    "expression(alert(1))",
    "}body{background:url(//evil.example)}",
    "<style>@import 'http://evil.example/x.css';</style>",
    "<link rel=stylesheet href=http://evil.example>",
    "<meta http-equiv=refresh content='0;url=http://evil.example'>",
    "<base href=http://evil.example>",
    "<form action=http://evil.example><input>",
    "<object data=x></object><embed src=x>",
    "<a href=\"javascript:alert(1)\">x</a>",
    "<b>bold",
    "</td></tr></table><h1>x",
    "<math><mtext></mtext><mglyph><style></math><img src onerror=alert(1)>",
    "<noscript><p title=\"</noscript><img src=x onerror=alert(1)>\">",
    "\u{0}<script>\u{0}",
    "\u{8}\u{b}\u{c}\u{1b}[31mred",
    "line\r\nbreak\ttab\u{85}\u{2028}\u{2029}",
    "\u{202E}txet desrever\u{202C}",
    "\u{FFFE}\u{FFFF}\u{FEFF}",
    "＜script＞alert(1)＜/script＞",
    "$(reboot) `reboot` ; reboot #",
    "%3Cscript%3E {{7*7}} ${7*7} <%= 7*7 %>",
];

/// The result with each text replaced, numbers and structure as they were.
fn with_every_text(result: &DriveResult, text: &str) -> DriveResult {
    let mut json = serde_json::to_value(result).unwrap();
    replace(&mut json, text);
    serde_json::from_value(json).unwrap()
}

fn replace(json: &mut serde_json::Value, text: &str) {
    use serde_json::Value;
    match json {
        // Words of the program, which a result cannot hold otherwise.
        Value::String(s) if is_our_word(s) => {}
        Value::String(s) => *s = text.into(),
        Value::Array(a) => a.iter_mut().for_each(|v| replace(v, text)),
        Value::Object(o) => {
            if let Some(faults) = o.get_mut("faults").and_then(Value::as_object_mut)
                && !faults.is_empty()
            {
                *faults = serde_json::Map::from_iter([(text.to_string(), 7.into())]);
            }
            o.values_mut().for_each(|v| replace(v, text));
        }
        _ => {}
    }
}

fn is_our_word(s: &str) -> bool {
    let verdicts = ["proven", "disproven", "undecided"];
    let couplings = ["rear-only", "differential", "locked", "front-only", "neutral"];
    let witnesses = ["requested", "switches", "shafts", "sure", "partly"];
    [&verdicts[..], &couplings, &witnesses].iter().any(|words| words.contains(&s))
}

/// Names of elements and their attributes, in document order.
fn skeleton(text: &str) -> Vec<String> {
    let options = ParsingOptions { allow_dtd: true, ..ParsingOptions::default() };
    let document = Document::parse_with_options(text, options)
        .unwrap_or_else(|e| panic!("not well-formed: {e}"));
    let describe = |n: Node| {
        let attributes: Vec<_> = n.attributes().map(|a| a.name().to_string()).collect();
        format!("{} {}", n.tag_name().name(), attributes.join(" "))
    };
    let nodes = document.descendants();
    nodes.filter(|n| !n.is_text()).map(describe).collect()
}

#[test]
fn no_text_of_a_result_becomes_an_element_or_an_attribute_of_the_page() {
    let (result, _) = fixture::invented();
    let page_of = |text: &str| page(&with_every_text(&result, text), &Series::default());
    let expected = skeleton(&page_of("harmless"));
    for payload in PAYLOADS {
        assert_eq!(skeleton(&page_of(payload)), expected, "{payload:?}");
    }
}

#[test]
fn a_payload_is_shown_as_what_it_is() {
    let (result, _) = fixture::invented();
    let payload = "<img src=x onerror=alert(1)> & \"quotes\" \x1b[2J";
    let text = page(&with_every_text(&result, payload), &Series::default());
    let options = ParsingOptions { allow_dtd: true, ..ParsingOptions::default() };
    let document = Document::parse_with_options(&text, options).unwrap();
    let shown = "<img src=x onerror=alert(1)> & \"quotes\" \\x1B[2J";
    let heading = document.descendants().find(|n| n.has_tag_name("h1")).unwrap();
    assert_eq!(heading.text(), Some(format!("Drive of {shown}").as_str()));
    assert!(text.chars().all(|c| c == '\n' || !c.is_control()));
}

#[test]
fn no_name_of_a_mode_or_a_stage_becomes_markup_of_a_figure() {
    let (result, series) = fixture::invented();
    let figures_of = |text: &str| {
        let figures = plots::plots(&with_every_text(&result, text), &series);
        figures.iter().map(|f| f.svg().as_str().to_string()).collect::<Vec<_>>()
    };
    let kinds = |svgs: &[String]| {
        let mut names: Vec<String> = svgs.iter().flat_map(|s| skeleton(s)).collect();
        names.sort();
        names.dedup();
        names
    };
    let expected = kinds(&figures_of("harmless"));
    for payload in PAYLOADS {
        assert_eq!(kinds(&figures_of(payload)), expected, "{payload:?}");
    }
}

#[test]
fn no_text_of_a_result_stands_in_a_command_to_copy() {
    let (result, _) = fixture::invented();
    let text = page(&with_every_text(&result, "$(reboot)"), &Series::default());
    let options = ParsingOptions { allow_dtd: true, ..ParsingOptions::default() };
    let document = Document::parse_with_options(&text, options).unwrap();
    let codes: Vec<_> = document.descendants().filter(|n| n.has_tag_name("code")).collect();
    assert!(codes.len() > 5);
    for code in codes {
        let command = code.text().unwrap();
        assert!(command.starts_with("wheelwitness explain CAPTURE --"), "{command}");
        assert!(!command.contains("reboot"), "{command}");
    }
}
