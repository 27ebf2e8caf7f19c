//! A simulated result beside what first-order propagation says of it: frequencies, the curve of first order over them,
//! and both coverage intervals below.
//!
//! The curve is the Student distribution that the first-order interval stands on, counted over the same bins, so that
//! nothing but the shape differs.

use super::frame::Frame;
use super::line::line;
use super::palette::Palette;
use super::scale::Scale;
use super::svg::{Anchor, Look, Svg, Type};
use crate::account::Simulated;
use metrology::Budget;
use metrology::quantiles::student_t_upper_tail;

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 322.0;
/// Left edge, top, width and height of the field, px.
const FIELD: (f64, f64, f64, f64) = (20.0, 14.0, 600.0, 176.0);
/// Height of the words at the intervals, px.
const WORDS: f64 = 13.0;

/// What the picture says in words.
#[derive(Clone, Copy, Debug)]
pub struct HistogramWords<'a> {
    /// Its title.
    pub title: &'a str,
    /// The same for those who do not see it, with the numbers.
    pub description: &'a str,
    /// Name of the axis, with the unit.
    pub axis: &'a str,
    /// Beside the interval of first order.
    pub first_order: &'a str,
    /// Beside the shortest interval of the simulation.
    pub shortest: &'a str,
}

/// The picture; values are divided by `factor`, the size of the unit that is shown.
pub fn histogram_svg(
    simulated: &Simulated,
    budget: &Budget,
    factor: f64,
    words: &HistogramWords<'_>,
    palette: &Palette,
) -> String {
    let (simulation, first) = (&simulated.simulation, &simulated.validation.first_order);
    let histogram = &simulation.histogram;
    let bins = histogram.counts.len();
    let edge = |bin: usize| (histogram.lower + bin as f64 * histogram.bin_width) / factor;
    let expected = first_order_counts(simulated, budget);
    let tallest = histogram
        .counts
        .iter()
        .map(|count| *count as f64)
        .chain(expected.iter().copied())
        .fold(1.0, f64::max);
    let frame = Frame {
        left: FIELD.0,
        top: FIELD.1,
        width: FIELD.2,
        height: FIELD.3,
        x: Scale::within(edge(0), edge(bins), 6),
        y: Scale::within(0.0, 1.04 * tallest, 4),
    };
    let mut svg = Svg::new(WIDTH, HEIGHT, words.title, words.description);
    let shortest = (
        simulation.shortest.lower / factor,
        simulation.shortest.upper / factor,
    );
    for (bin, count) in histogram.counts.iter().enumerate() {
        let (from, to) = (edge(bin), edge(bin + 1));
        let middle = f64::midpoint(from, to);
        let inside = middle >= shortest.0 && middle <= shortest.1;
        let look = Look::filled(if inside {
            palette.liquid
        } else {
            palette.glass
        });
        let (left, top) = frame.at((from, *count as f64));
        let width = frame.across(to) - left;
        svg.rectangle((left, top, width, frame.bottom() - top), &look);
    }
    let curve: Vec<(f64, f64)> = expected
        .iter()
        .enumerate()
        .map(|(bin, count)| (f64::midpoint(edge(bin), edge(bin + 1)), *count))
        .collect();
    line(&mut svg, &frame, &curve, &Look::drawn(palette.ink, 1.8));
    frame.axis_below(&mut svg, palette, words.axis);
    let first = (first.lower / factor, first.upper / factor);
    let below = frame.bottom() + 72.0;
    interval(
        &mut svg,
        &frame,
        below,
        first,
        palette.ink,
        words.first_order,
    );
    let simulated = (below + 38.0, shortest, palette.pink[3], words.shortest);
    interval(
        &mut svg,
        &frame,
        simulated.0,
        simulated.1,
        simulated.2,
        simulated.3,
    );
    svg.finish(palette.paper)
}

/// How many of the trials first order would put into each bin.
fn first_order_counts(simulated: &Simulated, budget: &Budget) -> Vec<f64> {
    let simulation = &simulated.simulation;
    let histogram = &simulation.histogram;
    let trials = (simulation.trials - simulation.failed) as f64;
    let above = |bin: usize| {
        let value = histogram.lower + bin as f64 * histogram.bin_width;
        student_t_upper_tail(
            (value - budget.value) / budget.standard_uncertainty,
            budget.effective_degrees_of_freedom,
        )
    };
    (0..histogram.counts.len())
        .map(|bin| trials * (above(bin) - above(bin + 1)).max(0.0))
        .collect()
}

/// An interval as a bar with ends, its words in the middle above it.
fn interval(
    svg: &mut Svg,
    frame: &Frame,
    down: f64,
    (from, to): (f64, f64),
    colour: &str,
    words: &str,
) {
    let look = Look::drawn(colour, 2.0);
    let (left, right) = (
        frame.across(frame.x.held(from)),
        frame.across(frame.x.held(to)),
    );
    svg.line((left, down), (right, down), &look);
    for end in [left, right] {
        svg.line((end, down - 5.0), (end, down + 5.0), &look);
    }
    let set = Type::of(WORDS, colour).at(Anchor::Middle);
    let middle = f64::midpoint(frame.left, frame.right());
    svg.text((middle, down - 9.0), set, words);
}

#[cfg(test)]
mod tests {
    use super::*;
    use metrology::{
        Distribution, Expr, Formula, Input, Plan, Quantity, monte_carlo, propagate, validate,
    };

    fn simulated(distribution: Distribution) -> (Simulated, Budget) {
        let input = Input::new("a", "a", Quantity::number(1.0)).distributed(distribution);
        let formula = Formula::build(&Expr::input(input)).unwrap();
        let budget = propagate(&formula);
        let plan = Plan {
            trials: 50_000,
            seed: 3,
            ..Plan::default()
        };
        let simulation = monte_carlo(&formula, &plan).unwrap();
        let validation = validate(&budget, &simulation, 2);
        (
            Simulated {
                simulation,
                validation,
            },
            budget,
        )
    }

    #[test]
    fn first_order_is_counted_over_the_same_bins() {
        let (normal, budget) = simulated(Distribution::Normal {
            standard_uncertainty: 0.1,
        });
        let expected = first_order_counts(&normal, &budget);
        // Where the result is normal, first order is right: chi squared of 100 bins is about 100 +- 14.
        let chi: f64 = normal
            .simulation
            .histogram
            .counts
            .iter()
            .zip(&expected)
            .map(|(count, e)| (*count as f64 - e).powi(2) / e)
            .sum();
        assert!((50.0..160.0).contains(&chi), "{chi}");
        // The histogram covers two of its interval's widths: all but P(|z| > 3.92) of the trials.
        let share = expected.iter().sum::<f64>() / 50_000.0;
        assert!((0.9998..=1.0).contains(&share), "{share}");
    }

    #[test]
    fn the_picture_says_what_it_shows() {
        let (flat, budget) = simulated(Distribution::Rectangular { half_width: 0.1 });
        let words = HistogramWords {
            title: "Simulation beside first order",
            description: "the shortest interval <is> narrower",
            axis: "a",
            first_order: "first order",
            shortest: "simulation",
        };
        let text = histogram_svg(&flat, &budget, 1.0, &words, &Palette::PAGE);
        assert!(text.contains("<title") && text.contains("narrower</desc>"));
        assert!(text.contains("&lt;is&gt;"), "{text}");
        assert!(text.contains("var(--ink, #22303a)"));
        // A hundred bins and the ground.
        assert_eq!(text.matches("<rect").count(), 101);
    }
}
