//! The curve of an acid-base titration.

use std::collections::BTreeSet;

use super::acids::Acid;
use super::balance::{Conditional, GasBuffer, MAX_FORMS, ProtonBalance, ProtonSystem, Solved};
use crate::activity::ActivityModel;
use crate::constant_set::{CarbonDioxide, Conditions};
use crate::equilibrium_error::EquilibriumError;
use crate::solution::Solution;
use crate::species::charge;
use crate::water;

const LN_10: f64 = std::f64::consts::LN_10;

/// An acid-base titration: what is in the flask, what is in the burette, and the conditions.
///
/// # Units
/// Volumes in mL, concentrations in mol/L, temperatures in degC.
///
/// # Example
/// ```
/// use chemistry::{acid_base::curve::AcidBaseCurve, constant_set::Conditions, solution::Solution};
/// let curve = AcidBaseCurve::new(
///     &Solution::of("CH3COOH", 0.1), 25.0, &Solution::of("NaOH", 0.1), &Conditions::ideal()).unwrap();
/// assert!((curve.ph_at(25.0).unwrap() - 8.73).abs() < 0.01);
/// assert!((curve.volume_at_ph(8.2).unwrap() - 24.9918).abs() < 0.0001);
/// ```
#[derive(Debug, Clone)]
pub struct AcidBaseCurve {
    pub(crate) balance: ProtonBalance,
    pub(crate) acids: Vec<Acid>,
    conditions: Conditions,
    flask: Solution,
    titrant: Solution,
    /// Acids whose constants had to be used as they are at 25 degC.
    unmoved: Vec<String>,
}

/// One point of a curve, with what can be read off it.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct AcidBasePoint {
    /// Titrant added, mL.
    pub volume_ml: f64,
    /// pH, the negative logarithm of the activity of H+.
    pub ph: f64,
    /// Ionic strength, mol/L.
    pub ionic_strength: f64,
    /// d pH / d V, 1/mL.
    pub slope_per_ml: f64,
    /// Buffer capacity: strong base for one unit of pH, mol/L.
    pub buffer_capacity: f64,
}

impl AcidBaseCurve {
    /// Builds the curve for `flask_ml` of one solution titrated with another.
    ///
    /// # Errors
    /// Unknown species and bad amounts ([`Solution::species`]), constants that must not be mixed, temperatures outside the
    /// range of the equations.
    pub fn new(
        flask: &Solution,
        flask_ml: f64,
        titrant: &Solution,
        conditions: &Conditions,
    ) -> Result<Self, EquilibriumError> {
        if !(flask_ml.is_finite() && flask_ml > 0.0) {
            return Err(EquilibriumError::Amount {
                what: "the volume in the flask".into(),
                value: flask_ml,
                unit: "mL",
                allowed: "above 0",
            });
        }
        let constants = &conditions.constants;
        let in_flask = flask.species(constants)?;
        let in_titrant = titrant.species(constants)?;
        let temperature = conditions.temperature_c;
        let activity = conditions.activity_at()?;
        let mut balance = ProtonBalance {
            systems: Vec::new(),
            flask_ml,
            excess_flask: 0.0,
            excess_titrant: 0.0,
            bystanders_flask: 0.0,
            bystanders_titrant: 0.0,
            ln_kw: -LN_10 * constants.pkw_at(temperature)?,
            gas: None,
            activity,
        };
        let labels: BTreeSet<&String> = in_flask.keys().chain(in_titrant.keys()).collect();
        let amount = |of: &std::collections::BTreeMap<String, f64>, label: &str| {
            of.get(label).copied().unwrap_or(0.0)
        };
        let mut acids: Vec<Acid> = Vec::new();
        for label in &labels {
            if let Some((acid, _)) = constants.acid_with_form(label) {
                if !acids.iter().any(|known| known.key == acid.key) {
                    acids.push(acid.clone());
                }
                continue;
            }
            let (c_flask, c_titrant) = (amount(&in_flask, label), amount(&in_titrant, label));
            let z = charge(label)?;
            let protons = match label.as_str() {
                "H+" => 1.0,
                "OH-" => -1.0,
                _ => {
                    balance.bystanders_flask += 0.5 * f64::from(z * z) * c_flask;
                    balance.bystanders_titrant += 0.5 * f64::from(z * z) * c_titrant;
                    0.0
                }
            };
            balance.excess_flask += protons * c_flask;
            balance.excess_titrant += protons * c_titrant;
        }
        let open = match conditions.carbon_dioxide {
            CarbonDioxide::Closed => None,
            CarbonDioxide::OpenToAir { pressure_atm } => {
                let Some(carbonic) = constants.acid("carbonic") else {
                    return Err(EquilibriumError::NothingToTitrate {
                        what: "carbonic acid is missing from the constants; it is needed for a solution open to air".into(),
                    });
                };
                if !(pressure_atm.is_finite() && pressure_atm >= 0.0) {
                    return Err(EquilibriumError::Amount {
                        what: "the partial pressure of carbon dioxide".into(),
                        value: pressure_atm,
                        unit: "atm",
                        allowed: "0 or more",
                    });
                }
                balance.gas = Some(GasBuffer {
                    activity: water::carbon_dioxide_henry_constant(temperature)? * pressure_atm,
                    ln_beta: cumulative(carbonic, temperature),
                    sizes: carbonic.forms.iter().map(|form| form.size).collect(),
                });
                Some(carbonic.key.clone())
            }
        };
        let mut kept = Vec::new();
        for acid in acids {
            let gas = open.as_ref() == Some(&acid.key);
            let flask_amounts: Vec<f64> = acid
                .forms
                .iter()
                .map(|form| amount(&in_flask, &form.label))
                .collect();
            let titrant_amounts: Vec<f64> = acid
                .forms
                .iter()
                .map(|form| amount(&in_titrant, &form.label))
                .collect();
            let reference = if gas {
                0
            } else {
                most(&flask_amounts)
                    .or_else(|| most(&titrant_amounts))
                    .unwrap_or(0)
            };
            let count = |amounts: &[f64]| -> f64 {
                amounts
                    .iter()
                    .enumerate()
                    .map(|(lost, c)| (reference as f64 - lost as f64) * c)
                    .sum()
            };
            balance.excess_flask += count(&flask_amounts);
            balance.excess_titrant += count(&titrant_amounts);
            if gas {
                continue;
            }
            if acid.forms.len() > MAX_FORMS {
                return Err(EquilibriumError::Impossible {
                    why: format!("{} has more than {} protons", acid.name, MAX_FORMS - 1),
                });
            }
            balance.systems.push(ProtonSystem {
                ln_beta: cumulative(&acid, temperature),
                top_charge: acid.forms[0].charge,
                sizes: acid.forms.iter().map(|form| form.size).collect(),
                reference,
                flask: flask_amounts.iter().sum(),
                titrant: titrant_amounts.iter().sum(),
            });
            kept.push(acid);
        }
        check_ionic_strengths(&kept, activity.model)?;
        let moved = |acid: &Acid| {
            acid.steps.iter().all(|step| {
                (step.temperature_c - temperature).abs() < 1e-9 || step.moves_with_temperature()
            })
        };
        let unmoved = kept
            .iter()
            .filter(|acid| !moved(acid))
            .map(|acid| acid.name.clone())
            .collect();
        Ok(Self {
            balance,
            acids: kept,
            flask: flask.clone(),
            titrant: titrant.clone(),
            conditions: conditions.clone(),
            unmoved,
        })
    }

    /// Names of acids whose constants are only known at 25 degC and were used unchanged at another temperature.
    #[must_use]
    pub fn used_at_25_c(&self) -> &[String] {
        &self.unmoved
    }

    /// The conditions of the calculation.
    #[must_use]
    pub fn conditions(&self) -> &Conditions {
        &self.conditions
    }

    /// The same curve with something more in the flask, mol/L.
    ///
    /// # Errors
    /// As [`new`](Self::new).
    pub fn with_added(&self, name: &str, concentration: f64) -> Result<Self, EquilibriumError> {
        let flask = self.flask.clone().with(name, concentration);
        Self::new(
            &flask,
            self.balance.flask_ml,
            &self.titrant,
            &self.conditions,
        )
    }

    /// Volume in the flask before the first drop, mL.
    #[must_use]
    pub fn flask_ml(&self) -> f64 {
        self.balance.flask_ml
    }

    fn first_guess(&self) -> Solved {
        Solved {
            ln_h: -7.0 * LN_10,
            ionic_strength: self.balance.bystanders_flask.max(1e-4),
        }
    }

    fn solved_at(&self, volume_ml: f64) -> Result<Solved, EquilibriumError> {
        if !(volume_ml.is_finite() && volume_ml >= 0.0) {
            return Err(EquilibriumError::Amount {
                what: "the volume of titrant".into(),
                value: volume_ml,
                unit: "mL",
                allowed: "0 or more",
            });
        }
        self.balance.solve(volume_ml, self.first_guess())
    }

    /// pH after `volume_ml` of titrant.
    ///
    /// # Errors
    /// [`EquilibriumError::Amount`] for a negative volume, [`EquilibriumError::NotConverged`] if the search stalls.
    pub fn ph_at(&self, volume_ml: f64) -> Result<f64, EquilibriumError> {
        Ok(-self.solved_at(volume_ml)?.ln_h / LN_10)
    }

    /// pH at each of many volumes; ascending volumes are fastest because each point starts from its neighbour.
    ///
    /// # Errors
    /// As [`ph_at`](Self::ph_at).
    pub fn ph_at_volumes(&self, volumes_ml: &[f64]) -> Result<Vec<f64>, EquilibriumError> {
        if let Some(&wrong) = volumes_ml
            .iter()
            .find(|volume| !(volume.is_finite() && **volume >= 0.0))
        {
            return self.ph_at(wrong).map(|ph| vec![ph]);
        }
        // A few stretches of the curve side by side: each point waits for its neighbour, and the processor works on the other
        // stretches meanwhile.
        const STRETCHES: usize = 4;
        let stretch = volumes_ml.len().div_ceil(STRETCHES).max(1);
        let mut walkers: Vec<Walker> = (0..STRETCHES).map(|_| Walker::new(self)).collect();
        let mut phs = vec![0.0; volumes_ml.len()];
        for step in 0..stretch {
            for (index, walker) in walkers.iter_mut().enumerate() {
                let at = index * stretch + step;
                if let (Some(&volume), Some(ph)) = (volumes_ml.get(at), phs.get_mut(at)) {
                    *ph = walker.ph_at(&self.balance, volume)?;
                }
            }
        }
        Ok(phs)
    }

    /// Volume of titrant at which the pH is reached.
    ///
    /// # Errors
    /// [`EquilibriumError::LevelNotReached`] if no volume gives that pH.
    pub fn volume_at_ph(&self, ph: f64) -> Result<f64, EquilibriumError> {
        let volume = self.balance.volume_at(-ph * LN_10)?;
        if volume.is_finite() && volume >= 0.0 {
            return Ok(volume);
        }
        // the pH of the flask itself, missed by rounding on a flat curve
        if volume.is_finite() && (self.ph_at(0.0)? - ph).abs() < 1e-9 {
            return Ok(0.0);
        }
        Err(EquilibriumError::LevelNotReached {
            quantity: "pH".into(),
            level: ph,
            lowest_ml: 0.0,
            highest_ml: f64::INFINITY,
        })
    }

    /// Everything about one point.
    ///
    /// # Errors
    /// As [`ph_at`](Self::ph_at).
    pub fn point(&self, volume_ml: f64) -> Result<AcidBasePoint, EquilibriumError> {
        let solved = self.solved_at(volume_ml)?;
        let conditional = self.balance.conditional(solved.ionic_strength);
        let (_, slope) = self.balance.balance(&conditional, solved.ln_h, volume_ml);
        let total = self.balance.flask_ml + volume_ml;
        Ok(AcidBasePoint {
            volume_ml,
            ph: -solved.ln_h / LN_10,
            ionic_strength: solved.ionic_strength,
            slope_per_ml: self.slope(volume_ml, solved)?,
            buffer_capacity: LN_10 * slope / total,
        })
    }

    /// d pH / d V by a central difference of solved points, small against every feature of a curve in the laboratory.
    fn slope(&self, volume_ml: f64, solved: Solved) -> Result<f64, EquilibriumError> {
        let step = 1e-5 * (volume_ml + 0.01 * self.balance.flask_ml);
        let before = (volume_ml - step).max(0.0);
        let after = volume_ml + step;
        let low = self.balance.solve(before, solved)?.ln_h;
        let high = self.balance.solve(after, solved)?.ln_h;
        Ok((low - high) / LN_10 / (after - before))
    }

    /// Share of each form of each acid after `volume_ml`: label and fraction, the fractions of one acid adding to 1.
    ///
    /// # Errors
    /// As [`ph_at`](Self::ph_at).
    pub fn fractions(&self, volume_ml: f64) -> Result<Vec<(String, f64)>, EquilibriumError> {
        let solved = self.solved_at(volume_ml)?;
        let conditional = self.balance.conditional(solved.ionic_strength);
        let mut fractions = Vec::new();
        for (acid, weights) in self.acids.iter().zip(&conditional.systems) {
            let terms: Vec<f64> = (0..acid.forms.len())
                .map(|k| weights[k] * (-(k as f64) * solved.ln_h).exp())
                .collect();
            let sum: f64 = terms.iter().sum();
            fractions.extend(
                acid.forms
                    .iter()
                    .zip(terms)
                    .map(|(form, term)| (form.label.clone(), term / sum)),
            );
        }
        Ok(fractions)
    }

    /// Largest relative residual of the proton balance at a solved point: what the solver leaves.
    ///
    /// # Errors
    /// As [`ph_at`](Self::ph_at).
    pub fn residual(&self, volume_ml: f64) -> Result<f64, EquilibriumError> {
        let solved = self.solved_at(volume_ml)?;
        let conditional = self.balance.conditional(solved.ionic_strength);
        let (value, slope) = self.balance.balance(&conditional, solved.ln_h, volume_ml);
        let total = self.balance.flask_ml + volume_ml;
        let moved = self.balance.flask_ml * self.balance.excess_flask.abs()
            + volume_ml * self.balance.excess_titrant.abs()
            + total * conditional.hydrogen * solved.ln_h.exp();
        Ok(value.abs() / moved.max(slope))
    }

    /// Temperature of an insulated flask after `volume_ml`, both solutions having started at the temperature of the
    /// conditions, degC.
    ///
    /// # Formula
    /// Heat = -sum of the enthalpies of the proton transfers done; heat capacity 4.18 J/(mL K) of dilute solutions (common
    /// practice). Steps without a published enthalpy count as 0.
    ///
    /// # Errors
    /// As [`ph_at`](Self::ph_at).
    pub fn insulated_temperature(&self, volume_ml: f64) -> Result<f64, EquilibriumError> {
        let total = self.balance.flask_ml + volume_ml;
        let alone = |curve: &ProtonBalance, volume: f64| -> Result<f64, EquilibriumError> {
            let solved = curve.solve(volume, self.first_guess())?;
            Ok(self.enthalpy(curve, volume, solved))
        };
        let mixed = alone(&self.balance, volume_ml)?;
        let flask = alone(&self.balance, 0.0)?;
        let mut burette = self.balance.clone();
        burette.excess_flask = burette.excess_titrant;
        burette.bystanders_flask = burette.bystanders_titrant;
        for system in &mut burette.systems {
            system.flask = system.titrant;
        }
        let titrant = alone(&burette, 0.0)? * volume_ml / self.balance.flask_ml;
        Ok(self.conditions.temperature_c
            - (mixed - flask - titrant) / (HEAT_CAPACITY_J_PER_ML_K * total))
    }

    /// Enthalpy (J) of all forms relative to the fully protonated acids and liquid water.
    fn enthalpy(&self, balance: &ProtonBalance, volume_ml: f64, solved: Solved) -> f64 {
        let conditional = balance.conditional(solved.ionic_strength);
        let total = balance.flask_ml + volume_ml;
        // protons set free by the acids are met by OH- or stay as H+; water's ions cost the ionization enthalpy as pairs
        let hydroxide = total * conditional.hydroxide * (-solved.ln_h).exp();
        let mut joule = hydroxide * water::ionization_enthalpy_kj_per_mol();
        for ((acid, system), weights) in self
            .acids
            .iter()
            .zip(&balance.systems)
            .zip(&conditional.systems)
        {
            let amount = balance.flask_ml * system.flask + volume_ml * system.titrant;
            let (mut sum, mut weighted, mut enthalpy) = (0.0, 0.0, 0.0);
            for (k, weight) in weights.iter().enumerate().take(acid.forms.len()) {
                if k > 0 {
                    enthalpy += acid.steps[k - 1].enthalpy_kj_per_mol.unwrap_or(0.0);
                }
                let term = weight * (-(k as f64) * solved.ln_h).exp();
                sum += term;
                weighted += term * enthalpy;
            }
            joule += amount * weighted / sum;
        }
        joule
    }
}

/// Heat capacity of dilute aqueous solutions, J/(mL K) (common practice: that of water).
const HEAT_CAPACITY_J_PER_ML_K: f64 = 4.18;

/// A walk along a curve from volume to volume, each point starting from the ones before.
#[derive(Debug)]
struct Walker {
    last: Solved,
    conditional: Conditional,
    trail: Trail,
}

impl Walker {
    fn new(curve: &AcidBaseCurve) -> Self {
        let last = curve.first_guess();
        Self {
            last,
            conditional: curve.balance.conditional(last.ionic_strength),
            trail: Trail::default(),
        }
    }

    #[inline]
    fn ph_at(&mut self, balance: &ProtonBalance, volume: f64) -> Result<f64, EquilibriumError> {
        let ln_h = self.trail.ahead(volume).unwrap_or(self.last.ln_h);
        let start = Solved { ln_h, ..self.last };
        self.last = if balance.activity.model == ActivityModel::None {
            Solved {
                ln_h: balance.root(&self.conditional, volume, ln_h)?,
                ..self.last
            }
        } else {
            balance.solve_at(volume, start, &mut self.conditional)?
        };
        self.trail.push(volume, self.last.ln_h);
        Ok(-self.last.ln_h / LN_10)
    }
}

/// The last points of a curve and their extrapolation by divided differences.
#[derive(Debug, Default)]
struct Trail {
    volumes: [f64; 4],
    /// Newton's divided differences that end at the newest point: value, slope, and two more.
    differences: [f64; 4],
    known: usize,
}

impl Trail {
    #[inline]
    fn push(&mut self, volume: f64, value: f64) {
        let mut differences = [value, 0.0, 0.0, 0.0];
        let order = self.known.min(3);
        for i in 0..order {
            differences[i + 1] =
                (differences[i] - self.differences[i]) / (volume - self.volumes[i]);
        }
        self.volumes = [volume, self.volumes[0], self.volumes[1], self.volumes[2]];
        self.differences = differences;
        self.known += 1;
    }

    /// Extrapolation to `volume` through up to four points; `None` before there are two, or if two volumes were equal.
    #[inline]
    fn ahead(&self, volume: f64) -> Option<f64> {
        if self.known < 2 {
            return None;
        }
        let mut sum = 0.0;
        for i in (0..4).rev() {
            sum = sum * (volume - self.volumes[i]) + self.differences[i];
        }
        sum.is_finite().then_some(sum)
    }
}

/// Natural logarithms of the cumulative constants, starting with 0 for the fully protonated form.
fn cumulative(acid: &Acid, temperature_c: f64) -> Vec<f64> {
    let mut sum = 0.0;
    let mut betas = vec![0.0];
    for step in &acid.steps {
        sum += LN_10 * step.log10_at(temperature_c);
        betas.push(sum);
    }
    betas
}

/// Index of the largest positive amount.
fn most(amounts: &[f64]) -> Option<usize> {
    let (index, largest) = amounts
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(b.1))?;
    (*largest > 0.0).then_some(index)
}

/// One ionic strength for all constants, and 0 where an activity model is at work.
fn check_ionic_strengths(acids: &[Acid], model: ActivityModel) -> Result<(), EquilibriumError> {
    let mut first: Option<(&str, f64)> = None;
    for acid in acids {
        for step in &acid.steps {
            if model != ActivityModel::None && step.ionic_strength != 0.0 {
                return Err(EquilibriumError::ConditionalConstant {
                    what: acid.name.clone(),
                    strength: step.ionic_strength,
                });
            }
            match first {
                None => first = Some((&acid.name, step.ionic_strength)),
                Some((name, strength)) if (strength - step.ionic_strength).abs() > 1e-9 => {
                    return Err(EquilibriumError::MixedIonicStrength {
                        first: name.to_owned(),
                        first_strength: strength,
                        second: acid.name.clone(),
                        second_strength: step.ionic_strength,
                    });
                }
                Some(_) => {}
            }
        }
    }
    Ok(())
}
