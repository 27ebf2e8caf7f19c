//! Balances by the decimals they show.
//!
//! Source: `reference/balances/common.toml`, typical values (common practice). Give the values of the data sheet or
//! the calibration certificate of the balance in use where there are any.

use std::sync::LazyLock;

use serde::Deserialize;

use crate::error::VolumetryError;

#[derive(Deserialize)]
struct Data {
    balance: Vec<BalanceRecord>,
}

/// What is known of a balance.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct BalanceRecord {
    /// Name, such as "four-place balance".
    pub name: String,
    /// Other names it is found by.
    #[serde(default)]
    pub also: Vec<String>,
    /// One step of the display, g.
    pub readability_g: f64,
    /// Standard deviation of repeated weighings, g.
    pub repeatability_g: f64,
    /// Half-width of the deviation from linearity, g.
    pub linearity_g: f64,
    /// Half-width of the drift of the sensitivity since the last adjustment, relative to the load.
    #[serde(default)]
    pub drift_relative: f64,
    /// Where the values come from.
    pub mark: String,
}

static DATA: LazyLock<Data> = LazyLock::new(|| {
    crate::embedded::parse(
        "balances/common.toml",
        include_str!("../../../reference/balances/common.toml"),
    )
});

/// All balances of the list.
#[must_use]
pub fn balances() -> &'static [BalanceRecord] {
    &DATA.balance
}

/// A balance by name: "four-place balance", "4-place", "0.1 mg balance"; the word balance may be left out.
///
/// # Errors
/// [`VolumetryError::NotKnown`] with the known names.
pub fn balance(name: &str) -> Result<&'static BalanceRecord, VolumetryError> {
    let key = |text: &str| {
        text.to_lowercase()
            .replace("balance", "")
            .replace([' ', '-'], "")
    };
    let wanted = key(name);
    DATA.balance
        .iter()
        .find(|b| {
            std::iter::once(&b.name)
                .chain(&b.also)
                .any(|known| key(known) == wanted)
        })
        .ok_or_else(|| VolumetryError::NotKnown {
            what: "balance",
            name: name.to_owned(),
            known: DATA.balance.iter().map(|b| b.name.clone()).collect(),
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_places_never_weigh_worse() {
        for pair in balances().windows(2) {
            let [coarse, fine] = pair else { unreachable!() };
            assert!(fine.readability_g < coarse.readability_g);
            assert!(fine.repeatability_g < coarse.repeatability_g);
            assert!(fine.linearity_g < coarse.linearity_g);
        }
    }

    #[test]
    fn is_found_by_any_of_its_names() {
        let four = balance("four-place balance").unwrap();
        for name in [
            "Four place",
            "4-place",
            "0.1 mg balance",
            "analytical balance",
        ] {
            assert_eq!(balance(name).unwrap(), four, "{name}");
        }
        assert!(balance("kitchen scale").is_err());
    }
}
