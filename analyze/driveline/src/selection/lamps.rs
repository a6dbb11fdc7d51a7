//! The claim `lamps-truthful`: the lamps show a mode while it is engaged.
//!
//! A lamp is read while the position switches read the row that is requested. What it shows
//! before that, while the unit moves or waits, is for the unit to say, and its self-test after
//! ignition is no lie. A lamp that never changed in the drive may be dead at the right time, so
//! it proves nothing; and a lamp that shows otherwise is called wrong only where the mode is
//! shown by more than the position switches.

use super::finding::{Finding, FindingPeriod, Word};
use super::rows::{RowPeriod, no_switches, said, seconds};
use super::table::{Table, shows};
use super::timeline::{LampSpan, Timeline};
use super::witness::Shafts;
use crate::switches::{LAMP_HOLD_S, LampState};
use crate::vehicle::Lamp;

/// Time that lamps may take to follow the position switches, in seconds (common practice).
const LAG_S: f64 = 2.0;

/// What one lamp showed in one stretch.
struct Shown<'a> {
    lamp: &'a str,
    number: usize,
    want: Lamp,
    /// Time in which it showed the row.
    right_s: f64,
    /// Time in which it showed otherwise.
    wrong_s: f64,
    /// What it showed otherwise for longest.
    otherwise: Option<(LampState, f64)>,
}

impl<'a> Shown<'a> {
    fn read(timeline: &'a Timeline, (number, want): (usize, Lamp), from_s: f64, to_s: f64) -> Self {
        let lamp = timeline.table.names[number].as_str();
        let mut shown = Shown { lamp, number, want, right_s: 0.0, wrong_s: 0.0, otherwise: None };
        for span in timeline.lamps.iter().filter(|s| s.lamp == lamp) {
            let lasted_s = span.end_s.min(to_s) - span.start_s.max(from_s);
            if lasted_s > 0.0 {
                shown.add(span.state, lasted_s);
            }
        }
        shown
    }

    fn add(&mut self, state: LampState, lasted_s: f64) {
        if shows(state, self.want) {
            self.right_s += lasted_s;
            return;
        }
        self.wrong_s += lasted_s;
        if self.otherwise.is_none_or(|(_, longest_s)| lasted_s > longest_s) {
            self.otherwise = Some((state, lasted_s));
        }
    }

    fn words(&self) -> String {
        let state = match self.otherwise {
            Some((LampState::Off, _)) => "dark".into(),
            Some((LampState::Steady, _)) => "lit".into(),
            Some((flash, _)) => {
                format!("flashing ({:.0} a minute)", flash.rate_per_min().unwrap_or(0.0))
            }
            None => "as declared".into(),
        };
        let want = match self.want {
            Lamp::Off => "dark",
            Lamp::Steady => "lit",
            Lamp::Flashing => "flashing",
        };
        format!("`{}` was {state} for {:.1} s instead of {want}", self.lamp, self.wrong_s)
    }

    /// It belongs lit, and flashed for less time than it was lit: a dimmed light whose edges are
    /// told in part looks so at times.
    fn only_flickers(&self) -> bool {
        let flashed = matches!(self.otherwise, Some((LampState::Flashing { .. }, _)));
        matches!(self.want, Lamp::Steady) && flashed && self.wrong_s < self.right_s
    }

    /// It shows what is declared for a unit that is still under way or waits.
    fn is_under_way(&self, table: &Table) -> bool {
        let fits = |(n, want): &(usize, Lamp)| {
            *n == self.number && self.otherwise.is_some_and(|(state, _)| shows(state, *want))
        };
        table.under_way.iter().any(fits)
    }
}

pub(super) fn lamps_truthful(timeline: &Timeline) -> Vec<Finding> {
    let table = &timeline.table;
    let rows = (0..table.rows.len()).filter(|k| !table.rows[*k].lamps.is_empty());
    rows.map(|k| of_row(timeline, k)).collect()
}

fn of_row(timeline: &Timeline, k: usize) -> Finding {
    let row = &timeline.table.rows[k];
    let name = &row.name;
    let never = if row.position.is_declared() && row.position.whole {
        (
            "mode-not-engaged",
            format!("the position switches did not show `{name}` while it was requested"),
            format!("select `{name}` and drive in it for at least 10 s"),
        )
    } else {
        no_switches(name)
    };
    let engaged = |p: &&RowPeriod| p.is_row(k) && p.matched_s.is_some() && p.stretch_s.is_some();
    let periods = timeline.row_periods.iter().filter(engaged).map(|p| judge(timeline, p, k));
    Finding::from_periods("lamps-truthful", name.clone(), periods.collect(), never)
}

/// Word, code, reason, next step, and whether the period was idle.
type Judged = (Word, &'static str, String, Option<String>, bool);

fn judge(timeline: &Timeline, p: &RowPeriod, k: usize) -> FindingPeriod {
    let table = &timeline.table;
    let (start_s, end_s) = p.stretch_s.unwrap_or((p.requested_s, p.ended_s));
    let test_s = if p.initial { p.requested_s + table.self_test_s } else { start_s };
    let from_s = start_s.max(test_s) + LAG_S;
    let read = |lamp: &(usize, Lamp)| Shown::read(timeline, *lamp, from_s, end_s);
    let lamps: Vec<Shown> = table.rows[k].lamps.iter().map(read).collect();
    let least = |time_s: fn(&Shown) -> f64| lamps.iter().map(time_s).fold(f64::INFINITY, f64::min);
    let exposure_s = least(|l| l.right_s + l.wrong_s);
    let wrong_s = lamps.iter().map(|l| l.wrong_s).fold(0.0, f64::max);
    let (word, code, reason, next_step, idle) = if exposure_s < LAMP_HOLD_S {
        let reason = "what every lamp shows was not determined for long enough".to_string();
        let step = format!("stay in `{}` for at least 10 s", p.mode);
        (Word::Undecided, "not-held-long-enough", reason, Some(step), true)
    } else if wrong_s >= LAMP_HOLD_S && !p.disagreements.is_empty() {
        let who: Vec<&str> = p.disagreements.iter().map(|(name, _)| name.as_str()).collect();
        let reason = format!(
            "{}, but `{}` did not read the row all the time: it may not have been engaged",
            worst(&lamps),
            who.join("`, `")
        );
        let step = format!("select `{}` again and stay in it for at least 10 s", p.mode);
        (Word::Undecided, "row-left-again", reason, Some(step), false)
    } else if wrong_s >= LAMP_HOLD_S {
        otherwise(timeline, p, &lamps)
    } else if wrong_s > 0.0 {
        let reason = format!("{}: too short to call it wrong", worst(&lamps));
        let step = format!("select `{}` again and stay in it for at least 10 s", p.mode);
        (Word::Undecided, "lamp-late", reason, Some(step), false)
    } else {
        as_declared(timeline, p, &lamps, exposure_s)
    };
    FindingPeriod {
        start_s: from_s.min(end_s),
        end_s,
        word,
        code,
        reason,
        estimates: vec![seconds("shown otherwise", wrong_s), seconds("exposure", exposure_s)],
        records: p.records,
        next_step,
        idle,
    }
}

fn worst(lamps: &[Shown]) -> String {
    let wrong = lamps.iter().filter(|l| l.wrong_s > 0.0).map(Shown::words);
    wrong.collect::<Vec<_>>().join(", ")
}

/// How the mode can be shown otherwise than by the position switches.
fn show_it(p: &RowPeriod) -> String {
    format!(
        "keep `{}` requested and drive circles both ways with both shafts measured, or look at the \
         linkage by hand",
        p.mode
    )
}

fn otherwise(timeline: &Timeline, p: &RowPeriod, lamps: &[Shown]) -> Judged {
    let who = worst(lamps);
    if lamps.iter().filter(|l| l.wrong_s > 0.0).all(Shown::only_flickers) {
        let reason = format!("{who}, but as declared for longer: it may be a dimmed light");
        let step = "look at the lamp in this mode, with the dash lights bright and dimmed";
        return (Word::Undecided, "lamp-flickers", reason, Some(step.into()), false);
    }
    let stretch = p.stretch_s.unwrap_or((p.requested_s, p.ended_s));
    let shafts = said(timeline, p, stretch);
    let waits = lamps.iter().any(|l| l.is_under_way(&timeline.table));
    let by_contacts = p.is_shown_by_contacts() && shafts != Shafts::Deny && !waits;
    if shafts == Shafts::Confirm || by_contacts {
        return (Word::Disproven, "lamp-disagrees", who, None, false);
    }
    let (code, why) = match (shafts, waits) {
        (Shafts::Deny, _) => ("mode-not-engaged", "the shafts show another mode"),
        (_, true) => ("unit-under-way", "the unit may say that it is still under way"),
        _ => ("engagement-not-certain", "the position switches alone show the mode"),
    };
    (Word::Undecided, code, format!("{who}, but {why}"), Some(show_it(p)), false)
}

fn as_declared(timeline: &Timeline, p: &RowPeriod, lamps: &[Shown], exposure_s: f64) -> Judged {
    let shafts = said(timeline, p, p.stretch_s.unwrap_or((p.requested_s, p.ended_s)));
    if shafts == Shafts::Deny {
        let reason = "lamps and switches show the mode, but the shafts show another one".into();
        return (Word::Undecided, "shafts-contradict-switches", reason, Some(show_it(p)), false);
    }
    if shafts != Shafts::Confirm && !p.shows_movement() {
        let reason = "neither the position switches moved for the mode nor do the shafts show it";
        let step = show_it(p);
        return (Word::Undecided, "switches-did-not-move", reason.into(), Some(step), true);
    }
    if let Some(dull) = lamps.iter().find(|l| !has_changed(&timeline.lamps, l.lamp)) {
        let reason = format!("`{}` never changed in this drive: it may be dead", dull.lamp);
        let step = format!(
            "select a mode in which `{}` shows something else, or switch the ignition off and on",
            dull.lamp
        );
        return (Word::Undecided, "lamp-never-changed", reason, Some(step), false);
    }
    let reason = format!("every lamp showed the mode for {exposure_s:.1} s");
    (Word::Proven, "lamps-show-the-mode", reason, None, false)
}

/// True when the lamp was seen both lit and dark.
fn has_changed(spans: &[LampSpan], lamp: &str) -> bool {
    let any = |test: fn(&LampState) -> bool| spans.iter().any(|s| s.lamp == lamp && test(&s.state));
    any(|s| *s != LampState::Off) && any(|s| *s != LampState::Steady)
}
