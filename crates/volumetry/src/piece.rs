//! A piece of volumetric apparatus: this burette, this pipette.

use metrology::{Distribution, Expr, Input, Origin, Quantity};

use crate::calibration::Calibration;
use crate::catalogue::{Adjustment, Entry, Kind, Mark, find};
use crate::error::{VolumetryError, positive};
use crate::glass::{Glass, borosilicate_3_3};
use crate::units;

/// What is known about the volume that a piece measures.
#[derive(Debug, Clone, PartialEq)]
pub enum Accuracy {
    /// A maximum permissible error. One error of the piece, shared by all its uses; triangular, as EURACHEM/CITAC CG4
    /// takes it in example A2.
    Tolerance {
        /// Half-width, mL.
        half_width_ml: f64,
        /// Where it comes from.
        origin: Origin,
    },
    /// Its own calibration.
    Calibration(Calibration),
}

/// A piece of volumetric apparatus.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// Identity; it starts the ids of the inputs that belong to the piece, so that two determinations with one burette
    /// share its error.
    pub id: String,
    /// What it is, in words.
    pub description: String,
    /// Short letter for the symbols: B, P, F.
    pub symbol: String,
    /// What it is.
    pub kind: Kind,
    /// To deliver or to contain.
    pub adjustment: Adjustment,
    /// Nominal capacity, mL.
    pub nominal_ml: f64,
    /// Smallest division, mL; none for one mark or a display.
    pub graduation_ml: Option<f64>,
    /// What is known about its volume.
    pub accuracy: Accuracy,
    /// What it is made of; none for a piston pipette, where no glass measures.
    pub glass: Option<Glass>,
    /// Standard deviation of filling to the mark and delivering, mL; none if it is counted elsewhere.
    pub filling_ml: Option<f64>,
}

impl Piece {
    /// A piece by its catalogue name, see [`crate::catalogue::find`].
    ///
    /// # Errors
    /// Those of [`crate::catalogue::find`].
    pub fn named(id: impl Into<String>, name: &str) -> Result<Self, VolumetryError> {
        Ok(Self::from_catalogue(id, find(name)?))
    }

    /// A piece of the catalogue.
    ///
    /// Filling to the mark scatters by a fifth of the tolerance unless [`Piece::filled_within`] says otherwise
    /// (common practice; EURACHEM/CITAC CG4, A1: 0.02 mL for a flask of 100 mL ± 0.1 mL). A piston pipette scatters by
    /// what its standard permits.
    #[must_use]
    pub fn from_catalogue(id: impl Into<String>, entry: &Entry) -> Self {
        let seen = match entry.mark {
            Mark::Seen => String::new(),
            Mark::FromMemory => ", not checked against the standard".to_owned(),
        };
        let filling = match entry.kind {
            Kind::Burette => None,
            Kind::Pipette | Kind::Flask => Some(entry.tolerance_ml / 5.0),
            Kind::PistonPipette => entry.random_ml,
        };
        Self {
            filling_ml: filling,
            ..Self::with_tolerance_unchecked(
                id.into(),
                entry.kind,
                entry.nominal_ml,
                entry.graduation_ml,
                entry.tolerance_ml,
                Origin::Table(format!(
                    "{} for {entry}{seen} ({})",
                    entry.standard, entry.source
                )),
            )
        }
        .described(entry.to_string())
    }

    /// A piece with a tolerance of its own.
    ///
    /// # Errors
    /// [`VolumetryError::NotPositive`] for a capacity, graduation or tolerance that is not positive.
    pub fn with_tolerance(
        id: impl Into<String>,
        kind: Kind,
        nominal_ml: f64,
        graduation_ml: Option<f64>,
        half_width_ml: f64,
        origin: Origin,
    ) -> Result<Self, VolumetryError> {
        positive("the nominal capacity", nominal_ml)?;
        positive("the tolerance", half_width_ml)?;
        if let Some(graduation_ml) = graduation_ml {
            positive("the graduation", graduation_ml)?;
        }
        Ok(Self::with_tolerance_unchecked(
            id.into(),
            kind,
            nominal_ml,
            graduation_ml,
            half_width_ml,
            origin,
        ))
    }

    fn with_tolerance_unchecked(
        id: String,
        kind: Kind,
        nominal_ml: f64,
        graduation_ml: Option<f64>,
        half_width_ml: f64,
        origin: Origin,
    ) -> Self {
        Self {
            id,
            description: format!("{kind} {nominal_ml} mL"),
            symbol: match kind {
                Kind::Burette => "B",
                Kind::Pipette | Kind::PistonPipette => "P",
                Kind::Flask => "F",
            }
            .to_owned(),
            kind,
            adjustment: if kind == Kind::Flask {
                Adjustment::ToContain
            } else {
                Adjustment::ToDeliver
            },
            nominal_ml,
            graduation_ml,
            accuracy: Accuracy::Tolerance {
                half_width_ml,
                origin,
            },
            glass: (kind != Kind::PistonPipette).then(|| borosilicate_3_3().clone()),
            filling_ml: None,
        }
    }

    /// Gives the piece its own calibration in place of the tolerance.
    #[must_use]
    pub fn calibrated(mut self, calibration: Calibration) -> Self {
        self.accuracy = Accuracy::Calibration(if self.kind == Kind::Burette {
            calibration.counted_from_zero()
        } else {
            calibration
        });
        self
    }

    /// Says what the piece is, in words.
    #[must_use]
    pub fn described(mut self, description: impl Into<String>) -> Self {
        self.description = description.into();
        self
    }

    /// Sets the letter for the symbols, where two pieces of a kind meet in one formula.
    #[must_use]
    pub fn with_symbol(mut self, symbol: impl Into<String>) -> Self {
        self.symbol = symbol.into();
        self
    }

    /// Sets the glass.
    #[must_use]
    pub fn of_glass(mut self, glass: &Glass) -> Self {
        self.glass = Some(glass.clone());
        self
    }

    /// Sets the standard deviation of filling, mL; none if a repeatability given elsewhere holds it already.
    #[must_use]
    pub fn filled_within(mut self, standard_deviation_ml: Option<f64>) -> Self {
        self.filling_ml = standard_deviation_ml;
        self
    }

    /// The error of the piece at a volume counted from its zero, as a formula to add to that volume: the tolerance, or
    /// the correction of the calibration.
    pub(crate) fn correction(&self, volume_ml: f64) -> Result<Expr, VolumetryError> {
        match &self.accuracy {
            Accuracy::Calibration(calibration) => {
                calibration.expr(&self.id, &self.symbol, volume_ml)
            }
            Accuracy::Tolerance { .. } => Ok(self.tolerance_expr()),
        }
    }

    /// The one error within the tolerance.
    fn tolerance_expr(&self) -> Expr {
        let Accuracy::Tolerance {
            half_width_ml,
            origin,
        } = &self.accuracy
        else {
            return Expr::constant(Quantity::new(0.0, units::ml()));
        };
        Expr::input(
            Input::new(
                format!("{}/calibration", self.id),
                format!("δ_{}", self.symbol),
                Quantity::new(0.0, units::ml()),
            )
            .described(format!(
                "error of {} within its tolerance",
                self.description
            ))
            .distributed(Distribution::Triangular {
                half_width: *half_width_ml,
            })
            .from_origin(origin.clone())
            .grouped(format!("{} tolerance", self.kind)),
        )
    }
}
