//! A predicted titration curve as a picture: the whole run, the end under a lens, and the colour of the flask beside it.

use super::band::{band_across, band_in_colours};
use super::frame::Frame;
use super::line::line;
use super::palette::Palette;
use super::points::{Point, point};
use super::scale::Scale;
use super::svg::{Anchor, Look, Svg, Type};
use super::words::{paragraph, width};
use crate::numbers::decimals;
use titrimetry::plan::drawing::{Drawing, DrawnEnd};
use titrimetry::plan::forward::DROP_ML;

const WIDTH: f64 = 960.0;
const HEIGHT: f64 = 586.0;
/// The whole run, its lens, the flask: left edge and width, px.
const RUN: (f64, f64) = (64.0, 500.0);
const LENS: (f64, f64) = (592.0, 190.0);
const FLASK: (f64, f64) = (800.0, 18.0);
/// Upper edge and height of the fields, px.
const TOP: f64 = 162.0;
const FIELD: f64 = 340.0;
/// Height of the zones, and how far they stand above the field, px.
const ZONE: f64 = 8.0;
const ABOVE: f64 = 14.0;
/// The lens shows at least so many drops on each side of the equivalence point.
const DROPS: f64 = 3.0;
/// Strength of the band over the field, and of the colours beside it.
const BAND: f64 = 0.34;

/// The curve as an SVG picture, with the indicator's band, the equivalence point, the end and the zones.
pub fn curve_svg(drawing: &Drawing, p: &Palette) -> String {
    let (x, y) = scales(drawing);
    let run = frame(RUN, x, y.clone());
    let near = frame(LENS, lens(drawing), y);
    let mut svg = Svg::new(WIDTH, HEIGHT, &drawing.title, &described(drawing));
    heading(&mut svg, p, drawing);
    for field in [&run, &near] {
        let ground = (field.left, field.top, field.width, field.height);
        svg.rectangle(ground, &Look::filled(p.paper));
        if let Some(end) = &drawing.end {
            band(&mut svg, p, field, end);
        }
        field.grid(&mut svg, p);
    }
    run.axis_left(&mut svg, p, &axis_name(drawing));
    run.axis_below(&mut svg, p, "titrant / mL");
    near.axis_below(&mut svg, p, "the end, under a lens / mL");
    seen_by_the_lens(&mut svg, p, &run, &near);
    zones(&mut svg, p, &run, drawing);
    for field in [&run, &near] {
        let at = field.across(drawing.equivalence.0);
        let down = field.down(drawing.equivalence.1);
        let look = Look::drawn(p.quiet, 1.0).dashed();
        svg.line((at, field.bottom()), (at, down), &look);
        line(&mut svg, field, &drawing.points, &Look::drawn(p.ink, 2.0));
    }
    for other in &drawing.others {
        mark(&mut svg, p, &run, *other);
    }
    ends(&mut svg, p, (&run, &near), drawing);
    drop_length(&mut svg, p, &near);
    if let Some(end) = &drawing.end {
        flask(&mut svg, p, &near, drawing, end);
    }
    let set = Type::of(12.0, p.quiet);
    let notes = drawing.notes.join("; ");
    paragraph(&mut svg, (24.0, HEIGHT - 20.0), set, WIDTH - 48.0, &notes);
    svg.finish(p.paper)
}

fn frame((left, width): (f64, f64), x: Scale, y: Scale) -> Frame {
    Frame {
        left,
        top: TOP,
        width,
        height: FIELD,
        x,
        y,
    }
}

/// Scales that hold the whole run.
pub(super) fn scales(drawing: &Drawing) -> (Scale, Scale) {
    let levels = || drawing.points.iter().map(|p| p.1);
    let low = levels().fold(f64::INFINITY, f64::min);
    let high = levels().fold(f64::NEG_INFINITY, f64::max);
    let last = drawing.points.last().map_or(1.0, |p| p.0);
    let air = 0.04 * (high - low);
    (
        Scale::within(0.0, last, 7),
        Scale::within(low - air, high + air, 7),
    )
}

/// The volumes around the end.
fn lens(drawing: &Drawing) -> Scale {
    let reach = drawing
        .end
        .as_ref()
        .map_or(0.0, |end| 1.4 * (end.late_ml.abs() + end.late_within_ml));
    let half = reach.max(DROPS * DROP_ML);
    let centre = drawing.equivalence.0;
    Scale::within((centre - half).max(0.0), centre + half, 4)
}

fn axis_name(drawing: &Drawing) -> String {
    if drawing.unit.is_empty() {
        drawing.quantity.clone()
    } else {
        format!("{} / {}", drawing.quantity, drawing.unit)
    }
}

fn level(drawing: &Drawing, value: f64) -> String {
    let unit = if drawing.unit.is_empty() { "" } else { " " };
    format!(
        "{} {}{unit}{}",
        drawing.quantity,
        decimals(value, 2),
        drawing.unit
    )
}

/// Title, what is titrated, and what is marked, in words.
fn heading(svg: &mut Svg, p: &Palette, drawing: &Drawing) {
    let left = 24.0;
    svg.text((left, 36.0), Type::of(20.0, p.ink).strong(), &drawing.title);
    svg.text((left, 57.0), Type::of(13.0, p.quiet), &drawing.detail);
    svg.circle(
        (left + 5.0, 79.5),
        4.5,
        &Look::filled(p.paper).outlined(p.ink, 1.6),
    );
    let words = Type::of(13.0, p.ink);
    svg.text((left + 18.0, 84.0), words, &equivalence_words(drawing));
    if let Some(end) = &drawing.end {
        svg.circle((left + 5.0, 100.5), 4.5, &Look::filled(p.pink[3]));
        svg.text((left + 18.0, 105.0), words, &end_words(drawing, end));
    }
}

/// The equivalence point in words.
pub(super) fn equivalence_words(drawing: &Drawing) -> String {
    format!(
        "equivalence point {} mL, {}",
        decimals(drawing.equivalence.0, 2),
        level(drawing, drawing.equivalence.1)
    )
}

/// The end in words: where, how far off, and what that does.
pub(super) fn end_words(drawing: &Drawing, end: &DrawnEnd) -> String {
    let apart = if end.late_ml.abs() < 5e-4 {
        "at the equivalence point".to_owned()
    } else {
        format!(
            "{} mL {}",
            decimals(end.late_ml.abs(), 3),
            if end.late_ml > 0.0 { "late" } else { "early" }
        )
    };
    let effect = if end.effect.abs() < 5e-5 {
        "the result is not moved".to_owned()
    } else {
        format!(
            "the result reads {} % {}",
            decimals(100.0 * end.effect.abs(), 2),
            if end.effect > 0.0 { "high" } else { "low" }
        )
    };
    format!(
        "end by {}, {} to {}: {} mL, {}; {apart} within {} mL, {effect}",
        end.indicator,
        end.colours.0,
        end.colours.1,
        decimals(end.volume_ml, 2),
        level(drawing, end.level),
        decimals(end.late_within_ml, 3),
    )
}

/// The zones in words.
pub(super) fn zone_words(drawing: &Drawing) -> String {
    let zone = &drawing.zone;
    let run = match drawing.rough_ml {
        Some(rough) => format!("after a rough run of {} mL", decimals(rough, 1)),
        None => "first run".to_owned(),
    };
    format!(
        "{run}: freely to {} mL, by drops to {} mL, then by half drops",
        decimals(zone.freely_to_ml, 1),
        decimals(zone.drops_to_ml, 1)
    )
}

/// The whole picture in words.
fn described(drawing: &Drawing) -> String {
    let mut text = format!(
        "{} against the volume of titrant. {}. {}.",
        drawing.quantity,
        drawing.detail,
        equivalence_words(drawing)
    );
    if let Some(end) = &drawing.end {
        text += &format!(" {}.", end_words(drawing, end));
        if let Some((low, high)) = end.band {
            text += &format!(
                " The colour changes from {} to {}.",
                level(drawing, low),
                decimals(high, 2)
            );
        }
    }
    text += &format!(" {}.", zone_words(drawing));
    for note in &drawing.notes {
        text += &format!(" {note}.");
    }
    text
}

fn band(svg: &mut Svg, p: &Palette, field: &Frame, end: &DrawnEnd) {
    let Some(range) = end.band else { return };
    if end.paint.is_empty() {
        band_across(svg, field, range, &Look::filled(p.pink[0]));
    } else {
        band_in_colours(svg, field, range, &end.paint, BAND);
    }
    for edge in [range.0, range.1] {
        if edge > field.y.from() && edge < field.y.to() {
            let at = field.down(edge);
            svg.line(
                (field.left, at),
                (field.right(), at),
                &Look::drawn(p.quiet, 0.8).dashed(),
            );
        }
    }
}

/// What the lens shows, marked alike on both axes.
fn seen_by_the_lens(svg: &mut Svg, p: &Palette, run: &Frame, near: &Frame) {
    let base = run.bottom();
    let look = Look::drawn(p.pink[2], 4.0);
    let (from, to) = (run.across(near.x.from()), run.across(near.x.to()));
    svg.line((from, base), (to.max(from + 2.0), base), &look);
    svg.line((near.left, base), (near.right(), base), &look);
}

/// Where to run freely, by drops, by half drops; above the field.
fn zones(svg: &mut Svg, p: &Palette, run: &Frame, drawing: &Drawing) {
    let zone = &drawing.zone;
    let top = run.top - ABOVE - ZONE;
    let at = |v: f64| run.across(run.x.held(v));
    let edges = [
        at(0.0),
        at(zone.freely_to_ml),
        at(zone.drops_to_ml),
        at(zone.end_to_ml),
    ];
    for (pair, colour) in edges.windows(2).zip([p.liquid, p.pink[1], p.pink[2]]) {
        svg.rectangle(
            (pair[0], top, (pair[1] - pair[0]).max(0.0), ZONE),
            &Look::filled(colour),
        );
    }
    let set = Type::of(12.0, p.quiet);
    let freely = format!("run freely to {} mL", decimals(zone.freely_to_ml, 1));
    // Read from the right: the words end where the drops begin, or begin at the axis if there is no room.
    if edges[1] - edges[0] > width(&freely, 12.0) {
        svg.text((edges[1] - 6.0, top - 5.0), set.at(Anchor::End), &freely);
    } else {
        svg.text((edges[0], top - 5.0), set, &freely);
    }
    svg.text(
        (edges[1].max(edges[0] + width(&freely, 12.0)), top - 5.0),
        Type::of(12.0, p.pink[3]),
        &format!(
            "by drops to {} mL, then half drops",
            decimals(zone.drops_to_ml, 1)
        ),
    );
}

fn mark(svg: &mut Svg, p: &Palette, field: &Frame, at: (f64, f64)) {
    svg.circle(
        field.at(at),
        4.5,
        &Look::filled(p.paper).outlined(p.ink, 1.6),
    );
}

/// The equivalence point and the end, on the run and under the lens.
fn ends(svg: &mut Svg, p: &Palette, (run, near): (&Frame, &Frame), drawing: &Drawing) {
    mark(svg, p, run, drawing.equivalence);
    mark(svg, p, near, drawing.equivalence);
    let Some(end) = &drawing.end else { return };
    let (look, bars) = (Look::filled(p.pink[3]), Look::drawn(p.pink[3], 1.6));
    let here = Point {
        x: end.volume_ml,
        y: end.level,
        ..Point::default()
    };
    point(svg, run, &here, 3.0, &look, &bars);
    let here = Point {
        x_within: end.late_within_ml,
        ..here
    };
    point(svg, near, &here, 3.5, &look, &bars);
}

/// How long one drop is under the lens.
fn drop_length(svg: &mut Svg, p: &Palette, near: &Frame) {
    let length = near.width * DROP_ML / (near.x.to() - near.x.from());
    let down = near.top - ABOVE - ZONE / 2.0;
    let (from, to) = (near.left, near.left + length);
    let look = Look::drawn(p.quiet, 1.2);
    svg.line((from, down), (to, down), &look);
    for end in [from, to] {
        svg.line((end, down - 4.0), (end, down + 4.0), &look);
    }
    svg.text(
        (to + 8.0, down + 4.0),
        Type::of(12.0, p.quiet),
        &format!("one drop, {DROP_ML} mL"),
    );
}

/// The colour of the flask by level, with words beside it.
fn flask(svg: &mut Svg, p: &Palette, near: &Frame, drawing: &Drawing, end: &DrawnEnd) {
    let strip = Frame {
        left: FLASK.0,
        width: FLASK.1,
        ..near.clone()
    };
    let whole = (strip.y.from(), strip.y.to());
    if !end.paint.is_empty() {
        band_in_colours(svg, &strip, whole, &end.paint, 1.0);
    }
    svg.rectangle(
        (strip.left, strip.top, strip.width, strip.height),
        &Look::drawn(p.quiet, 0.8),
    );
    let rises = drawing.points.last().map(|p| p.1) > drawing.points.first().map(|p| p.1);
    let (below, above) = if rises {
        (&end.colours.0, &end.colours.1)
    } else {
        (&end.colours.1, &end.colours.0)
    };
    let left = strip.right() + 8.0;
    let room = WIDTH - left - 8.0;
    let words = Type::of(13.0, p.ink);
    let quiet = Type::of(12.0, p.quiet);
    svg.text((strip.left, strip.top - 14.0), quiet, "the flask");
    let (low, high) = end.band.unwrap_or((end.level, end.level));
    let (top, bottom) = (
        strip.down(strip.y.held(high)),
        strip.down(strip.y.held(low)),
    );
    // Above and below the change, and between them what changes: never closer than a line.
    let middle = f64::midpoint(top, bottom);
    let half = (bottom - top).max(44.0) / 2.0;
    let middle = middle.clamp(strip.top + half + 22.0, strip.bottom() - half - 22.0);
    svg.text((left, middle - half - 8.0), words, above);
    svg.text((left, middle + half + 18.0), words, below);
    let range = end.band.map(|(low, high)| {
        let (digits, unit) = match drawing.unit {
            "" => (1, String::new()),
            unit => (2, format!(" {unit}")),
        };
        format!(
            "{} {} to {}{unit}",
            drawing.quantity,
            decimals(low, digits),
            decimals(high, digits)
        )
    });
    let name = (width(&end.indicator, quiet.size) / room).ceil();
    let folded = name + if range.is_some() { 1.0 } else { 0.0 };
    let first = middle - (folded - 1.0) * 7.8 + 4.0;
    let next = paragraph(svg, (left, first), quiet, room, &end.indicator);
    if let Some(range) = range {
        svg.text((left, next), quiet, &range);
    }
}
