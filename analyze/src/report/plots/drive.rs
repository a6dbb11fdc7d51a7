//! Figures over the time of a drive.

use super::canvas::{self, BLACK_INK, BLUE, Ink, ORANGE, SKY, VERMILLION};
use super::{Band, Body, Line, Panel, Plan, thin};
use crate::result::DriveResult;
use crate::series::{LiftedWindow, Series};

const TIME: &str = "time from the first record / s";
const RPM: &str = "turns per minute";
/// Slip beyond this makes a second, closer panel useful, in percent.
const CLOSE_SLIP_PERCENT: f64 = 10.0;
/// As many wheel-lifted windows are drawn.
const WINDOWS: usize = 6;

/// Front and rear speed, and their difference.
pub fn speed_difference(result: &DriveResult, s: &Series) -> Plan {
    let difference = zip(&s.front_rpm, &s.rear_rpm, |f, r| f - r);
    let panels = vec![
        time_panel(
            result,
            s,
            RPM,
            vec![
                line("front output", Ink::wide(SKY), &s.time_s, &s.front_rpm),
                line("rear output", Ink::thin(VERMILLION), &s.time_s, &s.rear_rpm),
            ],
        ),
        time_panel(
            result,
            s,
            "front − rear, turns per minute",
            vec![line("difference", Ink::thin(BLUE), &s.time_s, &difference)],
        ),
    ];
    plan(
        result,
        "speed-difference",
        "Front and rear output speed",
        "Speed of the front and rear outputs, and front minus rear. Bands show the mode that was \
         engaged by its switches. A break in a line means that nothing was measured there.",
        panels,
        "No speed of the front and rear outputs was measured in this drive.",
    )
}

/// Counted against demanded difference, both from zero in each mode.
pub fn revolution_balance(result: &DriveResult, s: &Series) -> Plan {
    let counted = from_zero_in_each_mode(result, s, &s.counted_turn);
    let demanded = from_zero_in_each_mode(result, s, &s.demanded_turn);
    let panel = time_panel(
        result,
        s,
        "front − rear since the mode began / turns",
        vec![
            Line { label: "demanded by the road", ink: Ink::wide(ORANGE), points: demanded },
            Line { label: "counted", ink: Ink::thin(BLACK_INK), points: counted },
        ],
    );
    plan(
        result,
        "revolution-balance",
        "Revolution balance: counted against demanded",
        "Turns by which the front output ran ahead of the rear one, against the turns that the \
         path of the wheels demanded; both start from zero when a mode is engaged. Open center: \
         the lines lie on each other. Locked: the counted line stays flat, within backlash, while \
         the demanded one moves away. On a straight the lines drift apart by what tyres or axle \
         ratios differ from their declaration, and a lifted wheel is counted though no road \
         demands it. Where nothing is demanded the picture proves nothing.",
        vec![panel],
        "No difference between the outputs was counted or demanded in this drive.",
    )
}

/// Differential slip; with a closer look when it is far off in places.
pub fn differential_slip(result: &DriveResult, s: &Series) -> Plan {
    let slip = || line("slip", Ink::thin(BLUE), &s.time_s, &s.differential_slip_percent);
    let mut panels = vec![time_panel(result, s, "front − rear over mean / %", vec![slip()])];
    if panels[0].y[0] < -CLOSE_SLIP_PERCENT || panels[0].y[1] > CLOSE_SLIP_PERCENT {
        panels.push(close_look(result, s, slip()));
    }
    plan(
        result,
        "differential-slip",
        "Differential slip",
        "Front minus rear output speed over their mean. Turning demands some slip of an open \
         center; a locked one allows none.",
        panels,
        "No slip between the outputs was measured in this drive.",
    )
}

/// The same slip within ±10 %; what lies beyond is a gap here and stands in the panel above.
fn close_look(result: &DriveResult, s: &Series, mut slip: Line) -> Panel {
    for (_, y) in &mut slip.points {
        *y = y.filter(|y| y.abs() <= CLOSE_SLIP_PERCENT);
    }
    let mut panel = time_panel(result, s, "the same, closer / %", vec![slip]);
    panel.y = [-1.08 * CLOSE_SLIP_PERCENT, 1.08 * CLOSE_SLIP_PERCENT];
    panel.note = Some("beyond ±10 %: see the panel above".into());
    panel
}

/// One panel for each window with a wheel lifted and driven.
pub fn wheel_lifted(s: &Series) -> Plan {
    let panels: Vec<Panel> = s.lifted.iter().take(WINDOWS).filter_map(lifted_panel).collect();
    let body = if panels.is_empty() {
        Body::Words("No wheel was lifted and driven in this drive.".into())
    } else {
        Body::Panels { modes: Vec::new(), panels }
    };
    let more = match s.lifted.len().saturating_sub(WINDOWS) {
        0 => String::new(),
        n => format!(" {n} more windows are not drawn."),
    };
    Plan {
        name: "wheel-lifted".into(),
        title: "Wheel lifted and driven".into(),
        caption: format!(
            "With one wheel lifted and the rear output at rest, all motion goes to the front \
             output. Through the center differential it turns 1/a times as fast as the input \
             (a: torque share of the front output; 2 at an even split); a coupling that drives \
             the front only would give 1.{more}"
        ),
        body,
    }
}

fn lifted_panel(w: &LiftedWindow) -> Option<Panel> {
    let seen = |v: &[f64]| v.iter().map(|v| Some(*v)).collect::<Vec<_>>();
    let lines = vec![
        line("front output", Ink::wide(SKY), &w.time_s, &seen(&w.front_rpm)),
        line("input / range", Ink::thin(BLACK_INK), &w.time_s, &seen(&w.input_rpm)),
        line("rear output", Ink::thin(VERMILLION), &w.time_s, &seen(&w.rear_rpm)),
    ];
    let y = range_of(&lines)?;
    let note = w.ratio.filter(|r| r.is_finite()).map(|r| format!("front / input = {r:.3}"));
    let x = spread(w.start_s, w.end_s)?;
    Some(Panel { x_label: TIME, y_label: RPM, x, y, note, bands: Vec::new(), lines })
}

fn plan(
    result: &DriveResult,
    name: &str,
    title: &str,
    caption: &str,
    panels: Vec<Panel>,
    nothing: &str,
) -> Plan {
    let drawn = panels.iter().any(|p| range_of(&p.lines).is_some());
    let body = if drawn {
        Body::Panels { modes: canvas::modes_of(&result.modes), panels }
    } else {
        Body::Words(nothing.into())
    };
    Plan { name: name.into(), title: title.into(), caption: caption.into(), body }
}

fn time_panel(result: &DriveResult, s: &Series, y_label: &'static str, lines: Vec<Line>) -> Panel {
    Panel {
        x_label: TIME,
        y_label,
        x: time_range(result, s),
        y: range_of(&lines).unwrap_or([-1.0, 1.0]),
        note: None,
        bands: bands(result),
        lines,
    }
}

fn line(label: &'static str, ink: Ink, time_s: &[f64], values: &[Option<f64>]) -> Line {
    let value = |i: usize| values.get(i).copied().flatten();
    let points = time_s.iter().enumerate().map(|(i, t)| (*t, value(i))).collect();
    Line { label, ink, points }
}

fn zip(a: &[Option<f64>], b: &[Option<f64>], f: impl Fn(f64, f64) -> f64) -> Vec<Option<f64>> {
    a.iter().zip(b).map(|(a, b)| Some(f((*a)?, (*b)?))).collect()
}

fn bands(result: &DriveResult) -> Vec<Band> {
    let names = canvas::mode_names(&result.modes);
    let spans = result.modes.iter().filter(|m| spread(m.start_s, m.end_s).is_some());
    let number = |name: &str| names.iter().position(|n| *n == name);
    spans
        .map(|m| Band { x: [m.start_s, m.end_s], mode: m.mode.as_deref().and_then(number) })
        .collect()
}

fn time_range(result: &DriveResult, s: &Series) -> [f64; 2] {
    let times = || s.time_s.iter().copied().chain(result.duration_s).filter_map(thin::drawable);
    spread(times().fold(0.0, f64::min), times().fold(0.0, f64::max)).unwrap_or([0.0, 1.0])
}

/// A range that can be drawn; widened when it is too narrow for an axis.
fn spread(a: f64, b: f64) -> Option<[f64; 2]> {
    let (a, b) = (thin::drawable(a)?, thin::drawable(b)?);
    (a <= b).then_some([a, b.max(a + 0.01)])
}

/// Range of all values and zero, with room above and below; `None` when there is no value.
fn range_of(lines: &[Line]) -> Option<[f64; 2]> {
    let points = || lines.iter().flat_map(|l| &l.points);
    let values = || points().filter_map(|p| p.1.and_then(thin::drawable));
    values().next()?;
    let (low, high) = (values().fold(0.0, f64::min), values().fold(0.0, f64::max));
    let room = if high - low > 1e-6 { (high - low) * 0.08 } else { 1.0 };
    Some([low - room, high + room])
}

/// A running sum re-started from zero at the first value of each mode span.
fn from_zero_in_each_mode(
    result: &DriveResult,
    s: &Series,
    sum: &[Option<f64>],
) -> Vec<(f64, Option<f64>)> {
    let (mut span, mut zero) = (None, None);
    let mut points = Vec::with_capacity(s.time_s.len());
    for (i, t) in s.time_s.iter().enumerate() {
        let now = result.modes.iter().position(|m| (m.start_s..m.end_s).contains(t));
        if now != span {
            (span, zero) = (now, None);
            points.push((*t, None));
        }
        let value = sum.get(i).copied().flatten();
        zero = zero.or(value);
        points.push((*t, value.zip(zero).map(|(v, z)| v - z)));
    }
    points
}
