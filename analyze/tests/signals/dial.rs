//! What a speedometer shows, as its unit sends it on the bus, against its rule and the truth.

use crate::capture::capture;
use crate::drive::{result, vehicle};
use wheelwitness_analyze::result::{Claim, Verdict};
use wheelwitness_rig::messages::Message;
use wheelwitness_rig::{BusSettings, Fact, Plan, scenario};

/// Tenths of a km/h in two bytes, and a rule.
const DIAL: &str = "[[signals]]\nname = \"dial\"\nid = 0x3D8\nstart_bit = 0\nlength = 16\n\
                    byte_order = \"little\"\nfactor = 0.1\nnot_available = [65535]\n\
                    measures = \"speed-kmh\"\nplace = \"speedometer\"\nfloor_kmh = 0\n\
                    [speedometer]\nrule = \"un-r39\"\n";

/// The demo drive of a vehicle whose speedometer shows `dial` times what its rear shaft makes.
fn plan(seed: u64, dial: f64) -> Plan {
    let mut plan = scenario::demo(seed, Vec::new());
    let bus = BusSettings::draw(seed);
    let messages = bus.messages.and(Message::ShownSpeed);
    plan.settings.bus = Some(BusSettings { dial, messages, ..bus });
    plan
}

/// The vehicle file of a dial on the bus and wheels on the board.
fn dialled() -> String {
    let text = vehicle(&["rear-left", "rear-right"], "").replace("format = 4", "format = 5");
    let (before, rest) = text.split_once("\n[speedometer]\n").expect("it is declared");
    let after = rest.split_once("\n[").map_or(String::new(), |(_, after)| format!("\n[{after}"));
    format!("{before}{after}\n{DIAL}")
}

/// What is said of the speedometer, and what is true.
fn judged(seed: u64, dial: f64) -> (Claim, Fact) {
    let plan = plan(seed, dial);
    let run = plan.run();
    let file = dialled();
    let declared = wheelwitness_driveline::vehicle::Vehicle::parse(&file, "dial.toml");
    let facts = run.truth.facts(&declared.unwrap_or_else(|e| panic!("{e}")));
    let claims = result(&capture(&run), &file).claims;
    let claim = claims.into_iter().find(|c| c.id == "speedometer-true").expect("judged");
    let fact = facts.into_iter().find(|f| f.claim == "speedometer-true").expect("known");
    (claim, fact)
}

#[test]
fn a_dial_is_judged_by_what_its_unit_sends_and_never_against_the_truth() {
    let mut said = Vec::new();
    for (seed, dial) in [(31, 0.93), (32, 0.98), (33, 1.0), (34, 1.03), (35, 1.06), (36, 1.5)] {
        let (claim, fact) = judged(seed, dial);
        let holds = match claim.verdict {
            Verdict::Undecided => None,
            decided => Some(decided == Verdict::Proven),
        };
        assert!(holds.is_none_or(|h| h == fact.holds), "{dial}: {} {fact:?}", claim.reason);
        said.push(holds);
    }
    assert_eq!((said[0], said[4], said[5]), (Some(false), Some(true), Some(false)), "{said:?}");
}

#[test]
fn a_dial_that_is_declared_and_not_heard_leaves_the_speedometer_undecided() {
    let mut plan = plan(37, 1.05);
    let bus = plan.settings.bus.expect("just set");
    plan.settings.bus = Some(BusSettings { dial: 1.05, ..BusSettings::draw(37) });
    assert_ne!(plan.settings.bus, Some(bus), "nobody sends it now");
    let claims = result(&capture(&plan.run()), &dialled()).claims;
    let claim = claims.into_iter().find(|c| c.id == "speedometer-true").expect("judged");
    assert_eq!(claim.verdict, Verdict::Undecided);
    assert_eq!(claim.reason_code, "too-little-steady");
    assert!(claim.reason.contains("what the speedometer shows"), "{}", claim.reason);
}
