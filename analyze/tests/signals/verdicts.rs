//! Verdicts and estimates by board, by bus, and by both.

use crate::capture::capture;
use crate::drive::{GEARBOX, plan, result, set_to, vehicle, wheels};
use wheelwitness_analyze::result::{Claim, DriveResult, Verdict};

const SHAFTS: [&str; 3] = ["front-shaft", "rear-shaft", "input"];
const WHEELS: [&str; 4] = ["front-left", "front-right", "rear-left", "rear-right"];
const ALL: [&str; 7] =
    ["front-shaft", "rear-shaft", "input", "front-left", "front-right", "rear-left", "rear-right"];

/// Claims that do not depend on how many sensors an axle has.
const COMPARED: [&str; 6] = [
    "switch-table",
    "selection-completes",
    "center-opens",
    "center-locks",
    "front-driven",
    "tyres-match",
];

fn compared(result: &DriveResult) -> impl Iterator<Item = &Claim> {
    result.claims.iter().filter(|c| COMPARED.contains(&c.id.as_str()))
}

/// What differs between two views of one drive: verdicts, and estimates that do not agree.
fn differences(name: &str, a: &DriveResult, b: &DriveResult) -> Vec<String> {
    let mut out = Vec::new();
    for x in compared(a) {
        let same = |y: &&Claim| y.id == x.id && y.scope == x.scope;
        let Some(y) = b.claims.iter().find(same) else { continue };
        if x.verdict != y.verdict {
            out.push(format!(
                "{name}: {} {}: {:?} ({}) against {:?} ({})",
                x.id, x.scope, x.verdict, x.reason, y.verdict, y.reason
            ));
        }
        for p in &x.periods {
            let Some(q) = y.periods.iter().find(|q| (q.start_s - p.start_s).abs() < 0.5) else {
                continue;
            };
            let (Some(e), Some(f)) = (p.estimates.first(), q.estimates.first()) else { continue };
            let (Some(v), Some(w)) = (e.value, f.value) else { continue };
            let u = e.u.unwrap_or(0.0).hypot(f.u.unwrap_or(0.0));
            if (v - w).abs() > 3.0 * u + 1e-9 {
                out.push(format!("{name}: {} {}: {v} against {w}, u {u}", x.id, x.scope));
            }
        }
    }
    out
}

#[test]
fn board_bus_and_both_give_the_same_verdicts_and_estimates_that_agree() {
    let mut found = Vec::new();
    for seed in [3, 5] {
        let plan = plan(seed, [1.008, 1.008]);
        let storage = capture(&plan.run());
        let set = Some(set_to(&plan));
        let on_bus = wheels(&WHEELS, set) + GEARBOX;
        let board = result(&storage, &vehicle(&ALL, ""));
        let bus = result(&storage, &vehicle(&[], &on_bus));
        let both = result(&storage, &vehicle(&ALL, &on_bus));
        let mixed = result(&storage, &vehicle(&SHAFTS, &wheels(&WHEELS, set)));
        for (name, other) in [("bus", &bus), ("both", &both), ("mixed", &mixed)] {
            found.extend(differences(&format!("seed {seed}, {name}"), &board, other));
        }
        let proven = compared(&bus).filter(|c| c.verdict == Verdict::Proven).count();
        assert!(proven >= 6, "{proven} claims proven by the bus");
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// The lock state comes twice a second, in place of the position switch of that name.
#[test]
fn a_lock_state_on_the_bus_tells_modes_and_selections_as_a_position_switch_does() {
    let plan = plan(3, [1.0, 1.0]);
    let storage = capture(&plan.run());
    let board = result(&storage, &vehicle(&ALL, ""));
    let whole = vehicle(&ALL, LOCK_STATE);
    let switch = whole.find("[[switches]]\nname = \"position-lock\"").expect("it is declared");
    let end = whole[switch + 2..].find("\n[[").expect("others follow") + switch + 2;
    let text = format!("{}{}", &whole[..switch], &whole[end..]);
    // Nobody measures the voltage at a switch that is not there.
    let tap = "[[analog]]\nname = \"position-lock\"\ninput = 2\nper_volt = 3.0\n\
               low_max_v = 1.5\nhigh_min_v = 3.5\n";
    let text = text.replace(tap, "");
    let bus = result(&storage, &text);
    let found = differences("lock state", &board, &bus);
    assert!(found.is_empty(), "{}", found.join("\n"));
    let outcomes =
        |r: &DriveResult| r.selections.iter().map(|s| s.outcome.clone()).collect::<Vec<_>>();
    assert_eq!(outcomes(&board), outcomes(&bus));
    let (a, b) = (stood(&board), stood(&bus));
    assert_eq!(
        a.iter().map(|m| &m.1).collect::<Vec<_>>(),
        b.iter().map(|m| &m.1).collect::<Vec<_>>()
    );
    let apart = a.iter().zip(&b).map(|(a, b)| (a.0 - b.0).abs()).fold(0.0, f64::max);
    assert!(apart < 0.6, "modes begin up to {apart} s apart");
}

/// Modes that stood, with their beginnings. A state of the lock tells nothing of forks on their
/// way, which a position switch does: what passes by in a selection may differ.
fn stood(result: &DriveResult) -> Vec<(f64, String)> {
    let long = result.modes.iter().filter(|m| m.end_s - m.start_s > 3.0);
    long.filter_map(|m| Some((m.start_s, m.mode.clone()?))).collect()
}

const LOCK_STATE: &str = "[[signals]]\nname = \"center lock\"\nmessage = \"j1939-eac1\"\n\
                          field = \"central\"\nswitch = \"position-lock\"\nrole = \"position\"\n";
