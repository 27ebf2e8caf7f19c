//! The proton balance of a mixture of two solutions, and its solution in ln a(H+).
//!
//! # Formula
//! For every acid one form is the zero of the count; `p_i` is the mean number of protons above it. With the strong acid
//! excess `T`, at a volume V added to V0:
//!
//! `F = (V0 + V)([H+] - [OH-]) + sum_i n_i p_i - N_T = 0`, `n_i = V0 c_i,flask + V c_i,titrant`.
//!
//! F rises strictly with a(H+); the derivative of `p_i` by ln a(H+) is the variance of the proton number. F is linear in V.
//! Counting from the form that was put in keeps small differences of large numbers out of the sum.

use crate::activity::{Activity, ActivityModel};
use crate::equilibrium_error::EquilibriumError;

/// Most forms of one acid.
pub const MAX_FORMS: usize = 8;
const LN_10: f64 = std::f64::consts::LN_10;

/// One acid as the balance sees it: cumulative constants and amounts.
#[derive(Debug, Clone)]
pub struct ProtonSystem {
    /// Natural logarithm of the cumulative dissociation constant of each form at ionic strength 0 (first: 0).
    pub ln_beta: Vec<f64>,
    /// Charge of the fully protonated form.
    pub top_charge: i32,
    /// Ion size of each form, angstrom.
    pub sizes: Vec<f64>,
    /// Number of protons lost in the form from which protons are counted.
    pub reference: usize,
    /// Total concentration in the flask, mol/L.
    pub flask: f64,
    /// Total concentration in the titrant, mol/L.
    pub titrant: f64,
}

/// The whole mixture.
#[derive(Debug, Clone)]
pub struct ProtonBalance {
    /// Acids with their forms.
    pub systems: Vec<ProtonSystem>,
    /// Volume in the flask before the first drop, mL.
    pub flask_ml: f64,
    /// Strong acid excess of the flask relative to the reference forms, mol/L.
    pub excess_flask: f64,
    /// Strong acid excess of the titrant, mol/L.
    pub excess_titrant: f64,
    /// Half the sum of c z^2 over bystander ions in the flask, mol/L.
    pub bystanders_flask: f64,
    /// Half the sum of c z^2 over bystander ions in the titrant, mol/L.
    pub bystanders_titrant: f64,
    /// Natural logarithm of the ionic product of water.
    pub ln_kw: f64,
    /// The gas in equilibrium with air, if any.
    pub gas: Option<GasBuffer>,
    /// Activity model.
    pub activity: Activity,
}

/// Carbon dioxide held at a fixed activity by the air: its ions have their own term, independent of what was put in.
#[derive(Debug, Clone)]
pub struct GasBuffer {
    /// Activity of dissolved CO2, mol/L.
    pub activity: f64,
    /// Cumulative constants as in [`ProtonSystem`].
    pub ln_beta: Vec<f64>,
    /// Ion sizes of the forms.
    pub sizes: Vec<f64>,
}

/// Constants valid at one ionic strength, with a(H+) as variable and concentrations elsewhere.
#[derive(Debug, Clone)]
pub(crate) struct Conditional {
    pub(crate) systems: Vec<[f64; MAX_FORMS]>,
    /// [H+] / a(H+).
    pub(crate) hydrogen: f64,
    /// [OH-] a(H+).
    pub(crate) hydroxide: f64,
    /// Concentration of each charged form of the gas times a(H+)^k.
    pub(crate) gas: [f64; 3],
}

/// A solved point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Solved {
    /// ln a(H+).
    pub ln_h: f64,
    /// Ionic strength, mol/L.
    pub ionic_strength: f64,
}

/// Mean of the proton number above the reference form and its second and third central moments.
///
/// The moments are the successive derivatives of the mean by ln a(H+).
#[inline(always)]
fn moments<const FORMS: usize>(weights: &[f64; MAX_FORMS], reference: usize, u: f64) -> [f64; 3] {
    // sums over forms k of weight_k u^k (reference - k)^m, by Horner in u = 1/a(H+)
    let mut sums = [0.0; 4];
    let mut above = reference as f64 - (FORMS as f64 - 1.0);
    for k in (0..FORMS).rev() {
        let mut term = weights[k];
        for sum in &mut sums {
            *sum = *sum * u + term;
            term *= above;
        }
        above += 1.0;
    }
    let inverse = 1.0 / sums[0];
    let (mean, square, cube) = (sums[1] * inverse, sums[2] * inverse, sums[3] * inverse);
    [
        mean,
        square - mean * mean,
        cube - mean * (3.0 * square - 2.0 * mean * mean),
    ]
}

/// [`moments`] for a number of forms that is known when the program runs; unrolled for each.
#[inline]
fn moments_of(forms: usize, weights: &[f64; MAX_FORMS], reference: usize, u: f64) -> [f64; 3] {
    match forms {
        2 => moments::<2>(weights, reference, u),
        3 => moments::<3>(weights, reference, u),
        4 => moments::<4>(weights, reference, u),
        5 => moments::<5>(weights, reference, u),
        6 => moments::<6>(weights, reference, u),
        7 => moments::<7>(weights, reference, u),
        _ => moments::<MAX_FORMS>(weights, reference, u),
    }
}

impl ProtonBalance {
    /// Constants at an ionic strength.
    pub(crate) fn conditional(&self, ionic_strength: f64) -> Conditional {
        let mut conditional = Conditional {
            systems: vec![[0.0; MAX_FORMS]; self.systems.len()],
            hydrogen: 1.0,
            hydroxide: 1.0,
            gas: [0.0; 3],
        };
        self.set_conditional(ionic_strength, &mut conditional);
        conditional
    }

    fn set_conditional(&self, ionic_strength: f64, out: &mut Conditional) {
        let gamma = |charge: i32, size: f64| self.activity.ln_gamma(charge, size, ionic_strength);
        for (system, betas) in self.systems.iter().zip(&mut out.systems) {
            let top = gamma(system.top_charge, system.sizes[0]);
            let mut charge = system.top_charge;
            for ((ln_beta, size), beta) in system
                .ln_beta
                .iter()
                .zip(&system.sizes)
                .zip(betas.iter_mut())
            {
                *beta = (ln_beta + top - gamma(charge, *size)).exp();
                charge -= 1;
            }
        }
        out.hydrogen = (-gamma(1, HYDROGEN_SIZE)).exp();
        out.hydroxide = (self.ln_kw - gamma(-1, HYDROXIDE_SIZE)).exp();
        if let Some(gas) = &self.gas {
            let mut charge = 0;
            for (k, (ln_beta, size)) in gas.ln_beta.iter().zip(&gas.sizes).enumerate().take(3) {
                out.gas[k] = gas.activity * (ln_beta - gamma(charge, *size)).exp();
                charge -= 1;
            }
        }
    }

    /// Balance per litre of the mixture itself, of the flask and of the titrant; each with two derivatives by ln a(H+).
    #[inline]
    fn terms(&self, conditional: &Conditional, h: f64, u: f64) -> [[f64; 3]; 3] {
        let (hydrogen, hydroxide) = (conditional.hydrogen * h, conditional.hydroxide * u);
        let (difference, sum) = (hydrogen - hydroxide, hydrogen + hydroxide);
        let mut mixture = [difference, sum, difference];
        let mut flask = [-self.excess_flask, 0.0, 0.0];
        let mut titrant = [-self.excess_titrant, 0.0, 0.0];
        for (system, weights) in self.systems.iter().zip(&conditional.systems) {
            let moments = moments_of(system.ln_beta.len(), weights, system.reference, u);
            for order in 0..3 {
                flask[order] += system.flask * moments[order];
                titrant[order] += system.titrant * moments[order];
            }
        }
        if self.gas.is_some() {
            let (first, second) = (conditional.gas[1] * u, conditional.gas[2] * u * u);
            mixture[0] -= first + 2.0 * second;
            mixture[1] += first + 4.0 * second;
            mixture[2] -= first + 8.0 * second;
        }
        [mixture, flask, titrant]
    }

    /// F and its two derivatives by ln a(H+), in mmol, at a volume in mL; `h` is a(H+) and `u` its inverse.
    #[inline]
    fn balance_at(&self, conditional: &Conditional, h: f64, u: f64, volume: f64) -> [f64; 3] {
        let [mixture, flask, titrant] = self.terms(conditional, h, u);
        let total = self.flask_ml + volume;
        std::array::from_fn(|order| {
            total * mixture[order] + self.flask_ml * flask[order] + volume * titrant[order]
        })
    }

    /// F and its derivative by ln a(H+), in mmol, at a volume in mL.
    pub(crate) fn balance(&self, conditional: &Conditional, ln_h: f64, volume: f64) -> (f64, f64) {
        let h = ln_h.exp();
        let [value, slope, _] = self.balance_at(conditional, h, 1.0 / h, volume);
        (value, slope)
    }

    /// Volume (mL) at which the mixture has this a(H+), for given constants; may be negative or infinite.
    pub(crate) fn explicit_volume(&self, conditional: &Conditional, ln_h: f64) -> f64 {
        let h = ln_h.exp();
        let [mixture, flask, titrant] = self.terms(conditional, h, 1.0 / h);
        -self.flask_ml * (mixture[0] + flask[0]) / (mixture[0] + titrant[0])
    }

    /// Ionic strength of the mixture, mol/L.
    pub(crate) fn ionic_strength(&self, conditional: &Conditional, ln_h: f64, volume: f64) -> f64 {
        let h = ln_h.exp();
        let u = 1.0 / h;
        let share = 1.0 / (self.flask_ml + volume);
        let mut twice = 2.0
            * share
            * (self.flask_ml * self.bystanders_flask + volume * self.bystanders_titrant)
            + conditional.hydrogen * h
            + conditional.hydroxide * u;
        for (system, weights) in self.systems.iter().zip(&conditional.systems) {
            let (mut sum, mut squares) = (0.0, 0.0);
            let forms = system.ln_beta.len();
            let mut charge = f64::from(system.top_charge) - (forms as f64 - 1.0);
            for &weight in weights[..forms].iter().rev() {
                sum = sum * u + weight;
                squares = squares * u + weight * charge * charge;
                charge += 1.0;
            }
            twice +=
                share * (self.flask_ml * system.flask + volume * system.titrant) * squares / sum;
        }
        if self.gas.is_some() {
            twice += conditional.gas[1] * u + 4.0 * conditional.gas[2] * u * u;
        }
        0.5 * twice
    }

    /// Root of the balance in ln a(H+) for given constants, starting from `guess`.
    ///
    /// Halley's third-order step inside a bracket; a step that leaves the bracket or does not at least halve the one before
    /// is replaced by bisection, so the search cannot cycle.
    #[inline]
    pub(crate) fn root(
        &self,
        conditional: &Conditional,
        volume: f64,
        guess: f64,
    ) -> Result<f64, EquilibriumError> {
        let mut x = guess.clamp(LOWEST_LN_H + 1.0, HIGHEST_LN_H - 1.0);
        let (mut low, mut high) = (LOWEST_LN_H, HIGHEST_LN_H);
        let mut previous = high - low;
        for _ in 0..200 {
            let u = (-x).exp();
            let [value, slope, curvature] = self.balance_at(conditional, 1.0 / u, u, volume);
            if value > 0.0 {
                high = x;
            } else {
                low = x;
            }
            let newton = value / slope;
            let bend = 1.0 - 0.5 * newton * curvature / slope;
            let step = if (0.5..2.0).contains(&bend) {
                newton / bend
            } else {
                newton
            };
            if step.abs() < 1e-5 {
                // the error left after this step is of the order of its cube
                return Ok(x - step);
            }
            let next = x - step;
            if next > low && next < high && 2.0 * step.abs() <= previous {
                previous = step.abs();
                x = next;
            } else {
                previous = 0.5 * (high - low);
                x = low + previous;
                if previous < 1e-15 * x.abs() {
                    return Ok(x);
                }
            }
        }
        let (value, _) = self.balance(conditional, x, volume);
        Err(EquilibriumError::NotConverged {
            iterations: 200,
            residual: value.abs(),
            worst: "the proton balance".into(),
        })
    }

    /// Solves the balance at a volume (mL), activity coefficients included, from a neighbouring solution.
    ///
    /// # Errors
    /// [`EquilibriumError::NotConverged`] if the search for the ionic strength stalls.
    pub fn solve(&self, volume: f64, guess: Solved) -> Result<Solved, EquilibriumError> {
        if self.activity.model == ActivityModel::None {
            let conditional = self.conditional(0.0);
            let ln_h = self.root(&conditional, volume, guess.ln_h)?;
            return Ok(Solved {
                ln_h,
                ionic_strength: self.ionic_strength(&conditional, ln_h, volume),
            });
        }
        let mut conditional = self.conditional(guess.ionic_strength);
        self.solve_at(volume, guess, &mut conditional)
    }

    /// [`solve`](Self::solve) with constants that the caller keeps between points.
    pub(crate) fn solve_at(
        &self,
        volume: f64,
        guess: Solved,
        conditional: &mut Conditional,
    ) -> Result<Solved, EquilibriumError> {
        let mut ln_h = guess.ln_h;
        let ionic_strength = settle_ionic_strength(guess.ionic_strength, |strength| {
            self.set_conditional(strength, conditional);
            ln_h = self.root(conditional, volume, ln_h)?;
            Ok(self.ionic_strength(conditional, ln_h, volume))
        })?;
        Ok(Solved {
            ln_h,
            ionic_strength,
        })
    }

    /// Volume (mL) at which the mixture has this a(H+), with activity coefficients.
    ///
    /// # Errors
    /// [`EquilibriumError::NotConverged`] if the search for the ionic strength stalls.
    pub fn volume_at(&self, ln_h: f64) -> Result<f64, EquilibriumError> {
        if self.activity.model == ActivityModel::None {
            return Ok(self.explicit_volume(&self.conditional(0.0), ln_h));
        }
        let mut conditional = self.conditional(0.0);
        let mut volume = 0.0;
        settle_ionic_strength(self.bystanders_flask, |strength| {
            self.set_conditional(strength, &mut conditional);
            volume = self.explicit_volume(&conditional, ln_h);
            // outside the burette the mixture means nothing: use the nearer end
            let inside = if volume.is_finite() && volume > -0.999 * self.flask_ml {
                volume
            } else {
                0.0
            };
            Ok(self.ionic_strength(&conditional, ln_h, inside))
        })?;
        Ok(volume)
    }
}

/// ln a(H+) of pH 25 and of pH -5: outside of every solution in water.
const LOWEST_LN_H: f64 = -25.0 * LN_10;
const HIGHEST_LN_H: f64 = 5.0 * LN_10;

/// Kielland size of H+ and OH-, angstrom; the test compares them with the reference file.
const HYDROGEN_SIZE: f64 = 9.0;
const HYDROXIDE_SIZE: f64 = 3.25;

/// Finds the ionic strength that reproduces itself.
///
/// The equilibrium at a fixed ionic strength is unique and bounded, so `calculated(I) - I` is continuous, not negative at 0
/// and negative for large I: a root is always bracketed. The search is a secant kept inside the bracket; when three steps have
/// not halved the bracket it is halved by force, in logarithms where it spans a power of ten.
pub(crate) fn settle_ionic_strength(
    guess: f64,
    mut calculated: impl FnMut(f64) -> Result<f64, EquilibriumError>,
) -> Result<f64, EquilibriumError> {
    const TOLERANCE: f64 = 1e-13;
    let (mut low, mut high) = (0.0, f64::INFINITY);
    let mut strength = if guess.is_finite() && guess > 0.0 {
        guess
    } else {
        0.0
    };
    let mut last: Option<(f64, f64)> = None;
    let (mut width, mut steps) = (f64::INFINITY, 0);
    for _ in 0..300 {
        let residual = calculated(strength)? - strength;
        if residual.abs() <= TOLERANCE * strength.max(1e-14) {
            return Ok(strength);
        }
        if residual > 0.0 {
            low = strength;
        } else {
            high = strength;
        }
        if high.is_finite() && high - low <= 4.0 * f64::EPSILON * high {
            return Ok(strength);
        }
        let secant = last.and_then(|(before, before_residual)| {
            let step = residual * (strength - before) / (residual - before_residual);
            step.is_finite().then_some(strength - step)
        });
        let mut next = secant.unwrap_or(strength + residual);
        steps += 1;
        let sluggish = high.is_finite() && steps >= 3 && high - low > 0.5 * width;
        if sluggish || next <= low || next >= high {
            next = if high.is_infinite() {
                strength + residual
            } else if high > 10.0 * low {
                (low.max(1e-6 * high) * high).sqrt()
            } else {
                0.5 * (low + high)
            };
        }
        if steps >= 3 {
            (width, steps) = (high - low, 0);
        }
        if (next - strength).abs() <= 1e-15 * strength {
            return Ok(strength);
        }
        last = Some((strength, residual));
        strength = next;
    }
    Err(EquilibriumError::NotConverged {
        iterations: 300,
        residual: high - low,
        worst: "the ionic strength".into(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_of_the_ions_of_water_are_those_of_the_file() {
        assert!((crate::activity::ion_size("H+") - HYDROGEN_SIZE).abs() < 1e-12);
        assert!((crate::activity::ion_size("OH-") - HYDROXIDE_SIZE).abs() < 1e-12);
    }

    #[test]
    fn the_ionic_strength_search_survives_steep_functions() {
        for steepness in [0.1, 1.0, 10.0, 100.0] {
            let settled =
                settle_ionic_strength(3.0, |i| Ok(2.0 / (1.0 + (steepness * (i - 1.0)).exp())))
                    .unwrap();
            assert!((settled - 1.0).abs() < 1e-11, "{steepness}: {settled}");
        }
        assert!(settle_ionic_strength(0.0, |_| Ok(0.0)).unwrap().abs() < 1e-30);
    }
}
