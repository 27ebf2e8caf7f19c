//! The units in which the trades report, and the way from an amount of analyte to each.
//!
//! Degrees of hardness are defined by an amount of an oxide or carbonate in a volume; their definitions are data here
//! with their sources, and the conversion goes through molar masses as every other does.

use metrology::{Dimension, Unit};

/// A unit of report.
#[derive(Clone, Debug, PartialEq)]
pub enum ReportUnit {
    /// A unit of `metrology`, such as g/L or mol/L.
    Plain(Unit),
    /// A mass of the substance expressed, in another mass or volume than the unit's name shows, such as "g/100 mL".
    Scaled {
        /// The name as the trade writes it.
        name: &'static str,
        /// The unit behind it.
        unit: Unit,
        /// How many of that unit one of the trade's is.
        factor: f64,
    },
    /// Defined by another substance than the one the result is expressed as, such as degrees of hardness.
    Defined {
        /// The name as the trade writes it.
        name: &'static str,
        /// The substance that defines it; the analyte counts by its amount.
        substance: &'static str,
        /// The unit behind it.
        unit: Unit,
        /// How many of that unit one of the trade's is.
        factor: f64,
    },
}

/// Name, further spellings, unit behind it, factor.
type Scaled = (&'static str, &'static [&'static str], &'static str, f64);

/// Units whose names hold a number.
const SCALED: &[Scaled] = &[
    ("g/100 mL", &["g/100mL", "g/100 ml"], "g/L", 10.0),
    ("mg/100 mL", &["mg/100mL", "mg/100 ml"], "mg/L", 10.0),
    ("g/100 g", &["g/100g"], "g/g", 0.01),
    ("mg/100 g", &["mg/100g"], "mg/g", 0.01),
    ("mmol/100 g", &["mmol/100g"], "mmol/g", 0.01),
    // Degrees of acidity of milk, defined by the base they take (common practice; 0.1 g/L lactic acid for 1 °D is a
    // rounding): Dornic 0.1 mL of N/9 for 10 mL, Soxhlet-Henkel 1 mL of N/4 for 100 mL, Thörner 1 mL of N/10 for 100 mL.
    ("°D", &["degrees Dornic", "degD"], "mmol/L", 10.0 / 9.0),
    ("°SH", &["degrees Soxhlet-Henkel", "degSH"], "mmol/L", 2.5),
    ("°Th", &["degrees Thörner", "degTh"], "mmol/L", 1.0),
];

/// Name, further spellings, defining substance, unit behind it, factor.
type Defined = (
    &'static str,
    &'static [&'static str],
    &'static str,
    &'static str,
    f64,
);

/// Degrees of hardness: German 10 mg CaO in 1 L, French 10 mg CaCO3 in 1 L, English (Clark) 1 grain CaCO3 in 1 imperial
/// gallon, American 1 grain CaCO3 in 1 US gallon. Grain 64.79891 mg, imperial gallon 4.54609 L, US gallon 3.785411784 L
/// (exact by definition). Against a published table: 17.848, 10, 14.254, 17.118 mg/L CaCO3.
const DEFINED: &[Defined] = &[
    ("°dH", &["degdH", "dH"], "CaO", "mg/L", 10.0),
    ("°fH", &["degfH", "°f"], "CaCO3", "mg/L", 10.0),
    (
        "°e",
        &["°Clark", "degClark"],
        "CaCO3",
        "mg/L",
        64.798_91 / 4.546_09,
    ),
    (
        "gpg (US)",
        &["gpg", "grains per gallon"],
        "CaCO3",
        "mg/L",
        64.798_91 / 3.785_411_784,
    ),
];

impl ReportUnit {
    /// Reads a unit of report.
    ///
    /// # Errors
    /// What is wrong and what is known, as a text.
    pub fn parse(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let unit = |symbol: &str| symbol.parse::<Unit>().map_err(|e| e.to_string());
        if let Some((name, _, behind, factor)) = SCALED
            .iter()
            .find(|(name, also, ..)| *name == text || also.contains(&text))
        {
            return Ok(Self::Scaled {
                name,
                unit: unit(behind)?,
                factor: *factor,
            });
        }
        if let Some((name, _, substance, behind, factor)) = DEFINED
            .iter()
            .find(|(name, also, ..)| *name == text || also.contains(&text))
        {
            return Ok(Self::Defined {
                name,
                substance,
                unit: unit(behind)?,
                factor: *factor,
            });
        }
        text.parse::<Unit>().map(Self::Plain).map_err(|_| {
            let trade: Vec<&str> = SCALED.iter().map(|s| s.0).chain(DEFINED.iter().map(|d| d.0)).collect();
            format!("\"{text}\" is not a unit of report; known are units such as mol/L, g/L, mg/kg, % m/m, meq/L, mg/g, and {}", trade.join(", "))
        })
    }

    /// The name as printed.
    pub fn name(&self) -> &str {
        match self {
            Self::Plain(unit) => unit.symbol(),
            Self::Scaled { name, .. } | Self::Defined { name, .. } => name,
        }
    }

    /// The unit behind the name.
    pub fn unit(&self) -> &Unit {
        match self {
            Self::Plain(unit) | Self::Scaled { unit, .. } | Self::Defined { unit, .. } => unit,
        }
    }

    /// How many of the unit behind the name one of these is.
    pub fn factor(&self) -> f64 {
        match self {
            Self::Plain(_) => 1.0,
            Self::Scaled { factor, .. } | Self::Defined { factor, .. } => *factor,
        }
    }

    /// The substance that defines the unit with this symbol; none if it tells of what a result is expressed as.
    pub(crate) fn defining_substance(symbol: &str) -> Option<&'static str> {
        match Self::parse(symbol) {
            Ok(Self::Defined { substance, .. }) => Some(substance),
            _ => None,
        }
    }

    /// True if it counts equivalents, as meq/L does.
    pub fn counts_equivalents(&self) -> bool {
        let of = |per: &str| {
            format!("eq/{per}")
                .parse::<Unit>()
                .is_ok_and(|unit| unit.dimension() == self.dimension())
        };
        of("L") || of("kg")
    }

    /// What the unit measures.
    pub fn dimension(&self) -> Dimension {
        self.unit().dimension()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trade_names_are_read() {
        for text in ["g/100 mL", "°dH", "mg/kg", "% m/m", "meq/L", "mol/L", "gpg"] {
            assert!(ReportUnit::parse(text).is_ok(), "{text}");
        }
        assert!(
            ReportUnit::parse("degrees of doubt")
                .unwrap_err()
                .contains("°dH")
        );
        assert!((ReportUnit::parse("°e").unwrap().factor() - 14.254).abs() < 5e-4);
        assert!((ReportUnit::parse("gpg").unwrap().factor() - 17.118).abs() < 5e-4);
    }
}
