//! `sender-scale`: pulses per kilometre of the speed sender against what the speedometer expects.

use super::{Finding, limit, period, word};
use crate::assemble::Drive;
use crate::learning::Tooth;
use crate::result::{RecordRange, Verdict};
use wheelwitness_driveline::quantity::{Component, Estimate};
use wheelwitness_driveline::steady::{Band, LAG_U_S, STEADY_MIN_MPS, noise};
use wheelwitness_driveline::vehicle::Speedometer;
use wheelwitness_driveline::verdict::{Bounds, judge as judge_estimate};

const NEXT: &str = "drive 300 m straight and steady at each of three speeds, with GNSS in the open";

/// One finding.
pub fn judge(drive: &Drive) -> Vec<Finding> {
    vec![match sender(drive) {
        Ok(found) => compare(drive, &found),
        Err(no) => *no,
    }]
}

/// Rates in steady running against the speed over ground.
pub(super) struct Steady<'a> {
    /// By speed.
    pub bands: &'a [Band],
    lag_u_s: f64,
    noise: (f64, f64),
}

impl<'a> Steady<'a> {
    /// What was driven steadily, where it is enough; `with` is what was watched.
    pub fn new(drive: &Drive, bands: &'a [Band], with: &str) -> Result<Self, Box<Finding>> {
        let noise = noise(bands);
        // As many degrees of freedom as a verdict asks for.
        if noise.1 < 6.0 {
            let reason = format!(
                "too little straight and steady driving above {:.0} km/h with {with} and GNSS \
                 together",
                3.6 * STEADY_MIN_MPS
            );
            return no("too-little-steady", reason, NEXT);
        }
        Ok(Steady { bands, lag_u_s: LAG_U_S[usize::from(!drive.lag_estimated)], noise })
    }

    /// Relative uncertainties of the rate over the speed in a band.
    pub fn components(&self, band: &Band) -> Vec<Component> {
        band.components(self.lag_u_s, self.noise)
    }
}

/// A sender, and what the speedometer expects of it.
pub(super) struct Sender<'a> {
    /// What a turn of the sender a second makes the speedometer show, m/s.
    pub shown_per_turn: f64,
    /// What it counted.
    pub steady: Steady<'a>,
    expected_per_km: f64,
    pulses_per_turn: f64,
}

impl Sender<'_> {
    /// Pulses per kilometre in a band.
    fn pulses_per_km(&self, band: &Band) -> f64 {
        1e3 * self.pulses_per_turn * band.rate() / band.speed_mps()
    }
}

fn no<T>(code: &'static str, reason: String, next: &str) -> Result<T, Box<Finding>> {
    Err(Box::new(Finding::undecided("speed sender", code, reason, next.into())))
}

/// The speedometer, or that it is not declared.
pub(super) fn declared(drive: &Drive) -> Result<&Speedometer, Box<Finding>> {
    let reason = || "the speedometer is not declared".into();
    let next = "declare it as [speedometer] in the vehicle file";
    drive.vehicle.speedometer.as_ref().map_or_else(|| no("not-declared", reason(), next), Ok)
}

/// What the sender's claims rest on, or why there is nothing.
pub(super) fn sender(drive: &Drive) -> Result<Sender<'_>, Box<Finding>> {
    let speedometer = declared(drive)?;
    let fed = speedometer.pulses_per_km.zip(speedometer.shown_mps(1.0));
    let Some((expected_per_km, shown_per_pulse)) = fed else {
        let reason = "what the speedometer expects of its sender is not declared".into();
        return no("not-declared", reason, "declare pulses_per_km under [speedometer]");
    };
    let Some(sensor) = drive.vehicle.sensor(speedometer.sender) else {
        let reason = "the sender's pulses are not measured".into();
        return no("not-fitted", reason, "tap the sender's line on a free pulse channel");
    };
    let unsound = |t: &&Tooth| t.sensor.place == sensor.place && (t.extra_edges || t.missing_tooth);
    if drive.teeth.iter().any(|t| unsound(&t)) {
        let reason = "the sender's line does not give one pulse for each of its teeth".into();
        return no("sensors-unsound", reason, "repair the sender or its wiring and drive again");
    }
    let steady = Steady::new(drive, &drive.motions.steady, "the sender")?;
    let pulses_per_turn = f64::from(sensor.pulses_per_turn);
    let shown_per_turn = shown_per_pulse * pulses_per_turn;
    Ok(Sender { pulses_per_turn, shown_per_turn, steady, expected_per_km })
}

fn compare(drive: &Drive, found: &Sender) -> Finding {
    let scope = "speed sender";
    let size = drive.vehicle.limits.sender_percent;
    let bounds = Bounds::within(size);
    let limit = limit(drive, "sender scale excess", bounds, "%", |l| [l.sender_percent; 2]);
    let Some(all) = Band::all(found.steady.bands) else {
        let reason = "no steady driving".to_string();
        return Finding::undecided(scope, "too-little-steady", reason, NEXT.into());
    };
    let (expected, given) = (found.expected_per_km, found.pulses_per_km(&all));
    let ratio = given / expected;
    let percent = |c: Component| Component { u: 100.0 * ratio * c.u, ..c };
    let components = found.steady.components(&all).into_iter().map(percent).collect();
    let (name, unit) = ("sender scale excess".to_string(), "%".to_string());
    let excess = Estimate { name, value: 100.0 * (ratio - 1.0), unit, components };
    let u = expected * excess.u() / 100.0;
    let value = format!("{given:.1} ± {:.1} pulses per km, {expected} expected", 2.0 * u);
    let verdict = word(judge_estimate(&excess, bounds, 1));
    let finding = match verdict {
        Verdict::Proven => Finding::decided(scope, verdict, "inside-limit", value),
        Verdict::Disproven => {
            let reason = format!("{value}{}", lead(given));
            Finding::decided(scope, verdict, "outside-limit", reason)
        }
        Verdict::Undecided => {
            let reason = format!("{value}: too near the limit to tell");
            Finding::undecided(scope, "near-limit", reason, NEXT.into())
        }
    };
    let why = format!("{} windows of steady straight running", all.windows);
    let records = RecordRange { first: all.records.0, last: all.records.1 };
    let shown = period(all.span_us.0, all.span_us.1, records, verdict, why, &[&excess]);
    finding.against(limit).shown_by(vec![shown])
}

/// A usual scale that was measured instead.
fn lead(given: f64) -> &'static str {
    use wheelwitness_driveline::scale::{CABLE_1000_PER_MILE, CABLE_TURNS_PER_KM};
    let is = |turns_per_km: f64, pulses: f64| (given / (turns_per_km * pulses) - 1.0).abs() < 0.004;
    match () {
        () if is(CABLE_TURNS_PER_KM, 4.0) => ": that is 4 pulses of 637 turns per kilometre",
        () if is(CABLE_1000_PER_MILE, 4.0) => ": that is 4,000 pulses a mile",
        () if is(CABLE_1000_PER_MILE, 8.0) => ": that is 8,000 pulses a mile",
        () => "",
    }
}
