//! Finding drives by what their manifests say.

use crate::error::Error;
use crate::manifest::{Judgement, Manifest};
use wheelwitness_analyze::result::Verdict;

/// What is looked for; everything given must fit.
#[derive(Debug, Clone, Default)]
pub struct Wanted {
    /// Begun at this wall-clock time or later, nanoseconds since 1970 UTC.
    pub from_ns: Option<i64>,
    /// Begun before this wall-clock time.
    pub before_ns: Option<i64>,
    /// Part of the vehicle's name.
    pub vehicle: Option<String>,
    /// Part of the name of a mode that was seen.
    pub mode: Option<String>,
    /// Id of a claim; with a verdict, the claim has that verdict in some scope.
    pub claim: Option<String>,
    /// A verdict of some claim.
    pub verdict: Option<Verdict>,
    /// Part of a note.
    pub note: Option<String>,
}

impl Wanted {
    /// Whether a drive fits, by its newest judgement.
    pub fn fits(&self, m: &Manifest) -> bool {
        let date = m.date_wall_ns();
        self.from_ns.is_none_or(|t| date >= t)
            && self.before_ns.is_none_or(|t| date < t)
            && part(&self.vehicle, m.vehicle())
            && part(&self.note, m.notes.iter().map(|n| n.text.as_str()))
            && self.fits_judgement(m.judged())
    }

    fn fits_judgement(&self, judged: Option<&Judgement>) -> bool {
        let modes = judged.into_iter().flat_map(|j| j.modes.iter().map(String::as_str));
        let mut claims = judged.into_iter().flat_map(|j| &j.claims);
        let asked = self.claim.is_some() || self.verdict.is_some();
        let said = claims.any(|c| {
            self.claim.as_ref().is_none_or(|id| *id == c.id)
                && self.verdict.is_none_or(|v| v == c.verdict)
        });
        part(&self.mode, modes) && (!asked || said)
    }
}

/// Whether some text holds the wanted part; capital or small letters are alike.
fn part<'a>(wanted: &Option<String>, texts: impl IntoIterator<Item = &'a str>) -> bool {
    let Some(wanted) = wanted.as_ref().map(|w| w.to_lowercase()) else { return true };
    texts.into_iter().any(|t| t.to_lowercase().contains(&wanted))
}

/// First moment of a day `YYYY-MM-DD`, UTC, in nanoseconds since 1970; of the day after it if
/// `after`.
///
/// ```
/// use wheelwitness_archive::search::day;
/// assert_eq!(day("1970-01-02", false).unwrap(), 86_400_000_000_000);
/// assert_eq!(day("1970-01-02", true).unwrap(), 2 * 86_400_000_000_000);
/// ```
pub fn day(text: &str, after: bool) -> Result<i64, Error> {
    let wrong = || Error::Unfit(format!("{text:?} is no day; write it as 2026-05-17"));
    let date: jiff::civil::Date = text.parse().map_err(|_| wrong())?;
    let date = if after { date.tomorrow().map_err(|_| wrong())? } else { date };
    let zoned = date.to_zoned(jiff::tz::TimeZone::UTC).map_err(|_| wrong())?;
    i64::try_from(zoned.timestamp().as_nanosecond()).map_err(|_| wrong())
}
