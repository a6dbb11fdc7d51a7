//! Colours, fonts and text on a drawing area.

use super::super::words;
use crate::result::ModeSpan;
use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::{FontStyle, register_font, text_anchor::*};
use std::sync::Once;

/// The palette of Okabe and Ito, "Color Universal Design" (2008): readers with any common kind of
/// colour vision tell these apart.
pub const BLACK_INK: RGBColor = RGBColor(0, 0, 0);
/// Orange.
pub const ORANGE: RGBColor = RGBColor(230, 159, 0);
/// Sky blue.
pub const SKY: RGBColor = RGBColor(86, 180, 233);
/// Bluish green.
pub const GREEN: RGBColor = RGBColor(0, 158, 115);
/// Yellow.
pub const YELLOW: RGBColor = RGBColor(240, 228, 66);
/// Blue.
pub const BLUE: RGBColor = RGBColor(0, 114, 178);
/// Vermillion.
pub const VERMILLION: RGBColor = RGBColor(213, 94, 0);
/// Reddish purple.
pub const PURPLE: RGBColor = RGBColor(204, 121, 167);

/// Tints of the mode bands, in the order of first appearance.
const BANDS: [RGBColor; 6] = [SKY, ORANGE, GREEN, PURPLE, YELLOW, BLUE];

/// How a line is drawn.
#[derive(Clone, Copy)]
pub struct Ink {
    /// Colour.
    pub colour: RGBColor,
    /// Width in pixels of the SVG.
    pub width: u32,
    /// 1 for opaque.
    pub alpha: f64,
}

impl Ink {
    /// A thin opaque line.
    pub const fn thin(colour: RGBColor) -> Self {
        Ink { colour, width: 2, alpha: 1.0 }
    }

    /// A wide pale line that another one can lie on and both be seen.
    pub const fn wide(colour: RGBColor) -> Self {
        Ink { colour, width: 7, alpha: 0.55 }
    }
}

/// A mode that a figure's bands stand for.
pub struct Mode {
    /// Its name, already visible and short enough for a legend.
    pub name: String,
    /// Tint of its bands.
    pub tint: RGBColor,
}

/// Names of the distinct modes of a drive, in the order in which they first came.
pub fn mode_names(spans: &[ModeSpan]) -> Vec<&str> {
    let mut names: Vec<&str> = Vec::new();
    for name in spans.iter().filter_map(|s| s.mode.as_deref()) {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    names
}

/// The modes of a drive with their tints, in the order of [`mode_names`].
pub fn modes_of(spans: &[ModeSpan]) -> Vec<Mode> {
    let names = mode_names(spans).into_iter().enumerate();
    names.map(|(i, n)| Mode { name: words::elided(n, 40), tint: BANDS[i % BANDS.len()] }).collect()
}

/// Makes the font known to plotters, which looks none up itself.
pub fn font_ready() {
    static READY: Once = Once::new();
    READY.call_once(|| {
        for (style, bytes) in
            [(FontStyle::Normal, dejavu::sans::regular()), (FontStyle::Bold, dejavu::sans::bold())]
        {
            if register_font("sans-serif", style, bytes).is_err() {
                unreachable!("the font crate holds a TrueType font");
            }
        }
    });
}

/// A drawing area that counts in pixels of the SVG, whatever the scale of the picture.
pub struct Canvas<'a, DB: DrawingBackend> {
    /// Where it draws.
    pub area: &'a DrawingArea<DB, Shift>,
    /// Picture pixels a unit.
    pub scale: u32,
    /// How far text is lowered to stand at half height, as a share of its size: the bitmap
    /// renderer of plotters sets its baseline higher than a browser does.
    pub text_drop: f64,
}

/// What can go wrong while drawing into memory.
pub type Drawn<DB> = Result<(), DrawingAreaErrorKind<<DB as DrawingBackend>::ErrorType>>;

impl<DB: DrawingBackend> Canvas<'_, DB> {
    /// Pixels of the picture.
    pub fn px(&self, units: i32) -> i32 {
        units * self.scale as i32
    }

    /// A text style of a size, anchored left, middle or right, at half height.
    pub fn style(&self, size: i32, bold: bool, across: HPos) -> TextStyle<'static> {
        let style = if bold { FontStyle::Bold } else { FontStyle::Normal };
        ("sans-serif", self.px(size), style)
            .into_text_style(self.area)
            .pos(Pos::new(across, VPos::Center))
    }

    /// Text with its anchor at (x, y).
    pub fn text(
        &self,
        text: &str,
        at: (i32, i32),
        size: i32,
        bold: bool,
        across: HPos,
    ) -> Drawn<DB> {
        let drop = (self.text_drop * f64::from(self.px(size))).round() as i32;
        let at = (self.px(at.0), self.px(at.1) + drop);
        self.area.draw(&Text::new(text.to_string(), at, self.style(size, bold, across)))
    }

    /// Width of a text, in units.
    pub fn width_of(&self, text: &str, size: i32) -> i32 {
        let style = self.style(size, false, HPos::Left);
        let (w, _) = self.area.estimate_text_size(text, &style).unwrap_or((0, 0));
        (w / self.scale) as i32 + 1
    }

    /// A filled rectangle.
    pub fn fill(&self, a: (i32, i32), b: (i32, i32), colour: RGBColor, alpha: f64) -> Drawn<DB> {
        let corners = [(self.px(a.0), self.px(a.1)), (self.px(b.0), self.px(b.1))];
        self.area.draw(&Rectangle::new(corners, colour.mix(alpha).filled()))
    }

    /// A straight line.
    pub fn stroke(&self, points: &[(i32, i32)], ink: Ink) -> Drawn<DB> {
        let points: Vec<_> = points.iter().map(|p| (self.px(p.0), self.px(p.1))).collect();
        let style = ink.colour.mix(ink.alpha).stroke_width(ink.width * self.scale);
        self.area.draw(&PathElement::new(points, style))
    }
}
