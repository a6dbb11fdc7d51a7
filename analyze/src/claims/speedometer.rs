//! `speedometer-true`: what the speedometer shows (as its unit sends it, or as its sender makes it
//! show), against its rule, speed by speed.

use super::sender_scale::{Steady, declared, sender};
use super::{Finding, period, word};
use crate::assemble::Drive;
use crate::result::{LimitInfo, Period, RecordRange, Verdict};
use wheelwitness_driveline::quantity::{Component, Estimate};
use wheelwitness_driveline::speedometer::{cfr393_indicated, r39_indicated};
use wheelwitness_driveline::steady::Band;
use wheelwitness_driveline::units::KM_PER_MILE;
use wheelwitness_driveline::vehicle::{Place, SpeedRule};
use wheelwitness_driveline::verdict::{Bounds, judge as judge_estimate};

const SCOPE: &str = "speedometer";

/// The speed that 49 CFR 393.82 speaks of, km/h, and how near to it a drive must have been.
const US_KMH: f64 = 50.0 * KM_PER_MILE;
const US_NEAR_KMH: f64 = 5.0 * KM_PER_MILE;

/// What was shown at one speed, less the truth.
struct Shown {
    true_kmh: Estimate,
    error_kmh: Estimate,
    bounds: Bounds,
}

/// What it rests on.
struct Evidence<'a> {
    rule: SpeedRule,
    steady: Steady<'a>,
    /// What is shown for a turn a second, m/s.
    shown_per_turn: f64,
    /// How it came to be known that this is shown.
    how: &'static str,
}

/// What the unit of the speedometer sends, or what its sender makes it show. The nearer to the eye,
/// the better.
fn evidence(drive: &Drive) -> Result<Evidence<'_>, Box<Finding>> {
    let rule = declared(drive)?.rule;
    let fed = || {
        let found = sender(drive)?;
        let (shown_per_turn, how) = (found.shown_per_turn, "by its sender's pulses");
        Ok(Evidence { rule, steady: found.steady, shown_per_turn, how })
    };
    if drive.vehicle.signal(Place::Speedometer).is_none() {
        return fed();
    }
    match Steady::new(drive, &drive.motions.shown, "what the speedometer shows") {
        Ok(steady) => {
            let how = "as its unit sends it, the pointer was not read";
            Ok(Evidence { rule, steady, shown_per_turn: 1.0, how })
        }
        Err(no) => fed().map_err(|_| no),
    }
}

/// One finding.
pub fn judge(drive: &Drive) -> Vec<Finding> {
    vec![match evidence(drive) {
        Ok(found) => compare(&found),
        Err(no) => Finding { scope: SCOPE.into(), ..*no },
    }]
}

fn compare(found: &Evidence) -> Finding {
    let shown: Vec<(&Band, Shown)> =
        found.steady.bands.iter().filter_map(|b| Some((b, at(found, b)?))).collect();
    if shown.is_empty() {
        let reason = format!("the rule speaks of {US_KMH:.1} km/h, and nothing was driven near it");
        let next = "drive 500 m straight and steady at 50 miles an hour, where the law allows it";
        return Finding::undecided(SCOPE, "speed-not-driven", reason, next.into());
    }
    let n = shown.len();
    let judged = |s: &Shown| word(judge_estimate(&s.error_kmh, s.bounds, n));
    let words: Vec<Verdict> = shown.iter().map(|(_, s)| judged(s)).collect();
    let verdict = match &words {
        w if w.contains(&Verdict::Disproven) => Verdict::Disproven,
        w if w.iter().all(|v| *v == Verdict::Proven) => Verdict::Proven,
        _ => Verdict::Undecided,
    };
    let told = shown.iter().zip(&words).find(|(_, w)| **w == verdict).map_or(&shown[0], |(s, _)| s);
    let (truth, error) = (told.1.true_kmh.value, &told.1.error_kmh);
    let at: Vec<String> = shown.iter().map(|(_, s)| format!("{:.0}", s.true_kmh.value)).collect();
    let value = format!(
        "at a true {truth:.1} km/h it shows {:+.2} ± {:.2} km/h more ({}); driven at {} km/h",
        error.value,
        2.0 * error.u(),
        found.how,
        at.join(", ")
    );
    let finding = match verdict {
        Verdict::Proven => Finding::decided(SCOPE, verdict, "inside-limit", value),
        Verdict::Disproven => Finding::decided(SCOPE, verdict, "outside-limit", value),
        Verdict::Undecided => Finding::undecided(
            SCOPE,
            "near-limit",
            format!("{value}: too near a limit to tell"),
            "drive longer at each speed; one that shows exactly the truth stands at the limit of a \
             one-sided rule and is never proven"
                .into(),
        ),
    };
    let limit = rule(found, &told.1);
    let periods = shown.iter().zip(&words).map(|((b, s), w)| row(b, s, *w));
    finding.against(limit).shown_by(periods.collect())
}

fn row(band: &Band, s: &Shown, word: Verdict) -> Period {
    let why = format!("{} windows of steady straight running", band.windows);
    let records = RecordRange { first: band.records.0, last: band.records.1 };
    let estimates = [&s.error_kmh, &s.true_kmh];
    period(band.span_us.0, band.span_us.1, records, word, why, &estimates)
}

/// What was shown in a band of speed; None where the rule does not speak of that speed.
fn at(found: &Evidence, band: &Band) -> Option<Shown> {
    let truth = 3.6 * band.speed_mps();
    let indicated = 3.6 * found.shown_per_turn * band.rate();
    let bounds = match found.rule {
        SpeedRule::UnR39 => r39_indicated(truth),
        SpeedRule::Us39382 if (truth - US_KMH).abs() > US_NEAR_KMH => return None,
        SpeedRule::Us39382 => cfr393_indicated().map(|kmh| kmh - US_KMH + truth),
    };
    let estimate = |name: &str, value: f64| {
        let of = |c: Component| Component { u: c.u * indicated, ..c };
        let components = found.steady.components(band).into_iter().map(of).collect();
        Estimate { name: name.into(), value, unit: "km/h".into(), components }
    };
    Some(Shown {
        true_kmh: estimate("true speed", truth),
        error_kmh: estimate("shown less true speed", indicated - truth),
        bounds: Bounds::between(bounds[0] - truth, bounds[1] - truth),
    })
}

fn rule(found: &Evidence, told: &Shown) -> LimitInfo {
    let source = match found.rule {
        SpeedRule::UnR39 => "UN Regulation No. 39 para 5.3",
        SpeedRule::Us39382 => "49 CFR 393.82",
    };
    LimitInfo {
        quantity: format!("shown less true speed at {:.1} km/h", told.true_kmh.value),
        lower: told.bounds.lower,
        upper: told.bounds.upper,
        unit: "km/h".into(),
        source: source.into(),
    }
}
