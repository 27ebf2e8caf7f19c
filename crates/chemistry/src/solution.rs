//! A solution as a chemist writes it down: reagents or species with their concentrations.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::Deserialize;

use crate::constant_set::ConstantSet;
use crate::equilibrium_error::{EquilibriumError, nearest_names};
use crate::species::charge;

/// Reagents or species and their amount concentrations in mol/L, before any equilibrium.
///
/// Names are reagents of reference/solutes/solutes.toml (`"NaOH"`, `"Na2CO3"`) or species (`"CH3COOH"`, `"HPO4^2-"`, `"Na+"`).
/// Single ions may be given without a counter-ion: what is missing to neutrality is taken as a singly charged bystander.
///
/// # Example
/// ```
/// use chemistry::solution::Solution;
/// let base = Solution::of("NaOH", 0.0990).with("Na2CO3", 0.0005);
/// assert_eq!(base.parts().len(), 2);
/// ```
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Solution {
    parts: Vec<(String, f64)>,
}

impl Solution {
    /// Water with nothing in it.
    #[must_use]
    pub fn water() -> Self {
        Self::default()
    }

    /// A solution of one reagent or species, `concentration` in mol/L.
    #[must_use]
    pub fn of(name: &str, concentration: f64) -> Self {
        Self::water().with(name, concentration)
    }

    /// The same solution with one more reagent or species in it, `concentration` in mol/L.
    #[must_use]
    pub fn with(mut self, name: &str, concentration: f64) -> Self {
        self.parts.push((name.to_owned(), concentration));
        self
    }

    /// What was put in, in the order given.
    #[must_use]
    pub fn parts(&self) -> &[(String, f64)] {
        &self.parts
    }

    /// The same solution with every concentration multiplied by `factor` (dilution, or a titrant off its nominal strength).
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        Self {
            parts: self
                .parts
                .iter()
                .map(|(name, c)| (name.clone(), c * factor))
                .collect(),
        }
    }

    /// Ions and molecules with their concentrations (mol/L), neutral as a whole.
    ///
    /// # Errors
    /// [`EquilibriumError::UnknownSpecies`] for a name no file knows, [`EquilibriumError::Amount`] for a negative or
    /// non-finite concentration.
    pub fn species(
        &self,
        constants: &ConstantSet,
    ) -> Result<BTreeMap<String, f64>, EquilibriumError> {
        let mut species: BTreeMap<String, f64> = BTreeMap::new();
        let mut net = 0.0;
        for (name, concentration) in &self.parts {
            if !(concentration.is_finite() && *concentration >= 0.0) {
                return Err(EquilibriumError::Amount {
                    what: format!("the concentration of {name}"),
                    value: *concentration,
                    unit: "mol/L",
                    allowed: "0 or more",
                });
            }
            // water of crystallization joins the solvent
            let name = match name.rsplit_once('.') {
                Some((anhydrous, water))
                    if water.trim_start_matches(|c: char| c.is_ascii_digit()) == "H2O" =>
                {
                    anhydrous
                }
                _ => name,
            };
            if let Some(ions) = SOLUTES.reagent(name) {
                for (ion, number) in ions {
                    *species.entry(ion.clone()).or_default() += f64::from(*number) * concentration;
                }
            } else if is_species(name, constants) {
                *species.entry(name.to_owned()).or_default() += concentration;
                net += f64::from(charge(name)?) * concentration;
            } else {
                let reagents = SOLUTES
                    .ions
                    .keys()
                    .chain(SOLUTES.aliases.keys())
                    .map(String::as_str);
                let known = reagents.chain(constants.labels());
                return Err(EquilibriumError::UnknownSpecies {
                    name: name.to_owned(),
                    nearest: nearest_names(name, known),
                    file: "solutes/solutes.toml",
                });
            }
        }
        if net > 0.0 {
            *species.entry(COUNTER_ANION.to_owned()).or_default() += net;
        } else if net < 0.0 {
            *species.entry(COUNTER_CATION.to_owned()).or_default() -= net;
        }
        Ok(species)
    }
}

/// The bystander that balances single anions.
pub(crate) const COUNTER_CATION: &str = "Na+";
/// The bystander that balances single cations; no base and no precipitant of common metals.
pub(crate) const COUNTER_ANION: &str = "ClO4-";

/// Whether a name occurs in any equilibrium or in a reagent.
fn is_species(name: &str, constants: &ConstantSet) -> bool {
    constants.mentions(name)
        || SOLUTES.ions.values().any(|ions| ions.contains_key(name))
        || SOLUTES.further_ions.iter().any(|ion| ion == name)
}

#[derive(Debug, Deserialize)]
struct SoluteFile {
    further_ions: Vec<String>,
    ions: BTreeMap<String, BTreeMap<String, u8>>,
    aliases: BTreeMap<String, String>,
}

impl SoluteFile {
    fn reagent(&self, name: &str) -> Option<&BTreeMap<String, u8>> {
        self.ions
            .get(self.aliases.get(name).map_or(name, String::as_str))
    }
}

#[expect(
    clippy::expect_used,
    reason = "embedded data; a test reads it, so a broken file never ships"
)]
static SOLUTES: LazyLock<SoluteFile> = LazyLock::new(|| {
    toml::from_str(include_str!("../../../reference/solutes/solutes.toml"))
        .expect("reference/solutes/solutes.toml")
});

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_reagent_is_neutral_and_every_alias_leads_somewhere() {
        for (reagent, ions) in &SOLUTES.ions {
            let net: i32 = ions
                .iter()
                .map(|(ion, &n)| i32::from(n) * charge(ion).unwrap())
                .sum();
            assert_eq!(net, 0, "{reagent}");
        }
        for (alias, reagent) in &SOLUTES.aliases {
            assert!(SOLUTES.ions.contains_key(reagent), "{alias}");
        }
        for ion in &SOLUTES.further_ions {
            charge(ion).unwrap();
        }
    }

    #[test]
    fn lone_ions_get_a_bystander_and_pairs_do_not() {
        let constants = ConstantSet::default();
        let alone = Solution::of("CH3COO-", 0.1).species(&constants).unwrap();
        assert!((alone["Na+"] - 0.1).abs() < 1e-15);
        let pair = Solution::of("CH3COO-", 0.1)
            .with("NH4+", 0.1)
            .species(&constants)
            .unwrap();
        assert_eq!(pair.len(), 2);
    }

    #[test]
    fn water_of_crystallization_joins_the_solvent() {
        let constants = ConstantSet::default();
        let species = |name: &str| Solution::of(name, 0.1).species(&constants).unwrap();
        assert_eq!(species("Na2B4O7.10H2O"), species("borax"));
        assert_eq!(species("H2C2O4.2H2O"), species("H2C2O4"));
    }

    #[test]
    fn bad_input_is_named() {
        let constants = ConstantSet::default();
        let unknown = Solution::of("NaOOH", 0.1).species(&constants).unwrap_err();
        assert!(unknown.to_string().contains("NaOH"), "{unknown}");
        let negative = Solution::of("NaOH", -0.1).species(&constants).unwrap_err();
        assert!(negative.to_string().contains("NaOH"), "{negative}");
        assert!(Solution::of("NaOH", f64::NAN).species(&constants).is_err());
    }
}
