//! The constants a calculation uses: those of the reference files, or a book's own set put in their place.
//!
//! Constants at ionic strength 0 and conditional constants (a book's set at 0.1 mol/L) are never mixed in one system; every
//! constant carries its ionic strength and the builders refuse the mixture.

use std::collections::BTreeMap;
use std::sync::{Arc, LazyLock};

use serde::Deserialize;

use crate::activity::{Activity, ActivityModel, ion_size};
use crate::equilibrium_constant::EquilibriumConstant;
use crate::equilibrium_error::EquilibriumError;
use crate::species::charge;
use crate::water;

/// One form of an acid: its label, charge and ion size.
#[derive(Debug, Clone, PartialEq)]
pub struct AcidForm {
    /// Label with the charge last.
    pub label: String,
    /// Charge number.
    pub charge: i32,
    /// Ion size, angstrom.
    pub size: f64,
}

/// An acid with all its forms and steps.
#[derive(Debug, Clone, PartialEq)]
pub struct Acid {
    /// Key in reference/acids/acids.toml.
    pub key: String,
    /// Name for people.
    pub name: String,
    /// Forms from the fully protonated to the bare one.
    pub forms: Vec<AcidForm>,
    /// Dissociation constants between neighbouring forms; `log10` is minus the pK.
    pub steps: Vec<EquilibriumConstant>,
    /// Source of each step's pK, in words.
    pub sources: Vec<String>,
}

impl Acid {
    /// pK of each step at `temperature_c`.
    #[must_use]
    pub fn pks_at(&self, temperature_c: f64) -> Vec<f64> {
        self.steps
            .iter()
            .map(|step| -step.log10_at(temperature_c))
            .collect()
    }
}

/// Acids and water as a calculation sees them.
#[derive(Debug, Clone)]
pub struct ConstantSet {
    acids: Arc<BTreeMap<String, Acid>>,
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
                nearest: crate::equilibrium_error::nearest_names(
                    key,
                    acids.keys().map(String::as_str),
                ),
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

#[derive(Debug, Deserialize)]
struct AcidFile {
    temperature: f64,
    ionic_strength: f64,
    sources: BTreeMap<String, String>,
    acid: Vec<AcidRecord>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct AcidRecord {
    key: String,
    name: String,
    forms: Vec<String>,
    steps: Vec<StepRecord>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct StepRecord {
    pk: f64,
    dh: Option<f64>,
    dcp: Option<f64>,
    equation: Option<[f64; 5]>,
    source: String,
    thermal: Option<String>,
    equation_source: Option<String>,
    mark: String,
    ionic_strength: Option<f64>,
    note: Option<String>,
}

/// Reads an acid file and checks it: unique keys and forms, charges falling by one, ascending pKs, known sources and marks.
fn read_acids(text: &str) -> Result<BTreeMap<String, Acid>, String> {
    let file: AcidFile = toml::from_str(text).map_err(|error| error.to_string())?;
    let mut acids = BTreeMap::new();
    let mut labels = std::collections::BTreeSet::from(["H+".to_owned(), "OH-".to_owned()]);
    for record in file.acid {
        let refuse = |why: &str| Err(format!("acid \"{}\": {why}", record.key));
        if record.forms.len() != record.steps.len() + 1 {
            return refuse("one form more than steps is needed");
        }
        let mut forms = Vec::new();
        for label in &record.forms {
            if !labels.insert(label.clone()) {
                return refuse(&format!("the form {label} is listed twice"));
            }
            let charge = charge(label).map_err(|error| error.to_string())?;
            forms.push(AcidForm {
                label: label.clone(),
                charge,
                size: ion_size(label),
            });
        }
        if forms
            .windows(2)
            .any(|pair| pair[0].charge != pair[1].charge + 1)
        {
            return refuse("the charge must fall by one from form to form");
        }
        if record.steps.windows(2).any(|pair| pair[0].pk >= pair[1].pk) {
            return refuse("the pKs must rise from step to step");
        }
        let mut steps = Vec::new();
        let mut sources = Vec::new();
        for step in &record.steps {
            for key in [
                Some(&step.source),
                step.thermal.as_ref(),
                step.equation_source.as_ref(),
            ]
            .into_iter()
            .flatten()
            {
                if !file.sources.contains_key(key) {
                    return refuse(&format!("source \"{key}\" is not in [sources]"));
                }
            }
            if step.dh.is_some() != step.thermal.is_some()
                || step.equation.is_some() != step.equation_source.is_some()
            {
                return refuse("heat data and equations need their own source");
            }
            if !["V", "M"].contains(&step.mark.as_str()) || !(-3.0..=16.0).contains(&step.pk) {
                return refuse("the mark must be V or M and the pK must lie between -3 and 16");
            }
            steps.push(EquilibriumConstant {
                log10: -step.pk,
                temperature_c: file.temperature,
                ionic_strength: step.ionic_strength.unwrap_or(file.ionic_strength),
                enthalpy_kj_per_mol: step.dh,
                heat_capacity_j_per_mol_k: step.dcp,
                equation: step.equation.map(|c| c.map(|value| -value)),
            });
            let note = step
                .note
                .as_ref()
                .map(|note| format!("; {note}"))
                .unwrap_or_default();
            let mark = if step.mark == "M" {
                " (from memory)"
            } else {
                ""
            };
            sources.push(format!("{}{mark}{note}", file.sources[&step.source]));
        }
        let acid = Acid {
            key: record.key.clone(),
            name: record.name.clone(),
            forms,
            steps,
            sources,
        };
        if acids.insert(record.key.clone(), acid).is_some() {
            return refuse("the key is used twice");
        }
    }
    Ok(acids)
}

#[expect(
    clippy::expect_used,
    reason = "embedded data; a test reads it, so a broken file never ships"
)]
static STANDARD: LazyLock<ConstantSet> = LazyLock::new(|| ConstantSet {
    acids: Arc::new(
        read_acids(include_str!("../../../reference/acids/acids.toml"))
            .expect("reference/acids/acids.toml"),
    ),
    pkw: None,
});

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
    fn broken_files_are_refused_with_the_reason() {
        let head = "temperature = 25.0\nionic_strength = 0.0\n[sources]\nx = \"book\"\n";
        for (block, word) in [
            (
                "forms = [\"HA\"]\nsteps = [{ pk = 3.0, source = \"x\", mark = \"V\" }]",
                "one form more",
            ),
            (
                "forms = [\"HA\", \"A^2-\"]\nsteps = [{ pk = 3.0, source = \"x\", mark = \"V\" }]",
                "fall by one",
            ),
            (
                "forms = [\"HA\", \"A-\"]\nsteps = [{ pk = 3.0, source = \"y\", mark = \"V\" }]",
                "[sources]",
            ),
            (
                "forms = [\"HA\", \"A-\"]\nsteps = [{ pk = 3.0, dh = 1.0, source = \"x\", mark = \"V\" }]",
                "own source",
            ),
            (
                "forms = [\"HA\", \"A-\"]\nsteps = [{ pk = 31.0, source = \"x\", mark = \"V\" }]",
                "between -3 and 16",
            ),
        ] {
            let text = format!("{head}[[acid]]\nkey = \"a\"\nname = \"a\"\n{block}\n");
            let error = read_acids(&text).unwrap_err();
            assert!(error.contains(word), "{error}");
        }
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
