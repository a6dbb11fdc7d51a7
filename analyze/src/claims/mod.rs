//! The claims: one file each, one row each in [`CLAIMS`].
//!
//! A claim function looks at the whole [`Drive`] and returns one [`Claim`] per scope (a mode, an
//! axle, a source). It never guesses: what is missing gives `undecided` with the next step.

mod axle_ratios;
mod by_hand;
mod capture_complete;
mod center;
mod front_driven;
mod front_released;
mod no_wind_up;
mod range_ratio;
mod rear_driven;
mod sender_scale;
mod sensors_agree;
mod shafts_within;
mod share;
mod speedometer;
mod switches;
mod torque_share;
mod tyres_match;

use crate::assemble::Drive;
use crate::motion::Period as Engagement;
use crate::result::{Claim, LimitInfo, Period, RecordRange, Reported, Verdict};
use wheelwitness_driveline::quantity::Estimate;
use wheelwitness_driveline::vehicle::{Coupling, Limits, Mode};
use wheelwitness_driveline::verdict::{Bounds, Judgement};

/// A row: id, sentence, how to judge it.
pub type Row = (&'static str, &'static str, fn(&Drive) -> Vec<Finding>);

/// The claims, in the order in which they are reported.
pub const CLAIMS: [Row; 19] = [
    (
        "capture-complete",
        "In this drive, everything the source sent is in the capture.",
        capture_complete::judge,
    ),
    (
        "sensors-agree",
        "In this drive, wheel and shaft sensors agreed with the declared axle ratio and tooth \
         counts.",
        sensors_agree::judge,
    ),
    (
        "switch-table",
        "In this drive, the switches read in this mode what the table says.",
        switches::judge_table,
    ),
    (
        "selection-completes",
        "In this drive, this mode engaged within its limit whenever it was requested.",
        switches::judge_selections,
    ),
    (
        "center-opens",
        "In this drive, the outputs differed as the road demanded, with the front axle coupled.",
        center::judge_opens,
    ),
    (
        "center-locks",
        "In this drive, the outputs did not differ, whatever the road demanded.",
        center::judge_locks,
    ),
    ("front-driven", "In this drive, the front axle was driven in this mode.", front_driven::judge),
    (
        "tyres-match",
        "In this drive, the rolling circumferences agreed within the limit.",
        tyres_match::judge,
    ),
    (
        "range-ratio",
        "In this drive, the input turned against the outputs by the declared ratio of this range.",
        range_ratio::judge,
    ),
    (
        "torque-share",
        "In this drive, the center differential divided between front and rear as declared.",
        torque_share::judge,
    ),
    ("rear-driven", "In this drive, the rear axle was driven in this mode.", rear_driven::judge),
    (
        "axle-ratios-match",
        "In this drive, shaft and wheels of this axle turned by the declared axle ratio.",
        axle_ratios::judge,
    ),
    (
        "lamps-truthful",
        "In this drive, the lamps showed this mode while it was engaged.",
        switches::judge_lamps,
    ),
    (
        "contacts-clean",
        "In this drive, no contact of these dropped out or chattered while nothing was being \
         selected.",
        switches::judge_contacts,
    ),
    (
        "front-released",
        "In this drive, the front axle was not driven in this mode.",
        front_released::judge,
    ),
    (
        "shafts-within-limit",
        "In this drive, this shaft stayed below its safe share of the critical speed.",
        shafts_within::judge,
    ),
    (
        "no-wind-up",
        "In this drive, the locked mode was not driven on a surface where it grinds.",
        no_wind_up::judge,
    ),
    (
        "sender-scale",
        "In this drive, the speed sender gave the pulses per distance that the speedometer \
         expects.",
        sender_scale::judge,
    ),
    (
        "speedometer-true",
        "In this drive, the speed that the sender makes the speedometer show obeyed its rule.",
        speedometer::judge,
    ),
];

/// What a claim function finds for one scope.
#[derive(Debug, Clone)]
pub struct Finding {
    /// What part of the vehicle it is about.
    pub scope: String,
    /// The verdict.
    pub verdict: Verdict,
    /// Stable reason code.
    pub code: &'static str,
    /// The reason in plain words.
    pub reason: String,
    /// What to do to decide it.
    pub next_step: Option<String>,
    /// The limit.
    pub limit: Option<LimitInfo>,
    /// The periods.
    pub periods: Vec<Period>,
}

impl Finding {
    /// Not decided: why, and what to do about it.
    pub fn undecided(scope: &str, code: &'static str, reason: String, next: String) -> Self {
        Finding {
            scope: scope.into(),
            verdict: Verdict::Undecided,
            code,
            reason,
            next_step: Some(next),
            limit: None,
            periods: Vec::new(),
        }
    }

    /// Decided.
    pub fn decided(scope: &str, verdict: Verdict, code: &'static str, reason: String) -> Self {
        Finding {
            scope: scope.into(),
            verdict,
            code,
            reason,
            next_step: None,
            limit: None,
            periods: Vec::new(),
        }
    }

    /// With a limit.
    pub fn against(self, limit: LimitInfo) -> Self {
        Finding { limit: Some(limit), ..self }
    }

    /// With the periods that exercised it.
    pub fn shown_by(self, periods: Vec<Period>) -> Self {
        Finding { periods, ..self }
    }
}

/// Judges every claim.
pub fn judge_all(drive: &Drive) -> Vec<Claim> {
    CLAIMS
        .iter()
        .flat_map(|(id, sentence, judge)| {
            judge(drive).into_iter().map(move |f| claim(id, sentence, f))
        })
        .collect()
}

fn claim(id: &str, sentence: &str, f: Finding) -> Claim {
    Claim {
        id: id.into(),
        sentence: sentence.into(),
        scope: f.scope,
        verdict: f.verdict,
        reason_code: f.code.into(),
        reason: f.reason,
        next_step: f.next_step,
        limit: f.limit,
        periods: f.periods,
    }
}

/// The word for a judgement.
fn word(judgement: Judgement) -> Verdict {
    match judgement {
        Judgement::Inside => Verdict::Proven,
        Judgement::Outside => Verdict::Disproven,
        Judgement::Between => Verdict::Undecided,
    }
}

/// Seconds of a place on the axis.
fn seconds(us: i64) -> f64 {
    us as f64 * 1e-6
}

/// A limit of the vehicle file with its source: the default's, or the file itself.
fn limit(
    drive: &Drive,
    quantity: &str,
    bounds: Bounds,
    unit: &str,
    is: impl Fn(&Limits) -> [f64; 2],
) -> LimitInfo {
    let own = is(&drive.vehicle.limits) != is(&Limits::default());
    LimitInfo {
        quantity: quantity.into(),
        lower: bounds.lower,
        upper: bounds.upper,
        unit: unit.into(),
        source: if own { "vehicle file" } else { "common practice" }.into(),
    }
}

/// A period of the report from a stretch of the drive.
fn period(
    start_us: i64,
    end_us: i64,
    records: RecordRange,
    verdict: Verdict,
    reason: String,
    estimates: &[&Estimate],
) -> Period {
    Period {
        start_s: seconds(start_us),
        end_s: seconds(end_us),
        verdict,
        reason,
        estimates: estimates.iter().map(|e| Reported::from(*e)).collect(),
        evidence: vec![records],
    }
}

impl Drive {
    /// Mode rows with a coupling, with their engagement periods.
    fn modes_with(&self, coupling: Coupling) -> Vec<(&Mode, Vec<&Engagement>)> {
        let rows = self.vehicle.modes.iter().enumerate().filter(|(_, m)| m.coupling == coupling);
        rows.map(|(k, mode)| {
            (
                mode,
                self.motions
                    .periods
                    .iter()
                    .filter(|p| p.engaged.mode == k && p.engaged.certain)
                    .collect(),
            )
        })
        .collect()
    }
}
