//! Drawing: a scale with round ticks, a frame with axes, lines, bands, points with error bars, words, and an SVG writer;
//! and what is drawn with them.

mod band;
mod csv;
mod curve;
mod frame;
mod histogram;
mod line;
mod palette;
mod points;
mod scale;
mod sketch;
mod svg;
mod timeline;
mod words;

pub use band::{band_across, band_in_colours, band_upwards};
pub use csv::curve_csv;
pub use curve::curve_svg;
pub use frame::Frame;
pub use histogram::{HistogramWords, histogram_svg};
pub use line::line;
pub use palette::Palette;
pub use points::{Point, point};
pub use scale::Scale;
pub use sketch::curve_sketch;
pub use svg::{Anchor, Look, Svg, Type};
pub use timeline::{Dated, Level, LevelLook, Timeline, timeline_svg};
pub use words::{paragraph, width};
