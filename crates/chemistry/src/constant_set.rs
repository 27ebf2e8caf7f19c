//! The constants a calculation uses: those of the reference files, or a book's own set put in their place.
//!
//! Constants at ionic strength 0 and conditional constants (a book's set at 0.1 mol/L) are never mixed in one system; every
//! constant carries its ionic strength and the builders refuse the mixture.

use std::collections::BTreeMap;
use std::sync::{Arc, LazyLock};

use crate::acid_base::acids::{Acid, read_acids};
use crate::activity::{Activity, ActivityModel};
use crate::complexes::{Complex, ComplexFile, read_complexes};
use crate::couples::{Couple, read_couples};
use crate::equilibrium_constant::EquilibriumConstant;
use crate::equilibrium_error::{EquilibriumError, nearest_names};
use crate::solids::{Solid, read_solids};
use crate::water;

/// Acids, complexes, salts, couples and water as a calculation sees them.
#[derive(Debug, Clone)]
pub struct ConstantSet {
    acids: Arc<BTreeMap<String, Acid>>,
    complexes: Arc<ComplexFile>,
    solids: Arc<Vec<Solid>>,
    couples: Arc<Vec<Couple>>,
    /// Ionic strength of the complexes in use, mol/L.
    ionic_strength: f64,
    pkw: Option<f64>,
}

impl Default for ConstantSet {
    fn default() -> Self {
        STANDARD.clone()
    }
}

impl ConstantSet {
    /// All acids, ordered by key.
    pub fn acids(&self) -> impl Iterator<Item = &Acid> {
        self.acids.values()
    }

    /// The acid with this key.
    #[must_use]
    pub fn acid(&self, key: &str) -> Option<&Acid> {
        self.acids.get(key)
    }

    /// The acid that has `label` among its forms, and the number of protons that form has lost.
    #[must_use]
    pub fn acid_with_form(&self, label: &str) -> Option<(&Acid, usize)> {
        self.acids.values().find_map(|acid| {
            let lost = acid.forms.iter().position(|form| form.label == label)?;
            Some((acid, lost))
        })
    }

    /// The same set with other pKs for one acid, valid at `ionic_strength` (mol/L) and taken as independent of temperature.
    ///
    /// # Errors
    /// [`EquilibriumError::UnknownSpecies`] for an unknown key; [`EquilibriumError::Amount`] if the number of pKs is wrong.
    pub fn with_pks(
        mut self,
        key: &str,
        pks: &[f64],
        ionic_strength: f64,
    ) -> Result<Self, EquilibriumError> {
        let acids = Arc::make_mut(&mut self.acids);
        let Some(acid) = acids.get_mut(key) else {
            return Err(EquilibriumError::UnknownSpecies {
                name: key.to_owned(),
                nearest: nearest_names(key, acids.keys().map(String::as_str)),
                file: "acids/acids.toml",
            });
        };
        if pks.len() != acid.steps.len() {
            #[expect(clippy::cast_precision_loss, reason = "a handful of steps")]
            return Err(EquilibriumError::Amount {
                what: format!("the number of pKs for {}", acid.name),
                value: pks.len() as f64,
                unit: "values",
                allowed: "one for each step",
            });
        }
        for (step, pk) in acid.steps.iter_mut().zip(pks) {
            *step = EquilibriumConstant {
                ionic_strength,
                ..EquilibriumConstant::at_25_c(-pk)
            };
        }
        acid.sources = vec!["given by the caller".to_owned(); pks.len()];
        Ok(self)
    }

    /// The same set with its complexes, and the protonation of their ligands, at another ionic strength (mol/L).
    ///
    /// The file holds the EDTA complexes at 0 and at 0.1 mol/L. Constants that exist at ionic strength 0 only stay as they
    /// are; using them beside the others is refused when a system is built.
    #[must_use]
    pub fn at_ionic_strength(mut self, ionic_strength: f64) -> Self {
        self.ionic_strength = ionic_strength;
        let complexes = Arc::clone(&self.complexes);
        for protonation in complexes
            .protonation
            .iter()
            .filter(|p| (p.ionic_strength - ionic_strength).abs() < 1e-9)
        {
            if let Ok(changed) =
                self.clone()
                    .with_pks(&protonation.acid, &protonation.pks, ionic_strength)
            {
                self = changed;
            }
        }
        self
    }

    /// The complexes at the ionic strength of the set.
    pub fn complexes(&self) -> impl Iterator<Item = &Complex> {
        self.complexes
            .complexes
            .iter()
            .filter(|c| (c.constant.ionic_strength - self.ionic_strength).abs() < 1e-9)
    }

    /// The sparingly soluble salts.
    pub fn solids(&self) -> impl Iterator<Item = &Solid> {
        self.solids.iter()
    }

    /// The redox couples.
    pub fn couples(&self) -> impl Iterator<Item = &Couple> {
        self.couples.iter()
    }

    /// The same set with one more complex, or another constant for a known one: overall lg beta at the ionic strength of the
    /// set, from species with their numbers.
    #[must_use]
    pub fn with_complex(mut self, label: &str, from: &[(&str, i32)], log_beta: f64) -> Self {
        let strength = self.ionic_strength;
        let complexes = &mut Arc::make_mut(&mut self.complexes).complexes;
        complexes
            .retain(|c| c.label != label || (c.constant.ionic_strength - strength).abs() > 1e-9);
        complexes.push(Complex {
            label: label.to_owned(),
            from: owned(from),
            constant: EquilibriumConstant {
                ionic_strength: strength,
                ..EquilibriumConstant::at_25_c(log_beta)
            },
            source: "given by the caller".to_owned(),
        });
        self
    }

    /// The same set with one more salt, or another pKsp for a known one.
    #[must_use]
    pub fn with_solid(mut self, label: &str, ions: &[(&str, i32)], pksp: f64) -> Self {
        let strength = self.ionic_strength;
        let solids = Arc::make_mut(&mut self.solids);
        solids.retain(|solid| solid.label != label);
        solids.push(Solid {
            label: label.to_owned(),
            ions: owned(ions),
            constant: EquilibriumConstant {
                ionic_strength: strength,
                ..EquilibriumConstant::at_25_c(-pksp)
            },
            source: "given by the caller".to_owned(),
        });
        self
    }

    /// The same set without any complex, salt or couple that is not added by hand afterwards: a book's world.
    #[must_use]
    pub fn acids_only(mut self) -> Self {
        Arc::make_mut(&mut self.complexes).complexes.clear();
        Arc::make_mut(&mut self.solids).clear();
        Arc::make_mut(&mut self.couples).clear();
        self
    }

    /// The same set with one more couple, or another potential for a known one.
    #[must_use]
    pub fn with_couple(mut self, couple: Couple) -> Self {
        let couples = Arc::make_mut(&mut self.couples);
        couples.retain(|known| known.label != couple.label);
        couples.push(couple);
        self
    }

    /// Whether any equilibrium of the set mentions this species.
    #[must_use]
    pub fn mentions(&self, label: &str) -> bool {
        matches!(label, "H+" | "OH-")
            || self.acid_with_form(label).is_some()
            || self
                .complexes
                .complexes
                .iter()
                .any(|c| c.label == label || c.from.contains_key(label))
            || self
                .solids
                .iter()
                .any(|solid| solid.ions.contains_key(label))
            || self
                .couples
                .iter()
                .any(|couple| couple.oxidized.0 == label || couple.reduced.0 == label)
    }

    /// Labels of everything that [`mentions`](Self::mentions) knows, for error messages.
    pub(crate) fn labels(&self) -> impl Iterator<Item = &str> {
        let forms = self
            .acids
            .values()
            .flat_map(|acid| acid.forms.iter().map(|form| form.label.as_str()));
        let complexes = self
            .complexes
            .complexes
            .iter()
            .flat_map(|c| std::iter::once(&c.label).chain(c.from.keys()));
        let couples = self
            .couples
            .iter()
            .flat_map(|couple| [&couple.oxidized.0, &couple.reduced.0]);
        let solids = self.solids.iter().flat_map(|solid| solid.ions.keys());
        forms.chain(complexes.chain(couples).chain(solids).map(String::as_str))
    }

    /// The same set with a fixed pKw at every temperature.
    #[must_use]
    pub fn with_pkw(mut self, pkw: f64) -> Self {
        self.pkw = Some(pkw);
        self
    }

    /// pKw at `temperature_c`: the one set by hand, or the equation of IAPWS.
    ///
    /// # Errors
    /// As [`water::pkw`].
    pub fn pkw_at(&self, temperature_c: f64) -> Result<f64, EquilibriumError> {
        self.pkw.map_or_else(|| water::pkw(temperature_c), Ok)
    }
}

/// Whether dissolved carbon dioxide stays in the vessel or exchanges with the air.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum CarbonDioxide {
    /// What carbonate is there stays there.
    #[default]
    Closed,
    /// Equilibrium with air of this partial pressure of CO2, atm.
    OpenToAir {
        /// Partial pressure, atm; outdoor air: [`water::carbon_dioxide_in_air_atm`].
        pressure_atm: f64,
    },
}

/// Under what conditions an equilibrium is calculated.
#[derive(Debug, Clone)]
pub struct Conditions {
    /// Temperature, degC.
    pub temperature_c: f64,
    /// Equation for the activity coefficients.
    pub activity: ActivityModel,
    /// Parameters of that equation, if not those of the reference file at this temperature.
    pub activity_parameters: Option<Activity>,
    /// Exchange of carbon dioxide with the air.
    pub carbon_dioxide: CarbonDioxide,
    /// The constants.
    pub constants: ConstantSet,
}

impl Default for Conditions {
    /// 25 degC, Davies equation, closed vessel, the constants of the reference files.
    fn default() -> Self {
        Self {
            temperature_c: 25.0,
            activity: ActivityModel::Davies,
            activity_parameters: None,
            carbon_dioxide: CarbonDioxide::Closed,
            constants: ConstantSet::default(),
        }
    }
}

impl Conditions {
    /// 25 degC without activity coefficients, as textbooks calculate.
    #[must_use]
    pub fn ideal() -> Self {
        Self {
            activity: ActivityModel::None,
            ..Self::default()
        }
    }

    /// The activity model ready for use.
    ///
    /// # Errors
    /// As [`Activity::at`].
    pub fn activity_at(&self) -> Result<Activity, EquilibriumError> {
        self.activity_parameters
            .map_or_else(|| Activity::at(self.activity, self.temperature_c), Ok)
    }
}

#[expect(
    clippy::expect_used,
    reason = "embedded data; a test reads it, so a broken file never ships"
)]
static STANDARD: LazyLock<ConstantSet> = LazyLock::new(|| {
    let acids = read_acids(include_str!("../../../reference/acids/acids.toml"))
        .expect("reference/acids/acids.toml");
    ConstantSet {
        acids: Arc::new(acids),
        complexes: Arc::new(
            read_complexes(include_str!("../../../reference/complexes/complexes.toml"))
                .expect("reference/complexes/complexes.toml"),
        ),
        solids: Arc::new(
            read_solids(include_str!(
                "../../../reference/solubility/solubility.toml"
            ))
            .expect("reference/solubility/solubility.toml"),
        ),
        couples: Arc::new(
            read_couples(include_str!(
                "../../../reference/potentials/potentials.toml"
            ))
            .expect("reference/potentials/potentials.toml"),
        ),
        ionic_strength: 0.0,
        pkw: None,
    }
});

fn owned(terms: &[(&str, i32)]) -> BTreeMap<String, i32> {
    terms
        .iter()
        .map(|(label, number)| ((*label).to_owned(), *number))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_reference_acids_load_and_are_many() {
        let set = ConstantSet::default();
        assert!(set.acids().count() >= 60);
        let (acid, lost) = set.acid_with_form("HPO4^2-").unwrap();
        assert_eq!((acid.key.as_str(), lost), ("phosphoric", 2));
        assert!((acid.pks_at(25.0)[1] - 7.198).abs() < 1e-12);
    }

    /// The equation of Plummer and Busenberg (1982) and the value of NIST 46 stand beside each other in the file.
    #[test]
    fn equations_meet_the_values_at_25_degrees() {
        for acid in ConstantSet::default().acids() {
            for step in acid.steps.iter().filter(|step| step.equation.is_some()) {
                assert!(
                    (step.log10_at(25.0) - step.log10).abs() < 0.002,
                    "{}",
                    acid.key
                );
            }
        }
    }

    #[test]
    fn conditional_constants_come_with_their_ligand() {
        let set = ConstantSet::default().at_ionic_strength(0.1);
        let calcium = |set: &ConstantSet| {
            set.complexes()
                .find(|c| c.label == "CaY^2-")
                .unwrap()
                .constant
                .log10
        };
        assert!((calcium(&set) - 10.65).abs() < 1e-12);
        let edta = set.acid("edta").unwrap();
        assert!(
            (edta.pks_at(25.0)[4] - 10.37).abs() < 1e-12 && edta.steps[4].ionic_strength > 0.09
        );
        assert!((calcium(&ConstantSet::default()) - 12.42).abs() < 1e-12);
    }

    #[test]
    fn a_book_set_replaces_the_pks_of_one_acid_only() {
        let set = ConstantSet::default()
            .with_pks("acetic", &[4.7447], 0.1)
            .unwrap();
        let step = set.acid("acetic").unwrap().steps[0];
        assert!((step.log10 + 4.7447).abs() < 1e-12 && (step.ionic_strength - 0.1).abs() < 1e-12);
        assert!(
            (ConstantSet::default().acid("acetic").unwrap().steps[0].log10 + 4.757).abs() < 1e-12
        );
        let error = ConstantSet::default()
            .with_pks("acetc", &[4.7], 0.0)
            .unwrap_err();
        assert!(error.to_string().contains("acetic"), "{error}");
    }
}
