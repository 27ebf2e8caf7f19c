//! Indicators: what they show, where they change, and what end they give on a curve.
//!
//! Source: reference/indicators/. An indicator is data; [`end_point`] judges it on a predicted curve.

mod data;
pub mod end_point;

use std::collections::BTreeMap;

use crate::colour::Colour;
use crate::couples::nernst_slope_v;
use crate::equilibrium_error::{EquilibriumError, nearest_names};

/// A colour as a person says it and as a screen paints it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Paint {
    /// Name.
    pub name: String,
    /// Value.
    pub colour: Colour,
}

/// An indicator.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Indicator {
    /// Key in the reference files.
    pub key: String,
    /// Name for people.
    pub name: String,
    /// What it responds to and how.
    pub kind: IndicatorKind,
    /// Source in words.
    pub source: String,
    /// A caution, if the file has one.
    pub note: Option<String>,
}

/// What an indicator responds to.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum IndicatorKind {
    /// pH.
    AcidBase {
        /// pK of the indicator; the middle of the range where none is published.
        pk: Option<f64>,
        /// Transition range, pH.
        range: (f64, f64),
        /// Colour below the range.
        acid: Paint,
        /// Colour above the range.
        base: Paint,
        /// pH called the end when the pH rises.
        end_rising: f64,
        /// pH called the end when the pH falls.
        end_falling: f64,
    },
    /// A free metal ion.
    Metallochromic {
        /// pKs of the free indicator.
        pks: Vec<f64>,
        /// Colours of the free indicator, from acid to base.
        free: Vec<Paint>,
        /// Colour of the metal complexes.
        complex: Paint,
        /// pH range of use.
        use_ph: (f64, f64),
        /// lg K of its complexes at ionic strength 0.1 mol/L, by metal ion.
        log_k: BTreeMap<String, f64>,
    },
    /// The end of a precipitation.
    Precipitation {
        /// How it shows.
        shows_by: ShowsBy,
        /// Ions it may be used for.
        ions: Vec<String>,
        /// pH range of use.
        use_ph: (f64, f64),
        /// Colour before the end.
        before: Paint,
        /// Colour after the end.
        after: Paint,
    },
    /// A potential.
    Redox {
        /// Potential of the change, V against the standard hydrogen electrode.
        potential_v: f64,
        /// Electrons of the change.
        electrons: u8,
        /// Colour of the oxidized form.
        oxidized: Paint,
        /// Colour of the reduced form.
        reduced: Paint,
    },
}

/// How a precipitation indicator shows the end.
#[derive(Debug, Clone, PartialEq)]
pub enum ShowsBy {
    /// It is adsorbed when the precipitate changes its charge: at equivalence.
    Adsorption,
    /// A coloured salt begins to form.
    Precipitate {
        /// The salt.
        solid: String,
        /// The ion of the indicator in it.
        reagent: String,
        /// Usual concentration in the flask, mol/L.
        usual_mol_per_l: f64,
    },
    /// A coloured complex forms with the first excess of titrant.
    Complex,
}

/// Where an indicator changes, in the level of the curve (pH, pM, pAg, V).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Lower limit of the visible change.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Level called the end when the level rises.
    pub end_rising: f64,
    /// Level called the end when it falls.
    pub end_falling: f64,
}

impl Indicator {
    /// The indicator with this key.
    ///
    /// # Errors
    /// [`EquilibriumError::UnknownSpecies`] with the nearest keys.
    pub fn named(key: &str) -> Result<&'static Self, EquilibriumError> {
        Self::all()
            .iter()
            .find(|indicator| indicator.key == key || indicator.name == key)
            .ok_or_else(|| EquilibriumError::UnknownSpecies {
                name: key.to_owned(),
                nearest: nearest_names(
                    key,
                    Self::all().iter().map(|indicator| indicator.key.as_str()),
                ),
                file: "indicators/",
            })
    }

    /// All indicators of the reference files.
    #[must_use]
    pub fn all() -> &'static [Self] {
        data::all()
    }

    /// Shares of the forms with their paint at a level: of the acid-base and redox forms, of free and bound indicator at a pM.
    fn forms(&self, level: f64, ph: f64, metal: Option<&str>) -> Vec<(&Paint, f64)> {
        let share = |exponent: f64| 1.0 / (1.0 + 10f64.powf(exponent));
        match &self.kind {
            IndicatorKind::AcidBase {
                pk,
                range,
                acid,
                base,
                ..
            } => {
                let pk = pk.unwrap_or(0.5 * (range.0 + range.1));
                let basic = share(pk - level);
                vec![(acid, 1.0 - basic), (base, basic)]
            }
            IndicatorKind::Redox {
                potential_v,
                electrons,
                oxidized,
                reduced,
            } => {
                let shown =
                    share(f64::from(*electrons) * (potential_v - level) / nernst_slope_v(25.0));
                vec![(reduced, 1.0 - shown), (oxidized, shown)]
            }
            IndicatorKind::Metallochromic {
                pks, free, complex, ..
            } => {
                let bound = metal
                    .and_then(|metal| self.conditional_log_k(metal, ph))
                    .map_or(0.0, |k| share(level - k));
                let mut forms: Vec<(&Paint, f64)> = free
                    .iter()
                    .zip(protonation_shares(pks, ph))
                    .map(|(paint, s)| (paint, (1.0 - bound) * s))
                    .collect();
                forms.push((complex, bound));
                forms
            }
            IndicatorKind::Precipitation { before, after, .. } => {
                // the caller gives the level relative to the end: below 0 before it
                if level < 0.0 {
                    vec![(before, 1.0)]
                } else {
                    vec![(after, 1.0)]
                }
            }
        }
    }

    /// Colour of the flask at a level of the curve. `depth` is the amount of indicator relative to the usual one.
    ///
    /// For a metallochromic indicator the level is pM of `situation.metal`; for a precipitation indicator any negative number
    /// before the end and 0 or more after it.
    #[must_use]
    pub fn colour(&self, level: f64, situation: &end_point::Situation, depth: f64) -> Colour {
        let forms = self.forms(level, situation.ph, situation.metal.as_deref());
        let shares: Vec<(Colour, f64)> = forms
            .into_iter()
            .map(|(paint, share)| (paint.colour, share))
            .collect();
        Colour::mixed(&shares, depth)
    }

    /// Name of the prevailing colour at a level.
    #[must_use]
    pub fn colour_name(&self, level: f64, situation: &end_point::Situation) -> String {
        let forms = self.forms(level, situation.ph, situation.metal.as_deref());
        forms
            .into_iter()
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or_else(String::new, |(paint, _)| paint.name.clone())
    }

    /// Conditional lg K of the complex of a metal with the indicator as it is protonated at a pH.
    ///
    /// # Formula
    /// lg K' = lg K - lg(1 + sum of the protonated forms over the bare one)
    #[must_use]
    pub fn conditional_log_k(&self, metal: &str, ph: f64) -> Option<f64> {
        let IndicatorKind::Metallochromic { pks, log_k, .. } = &self.kind else {
            return None;
        };
        let bare = protonation_shares(pks, ph).last().copied()?;
        Some(log_k.get(metal)? + bare.log10())
    }

    /// Where the indicator changes, or `None` where that depends on more than a level (precipitation) or is not known.
    #[must_use]
    pub fn band(&self, situation: &end_point::Situation) -> Option<Band> {
        match &self.kind {
            IndicatorKind::AcidBase {
                range,
                end_rising,
                end_falling,
                ..
            } => Some(Band {
                low: range.0,
                high: range.1,
                end_rising: *end_rising,
                end_falling: *end_falling,
            }),
            IndicatorKind::Redox {
                potential_v,
                electrons,
                ..
            } => {
                let half = nernst_slope_v(25.0) / f64::from(*electrons);
                let end = *potential_v;
                Some(Band {
                    low: end - half,
                    high: end + half,
                    end_rising: end,
                    end_falling: end,
                })
            }
            IndicatorKind::Metallochromic { .. } => {
                let k = self.conditional_log_k(situation.metal.as_deref()?, situation.ph)?;
                // one part of ten bound to nine parts of ten: the change that an eye sees (common practice)
                Some(Band {
                    low: k - 1.0,
                    high: k + 1.0,
                    end_rising: k,
                    end_falling: k,
                })
            }
            IndicatorKind::Precipitation { .. } => None,
        }
    }
}

/// Shares of the forms of a free indicator at a pH, from the most protonated to the bare one.
fn protonation_shares(pks: &[f64], ph: f64) -> Vec<f64> {
    let mut terms = vec![1.0];
    for pk in pks {
        let last = terms[terms.len() - 1];
        terms.push(last * 10f64.powf(ph - pk));
    }
    let sum: f64 = terms.iter().sum();
    terms.into_iter().map(|term| term / sum).collect()
}

#[cfg(test)]
mod tests {
    use super::end_point::Situation;
    use super::*;

    #[test]
    fn indicators_are_found_and_slips_are_answered() {
        assert!(Indicator::all().len() >= 45, "{}", Indicator::all().len());
        assert!(Indicator::named("phenolphthalein").is_ok());
        let error = Indicator::named("phenolphtalein").unwrap_err();
        assert!(error.to_string().contains("phenolphthalein"), "{error}");
    }

    /// Phenolphthalein: water-clear in acid, pink in base, faint pink at the end (AOAC 936.16 ends at pH 8.6).
    #[test]
    fn the_flask_turns_faintly_pink() {
        let phenolphthalein = Indicator::named("phenolphthalein").unwrap();
        let situation = Situation::default();
        assert_eq!(phenolphthalein.colour(4.0, &situation, 1.0), Colour::CLEAR);
        assert_eq!(phenolphthalein.colour_name(11.0, &situation), "pink");
        let end = phenolphthalein.colour(8.6, &situation, 1.0);
        assert!(end.green < 253 && end.green > 200, "{end:?}");
    }

    /// Eriochrome black T at pH 10: lg K' of magnesium 7.0 - 1.6 = 5.4, zinc well above, calcium 3.8.
    #[test]
    fn metallochromic_constants_depend_on_ph() {
        let black = Indicator::named("eriochrome-black-t").unwrap();
        let magnesium = black.conditional_log_k("Mg^2+", 10.0).unwrap();
        assert!((magnesium - 5.39).abs() < 0.01, "{magnesium}");
        assert!(black.conditional_log_k("Mg^2+", 7.0).unwrap() < magnesium);
        let at = Situation {
            ph: 10.0,
            metal: Some("Mg^2+".into()),
            ..Situation::default()
        };
        assert_eq!(black.colour_name(3.0, &at), "wine red");
        assert_eq!(black.colour_name(8.0, &at), "blue");
    }
}
