//! Lamps and contacts of simulated vehicles with faults of their own: what lies is named, and what
//! tells the truth is never accused.

use crate::claims::{claim, judged_by, judged_random, says};
use wheelwitness_analyze::result::{DriveResult, Verdict};
use wheelwitness_rig::Fault;
use wheelwitness_rig::scenario::{TRAIL_WAGON, demo};

fn judged(fault: &str) -> DriveResult {
    let faults = if fault.is_empty() { None } else { Some(Fault::parse(fault).expect("a fault")) };
    let run = demo(5, faults.into_iter().collect()).run();
    judged_by(&run, TRAIL_WAGON)
}

const DRIVEN: [&str; 4] = ["rear-only", "full-time", "locked", "low-full-time"];
const CONTACTS: [&str; 3] = ["selector", "limit contacts", "position switches"];

/// Every lamp and every contact is proven, but for these scopes.
#[track_caller]
fn all_proven_but(result: &DriveResult, but: &[&str]) {
    let all = DRIVEN.iter().map(|s| ("lamps-truthful", s));
    for (id, scope) in all.chain(CONTACTS.iter().map(|s| ("contacts-clean", s))) {
        if !but.contains(scope) {
            says(result, id, scope, Verdict::Proven, "");
        }
    }
}

#[test]
fn sound_lamps_and_contacts_are_proven_with_what_bounds_the_rest() {
    let r = judged("");
    all_proven_but(&r, &[]);
    says(&r, "contacts-clean", "position switches", Verdict::Proven, "drop-outs a minute (95 %");
    says(&r, "lamps-truthful", "neutral", Verdict::Undecided, "did not show");
}

#[test]
fn a_lamp_that_is_dark_in_one_mode_is_named_there_and_nowhere_else() {
    let r = judged("wrong-row mode=locked switch=lamp-lock");
    says(&r, "lamps-truthful", "locked", Verdict::Disproven, "`lamp-lock` was dark for");
    all_proven_but(&r, &["locked"]);
}

#[test]
fn a_dead_lamp_is_never_called_right_where_it_belongs_dark() {
    let r = judged("sticky-switch switch=lamp-lock from_s=0");
    says(&r, "lamps-truthful", "locked", Verdict::Disproven, "instead of lit");
    for mode in ["rear-only", "full-time", "low-full-time"] {
        says(&r, "lamps-truthful", mode, Verdict::Undecided, "never changed");
    }
}

#[test]
fn dimmed_lamps_are_lit_and_do_not_flash() {
    all_proven_but(&judged("dimmed-lamps hz=120 duty=0.5"), &[]);
}

/// A random drive in which rate-limited edges of a dimmed lamp beat with its frequency.
#[test]
fn a_dimmed_lamp_that_seems_to_flash_at_times_is_not_called_wrong() {
    let (_, result) = judged_random(352);
    says(&result, "lamps-truthful", "locked", Verdict::Undecided, "it may be a dimmed light");
}

#[test]
fn an_oxidised_contact_is_named_and_its_neighbours_are_not() {
    let r = judged("oxidised-contact switch=position-front per_s=0.05");
    says(&r, "contacts-clean", "position switches", Verdict::Disproven, "`position-front` dropped");
    assert!(!claim(&r, "contacts-clean", "position switches").reason.contains("position-lock"));
    all_proven_but(&r, &["position switches"]);
}

/// The unit of the demo surely reads low up to 1.5 V; a tap tells 1.45 V from that no better than
/// to 0.05 V.
#[test]
fn a_contact_that_closes_badly_is_named_by_its_voltage_before_it_fails() {
    let worn = |volts: f64| judged(&format!("worn-contact switch=position-front volts={volts}"));
    let scope = "position switches";
    let r = worn(2.6);
    says(&r, "contacts-clean", scope, Verdict::Disproven, "`position-front` lies at 2.60");
    all_proven_but(&r, &[scope]);
    says(&worn(1.45), "contacts-clean", scope, Verdict::Undecided, "low only up to 1.5 V");
    says(&worn(0.6), "contacts-clean", scope, Verdict::Proven, "keep 0.9 V from what the unit");
}

#[test]
fn lamps_and_switches_that_agree_do_not_outvote_the_shafts() {
    let r = judged("stuck-rear-only");
    says(&r, "lamps-truthful", "full-time", Verdict::Undecided, "the shafts show another");
}

#[test]
fn a_contact_is_not_called_clean_across_a_lost_stretch() {
    for fault in ["board-reset at_s=60", "lost-stretch from_s=40 to_s=60"] {
        let r = judged(fault);
        CONTACTS.iter().for_each(|s| says(&r, "contacts-clean", s, Verdict::Undecided, "lost"));
    }
}
