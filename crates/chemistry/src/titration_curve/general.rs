//! A curve calculated with the general solver: complexometric, precipitation, redox.

use super::{CurvePoint, EquivalencePoint, Quantity, equivalence};
use crate::constant_set::Conditions;
use crate::couples::nernst_slope_v;
use crate::equilibrium::solve::State;
use crate::equilibrium::system::{Setup, System};
use crate::equilibrium_error::EquilibriumError;
use crate::solution::Solution;

const LN_10: f64 = std::f64::consts::LN_10;

/// What flask and titrant exchange.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exchange {
    /// A ligand that metals bind.
    Complexes,
    /// An ion that forms salts.
    Solids,
    /// Electrons.
    Electrons,
}

/// A titration curve on the general solver.
#[derive(Debug, Clone)]
pub struct GeneralCurve {
    pub(crate) system: System,
    /// The species whose activity the curve shows.
    watched: String,
    /// The component that titrant and flask exchange: ligand, precipitating ion, electron.
    pub(crate) particle: usize,
    pub(crate) exchange: Exchange,
    /// ln a(H+) at which levels are put in order.
    pub(crate) ln_h: f64,
    name: String,
    /// Level for one unit of -lg a: 1, or volt.
    pub(crate) unit: f64,
}

impl GeneralCurve {
    /// Builds the curve of `flask_ml` (mL) of one solution with a titrant.
    ///
    /// # Errors
    /// As [`System::new`]; [`EquilibriumError::NothingToTitrate`] if flask and titrant do not react.
    pub fn new(
        flask: &Solution,
        flask_ml: f64,
        titrant: &Solution,
        quantity: &Quantity,
        exchange: Exchange,
        conditions: &Conditions,
        setup: &Setup,
    ) -> Result<Self, EquilibriumError> {
        let system = System::new(flask, flask_ml, titrant, conditions, setup)?;
        let problem = system.problem();
        let label = match quantity {
            Quantity::Ph => "H+",
            Quantity::P(ion) => ion.as_str(),
            Quantity::Potential => "e-",
        };
        let Some(watched) = problem.component(label) else {
            let what = if label == "e-" {
                "no redox couple is at work: name the couples of flask and titrant".to_owned()
            } else {
                format!(
                    "{label} reacts with nothing here: neither a complex nor a salt of it can form"
                )
            };
            return Err(EquilibriumError::NothingToTitrate { what });
        };
        // the particle: the electron, the watched ion of the salts, or the ligand that binds the watched metal
        // the acidity in which levels are compared: that of the flask after as much titrant
        let neutral = -7.0 * LN_10;
        let ln_h = match (setup.fixed_ph, problem.component("H+")) {
            (Some(ph), _) => -LN_10 * ph,
            (None, Some(h)) => system
                .at(flask_ml, None)
                .map_or(neutral, |state| state.ln_activity[h]),
            (None, None) => neutral,
        };
        // strongest partner at this pH among what was put in, the titrant's own ligand before all others
        let mut strongest: Option<(bool, f64, usize)> = None;
        for species in problem
            .species
            .iter()
            .filter(|s| s.terms.iter().any(|(j, _)| *j == watched))
        {
            let protons = species
                .terms
                .iter()
                .find(|(j, _)| problem.components[*j].label == "H+")
                .map_or(0.0, |(_, n)| *n);
            let strength = species.ln_k + protons * ln_h;
            for &(j, n) in &species.terms {
                let (in_flask, in_titrant) = system.totals_of(j);
                let other = j != watched
                    && n > 0.0
                    && !matches!(problem.components[j].label.as_str(), "H+" | "e-");
                let candidate = (in_titrant > 0.0, strength, j);
                if other
                    && in_flask + in_titrant > 0.0
                    && strongest.is_none_or(|s| (candidate.0, candidate.1) > (s.0, s.1))
                {
                    strongest = Some(candidate);
                }
            }
        }
        let particle = match (exchange, strongest) {
            (Exchange::Complexes, Some((_, _, ligand))) => ligand,
            _ => watched,
        };
        let unit = match quantity {
            Quantity::Ph | Quantity::P(_) => 1.0,
            Quantity::Potential => nernst_slope_v(conditions.temperature_c),
        };
        let watched = label.to_owned();
        Ok(Self {
            system,
            watched,
            particle,
            exchange,
            ln_h,
            name: quantity.name(),
            unit,
        })
    }

    /// The system behind the curve.
    #[must_use]
    pub fn system(&self) -> &System {
        &self.system
    }

    fn level_of(&self, state: &State) -> f64 {
        self.system
            .p(state, &self.watched)
            .map_or(f64::NAN, |p| p * self.unit)
    }

    /// State after `volume_ml`.
    ///
    /// # Errors
    /// As [`System::at`]; [`EquilibriumError::PotentialUndefined`] where no couple has both forms.
    pub fn state(
        &self,
        volume_ml: f64,
        neighbour: Option<&State>,
    ) -> Result<State, EquilibriumError> {
        let state = self
            .system
            .at(volume_ml, neighbour)
            .map_err(|error| match error {
                EquilibriumError::Impossible { .. } if self.name == "E" => {
                    EquilibriumError::PotentialUndefined { volume_ml }
                }
                other => other,
            })?;
        Ok(state)
    }

    /// Level after `volume_ml`.
    ///
    /// # Errors
    /// As [`state`](Self::state).
    pub fn level_at(&self, volume_ml: f64) -> Result<f64, EquilibriumError> {
        let level = self.level_of(&self.state(volume_ml, None)?);
        if level.is_finite() {
            Ok(level)
        } else if self.name == "E" {
            Err(EquilibriumError::PotentialUndefined { volume_ml })
        } else {
            Err(EquilibriumError::NothingToTitrate {
                what: format!("there is no {} at {volume_ml} mL", &self.name[1..]),
            })
        }
    }

    /// Levels at many volumes, each from the state before it.
    ///
    /// # Errors
    /// As [`state`](Self::state).
    pub fn levels_at(&self, volumes_ml: &[f64]) -> Result<Vec<f64>, EquilibriumError> {
        let mut last: Option<State> = None;
        let mut levels = Vec::with_capacity(volumes_ml.len());
        for &volume in volumes_ml {
            let state = self.state(volume, last.as_ref())?;
            levels.push(self.level_of(&state));
            last = Some(state);
        }
        Ok(levels)
    }

    /// Everything about one point.
    ///
    /// # Errors
    /// As [`state`](Self::state).
    pub fn point(&self, volume_ml: f64) -> Result<CurvePoint, EquilibriumError> {
        let state = self.state(volume_ml, None)?;
        let step = 1e-5 * (volume_ml + 0.01 * self.system.flask_ml());
        let before = (volume_ml - step).max(0.0);
        let low = self.state(before, Some(&state)).map(|s| self.level_of(&s));
        let high = self.level_of(&self.state(volume_ml + step, Some(&state))?);
        let (low, start) = match low {
            Ok(low) if low.is_finite() => (low, before),
            _ => (self.level_of(&state), volume_ml),
        };
        Ok(CurvePoint {
            volume_ml,
            level: self.level_of(&state),
            slope_per_ml: (high - low) / (volume_ml + step - start),
            ionic_strength: state.ionic_strength,
            buffer_capacity: None,
        })
    }

    /// Concentrations of all species after `volume_ml`, mol/L, and amounts of solids per litre.
    ///
    /// # Errors
    /// As [`state`](Self::state).
    pub fn concentrations(&self, volume_ml: f64) -> Result<Vec<(String, f64)>, EquilibriumError> {
        let state = self.state(volume_ml, None)?;
        let problem = self.system.problem();
        let dissolved = problem
            .species
            .iter()
            .zip(&state.concentrations)
            .map(|(s, c)| (s.label.clone(), *c));
        let solids = problem
            .phases
            .iter()
            .zip(&state.phases)
            .map(|(p, m)| (p.label.clone(), *m));
        Ok(dissolved.chain(solids).collect())
    }

    /// Volume at which a level is reached, mL, by bisection of a monotone curve.
    ///
    /// # Errors
    /// [`EquilibriumError::LevelNotReached`] if the curve does not pass the level between the first trace of titrant and a
    /// hundred times the volume in the flask.
    pub fn volume_at(&self, level: f64) -> Result<f64, EquilibriumError> {
        let flask_ml = self.system.flask_ml();
        let furthest = 100.0 * flask_ml;
        let not_reached = |lowest_ml: f64| EquilibriumError::LevelNotReached {
            quantity: self.name.clone(),
            level,
            lowest_ml,
            highest_ml: furthest,
        };
        let mut low = 0.0;
        let first = match self.level_at(0.0) {
            Ok(first) => first,
            Err(
                EquilibriumError::PotentialUndefined { .. }
                | EquilibriumError::NothingToTitrate { .. },
            ) => {
                low = 1e-9 * flask_ml;
                self.level_at(low)?
            }
            Err(error) => return Err(error),
        };
        let rises = self.level_at(furthest)? > first;
        let before = |found: f64| if rises { found < level } else { found > level };
        if !before(first) && (first - level).abs() > 1e-12 {
            return Err(not_reached(low));
        }
        let mut high = flask_ml;
        while before(self.level_at(high)?) {
            low = high;
            high *= 2.0;
            if high > furthest {
                return Err(not_reached(0.0));
            }
        }
        for _ in 0..200 {
            let middle = 0.5 * (low + high);
            if high - low <= 1e-13 * high {
                break;
            }
            if before(self.level_at(middle)?) {
                low = middle;
            } else {
                high = middle;
            }
        }
        Ok(0.5 * (low + high))
    }

    /// Equivalence points in the order in which they are met.
    ///
    /// # Errors
    /// As [`state`](Self::state).
    pub fn equivalence_points(&self) -> Result<Vec<EquivalencePoint>, EquilibriumError> {
        equivalence::points(self)
    }
}
