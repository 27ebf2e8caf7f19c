//! Materials of volumetric apparatus and their thermal expansion.
//!
//! Source: marked value by value in `reference/physical/glass.toml`.

use std::sync::LazyLock;

use serde::Deserialize;

use crate::error::VolumetryError;

#[derive(Deserialize)]
struct Data {
    reference_temperature_c: f64,
    material: Vec<Glass>,
}

/// A material with its cubic expansion coefficient.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Glass {
    /// Name.
    pub name: String,
    /// Other names it is found by.
    pub also: Vec<String>,
    /// Cubic expansion coefficient, 1/K.
    pub cubic_expansion_per_k: f64,
    /// Half-width of the allowance for it, 1/K.
    pub half_width_per_k: f64,
    /// "V": seen in the source; "M": from memory.
    pub mark: String,
    /// Where the value comes from.
    pub source: String,
}

static DATA: LazyLock<Data> = LazyLock::new(|| {
    crate::embedded::parse(
        "physical/glass.toml",
        include_str!("../../../reference/physical/glass.toml"),
    )
});

/// The temperature that volumetric glassware is marked for, degC.
#[must_use]
pub fn reference_temperature_c() -> f64 {
    DATA.reference_temperature_c
}

/// All materials of the list.
#[must_use]
pub fn materials() -> &'static [Glass] {
    &DATA.material
}

/// Borosilicate 3.3, what burettes, pipettes and flasks are made of unless the mark says otherwise.
#[must_use]
pub fn borosilicate_3_3() -> &'static Glass {
    &DATA.material[0]
}

/// A material by its name; capital letters and blanks do not matter.
///
/// # Errors
/// [`VolumetryError::NotKnown`] with the known names.
pub fn glass(name: &str) -> Result<&'static Glass, VolumetryError> {
    let key = |text: &str| text.replace([' ', '-'], "").to_lowercase();
    let wanted = key(name);
    DATA.material
        .iter()
        .find(|g| {
            std::iter::once(&g.name)
                .chain(&g.also)
                .any(|known| key(known) == wanted)
        })
        .ok_or_else(|| VolumetryError::NotKnown {
            what: "glass",
            name: name.to_owned(),
            known: DATA.material.iter().map(|g| g.name.clone()).collect(),
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_material_is_borosilicate_3_3() {
        assert_eq!(borosilicate_3_3().name, "borosilicate 3.3");
        assert_eq!(glass("Boro 3.3").unwrap(), borosilicate_3_3());
        assert_eq!(glass("soda lime").unwrap().name, "soda-lime");
        assert!(glass("jade").is_err());
    }

    #[test]
    fn every_material_has_a_sensible_allowance() {
        for g in materials() {
            let relative = g.half_width_per_k / g.cubic_expansion_per_k;
            assert!(
                (0.01..0.5).contains(&relative) && !g.source.is_empty(),
                "{g:?}"
            );
        }
    }
}
