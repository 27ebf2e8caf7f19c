//! Mass as a formula, from what the balance showed.

use metrology::{Distribution, Expr, Input, Origin, Quantity, WrittenQuantity};

use crate::balance::{BalanceRecord, balance};
use crate::buoyancy_correction::{AirDensity, Body, factor};
use crate::error::{VolumetryError, positive};
use crate::occasion::Occasion;
use crate::units;

/// How the deviation from linearity of a balance counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Linearity {
    /// Gross and tare each have their own (EURACHEM/CITAC CG4, example A2).
    #[default]
    EachReading,
    /// One deviation for the net weight.
    OneVariable,
}

/// A balance in use.
#[derive(Debug, Clone, PartialEq)]
pub struct Balance {
    /// Identity; it starts the ids of the inputs that all weighings on it share.
    pub id: String,
    /// What is known of it.
    pub record: BalanceRecord,
    /// Where that comes from.
    pub origin: Origin,
    /// How linearity counts.
    pub linearity: Linearity,
}

impl Balance {
    /// A balance of the list, see [`balance`].
    ///
    /// # Errors
    /// [`VolumetryError::NotKnown`] with the known names.
    pub fn named(id: impl Into<String>, name: &str) -> Result<Self, VolumetryError> {
        let record = balance(name)?.clone();
        Ok(Self {
            id: id.into(),
            origin: Origin::Table(format!("typical {} (common practice)", record.name)),
            record,
            linearity: Linearity::default(),
        })
    }

    /// A balance with the values of its own data sheet or certificate.
    ///
    /// # Errors
    /// [`VolumetryError::NotPositive`] if the readability is not positive, or another value is negative or no number.
    pub fn new(
        id: impl Into<String>,
        record: BalanceRecord,
        origin: Origin,
    ) -> Result<Self, VolumetryError> {
        positive("the readability of the balance", record.readability_g)?;
        for (what, value) in [
            ("the repeatability of the balance", record.repeatability_g),
            ("the linearity of the balance", record.linearity_g),
            ("the drift of the balance", record.drift_relative),
        ] {
            if !(value >= 0.0 && value.is_finite()) {
                return Err(VolumetryError::NotPositive { what, value });
            }
        }
        Ok(Self {
            id: id.into(),
            record,
            origin,
            linearity: Linearity::default(),
        })
    }

    /// Sets how linearity counts.
    #[must_use]
    pub fn with_linearity(mut self, linearity: Linearity) -> Self {
        self.linearity = linearity;
        self
    }

    /// Deviation from linearity of the net weight; shared by all weighings on this balance.
    pub(crate) fn linearity_expr(&self) -> Option<Expr> {
        if self.record.linearity_g <= 0.0 {
            return None;
        }
        let deviation = |which: &str, symbol: &str| {
            Expr::input(
                Input::new(
                    format!("{}/linearity{which}", self.id),
                    format!("δ_lin{symbol}"),
                    Quantity::new(0.0, units::g()),
                )
                .described(format!(
                    "deviation of {} from linearity{}",
                    self.id,
                    which.replace('/', " at the ")
                ))
                .distributed(Distribution::Rectangular {
                    half_width: self.record.linearity_g,
                })
                .from_origin(self.origin.clone())
                .grouped("balance linearity"),
            )
        };
        Some(match self.linearity {
            Linearity::EachReading => deviation("/gross", ",gross") - deviation("/tare", ",tare"),
            Linearity::OneVariable => deviation("", ""),
        })
    }

    /// Factor of the drift of the sensitivity; shared.
    pub(crate) fn drift_expr(&self) -> Option<Expr> {
        (self.record.drift_relative > 0.0).then(|| {
            let input = Input::new(
                format!("{}/drift", self.id),
                "δ_drift",
                Quantity::number(0.0),
            )
            .described(format!(
                "drift of {} since its adjustment, relative",
                self.id
            ))
            .distributed(Distribution::Rectangular {
                half_width: self.record.drift_relative,
            })
            .from_origin(self.origin.clone())
            .grouped("balance drift");
            Expr::number(1.0) + Expr::input(input)
        })
    }

    fn repeatability(&self, occasion: &Occasion, which: &str) -> Option<Expr> {
        (self.record.repeatability_g > 0.0).then(|| {
            let input = Input::new(
                format!("{}/{}/repeatability{which}", occasion.id, self.id),
                format!("δ_rep{},{}", which.replace('/', ","), occasion.label),
                Quantity::new(0.0, units::g()),
            )
            .described(format!("repeatability of {} in {}", self.id, occasion.id))
            .distributed(Distribution::Normal {
                standard_uncertainty: self.record.repeatability_g,
            })
            .from_origin(self.origin.clone())
            .grouped("balance repeatability");
            Expr::input(occasion.owns(input))
        })
    }
}

/// What the balance showed.
#[derive(Debug, Clone, PartialEq)]
pub enum Weighed {
    /// Two readings: with and without what is weighed.
    ByDifference {
        /// With it.
        gross: WrittenQuantity,
        /// Without it: the empty vessel before, or the emptied one after.
        tare: WrittenQuantity,
    },
    /// One reading, the display having been set to zero with the vessel on.
    Net(WrittenQuantity),
}

/// One weighing.
#[derive(Debug, Clone)]
pub struct Weighing<'a> {
    /// When it was done.
    pub occasion: &'a Occasion,
    /// The balance.
    pub balance: &'a Balance,
    /// What it showed.
    pub weighed: &'a Weighed,
    /// Air and what is weighed, for the buoyancy correction; without it the reading counts as the mass.
    pub buoyancy: Option<(&'a AirDensity, &'a Body)>,
}

impl Weighing<'_> {
    /// The mass of what was weighed.
    ///
    /// # Formula
    /// m = (gross - tare + repeatability + linearity)(1 + drift)(1 - rho_A / rho_B) / (1 - rho_A / rho)
    ///
    /// # Uncertainty
    /// Each reading is rounded to half a step of its last digit, or of the display if that is coarser; each weighing
    /// repeats within the standard deviation of the balance (by difference twice, net once), both of this occasion.
    /// Linearity is shared by all weighings on the balance and counts for gross and tare, see [`Linearity`]; drift is
    /// shared.
    ///
    /// # Errors
    /// [`VolumetryError::Quantity`] for a reading that is no mass; [`VolumetryError::GrossBelowTare`];
    /// [`VolumetryError::NotPositive`] for a net reading that is not positive.
    pub fn mass(&self) -> Result<Expr, VolumetryError> {
        let label = &self.occasion.label;
        let mut terms = match self.weighed {
            Weighed::ByDifference { gross, tare } => {
                let (above, below) = (self.grams(gross)?, self.grams(tare)?);
                // Also if one of them is not a number.
                if above <= below || above.is_nan() || below.is_nan() {
                    return Err(VolumetryError::GrossBelowTare {
                        occasion: self.occasion.id.clone(),
                        gross: gross.to_string(),
                        tare: tare.to_string(),
                    });
                }
                let difference = (self.reading(gross, above, "gross")
                    - self.reading(tare, below, "tare"))
                .named(
                    format!("m_obs,{label}"),
                    format!("weight by difference in {}", self.occasion.id),
                )
                .in_unit(units::g());
                let repeated = [
                    self.balance.repeatability(self.occasion, "/gross"),
                    self.balance.repeatability(self.occasion, "/tare"),
                ];
                std::iter::once(difference)
                    .chain(repeated.into_iter().flatten())
                    .collect::<Vec<_>>()
            }
            Weighed::Net(net) => {
                let grams = self.grams(net)?;
                positive("the net weight", grams)?;
                std::iter::once(self.reading(net, grams, "net"))
                    .chain(self.balance.repeatability(self.occasion, ""))
                    .collect()
            }
        };
        terms.extend(self.balance.linearity_expr());
        let mut mass = Expr::sum(terms);
        if let Some(drift) = self.balance.drift_expr() {
            mass = mass * drift;
        }
        if let Some((air, body)) = self.buoyancy {
            mass = mass * factor(air, body);
        }
        Ok(mass
            .named(
                format!("m_{label}"),
                format!("mass weighed in {}", self.occasion.id),
            )
            .in_unit(units::g()))
    }

    fn grams(&self, written: &WrittenQuantity) -> Result<f64, VolumetryError> {
        written
            .value_in(&units::g())
            .map_err(|source| VolumetryError::Quantity {
                what: format!("a reading of {} in {}", self.balance.id, self.occasion.id),
                source,
            })
    }

    fn reading(&self, written: &WrittenQuantity, grams: f64, which: &str) -> Expr {
        let step = (written.step() * written.unit.factor()).max(self.balance.record.readability_g);
        let mut input = Input::new(
            format!("{}/{}/{which}", self.occasion.id, self.balance.id),
            format!("m_{which},{}", self.occasion.label),
            Quantity::new(grams, units::g()),
        )
        .described(format!("{which} weight read in {}", self.occasion.id))
        .distributed(Distribution::Rectangular {
            half_width: step / 2.0,
        })
        .from_origin(Origin::Reading(self.balance.id.clone()))
        .grouped("balance resolution");
        if written.unit == units::g() {
            input = input.written(written.number.to_string());
        }
        Expr::input(self.occasion.owns(input))
    }
}
