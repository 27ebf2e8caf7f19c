//! Titration curves of every classical kind behind one face: level of the measured quantity against volume, and back.
//!
//! Acid-base curves use the proton balance ([`crate::acid_base`]); complexometric, precipitation and redox curves the general
//! solver ([`crate::equilibrium`]).

pub(crate) mod equivalence;
pub mod general;

use crate::acid_base::curve::AcidBaseCurve;
use crate::constant_set::Conditions;
use crate::equilibrium::system::Setup;
use crate::equilibrium_error::EquilibriumError;
use crate::solution::Solution;
pub use equivalence::EquivalencePoint;
use general::{Exchange, GeneralCurve};

/// The quantity a curve shows against the volume.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Quantity {
    /// pH.
    Ph,
    /// Negative decadic logarithm of the activity of a free ion: pCa, pAg.
    P(String),
    /// Potential in volt against the standard hydrogen electrode.
    Potential,
}

impl Quantity {
    /// Name as written on an axis.
    #[must_use]
    pub fn name(&self) -> String {
        match self {
            Self::Ph => "pH".to_owned(),
            Self::P(ion) => format!(
                "p{}",
                ion.trim_end_matches(['+', '-'])
                    .split('^')
                    .next()
                    .unwrap_or(ion)
            ),
            Self::Potential => "E".to_owned(),
        }
    }

    /// Unit, empty for a p value.
    #[must_use]
    pub fn unit(&self) -> &'static str {
        match self {
            Self::Ph | Self::P(_) => "",
            Self::Potential => "V",
        }
    }
}

/// One point of a curve.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct CurvePoint {
    /// Titrant added, mL.
    pub volume_ml: f64,
    /// Level of the quantity (pH, pM, pAg; E in volt).
    pub level: f64,
    /// Change of the level with volume, 1/mL or V/mL.
    pub slope_per_ml: f64,
    /// Ionic strength, mol/L.
    pub ionic_strength: f64,
    /// Buffer capacity, mol/L per unit of pH; acid-base curves only.
    pub buffer_capacity: Option<f64>,
}

/// A predicted titration curve.
///
/// # Example
/// ```
/// use chemistry::{constant_set::Conditions, solution::Solution, titration_curve::TitrationCurve};
/// let curve = TitrationCurve::acid_base(
///     &Solution::of("KHP", 0.1), 25.0, &Solution::of("NaOH", 0.1), &Conditions::default()).unwrap();
/// let end = &curve.equivalence_points().unwrap()[0];
/// assert!((end.volume_ml - 25.0).abs() < 1e-9 && end.visible);
/// assert!((curve.level_at(end.volume_ml).unwrap() - 8.81).abs() < 0.02);
/// ```
#[derive(Debug, Clone)]
pub struct TitrationCurve {
    kind: Kind,
    quantity: Quantity,
}

#[derive(Debug, Clone)]
enum Kind {
    AcidBase(Box<AcidBaseCurve>),
    General(Box<GeneralCurve>),
}

impl TitrationCurve {
    /// Acid with base or base with acid, `flask_ml` in mL.
    ///
    /// # Errors
    /// As [`AcidBaseCurve::new`].
    pub fn acid_base(
        flask: &Solution,
        flask_ml: f64,
        titrant: &Solution,
        conditions: &Conditions,
    ) -> Result<Self, EquilibriumError> {
        let curve = AcidBaseCurve::new(flask, flask_ml, titrant, conditions)?;
        Ok(Self {
            kind: Kind::AcidBase(Box::new(curve)),
            quantity: Quantity::Ph,
        })
    }

    /// Metal with a complexing titrant (direct), or excess ligand with a metal (back, displacement); the curve shows p of
    /// `metal`, for instance `"Ca^2+"`. A buffered pH and auxiliary ligands are given in `setup`.
    ///
    /// # Errors
    /// As [`GeneralCurve::new`].
    pub fn complexometric(
        flask: &Solution,
        flask_ml: f64,
        titrant: &Solution,
        metal: &str,
        conditions: &Conditions,
        setup: &Setup,
    ) -> Result<Self, EquilibriumError> {
        let quantity = Quantity::P(metal.to_owned());
        Self::general(
            flask,
            flask_ml,
            titrant,
            (quantity, Exchange::Complexes),
            conditions,
            setup,
        )
    }

    /// Precipitation; the curve shows p of `ion`, for instance `"Ag+"`.
    ///
    /// # Errors
    /// As [`GeneralCurve::new`].
    pub fn precipitation(
        flask: &Solution,
        flask_ml: f64,
        titrant: &Solution,
        ion: &str,
        conditions: &Conditions,
        setup: &Setup,
    ) -> Result<Self, EquilibriumError> {
        let quantity = Quantity::P(ion.to_owned());
        Self::general(
            flask,
            flask_ml,
            titrant,
            (quantity, Exchange::Solids),
            conditions,
            setup,
        )
    }

    /// Oxidation and reduction; the curve shows the potential against the standard hydrogen electrode. Couples are named in
    /// `setup`.
    ///
    /// # Errors
    /// As [`GeneralCurve::new`].
    pub fn redox(
        flask: &Solution,
        flask_ml: f64,
        titrant: &Solution,
        conditions: &Conditions,
        setup: &Setup,
    ) -> Result<Self, EquilibriumError> {
        let exchange = Exchange::Electrons;
        Self::general(
            flask,
            flask_ml,
            titrant,
            (Quantity::Potential, exchange),
            conditions,
            setup,
        )
    }

    fn general(
        flask: &Solution,
        flask_ml: f64,
        titrant: &Solution,
        (quantity, exchange): (Quantity, Exchange),
        conditions: &Conditions,
        setup: &Setup,
    ) -> Result<Self, EquilibriumError> {
        let curve = GeneralCurve::new(
            flask, flask_ml, titrant, &quantity, exchange, conditions, setup,
        )?;
        Ok(Self {
            kind: Kind::General(Box::new(curve)),
            quantity,
        })
    }

    /// What the curve shows.
    #[must_use]
    pub fn quantity(&self) -> &Quantity {
        &self.quantity
    }

    /// The acid-base curve, if it is one.
    #[must_use]
    pub fn as_acid_base(&self) -> Option<&AcidBaseCurve> {
        match &self.kind {
            Kind::AcidBase(curve) => Some(curve),
            Kind::General(_) => None,
        }
    }

    /// The general curve, if it is one.
    #[must_use]
    pub fn as_general(&self) -> Option<&GeneralCurve> {
        match &self.kind {
            Kind::General(curve) => Some(curve),
            Kind::AcidBase(_) => None,
        }
    }

    /// Level after `volume_ml` of titrant.
    ///
    /// # Errors
    /// [`EquilibriumError::Amount`] for a negative volume, [`EquilibriumError::PotentialUndefined`] where no couple has both
    /// forms, [`EquilibriumError::NotConverged`].
    pub fn level_at(&self, volume_ml: f64) -> Result<f64, EquilibriumError> {
        match &self.kind {
            Kind::AcidBase(curve) => curve.ph_at(volume_ml),
            Kind::General(curve) => curve.level_at(volume_ml),
        }
    }

    /// Levels at many volumes (mL).
    ///
    /// # Errors
    /// As [`level_at`](Self::level_at).
    pub fn levels_at(&self, volumes_ml: &[f64]) -> Result<Vec<f64>, EquilibriumError> {
        match &self.kind {
            Kind::AcidBase(curve) => curve.ph_at_volumes(volumes_ml),
            Kind::General(curve) => curve.levels_at(volumes_ml),
        }
    }

    /// Volume at which a level is reached, mL.
    ///
    /// # Errors
    /// [`EquilibriumError::LevelNotReached`] if the curve does not pass it.
    pub fn volume_at(&self, level: f64) -> Result<f64, EquilibriumError> {
        match &self.kind {
            Kind::AcidBase(curve) => curve.volume_at_ph(level),
            Kind::General(curve) => curve.volume_at(level),
        }
    }

    /// Everything about one point.
    ///
    /// # Errors
    /// As [`level_at`](Self::level_at).
    pub fn point(&self, volume_ml: f64) -> Result<CurvePoint, EquilibriumError> {
        match &self.kind {
            Kind::AcidBase(curve) => {
                let point = curve.point(volume_ml)?;
                Ok(CurvePoint {
                    volume_ml,
                    level: point.ph,
                    slope_per_ml: point.slope_per_ml,
                    ionic_strength: point.ionic_strength,
                    buffer_capacity: Some(point.buffer_capacity),
                })
            }
            Kind::General(curve) => curve.point(volume_ml),
        }
    }

    /// Species and their share of the component they belong to (acid-base), or their concentration in mol/L (other curves).
    ///
    /// # Errors
    /// As [`level_at`](Self::level_at).
    pub fn species_at(&self, volume_ml: f64) -> Result<Vec<(String, f64)>, EquilibriumError> {
        match &self.kind {
            Kind::AcidBase(curve) => curve.fractions(volume_ml),
            Kind::General(curve) => curve.concentrations(volume_ml),
        }
    }

    /// Equivalence points in the order in which they are met.
    ///
    /// # Errors
    /// As [`level_at`](Self::level_at).
    pub fn equivalence_points(&self) -> Result<Vec<EquivalencePoint>, EquilibriumError> {
        match &self.kind {
            Kind::AcidBase(curve) => curve.equivalence_points(),
            Kind::General(curve) => curve.equivalence_points(),
        }
    }
}
