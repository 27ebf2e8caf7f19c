//! The end an indicator gives on a predicted curve: where, how far from equivalence, how sharp.

use super::{Indicator, IndicatorKind, ShowsBy};
use crate::constant_set::CarbonDioxide;
use crate::equilibrium_error::EquilibriumError;
use crate::titration_curve::{EquivalencePoint, Quantity, TitrationCurve};
use crate::water;

/// What an indicator meets in the flask beside the level of the curve.
#[derive(Debug, Clone, PartialEq)]
pub struct Situation {
    /// pH of the flask, for metallochromic and precipitation indicators.
    pub ph: f64,
    /// Metal ion that the indicator binds.
    pub metal: Option<String>,
    /// Volume of one drop, mL.
    pub drop_ml: f64,
}

impl Default for Situation {
    /// pH 7, no metal, drops of 0.05 mL (common practice).
    fn default() -> Self {
        Self {
            ph: 7.0,
            metal: None,
            drop_ml: 0.05,
        }
    }
}

/// The end an indicator gives.
///
/// The bias is that of the volume alone; its sign in a result follows from the layout and is the caller's.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct IndicatedEnd {
    /// Level of the curve at the end.
    pub level: f64,
    /// Volume at the end, mL.
    pub volume_ml: f64,
    /// Volume at the end less the equivalence volume, mL: positive if the end comes late.
    pub bias_ml: f64,
    /// The same in percent of the equivalence volume.
    pub bias_percent: f64,
    /// Volumes between which the colour changes, mL; equal for an end that is a point.
    pub visible_ml: (f64, f64),
    /// Volume across the visible change, mL.
    pub sharpness_ml: f64,
    /// The same in drops.
    pub sharpness_drops: f64,
    /// How far the end moves if the flask holds as much carbon dioxide as water takes up from air, mL; acid-base in a closed
    /// flask only.
    pub carbon_dioxide_shift_ml: Option<f64>,
    /// Cautions for a person.
    pub remarks: Vec<String>,
}

/// Judges an indicator on a curve against one of its equivalence points.
///
/// # Errors
/// [`EquilibriumError::NothingToTitrate`] if the indicator does not respond to what the curve shows;
/// [`EquilibriumError::LevelNotReached`] if the curve never passes the change of the indicator.
pub fn indicated_end(
    indicator: &Indicator,
    curve: &TitrationCurve,
    equivalence: &EquivalencePoint,
    situation: &Situation,
) -> Result<IndicatedEnd, EquilibriumError> {
    let mut remarks = Vec::new();
    let fits = matches!(
        (&indicator.kind, curve.quantity()),
        (IndicatorKind::AcidBase { .. }, Quantity::Ph)
            | (
                IndicatorKind::Metallochromic { .. } | IndicatorKind::Precipitation { .. },
                Quantity::P(_)
            )
            | (IndicatorKind::Redox { .. }, Quantity::Potential)
    );
    if !fits {
        return Err(EquilibriumError::NothingToTitrate {
            what: format!(
                "{} does not respond to {}",
                indicator.name,
                curve.quantity().name()
            ),
        });
    }
    if let IndicatorKind::Metallochromic { use_ph, .. }
    | IndicatorKind::Precipitation { use_ph, .. } = &indicator.kind
        && !(use_ph.0..=use_ph.1).contains(&situation.ph)
    {
        remarks.push(format!(
            "{} is used from pH {} to {}, the flask has pH {:.1}",
            indicator.name, use_ph.0, use_ph.1, situation.ph
        ));
    }
    let (level, volume_ml, visible_ml) = match (&indicator.kind, indicator.band(situation)) {
        (IndicatorKind::Precipitation { shows_by, .. }, _) => {
            let volume = match shows_by {
                ShowsBy::Adsorption | ShowsBy::Complex => equivalence.volume_ml,
                ShowsBy::Precipitate { solid, .. } => {
                    first_precipitate(curve, solid, equivalence.volume_ml)?
                }
            };
            (curve.level_at(volume)?, volume, (volume, volume))
        }
        (_, None) => {
            let metal = situation.metal.as_deref().unwrap_or("the metal");
            return Err(EquilibriumError::NothingToTitrate {
                what: format!(
                    "no constant of {} with {metal} is known; add it to reference/indicators/",
                    indicator.name
                ),
            });
        }
        (_, Some(band)) => {
            let rises = curve.level_at(1.02 * equivalence.volume_ml)?
                > curve.level_at(0.98 * equivalence.volume_ml)?;
            let level = if rises {
                band.end_rising
            } else {
                band.end_falling
            };
            let volume = curve.volume_at(level)?;
            let (first, last) = if rises {
                (band.low, band.high)
            } else {
                (band.high, band.low)
            };
            // the change may have begun before the first drop
            let begins = match curve.volume_at(first) {
                Ok(begins) => begins,
                Err(EquilibriumError::LevelNotReached { .. }) => {
                    remarks.push("the colour has begun to change before the first drop".to_owned());
                    0.0
                }
                Err(error) => return Err(error),
            };
            (level, volume, (begins, curve.volume_at(last)?))
        }
    };
    let bias_ml = volume_ml - equivalence.volume_ml;
    let sharpness_ml = visible_ml.1 - visible_ml.0;
    Ok(IndicatedEnd {
        level,
        volume_ml,
        bias_ml,
        bias_percent: 100.0 * bias_ml / equivalence.volume_ml,
        visible_ml,
        sharpness_ml,
        sharpness_drops: sharpness_ml / situation.drop_ml,
        carbon_dioxide_shift_ml: carbon_dioxide_shift(curve, level, volume_ml)?,
        remarks,
    })
}

/// Shift of the volume at a pH by carbon dioxide at saturation with air in the flask, mL.
fn carbon_dioxide_shift(
    curve: &TitrationCurve,
    level: f64,
    volume_ml: f64,
) -> Result<Option<f64>, EquilibriumError> {
    let Some(acid_base) = curve.as_acid_base() else {
        return Ok(None);
    };
    let conditions = acid_base.conditions();
    if conditions.carbon_dioxide != CarbonDioxide::Closed {
        return Ok(None);
    }
    let dissolved = water::carbon_dioxide_henry_constant(conditions.temperature_c)?
        * water::carbon_dioxide_in_air_atm();
    match acid_base.with_added("CO2", dissolved)?.volume_at_ph(level) {
        Ok(disturbed) => Ok(Some(disturbed - volume_ml)),
        Err(EquilibriumError::LevelNotReached { .. }) => Ok(None),
        Err(error) => Err(error),
    }
}

/// Volume at which a coloured salt begins to form, mL.
fn first_precipitate(
    curve: &TitrationCurve,
    solid: &str,
    around_ml: f64,
) -> Result<f64, EquilibriumError> {
    let missing = || EquilibriumError::NothingToTitrate {
        what: format!(
            "{solid} cannot form: put the indicator into the flask solution of the curve"
        ),
    };
    let general = curve.as_general().ok_or_else(missing)?;
    let formed = |volume: f64| -> Result<bool, EquilibriumError> {
        let state = general.state(volume, None)?;
        Ok(general.system().phase(&state, solid).ok_or_else(missing)? > 0.0)
    };
    let (mut low, mut high) = (0.0, around_ml);
    while !formed(high)? {
        low = high;
        high *= 1.25;
        if high > 10.0 * around_ml {
            return Err(missing());
        }
    }
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if formed(middle)? {
            high = middle;
        } else {
            low = middle;
        }
    }
    Ok(high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::constant_set::{Conditions, ConstantSet};
    use crate::equilibrium::system::Setup;
    use crate::solution::Solution;

    fn ideal() -> Conditions {
        Conditions {
            constants: ConstantSet::default().with_pkw(13.997),
            ..Conditions::ideal()
        }
    }

    /// Acetic acid 0.1 M with 0.1 M NaOH, computed elsewhere: pH 8.2 at 24.9918 mL, 10.0 at 25.0503 mL.
    #[test]
    fn phenolphthalein_on_acetic_acid() {
        let flask = Solution::of("CH3COOH", 0.1);
        let curve =
            TitrationCurve::acid_base(&flask, 25.0, &Solution::of("NaOH", 0.1), &ideal()).unwrap();
        let equivalence = curve.equivalence_points().unwrap().pop().unwrap();
        let situation = Situation::default();
        let end = indicated_end(
            Indicator::named("phenolphthalein").unwrap(),
            &curve,
            &equivalence,
            &situation,
        )
        .unwrap();
        assert!(
            (end.visible_ml.0 - 24.9918).abs() < 6e-5 && (end.visible_ml.1 - 25.0503).abs() < 6e-5,
            "{end:?}"
        );
        assert!(
            (end.sharpness_drops - (25.0503 - 24.9918) / 0.05).abs() < 0.003,
            "{end:?}"
        );
        assert!(end.bias_ml.abs() < 0.005);
        let orange = indicated_end(
            Indicator::named("methyl-orange").unwrap(),
            &curve,
            &equivalence,
            &situation,
        )
        .unwrap();
        assert!(
            orange.bias_percent < -50.0,
            "methyl orange is useless here: {orange:?}"
        );
        // carbon dioxide uses up base before phenolphthalein turns and none before methyl orange does
        assert!(
            end.carbon_dioxide_shift_ml.unwrap()
                > 50.0 * orange.carbon_dioxide_shift_ml.unwrap().abs()
        );
    }

    /// Chromate 0.005 M in 25.00 mL 0.100 M chloride: 25.0068 mL with Ksp 1.2e-12 and 1.8e-10 (computed elsewhere).
    #[test]
    fn chromate_comes_late() {
        let constants = ConstantSet::default()
            .acids_only()
            .with_solid("AgCl", &[("Ag+", 1), ("Cl-", 1)], -1.8e-10_f64.log10())
            .with_solid(
                "Ag2CrO4",
                &[("Ag+", 2), ("CrO4^2-", 1)],
                -1.2e-12_f64.log10(),
            );
        let conditions = Conditions {
            constants,
            ..Conditions::ideal()
        };
        let flask = Solution::of("NaCl", 0.1).with("K2CrO4", 0.005);
        let setup = Setup {
            fixed_ph: Some(12.0),
            ..Setup::default()
        };
        let silver = Solution::of("AgNO3", 0.1);
        let curve =
            TitrationCurve::precipitation(&flask, 25.0, &silver, "Ag+", &conditions, &setup)
                .unwrap();
        let equivalence = &curve.equivalence_points().unwrap()[0];
        assert!(
            (equivalence.volume_ml - 25.0).abs() < 1e-9,
            "{equivalence:?}"
        );
        let situation = Situation {
            ph: 8.0,
            ..Situation::default()
        };
        let end = indicated_end(
            Indicator::named("chromate").unwrap(),
            &curve,
            equivalence,
            &situation,
        )
        .unwrap();
        assert!((end.volume_ml - 25.0068).abs() < 6e-5, "{end:?}");
        assert!(end.remarks.is_empty());
        let acid = Situation {
            ph: 4.0,
            ..situation
        };
        let end = indicated_end(
            Indicator::named("chromate").unwrap(),
            &curve,
            equivalence,
            &acid,
        )
        .unwrap();
        assert_eq!(end.remarks.len(), 1);
    }

    #[test]
    fn an_indicator_of_the_wrong_kind_is_refused() {
        let curve = TitrationCurve::acid_base(
            &Solution::of("HCl", 0.1),
            25.0,
            &Solution::of("NaOH", 0.1),
            &ideal(),
        )
        .unwrap();
        let equivalence = curve.equivalence_points().unwrap().pop().unwrap();
        let error = indicated_end(
            Indicator::named("ferroin").unwrap(),
            &curve,
            &equivalence,
            &Situation::default(),
        )
        .unwrap_err();
        assert!(error.to_string().contains("ferroin"), "{error}");
    }
}
