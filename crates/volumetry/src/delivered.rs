//! Volumes as formulas: what a burette delivered in a run, what a pipette or flask measured.

use metrology::{Distribution, Expr, Input, Origin, Quantity, WrittenQuantity};

use crate::catalogue::Kind;
use crate::conditions::{Liquid, LiquidTemperature, factor_to_20_c};
use crate::error::{VolumetryError, positive};
use crate::occasion::Occasion;
use crate::piece::{Accuracy, Piece};
use crate::reading::{self, ReadingUncertainty};
use crate::units;

/// The readings of one filling of a burette, as written.
#[derive(Debug, Clone, PartialEq)]
pub struct Fill {
    /// Reading before.
    pub initial: WrittenQuantity,
    /// Reading after.
    pub last: WrittenQuantity,
}

/// Liquid that still clung to the wall when the burette was read: the reading was too high by it.
#[derive(Debug, Clone, PartialEq)]
pub struct Drainage {
    /// Best estimate of it, mL; often 0 with an uncertainty.
    pub value_ml: f64,
    /// What is known about it, mL.
    pub distribution: Distribution,
    /// Where that comes from.
    pub origin: Origin,
}

/// What is known of a burette's delivery in one run.
#[derive(Debug, Clone)]
pub struct BuretteRun<'a> {
    /// The run.
    pub occasion: &'a Occasion,
    /// Readings, one pair a filling.
    pub fills: &'a [Fill],
    /// Step in which the burette was read, mL, where it is not that of the decimals written: 0.05 for readings to
    /// the nearest half division.
    pub step_ml: Option<f64>,
    /// Temperature of the liquid.
    pub temperature: &'a LiquidTemperature,
    /// The liquid.
    pub liquid: &'a Liquid,
    /// Drainage effect of the run, if it counts.
    pub drainage: Option<&'a Drainage>,
    /// Name of the end point that the last reading belongs to, where a run has several; readings of one run that are
    /// named alike are one input.
    pub end: Option<&'a str>,
    /// Whether the burette was refilled in the run, in these fills or after them: a reading is then named by its fill.
    pub refilled: bool,
}

impl Piece {
    /// The volume that a burette delivered in a run, at 20 degC.
    ///
    /// # Formula
    /// V = (sum of (final - initial) + error of the burette - drainage) (1 + (gamma - beta)(t - 20 degC))
    ///
    /// # Uncertainty
    /// Each reading: see [`reading::uncertainty`], of one run. The error of the burette is shared by all runs: the
    /// tolerance once a filling (a limit holds for any part of the scale, and a refill repeats the same error), or the
    /// corrections of the calibration at both readings. Temperature and expansion coefficients are shared.
    ///
    /// # Errors
    /// [`VolumetryError::WrongKind`], [`VolumetryError::NoReadings`], [`VolumetryError::OutsideScale`],
    /// [`VolumetryError::ReadingOrder`], [`VolumetryError::Quantity`] for a reading that is no volume, and
    /// [`VolumetryError::OutsideCalibration`].
    pub fn delivered_in_run(&self, run: &BuretteRun<'_>) -> Result<Expr, VolumetryError> {
        if self.kind != Kind::Burette {
            return Err(self.cannot("deliver by readings"));
        }
        if run.fills.is_empty() {
            return Err(VolumetryError::NoReadings {
                occasion: run.occasion.id.clone(),
                piece: self.id.clone(),
            });
        }
        let label = &match run.end {
            Some(end) => format!("{},{end}", run.occasion.label),
            None => run.occasion.label.clone(),
        };
        let end_symbol = run
            .end
            .map_or_else(|| "end".to_string(), |end| format!("end {end}"));
        let mut differences = Vec::new();
        let mut corrections = Vec::new();
        for (index, fill) in run.fills.iter().enumerate() {
            let part = if run.refilled || run.fills.len() > 1 {
                (
                    format!("/fill-{}", index + 1),
                    format!("{}.{}", run.occasion.label, index + 1),
                )
            } else {
                (String::new(), run.occasion.label.clone())
            };
            // An end point lies in the last of the fills; those before it ran out to their final readings.
            let (which, symbol) = match run.end {
                Some(end) if index + 1 == run.fills.len() => (end, end_symbol.as_str()),
                _ => ("final", "end"),
            };
            let first = self.read(run, &fill.initial)?;
            let last = self.read(run, &fill.last)?;
            if last < first {
                return Err(VolumetryError::ReadingOrder {
                    occasion: run.occasion.id.clone(),
                    first: fill.initial.to_string(),
                    last: fill.last.to_string(),
                });
            }
            differences.push(
                self.reading(run, &fill.last, last, &part, which, symbol)?
                    - self.reading(run, &fill.initial, first, &part, "initial", "start")?,
            );
            corrections.push(match self.accuracy {
                Accuracy::Tolerance { .. } => self.correction(last)?,
                // The zero mark has no correction to subtract.
                Accuracy::Calibration(_) if first == 0.0 => self.correction(last)?,
                Accuracy::Calibration(_) => self.correction(last)? - self.correction(first)?,
            });
        }
        let observed = Expr::sum(differences).named(
            format!("V_obs,{label}"),
            format!("titre as read in {}", run.occasion.id),
        );
        let correction =
            if matches!(self.accuracy, Accuracy::Tolerance { .. }) && corrections.len() > 1 {
                Expr::number(corrections.len() as f64) * corrections.swap_remove(0)
            } else {
                Expr::sum(corrections)
            };
        let mut volume = observed.in_unit(units::ml()) + correction;
        if let Some(drainage) = run.drainage {
            volume = volume - drainage_expr(run.occasion, &self.id, drainage);
        }
        let factor = factor_to_20_c(self.glass.as_ref(), run.liquid, run.temperature);
        Ok((volume * factor)
            .named(
                format!("V_{label}"),
                format!("volume delivered in {} at 20 degC", run.occasion.id),
            )
            .in_unit(units::ml()))
    }

    /// The volume that a pipette delivers, or a flask contains, on one occasion, at 20 degC.
    ///
    /// A piston pipette may be set below its nominal volume: give `set_ml`.
    ///
    /// # Formula
    /// V = (nominal + error of the piece + filling)(1 + (gamma - beta)(t - 20 degC))
    ///
    /// # Uncertainty
    /// The error of the piece (tolerance or calibration) is shared by all its uses, filling belongs to the occasion.
    ///
    /// # Errors
    /// [`VolumetryError::WrongKind`] for a burette or for a set volume of a piece that cannot be set;
    /// [`VolumetryError::OutsideScale`] for a set volume above the nominal one; [`VolumetryError::OutsideCalibration`].
    pub fn held(
        &self,
        occasion: &Occasion,
        set_ml: Option<f64>,
        temperature: &LiquidTemperature,
        liquid: &Liquid,
    ) -> Result<Expr, VolumetryError> {
        if self.kind == Kind::Burette {
            return Err(self.cannot("measure one volume without readings"));
        }
        let set = match set_ml {
            None => self.nominal_ml,
            Some(_) if self.kind != Kind::PistonPipette => {
                return Err(self.cannot("be set to another volume"));
            }
            Some(set) => {
                positive("the volume set", set)?;
                if set > self.nominal_ml {
                    return Err(self.off_scale(occasion, format!("{set} mL")));
                }
                set
            }
        };
        let nominal = Expr::constant(Quantity::new(set, units::ml()));
        let mut volume = nominal + self.correction(set)?;
        if let Some(filling) = self.filling_ml.filter(|s| *s > 0.0) {
            let input = Input::new(
                format!("{}/{}/filling", occasion.id, self.id),
                format!("δ_fill,{}{}", self.symbol, occasion.label),
                Quantity::new(0.0, units::ml()),
            )
            .described(format!("filling {} in {}", self.description, occasion.id))
            .distributed(Distribution::Normal {
                standard_uncertainty: filling,
            })
            .from_origin(Origin::Apparatus(format!(
                "repeatability of filling {}",
                self.id
            )))
            .grouped(format!("filling the {}", self.kind));
            volume = volume + Expr::input(occasion.owns(input));
        }
        let factor = factor_to_20_c(self.glass.as_ref(), liquid, temperature);
        Ok((volume * factor)
            .named(
                format!("V_{},{}", self.symbol, occasion.label),
                format!(
                    "volume of {} in {} at 20 degC",
                    self.description, occasion.id
                ),
            )
            .in_unit(units::ml()))
    }

    /// A reading in mL, if it lies on the scale.
    fn read(&self, run: &BuretteRun<'_>, written: &WrittenQuantity) -> Result<f64, VolumetryError> {
        let ml = written
            .value_in(&units::ml())
            .map_err(|source| VolumetryError::Quantity {
                what: format!("a reading of {} in {}", self.id, run.occasion.id),
                source,
            })?;
        // A reading is a decimal number; the slack is for the conversion from another unit.
        if (0.0..=self.nominal_ml * (1.0 + 1e-9)).contains(&ml) {
            Ok(ml)
        } else {
            Err(self.off_scale(run.occasion, written.to_string()))
        }
    }

    fn reading(
        &self,
        run: &BuretteRun<'_>,
        written: &WrittenQuantity,
        ml: f64,
        (part, label): &(String, String),
        which: &str,
        symbol: &str,
    ) -> Result<Expr, VolumetryError> {
        let step = match run.step_ml {
            Some(step) => {
                positive("the reading step", step)?;
                step
            }
            None => written.step() * written.unit.factor(),
        };
        let distribution = match reading::uncertainty(step, self.graduation_ml) {
            ReadingUncertainty::Triangular { half_width_ml } => Distribution::Triangular {
                half_width: half_width_ml,
            },
            ReadingUncertainty::Rectangular { half_width_ml } => Distribution::Rectangular {
                half_width: half_width_ml,
            },
        };
        let mut input = Input::new(
            format!("{}/{}{part}/{which}", run.occasion.id, self.id),
            format!("V_{symbol},{label}"),
            Quantity::new(ml, units::ml()),
        )
        .described(format!(
            "{which} reading of {} in {}",
            self.id, run.occasion.id
        ))
        .distributed(distribution)
        .from_origin(Origin::Reading(self.id.clone()))
        .grouped("reading the burette");
        if written.unit == units::ml() {
            input = input.written(written.number.to_string());
        }
        Ok(Expr::input(run.occasion.owns(input)))
    }

    fn cannot(&self, purpose: &'static str) -> VolumetryError {
        VolumetryError::WrongKind {
            piece: self.id.clone(),
            kind: self.kind,
            purpose,
        }
    }

    fn off_scale(&self, occasion: &Occasion, reading: String) -> VolumetryError {
        VolumetryError::OutsideScale {
            occasion: occasion.id.clone(),
            reading,
            piece: self.id.clone(),
            nominal_ml: self.nominal_ml,
        }
    }
}

fn drainage_expr(occasion: &Occasion, piece: &str, drainage: &Drainage) -> Expr {
    let input = Input::new(
        format!("{}/{piece}/drainage", occasion.id),
        format!("V_film,{}", occasion.label),
        Quantity::new(drainage.value_ml, units::ml()),
    )
    .described(format!(
        "liquid left on the wall of {piece} in {}",
        occasion.id
    ))
    .distributed(drainage.distribution)
    .from_origin(drainage.origin.clone())
    .grouped("drainage");
    Expr::input(occasion.owns(input))
}
