//! Formation constants of complexes, from reference/complexes/complexes.toml.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::equilibrium_constant::EquilibriumConstant;
use crate::species::charge;

/// A complex and its overall formation constant.
#[derive(Debug, Clone, PartialEq)]
pub struct Complex {
    /// Label with the charge last.
    pub label: String,
    /// Species it is formed from, with their numbers (H+ negative: protons set free).
    pub from: BTreeMap<String, i32>,
    /// Overall constant beta.
    pub constant: EquilibriumConstant,
    /// Source in words.
    pub source: String,
}

/// Protonation constants of a ligand that belong to complexes at the same ionic strength.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Protonation {
    pub(crate) acid: String,
    pub(crate) ionic_strength: f64,
    pub(crate) pks: Vec<f64>,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ComplexFile {
    pub(crate) complexes: Vec<Complex>,
    pub(crate) protonation: Vec<Protonation>,
}

#[derive(Debug, Deserialize)]
struct FileRecord {
    temperature: f64,
    sources: BTreeMap<String, String>,
    complex: Vec<ComplexRecord>,
    protonation: Vec<ProtonationRecord>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct ComplexRecord {
    label: String,
    from: BTreeMap<String, i32>,
    log_beta: f64,
    ionic_strength: Option<f64>,
    temperature: Option<f64>,
    dh: Option<f64>,
    source: String,
    mark: String,
    note: Option<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct ProtonationRecord {
    acid: String,
    ionic_strength: f64,
    pks: Vec<f64>,
    source: String,
    mark: String,
}

/// Reads a file of complexes and checks it: charges add up, no complex twice at one ionic strength, known sources and marks.
pub(crate) fn read_complexes(text: &str) -> Result<ComplexFile, String> {
    let file: FileRecord = toml::from_str(text).map_err(|error| error.to_string())?;
    let mut complexes: Vec<Complex> = Vec::new();
    for record in file.complex {
        let refuse = |why: String| Err(format!("complex \"{}\": {why}", record.label));
        let mut net = charge(&record.label).map_err(|error| error.to_string())?;
        for (species, number) in &record.from {
            net -= number * charge(species).map_err(|error| error.to_string())?;
        }
        if net != 0 {
            return refuse(format!(
                "its charge differs by {net} from that of what it is formed from"
            ));
        }
        let Some(source) = file.sources.get(&record.source) else {
            return refuse(format!("source \"{}\" is not in [sources]", record.source));
        };
        if !["V", "M"].contains(&record.mark.as_str()) {
            return refuse("the mark must be V or M".into());
        }
        let strength = record.ionic_strength.unwrap_or(0.0);
        let twice = |c: &Complex| {
            c.label == record.label && (c.constant.ionic_strength - strength).abs() < 1e-9
        };
        if complexes.iter().any(twice) {
            return refuse(format!("it is listed twice at ionic strength {strength}"));
        }
        complexes.push(Complex {
            label: record.label,
            from: record.from,
            constant: EquilibriumConstant {
                temperature_c: record.temperature.unwrap_or(file.temperature),
                ionic_strength: strength,
                enthalpy_kj_per_mol: record.dh,
                ..EquilibriumConstant::at_25_c(record.log_beta)
            },
            source: record
                .note
                .map_or_else(|| source.clone(), |note| format!("{source}; {note}")),
        });
    }
    let mut protonation = Vec::new();
    for record in file.protonation {
        if !file.sources.contains_key(&record.source) || !["V", "M"].contains(&record.mark.as_str())
        {
            return Err(format!(
                "protonation of {}: unknown source or mark",
                record.acid
            ));
        }
        protonation.push(Protonation {
            acid: record.acid,
            ionic_strength: record.ionic_strength,
            pks: record.pks,
        });
    }
    Ok(ComplexFile {
        complexes,
        protonation,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::constant_set::ConstantSet;

    /// Shares of free metal at four levels of ammonia, computed from the constants of Harvey 2.1, section 16.12.
    #[test]
    fn ammine_constants_return_the_free_shares() {
        let set = ConstantSet::default();
        for (metal, shares) in [
            ("Zn^2+", [4.810e-2, 1.174e-5, 2.023e-8, 1.276e-9]),
            ("Cd^2+", [1.108e-1, 5.736e-4, 2.212e-6, 1.581e-7]),
            ("Cu^2+", [3.662e-5, 1.331e-8, 2.668e-11, 1.721e-12]),
            ("Ni^2+", [5.541e-2, 8.736e-5, 7.455e-8, 2.113e-9]),
        ] {
            for (ammonia, expected) in [0.01_f64, 0.1, 0.5, 1.0].into_iter().zip(shares) {
                let bound: f64 = set
                    .complexes()
                    .filter(|c| c.from.contains_key(metal) && c.from.contains_key("NH3"))
                    .map(|c| 10f64.powf(c.constant.log10) * ammonia.powi(c.from["NH3"]))
                    .sum();
                let found = 1.0 / (1.0 + bound);
                assert!(
                    (found / expected - 1.0).abs() < 6e-4,
                    "{metal} {ammonia}: {found:e} {expected:e}"
                );
            }
        }
    }

    #[test]
    fn a_charge_that_does_not_add_up_is_refused() {
        let text = "temperature = 25.0\ncomplex = [{ label = \"CaY^3-\", from = { \"Ca^2+\" = 1, \"Y^4-\" = 1 }, log_beta = 1.0, \
                    source = \"x\", mark = \"V\" }]\nprotonation = []\n[sources]\nx = \"book\"\n";
        let error = read_complexes(text).unwrap_err();
        assert!(
            error.contains("CaY^3-") && error.contains("charge"),
            "{error}"
        );
    }
}
