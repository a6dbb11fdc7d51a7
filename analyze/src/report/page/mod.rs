//! One self-contained page: opens without a network, loads nothing, runs nothing, prints on A4.
//!
//! Verdicts come first, then cautions, figures, the evidence claim by claim, the selections, and
//! where all of it came from.

mod claims;
mod facts;
mod strip;
mod witnesses;

use super::cautions::Caution;
use super::markup::Html;
use super::plots::Figure;
use super::{cautions, plots, terminal, words};
use crate::result::DriveResult;
use crate::series::Series;

/// Forbids scripts, forms and every load; only the style sheet in the page itself works.
const POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

/// The page of one drive.
pub fn page(result: &DriveResult, series: &Series) -> String {
    page_with(result, &plots::plots(result, series))
}

/// The page with figures that are drawn already.
pub(super) fn page_with(result: &DriveResult, figures: &[Figure]) -> String {
    Html::document("en", |h| {
        h.element("head", &[], |h| head(h, result));
        h.element("body", &[], |h| {
            h.element("header", &[], |h| header(h, result));
            h.element("main", &[], |h| {
                claims::verdicts(h, result);
                facts::missing(h, result);
                cautions_section(h, &cautions::for_drive(result));
                figures_section(h, figures);
                claims::evidence(h, result);
                facts::selections(h, &result.selections);
                facts::pairs(h, &result.pairs);
                facts::modes(h, &result.modes);
                witnesses::witnesses(h, &result.witnesses);
                witnesses::by_hand(h, result.hand.as_ref());
                facts::provenance(h, result);
                how_to_read(h);
            });
            h.element("footer", &[], |h| h.classed("p", "notice", words::EVIDENCE_NOT_APPROVAL));
        });
    })
}

fn head(h: &mut Html, result: &DriveResult) {
    h.void("meta", &[("charset", "utf-8")]);
    h.void("meta", &[("http-equiv", "Content-Security-Policy"), ("content", POLICY)]);
    h.void("meta", &[("name", "viewport"), ("content", "width=device-width, initial-scale=1")]);
    h.void("meta", &[("name", "referrer"), ("content", "no-referrer")]);
    h.text_in("title", &format!("Drive of {}", result.vehicle.name));
    h.style(include_str!("style.css"));
}

fn header(h: &mut Html, result: &DriveResult) {
    h.text_in("h1", &format!("Drive of {}", result.vehicle.name));
    h.classed("p", "soft", &terminal::drive_facts(result));
    if result.capture.simulated_clock_scale.is_some() {
        h.classed(
            "p",
            "notice",
            "This recording was simulated: no vehicle was driven, and its numbers say nothing \
             about a real one.",
        );
    }
    h.classed("p", "notice", words::EVIDENCE_NOT_APPROVAL);
}

fn cautions_section(h: &mut Html, list: &[&Caution]) {
    h.element("h2", &[("id", "cautions")], |h| h.text("Cautions"));
    h.text_in(
        "p",
        "They apply to what was driven and to the next steps asked for here. Local codes, the \
         vehicle's workshop manual and a licensed workshop come first.",
    );
    h.element("ul", &[], |h| {
        for c in list {
            h.element("li", &[], |h| {
                h.text(c.text);
                h.classed("span", "soft", &format!(" Source: {}.", c.source));
            });
        }
    });
}

fn figures_section(h: &mut Html, figures: &[Figure]) {
    h.element("h2", &[("id", "figures")], |h| h.text("Figures"));
    for f in figures {
        let label = format!("{}. {}", f.title, f.caption);
        h.element("figure", &[("id", &f.name)], |h| {
            h.element("div", &[("class", "plot"), ("tabindex", "0")], |h| {
                h.element("div", &[("role", "img"), ("aria-label", &label)], |h| h.svg(f.svg()));
            });
            h.text_in("figcaption", &f.caption);
        });
    }
}

fn how_to_read(h: &mut Html) {
    h.element("h2", &[("id", "reading")], |h| h.text("How to read this"));
    h.element("ul", &[], |h| {
        for text in [
            "Proven: the estimate lies inside the limit by at least the 99.73 % factor of its \
             uncertainty in every period that exercised the claim, and the periods agree. \
             Disproven: it lies outside by as much in at least one. Undecided: anything else, \
             with what to drive next.",
            "Intervals are shown at 95 % (k = 2); verdicts use the wider factor. Uncertainties \
             are standard uncertainties in the sense of JCGM 100:2008 (GUM). A component marked \
             shared is common to all periods: more driving does not shrink it.",
            "Times are seconds from the first record. Record numbers are those of the capture; \
             in the commands, CAPTURE stands for the folder of the capture.",
            "Unknown is written as unknown; it never means zero.",
            "Colours: Okabe and Ito, Color Universal Design, 2008. Nothing is said by colour \
             alone.",
        ] {
            h.text_in("li", text);
        }
    });
}
