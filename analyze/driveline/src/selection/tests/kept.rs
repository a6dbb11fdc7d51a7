//! What scripts of lines have come to mean: everything that the selections tell of a few drives is
//! held against what they told before, by a digest of each kind of it in `kept.txt`; for a second
//! cause or a bound that is a little wider breaks no promise and still matters to whoever reads it.
//!
//! What moved is printed as it is now; the commit before prints what it was, with the same digest
//! spoiled by hand. Who moves it on purpose puts the lines that are printed in their places.

use super::script::{Script, seen, wagon};
use crate::selection::Timeline;
use crate::vehicle::Coupling;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::{Debug, Write};

const KEPT: &str = include_str!("kept.txt");

fn from(mode: &str, change: impl Fn(&mut Script)) -> Script {
    let mut script = Script::standing_in(wagon(), mode, 90.0);
    change(&mut script);
    script
}

/// Contacts that bounce, chatter and drop out.
fn bad_contacts(s: &mut Script) {
    s.select(10.0, "full-time");
    for n in 0..8 {
        let at_s = 11.8 + 0.004 * f64::from(n);
        s.set(at_s, "position-front", n % 2 == 0);
    }
    s.set(11.84, "position-front", true);
    for (from_s, for_s) in [(30.0, 0.05), (35.0, 0.4), (50.0, 0.012)] {
        s.set(from_s, "position-front", false).set(from_s + for_s, "position-front", true);
    }
    for n in 0..40 {
        s.set(60.0 + 0.03 * f64::from(n), "limit-b", n % 2 == 1);
    }
}

/// The lamp flashes twice a second until the sleeve arrives.
fn flashing(s: &mut Script) {
    s.ask(10.0, "locked").motor(10.1, 11.6, "locked").go(15.0, 2.0, 0.1, 1);
    for n in 0..28 {
        s.set(11.0 + 0.25 * f64::from(n), "lamp-lock", n % 2 == 0);
    }
    s.arrive(18.0, "locked");
}

fn scripts() -> Vec<(&'static str, Script)> {
    let slow = |s: &mut Script| {
        s.ask(10.0, "full-time").motor(10.1, 17.0, "full-time").arrive(17.2, "full-time");
    };
    vec![
        (
            "well",
            from("rear-only", |s| {
                s.select(10.0, "full-time").go(14.0, 2.0, 0.1, 1).go(30.0, 2.0, -0.1, -1);
                s.select(40.0, "locked").go(50.0, 3.0, 0.0, 1).select(70.0, "full-time");
            }),
        ),
        ("slow", from("rear-only", slow)),
        (
            "stuck",
            from("full-time", |s| {
                s.ask(10.0, "locked").motor(10.1, 11.6, "locked").go(20.0, 2.0, 0.2, 1);
            }),
        ),
        (
            "waits",
            from("full-time", |s| {
                s.ask(10.0, "locked").motor(10.1, 11.6, "locked");
            }),
        ),
        (
            "wrong row",
            from("rear-only", |s| {
                s.ask(10.0, "full-time").motor(10.1, 11.6, "locked").arrive(12.0, "locked");
            }),
        ),
        (
            "reversed and replaced",
            from("rear-only", |s| {
                s.ask(10.0, "full-time").motor(10.1, 11.6, "full-time").ask(11.0, "rear-only");
                s.ask(40.0, "full-time").select(40.8, "locked");
            }),
        ),
        (
            "refused",
            from("locked", |s| {
                s.ask(10.0, "low-locked").go(0.0, 10.0, 0.0, 1).set(5.0, "gearbox-neutral", true);
            }),
        ),
    ]
}

/// What is cut off, cannot be heard, or lies.
fn troubles() -> Vec<(&'static str, Script)> {
    vec![
        (
            "lost, then late",
            from("rear-only", |s| {
                s.ask(10.0, "full-time").motor(50.0, 51.5, "full-time").arrive(52.0, "full-time");
            }),
        ),
        (
            "power lost",
            from("rear-only", |s| {
                s.ask(10.0, "full-time")
                    .motor(10.1, 14.0, "full-time")
                    .set(12.0, "ignition", false);
            }),
        ),
        (
            "blind and reset",
            from("rear-only", |s| {
                s.select(10.0, "full-time").gaps.push((11.0, 13.0, true));
                s.select(40.0, "locked").gaps.push((41.7, 42.4, false));
            }),
        ),
        ("bad contacts", from("rear-only", bad_contacts)),
        ("flashing", from("full-time", flashing)),
        (
            "a lying switch",
            from("rear-only", |s| {
                s.select(10.0, "full-time").select(40.0, "locked").stick("position-lock");
            }),
        ),
        (
            "a lying contact",
            from("rear-only", |s| {
                s.select(10.0, "full-time").select(40.0, "locked").stick("limit-b");
            }),
        ),
        (
            "a dark lamp",
            from("rear-only", |s| {
                s.select(10.0, "full-time").select(40.0, "locked").stick("lamp-lock");
            }),
        ),
        (
            "pops out",
            from("full-time", |s| {
                s.select(10.0, "locked").go(5.0, 1.0, 0.0, 1).go(20.0, 1.0, 0.0, -1);
                s.set(20.5, "position-lock", false);
            }),
        ),
    ]
}

/// Everything told of one kind in one script.
#[derive(Default)]
struct Kept(BTreeMap<(&'static str, &'static str), String>);

impl Kept {
    fn each<T: Debug>(
        &mut self,
        kind: (&'static str, &'static str),
        all: impl IntoIterator<Item = T>,
    ) {
        let text = self.0.entry(kind).or_default();
        for one in all {
            // Six digits: computers differ in the last ones of a hypotenuse.
            let _ = writeln!(text, "{one:.6?}");
        }
    }

    fn told(&mut self, of: &'static str, t: &Timeline) {
        self.each((of, "selections"), &t.selections);
        self.each((of, "leads"), t.selections.iter().filter_map(|s| t.lead(s)));
        self.each((of, "flashes"), t.selections.iter().flat_map(|s| t.flashing(s)));
        self.each((of, "completes"), [t.selection_completes()]);
        self.each((of, "completes by mode"), t.selection_completes_by_mode());
        self.each((of, "table"), t.switch_table());
        self.each((of, "lamps"), t.lamps_truthful());
        self.each((of, "contacts"), t.contacts_clean());
        self.each((of, "pairs"), t.pair_times());
    }
}

fn now() -> Kept {
    let mut kept = Kept::default();
    for (of, script) in scripts().into_iter().chain(troubles()) {
        let mut timeline = script.run();
        kept.each((of, "modes"), &timeline.modes);
        kept.each((of, "requests"), &timeline.requests);
        kept.each((of, "lamp spans"), &timeline.lamps);
        kept.each((of, "rows"), &timeline.row_periods);
        kept.each((of, "agreed"), timeline.agreed_spans());
        kept.told(of, &timeline);
        timeline.hear(vec![
            seen(0.0, 9.0, Coupling::RearOnly, "high"),
            seen(20.0, 39.0, Coupling::Differential, "high"),
            seen(45.0, 65.0, Coupling::Locked, "high"),
        ]);
        kept.told(of, &timeline);
    }
    kept
}

/// FNV-1a, 64 bits (public domain): the same on every computer and with every compiler.
fn digest(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

#[test]
fn what_scripts_of_lines_mean_moves_only_on_purpose() {
    let now = now().0;
    let line =
        |(of, kind): (&str, &str), text: &str| format!("{of}: {kind}: {:016x}", digest(text));
    let lines: Vec<String> = now.iter().map(|(key, text)| line(*key, text)).collect();
    let kept: BTreeSet<&str> = KEPT.lines().collect();
    let is_moved = |(line, _): &(&String, (&(&str, &str), &String))| !kept.contains(line.as_str());
    let moved: Vec<_> = lines.iter().zip(&now).filter(is_moved).collect();
    let anew: Vec<&str> = moved.iter().map(|(line, _)| line.as_str()).collect();
    let first = moved.first().map_or("", |(_, (_, text))| text.as_str());
    assert!(anew.is_empty(), "{}\n\nThe first of them is now\n{first}", anew.join("\n"));
    assert_eq!(kept.len(), lines.len(), "something is not told any more");
}
