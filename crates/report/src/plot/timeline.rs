//! Values in time: points with what they may be off by, levels across (mean, limits), a tolerance, a line with its band,
//! and what happened meanwhile. Control charts, drifts and the history of a bottle are this one picture.

use super::band::band_across;
use super::frame::Frame;
use super::line::line;
use super::palette::Palette;
use super::points::{Point, point};
use super::scale::Scale;
use super::svg::{Anchor, Look, Svg, Type};

const WIDTH: f64 = 760.0;
const HEIGHT: f64 = 316.0;
/// Left edge, top, width and height of the field, px; levels are named right of it.
const FIELD: (f64, f64, f64, f64) = (86.0, 40.0, 556.0, 216.0);
/// Least distance of two names of levels, and of two names of days, px.
const APART: f64 = 15.0;
const DAYS_APART: f64 = 74.0;

/// A value in time.
#[derive(Clone, Debug, PartialEq)]
pub struct Dated {
    /// When, in days.
    pub x: f64,
    /// The value.
    pub y: f64,
    /// What it may be off by; 0 for none.
    pub within: f64,
    /// A word beside it where it is to be seen, such as its number; it then wears a ring.
    pub flag: Option<String>,
}

/// How a level is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LevelLook {
    /// The middle.
    Mean,
    /// A limit that warns.
    Warning,
    /// A limit that calls for action.
    Action,
}

/// A level across the picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Level {
    /// Where.
    pub y: f64,
    /// Its name.
    pub word: String,
    /// How it is drawn.
    pub look: LevelLook,
}

/// Everything that a picture in time shows; what is left empty is not drawn.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Timeline {
    /// Its title.
    pub title: String,
    /// The same for those who do not see it, with the numbers.
    pub description: String,
    /// What stands at the upward axis: the unit.
    pub axis: String,
    /// The values.
    pub points: Vec<Dated>,
    /// Whether a thin line joins them.
    pub joined: bool,
    /// Names of days along the axis.
    pub days: Vec<(f64, String)>,
    /// Levels across.
    pub levels: Vec<Level>,
    /// A tolerance, lower and upper end, and its name.
    pub tolerance: Option<(f64, f64, String)>,
    /// A line: when, height, half-width of its band.
    pub line: Vec<(f64, f64, f64)>,
    /// What happened meanwhile: when, and a word.
    pub marks: Vec<(f64, String)>,
    /// A stretch of days and its name, such as when a tolerance is left; the middle is marked.
    pub stretch: Option<(f64, f64, f64, String)>,
}

/// The picture.
pub fn timeline_svg(timeline: &Timeline, palette: &Palette) -> String {
    let frame = frame(timeline);
    let mut svg = Svg::new(WIDTH, HEIGHT, &timeline.title, &timeline.description);
    if let Some((low, high, word)) = &timeline.tolerance {
        band_across(
            &mut svg,
            &frame,
            (*low, *high),
            &Look::filled(palette.glass),
        );
        let set = Type::of(12.0, palette.quiet);
        let at = frame.down(frame.y.held(*high)) + 15.0;
        svg.text((frame.left + 6.0, at), set, word);
    }
    frame.axis_left(&mut svg, palette, &timeline.axis);
    days(&mut svg, &frame, timeline, palette);
    levels(&mut svg, &frame, timeline, palette);
    for (x, word) in &timeline.marks {
        let at = frame.across(frame.x.held(*x));
        let look = Look::drawn(palette.quiet, 1.0).dashed();
        svg.line((at, frame.top), (at, frame.bottom()), &look);
        let set = Type::of(11.0, palette.quiet).at(Anchor::Middle);
        svg.text((at, frame.top - 6.0), set, word);
    }
    fitted(&mut svg, &frame, timeline, palette);
    if timeline.joined {
        let way: Vec<(f64, f64)> = timeline.points.iter().map(|p| (p.x, p.y)).collect();
        line(&mut svg, &frame, &way, &Look::drawn(palette.liquid, 1.4));
    }
    for one in &timeline.points {
        draw(&mut svg, &frame, one, palette);
    }
    svg.finish(palette.paper)
}

fn frame(timeline: &Timeline) -> Frame {
    let mut xs: Vec<f64> = timeline.points.iter().map(|p| p.x).collect();
    xs.extend(timeline.days.iter().map(|d| d.0));
    xs.extend(timeline.marks.iter().map(|m| m.0));
    xs.extend(timeline.line.iter().map(|l| l.0));
    let mut ys: Vec<f64> = timeline
        .points
        .iter()
        .flat_map(|p| [p.y - p.within, p.y + p.within])
        .collect();
    ys.extend(timeline.levels.iter().map(|l| l.y));
    ys.extend(timeline.tolerance.iter().flat_map(|t| [t.0, t.1]));
    let span = |values: &[f64]| {
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let room = 0.04 * (high - low);
        (low - room, high + room)
    };
    let ((left, right), (low, high)) = (span(&xs), span(&ys));
    Frame {
        left: FIELD.0,
        top: FIELD.1,
        width: FIELD.2,
        height: FIELD.3,
        x: Scale::within(left, right, 6),
        y: Scale::within(low, high, 5),
    }
}

/// The axis of days: as many names as have room.
fn days(svg: &mut Svg, frame: &Frame, timeline: &Timeline, palette: &Palette) {
    let base = frame.bottom();
    let look = Look::drawn(palette.quiet, 1.0);
    svg.line((frame.left, base), (frame.right(), base), &look);
    let set = Type::of(12.0, palette.ink).at(Anchor::Middle);
    let mut last = f64::NEG_INFINITY;
    for (x, word) in &timeline.days {
        let at = frame.across(frame.x.held(*x));
        svg.line((at, base), (at, base + 5.0), &look);
        if at - last >= DAYS_APART {
            svg.text((at, base + 20.0), set, word);
            last = at;
        }
    }
    if let Some((from, middle, to, word)) = &timeline.stretch {
        let down = base + 32.0;
        let at = |x: f64| frame.across(frame.x.held(x));
        let pink = Look::drawn(palette.pink[3], 2.0);
        svg.line((at(*from), down), (at(*to), down), &pink);
        svg.circle((at(*middle), down), 4.0, &Look::filled(palette.pink[3]));
        let middle = at(*middle).clamp(frame.left + 150.0, frame.right() - 60.0);
        let set = Type::of(12.0, palette.pink[3]).at(Anchor::Middle);
        svg.text((middle, down + 18.0), set, word);
    }
}

/// Levels, and their names on the right, moved apart where they would touch.
fn levels(svg: &mut Svg, frame: &Frame, timeline: &Timeline, palette: &Palette) {
    let mut sorted: Vec<&Level> = timeline.levels.iter().collect();
    sorted.sort_by(|a, b| b.y.total_cmp(&a.y));
    let mut last = f64::NEG_INFINITY;
    for level in sorted {
        let down = frame.down(frame.y.held(level.y));
        let (look, colour) = match level.look {
            LevelLook::Mean => (Look::drawn(palette.quiet, 1.4), palette.quiet),
            LevelLook::Warning => (Look::drawn(palette.quiet, 1.2).dashed(), palette.quiet),
            LevelLook::Action => (Look::drawn(palette.pink[3], 1.4), palette.pink[3]),
        };
        svg.line((frame.left, down), (frame.right(), down), &look);
        let at = (down + 4.0).max(last + APART);
        svg.text(
            (frame.right() + 8.0, at),
            Type::of(12.0, colour),
            &level.word,
        );
        last = at;
    }
}

/// The line with its band as thin lines.
fn fitted(svg: &mut Svg, frame: &Frame, timeline: &Timeline, palette: &Palette) {
    let way = |side: f64| -> Vec<(f64, f64)> {
        let at = |(x, y, u): &(f64, f64, f64)| (*x, y + side * u);
        timeline.line.iter().map(at).collect()
    };
    line(svg, frame, &way(0.0), &Look::drawn(palette.pink[3], 1.8));
    for side in [-1.0, 1.0] {
        let look = Look::drawn(palette.pink[2], 1.2).dashed();
        line(svg, frame, &way(side), &look);
    }
}

fn draw(svg: &mut Svg, frame: &Frame, one: &Dated, palette: &Palette) {
    let bars = Look::drawn(palette.ink, 1.2);
    let dot = Look::filled(palette.ink);
    let place = Point {
        x: one.x,
        y: one.y,
        x_within: 0.0,
        y_within: one.within,
    };
    point(svg, frame, &place, 4.0, &dot, &bars);
    if let Some(flag) = &one.flag {
        let at = frame.at((one.x, one.y));
        svg.circle(at, 9.0, &Look::drawn(palette.pink[3], 2.0));
        let set = Type::of(12.0, palette.pink[3])
            .at(Anchor::Middle)
            .strong()
            .rimmed(palette.paper);
        let above = if at.1 - 14.0 < frame.top + 4.0 {
            26.0
        } else {
            -14.0
        };
        svg.text((at.0, at.1 + above), set, flag);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_that_is_given_is_drawn_and_said() {
        let timeline = Timeline {
            title: "Chart".into(),
            description: "seven values".into(),
            axis: "mol/L".into(),
            points: (0..7)
                .map(|i| Dated {
                    x: f64::from(i) * 7.0,
                    y: 0.1 + 1e-4 * f64::from(i % 3),
                    within: 1e-4,
                    flag: (i == 6).then(|| "7".to_string()),
                })
                .collect(),
            joined: true,
            days: vec![(0.0, "1 Oct".into()), (42.0, "12 Nov".into())],
            levels: vec![Level {
                y: 0.1001,
                word: "mean <x>".into(),
                look: LevelLook::Mean,
            }],
            tolerance: Some((0.0995, 0.1005, "tolerance".into())),
            line: vec![(0.0, 0.1, 1e-4), (60.0, 0.0998, 2e-4)],
            marks: vec![(20.0, "topped up".into())],
            stretch: Some((50.0, 55.0, 60.0, "leaves".into())),
        };
        let text = timeline_svg(&timeline, &Palette::PAGE);
        for words in [
            "seven values</desc>",
            "mean &lt;x&gt;",
            "topped up",
            ">12 Nov<",
            ">leaves<",
            ">7</text>",
        ] {
            assert!(text.contains(words), "{words}: {text}");
        }
        // Seven dots, one ring, one at the stretch.
        assert_eq!(text.matches("<circle").count(), 9);
    }

    #[test]
    fn one_value_alone_is_a_picture_too() {
        let timeline = Timeline {
            points: vec![Dated {
                x: 3.0,
                y: 0.1,
                within: 0.0,
                flag: None,
            }],
            ..Timeline::default()
        };
        let text = timeline_svg(&timeline, &Palette::LIGHT);
        assert!(text.contains("<circle") && !text.contains("NaN") && !text.contains("inf"));
    }
}
