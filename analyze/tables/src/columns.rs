//! From result and series to columns. Units stand last in the name of a column, or in a column
//! `unit` beside it; unknown is null.

use crate::Format;
use polars_core::prelude::{Column, DataFrame, NamedFrom, PolarsResult, Series as Values};
use wheelwitness_analyze::result::{Claim, DriveResult, Period, Reported, Verdict};
use wheelwitness_analyze::series::Series;

/// One row per time step of the series, with the mode that was engaged.
pub fn steps(result: &DriveResult, s: &Series, format: Format) -> PolarsResult<DataFrame> {
    let n = s.time_s.len();
    let padded =
        |v: &[Option<f64>]| (0..n).map(|i| v.get(i).copied().flatten()).collect::<Vec<_>>();
    let time: Vec<_> = s.time_s.iter().map(|t| Some(*t)).collect();
    let modes = s.time_s.iter().map(|t| mode_at(result, *t)).collect();
    DataFrame::new(
        n,
        vec![
            numbers("time_s", time),
            texts("mode", modes, format),
            numbers("front_rpm", padded(&s.front_rpm)),
            numbers("rear_rpm", padded(&s.rear_rpm)),
            numbers("input_rpm", padded(&s.input_rpm)),
            numbers("speed_mps", padded(&s.speed_mps)),
            numbers("counted_turn", padded(&s.counted_turn)),
            numbers("demanded_turn", padded(&s.demanded_turn)),
            numbers("differential_slip_percent", padded(&s.differential_slip_percent)),
        ],
    )
}

fn mode_at(result: &DriveResult, t: f64) -> Option<String> {
    let span = result.modes.iter().find(|m| (m.start_s..m.end_s).contains(&t));
    span.and_then(|m| m.mode.clone())
}

/// A row of the claims table: an estimate of a period of a claim. A period without estimates and
/// a claim without periods have one row each, with nulls.
struct Row<'a> {
    number: u64,
    claim: &'a Claim,
    period: Option<(u64, &'a Period)>,
    estimate: Option<&'a Reported>,
}

impl Row<'_> {
    fn of_period<T>(&self, f: impl Fn(&Period) -> T) -> Option<T> {
        self.period.map(|(_, p)| f(p))
    }
}

fn rows(result: &DriveResult) -> Vec<Row<'_>> {
    let mut rows = Vec::new();
    for (claim, number) in result.claims.iter().zip(1..) {
        let row = |period, estimate| Row { number, claim, period, estimate };
        if claim.periods.is_empty() {
            rows.push(row(None, None));
        }
        for (p, k) in claim.periods.iter().zip(1..) {
            if p.estimates.is_empty() {
                rows.push(row(Some((k, p)), None));
            }
            rows.extend(p.estimates.iter().map(|e| row(Some((k, p)), Some(e))));
        }
    }
    rows
}

/// The claims, one row for each estimate.
pub fn claims(result: &DriveResult, format: Format) -> PolarsResult<DataFrame> {
    let rows = rows(result);
    let text = |name, f: &dyn Fn(&Row) -> Option<String>| {
        texts(name, rows.iter().map(f).collect(), format)
    };
    let number =
        |name, f: &dyn Fn(&Row) -> Option<f64>| numbers(name, rows.iter().map(f).collect());
    let whole = |name, f: &dyn Fn(&Row) -> Option<u64>| wholes(name, rows.iter().map(f).collect());
    DataFrame::new(
        rows.len(),
        vec![
            whole("claim_number", &|r| Some(r.number)),
            text("claim", &|r| Some(r.claim.id.clone())),
            text("scope", &|r| Some(r.claim.scope.clone())),
            text("verdict", &|r| Some(word(r.claim.verdict))),
            text("reason_code", &|r| Some(r.claim.reason_code.clone())),
            whole("period_number", &|r| r.period.map(|(k, _)| k)),
            number("period_start_s", &|r| r.of_period(|p| p.start_s)),
            number("period_end_s", &|r| r.of_period(|p| p.end_s)),
            text("period_verdict", &|r| r.of_period(|p| word(p.verdict))),
            text("estimate", &|r| Some(r.estimate?.name.clone())),
            number("value", &|r| r.estimate?.value),
            text("unit", &|r| Some(r.estimate?.unit.clone())),
            number("u", &|r| r.estimate?.u),
            number("dof", &|r| r.estimate?.dof),
            number("interval95_low", &|r| r.estimate?.interval95.map(|i| i[0])),
            number("interval95_high", &|r| r.estimate?.interval95.map(|i| i[1])),
            text("limit_quantity", &|r| Some(r.claim.limit.as_ref()?.quantity.clone())),
            number("limit_lower", &|r| r.claim.limit.as_ref()?.lower),
            number("limit_upper", &|r| r.claim.limit.as_ref()?.upper),
            whole("first_record", &|r| {
                r.of_period(|p| p.evidence.iter().map(|e| e.first).min())?
            }),
            whole("last_record", &|r| r.of_period(|p| p.evidence.iter().map(|e| e.last).max())?),
        ],
    )
}

fn word(v: Verdict) -> String {
    match v {
        Verdict::Proven => "proven",
        Verdict::Disproven => "disproven",
        Verdict::Undecided => "undecided",
    }
    .into()
}

fn numbers(name: &str, values: Vec<Option<f64>>) -> Column {
    let finite: Vec<_> = values.into_iter().map(|v| v.filter(|v| v.is_finite())).collect();
    Values::new(name.into(), finite).into()
}

fn wholes(name: &str, values: Vec<Option<u64>>) -> Column {
    Values::new(name.into(), values).into()
}

fn texts(name: &str, values: Vec<Option<String>>, format: Format) -> Column {
    let cell = |v: String| if format == Format::Csv { harmless(v) } else { v };
    let values: Vec<_> = values.into_iter().map(|v| v.map(cell)).collect();
    Values::new(name.into(), values).into()
}

/// What makes a cell more than text, the wide forms of East Asian keyboards included.
const ACTIVE: [char; 11] = ['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠'];

/// Text that a spreadsheet takes for text (OWASP, "CSV Injection", from memory).
fn harmless(text: String) -> String {
    if text.starts_with(ACTIVE) { format!("'{text}") } else { text }
}
