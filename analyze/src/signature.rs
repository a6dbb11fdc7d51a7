//! A reference signature: the selections of a drive beside those of a known-good vehicle.
//!
//! A selection is put beside whichever reference selection of the same two modes it is most like,
//! so that a reference may also hold half-shifted states that were made on purpose: a drive that
//! is most like one of those has found its fault. Nothing here is a verdict. Another vehicle
//! shows what was, not what must be.

use crate::report::words;
use crate::result::{DriveResult, Selection};
use std::fmt::Write;

/// A stage stands out where it comes earlier or later than in the reference by more than this
/// share of its time there, and by more than these seconds (common practice).
const APART_SHARE: f64 = 0.25;
const APART_S: f64 = 0.1;

/// One thing that is compared.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// What it is: a stage, or `outcome`.
    pub what: String,
    /// In the drive.
    pub here: String,
    /// In the reference.
    pub there: String,
    /// Seconds later than in the reference; None where it is no time, or did not come.
    pub later_s: Option<f64>,
    /// It differs by more than selections of one vehicle do.
    pub stands_out: bool,
}

/// A selection of the drive beside one of the reference.
#[derive(Debug, Clone, PartialEq)]
pub struct Beside<'a> {
    /// The one of the drive.
    pub here: &'a Selection,
    /// The one of the reference that is most like it; None where it has none of these two modes.
    pub there: Option<&'a Selection>,
    /// How many the reference has of these two modes.
    pub choice: usize,
    /// What was compared: stages in the order of the reference, then the rest.
    pub compared: Vec<Compared>,
}

impl Beside<'_> {
    /// The first thing that stands out.
    pub fn parts_at(&self) -> Option<&Compared> {
        self.compared.iter().find(|c| c.stands_out)
    }
}

/// Every selection of a drive beside the one of a reference that it is most like.
pub fn beside<'a>(reference: &'a DriveResult, drive: &'a DriveResult) -> Vec<Beside<'a>> {
    let one = |here: &'a Selection| {
        let same = |s: &&Selection| (&s.from, &s.to) == (&here.from, &here.to);
        let choice: Vec<&Selection> = reference.selections.iter().filter(same).collect();
        let all = choice.iter().map(|there| (Some(*there), compare(here, there)));
        let (there, compared) =
            all.min_by(|a, b| unlike(&a.1).total_cmp(&unlike(&b.1))).unwrap_or_default();
        Beside { here, there, choice: choice.len(), compared }
    };
    drive.selections.iter().map(one).collect()
}

/// How unlike two selections are: what stands out counts more than any time.
fn unlike(compared: &[Compared]) -> f64 {
    let times: f64 = compared.iter().filter_map(|c| c.later_s).map(f64::abs).sum();
    compared.iter().filter(|c| c.stands_out).count() as f64 + times / (1.0 + times)
}

fn compare(here: &Selection, there: &Selection) -> Vec<Compared> {
    let names = |s: &Selection| s.stages.iter().map(|s| s.name.clone()).collect::<Vec<_>>();
    let mut stages = names(there);
    stages.extend(names(here).into_iter().filter(|name| !names(there).contains(name)));
    let mut all: Vec<Compared> = stages.iter().map(|name| stage(name, here, there)).collect();
    let both = |s: &Selection, other: &Selection| {
        let mut names = names(s);
        names.retain(|n| other.stages.iter().any(|o| o.name == *n));
        names
    };
    let turned = both(here, there).into_iter().zip(both(there, here)).find(|(a, b)| a != b);
    let mut word = |what: &str, here: String, there: String, counts: bool| {
        let stands_out = counts && here != there;
        all.push(Compared { what: what.into(), here, there, later_s: None, stands_out });
    };
    if let Some((first_here, first_there)) = turned {
        word("first out of order", first_here, first_there, true);
    }
    word("outcome", here.outcome.clone(), there.outcome.clone(), !as_good(here, there));
    word("kept from matching by", listed(&here.blocked_by), listed(&there.blocked_by), true);
    word("flashing", listed(&flashing(here)), listed(&flashing(there)), true);
    // Teeth meet where they happen to stand: turns tell two vehicles apart by nothing.
    word("turns it took", turns(here), turns(there), false);
    all
}

/// `confirmed` is `completed` and a reversal later, which the other one may not have driven.
fn as_good(here: &Selection, there: &Selection) -> bool {
    let is_good = |s: &Selection| matches!(s.outcome.as_str(), "completed" | "confirmed");
    is_good(here) && is_good(there)
}

fn stage(name: &str, here: &Selection, there: &Selection) -> Compared {
    let at = |s: &Selection| s.stages.iter().find(|s| s.name == name).map(|s| s.first_edge_s);
    let (a, b) = (at(here), at(there));
    let later_s = a.zip(b).map(|(a, b)| a - b);
    let stands_out = match (later_s, b) {
        (Some(later_s), Some(b)) => later_s.abs() > (APART_SHARE * b).max(APART_S),
        _ => true,
    };
    let told = |t: Option<f64>| t.map_or("never".into(), |t| format!("{t:.3} s"));
    Compared { what: name.into(), here: told(a), there: told(b), later_s, stands_out }
}

fn listed(names: &[String]) -> String {
    if names.is_empty() { "none".into() } else { names.join(", ") }
}

fn flashing(s: &Selection) -> Vec<String> {
    let mut lamps: Vec<String> = s.flashing.iter().map(|f| f.lamp.clone()).collect();
    lamps.sort();
    lamps.dedup();
    lamps
}

fn turns(s: &Selection) -> String {
    s.needed.or(s.turns_since_motor_stop).map_or("not measured".into(), words::number)
}

/// The whole comparison in words, for a terminal.
pub fn told(reference: &DriveResult, drive: &DriveResult) -> String {
    let all = beside(reference, drive);
    if all.is_empty() {
        return "No mode was selected in this drive: there is nothing to put beside.\n".into();
    }
    let mut out = String::new();
    for b in &all {
        one_told(&mut out, b);
    }
    let alike = all.iter().filter(|b| b.there.is_some() && b.parts_at().is_none()).count();
    let _ = writeln!(
        out,
        "{alike} of {} went as in the reference. No verdict: a reference shows what another \
         vehicle did, not what this one must do.",
        words::counted(all.len() as u64, "selection")
    );
    out
}

fn one_told(out: &mut String, b: &Beside<'_>) {
    let s = b.here;
    let from = s.from.as_deref().unwrap_or("no mode");
    let _ = writeln!(
        out,
        "Selection {}, {from} to {}, asked for at {}",
        s.number,
        s.to,
        words::seconds(s.requested_s)
    );
    let Some(there) = b.there else {
        out.push_str("  the reference has no selection between these two modes\n\n");
        return;
    };
    let _ = writeln!(
        out,
        "  most like selection {} of the reference, of {} between these modes\n",
        there.number, b.choice
    );
    let wide = |cell: fn(&Compared) -> &str| {
        b.compared.iter().map(|c| cell(c).chars().count()).fold(10, usize::max)
    };
    let (a, z) = (wide(|c| c.here.as_str()), wide(|c| c.there.as_str()));
    let mut row = |mark: char, [what, here, there, later]: [&str; 4]| {
        let line = format!("{mark} {what:<24}  {here:>a$}  {there:>z$}  {later:>10}");
        let _ = writeln!(out, "{}", line.trim_end());
    };
    row(' ', ["", "this drive", "reference", "later"]);
    for c in &b.compared {
        let later = c.later_s.map_or(String::new(), |t| format!("{t:+.3} s"));
        row(if c.stands_out { '*' } else { ' ' }, [&c.what, &c.here, &c.there, &later]);
    }
    let parts = b.parts_at().map_or("goes as in the reference".into(), |c| {
        format!("parts from the reference at: {}", c.what)
    });
    let _ = writeln!(out, "\n  {parts}\n");
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A selection from full-time to locked with these stages, seconds after the request.
    fn selection(
        number: u32,
        outcome: &str,
        stages: &[(&str, f64)],
        blocked: &[&str],
    ) -> Selection {
        let stages: Vec<_> = stages
            .iter()
            .map(|(name, t)| {
                serde_json::json!({ "name": name, "first_edge_s": t, "settled_s": t + 0.004 })
            })
            .collect();
        serde_json::from_value(serde_json::json!({
            "number": number, "from": "full-time", "to": "locked", "requested_s": 20.0,
            "outcome": outcome, "detail": null, "stages": stages,
            "turns_since_motor_stop": 0.02, "blocked_by": blocked, "evidence": [],
        }))
        .expect("a selection of the result format")
    }

    fn drive(selections: Vec<Selection>) -> DriveResult {
        let text = include_str!("../tests/report/result-2.json");
        let mut result: DriveResult = crate::report::json::read(text).expect("a result");
        result.selections = selections;
        result
    }

    const GOOD: [(&str, f64); 4] = [
        ("motor energised", 0.07),
        ("limit contacts changed", 0.4),
        ("motor stopped", 0.8),
        ("position switches match", 1.5),
    ];

    fn known() -> DriveResult {
        drive(vec![
            selection(1, "completed", &GOOD, &[]),
            selection(2, "stuck between", &GOOD[..3], &["position-lock"]),
        ])
    }

    #[test]
    fn a_drive_beside_itself_goes_as_in_the_reference() {
        let all = known();
        for b in beside(&all, &all) {
            assert_eq!(b.there, Some(b.here));
            assert_eq!(b.parts_at(), None, "{b:?}");
        }
        assert!(told(&all, &all).contains("2 of 2 selections went as in the reference"));
    }

    #[test]
    fn a_half_shifted_selection_is_most_like_the_one_that_was_made_so_on_purpose() {
        let late = GOOD.map(|(name, t)| (name, t + 0.02));
        let reference = known();
        let here = drive(vec![selection(7, "stuck between", &late[..3], &["position-lock"])]);
        let found = &beside(&reference, &here)[0];
        assert_eq!((found.there.map(|s| s.number), found.parts_at()), (Some(2), None));
        // Without it, the good one shows where this one parts.
        let good = drive(vec![selection(1, "completed", &GOOD, &[])]);
        let found = &beside(&good, &here)[0];
        assert_eq!(found.parts_at().map(|c| c.what.as_str()), Some("position switches match"));
        assert!(told(&good, &here).contains("* kept from matching by"), "{}", told(&good, &here));
    }

    #[test]
    fn a_stage_stands_out_by_a_quarter_of_its_time_and_a_tenth_of_a_second() {
        let with = |motor_s: f64| {
            let mut stages = GOOD;
            stages[2].1 = motor_s;
            let (here, there) = (drive(vec![selection(1, "confirmed", &stages, &[])]), known());
            beside(&there, &here)[0].parts_at().map(|c| c.what.clone())
        };
        assert_eq!(with(0.99), None);
        assert_eq!(with(1.01).as_deref(), Some("motor stopped"));
        assert_eq!(with(0.59).as_deref(), Some("motor stopped"));
    }

    #[test]
    fn stages_in_another_order_are_named_by_the_first_of_them() {
        let mut stages = GOOD;
        stages.swap(1, 2);
        let (here, there) = (drive(vec![selection(1, "completed", &stages, &[])]), known());
        let found = &beside(&there, &here)[0];
        let order = found.compared.iter().find(|c| c.what == "first out of order");
        let order = order.map(|c| (c.here.as_str(), c.there.as_str(), c.stands_out));
        assert_eq!(order, Some(("motor stopped", "limit contacts changed", true)));
    }

    #[test]
    fn other_modes_and_no_selection_are_said() {
        let mut other = selection(3, "completed", &GOOD, &[]);
        other.to = "low-locked".into();
        let text = told(&known(), &drive(vec![other]));
        assert!(text.contains("no selection between these two modes"), "{text}");
        assert!(told(&known(), &drive(Vec::new())).contains("No mode was selected"));
    }
}
