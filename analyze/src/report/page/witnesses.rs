//! Three witnesses of the mode side by side, where they differ, and what was turned by hand.

use super::claims::{cell, ranges, table};
use crate::report::markup::Html;
use crate::report::words;
use crate::result::{HandInfo, WitnessSpan, Witnesses};

/// Rows shown; `result.json` has all of them.
const ROWS: usize = 60;
/// Stretches shorter than this are left out of the table, seconds.
const SHORT_S: f64 = 0.5;

/// The three witnesses over time, then their disagreements.
pub fn witnesses(h: &mut Html, w: &Witnesses) {
    h.element("h2", &[("id", "witnesses")], |h| h.text("Three witnesses of the mode"));
    h.text_in(
        "p",
        "What was requested, what the switches said and what the shafts did, held against each \
         other. The shafts speak only where the road demanded a difference; (partly) means that \
         several answers fit, or that something beside it contradicts.",
    );
    h.text_in("p", &words::conflicts(w));
    if !w.conflicts.is_empty() {
        table(h, "stacked", &["From, to", "Between", "They say"], |h| {
            for c in w.conflicts.iter().take(ROWS) {
                h.element("tr", &[], |h| {
                    cell(h, "From, to", &words::stretch(c.start_s, c.end_s));
                    let [a, b] = c.between.map(words::witness);
                    cell(h, "Between", &format!("{a} and {b}"));
                    cell(h, "They say", &format!("{} against {}", c.says[0], c.says[1]));
                });
            }
        });
    }
    let cuts = cuts(w);
    table(h, "stacked", &["From, to", "Requested", "Switches", "Shafts"], |h| {
        for pair in cuts.windows(2).take(ROWS) {
            h.element("tr", &[], |h| {
                cell(h, "From, to", &words::stretch(pair[0], pair[1]));
                let middle = (pair[0] + pair[1]) / 2.0;
                cell(h, "Requested", &says(&w.requested, middle));
                cell(h, "Switches", &says(&w.switches, middle));
                cell(h, "Shafts", &says(&w.shafts, middle));
            });
        }
    });
    if cuts.len() > ROWS + 1 {
        h.text_in("p", "Further stretches are in result.json.");
    }
}

/// Times at which a witness changes what it says.
fn cuts(w: &Witnesses) -> Vec<f64> {
    let spans = w.requested.iter().chain(&w.switches).chain(&w.shafts);
    let mut all: Vec<f64> = spans.flat_map(|s| [s.start_s, s.end_s]).collect();
    all.sort_by(f64::total_cmp);
    all.dedup_by(|later, earlier| *later - *earlier < SHORT_S);
    all
}

fn says(spans: &[WitnessSpan], at_s: f64) -> String {
    let span = spans.iter().find(|s| s.start_s <= at_s && at_s < s.end_s);
    span.map_or("silent".into(), words::witness_says)
}

/// The trials of a hand sheet.
pub fn by_hand(h: &mut Html, hand: Option<&HandInfo>) {
    let Some(hand) = hand else { return };
    h.element("h2", &[("id", "by-hand")], |h| h.text("Turned by hand, engine off"));
    h.text_in("p", &format!("SHA-256 of the hand sheet: {}.", hand.sha256));
    let head =
        ["Trial", "Counted: front, rear, input", "What does this", "Who, when", "Raw records"];
    table(h, "stacked", &head, |h| {
        for t in &hand.trials {
            h.element("tr", &[], |h| {
                let stretch = t.start_s.zip(t.end_s).map(|(a, b)| words::stretch(a, b));
                let stretch = stretch.unwrap_or("not recorded".into());
                cell(h, "Trial", &format!("{}. {}: {}; {stretch}", t.number, t.mode, t.what));
                let turns = |n: Option<f64>| n.map_or("unknown".into(), |n| format!("{n:.2}"));
                let counted = [t.front_turn, t.rear_turn, t.input_turn].map(turns).join(", ");
                cell(h, "Counted", &format!("{counted} turns"));
                cell(h, "What does this", &words::hand_fits(t));
                cell(h, "Who, when", &format!("{}, {}", t.by, t.on));
                cell(h, "Raw records", &ranges(&t.evidence));
            });
        }
    });
}
