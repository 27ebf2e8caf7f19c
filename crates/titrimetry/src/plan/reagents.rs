//! Concentrated reagents and impure solids, as data of `reference/reagents/`. For planning only.

use chemistry::atomic_weights::AtomicWeights;
use chemistry::formula::Formula;
use chemistry::molar_mass::MolarMass;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// A concentrated reagent: strength from density and mass fraction.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Concentrate {
    /// What it is called.
    pub name: String,
    /// Formula of the substance.
    pub substance: Formula,
    /// Mass fraction, %.
    pub percent: f64,
    /// Its lower limit, %.
    pub from_percent: f64,
    /// Its upper limit, %.
    pub to_percent: f64,
    /// Density, g/mL.
    pub density_g_per_ml: f64,
    /// Strength that the table prints, mol/L; not used, see the trap where the two disagree.
    pub printed_mol_per_l: f64,
    /// True if the stock leaves its carbonate behind.
    #[serde(default)]
    pub carbonate_free: bool,
    /// How sure the figures are.
    pub mark: crate::rule_profile::Mark,
    /// Key of the source.
    source: String,
    /// What has tripped people up.
    #[serde(default)]
    pub trap: Option<String>,
    /// Caution when handling it.
    pub caution: String,
}

/// A solid that is never pure.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Solid {
    /// What it is called.
    pub name: String,
    /// Formula of the substance.
    pub substance: Formula,
    /// Content, %.
    pub percent: f64,
    /// Its lower limit, %.
    pub from_percent: f64,
    /// Its upper limit, %.
    pub to_percent: f64,
    /// How sure the figures are.
    pub mark: crate::rule_profile::Mark,
    /// The source.
    pub source: String,
    /// What has tripped people up.
    #[serde(default)]
    pub trap: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ConcentrateFile {
    sources: BTreeMap<String, String>,
    reagent: Vec<Concentrate>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SolidFile {
    solid: Vec<Solid>,
}

static CONCENTRATES: LazyLock<ConcentrateFile> = LazyLock::new(|| {
    let text = include_str!("../../../../reference/reagents/concentrated.toml");
    match toml::from_str(text) {
        Ok(file) => file,
        Err(error) => {
            panic!("the embedded file reference/reagents/concentrated.toml is broken: {error}")
        }
    }
});

static SOLIDS: LazyLock<SolidFile> = LazyLock::new(|| {
    let text = include_str!("../../../../reference/reagents/solids.toml");
    match toml::from_str(text) {
        Ok(file) => file,
        Err(error) => panic!("the embedded file reference/reagents/solids.toml is broken: {error}"),
    }
});

impl Concentrate {
    /// All of them.
    pub fn all() -> &'static [Self] {
        &CONCENTRATES.reagent
    }

    /// The first one of a substance.
    pub fn of(formula: &Formula) -> Option<&'static Self> {
        Self::all()
            .iter()
            .find(|r| r.substance.is_same_species(formula))
    }

    /// Strength at a mass fraction in %, mol/L: 10 d w / M.
    pub fn strength(&self, percent: f64) -> f64 {
        10.0 * self.density_g_per_ml * percent / molar_mass(&self.substance)
    }

    /// Where the figures come from.
    pub fn source(&self) -> &'static str {
        CONCENTRATES
            .sources
            .get(&self.source)
            .map_or("", String::as_str)
    }
}

impl Solid {
    /// The one of a substance.
    pub fn of(formula: &Formula) -> Option<&'static Self> {
        SOLIDS
            .solid
            .iter()
            .find(|s| s.substance.is_same_species(formula))
    }
}

/// Molar mass without uncertainty, g/mol: for amounts to weigh or measure.
pub(super) fn molar_mass(formula: &Formula) -> f64 {
    MolarMass::of(formula, AtomicWeights::default_set()).map_or(f64::NAN, |m| m.value())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Last column of the table in the notes on chemistry, 10 d w / M: computed there with other software.
    #[test]
    fn strengths_follow_from_density_and_mass_fraction() {
        for (name, expected) in [
            ("concentrated hydrochloric acid", 12.04),
            ("concentrated sulfuric acid", 18.01),
            ("concentrated nitric acid", 15.57),
            ("glacial acetic acid", 17.45),
            ("phosphoric acid 85 %", 14.92),
            ("perchloric acid 70 %", 11.72),
            ("hydrofluoric acid", 29.15),
            ("concentrated ammonia", 14.80),
            ("sodium hydroxide 50 %", 19.32),
            ("potassium hydroxide 45 %", 11.63),
        ] {
            let reagent = Concentrate::all().iter().find(|r| r.name == name).unwrap();
            let found = reagent.strength(reagent.percent);
            assert!((found - expected).abs() <= 0.0051, "{name}: {found}");
        }
    }

    #[test]
    fn every_entry_is_sound() {
        for r in Concentrate::all() {
            assert!(
                r.from_percent <= r.percent && r.percent <= r.to_percent,
                "{}",
                r.name
            );
            assert!(!r.source().is_empty(), "{}", r.name);
            // What the table prints is off by more than its last digit only where a trap says so.
            let off = (r.strength(r.percent) / r.printed_mol_per_l - 1.0).abs();
            assert!(off < 0.012 || r.trap.is_some(), "{}: {off}", r.name);
        }
        for s in &SOLIDS.solid {
            assert!(
                s.from_percent <= s.percent && s.percent <= s.to_percent,
                "{}",
                s.name
            );
            assert!(molar_mass(&s.substance) > 0.0 && !s.source.is_empty());
        }
    }
}
