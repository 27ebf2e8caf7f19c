//! Redox couples, from reference/potentials/potentials.toml.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::species::charge;

/// Faraday constant, C/mol (exact, SI 2019).
pub(crate) const FARADAY: f64 = 96_485.332_123_310_02;

/// A redox couple: oxidized + n e- + m H+ = reduced (+ water).
#[derive(Debug, Clone, PartialEq)]
pub struct Couple {
    /// Label, oxidized form first.
    pub label: String,
    /// Oxidized form and its number.
    pub oxidized: (String, u8),
    /// Reduced form and its number.
    pub reduced: (String, u8),
    /// Electrons.
    pub electrons: u8,
    /// Protons used up.
    pub protons: u8,
    /// Standard potential, V against the standard hydrogen electrode at 25 degC.
    pub standard_v: Option<f64>,
    /// Formal potentials by medium, V.
    pub formal: Vec<(String, f64)>,
}

impl Couple {
    /// A couple of one electron and one ion on each side, with a potential of the caller (V).
    #[must_use]
    pub fn simple(oxidized: &str, reduced: &str, potential_v: f64) -> Self {
        Self {
            label: format!("{oxidized}/{reduced}"),
            oxidized: (oxidized.to_owned(), 1),
            reduced: (reduced.to_owned(), 1),
            electrons: 1,
            protons: 0,
            standard_v: Some(potential_v),
            formal: Vec::new(),
        }
    }

    /// The potential in a medium, or the standard potential without one.
    #[must_use]
    pub fn potential_v(&self, medium: Option<&str>) -> Option<f64> {
        match medium {
            None => self.standard_v,
            Some(medium) => self
                .formal
                .iter()
                .find(|(name, _)| name == medium)
                .map(|(_, volt)| *volt),
        }
    }
}

/// Volt for a tenfold change of activity of one electron at `temperature_c`: R T ln 10 / F.
#[must_use]
pub fn nernst_slope_v(temperature_c: f64) -> f64 {
    let kelvin = temperature_c + crate::water::ZERO_CELSIUS_K;
    crate::equilibrium_constant::GAS_CONSTANT * kelvin * std::f64::consts::LN_10 / FARADAY
}

/// Potential of a reference electrode against the standard hydrogen electrode at 25 degC, V.
#[must_use]
pub fn reference_electrode_v(name: &str) -> Option<f64> {
    let file: FileRecord = toml::from_str(TEXT).ok()?;
    file.reference_electrodes
        .get(name)
        .map(|electrode| electrode.v)
}

const TEXT: &str = include_str!("../../../reference/potentials/potentials.toml");

#[derive(Debug, Deserialize)]
struct FileRecord {
    sources: BTreeMap<String, String>,
    couple: Vec<CoupleRecord>,
    reference_electrodes: BTreeMap<String, ElectrodeRecord>,
}

#[derive(Debug, Deserialize)]
struct ElectrodeRecord {
    v: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct CoupleRecord {
    label: String,
    oxidized: BTreeMap<String, u8>,
    reduced: BTreeMap<String, u8>,
    electrons: u8,
    protons: Option<u8>,
    standard_v: Option<f64>,
    source: Option<String>,
    mark: Option<String>,
    #[serde(default)]
    formal: Vec<FormalRecord>,
    #[expect(dead_code, reason = "for the reader of the file")]
    note: Option<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FormalRecord {
    medium: String,
    v: f64,
    source: String,
    mark: String,
}

/// Reads a file of couples and checks it: charges balance, one species a side, every potential has a source and a mark.
pub(crate) fn read_couples(text: &str) -> Result<Vec<Couple>, String> {
    let file: FileRecord = toml::from_str(text).map_err(|error| error.to_string())?;
    let mut couples: Vec<Couple> = Vec::new();
    for record in file.couple {
        let refuse = |why: &str| Err(format!("couple \"{}\": {why}", record.label));
        let (Some(oxidized), Some(reduced)) =
            (record.oxidized.iter().next(), record.reduced.iter().next())
        else {
            return refuse("each side needs one species");
        };
        let protons = record.protons.unwrap_or(0);
        let side = |(label, number): (&String, &u8)| charge(label).map(|z| z * i32::from(*number));
        let left = side(oxidized).map_err(|error| error.to_string())? - i32::from(record.electrons)
            + i32::from(protons);
        if left != side(reduced).map_err(|error| error.to_string())? {
            return refuse("the charges of the two sides differ");
        }
        let known = |source: &str, mark: &str| {
            file.sources.contains_key(source) && ["V", "M"].contains(&mark)
        };
        let standard_known = match (record.standard_v, &record.source, &record.mark) {
            (None, None, None) => true,
            (Some(_), Some(source), Some(mark)) => known(source, mark),
            _ => false,
        };
        if !standard_known
            || !record
                .formal
                .iter()
                .all(|formal| known(&formal.source, &formal.mark))
        {
            return refuse("every potential needs a source of [sources] and a mark V or M");
        }
        couples.push(Couple {
            label: record.label,
            oxidized: (oxidized.0.clone(), *oxidized.1),
            reduced: (reduced.0.clone(), *reduced.1),
            electrons: record.electrons,
            protons,
            standard_v: record.standard_v,
            formal: record
                .formal
                .into_iter()
                .map(|formal| (formal.medium, formal.v))
                .collect(),
        });
    }
    Ok(couples)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// R T ln 10 / F at 25 degC: 59.16 mV, as every table prints it.
    #[test]
    fn the_nernst_slope() {
        assert!((nernst_slope_v(25.0) - 0.059_16).abs() < 5e-6);
        assert!((reference_electrode_v("saturated calomel").unwrap() - 0.241).abs() < 1e-12);
    }

    #[test]
    fn unbalanced_couples_are_refused() {
        let text = TEXT.replace("electrons = 5, protons = 8", "electrons = 4, protons = 8");
        let error = read_couples(&text).unwrap_err();
        assert!(
            error.contains("MnO4-") && error.contains("charges"),
            "{error}"
        );
    }
}
