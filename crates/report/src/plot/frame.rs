//! The field of a drawing: two scales laid over a rectangle, with grid, axes and their names.

use super::palette::Palette;
use super::scale::Scale;
use super::svg::{Anchor, Look, Svg, Type};

/// Height of the figures at the ticks, px.
const FIGURES: f64 = 13.0;

/// Two scales over a rectangle of a picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Frame {
    /// Left edge, px.
    pub left: f64,
    /// Upper edge, px.
    pub top: f64,
    /// Width, px.
    pub width: f64,
    /// Height, px.
    pub height: f64,
    /// The scale across.
    pub x: Scale,
    /// The scale upwards.
    pub y: Scale,
}

impl Frame {
    /// Where a value of the scale across stands, px.
    pub fn across(&self, x: f64) -> f64 {
        self.left + self.width * self.x.share(x)
    }

    /// Where a value of the scale upwards stands, px.
    pub fn down(&self, y: f64) -> f64 {
        self.top + self.height * (1.0 - self.y.share(y))
    }

    /// Where a point stands, px.
    pub fn at(&self, (x, y): (f64, f64)) -> (f64, f64) {
        (self.across(x), self.down(y))
    }

    /// Right edge, px.
    pub fn right(&self) -> f64 {
        self.left + self.width
    }

    /// Lower edge, px.
    pub fn bottom(&self) -> f64 {
        self.top + self.height
    }

    /// Hairlines at the ticks of the scale upwards.
    pub fn grid(&self, svg: &mut Svg, palette: &Palette) {
        for (value, _) in self.y.ticks() {
            let at = self.down(value);
            let look = Look::drawn(palette.hairline, 1.0);
            svg.line((self.left, at), (self.right(), at), &look);
        }
    }

    /// The axis below, with ticks, figures and a name.
    pub fn axis_below(&self, svg: &mut Svg, palette: &Palette, name: &str) {
        let base = self.bottom();
        let look = Look::drawn(palette.quiet, 1.0);
        svg.line((self.left, base), (self.right(), base), &look);
        let figures = Type::of(FIGURES, palette.ink).at(Anchor::Middle);
        for (value, label) in self.x.ticks() {
            let at = self.across(value);
            svg.line((at, base), (at, base + 5.0), &look);
            svg.text((at, base + 20.0), figures, &label);
        }
        let middle = self.left + self.width / 2.0;
        let set = Type::of(FIGURES, palette.quiet).at(Anchor::Middle);
        svg.text((middle, base + 42.0), set, name);
    }

    /// The axis on the left: figures, and the name above them.
    pub fn axis_left(&self, svg: &mut Svg, palette: &Palette, name: &str) {
        let figures = Type::of(FIGURES, palette.ink).at(Anchor::End);
        for (value, label) in self.y.ticks() {
            svg.text((self.left - 8.0, self.down(value) + 4.5), figures, &label);
        }
        let set = Type::of(FIGURES, palette.quiet).at(Anchor::End);
        svg.text((self.left - 8.0, self.top - 14.0), set, name);
    }
}
