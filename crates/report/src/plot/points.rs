//! Points with their error bars.

use super::frame::Frame;
use super::svg::{Look, Svg};

/// A point with what it may be off by.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Point {
    /// Value across.
    pub x: f64,
    /// Value upwards.
    pub y: f64,
    /// Half-width across; 0 for none.
    pub x_within: f64,
    /// Half-width upwards; 0 for none.
    pub y_within: f64,
}

/// Draws a point: its bars, then a circle of this radius in px; bars end at the edges of the frame.
pub fn point(svg: &mut Svg, frame: &Frame, point: &Point, radius: f64, look: &Look, bars: &Look) {
    /// Half the length of the caps, px.
    const CAP: f64 = 6.0;
    let (across, down) = frame.at((point.x, point.y));
    if point.x_within > 0.0 {
        let (from, to) = (
            frame.across(frame.x.held(point.x - point.x_within)),
            frame.across(frame.x.held(point.x + point.x_within)),
        );
        svg.line((from, down), (to, down), bars);
        for end in [from, to] {
            svg.line((end, down - CAP), (end, down + CAP), bars);
        }
    }
    if point.y_within > 0.0 {
        let (from, to) = (
            frame.down(frame.y.held(point.y - point.y_within)),
            frame.down(frame.y.held(point.y + point.y_within)),
        );
        svg.line((across, from), (across, to), bars);
        for end in [from, to] {
            svg.line((across - CAP, end), (across + CAP, end), bars);
        }
    }
    svg.circle((across, down), radius, look);
}
