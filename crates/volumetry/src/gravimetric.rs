//! Gravimetric calibration: the volume of a piece from weighings of the water it delivers or holds.
//!
//! Source of the formula: ISO 4787 and ISO 8655-6,
//! V20 = reading · 1/(rho_W - rho_A) · (1 - rho_A/rho_B) · (1 - gamma (t - 20 degC)).

use metrology::{Budget, Distribution, Expr, Formula, Input, Origin, Quantity, propagate};

use crate::buoyancy_correction::{AirDensity, weights_expr};
use crate::calibration::{Calibration, CorrectionPoint};
use crate::conditions::{LiquidTemperature, above_20_c, glass_expansion};
use crate::error::{VolumetryError, positive};
use crate::piece::Piece;
use crate::units;
use crate::water;
use crate::weighing::Balance;

/// The weighings of the water for one mark of the piece.
#[derive(Debug, Clone, PartialEq)]
pub struct WeighedDelivery {
    /// The mark, mL: what the burette delivered by its scale from zero, or the nominal volume.
    pub mark_ml: f64,
    /// Net readings of the replicates, g.
    pub readings_g: Vec<f64>,
}

/// A gravimetric calibration of one piece.
#[derive(Debug, Clone)]
pub struct GravimetricCalibration<'a> {
    /// Name of the certificate to be.
    pub certificate: String,
    /// Its date.
    pub date: String,
    /// The piece.
    pub piece: &'a Piece,
    /// The balance.
    pub balance: &'a Balance,
    /// Temperature of the water and the glass.
    pub water_temperature: &'a LiquidTemperature,
    /// Density of the air.
    pub air: &'a AirDensity,
    /// Mass that evaporates in one weighing, g, with its half-width.
    pub evaporation_g: Option<(f64, f64)>,
    /// The weighings, mark by mark.
    pub deliveries: Vec<WeighedDelivery>,
}

/// The result at one mark.
#[derive(Debug, Clone)]
pub struct GravimetricPoint {
    /// The mark, mL.
    pub mark_ml: f64,
    /// Number of weighings.
    pub weighings: usize,
    /// Standard deviation of the volume delivered each time, mL; none for one weighing.
    pub standard_deviation_ml: Option<f64>,
    /// The formula of the mean volume at 20 degC.
    pub volume: Formula,
    /// Its value, standard uncertainty and budget, mL.
    pub budget: Budget,
}

impl GravimetricPoint {
    /// What is to be added to the mark, with its standard uncertainty.
    #[must_use]
    pub fn correction(&self) -> CorrectionPoint {
        CorrectionPoint {
            volume_ml: self.mark_ml,
            correction_ml: self.budget.value - self.mark_ml,
            standard_uncertainty_ml: self.budget.standard_uncertainty,
        }
    }
}

impl GravimetricCalibration<'_> {
    /// The volume at each mark.
    ///
    /// # Uncertainty
    /// The scatter of the replicates as observed (Student t with n - 1 degrees of freedom), or the repeatability of
    /// the balance and the filling when there is one weighing; rounding, linearity, drift of the balance; temperature
    /// and purity of the water, air density, weights, glass, evaporation.
    ///
    /// # Errors
    /// [`VolumetryError::NoReadings`] for a mark without weighings, [`VolumetryError::NotPositive`] for a mark or
    /// reading that is not positive, [`VolumetryError::CalibrationPoints`] without marks.
    pub fn points(&self) -> Result<Vec<GravimetricPoint>, VolumetryError> {
        if self.deliveries.is_empty() {
            return Err(VolumetryError::CalibrationPoints {
                certificate: self.certificate.clone(),
                fault: "no weighings were given".into(),
            });
        }
        self.deliveries.iter().map(|d| self.point(d)).collect()
    }

    /// The calibration of the piece, to be used with [`Piece::calibrated`].
    ///
    /// # Errors
    /// Those of [`GravimetricCalibration::points`], and those of [`Calibration::new`] if a mark stands there twice.
    pub fn calibration(&self) -> Result<Calibration, VolumetryError> {
        let points = self.points()?;
        // One number for the table: the least known point speaks for it.
        let least = points
            .iter()
            .map(|p| p.budget.effective_degrees_of_freedom)
            .fold(f64::INFINITY, f64::min);
        Ok(Calibration::new(
            &self.certificate,
            &self.date,
            points.iter().map(GravimetricPoint::correction),
        )?
        .with_degrees_of_freedom(least))
    }

    fn point(&self, delivery: &WeighedDelivery) -> Result<GravimetricPoint, VolumetryError> {
        let mark = delivery.mark_ml;
        positive("the mark", mark)?;
        for reading in &delivery.readings_g {
            positive("the reading of the weighed water", *reading)?;
        }
        let n = delivery.readings_g.len();
        if n == 0 {
            return Err(VolumetryError::NoReadings {
                occasion: format!("the mark {mark} mL"),
                piece: self.piece.id.clone(),
            });
        }
        let mean = delivery.readings_g.iter().sum::<f64>() / n as f64;
        let deviation = (n > 1).then(|| {
            let squares: f64 = delivery.readings_g.iter().map(|m| (m - mean).powi(2)).sum();
            (squares / (n - 1) as f64).sqrt()
        });
        let z = self.z();
        let volume = Formula::build(
            &(self.mass(mark, mean, deviation, n) * z)
                .named("V_20", format!("volume at 20 degC of the mark {mark} mL"))
                .in_unit(units::ml()),
        )?;
        let budget = propagate(&volume);
        Ok(GravimetricPoint {
            mark_ml: mark,
            weighings: n,
            standard_deviation_ml: deviation.map(|s| s * budget.value / mean),
            volume,
            budget,
        })
    }

    /// The balance reading of the mean delivery with what acts on it.
    fn mass(&self, mark: f64, mean: f64, deviation: Option<f64>, n: usize) -> Expr {
        let base = format!("{}/{}/{mark}", self.certificate, self.piece.id);
        let grams = |value: f64| Quantity::new(value, units::g());
        let input = Input::new(format!("{base}/mean"), "m", grams(mean))
            .described(format!("mean reading of the water of the mark {mark} mL"))
            .grouped("repeatability");
        let input = match deviation {
            Some(s) => input
                .distributed(Distribution::StudentT {
                    scale: s / (n as f64).sqrt(),
                })
                .with_degrees_of_freedom((n - 1) as f64)
                .from_origin(Origin::Observations(format!("{n} weighings"))),
            None => input
                .distributed(Distribution::Normal {
                    standard_uncertainty: self.single_weighing(),
                })
                .from_origin(Origin::Reading(format!(
                    "one weighing on {}",
                    self.balance.id
                ))),
        };
        let rounding = Input::new(format!("{base}/rounding"), "δ_res", grams(0.0))
            .described("rounding of the balance reading")
            .distributed(Distribution::Rectangular {
                half_width: self.balance.record.readability_g / 2.0,
            })
            .from_origin(self.balance.origin.clone())
            .grouped("balance resolution");
        let mut terms = vec![Expr::input(input), Expr::input(rounding)];
        terms.extend(self.balance.linearity_expr());
        if let Some((lost, half_width)) = self.evaporation_g {
            let input = Input::new(
                format!("{}/evaporation", self.certificate),
                "m_evap",
                grams(lost),
            )
            .described("water that evaporates in one weighing")
            .distributed(Distribution::Rectangular { half_width })
            .from_origin(Origin::Observations("evaporation loss of a cycle".into()))
            .grouped("evaporation");
            terms.push(Expr::input(input));
        }
        let mass = Expr::sum(terms);
        match self.balance.drift_expr() {
            Some(drift) => mass * drift,
            None => mass,
        }
    }

    /// Scatter to expect of a single weighing, g: the balance and the filling of the piece.
    fn single_weighing(&self) -> f64 {
        // One mL of water weighs 1 g here: a scatter needs no third digit.
        let filling_g = self.piece.filling_ml.unwrap_or(0.0);
        self.balance.record.repeatability_g.hypot(filling_g)
    }

    /// Volume at 20 degC for one gram of balance reading: Z with its glass term.
    fn z(&self) -> Expr {
        let one = || Expr::number(1.0);
        let air = self.air.expr();
        let water = water::density_expr(self.water_temperature.expr());
        let mut z = (one() - air.clone() / weights_expr()) / (water - air);
        if let Some(glass) = &self.piece.glass {
            z = z * (one() - glass_expansion(glass) * above_20_c(self.water_temperature));
        }
        z.named("Z", "volume at 20 degC of one gram of reading")
    }
}
