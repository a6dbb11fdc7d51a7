//! Drawing a planned figure, once for SVG and once for PNG.

use super::canvas::{BLACK_INK, BLUE, Canvas, Drawn, Ink, Mode, font_ready};
use super::selections::{Bar, Chart, Group};
use super::{Band, Body, Line, Panel, thin};
use plotters::prelude::*;
use plotters::style::text_anchor::HPos;

/// Width of every figure, in pixels of the SVG.
const WIDTH: i32 = 960;
/// PNG pixels a pixel of the SVG.
const PNG_SCALE: u32 = 2;

const TITLE: i32 = 40;
const ROW: i32 = 20;
const HEADING: i32 = 26;
const PLOT: i32 = 190;
const TICKS: i32 = 26;
const X_LABEL: i32 = 24;
const LEFT: i32 = 72;
const RIGHT: i32 = 190;
const MARGIN: i32 = 16;
const BOTTOM: i32 = 4;
const NAMES: i32 = 200;
const TIMES: i32 = 200;

const GREY: RGBColor = RGBColor(110, 110, 110);
const GRID: RGBColor = RGBColor(215, 215, 215);
const HAIR: Ink = Ink { colour: GREY, width: 1, alpha: 1.0 };

/// A figure as SVG text, from its `<svg` tag on.
pub fn svg(title: &str, body: &Body) -> String {
    font_ready();
    let (legend, height) = layout(body);
    let mut text = String::new();
    let area =
        SVGBackend::with_string(&mut text, (WIDTH as u32, height as u32)).into_drawing_area();
    figure(title, body, &legend, &Canvas { area: &area, scale: 1, text_drop: 0.0 })
        .expect("drawing into memory does not fail");
    drop(area);
    text
}

/// A figure as PNG.
pub fn png(title: &str, body: &Body) -> Vec<u8> {
    font_ready();
    let (legend, height) = layout(body);
    let size = (WIDTH as u32 * PNG_SCALE, height as u32 * PNG_SCALE);
    let mut pixels = vec![255; (size.0 * size.1 * 3) as usize];
    let area = BitMapBackend::with_buffer(&mut pixels, size).into_drawing_area();
    figure(title, body, &legend, &Canvas { area: &area, scale: PNG_SCALE, text_drop: 0.14 })
        .expect("drawing into memory does not fail");
    drop(area);
    encoded(&pixels, size).expect("encoding into memory does not fail")
}

fn encoded(pixels: &[u8], size: (u32, u32)) -> Result<Vec<u8>, png::EncodingError> {
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, size.0, size.1);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.write_header()?.write_image_data(pixels)?;
    Ok(out)
}

/// One entry of the legend of modes and where it stands.
struct LegendEntry {
    at: (i32, i32),
    text: String,
    tint: Option<RGBColor>,
}

/// The legend and the height of a figure.
fn layout(body: &Body) -> (Vec<LegendEntry>, i32) {
    let legend = match body {
        Body::Panels { modes, panels } => legend_of(modes, panels),
        _ => Vec::new(),
    };
    let top = TITLE + legend.last().map_or(0, |e| e.at.1 + ROW);
    let height = match body {
        Body::Panels { panels, .. } => {
            let strip = if legend.is_empty() { 0 } else { ROW + 4 };
            top + strip + panels.len() as i32 * (HEADING + PLOT + TICKS) + X_LABEL + BOTTOM
        }
        Body::Stages(chart) => top + ROW + stage_rows(chart) * ROW + TICKS + X_LABEL + BOTTOM,
        Body::Words(text) => top + wrapped(text).len() as i32 * ROW + MARGIN,
    };
    (legend, height)
}

fn legend_of(modes: &[Mode], panels: &[Panel]) -> Vec<LegendEntry> {
    let mut entries: Vec<_> = modes
        .iter()
        .enumerate()
        .map(|(i, m)| (format!("{}  {}", i + 1, m.name), Some(m.tint)))
        .collect();
    if panels.iter().any(|p| p.bands.iter().any(|b| b.mode.is_none())) {
        entries.push(("no mode row matches".into(), None));
    }
    let (mut x, mut y) = (MARGIN, 0);
    let place = |(text, tint): (String, Option<RGBColor>)| {
        let width = 26 + text_width(&text, 13) + 22;
        if x > MARGIN && x + width > WIDTH - MARGIN {
            (x, y) = (MARGIN, y + ROW);
        }
        let at = (x, y);
        x += width;
        LegendEntry { at, text, tint }
    };
    entries.into_iter().map(place).collect()
}

fn text_width(text: &str, size: i32) -> i32 {
    let style = ("sans-serif", size).into_font();
    style.box_size(text).map_or(0, |(w, _)| w as i32)
}

fn wrapped(text: &str) -> Vec<String> {
    textwrap::wrap(text, 110).iter().map(|l| l.to_string()).collect()
}

fn figure<DB: DrawingBackend>(
    title: &str,
    body: &Body,
    legend: &[LegendEntry],
    c: &Canvas<DB>,
) -> Drawn<DB> {
    c.area.fill(&WHITE)?;
    c.text(title, (MARGIN, 20), 18, true, HPos::Left)?;
    draw_legend(c, legend)?;
    let top = TITLE + legend.last().map_or(0, |e| e.at.1 + ROW);
    match body {
        Body::Panels { modes, panels } => draw_panels(c, modes, panels, top, !legend.is_empty())?,
        Body::Stages(chart) => draw_stages(c, chart, top)?,
        Body::Words(text) => {
            for (i, text) in wrapped(text).iter().enumerate() {
                c.text(text, (MARGIN, top + 8 + i as i32 * ROW), 15, false, HPos::Left)?;
            }
        }
    }
    c.area.present()
}

fn draw_legend<DB: DrawingBackend>(c: &Canvas<DB>, legend: &[LegendEntry]) -> Drawn<DB> {
    for e in legend {
        let (x, y) = (e.at.0, TITLE + e.at.1);
        let (tint, alpha) = e.tint.map_or((GREY, 0.3), |t| (t, STRIP));
        c.fill((x, y + 1), (x + 18, y + 13), tint, alpha)?;
        c.text(&e.text, (x + 26, y + 7), 13, false, HPos::Left)?;
    }
    Ok(())
}

const STRIP: f64 = 0.55;

fn draw_panels<DB: DrawingBackend>(
    c: &Canvas<DB>,
    modes: &[Mode],
    panels: &[Panel],
    top: i32,
    strip: bool,
) -> Drawn<DB> {
    let mut y = top;
    if strip && let Some(first) = panels.first() {
        draw_strip(c, modes, first, y)?;
        y += ROW + 4;
    }
    for (i, panel) in panels.iter().enumerate() {
        draw_panel(c, modes, panel, y, i + 1 == panels.len())?;
        y += HEADING + PLOT + TICKS;
    }
    Ok(())
}

/// Horizontal position of a time.
fn across(panel: &Panel, t: f64) -> i32 {
    let [a, b] = panel.x;
    LEFT + ((t.clamp(a, b) - a) / (b - a) * f64::from(WIDTH - LEFT - RIGHT)) as i32
}

/// The modes by number and, where there is room, by name.
fn draw_strip<DB: DrawingBackend>(
    c: &Canvas<DB>,
    modes: &[Mode],
    panel: &Panel,
    y: i32,
) -> Drawn<DB> {
    for band in &panel.bands {
        let (a, b) = (across(panel, band.x[0]), across(panel, band.x[1]));
        let (tint, alpha) = tint(modes, band, STRIP, 0.3);
        c.fill((a, y), (b, y + ROW - 2), tint, alpha)?;
        c.stroke(&[(a, y), (a, y + ROW - 2)], HAIR)?;
        let Some(i) = band.mode else { continue };
        let room = |text: &String| c.width_of(text, 13) + 8 < b - a;
        let texts = [format!("{}  {}", i + 1, modes[i].name), format!("{}", i + 1)];
        if let Some(text) = texts.iter().find(|t| room(t)) {
            c.text(text, ((a + b) / 2, y + ROW / 2 - 1), 13, false, HPos::Center)?;
        }
    }
    Ok(())
}

fn tint(modes: &[Mode], band: &Band, alpha: f64, grey: f64) -> (RGBColor, f64) {
    band.mode.and_then(|i| modes.get(i)).map_or((GREY, grey), |m| (m.tint, alpha))
}

fn draw_panel<DB: DrawingBackend>(
    c: &Canvas<DB>,
    modes: &[Mode],
    panel: &Panel,
    top: i32,
    last: bool,
) -> Drawn<DB> {
    let plot = top + HEADING;
    c.text(panel.y_label, (MARGIN, top + 14), 14, false, HPos::Left)?;
    if let Some(note) = &panel.note {
        c.text(note, (WIDTH - RIGHT, top + 14), 14, true, HPos::Right)?;
    }
    for band in &panel.bands {
        let (a, b) = (across(panel, band.x[0]), across(panel, band.x[1]));
        let (tint, alpha) = tint(modes, band, 0.16, 0.08);
        c.fill((a, plot), (b, plot + PLOT), tint, alpha)?;
    }
    let ends = draw_coordinates(c, panel, plot)?;
    draw_labels(c, panel, &ends, plot)?;
    if last {
        let middle = (LEFT + WIDTH - RIGHT) / 2;
        c.text(panel.x_label, (middle, plot + PLOT + TICKS + 10), 14, false, HPos::Center)?;
    }
    Ok(())
}

/// Mesh and lines; returns the height at which each line ends, if it has any point.
fn draw_coordinates<DB: DrawingBackend>(
    c: &Canvas<DB>,
    panel: &Panel,
    plot: i32,
) -> Result<Vec<Option<i32>>, DrawingAreaErrorKind<DB::ErrorType>> {
    let area = c
        .area
        .clone()
        .shrink((0, c.px(plot)), ((c.px(WIDTH - RIGHT)) as u32, c.px(PLOT + TICKS) as u32));
    let ([x0, x1], [y0, y1]) = (panel.x, panel.y);
    let mut chart = ChartBuilder::on(&area)
        .set_label_area_size(LabelAreaPosition::Left, c.px(LEFT))
        .set_label_area_size(LabelAreaPosition::Bottom, c.px(TICKS))
        .build_cartesian_2d(x0..x1, y0..y1)?;
    chart
        .configure_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(GRID.stroke_width(c.scale))
        .axis_style(GREY.stroke_width(c.scale))
        .label_style(("sans-serif", c.px(13)))
        .x_labels(11)
        .y_labels(6)
        .x_label_formatter(&|x| tick(*x, x1 - x0))
        .y_label_formatter(&|y| tick(*y, y1 - y0))
        .draw()?;
    let zero = if y0 < 0.0 && y1 > 0.0 { vec![(x0, 0.0), (x1, 0.0)] } else { Vec::new() };
    chart.draw_series(LineSeries::new(zero, GREY.stroke_width(c.scale)))?;
    let mut ends = Vec::new();
    for line in &panel.lines {
        ends.push(draw_line(&mut chart, c, panel, line)?);
    }
    Ok(ends)
}

/// A tick label with as many decimals as the range needs.
fn tick(value: f64, range: f64) -> String {
    let decimals = (1.0 - range.log10().floor()).clamp(0.0, 6.0) as usize;
    let text = format!("{value:.decimals$}");
    if text.trim_start_matches(['-', '0', '.']).is_empty() {
        "0".into()
    } else {
        text.replace('-', "−")
    }
}

type Plane<'a, DB> = ChartContext<
    'a,
    DB,
    Cartesian2d<plotters::coord::types::RangedCoordf64, plotters::coord::types::RangedCoordf64>,
>;

fn draw_line<DB: DrawingBackend>(
    chart: &mut Plane<DB>,
    c: &Canvas<DB>,
    panel: &Panel,
    line: &Line,
) -> Result<Option<i32>, DrawingAreaErrorKind<DB::ErrorType>> {
    let colour = line.ink.colour.mix(line.ink.alpha);
    let style = colour.stroke_width(line.ink.width * c.scale);
    let mut end = None;
    for run in thin::runs(&line.points) {
        let points = thin::thinned(&run, panel.x);
        end = points.last().map(|p| chart.backend_coord(p).1 / c.scale as i32);
        if let [only] = points[..] {
            let size = line.ink.width * c.scale;
            chart.draw_series([Circle::new(only, size, colour.filled())])?;
        } else {
            chart.draw_series(LineSeries::new(points, style))?;
        }
    }
    Ok(end)
}

/// Names of the lines right of the plot, as near to their ends as they can stand.
fn draw_labels<DB: DrawingBackend>(
    c: &Canvas<DB>,
    panel: &Panel,
    ends: &[Option<i32>],
    plot: i32,
) -> Drawn<DB> {
    let mut order: Vec<usize> = (0..panel.lines.len()).collect();
    order.sort_by_key(|i| ends[*i].unwrap_or(i32::MAX));
    let last = plot + PLOT - 8;
    let mut y = plot;
    for (k, i) in order.iter().enumerate() {
        let below = (order.len() - 1 - k) as i32 * 18;
        y = ends[*i].unwrap_or(last).clamp(y, last - below);
        let (line, x) = (&panel.lines[*i], WIDTH - RIGHT + 10);
        match ends[*i] {
            Some(_) => {
                c.stroke(&[(x, y), (x + 16, y)], line.ink)?;
                c.text(line.label, (x + 22, y), 13, false, HPos::Left)?;
            }
            None => {
                c.text(&format!("{}: not measured", line.label), (x, y), 13, false, HPos::Left)?;
            }
        }
        y += 18;
    }
    Ok(())
}

fn stage_rows(chart: &Chart) -> i32 {
    chart.groups.iter().map(|g| g.bars.len().max(1) as i32 + 2).sum()
}

fn draw_stages<DB: DrawingBackend>(c: &Canvas<DB>, chart: &Chart, top: i32) -> Drawn<DB> {
    let (left, right) = (MARGIN + NAMES, WIDTH - MARGIN - TIMES);
    let bottom = top + ROW + stage_rows(chart) * ROW;
    draw_key(c, top)?;
    let at = |t: f64| left + (t / chart.end_s * f64::from(right - left)) as i32;
    draw_seconds(c, chart, top + ROW, bottom)?;
    let mut y = top + ROW + ROW / 2;
    for group in &chart.groups {
        draw_group(c, group, y, &at, right)?;
        y += (group.bars.len().max(1) as i32 + 2) * ROW;
    }
    let middle = (left + right) / 2;
    c.text("time since the request / s", (middle, bottom + TICKS + 10), 14, false, HPos::Center)
}

/// What the two marks of a bar mean.
fn draw_key<DB: DrawingBackend>(c: &Canvas<DB>, top: i32) -> Drawn<DB> {
    draw_mark(c, (MARGIN + 6, top + 4), false)?;
    c.text("first edge", (MARGIN + 18, top + 4), 13, false, HPos::Left)?;
    draw_mark(c, (MARGIN + 110, top + 4), true)?;
    c.text("settled", (MARGIN + 122, top + 4), 13, false, HPos::Left)
}

/// The axis of seconds under all bars.
fn draw_seconds<DB: DrawingBackend>(
    c: &Canvas<DB>,
    chart: &Chart,
    top: i32,
    bottom: i32,
) -> Drawn<DB> {
    let (left, right) = (MARGIN + NAMES, WIDTH - MARGIN - TIMES);
    let size = (c.px(right - left) as u32, c.px(bottom - top + TICKS) as u32);
    let area = c.area.clone().shrink((c.px(left), c.px(top)), size);
    let mut plane = ChartBuilder::on(&area)
        .set_label_area_size(LabelAreaPosition::Bottom, c.px(TICKS))
        .build_cartesian_2d(0.0..chart.end_s, 0.0..1.0)?;
    plane
        .configure_mesh()
        .disable_y_mesh()
        .disable_y_axis()
        .light_line_style(TRANSPARENT)
        .bold_line_style(GRID.stroke_width(c.scale))
        .axis_style(GREY.stroke_width(c.scale))
        .label_style(("sans-serif", c.px(13)))
        .x_labels(9)
        .x_label_formatter(&|x| tick(*x, chart.end_s))
        .draw()
}

fn draw_group<DB: DrawingBackend>(
    c: &Canvas<DB>,
    group: &Group,
    top: i32,
    at: &impl Fn(f64) -> i32,
    right: i32,
) -> Drawn<DB> {
    c.fill((MARGIN, top - 10), (WIDTH - MARGIN, top + 10), RGBColor(238, 238, 238), 1.0)?;
    c.text(&group.heading, (MARGIN + 6, top), 14, true, HPos::Left)?;
    if group.bars.is_empty() {
        c.text("no stage was seen", (MARGIN + 6, top + ROW + 2), 13, false, HPos::Left)?;
    }
    for (i, bar) in group.bars.iter().enumerate() {
        draw_bar(c, bar, top + 2 + (i as i32 + 1) * ROW, at, right)?;
    }
    Ok(())
}

fn draw_bar<DB: DrawingBackend>(
    c: &Canvas<DB>,
    bar: &Bar,
    y: i32,
    at: &impl Fn(f64) -> i32,
    right: i32,
) -> Drawn<DB> {
    c.text(&bar.name, (MARGIN + 6, y), 13, false, HPos::Left)?;
    c.text(&bar.times(), (right + 12, y), 13, false, HPos::Left)?;
    let first = at(bar.first_s);
    let (end, alpha) = bar.settled_s.map_or((right, 0.3), |s| (at(s), 0.8));
    c.fill((first, y - 4), (end, y + 4), BLUE, alpha)?;
    if bar.settled_s.is_some() {
        draw_mark(c, (end, y), true)?;
    }
    draw_mark(c, (first, y), false)
}

/// A filled mark (settled) or an open, smaller one (first edge).
fn draw_mark<DB: DrawingBackend>(c: &Canvas<DB>, at: (i32, i32), filled: bool) -> Drawn<DB> {
    let at = (c.px(at.0), c.px(at.1));
    if filled {
        return c.area.draw(&Circle::new(at, c.px(5), BLACK_INK.filled()));
    }
    c.area.draw(&Circle::new(at, c.px(4), WHITE.filled()))?;
    c.area.draw(&Circle::new(at, c.px(4), BLACK_INK.stroke_width(c.scale)))
}
