//! How numbers, times and other people's text are put into words.

use crate::result::{
    CaptureInfo, Claim, Coupling, HandTrial, LimitInfo, ModeSpan, Period, Reported, Selection,
    Sureness, Verdict, Witness, WitnessSpan, Witnesses,
};

/// The sentence that stands on every report.
pub const EVIDENCE_NOT_APPROVAL: &str = "A verdict is evidence, not approval: it says what this \
     recording shows, not that a vehicle is safe or legal to drive.";

/// Text from outside, made visible: control characters as `\xNN`, characters that hide or reorder
/// text as `\u{NNNN}`. What stands in a report is then what stands in the file.
///
/// ```
/// use wheelwitness_analyze::report::words::visible;
/// assert_eq!(visible("high\x1b[2J\n"), "high\\x1B[2J\\x0A");
/// ```
pub fn visible(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            _ if c.is_control() => out.push_str(&format!("\\x{:02X}", c as u32)),
            _ if hides(c) => out.push_str(&format!("\\u{{{:X}}}", c as u32)),
            _ => out.push(c),
        }
    }
    out
}

/// Characters without ink that change how their neighbours are read (bidirectional controls,
/// zero-width characters, line separators, tags; the concern of Unicode Technical Report 36), and
/// the code points that XML 1.0 cannot hold.
fn hides(c: char) -> bool {
    matches!(c,
        '\u{AD}' | '\u{61C}' | '\u{180E}' | '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}'
        | '\u{2060}'..='\u{206F}' | '\u{FEFF}' | '\u{FFFE}' | '\u{FFFF}'
        | '\u{E0000}'..='\u{E007F}')
}

/// At most `limit` characters, the rest told by an ellipsis; for places that cannot wrap.
pub fn elided(text: &str, limit: usize) -> String {
    let text = visible(text);
    if text.chars().count() <= limit {
        return text;
    }
    text.chars().take(limit.saturating_sub(1)).chain(['…']).collect()
}

/// A value and the half width of its interval, the latter to two significant digits and the value
/// to the same decimal (JCGM 100:2008, 7.2.6).
///
/// ```
/// use wheelwitness_analyze::report::words::plus_minus;
/// // The worked example of JCGM 100:2008, 7.2.4.
/// assert_eq!(plus_minus(100.02147, 0.00079), "100.02147 ± 0.00079");
/// ```
pub fn plus_minus(value: f64, half_width: f64) -> String {
    let decimals = decimals_of(half_width);
    format!("{} ± {}", fixed(value, decimals), fixed(half_width, decimals))
}

/// A number without an uncertainty, to four significant digits.
pub fn number(value: f64) -> String {
    if value == 0.0 {
        return "0".into();
    }
    let decimals = decimals_for(value, 4);
    let text = fixed(value, decimals);
    if !text.contains('.') || text.contains('e') {
        return text;
    }
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

/// Decimals that show two significant digits.
fn decimals_of(uncertainty: f64) -> Option<i32> {
    decimals_for(uncertainty, 2)
}

/// Decimals that show so many significant digits, after rounding to them; `None` where plain
/// notation would be too long.
fn decimals_for(x: f64, digits: i32) -> Option<i32> {
    if x == 0.0 {
        return Some(3);
    }
    let rounded = format!("{:.*e}", (digits - 1) as usize, x.abs());
    let exponent: i32 = rounded.split('e').nth(1)?.parse().ok()?;
    (-9..12).contains(&exponent).then_some(digits - 1 - exponent)
}

fn fixed(value: f64, decimals: Option<i32>) -> String {
    match decimals {
        Some(d) if value.abs() < 1e12 => {
            let text = format!("{value:.*}", d.max(0) as usize);
            if text.trim_start_matches(['-', '0', '.']).is_empty() {
                return text.trim_start_matches('-').to_string();
            }
            text
        }
        _ => format!("{value:.3e}"),
    }
}

/// Unit as it is appended to a number: nothing for a ratio.
pub fn unit_suffix(unit: &str) -> String {
    if unit == "1" || unit.is_empty() { String::new() } else { format!(" {}", visible(unit)) }
}

/// An estimate as `name value ± half width unit`, the interval being the 95 % one.
pub fn estimate(r: &Reported) -> String {
    format!("{} {}", visible(&r.name), estimate_value(r))
}

/// An estimate as `value ± half width unit`.
pub fn estimate_value(r: &Reported) -> String {
    let unit = unit_suffix(&r.unit);
    match (r.value, r.interval95) {
        (Some(v), Some([low, high])) if low == high => format!("{}{unit} exactly", number(v)),
        (Some(v), Some([low, high])) => format!("{}{unit}", plus_minus(v, (high - low) / 2.0)),
        (Some(v), None) => format!("{}{unit}, uncertainty unknown", number(v)),
        (None, _) => "unknown".into(),
    }
}

/// A standard uncertainty to two significant digits.
pub fn uncertainty(u: Option<f64>, unit: &str) -> String {
    match u {
        Some(0.0) => "0".into(),
        Some(u) => format!("{}{}", fixed(u, decimals_of(u)), unit_suffix(unit)),
        None => "unknown".into(),
    }
}

/// The 95 % interval, its ends rounded like the value.
pub fn interval(e: &Reported) -> String {
    let Some([low, high]) = e.interval95 else { return "unknown".into() };
    let decimals = decimals_of((high - low) / 2.0);
    let end = |x| if low == high { number(x) } else { fixed(x, decimals) };
    format!("{} to {}{}", end(low), end(high), unit_suffix(&e.unit))
}

/// Degrees of freedom, cut to the next lower integer (JCGM 100:2008, G.4.1).
pub fn freedom(dof: Option<f64>) -> String {
    match dof {
        Some(n) if n.is_finite() => format!("{:.0}", n.floor()),
        _ => "unlimited".into(),
    }
}

/// A limit in words: `0.7 to 1.3`, `at most 5 s`, `at least 0.7`.
pub fn limit(l: &LimitInfo) -> String {
    let unit = unit_suffix(&l.unit);
    match (l.lower, l.upper) {
        (Some(a), Some(b)) => format!("{} to {}{unit}", number(a), number(b)),
        (None, Some(b)) => format!("at most {}{unit}", number(b)),
        (Some(a), None) => format!("at least {}{unit}", number(a)),
        (None, None) => "no bound".into(),
    }
}

/// The period whose estimate carries the verdict of a claim: of those that say the same as the
/// claim (all, if none does), the one that lies deepest outside or least inside of the limit.
pub fn key_period(claim: &Claim) -> Option<&Period> {
    let measured = || claim.periods.iter().filter(|p| judged(p).is_some());
    let agreeing = measured().filter(|p| p.verdict == claim.verdict);
    least_inside(claim, agreeing).or_else(|| least_inside(claim, measured()))
}

fn least_inside<'a>(
    claim: &Claim,
    periods: impl Iterator<Item = &'a Period>,
) -> Option<&'a Period> {
    periods.min_by(|a, b| margin(claim, a).total_cmp(&margin(claim, b)))
}

/// The estimate that is judged: the first one, if it has a value.
fn judged(period: &Period) -> Option<&Reported> {
    period.estimates.first().filter(|e| e.value.is_some())
}

/// Distance into the limit in standard uncertainties; negative outside.
fn margin(claim: &Claim, period: &Period) -> f64 {
    let (Some(limit), Some(e)) = (&claim.limit, judged(period)) else { return 0.0 };
    let (Some(v), u) = (e.value, e.u.filter(|u| *u > 0.0).unwrap_or(f64::MIN_POSITIVE)) else {
        return 0.0;
    };
    let below = limit.upper.map_or(f64::INFINITY, |b| (b - v) / u);
    let above = limit.lower.map_or(f64::INFINITY, |a| (v - a) / u);
    below.min(above)
}

/// A claim by its number in the result, which `explain` takes, and its id.
pub fn numbered(number: usize, claim: &Claim) -> String {
    format!("{number} {}", visible(&claim.id))
}

/// The key number of a claim: the estimate of its [`key_period`] and how many periods there are,
/// or for how long the claim was observed when no number belongs to it.
pub fn key_number(claim: &Claim) -> String {
    let n = claim.periods.len();
    let key = key_period(claim).and_then(|p| p.estimates.first());
    match key {
        Some(e) if n == 1 => estimate(e),
        Some(e) => format!("{}, 1 of {n}", estimate(e)),
        None if n == 0 => "not exercised".into(),
        None => format!("observed for {}", seconds(observed_s(claim))),
    }
}

fn observed_s(claim: &Claim) -> f64 {
    claim.periods.iter().map(|p| p.end_s - p.start_s).sum()
}

/// The word of a verdict.
pub fn verdict(v: Verdict) -> &'static str {
    match v {
        Verdict::Proven => "proven",
        Verdict::Disproven => "disproven",
        Verdict::Undecided => "undecided",
    }
}

/// How many claims are proven, disproven and undecided, as a sentence.
pub fn tally(claims: &[Claim]) -> String {
    let count = |v| claims.iter().filter(|c| c.verdict == v).count();
    format!(
        "{} proven, {} disproven, {} undecided",
        count(Verdict::Proven),
        count(Verdict::Disproven),
        count(Verdict::Undecided)
    )
}

/// The word of a coupling.
pub fn coupling(c: Coupling) -> &'static str {
    match c {
        Coupling::RearOnly => "rear only",
        Coupling::Differential => "through the center differential",
        Coupling::Locked => "locked",
        Coupling::FrontOnly => "front only",
        Coupling::Neutral => "neutral",
    }
}

/// Name of the mode of a span.
pub fn mode_name(span: &ModeSpan) -> String {
    span.mode.as_deref().map_or("no row matches".into(), visible)
}

/// A number of things: `1 record`, `63 records`.
pub fn counted(n: u64, noun: &str) -> String {
    if n == 1 { format!("1 {noun}") } else { format!("{n} {noun}s") }
}

/// A time on the axis of the drive, in seconds.
pub fn seconds(t: f64) -> String {
    format!("{t:.2} s")
}

/// A stretch on the time axis.
pub fn stretch(start_s: f64, end_s: f64) -> String {
    format!("{start_s:.2} s to {end_s:.2} s")
}

/// Wall clock of the host at the start, as a date.
pub fn started(capture: &CaptureInfo) -> Option<String> {
    date(capture.started_wall_ns?)
}

/// A wall-clock time, nanoseconds since 1970, as a date; `None` if no calendar has it.
pub fn date(wall_ns: i64) -> Option<String> {
    let at = jiff::Timestamp::from_nanosecond(wall_ns.into()).ok()?;
    Some(at.strftime("%Y-%m-%d %H:%M:%S UTC").to_string())
}

/// What is missing from the capture, a line for each kind; empty when nothing is.
pub fn missing(capture: &CaptureInfo) -> Vec<String> {
    let mut lines = Vec::new();
    for h in &capture.holes {
        let records = match h.records_missing {
            Some(n) => format!("{} missing", counted(n, "record")),
            None => "records missing: number unknown".into(),
        };
        lines.push(format!(
            "segment {}, from byte {}: {} unreadable, {records}",
            h.segment,
            h.offset,
            counted(h.bytes, "byte")
        ));
    }
    if !capture.closed {
        lines.push("the recording was not closed cleanly: its end may be missing".into());
    }
    lines
}

/// The command that walks a period of a claim back to raw records. It names the claim by its
/// number in the result, so that no text from outside ever stands in a command.
pub fn explain_period(claim_number: usize, period_number: usize) -> String {
    format!("wheelwitness explain CAPTURE --claim {claim_number} --period {period_number}")
}

/// The command that walks a selection back to raw records.
pub fn explain_selection(number: u32) -> String {
    format!("wheelwitness explain CAPTURE --selection {number}")
}

/// How much a selection had of what it needs.
pub fn needed(s: &Selection) -> Option<String> {
    let needed = s.needed.or(s.turns_since_motor_stop)?;
    let of = if s.needs.is_empty() { "turns" } else { s.needs.as_str() };
    Some(format!("; {} {of} after the motor stopped", number(needed)))
}

/// What else is known of a selection: what blocks it, which lamps flashed, where to look first.
pub fn selection_notes(s: &Selection) -> Vec<String> {
    let mut notes = Vec::new();
    if !s.blocked_by.is_empty() {
        notes.push(format!("Not matching: {}.", s.blocked_by.join(", ")));
    }
    for f in &s.flashing {
        notes.push(format!("{} flashed, {}.", f.lamp, stretch(f.start_s, f.end_s)));
    }
    if let Some(lead) = &s.lead {
        notes.push(format!("Fits best (a lead, no verdict): {}: {}.", lead.cause, lead.fits));
    }
    notes
}

/// A witness in words.
pub fn witness(w: Witness) -> &'static str {
    match w {
        Witness::Requested => "request",
        Witness::Switches => "switches",
        Witness::Shafts => "shafts",
    }
}

/// What a witness says in a stretch.
pub fn witness_says(s: &WitnessSpan) -> String {
    let couplings: Vec<&str> = s.couplings.iter().map(|c| coupling(*c)).collect();
    let what = match (&s.mode, couplings.is_empty()) {
        (Some(mode), _) => mode.clone(),
        (None, true) => "no row matches".into(),
        (None, false) => couplings.join(" or "),
    };
    let partly = if s.sureness == Sureness::Partly { " (partly)" } else { "" };
    format!("{what}{partly}")
}

/// Whether the witnesses agreed, in a sentence.
pub fn conflicts(w: &Witnesses) -> String {
    let spoke = w.shafts.iter().fold(0.0, |sum, s| sum + s.end_s - s.start_s);
    let shafts = format!("the shafts spoke for {}", seconds(spoke));
    match w.conflicts.len() {
        0 => format!("No two of them differed; {shafts}."),
        n => format!("Two of them differed {}; {shafts}.", counted(n as u64, "time")),
    }
}

/// What does what a trial by hand showed.
pub fn hand_fits(t: &HandTrial) -> String {
    match &t.silent {
        Some(why) => format!("says nothing: {why}"),
        None => t.fits.iter().map(|c| coupling(*c)).collect::<Vec<_>>().join(" or "),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_rounded_to_their_uncertainty() {
        for (value, half, expected) in [
            // JCGM 100:2008, 7.2.6: y = 10.057 62 ohm with u = 27 mohm is given as 10.058 ohm.
            (10.05762, 0.027, "10.058 ± 0.027"),
            // Two digits of 0.0996 are 0.10.
            (0.9812, 0.0996, "0.98 ± 0.10"),
            (0.9812, 0.104, "0.98 ± 0.10"),
            (-0.0004, 0.02, "0.000 ± 0.020"),
            (2431.7, 130.0, "2432 ± 130"),
            (1.5, 0.0, "1.500 ± 0.000"),
        ] {
            assert_eq!(plus_minus(value, half), expected);
        }
    }

    #[test]
    fn plain_numbers_keep_four_digits_and_no_idle_zeros() {
        for (value, expected) in [
            (0.0, "0"),
            (0.7, "0.7"),
            (9.975, "9.975"),
            (5.0, "5"),
            (120.0, "120"),
            (123456.0, "123456"),
            (1e300, "1.000e300"),
        ] {
            assert_eq!(number(value), expected);
        }
    }

    #[test]
    fn characters_that_hide_or_reorder_text_are_shown() {
        assert_eq!(visible("a\u{202E}b\u{200B}c\u{9b}"), "a\\u{202E}b\\u{200B}c\\x9B");
        assert_eq!(visible("Größe 車 ±"), "Größe 車 ±");
    }
}
