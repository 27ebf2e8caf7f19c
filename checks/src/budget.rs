//! Building a published uncertainty budget and comparing it with what was printed.

use metrology::{Budget, Distribution, Expr, Formula, Input, Quantity, Simulation, propagate};

/// A published number: the text as printed, whose last digit tells how well it must be met.
///
/// # Panics
/// If `actual` is further from `printed` than half of its last digit.
#[track_caller]
pub fn assert_printed(what: &str, actual: f64, printed: &str) {
    let (value, last_place) = read(printed);
    // A little more than half: the number printed may itself have been rounded from near a half.
    assert!(
        (actual - value).abs() <= 0.5001 * last_place,
        "{what}: {actual} does not round to {printed}"
    );
}

/// Value of a printed number and one unit of its last digit.
fn read(printed: &str) -> (f64, f64) {
    let (number, exponent) = printed.split_once('e').unwrap_or((printed, "0"));
    let decimals = number.split_once('.').map_or(0, |(_, d)| d.len());
    let parsed = printed.parse().ok().zip(exponent.parse::<i32>().ok());
    let (value, exponent) = parsed.unwrap_or_else(|| panic!("\"{printed}\" is not a number"));
    (value, 10f64.powi(exponent - decimals as i32))
}

/// An input of a published example.
///
/// # Panics
/// If the unit is unknown.
#[track_caller]
pub fn input(id: &str, value: f64, unit: &str, distribution: Distribution) -> Expr {
    Expr::input(plain_input(id, value, unit, distribution))
}

/// The same, to be changed before it is used.
///
/// # Panics
/// If the unit is unknown.
#[track_caller]
pub fn plain_input(id: &str, value: f64, unit: &str, distribution: Distribution) -> Input {
    let unit = unit.parse().unwrap_or_else(|error| panic!("{id}: {error}"));
    Input::new(id, id, Quantity::new(value, unit)).distributed(distribution)
}

/// Gaussian with a standard uncertainty.
pub fn normal(standard_uncertainty: f64) -> Distribution {
    Distribution::Normal {
        standard_uncertainty,
    }
}

/// Anywhere within the half-width.
pub fn rectangular(half_width: f64) -> Distribution {
    Distribution::Rectangular { half_width }
}

/// Within the half-width, likelier in the middle.
pub fn triangular(half_width: f64) -> Distribution {
    Distribution::Triangular { half_width }
}

/// A closed formula with its budget.
pub struct Worked {
    /// The formula.
    pub formula: Formula,
    /// Its budget.
    pub budget: Budget,
}

impl Worked {
    /// Closes a formula whose result is shown in `unit`.
    ///
    /// # Panics
    /// If the formula is wrong.
    #[track_caller]
    pub fn new(result: &Expr, unit: &str) -> Self {
        let unit = unit.parse().unwrap_or_else(|error| panic!("{error}"));
        let formula =
            Formula::build(&result.in_unit(unit)).unwrap_or_else(|error| panic!("{error}"));
        let budget = propagate(&formula);
        Self { formula, budget }
    }

    /// Magnitude of what some inputs contribute together (in quadrature: they are independent).
    ///
    /// # Panics
    /// If the formula has no such input.
    #[track_caller]
    pub fn contribution(&self, ids: &[&str]) -> f64 {
        self.lines(ids).map(|l| l.0.powi(2)).sum::<f64>().sqrt()
    }

    /// Share of the variance of some inputs together, in percent.
    ///
    /// # Panics
    /// If the formula has no such input.
    #[track_caller]
    pub fn percent(&self, ids: &[&str]) -> f64 {
        self.lines(ids).map(|l| 100.0 * l.1).sum()
    }

    fn lines<'a>(&'a self, ids: &'a [&str]) -> impl Iterator<Item = (f64, f64)> + 'a {
        ids.iter().map(|id| {
            let index = self.formula.input_index(id);
            let line = self.budget.lines.iter().find(|l| Some(l.input) == index);
            let line = line.unwrap_or_else(|| panic!("the budget has no line {id}"));
            (line.contribution, line.share)
        })
    }

    /// Compares contribution and percentage of the variance with the printed ones.
    ///
    /// # Panics
    /// If they differ by more than half of the last digit.
    #[track_caller]
    pub fn assert_line(&self, ids: &[&str], contribution: &str, percent: &str) {
        assert_printed(ids[0], self.contribution(ids), contribution);
        assert_printed(ids[0], self.percent(ids), percent);
    }
}

/// Compares a simulation of ours with one by numpy of `trials` trials: mean, standard deviation and the ends of the
/// 95 % interval lie within five standard errors of the difference (one in two million by chance; seeds are fixed).
///
/// # Panics
/// If one of them does not.
#[track_caller]
pub fn assert_simulations_agree(ours: &Simulation, trials: f64, [mean, u, lower, upper]: [f64; 4]) {
    let n = 1.0 / (1.0 / ours.trials as f64 + 1.0 / trials);
    let ends = (ours.trials as f64 / n).sqrt();
    for (what, actual, expected, error) in [
        ("mean", ours.mean, mean, u / n.sqrt()),
        // The results compared are close to normal.
        ("u", ours.standard_uncertainty, u, u / (2.0 * n).sqrt()),
        (
            "lower end",
            ours.symmetric.lower,
            lower,
            ours.symmetric_error.0 * ends,
        ),
        (
            "upper end",
            ours.symmetric.upper,
            upper,
            ours.symmetric_error.1 * ends,
        ),
    ] {
        let away = (actual - expected) / error;
        assert!(
            away.abs() < 5.0,
            "{what}: {actual} is {away:.1} standard errors from {expected}"
        );
    }
}
