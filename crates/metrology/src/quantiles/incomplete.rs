//! Incomplete beta and gamma functions, both tails, for any size of the arguments.
//!
//! Why not the general ones of `statrs`: its continued fraction stops after 140 terms without notice and its prefactor
//! is a difference of log-gammas, which costs all digits but a few when an argument is large (degrees of freedom of
//! 10^6 and more are ordinary here). Here the prefactor is written with the Stirling remainder, so nothing large cancels.
//!
//! Source: incomplete gamma by DLMF 8.9.2 and 8.11.4 (NIST Digital Library of Mathematical Functions), incomplete beta
//! by the fraction named beside it; evaluation by the modified Lentz method (Thompson and Barnett, J. Comput. Phys. 64 (1986) 490).

use statrs::function::gamma::ln_gamma;

/// Lower and upper regularized value; they add up to one and the small one keeps its digits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Tails {
    pub(super) lower: f64,
    pub(super) upper: f64,
}

impl Tails {
    fn from_lower(lower: f64) -> Self {
        let lower = lower.clamp(0.0, 1.0);
        Tails {
            lower,
            upper: 1.0 - lower,
        }
    }

    fn swapped(self) -> Self {
        Tails {
            lower: self.upper,
            upper: self.lower,
        }
    }
}

/// A term that moves the sum by less than this changes nothing.
const CONVERGED: f64 = 1e-16;
/// Stands in for a vanishing denominator in the Lentz method.
const TINY: f64 = 1e-300;
/// About sqrt(argument) terms are needed; enough for arguments of 10^9 and a safe end for anything else.
const MAX_TERMS: u32 = 500_000;

/// ln(ratio) - (ratio - 1) without cancellation; `excess` is ratio - 1, given apart to keep its digits near one.
fn ln_less_excess(ratio: f64, excess: f64) -> f64 {
    if excess.abs() > 0.25 {
        return ratio.ln() - excess;
    }
    // With r = u / (2 + u): ln(1 + u) = 2 (r + r^3/3 + r^5/5 + ...) and u - 2 r = r u.
    let r = excess / (2.0 + excess);
    let r2 = r * r;
    let mut power = r * r2;
    let mut sum = 0.0;
    let mut k = 3.0;
    loop {
        let term = power / k;
        sum += term;
        if term.abs() <= CONVERGED * sum.abs() {
            break;
        }
        power *= r2;
        k += 2.0;
    }
    2.0 * sum - r * excess
}

/// Remainder of Stirling's formula: ln Gamma(z) - [(z - 1/2) ln z - z + ln(2 pi)/2], for z > 0 (DLMF 5.11.1).
fn stirling_remainder(z: f64) -> f64 {
    if z < 10.0 {
        return ln_gamma(z) - ((z - 0.5) * z.ln() - z + 0.5 * (2.0 * std::f64::consts::PI).ln());
    }
    let w = 1.0 / (z * z);
    (1.0 / 12.0
        - w * (1.0 / 360.0
            - w * (1.0 / 1260.0 - w * (1.0 / 1680.0 - w * (1.0 / 1188.0 - w * 691.0 / 360_360.0)))))
        / z
}

/// x^a y^b / B(a, b) with y = 1 - x.
pub(super) fn beta_prefactor(a: f64, b: f64, x: f64, y: f64) -> f64 {
    if x <= 0.0 || y <= 0.0 {
        return 0.0;
    }
    let n = a + b;
    // Departure of x from its mean a/n, written so that it is exact when x is near the mean.
    let d = x * b - y * a;
    let exponent = a * ln_less_excess(x * n / a, d / a) + b * ln_less_excess(y * n / b, -d / b);
    let remainder = stirling_remainder(n) - stirling_remainder(a) - stirling_remainder(b);
    (a / n * b / (2.0 * std::f64::consts::PI)).sqrt() * (exponent + remainder).exp()
}

/// ln [1 / B(a, 1/2)].
pub(super) fn ln_inverse_beta_half(a: f64) -> f64 {
    a * (0.5 / a).ln_1p() + 0.5 * (a / std::f64::consts::PI).ln() - 0.5
        + stirling_remainder(a + 0.5)
        - stirling_remainder(a)
}

/// Regularized incomplete beta function I_x(a, b) and its complement; `y` is 1 - x, given apart to keep its digits.
pub(super) fn beta_tails(a: f64, b: f64, x: f64, y: f64) -> Tails {
    if x <= 0.0 {
        return Tails::from_lower(0.0);
    }
    if y <= 0.0 {
        return Tails::from_lower(0.0).swapped();
    }
    let prefactor = beta_prefactor(a, b, x, y);
    if x * (a + b + 2.0) > a + 1.0 {
        Tails::from_lower(prefactor * beta_fraction(b, a, y, x)).swapped()
    } else {
        Tails::from_lower(prefactor * beta_fraction(a, b, x, y))
    }
}

/// Continued fraction of I_x(a, b) over its prefactor, in the contracted form of Didonato and Morris (ACM Trans. Math.
/// Softw. 18 (1992) 360): a y - b x is taken as one number, so nothing cancels when x is near one and a is huge.
fn beta_fraction(a: f64, b: f64, x: f64, y: f64) -> f64 {
    let guard = |v: f64| if v.abs() < TINY { TINY } else { v };
    let below_mean = a * y - b * x + 1.0;
    let mut value = guard(a * below_mean / (a + 1.0));
    let mut c = value;
    let mut d = 0.0;
    for m in 1..MAX_TERMS {
        let m = f64::from(m);
        let denominator = a + 2.0 * m - 1.0;
        let shared = m * (b - m) * x / denominator;
        let numerator = (a + m - 1.0) * (a + b + m - 1.0) * x / denominator * shared;
        let plain = m + shared + (a + m) * (below_mean + m * (1.0 + y)) / (a + 2.0 * m + 1.0);
        d = 1.0 / guard(plain + numerator * d);
        c = guard(plain + numerator / c);
        let step = c * d;
        value *= step;
        if (step - 1.0).abs() <= CONVERGED {
            break;
        }
    }
    1.0 / value
}

/// x^a e^-x / Gamma(a).
pub(super) fn gamma_prefactor(a: f64, x: f64) -> f64 {
    let exponent = a * ln_less_excess(x / a, (x - a) / a) - stirling_remainder(a);
    (a / (2.0 * std::f64::consts::PI)).sqrt() * exponent.exp()
}

/// Regularized incomplete gamma functions P(a, x) and Q(a, x).
pub(super) fn gamma_tails(a: f64, x: f64) -> Tails {
    if x <= 0.0 {
        return Tails::from_lower(0.0);
    }
    if x.is_infinite() {
        return Tails::from_lower(0.0).swapped();
    }
    let prefactor = gamma_prefactor(a, x);
    if x < a + 1.0 {
        let mut term = 1.0 / a;
        let mut sum = term;
        for k in 1..MAX_TERMS {
            term *= x / (a + f64::from(k));
            sum += term;
            if term <= CONVERGED * sum {
                break;
            }
        }
        Tails::from_lower(prefactor * sum)
    } else {
        let mut b = x + 1.0 - a;
        let mut c = 1.0 / TINY;
        let mut d = 1.0 / b;
        let mut h = d;
        for k in 1..MAX_TERMS {
            let k = f64::from(k);
            let numerator = -k * (k - a);
            b += 2.0;
            d = 1.0 / (b + numerator * d);
            c = b + numerator / c;
            let step = c * d;
            h *= step;
            if (step - 1.0).abs() <= CONVERGED {
                break;
            }
        }
        Tails::from_lower(prefactor * h).swapped()
    }
}
