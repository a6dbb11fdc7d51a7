//! The verdicts, and the evidence of each claim.

use super::strip;
use crate::report::markup::Html;
use crate::report::words;
use crate::result::{Claim, Component, DriveResult, Period, RecordRange, Reported, Verdict};

/// The table that the page begins with.
pub fn verdicts(h: &mut Html, result: &DriveResult) {
    h.element("h2", &[("id", "verdicts")], |h| h.text("Verdicts"));
    h.text_in("p", &format!("{}.", words::tally(&result.claims)));
    digest(h, result);
    table(
        h,
        "stacked verdicts",
        &["Claim", "Scope", "Verdict", "Key number, ± at 95 %", "Why, and what next"],
        |h| {
            for (i, claim) in result.claims.iter().enumerate() {
                h.element("tr", &[], |h| verdict_row(h, i + 1, claim));
            }
        },
    );
}

/// What is wrong, before everything else.
fn digest(h: &mut Html, result: &DriveResult) {
    let numbered = result.claims.iter().enumerate();
    let wrong: Vec<_> = numbered.filter(|(_, c)| c.verdict == Verdict::Disproven).collect();
    if wrong.is_empty() {
        return;
    }
    h.element("ul", &[("class", "digest")], |h| {
        for (i, claim) in wrong {
            h.element("li", &[], |h| {
                mark(h, claim.verdict);
                h.text(" ");
                let name = format!("{}, {}", words::numbered(i + 1, claim), claim.scope);
                let anchor = format!("#claim-{}", i + 1);
                h.element("a", &[("href", &anchor)], |h| h.text(&name));
                h.text(&format!(": {}", claim.reason));
            });
        }
    });
}

fn verdict_row(h: &mut Html, number: usize, claim: &Claim) {
    let anchor = format!("#claim-{number}");
    h.element("td", &[], |h| {
        h.element("a", &[("href", &anchor)], |h| h.text(&words::numbered(number, claim)));
    });
    cell(h, "Scope", &claim.scope);
    h.element("td", &[], |h| mark(h, claim.verdict));
    h.element("td", &[("data-label", "Key number"), ("class", "numbers key")], |h| {
        h.text(&words::key_number(claim));
    });
    h.element("td", &[("data-label", "Why"), ("class", "wide")], |h| {
        h.text(&claim.reason);
        if let Some(step) = &claim.next_step {
            h.element("p", &[], |h| {
                h.text_in("strong", "Next: ");
                h.text(step);
            });
        }
    });
}

/// The word of a verdict, told apart by its border as well as by its colour.
pub fn mark(h: &mut Html, v: Verdict) {
    let class = match v {
        Verdict::Proven => "verdict proven",
        Verdict::Disproven => "verdict disproven",
        Verdict::Undecided => "verdict undecided",
    };
    h.classed("span", class, words::verdict(v));
}

/// A table with its head; `class` is `stacked` where a phone shows rows as blocks.
pub fn table(h: &mut Html, class: &'static str, head: &[&str], rows: impl FnOnce(&mut Html)) {
    h.element("div", &[("class", "scroll")], |h| {
        h.element("table", &[("class", class)], |h| {
            h.element("thead", &[], |h| {
                h.element("tr", &[], |h| {
                    for text in head {
                        h.element("th", &[("scope", "col")], |h| h.text(text));
                    }
                });
            });
            h.element("tbody", &[], rows);
        });
    });
}

/// A cell with the label that it carries on a phone.
pub fn cell(h: &mut Html, label: &'static str, text: &str) {
    h.element("td", &[("data-label", label), ("class", "numbers")], |h| h.text(text));
}

/// A term and what it is.
pub fn fact(h: &mut Html, term: &str, text: &str) {
    h.text_in("dt", term);
    h.text_in("dd", text);
}

/// Each claim with its periods, down to raw records.
pub fn evidence(h: &mut Html, result: &DriveResult) {
    h.element("h2", &[("id", "evidence")], |h| h.text("Evidence, claim by claim"));
    for (i, claim) in result.claims.iter().enumerate() {
        let id = format!("claim-{}", i + 1);
        h.element("section", &[("class", "claim"), ("id", &id)], |h| one(h, i + 1, claim));
    }
}

fn one(h: &mut Html, number: usize, claim: &Claim) {
    h.element("h3", &[], |h| {
        h.text(&format!("{}, {} ", words::numbered(number, claim), claim.scope));
        mark(h, claim.verdict);
    });
    h.text_in("p", &claim.sentence);
    h.element("dl", &[], |h| {
        fact(h, "Reason", &format!("{} ({})", claim.reason, claim.reason_code));
        if let Some(step) = &claim.next_step {
            fact(h, "Next step", step);
        }
        match &claim.limit {
            Some(l) => {
                fact(h, "Limit", &format!("{}: {}", l.quantity, words::limit(l)));
                fact(h, "Source of the limit", &l.source);
            }
            None => fact(h, "Limit", "none: the claim is judged by what was seen, not by a number"),
        }
    });
    if claim.periods.is_empty() {
        h.classed("p", "soft", "No stretch of this drive exercised the claim.");
    }
    for (k, period) in claim.periods.iter().enumerate() {
        h.element("div", &[("class", "period")], |h| one_period(h, number, k + 1, claim, period));
    }
}

fn one_period(h: &mut Html, claim_number: usize, number: usize, claim: &Claim, p: &Period) {
    h.element("h4", &[], |h| {
        h.text(&format!("Period {number}: {} ", words::stretch(p.start_s, p.end_s)));
        mark(h, p.verdict);
    });
    h.text_in("p", &p.reason);
    if let (Some(limit), Some(first)) = (&claim.limit, p.estimates.first()) {
        strip::strip(h, first, limit);
    }
    if !p.estimates.is_empty() {
        estimates(h, &p.estimates);
    }
    h.element("p", &[], |h| {
        h.text(&format!("Raw records: {}. Walk back: ", ranges(&p.evidence)));
        h.text_in("code", &words::explain_period(claim_number, number));
    });
}

/// Each estimate, and below it what its uncertainty is made of.
fn estimates(h: &mut Html, list: &[Reported]) {
    let head = ["Estimate and its parts", "Value", "u", "95 % interval", "Degrees of freedom"];
    table(h, "stacked", &head, |h| {
        for e in list {
            h.element("tr", &[], |h| estimate(h, e));
            for c in &e.components {
                h.element("tr", &[("class", "parts")], |h| component(h, c, &e.unit));
            }
        }
    });
}

fn estimate(h: &mut Html, e: &Reported) {
    h.element("td", &[], |h| h.text_in("strong", &e.name));
    cell(h, "Value", &words::estimate_value(e));
    cell(h, "u", &words::uncertainty(e.u, &e.unit));
    cell(h, "95 % interval", &words::interval(e));
    cell(h, "Degrees of freedom", &words::freedom(e.dof));
}

fn component(h: &mut Html, c: &Component, unit: &str) {
    let shared = if c.shared { " (shared)" } else { "" };
    h.element("td", &[("class", "part")], |h| h.text(&format!("{}{shared}", c.name)));
    h.element("td", &[], |_| {});
    cell(h, "u", &words::uncertainty(Some(c.u), unit));
    h.element("td", &[], |_| {});
    cell(h, "Degrees of freedom", &words::freedom(Some(c.dof)));
}

/// Record ranges in words.
pub fn ranges(evidence: &[RecordRange]) -> String {
    if evidence.is_empty() {
        return "none".into();
    }
    evidence.iter().map(|r| format!("{} to {}", r.first, r.last)).collect::<Vec<_>>().join(", ")
}
