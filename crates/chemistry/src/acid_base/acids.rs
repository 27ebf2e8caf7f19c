//! Acids and their dissociation constants, from reference/acids/acids.toml.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::activity::ion_size;
use crate::equilibrium_constant::EquilibriumConstant;
use crate::species::charge;

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
pub(crate) fn read_acids(text: &str) -> Result<BTreeMap<String, Acid>, String> {
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

#[cfg(test)]
mod tests {
    use super::*;

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
}
