//! Bands: a stretch of a scale painted across the frame.

use super::frame::Frame;
use super::svg::{Look, Svg};

/// A band between two values of the scale upwards; nothing outside the frame.
pub fn band_across(svg: &mut Svg, frame: &Frame, (low, high): (f64, f64), look: &Look) {
    let (top, bottom) = (
        frame.down(frame.y.held(high)),
        frame.down(frame.y.held(low)),
    );
    if bottom > top {
        svg.rectangle((frame.left, top, frame.width, bottom - top), look);
    }
}

/// A band between two values of the scale across; nothing outside the frame.
pub fn band_upwards(svg: &mut Svg, frame: &Frame, (low, high): (f64, f64), look: &Look) {
    let (left, right) = (
        frame.across(frame.x.held(low)),
        frame.across(frame.x.held(high)),
    );
    if right > left {
        svg.rectangle((left, frame.top, right - left, frame.height), look);
    }
}

/// A band between two values of the scale upwards, painted in colours by value; nothing outside the frame.
pub fn band_in_colours(
    svg: &mut Svg,
    frame: &Frame,
    (low, high): (f64, f64),
    colours: &[(f64, String)],
    opacity: f64,
) {
    let (low, high) = (frame.y.held(low), frame.y.held(high));
    if high <= low {
        return;
    }
    let (top, bottom) = (frame.down(high), frame.down(low));
    // Colours beyond the ends hold up to them.
    let stops: Vec<(f64, String)> = colours
        .iter()
        .map(|(value, colour)| ((value - low) / (high - low), colour.clone()))
        .collect();
    let within = |(at, _): &&(f64, String)| (0.0..=1.0).contains(at);
    let before = stops.iter().rfind(|(at, _)| *at < 0.0);
    let after = stops.iter().find(|(at, _)| *at > 1.0);
    let kept: Vec<(f64, String)> = before
        .into_iter()
        .chain(stops.iter().filter(within))
        .chain(after)
        .cloned()
        .collect();
    svg.running((frame.left, top, frame.width, bottom - top), &kept, opacity);
}
