//! The Monte Carlo simulation of a result beside first order.

use super::frame::drawn;
use super::result::rounded;
use crate::measured::{self, Measured};
use crate::text::{filled, t};
use maud::{Markup, html};
use metrology::{Plan, monte_carlo, validate};
use notebook::Outcome;
use report::plot::{HistogramWords, Palette, histogram_svg};
use report::{Simulated, thousands};

/// Draws of a simulation, as many as tell the second digit of an interval's ends within the time of a page, and their
/// seed: the same page each time.
const TRIALS: usize = 100_000;
const SEED: u64 = 1;
/// Significant digits of u that first order must get right.
const DIGITS: usize = 2;

/// The simulation of the first result, if it can be had.
pub(crate) fn simulate(outcome: &Outcome) -> Option<Simulated> {
    let measured = measured::find(outcome, None)?;
    let plan = Plan {
        trials: TRIALS,
        seed: SEED,
        probability: measured.expanded.probability.unwrap_or(0.95),
        threads: 1,
    };
    let simulation = monte_carlo(measured.formula, &plan).ok()?;
    let validation = validate(measured.budget, &simulation, DIGITS);
    Some(Simulated {
        simulation,
        validation,
    })
}

/// Picture and words.
pub(crate) fn section(measured: &Measured<'_>, simulated: &Simulated) -> Markup {
    let (simulation, validation) = (&simulated.simulation, &simulated.validation);
    let factor = measured.factor;
    let u = validation.first_order.expanded_uncertainty / factor;
    let end = |x: f64| rounded(x / factor, u).0;
    let p = format!("{:.0}", 100.0 * simulation.probability);
    let shortest = filled(
        "simulation.shortest",
        &[
            ("p", &p),
            ("from", &end(simulation.shortest.lower)),
            ("to", &end(simulation.shortest.upper)),
        ],
    );
    let first_order = filled(
        "simulation.first_order",
        &[
            ("p", &p),
            ("from", &end(validation.first_order.lower)),
            ("to", &end(validation.first_order.upper)),
        ],
    );
    let coarse = validate(measured.budget, simulation, 1);
    let verdict = match (validation.settled, validation.validated) {
        (true, true) => t("simulation.two_digits"),
        (false, _) => t("simulation.open"),
        (true, false) if coarse.validated => t("simulation.one_digit"),
        (true, false) => t("simulation.differs"),
    };
    let how = filled(
        "simulation.how",
        &[
            ("trials", &thousands(simulation.trials, '\u{202f}')),
            ("seed", &simulation.seed.to_string()),
        ],
    );
    let words = HistogramWords {
        title: t("simulation.title"),
        description: &format!("{how} {first_order}; {shortest}. {verdict}"),
        axis: &format!("{} / ({})", measured.name, measured.unit),
        first_order: &first_order,
        shortest: &shortest,
    };
    let picture = histogram_svg(simulated, measured.budget, factor, &words, &Palette::PAGE);
    html! {
        h2 { (t("simulation.title")) }
        div.picture.hide-blind tabindex="0" role="group" aria-label=(t("simulation.title")) { (drawn(picture)) }
        p { (verdict) " " span.quiet { (how) } }
        @if simulation.failed > 0 { p.notice { (filled("simulation.failed", &[("n", &simulation.failed.to_string())])) } }
    }
}
