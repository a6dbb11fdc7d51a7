//! The claim `selection-completes`: every requested mode engages within its limit.

use super::finding::{Finding, FindingPeriod, Word};
use super::latency::Latency;
use super::outcome::{Outcome, Selection, Stage, Timeliness};
use super::rows::no_switches;
use super::timeline::{PERCENTILE_FROM, PairTimes, Timeline};
use super::witness::{Shafts, first_confirmation, shafts};
use crate::quantity::{Component, Estimate};
use crate::switches::Moment;
use crate::vehicle::Limits;
use crate::verdict::Judgement;

const CLAIM: &str = "selection-completes";

pub(super) fn overall(timeline: &Timeline) -> Finding {
    let never = (
        "nothing-requested",
        "no mode was selected in this drive".to_string(),
        "select every mode at least once while recording, rolling at walking pace".to_string(),
    );
    finding(timeline, "every request".into(), |_| true, never)
}

pub(super) fn by_mode(timeline: &Timeline) -> Vec<Finding> {
    let rows = timeline.table.rows.iter().enumerate();
    rows.map(|(k, row)| {
        let name = &row.name;
        let never = if row.position.is_declared() {
            (
                "mode-not-requested",
                format!("`{name}` was not requested in this drive"),
                format!("select `{name}` from each other mode while rolling at walking pace"),
            )
        } else {
            no_switches(name)
        };
        finding(timeline, name.clone(), |s| s.to.0 == k, never)
    })
    .collect()
}

fn finding(
    timeline: &Timeline,
    scope: String,
    of: impl Fn(&Selection) -> bool,
    never: (&'static str, String, String),
) -> Finding {
    let chosen: Vec<&Selection> = timeline.selections.iter().filter(|s| of(s)).collect();
    let periods: Vec<_> = chosen.iter().map(|s| judge(timeline, s, chosen.len())).collect();
    let mut finding = Finding::from_periods(CLAIM, scope, periods, never);
    let limit_s = timeline.table.limits.selection_s;
    let by_default = limit_s == Limits::default().selection_s;
    let source = if by_default { "common practice" } else { "vehicle file" };
    finding.limit = Some(("completion", limit_s, "s", source));
    if finding.word == Word::Proven {
        finding.reason = summary(&chosen, &finding.periods);
    }
    finding
}

fn summary(chosen: &[&Selection], periods: &[FindingPeriod]) -> String {
    let proven = periods.iter().filter(|p| p.word == Word::Proven).count();
    let mut times: Vec<f64> = chosen.iter().filter_map(|s| counted(s)).collect();
    let list = if times.is_empty() {
        String::new()
    } else {
        let (median_s, worst_s) = median_and_worst(&mut times);
        format!(": median {median_s:.3} s, worst {worst_s:.3} s")
    };
    let idle = periods.iter().filter(|p| p.idle).count();
    let aside = if idle > 0 { format!("; {idle} did not exercise it") } else { String::new() };
    let plural = if proven == 1 { "" } else { "s" };
    format!("{proven} selection{plural} engaged within the limit{list}{aside}")
}

/// Time that counts against the limit.
fn counted(s: &Selection) -> Option<f64> {
    Some(s.total.as_ref()?.without(s.rested_s).estimate("completion").value)
}

fn median_and_worst(times: &mut [f64]) -> (f64, f64) {
    times.sort_by(f64::total_cmp);
    let n = times.len();
    ((times[(n - 1) / 2] + times[n / 2]) / 2.0, times[n - 1])
}

pub(super) fn pair_times(timeline: &Timeline) -> Vec<PairTimes> {
    let name = |s: &Selection| (s.from.as_ref().map(|f| f.1.clone()), s.to.1.clone());
    let mut pairs: Vec<_> = timeline.selections.iter().map(name).collect();
    pairs.sort();
    pairs.dedup();
    let times_of = |(from, to): (Option<String>, String)| {
        let of_pair = timeline.selections.iter().filter(|s| name(s) == (from.clone(), to.clone()));
        let mut times: Vec<f64> = of_pair.filter_map(|s| Some(s.completion()?.value)).collect();
        if times.is_empty() {
            return None;
        }
        let n = times.len();
        let (median_s, worst_s) = median_and_worst(&mut times);
        // The least order statistic that is above the 95th percentile with 95 % confidence lies
        // nearer to the worst; the plain one is told, and none from fewer than 59.
        let percentile = times.get((95 * n).div_ceil(100).saturating_sub(1)).copied();
        let percentile95_s = percentile.filter(|_| n >= PERCENTILE_FROM);
        Some(PairTimes { from, to, n, median_s, worst_s, percentile95_s })
    };
    pairs.into_iter().filter_map(times_of).collect()
}

/// What one selection alone says.
struct Judged {
    word: Word,
    code: &'static str,
    reason: String,
    next_step: Option<String>,
    idle: bool,
}

fn proven(code: &'static str, reason: String) -> Judged {
    Judged { word: Word::Proven, code, reason, next_step: None, idle: false }
}

fn disproven(code: &'static str, reason: String) -> Judged {
    Judged { word: Word::Disproven, code, reason, next_step: None, idle: false }
}

fn undecided(code: &'static str, reason: String, next_step: &str) -> Judged {
    let next_step = Some(next_step.to_string());
    Judged { word: Word::Undecided, code, reason, next_step, idle: false }
}

fn idle(code: &'static str, reason: String, next_step: &str) -> Judged {
    Judged { idle: true, ..undecided(code, reason, next_step) }
}

fn judge(timeline: &Timeline, s: &Selection, periods: usize) -> FindingPeriod {
    let judged = weigh(timeline, s, periods);
    let mut estimates = Vec::new();
    if let Some(total) = &s.total {
        estimates.push(total.without(s.rested_s).estimate("completion"));
    }
    if let Some(turns) = s.turns_since_motor_stop {
        estimates.push(Estimate {
            name: "turns since motor stop".into(),
            value: turns,
            unit: "turn".into(),
            components: vec![Component::own("backlash", timeline.table.limits.backlash_turn)],
        });
    }
    if let Some(motor) = &s.motor_part {
        estimates.push(motor.estimate("unit and motor"));
    }
    FindingPeriod {
        start_s: s.request.earliest_s,
        end_s: s.total.as_ref().map_or(s.ended_s, |t| s.request.earliest_s + t.high_s),
        word: judged.word,
        code: judged.code,
        reason: format!("selection {} to `{}`: {}", s.number, s.to.1, judged.reason),
        estimates,
        records: s.records,
        next_step: judged.next_step,
        idle: judged.idle,
    }
}

const AGAIN: &str = "select it again while rolling at walking pace, and keep it requested until \
    the lamp is steady";

const SHAFTS_TELL: &str = "drive circles both ways in this mode with both shafts measured, or turn \
    one lifted wheel by hand";

fn weigh(timeline: &Timeline, s: &Selection, periods: usize) -> Judged {
    let limit_s = timeline.table.limits.selection_s;
    let position = &timeline.table.rows[s.to.0].position;
    if !(position.is_declared() && position.whole) {
        let (code, reason, next_step) = no_switches(&s.to.1);
        return idle(code, reason, &next_step);
    }
    let moved = s
        .stages
        .iter()
        .any(|stage| matches!(stage.stage, Stage::MotorEnergised | Stage::LimitContactsChanged));
    let read_before = s.read_at_request && s.timeliness == Timeliness::Within;
    if (s.was_there || read_before) && moved {
        // Position switches that already read the row while the unit still moves to it lie, here
        // or in the row before: when the mode engaged is not known, nor by a contact that drops
        // out on the way and comes back.
        let reason = "the position switches read the row before the unit had moved".to_string();
        return undecided("matched-before-moving", reason, AGAIN);
    }
    if s.was_there {
        return idle("already-engaged", "the mode was engaged already".into(), AGAIN);
    }
    let beyond = |l: &Latency| l.judge(limit_s, periods) == Judgement::Outside;
    match s.timeliness {
        Timeliness::Within => within(timeline, s),
        Timeliness::Beyond if s.motor_part.as_ref().is_none_or(beyond) => disproven(
            "beyond-limit",
            format!("the unit and its motor took longer than {limit_s} s"),
        ),
        Timeliness::Unclear if s.ran_on => undecided(
            "motor-ran-on",
            "the row matched, but the motor ran on: it may have matched in passing".into(),
            AGAIN,
        ),
        Timeliness::Beyond | Timeliness::Unclear => undecided(
            "too-close-to-limit",
            "the time is too close to the limit, or edges were missed".into(),
            AGAIN,
        ),
        Timeliness::Waited => undecided(
            "waited-for-motion",
            "it engaged after the limit, but the sleeve may have waited for motion".into(),
            s.need.next_step(),
        ),
        Timeliness::None => unreached(timeline, s),
    }
}

fn within(timeline: &Timeline, s: &Selection) -> Judged {
    let engaged_s = s.request.earliest_s + s.total.as_ref().map_or(0.0, |t| t.high_s);
    let stretch = (engaged_s, s.left_s.unwrap_or(s.ended_s));
    let said = shafts(&timeline.seen, &timeline.table, s.to.0, s.agreed_from, stretch);
    if said == Shafts::Silent && s.untold != 0 {
        let switches = timeline.table.names_of(s.untold);
        return undecided(
            "may-hang-in-transit",
            format!(
                "the row matched before the motor had stopped, and {switches} did not change, or \
                 read wrongly before: a sleeve that hangs on its way may read the same"
            ),
            SHAFTS_TELL,
        );
    }
    if said == Shafts::Deny {
        return undecided(
            "shafts-contradict-switches",
            "the switches read the row, but the shafts show another mode".into(),
            SHAFTS_TELL,
        );
    }
    proven("inside-limit", "engaged within the limit".into())
}

fn unreached(timeline: &Timeline, s: &Selection) -> Judged {
    let (table, stretch) = (&timeline.table, (s.request.latest_s, s.ended_s));
    if let Some(seen) = first_confirmation(&timeline.seen, table, s.to.0, s.agreed_from, stretch) {
        return engaged_by_shafts(timeline, s, seen.start_s);
    }
    let had_time = s.ended_s - s.request.first_s >= table.limits.selection_s;
    let denied = shafts(&timeline.seen, table, s.to.0, s.agreed_from, (settled_by(s), s.ended_s));
    let reason = |what: &str| match &s.detail {
        Some(detail) => format!("{what} ({detail})"),
        None => what.to_string(),
    };
    match s.outcome {
        _ if s.touched => undecided(
            "row-left-again",
            reason("the row matched for a moment and left again"),
            AGAIN,
        ),
        Outcome::StuckBetween | Outcome::WrongRow if denied == Shafts::Deny => {
            disproven("mode-not-engaged", reason("the switches and the shafts show another mode"))
        }
        Outcome::StuckBetween | Outcome::WrongRow => undecided(
            "stuck-or-switch",
            reason("either the sleeve hangs or a switch is wrong"),
            "drive circles both ways in this mode with both shafts and the input measured, or \
                turn one lifted wheel by hand: the shafts tell which",
        ),
        Outcome::RequestLost if may_be_there(timeline, s) => undecided(
            "may-be-there",
            reason(
                "nothing moved on request, but the unit may have stood there already and the \
                 switches be wrong",
            ),
            "correct the position switches or their rows (see switch-table) and select again",
        ),
        Outcome::RequestLost => disproven("nothing-moved", reason("nothing moved on request")),
        Outcome::RefusedByInterlock => idle(
            "refused-by-interlock",
            reason("the unit refused it"),
            "put the interlock as the unit requires and select again",
        ),
        Outcome::PowerLost => idle("power-lost", reason("ignition went off"), AGAIN),
        Outcome::WaitingForRotation => undecided(
            "waiting-for-rotation",
            reason("the sleeve was still waiting for motion"),
            s.need.next_step(),
        ),
        _ if !had_time => idle("request-too-short", reason("the request ended early"), AGAIN),
        _ => undecided("not-seen-to-the-end", reason("it was not seen to engage"), AGAIN),
    }
}

/// True where the last request on which something moved was for the same mode, or where there was
/// none before and the switches told no row when this one came.
fn may_be_there(timeline: &Timeline, s: &Selection) -> bool {
    let idle = |t: &&Selection| {
        t.was_there || matches!(t.outcome, Outcome::RequestLost | Outcome::RefusedByInterlock)
    };
    let mut earlier = timeline.selections.iter().rev().filter(|t| t.number < s.number);
    match earlier.find(|t| !idle(t)) {
        Some(moved) => moved.to.0 == s.to.0,
        None => s.from.is_none(),
    }
}

/// When the motor had stopped, or else when the request had been made.
fn settled_by(s: &Selection) -> f64 {
    let stopped = s.stages.iter().rfind(|t| t.stage == Stage::MotorStopped);
    stopped.map_or(s.request.latest_s, |t| t.moment.latest_s)
}

/// The shafts show the mode that the switches deny: it engaged at the latest when the unit's lamp
/// said so, or when the shafts began to show it.
fn engaged_by_shafts(timeline: &Timeline, s: &Selection, seen_from_s: f64) -> Judged {
    let limit_s = timeline.table.limits.selection_s;
    let inside = |to: &Moment| Latency::between(&s.request, to).judge(limit_s, 1);
    let lamp = s.stages.iter().find(|t| t.stage == Stage::LampSteady);
    let by_lamp = lamp.is_some_and(|t| inside(&t.moment) == Judgement::Inside);
    if by_lamp || inside(&Moment::at(seen_from_s)) == Judgement::Inside {
        return proven(
            "inside-limit-by-other-witnesses",
            "engaged within the limit by lamp and shafts, though a position switch disagrees"
                .into(),
        );
    }
    undecided(
        "engaged-at-unknown-time",
        "the shafts show the mode, but a position switch disagrees, so the time is not known"
            .into(),
        "correct that switch or its row (see switch-table) and select again",
    )
}
