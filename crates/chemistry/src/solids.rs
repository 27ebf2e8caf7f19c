//! Sparingly soluble salts, from reference/solubility/solubility.toml.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::equilibrium_constant::EquilibriumConstant;
use crate::species::charge;

/// A salt and its solubility product.
#[derive(Debug, Clone, PartialEq)]
pub struct Solid {
    /// Formula, with the mineral where one formula has several.
    pub label: String,
    /// Ions it dissolves into.
    pub ions: BTreeMap<String, i32>,
    /// Solubility product; `log10` is minus pKsp.
    pub constant: EquilibriumConstant,
    /// Source in words.
    pub source: String,
}

#[derive(Debug, Deserialize)]
struct FileRecord {
    temperature: f64,
    ionic_strength: f64,
    sources: BTreeMap<String, String>,
    solid: Vec<SolidRecord>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct SolidRecord {
    label: String,
    ions: BTreeMap<String, i32>,
    pksp: f64,
    dh: Option<f64>,
    source: String,
    mark: String,
    note: Option<String>,
}

/// Reads a file of solubility products and checks it: neutral salts, none twice, known sources and marks.
pub(crate) fn read_solids(text: &str) -> Result<Vec<Solid>, String> {
    let file: FileRecord = toml::from_str(text).map_err(|error| error.to_string())?;
    let mut solids: Vec<Solid> = Vec::new();
    for record in file.solid {
        let refuse = |why: &str| Err(format!("salt \"{}\": {why}", record.label));
        let mut net = 0;
        for (ion, number) in &record.ions {
            net += number * charge(ion).map_err(|error| error.to_string())?;
        }
        if net != 0 {
            return refuse("its ions do not add up to charge 0");
        }
        let Some(source) = file.sources.get(&record.source) else {
            return refuse("its source is not in [sources]");
        };
        if !["V", "M"].contains(&record.mark.as_str()) {
            return refuse("the mark must be V or M");
        }
        if solids.iter().any(|solid| solid.label == record.label) {
            return refuse("it is listed twice");
        }
        solids.push(Solid {
            label: record.label,
            ions: record.ions,
            constant: EquilibriumConstant {
                temperature_c: file.temperature,
                ionic_strength: file.ionic_strength,
                enthalpy_kj_per_mol: record.dh,
                ..EquilibriumConstant::at_25_c(-record.pksp)
            },
            source: record
                .note
                .map_or_else(|| source.clone(), |note| format!("{source}; {note}")),
        });
    }
    Ok(solids)
}

#[cfg(test)]
mod tests {
    use super::read_solids;

    #[test]
    fn a_charged_salt_is_refused() {
        let text = "temperature = 25.0\nionic_strength = 0.0\nsolid = [{ label = \"AgCl2\", ions = { \"Ag+\" = 1, \"Cl-\" = 2 }, \
                    pksp = 9.0, source = \"x\", mark = \"V\" }]\n[sources]\nx = \"book\"\n";
        assert!(read_solids(text).unwrap_err().contains("charge 0"));
    }
}
