//! `no-wind-up`: what a locked center made the tyres slip.
//!
//! Counts show how far tyres had to slip, and nothing of how hard the ground held them. So little
//! slip proves the sentence on any ground; much of it is harmless on loose ground and grinds on a
//! hard one. That the ground was loose is somebody's word, and a word proves nothing: a lock that
//! lets go late is still driven when the gravel ends. That it was hard is an admission.

use super::{Finding, limit, period, word};
use crate::assemble::Drive;
use crate::motion::Period as Engagement;
use crate::result::Verdict;
use wheelwitness_driveline::scrub::{NoScrub, SCRUB_MIN_M, Scrub, scrub};
use wheelwitness_driveline::vehicle::{Coupling, Ground, Mode};
use wheelwitness_driveline::verdict::{Bounds, judge as judge_estimate};

/// One finding per mode that locks.
pub fn judge(drive: &Drive) -> Vec<Finding> {
    let modes = drive.modes_with(Coupling::Locked);
    modes.into_iter().map(|(mode, periods)| one(drive, mode, &periods)).collect()
}

fn one(drive: &Drive, mode: &Mode, periods: &[&Engagement]) -> Finding {
    let scope = mode.name.as_str();
    let bounds = Bounds::at_most(drive.vehicle.limits.scrub_m_per_km);
    let limit = limit(drive, "scrub", bounds, "m/km", |l| [l.scrub_m_per_km; 2]);
    let no = |code, reason: String, next: &str| {
        Finding::undecided(scope, code, reason, next.into()).against(limit.clone())
    };
    if let Some(why) = drive.unsound() {
        return no("sensors-unsound", why, "repair the sensor and drive again");
    }
    let per_turn = drive.setup.metres_per_turn();
    let told = |p: &&Engagement| scrub(&p.segments, per_turn, &drive.motions.prior);
    let all: Vec<_> = periods.iter().map(|p| (*p, told(p))).collect();
    if all.iter().any(|(p, s)| *s == Err(NoScrub::NoCurvature) || p.was_silent()) {
        let reason = "nothing showed how the path was curved, or a sensor was silent".into();
        return no("path-not-seen", reason, "record a GNSS receiver, or count the rear wheels");
    }
    let found: Vec<(&Engagement, Scrub)> =
        all.into_iter().filter_map(|(p, s)| Some((p, s.ok()?))).collect();
    if found.is_empty() {
        let reason = format!("less than {SCRUB_MIN_M:.0} m were driven in this mode");
        return no("mode-not-driven", reason, "nothing to wind up: nothing to do");
    }
    let n = found.len();
    let words: Vec<Verdict> =
        found.iter().map(|(_, s)| word(judge_estimate(&s.per_km, bounds, n))).collect();
    decide(drive, scope, &found, words).against(limit)
}

fn decide(
    drive: &Drive,
    scope: &str,
    found: &[(&Engagement, Scrub)],
    words: Vec<Verdict>,
) -> Finding {
    let ground = drive.vehicle.test_ground.as_ref().map(|g| g.locked);
    let total = |f: fn(&Scrub) -> f64| found.iter().map(|(_, s)| f(s)).sum::<f64>();
    let worst = found.iter().map(|(_, s)| &s.per_km).max_by(|a, b| a.value.total_cmp(&b.value));
    let (most, u) = worst.map_or((0.0, 0.0), |e| (e.value, e.u()));
    let value = format!(
        "tyres had to slip {most:.1} ± {:.1} m per km at most, {:.1} m in {:.0} m",
        2.0 * u,
        total(|s| s.scrubbed_m),
        total(|s| s.driven_m)
    );
    let within = words.iter().all(|w| *w == Verdict::Proven);
    let beyond = words.contains(&Verdict::Disproven);
    let finding = match (within, beyond, ground) {
        (true, ..) => Finding::decided(
            scope,
            Verdict::Proven,
            "inside-limit",
            format!("{value}: that grinds on no ground"),
        ),
        (_, true, Some(Ground::Hard)) => Finding::decided(
            scope,
            Verdict::Disproven,
            "scrub-on-hard",
            format!("{value}, on ground that the vehicle file declares hard"),
        ),
        (_, true, Some(Ground::Loose)) => Finding::undecided(
            scope,
            "declared-loose",
            format!(
                "{value}: harmless if the ground was loose to the end, as the vehicle file says"
            ),
            "wait until the lock has let go before you leave loose ground: watch the lamp".into(),
        ),
        (_, true, None) => Finding::undecided(
            scope,
            "ground-unknown",
            format!("{value}: harmless on loose ground, grinding on hard ground"),
            "lock on loose ground only, and say where the locked modes are driven ([test_ground])"
                .into(),
        ),
        _ => Finding::undecided(
            scope,
            "near-limit",
            format!("{value}: not certain enough"),
            "drive 300 m straight and steady with the center open, then the locked mode again"
                .into(),
        ),
    };
    let said = finding.verdict;
    let shown = found.iter().zip(words).map(|((p, s), word)| {
        let word = if word == Verdict::Disproven || said == Verdict::Proven { said } else { word };
        let why = format!("{:.1} m of slip in {:.0} m", s.scrubbed_m, s.driven_m);
        let (start, end) = (p.engaged.start_us, p.engaged.end_us);
        period(start, end, p.records, word, why, &[&s.per_km])
    });
    finding.shown_by(shown.collect())
}
