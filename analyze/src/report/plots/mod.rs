//! The figures of a report, each as SVG and as PNG.
//!
//! A figure is first described as plain data (`Body`: panels with lines, stages, or words when
//! there is nothing to draw) and then drawn once for each format by the same code. What was not
//! measured is a gap, never a line across it; thinning keeps the extremes.

mod canvas;
mod draw;
mod drive;
mod selections;
mod thin;

use crate::result::DriveResult;
use crate::series::Series;
use canvas::Mode;

/// A figure: drawn as SVG already, as PNG when asked for.
pub struct Figure {
    /// Stem of its file name: our own word, never text from outside.
    pub name: String,
    /// Title, also drawn.
    pub title: String,
    /// What it shows and how to read it.
    pub caption: String,
    svg: Svg,
    body: Body,
}

/// SVG text that this module drew; the only markup that a page takes as it is.
#[derive(Debug, Clone, PartialEq)]
pub struct Svg(String);

impl Svg {
    /// The text, beginning with its `<svg` tag.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Figure {
    /// As SVG.
    pub fn svg(&self) -> &Svg {
        &self.svg
    }

    /// As PNG, at twice the size of the SVG.
    pub fn png(&self) -> Vec<u8> {
        draw::png(&self.title, &self.body)
    }
}

/// A figure before it is drawn.
struct Plan {
    name: String,
    title: String,
    caption: String,
    body: Body,
}

/// What a figure is made of.
enum Body {
    /// Panels below each other, with the modes that their bands stand for.
    Panels { modes: Vec<Mode>, panels: Vec<Panel> },
    /// Stages of selections.
    Stages(selections::Chart),
    /// Nothing to draw, and why.
    Words(String),
}

/// One coordinate system with its lines.
struct Panel {
    x_label: &'static str,
    y_label: &'static str,
    x: [f64; 2],
    y: [f64; 2],
    note: Option<String>,
    bands: Vec<Band>,
    lines: Vec<Line>,
}

/// A stretch of the time axis in which a mode was engaged; `mode` numbers the list of modes.
#[derive(Clone)]
struct Band {
    x: [f64; 2],
    mode: Option<usize>,
}

/// One line, broken wherever a value is missing.
struct Line {
    label: &'static str,
    ink: canvas::Ink,
    points: Vec<(f64, Option<f64>)>,
}

/// All figures of a drive, in the order of the page.
pub fn plots(result: &DriveResult, series: &Series) -> Vec<Figure> {
    let mut plans = vec![
        drive::speed_difference(result, series),
        drive::revolution_balance(result, series),
        drive::differential_slip(result, series),
        drive::wheel_lifted(series),
    ];
    plans.extend(selections::plans(&result.selections));
    plans.into_iter().map(finish).collect()
}

fn finish(plan: Plan) -> Figure {
    let Plan { name, title, caption, body } = plan;
    let svg = Svg(draw::svg(&title, &body));
    Figure { name, title, caption, svg, body }
}
