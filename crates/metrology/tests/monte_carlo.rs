//! Simulation against closed forms. Every tolerance is a number of standard errors of the quantity compared, at the
//! number of trials run; five of them are exceeded once in two million by chance, and the seeds are fixed.

#![allow(clippy::unwrap_used, clippy::float_cmp)]

use metrology::{
    AdaptivePlan, Coverage, Distribution, Expr, Formula, Input, MonteCarloError, Plan, Quantity,
    Simulation, adaptive, expand, monte_carlo, propagate, validate,
};
use std::f64::consts::PI;

const TRIALS: usize = 200_000;

fn input(id: &str, value: f64, distribution: Distribution) -> Expr {
    of(Input::new(id, id, Quantity::number(value)).distributed(distribution))
}

fn of(input: Input) -> Expr {
    Expr::input(input)
}

fn normal(standard_uncertainty: f64) -> Distribution {
    Distribution::Normal {
        standard_uncertainty,
    }
}

fn run(expr: &Expr) -> Simulation {
    simulate(&Formula::build(expr).unwrap())
}

fn simulate(formula: &Formula) -> Simulation {
    let plan = Plan {
        trials: TRIALS,
        ..Plan::default()
    };
    monte_carlo(formula, &plan).unwrap()
}

/// `actual` lies within five standard errors of `expected`.
#[track_caller]
fn assert_within(actual: f64, expected: f64, standard_error: f64, what: &str) {
    let away = (actual - expected) / standard_error;
    assert!(
        away.abs() < 5.0,
        "{what}: {actual} is {away:.1} standard errors from {expected}"
    );
}

/// Standard error of the quantile at probability `p` where the density is `density`.
fn quantile_error(p: f64, density: f64) -> f64 {
    (p * (1.0 - p) / TRIALS as f64).sqrt() / density
}

#[test]
fn every_distribution_has_its_spread_and_its_quantiles() {
    let k = 1.959_963_984_540_054_f64;
    let gauss = (-0.5 * k * k).exp() / (2.0 * PI).sqrt();
    // Upper 97.5 % point, density there, and fourth moment over the squared variance, in closed form for width 1.
    let root = 0.05f64.sqrt();
    let trapezoid_top = 0.5;
    let trapezoid_end = 1.0 - (0.025 * 2.0 * (1.0 - 0.25f64)).sqrt();
    let cases = [
        (normal(1.0), k, gauss, 3.0),
        (
            Distribution::Expanded {
                expanded_uncertainty: 2.0,
                coverage_factor: 2.0,
            },
            k,
            gauss,
            3.0,
        ),
        (
            Distribution::Rectangular { half_width: 1.0 },
            0.95,
            0.5,
            1.8,
        ),
        (
            Distribution::Triangular { half_width: 1.0 },
            1.0 - root,
            root,
            2.4,
        ),
        (
            Distribution::Arcsine { half_width: 1.0 },
            (0.475 * PI).sin(),
            1.0 / (PI * (0.475 * PI).cos()),
            1.5,
        ),
        (
            // Density (1 - x)/(1 - β²) on the slope, β = 1/2.
            Distribution::Trapezoidal {
                half_width: 1.0,
                top_ratio: trapezoid_top,
            },
            trapezoid_end,
            (1.0 - trapezoid_end) / 0.75,
            // Sum of rectangles of half-widths 3/4 and 1/4: 3 - 1.2·(Σu⁴)/(Σu²)².
            3.0 - 1.2 * (0.75f64.powi(4) + 0.25f64.powi(4))
                / (0.75f64.powi(2) + 0.25f64.powi(2)).powi(2),
        ),
    ];
    for (distribution, end, density, kurtosis) in cases {
        let name = distribution.name();
        let s = run(&input("x", 10.0, distribution));
        let (n, u) = (TRIALS as f64, distribution.standard_uncertainty());
        assert_within(s.mean, 10.0, u / n.sqrt(), name);
        assert_within(
            s.standard_uncertainty,
            u,
            u * ((kurtosis - 1.0) / (4.0 * n)).sqrt(),
            name,
        );
        let error = quantile_error(0.025, density);
        assert_within(s.symmetric.upper, 10.0 + end, error, name);
        assert_within(s.symmetric.lower, 10.0 - end, error, name);
        // What the simulation says of its own error is right to a third.
        let (low, high) = s.symmetric_error;
        assert!(
            (low / error).ln().abs() < 0.3 && (high / error).ln().abs() < 0.3,
            "{name} {low} {high} {error}"
        );
        assert!(s.shortest.width() <= s.symmetric.width(), "{name}");
    }
}

#[test]
fn the_curvilinear_trapezoid_has_its_spread_and_its_tail() {
    // JCGM 101:2008, 6.4.3.2: density ln((w + d)/|x|)/(4d) beyond w - d, for half-width w and inexactness d.
    let (w, d) = (1.0, 0.5);
    let distribution = Distribution::CurvilinearTrapezoid {
        half_width: w,
        inexactness: d,
    };
    // P(X > x) = ∫ density = [(w + d - x) - x·ln((w + d)/x)]/(4d); solved for 2.5 % by bisection.
    let tail = |x: f64| ((w + d - x) - x * ((w + d) / x).ln()) / (4.0 * d);
    let (mut low, mut high) = (w - d, w + d);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if tail(middle) > 0.025 {
            low = middle;
        } else {
            high = middle;
        }
    }
    let s = run(&input("x", 0.0, distribution));
    let error = quantile_error(0.025, ((w + d) / low).ln() / (4.0 * d));
    assert_within(s.symmetric.upper, low, error, "upper end");
    let u = distribution.standard_uncertainty();
    // E x⁴ = E w⁴/5 with w rectangular over 1 ± d.
    let fourth = (1.5f64.powi(5) - 0.5f64.powi(5)) / 5.0 / 5.0;
    let error = u * ((fourth / u.powi(4) - 1.0) / (4.0 * TRIALS as f64)).sqrt();
    assert_within(s.standard_uncertainty, u, error, "u");
}

/// Density of Student t for 1 and 4 degrees of freedom.
fn student_density(t: f64, dof: f64) -> f64 {
    if dof < 2.0 {
        1.0 / (PI * (1.0 + t * t))
    } else {
        0.375 * (1.0 + t * t / 4.0).powf(-2.5)
    }
}

#[test]
fn repeated_observations_are_drawn_as_student_t() {
    for dof in [1.0, 4.0] {
        let x = Input::new("x", "x", Quantity::number(5.0))
            .distributed(Distribution::StudentT { scale: 0.1 })
            .with_degrees_of_freedom(dof);
        let s = run(&of(x));
        let k = expand(0.0, 1.0, dof, Coverage::Probability(0.95)).coverage_factor;
        let error = 0.1 * quantile_error(0.025, student_density(k, dof));
        assert_within(s.symmetric.upper, 5.0 + 0.1 * k, error, "upper");
        assert_within(s.symmetric.lower, 5.0 - 0.1 * k, error, "lower");
        // One degree of freedom has no variance, and the outcome says so.
        assert_eq!(s.without_variance.is_empty(), dof > 2.0);
    }
    // Fractional degrees of freedom: between the neighbours.
    let upper = |dof| {
        let x = Input::new("x", "x", Quantity::number(0.0))
            .distributed(Distribution::StudentT { scale: 1.0 })
            .with_degrees_of_freedom(dof);
        run(&of(x)).symmetric.upper
    };
    let k = expand(0.0, 1.0, 2.5, Coverage::Probability(0.95)).coverage_factor;
    // Density of t for 2.5 degrees of freedom: Γ(1.75)/(√(2.5π)·Γ(1.25)) = 0.361 80 (from Γ(1.75) = 0.919 063,
    // Γ(1.25) = 0.906 403).
    let density = 0.361_8 * (1.0 + k * k / 2.5).powf(-1.75);
    assert_within(upper(2.5), k, quantile_error(0.025, density), "2.5");
    // Infinite degrees of freedom are normal.
    assert_within(
        upper(f64::INFINITY),
        1.959_964,
        quantile_error(0.025, 0.058_45),
        "normal",
    );
}

#[test]
fn observations_made_together_are_drawn_as_a_joint_student_t() {
    let x = |id: &str| {
        of(Input::new(id, id, Quantity::number(0.0))
            .distributed(Distribution::StudentT { scale: 1.0 })
            .with_degrees_of_freedom(4.0))
    };
    // A linear combination of a joint t is t again, with the scale of the combination.
    let formula = |coefficient| {
        Formula::build(&(x("a") + x("b") * 2.0))
            .unwrap()
            .correlate("a", "b", coefficient)
            .unwrap()
    };
    for coefficient in [-0.7, 0.0, 0.5] {
        let s = simulate(&formula(coefficient));
        let scale = (5.0 + 4.0 * coefficient).sqrt();
        let k = expand(0.0, scale, 4.0, Coverage::Probability(0.95)).expanded_uncertainty;
        let error = scale * quantile_error(0.025, student_density(k / scale, 4.0));
        assert_within(s.symmetric.upper, k, error, "upper");
        assert_within(s.symmetric.lower, -k, error, "lower");
    }
}

#[test]
fn a_linear_model_of_normal_inputs_agrees_with_first_order() {
    let expr = input("a", 3.0, normal(0.3)) * 2.0 - input("b", 1.0, normal(0.4))
        + input("c", 7.0, normal(0.25));
    let formula = Formula::build(&expr)
        .unwrap()
        .correlate("a", "b", 0.6)
        .unwrap()
        .correlate("b", "c", -0.3)
        .unwrap();
    let (budget, s) = (propagate(&formula), simulate(&formula));
    let (n, u) = (TRIALS as f64, budget.standard_uncertainty);
    assert_within(s.mean, budget.value, u / n.sqrt(), "mean");
    assert_within(s.standard_uncertainty, u, u / (2.0 * n).sqrt(), "u");
    let k = 1.959_964;
    let error = u * quantile_error(0.025, 0.058_45);
    assert_within(s.symmetric.lower, budget.value - k * u, error, "lower");
    assert_within(s.symmetric.upper, budget.value + k * u, error, "upper");
    // To one digit the verdict is settled; for two, so few trials leave the ends uncertain by more than a little.
    let one_digit = validate(&budget, &s, 1);
    assert!(one_digit.validated && one_digit.settled, "{one_digit:?}");
    assert!(!validate(&budget, &s, 2).settled);
}

#[test]
fn the_order_of_the_inputs_does_not_matter_to_propagation() {
    let x = |i: usize| {
        input(
            ["a", "b", "c"][i],
            1.0 + i as f64,
            normal(0.1 * (i + 1) as f64),
        )
    };
    let budget = |order: [usize; 3]| {
        // The same sum of products, its terms built in another order.
        let expr = Expr::sum(order.map(|i| x(i) * x((i + 1) % 3)));
        let formula = Formula::build(&expr)
            .unwrap()
            .correlate("a", "c", 0.4)
            .unwrap();
        propagate(&formula)
    };
    let first = budget([0, 1, 2]);
    for order in [[2, 1, 0], [1, 2, 0], [0, 2, 1]] {
        let other = budget(order);
        assert!((other.value / first.value - 1.0).abs() < 1e-14);
        assert!((other.standard_uncertainty / first.standard_uncertainty - 1.0).abs() < 1e-14);
    }
}

#[test]
fn the_same_seed_gives_the_same_bits_on_any_number_of_threads() {
    let expr = input("a", 3.0, normal(0.3))
        * input("b", 1.0, Distribution::Triangular { half_width: 0.1 });
    let formula = Formula::build(&expr).unwrap();
    let run = |seed, threads| {
        let plan = Plan {
            trials: 150_001,
            seed,
            threads,
            ..Plan::default()
        };
        monte_carlo(&formula, &plan).unwrap()
    };
    let one = run(1, 1);
    assert_eq!(one, run(1, 2));
    assert_eq!(one, run(1, 3));
    assert_ne!(one.mean.to_bits(), run(2, 1).mean.to_bits());
    let settle = |threads| {
        let mut plan = AdaptivePlan::default();
        plan.limits.threads = threads;
        adaptive(&formula, &plan).unwrap()
    };
    assert_eq!(settle(1), settle(3));
}

#[test]
fn the_histogram_counts_every_trial_once() {
    let s = run(&input("x", 3.0, normal(0.1)));
    let (h, n) = (&s.histogram, TRIALS as u64);
    assert_eq!(h.counts.iter().sum::<u64>() + h.below + h.above, n);
    // The symmetric interval takes up the middle half of the bins.
    let middle: u64 = h.counts[25..75].iter().sum();
    assert!(middle.abs_diff(n * 95 / 100) <= 2, "{middle}");
    assert!((h.lower + 25.0 * h.bin_width - s.symmetric.lower).abs() < 1e-12);
    // The bin in the middle: width over u times the density of the normal distribution there.
    let expected = n as f64 * (h.bin_width / 0.1) / (2.0 * PI).sqrt();
    assert_within(h.counts[50] as f64, expected, expected.sqrt(), "middle bin");
}

#[test]
fn failed_trials_are_counted() {
    // The root of a number that is negative in about one trial of six.
    let s = run(&input("x", 1.0, normal(1.0)).square_root());
    let share = 0.158_655_253_931_457;
    let error = (TRIALS as f64 * share * (1.0 - share)).sqrt();
    assert_within(s.failed as f64, TRIALS as f64 * share, error, "failed");
    assert!(s.mean.is_finite() && s.symmetric.lower >= 0.0);
    // All of them fail: an error, no number.
    let plan = Plan {
        trials: 1000,
        ..Plan::default()
    };
    let formula = Formula::build(&input("x", -10.0, normal(0.1)).square_root()).unwrap();
    assert_eq!(
        monte_carlo(&formula, &plan).unwrap_err().to_string(),
        "1000 of 1000 trials gave no finite value; the formula divides by zero or leaves its domain near the inputs' values"
    );
    assert!(adaptive(&formula, &AdaptivePlan::default()).is_err());
}

#[test]
fn division_by_almost_nothing_neither_panics_nor_hides() {
    let one = || input("a", 1.0, normal(0.1));
    let s = run(&(one() / input("b", 0.0, normal(1e-3))));
    assert_eq!(s.failed, 0);
    assert!(s.symmetric.width() > 1e3 && s.standard_uncertainty > s.symmetric.width());
    // A divisor that is exactly 0.
    let formula = Formula::build(&(one() / Expr::number(0.0))).unwrap();
    assert!(matches!(
        monte_carlo(&formula, &Plan::default()),
        Err(MonteCarloError::Failed { .. })
    ));
    let total: u64 = s.histogram.counts.iter().sum::<u64>() + s.histogram.below + s.histogram.above;
    assert_eq!(total, TRIALS as u64);
}

#[test]
fn a_formula_without_uncertainty_has_an_interval_of_no_width() {
    let s = run(&(Expr::number(2.0) * input("a", 3.0, Distribution::Exact)));
    assert!(s.mean == 6.0 && s.standard_uncertainty == 0.0 && s.symmetric.width() == 0.0);
    let tenth =
        Formula::build(&(Expr::number(0.1) * input("a", 0.7, Distribution::Exact))).unwrap();
    let outcome = adaptive(&tenth, &AdaptivePlan::default()).unwrap();
    assert!(outcome.settled && outcome.sequences == 2);
    assert_eq!(outcome.simulation.standard_uncertainty, 0.0);
}

#[test]
fn what_cannot_be_run_is_refused_by_name() {
    let refuse =
        |formula: &Formula, plan: Plan| monte_carlo(formula, &plan).unwrap_err().to_string();
    let x = Formula::build(&input("x", 1.0, normal(0.1))).unwrap();
    let plan = |trials, probability| Plan {
        trials,
        probability,
        ..Plan::default()
    };
    assert_eq!(
        refuse(&x, plan(0, 0.95)),
        "0 trials are too few for a 0.95 interval; at least 21 are needed"
    );
    assert!(monte_carlo(&x, &plan(21, 0.95)).is_ok());
    assert_eq!(
        refuse(&x, plan(1000, 95.0)),
        "coverage probability 95 must lie between 0 and 1, both excluded"
    );
    assert!(refuse(&x, plan(1000, f64::NAN)).contains("NaN"));
    assert!(refuse(&x, plan(usize::MAX, 0.95)).contains("too many"));

    let t = |id: &str, dof| {
        of(Input::new(id, id, Quantity::number(0.0))
            .distributed(Distribution::StudentT { scale: 1.0 })
            .with_degrees_of_freedom(dof))
    };
    let pair = |a: Expr, b: Expr| {
        let formula = Formula::build(&(a + b))
            .unwrap()
            .correlate("a", "b", 0.5)
            .unwrap();
        refuse(&formula, plan(1000, 0.95))
    };
    let box_error = pair(
        input("a", 0.0, normal(1.0)),
        input("b", 0.0, Distribution::Rectangular { half_width: 1.0 }),
    );
    assert!(
        box_error.contains("input \"b\" (rectangular)"),
        "{box_error}"
    );
    assert!(pair(t("a", 4.0), t("b", 5.0)).contains("degrees of freedom differ"));
    assert!(pair(input("a", 0.0, normal(1.0)), t("b", 5.0)).contains("input \"b\" (Student t)"));
}

#[test]
fn the_adaptive_procedure_settles_and_says_when_it_cannot() {
    let formula =
        Formula::build(&(input("a", 10.0, normal(0.2)) + input("b", 0.0, normal(0.3)))).unwrap();
    let outcome = adaptive(&formula, &AdaptivePlan::default()).unwrap();
    assert!(outcome.settled && outcome.sequences >= 2);
    assert_eq!(
        outcome.simulation.trials,
        outcome.sequences * outcome.sequence_trials
    );
    // u = √0.13 = 0.36, so the tolerance is 0.005.
    assert!((outcome.tolerance - 0.005).abs() < 1e-15);
    for spread in [
        outcome.spread.mean,
        outcome.spread.standard_uncertainty,
        outcome.spread.lower,
        outcome.spread.upper,
    ] {
        assert!(spread <= outcome.tolerance);
    }
    // Without a variance nothing settles.
    let cauchy = of(Input::new("t", "t", Quantity::number(0.0))
        .distributed(Distribution::StudentT { scale: 1.0 })
        .with_degrees_of_freedom(1.0));
    let mut plan = AdaptivePlan::default();
    plan.limits.trials = 200_000;
    let outcome = adaptive(&Formula::build(&cauchy).unwrap(), &plan).unwrap();
    assert!(!outcome.settled && outcome.sequences == 20);
    let plan = AdaptivePlan { digits: 0, ..plan };
    assert!(adaptive(&formula, &plan).is_err());
}

#[test]
fn values_are_given_in_the_unit_of_the_result() {
    let q = |value, unit: &str| Quantity::new(value, unit.parse().unwrap());
    let t = of(Input::new("t", "t", q(20.0, "degC"))
        .distributed(Distribution::Rectangular { half_width: 0.5 }));
    let s = run(&t);
    assert!((s.mean - 20.0).abs() < 0.01 && (s.symmetric.upper - 20.475).abs() < 0.01);
    let n = of(Input::new("n", "n", q(2.0, "mmol")).distributed(normal(0.01)));
    let v = of(Input::new("V", "V", q(20.0, "mL")).distributed(normal(0.01)));
    let s = run(&(n / v).in_unit("mol/L".parse().unwrap()));
    assert_eq!(s.unit.symbol(), "mol/L");
    assert!((s.mean - 0.1).abs() < 1e-5);
    assert!(
        (s.standard_uncertainty - 0.1 * (0.005f64.powi(2) + 0.0005f64.powi(2)).sqrt()).abs() < 1e-5
    );
}
