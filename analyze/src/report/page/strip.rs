//! An estimate drawn against its limit: where the interval lies, at a glance.

use crate::report::markup::{Attribute, Html};
use crate::report::words;
use crate::result::{LimitInfo, Reported};

const WIDTH: f64 = 480.0;
const HEIGHT: f64 = 52.0;
const EDGE: f64 = 24.0;

/// Draws the 95 % interval of an estimate against the limit; nothing when either is unknown.
pub fn strip(h: &mut Html, e: &Reported, limit: &LimitInfo) {
    let (Some(value), Some(interval)) = (e.value, e.interval95) else { return };
    let bounds: Vec<f64> = [limit.lower, limit.upper].into_iter().flatten().collect();
    let Some(scale) = Scale::over(bounds.iter().chain(&interval).copied().chain([value])) else {
        return;
    };
    let label = format!("{} against the limit of {}", words::estimate(e), words::limit(limit));
    let view = format!("0 0 {WIDTH} {HEIGHT}");
    let attributes =
        [("class", "strip"), ("viewBox", view.as_str()), ("role", "img"), ("aria-label", &label)];
    h.element("svg", &attributes, |h| {
        let (a, b) = inside(limit, &scale);
        shape(h, "rect", "inside", &[("x", a), ("y", 8.0), ("width", b - a), ("height", 20.0)]);
        line(h, "axis", [0.0, 28.0], [WIDTH, 28.0]);
        for bound in &bounds {
            bound_mark(h, scale.at(*bound), *bound);
        }
        line(h, "interval", [scale.at(interval[0]), 18.0], [scale.at(interval[1]), 18.0]);
        shape(h, "circle", "value", &[("cx", scale.at(value)), ("cy", 18.0), ("r", 5.0)]);
    });
}

/// The part of the strip that lies inside of the limit.
fn inside(limit: &LimitInfo, scale: &Scale) -> (f64, f64) {
    let a = limit.lower.map_or(0.0, |x| scale.at(x));
    let b = limit.upper.map_or(WIDTH, |x| scale.at(x));
    (a, b.max(a))
}

fn bound_mark(h: &mut Html, x: f64, bound: f64) {
    line(h, "bound", [x, 4.0], [x, 32.0]);
    let (x, text) = (format!("{x:.1}"), words::number(bound));
    h.element("text", &[("x", &x), ("y", "46"), ("text-anchor", "middle")], |h| h.text(&text));
}

fn line(h: &mut Html, class: &'static str, from: [f64; 2], to: [f64; 2]) {
    let ends = [("x1", from[0]), ("y1", from[1]), ("x2", to[0]), ("y2", to[1])];
    shape(h, "line", class, &ends);
}

fn shape(h: &mut Html, name: &'static str, class: &'static str, numbers: &[(&'static str, f64)]) {
    let texts: Vec<String> = numbers.iter().map(|(_, x)| format!("{x:.1}")).collect();
    let mut attributes: Vec<Attribute> = vec![("class", class)];
    attributes.extend(numbers.iter().zip(&texts).map(|((n, _), t)| (*n, t.as_str())));
    h.element(name, &attributes, |_| {});
}

/// From values to places on the strip.
struct Scale {
    low: f64,
    range: f64,
}

impl Scale {
    fn over(values: impl Iterator<Item = f64>) -> Option<Self> {
        let (low, high) =
            values.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(x), b.max(x)));
        let range = high - low;
        (range.is_finite() && range > 0.0).then_some(Scale { low, range })
    }

    fn at(&self, x: f64) -> f64 {
        EDGE + (x - self.low) / self.range * (WIDTH - 2.0 * EDGE)
    }
}
