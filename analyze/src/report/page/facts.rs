//! What is missing, the selections, the modes, and where everything came from.

use super::claims::{cell, fact, ranges, table};
use crate::report::markup::Html;
use crate::report::{terminal, words};
use crate::result::{DriveResult, ModeSpan, PairTimes, Selection, SourceInfo};

/// Holes of the capture and losses of the sources.
pub fn missing(h: &mut Html, result: &DriveResult) {
    h.element("h2", &[("id", "missing")], |h| h.text("What is missing from the recording"));
    let mut lines = words::missing(&result.capture);
    lines.extend(result.sources.iter().flat_map(terminal::source_losses));
    if lines.is_empty() {
        h.text_in("p", "Nothing that the numbering of records and sentences would show.");
        return;
    }
    h.element("ul", &[], |h| {
        for text in &lines {
            h.text_in("li", text);
        }
    });
}

/// Every selection with its outcome; the stages are in the figures.
pub fn selections(h: &mut Html, list: &[Selection]) {
    h.element("h2", &[("id", "selections")], |h| h.text("Selections"));
    if list.is_empty() {
        h.text_in("p", "No mode was requested in this drive.");
        return;
    }
    let head = ["Selection", "Outcome", "Stages, seconds since the request", "Raw records"];
    table(h, "stacked", &head, |h| {
        for s in list {
            h.element("tr", &[], |h| selection(h, s));
        }
    });
}

fn selection(h: &mut Html, s: &Selection) {
    let from = s.from.as_deref().unwrap_or("unknown");
    let requested = words::seconds(s.requested_s);
    cell(h, "Selection", &format!("{}. {from} to {}, requested at {requested}", s.number, s.to));
    let detail = s.detail.as_ref().map(|d| format!("; {d}"));
    let outcome = [Some(s.outcome.clone()), words::needed(s), detail];
    let outcome = outcome.into_iter().flatten().collect::<String>();
    h.element("td", &[("data-label", "Outcome")], |h| {
        h.text(&outcome);
        for more in words::selection_notes(s) {
            h.text_in("p", &more);
        }
    });
    h.element("td", &[("data-label", "Stages"), ("class", "numbers wide")], |h| {
        for stage in &s.stages {
            let settled =
                stage.settled_s.map_or("never settled".into(), |t| format!("settled {t:.3}"));
            h.text_in("div", &format!("{} {:.3}, {settled}", stage.name, stage.first_edge_s));
        }
    });
    h.element("td", &[("data-label", "Raw records")], |h| {
        h.text(&format!("{}. ", ranges(&s.evidence)));
        h.text_in("code", &words::explain_selection(s.number));
    });
}

/// Number, median and worst time of each pair of modes.
pub fn pairs(h: &mut Html, list: &[PairTimes]) {
    if list.is_empty() {
        return;
    }
    h.text_in("h3", "Time to engage, by pair of modes");
    table(h, "stacked", &["From, to", "Selections", "Median", "Worst", "95th percentile"], |h| {
        for p in list {
            h.element("tr", &[], |h| {
                let from = p.from.as_deref().unwrap_or("unknown");
                cell(h, "From, to", &format!("{from} to {}", p.to));
                cell(h, "Selections", &p.n.to_string());
                cell(h, "Median", &format!("{:.3} s", p.median_s));
                cell(h, "Worst", &format!("{:.3} s", p.worst_s));
                let few = "from 59 selections on".to_string();
                cell(h, "95th percentile", &p.percentile95_s.map_or(few, |t| format!("{t:.3} s")));
            });
        }
    });
}

/// The mode timeline.
pub fn modes(h: &mut Html, spans: &[ModeSpan]) {
    h.element("h2", &[("id", "modes")], |h| h.text("Modes engaged, by their switches"));
    if spans.is_empty() {
        h.text_in("p", "The switches showed no mode.");
        return;
    }
    table(h, "stacked", &["From, to", "Mode", "Coupling"], |h| {
        for span in spans {
            h.element("tr", &[], |h| {
                cell(h, "From, to", &words::stretch(span.start_s, span.end_s));
                cell(h, "Mode", span.mode.as_deref().unwrap_or("no row matches"));
                cell(h, "Coupling", span.coupling.map_or("unknown", words::coupling));
            });
        }
    });
}

/// Capture, vehicle file, program and sources: what somebody needs to repeat the report.
pub fn provenance(h: &mut Html, result: &DriveResult) {
    h.element("h2", &[("id", "provenance")], |h| h.text("Where this came from"));
    let c = &result.capture;
    h.element("dl", &[], |h| {
        fact(h, "Recording", &c.recording);
        fact(h, "SHA-256 of the capture", &c.sha256);
        fact(h, "Segments, records", &format!("{}, {}", c.segments, c.records));
        fact(h, "Closed cleanly", if c.closed { "yes" } else { "no" });
        fact(h, "Started (host's clock)", &words::started(c).unwrap_or("unknown".into()));
        fact(
            h,
            "Vehicle file",
            &format!("{}, format {}", result.vehicle.name, result.vehicle.format),
        );
        fact(h, "SHA-256 of the vehicle file", &result.vehicle.sha256);
        fact(h, "Program", &format!("{} {}", result.program.name, result.program.version));
        fact(h, "Result format", &result.schema);
    });
    h.text_in(
        "p",
        "The same capture, vehicle file and program version give this report again, byte for \
         byte. The numbers are in result.json beside this page.",
    );
    h.text_in("h3", "Sources");
    let head = ["Source", "Speaks", "Bytes", "Accepted", "Refused", "Missing", "Interruptions"];
    table(h, "stacked", &head, |h| {
        for s in &result.sources {
            h.element("tr", &[], |h| source(h, s));
        }
    });
}

fn source(h: &mut Html, s: &SourceInfo) {
    cell(h, "Source", &format!("{}. {}", s.number, s.name));
    cell(h, "Speaks", &s.speaks);
    cell(h, "Bytes", &s.bytes.to_string());
    cell(h, "Accepted", &s.accepted.to_string());
    let faults: Vec<_> = s.faults.iter().map(|(f, n)| format!("{n} {f}")).collect();
    cell(h, "Refused", &if faults.is_empty() { "0".into() } else { faults.join(", ") });
    cell(h, "Missing", &s.missing.map_or("unknown: no numbers".into(), |n| n.to_string()));
    cell(h, "Interruptions", &s.interruptions.to_string());
}
