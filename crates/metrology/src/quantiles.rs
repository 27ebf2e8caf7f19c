//! Normal, Student t, chi-square, F and binomial: probabilities, quantiles and the coverage factor.
//!
//! May be used for: coverage factors at effective degrees of freedom (which need not be whole numbers), significance
//! of t, chi-square and F statistics. All functions take both tails seriously: an upper tail is never got as one minus
//! a lower one. Infinite degrees of freedom mean the limiting distribution (normal; chi-square over its degrees of freedom).
//!
//! Nothing panics and nothing returns NaN: where an argument makes no sense (NaN, degrees of freedom not above zero)
//! the answer is the one that claims least: an unbounded quantile, a probability of one.
//!
//! Source: definitions as in DLMF 8.17, 8.2 and Abramowitz and Stegun, Handbook of Mathematical Functions, chapter 26.

mod incomplete;

use incomplete::{
    Tails, beta_prefactor, beta_tails, gamma_prefactor, gamma_tails, ln_inverse_beta_half,
};
use statrs::function::erf::erfc_inv;
use std::f64::consts::{FRAC_1_SQRT_2, PI, SQRT_2};

/// Two-sided 95 % point of the normal distribution, so that the commonest coverage factor costs nothing.
const NORMAL_95: f64 = 1.959_963_984_540_054;

/// Steps after which an iteration is stopped; about three are needed.
const MAX_STEPS: usize = 100;

/// Coverage factor k: the half-width, in standard uncertainties, that holds the fraction `probability` of a t
/// distribution with `dof` degrees of freedom, centred (GUM G.3).
///
/// `dof` may be fractional (0.1 to 10^9 are checked); infinite means normal. A probability of 0 or less gives 0, of 1
/// or more gives infinity, and `dof` not above zero gives infinity: without degrees of freedom nothing is covered.
///
/// ```
/// use metrology::quantiles::coverage_factor;
/// assert_eq!(format!("{:.3}", coverage_factor(0.95, 4.0)), "2.776");
/// assert_eq!(format!("{:.2}", coverage_factor(0.95, f64::INFINITY)), "1.96");
/// ```
#[must_use]
pub fn coverage_factor(probability: f64, dof: f64) -> f64 {
    if probability <= 0.0 {
        return 0.0;
    }
    student_t_two_sided_quantile(1.0 - probability, dof)
}

/// Probability of a standard normal variable above `z`.
///
/// Through the incomplete gamma function: `statrs` 0.19 gives the error function to 11 digits only.
#[must_use]
pub fn normal_upper_tail(z: f64) -> f64 {
    if z.is_nan() {
        return 1.0;
    }
    0.5 * libm::erfc(z * FRAC_1_SQRT_2)
}

/// The z that a standard normal variable exceeds with probability `tail`.
#[must_use]
pub fn normal_upper_quantile(tail: f64) -> f64 {
    if tail.is_nan() || tail <= 0.0 {
        return f64::INFINITY;
    }
    if tail >= 1.0 {
        return f64::NEG_INFINITY;
    }
    let start = SQRT_2 * erfc_inv(2.0 * tail);
    // One Newton step, on the scale of the logarithm, brings the last digits.
    let (p, density) = (
        normal_upper_tail(start),
        (-0.5 * start * start).exp() / (2.0 * PI).sqrt(),
    );
    if p > 0.0 && density > 0.0 {
        start + (p / tail).ln() * p / density
    } else {
        start
    }
}

/// Probability that |T| of a t distribution exceeds |t|: the two-sided p-value.
#[must_use]
pub fn student_t_two_sided_tail(t: f64, dof: f64) -> f64 {
    if t.is_nan() || dof.is_nan() || dof <= 0.0 {
        return 1.0;
    }
    if t.is_infinite() {
        return 0.0;
    }
    if dof.is_infinite() {
        return 2.0 * normal_upper_tail(t.abs());
    }
    central_and_tail(t.abs(), dof).lower
}

/// Probability of a t-distributed variable above `t` (one-sided p-value).
#[must_use]
pub fn student_t_upper_tail(t: f64, dof: f64) -> f64 {
    let both = student_t_two_sided_tail(t, dof);
    if t < 0.0 {
        1.0 - 0.5 * both
    } else {
        0.5 * both
    }
}

/// The t that |T| exceeds with probability `tail` (both sides together).
#[must_use]
pub fn student_t_two_sided_quantile(tail: f64, dof: f64) -> f64 {
    if tail >= 1.0 {
        return 0.0;
    }
    if tail.is_nan() || tail <= 0.0 || dof.is_nan() || dof <= 0.0 {
        return f64::INFINITY;
    }
    // The tail of 0.95 arrives as 0.050000000000000044.
    let z = if (tail - 0.05).abs() < 1e-16 {
        NORMAL_95
    } else {
        normal_upper_quantile(0.5 * tail)
    };
    if dof.is_infinite() {
        return z;
    }
    let (start, last_term) = cornish_fisher(z, dof);
    if last_term <= 1e-11 * z {
        return start;
    }
    let ln_scaled = (ln_far_factor(dof) - tail.ln()) / dof;
    let ln_far = ln_scaled + 0.5 * dof.ln();
    if 2.0 * ln_scaled > FAR.ln() {
        ln_far.exp()
    } else if tail < 0.5 {
        quantile_from_tail(tail, dof, start, ln_far)
    } else {
        quantile_from_centre(tail, dof)
    }
}

/// The t that a t-distributed variable exceeds with probability `tail`; negative for a tail above one half.
#[must_use]
pub fn student_t_upper_quantile(tail: f64, dof: f64) -> f64 {
    if tail > 0.5 {
        -student_t_two_sided_quantile(2.0 * (1.0 - tail), dof)
    } else {
        student_t_two_sided_quantile(2.0 * tail, dof)
    }
}

/// Probability of a chi-square variable below `x`.
#[must_use]
pub fn chi_square_lower_tail(x: f64, dof: f64) -> f64 {
    chi_square_tails(x, dof).map_or(1.0, |t| t.lower)
}

/// Probability of a chi-square variable above `x`.
#[must_use]
pub fn chi_square_upper_tail(x: f64, dof: f64) -> f64 {
    chi_square_tails(x, dof).map_or(1.0, |t| t.upper)
}

/// The x that a chi-square variable exceeds with probability `tail`.
#[must_use]
pub fn chi_square_upper_quantile(tail: f64, dof: f64) -> f64 {
    if tail >= 1.0 {
        return 0.0;
    }
    if tail.is_nan() || tail <= 0.0 || dof.is_nan() || dof <= 0.0 || dof.is_infinite() {
        return f64::INFINITY;
    }
    // Wilson and Hilferty (1931): the cube root is nearly normal.
    let h = 2.0 / (9.0 * dof);
    let start = dof * (1.0 - h + normal_upper_quantile(tail) * h.sqrt()).powi(3);
    invert_on_log_scale(tail, start, |x| {
        let slope = gamma_prefactor(0.5 * dof, 0.5 * x);
        (gamma_tails(0.5 * dof, 0.5 * x), slope)
    })
}

/// Probability of an F variable with `numerator_dof` and `denominator_dof` below `f`.
#[must_use]
pub fn f_lower_tail(f: f64, numerator_dof: f64, denominator_dof: f64) -> f64 {
    f_tails(f, numerator_dof, denominator_dof).map_or(1.0, |t| t.0.lower)
}

/// Probability of an F variable with `numerator_dof` and `denominator_dof` above `f`.
#[must_use]
pub fn f_upper_tail(f: f64, numerator_dof: f64, denominator_dof: f64) -> f64 {
    f_tails(f, numerator_dof, denominator_dof).map_or(1.0, |t| t.0.upper)
}

/// The value that an F variable with `numerator_dof` and `denominator_dof` exceeds with probability `tail`.
#[must_use]
pub fn f_upper_quantile(tail: f64, numerator_dof: f64, denominator_dof: f64) -> f64 {
    if tail >= 1.0 {
        return 0.0;
    }
    if tail.is_nan() || tail <= 0.0 || f_tails(1.0, numerator_dof, denominator_dof).is_none() {
        return f64::INFINITY;
    }
    if numerator_dof.is_infinite() && denominator_dof.is_infinite() {
        return 1.0;
    }
    invert_on_log_scale(tail, 1.0, |f| {
        f_tails(f, numerator_dof, denominator_dof).unwrap_or((
            Tails {
                lower: 0.0,
                upper: 1.0,
            },
            0.0,
        ))
    })
}

/// Chance of at least `least` successes in `n` independent trials of chance `probability`.
#[must_use]
pub fn binomial_upper_tail(least: u32, n: u32, probability: f64) -> f64 {
    if least == 0 || probability.is_nan() {
        return 1.0;
    }
    if least > n {
        return 0.0;
    }
    let p = probability.clamp(0.0, 1.0);
    beta_tails(f64::from(least), f64::from(n - least) + 1.0, p, 1.0 - p).lower
}

fn chi_square_tails(x: f64, dof: f64) -> Option<Tails> {
    if x.is_nan() || dof.is_nan() || dof <= 0.0 {
        return None;
    }
    if dof.is_infinite() {
        // All its mass is at infinity.
        return Some(Tails {
            lower: 0.0,
            upper: 1.0,
        });
    }
    Some(gamma_tails(0.5 * dof, 0.5 * x))
}

/// Tails of F and its density times f.
fn f_tails(f: f64, m: f64, n: f64) -> Option<(Tails, f64)> {
    if f.is_nan() || m.is_nan() || n.is_nan() || m <= 0.0 || n <= 0.0 {
        return None;
    }
    let f = f.max(0.0);
    Some(match (m.is_infinite(), n.is_infinite()) {
        (true, true) => {
            let above = if f < 1.0 { 1.0 } else { 0.0 };
            let tails = Tails {
                lower: 1.0 - above,
                upper: above,
            };
            (tails, 0.0)
        }
        (false, true) => {
            let x = 0.5 * m * f;
            (gamma_tails(0.5 * m, x), gamma_prefactor(0.5 * m, x))
        }
        // F with an exact numerator is n / chi-square(n): the tails change places.
        (true, false) => {
            let x = 0.5 * n / f;
            let tails = gamma_tails(0.5 * n, x);
            let tails = Tails {
                lower: tails.upper,
                upper: tails.lower,
            };
            (tails, gamma_prefactor(0.5 * n, x))
        }
        (false, false) => {
            let (x, y) = if f.is_infinite() {
                (1.0, 0.0)
            } else {
                (m * f / (m * f + n), n / (m * f + n))
            };
            (
                beta_tails(0.5 * m, 0.5 * n, x, y),
                beta_prefactor(0.5 * m, 0.5 * n, x, y),
            )
        }
    })
}

/// Above this t^2/dof the tail is a pure power of t to the last bit.
const FAR: f64 = 1e17;

/// dof / (dof + t^2) and its complement, without overflow for a huge t or dof.
fn beta_argument(t: f64, dof: f64) -> (f64, f64) {
    let u = (t / dof.sqrt()).powi(2);
    (1.0 / (1.0 + u), u / (1.0 + u))
}

/// ln A of the far tail P(|T| > t) = A (t / sqrt(dof))^-dof.
fn ln_far_factor(dof: f64) -> f64 {
    ln_inverse_beta_half(0.5 * dof) - (0.5 * dof).ln()
}

/// For t >= 0: `lower` is P(|T| > t), `upper` the central probability.
fn central_and_tail(t: f64, dof: f64) -> Tails {
    let scaled = t / dof.sqrt();
    if scaled > FAR.sqrt() {
        let lower = (ln_far_factor(dof) - dof * scaled.ln()).exp();
        return Tails {
            lower,
            upper: 1.0 - lower,
        };
    }
    let (x, y) = beta_argument(t, dof);
    beta_tails(0.5 * dof, 0.5, x, y)
}

/// Density of |T| times t, the slope of the tail on a logarithmic scale.
fn density_times_t(t: f64, dof: f64) -> f64 {
    let (x, y) = beta_argument(t, dof);
    2.0 * beta_prefactor(0.5 * dof, 0.5, x, y)
}

/// Expansion of the t quantile in 1/dof from the normal one, and the size of its last term (Abramowitz and Stegun 26.7.5).
fn cornish_fisher(z: f64, dof: f64) -> (f64, f64) {
    let w = z * z;
    let g1 = z * (w + 1.0) / 4.0;
    let g2 = z * ((5.0 * w + 16.0) * w + 3.0) / 96.0;
    let g3 = z * (((3.0 * w + 19.0) * w + 17.0) * w - 15.0) / 384.0;
    let g4 = z * ((((79.0 * w + 776.0) * w + 1482.0) * w - 1920.0) * w - 945.0) / 92_160.0;
    let r = 1.0 / dof;
    let last = g4 * r * r * r * r;
    (z + r * (g1 + r * (g2 + r * g3)) + last, last.abs())
}

/// Newton steps for ln P(|T| > t) = ln tail in ln t. The function is concave, so after the first step the iterates
/// come down to the root from above whatever the start.
fn quantile_from_tail(tail: f64, dof: f64, expansion: f64, ln_far: f64) -> f64 {
    // The far tail overestimates always; the expansion is the better start except in the far tail.
    let mut s = if dof > 3.0 && expansion.is_finite() {
        expansion.ln().min(ln_far)
    } else {
        ln_far
    };
    let ln_goal = tail.ln();
    for _ in 0..MAX_STEPS {
        let t = s.exp();
        let p = central_and_tail(t, dof).lower;
        let slope = density_times_t(t, dof);
        if p <= 0.0 || slope <= 0.0 {
            break;
        }
        let step = (p.ln() - ln_goal) * p / slope;
        s += step;
        // Quadratic convergence: the error left is about the square of the step.
        if step.abs() < 1e-8 {
            break;
        }
    }
    s.exp()
}

/// Newton steps for the central probability, from zero upwards: it is concave, so no step overshoots.
fn quantile_from_centre(tail: f64, dof: f64) -> f64 {
    let goal = 1.0 - tail;
    let density = |t: f64| {
        if t > 0.0 {
            density_times_t(t, dof) / t
        } else {
            2.0 * ln_inverse_beta_half(0.5 * dof).exp() / dof.sqrt()
        }
    };
    let mut t = goal / density(0.0);
    for _ in 0..MAX_STEPS {
        let step = (goal - central_and_tail(t, dof).upper) / density(t);
        t += step;
        if step.abs() <= 1e-15 * t {
            break;
        }
    }
    t
}

/// Solves upper tail = `tail` for a positive variable by Newton steps in its logarithm, kept inside a bracket.
/// `evaluate` gives both tails and the density times the variable.
fn invert_on_log_scale(tail: f64, start: f64, evaluate: impl Fn(f64) -> (Tails, f64)) -> f64 {
    let (mut low, mut high) = (-745.0_f64, 709.0_f64);
    let mut s = if start > 0.0 { start.ln() } else { 0.0 };
    for _ in 0..4 * MAX_STEPS {
        let (tails, slope) = evaluate(s.exp());
        // Compare the smaller tail, which has the digits.
        let excess = if tail < 0.5 {
            tails.upper - tail
        } else {
            (1.0 - tail) - tails.lower
        };
        if excess > 0.0 {
            low = s;
        } else {
            high = s;
        }
        // On the scale of the logarithm of the smaller tail the function is nearly straight in both directions.
        let newton = if tail < 0.5 {
            s + (tails.upper / tail).ln() * tails.upper / slope
        } else {
            s - (tails.lower / (1.0 - tail)).ln() * tails.lower / slope
        };
        let next = if newton > low && newton < high {
            newton
        } else {
            0.5 * (low + high)
        };
        let step = next - s;
        s = next;
        if step.abs() <= 4e-16 * s.abs().max(1.0) {
            break;
        }
    }
    s.exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(a: f64, b: f64, relative: f64) -> bool {
        (a - b).abs() <= relative * b.abs()
    }

    #[test]
    fn the_commonest_factor_is_the_normal_one() {
        assert!(close(NORMAL_95, normal_upper_quantile(0.025), 1e-15));
        // mpmath 1.4.1, 50 digits, rounded.
        assert!(close(
            2.575_829_303_548_901,
            normal_upper_quantile(0.005),
            1e-15
        ));
        assert!(close(coverage_factor(0.95, f64::INFINITY), NORMAL_95, 0.0));
    }

    #[test]
    fn normal_tails_keep_their_digits() {
        // mpmath 1.4.1: erfc(z / sqrt 2) / 2 with 40 digits.
        #[rustfmt::skip]
        #[allow(clippy::unreadable_literal, clippy::excessive_precision)]
        let reference = [
            (0.001, 0.49960105778608894),
            (0.1, 0.46017216272297102),
            (0.5, 0.3085375387259869),
            (0.7, 0.24196365222307301),
            (1.0, 0.15865525393145705),
            (1.3, 0.096800484585610333),
            (1.645, 0.049984905539121365),
            (1.96, 0.024997895148220434),
            (2.5758293035489004, 0.0050000000000000052),
            (3.0, 0.0013498980316300945),
            (4.0, 3.1671241833119921e-5),
            (6.0, 9.8658764503769814e-10),
            (10.0, 7.6198530241605261e-24),
            (20.0, 2.7536241186062337e-89),
            (37.0, 5.7255712225245768e-300),
        ];
        for (z, tail) in reference {
            assert!(
                close(normal_upper_tail(z), tail, 5e-15 * (1.0 + z * z)),
                "{z}"
            );
            assert!(close(normal_upper_tail(-z), 1.0 - tail, 1e-15), "-{z}");
            assert!(
                close(normal_upper_quantile(tail), z, 1e-14) || z < 0.01,
                "{z}"
            );
        }
    }

    #[test]
    fn senseless_arguments_claim_nothing() {
        for dof in [f64::NAN, 0.0, -1.0] {
            assert!(coverage_factor(0.95, dof).is_infinite());
            assert!(close(student_t_two_sided_tail(3.0, dof), 1.0, 0.0));
            assert!(close(chi_square_upper_tail(3.0, dof), 1.0, 0.0));
            assert!(close(f_upper_tail(3.0, dof, 2.0), 1.0, 0.0));
        }
        assert!(coverage_factor(1.0, 5.0).is_infinite());
        assert!(coverage_factor(f64::NAN, 5.0).is_infinite());
        assert!(close(coverage_factor(-0.1, 5.0), 0.0, 0.0));
    }

    #[test]
    fn one_and_two_degrees_of_freedom_agree_with_their_closed_forms() {
        for p in [0.01_f64, 0.3, 0.5, 0.6, 0.95, 0.999] {
            let cauchy = (std::f64::consts::FRAC_PI_2 * p).tan();
            assert!(close(coverage_factor(p, 1.0), cauchy, 1e-12), "{p}");
            let two = p * (2.0 / (1.0 - p * p)).sqrt();
            assert!(close(coverage_factor(p, 2.0), two, 1e-12), "{p}");
        }
    }

    #[test]
    fn quantiles_undo_the_tails() {
        let dofs = [0.1, 0.5, 1.0, 2.3, 10.0, 333.3, 1e5, 1e7];
        for tail in [1e-12, 1e-6, 0.01, 0.3, 0.5, 0.7, 0.99] {
            for m in dofs {
                let x = chi_square_upper_quantile(tail, m);
                if x > 1e-290 {
                    assert!(
                        close(chi_square_upper_tail(x, m), tail, 1e-8),
                        "chi2 {tail} {m} {x}"
                    );
                }
                let t = student_t_two_sided_quantile(tail, m);
                assert!(
                    close(student_t_two_sided_tail(t, m), tail, 1e-8),
                    "t {tail} {m} {t}"
                );
                for n in dofs {
                    let f = f_upper_quantile(tail, m, n);
                    if f > 1e-290 && f < 1e290 {
                        assert!(
                            close(f_upper_tail(f, m, n), tail, 1e-8),
                            "F {tail} {m} {n} {f}"
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn f_with_one_numerator_degree_is_t_squared() {
        for dof in [0.7, 3.0, 46.0, 1e6] {
            let t = coverage_factor(0.95, dof);
            assert!(
                close(f_upper_quantile(0.05, 1.0, dof), t * t, 1e-10),
                "{dof}"
            );
        }
        assert!(close(
            f_upper_quantile(0.05, 7.0, f64::INFINITY) * 7.0,
            chi_square_upper_quantile(0.05, 7.0),
            1e-12
        ));
    }

    #[test]
    fn the_factor_falls_as_degrees_of_freedom_grow() {
        let mut last = f64::INFINITY;
        for i in 0..=1000 {
            let dof = 10_f64.powf(-1.0 + 10.0 * f64::from(i) / 1000.0);
            let k = coverage_factor(0.95, dof);
            assert!(
                k < last || (dof > 1e7 && k <= last * (1.0 + 1e-14)),
                "{dof}: {k} after {last}"
            );
            last = k;
        }
    }
}
