//! Units: the SI's and the trade's, parsed from what a chemist writes.
//!
//! Factors are exact by definition (SI Brochure, 9th ed.; conventional millimetre of mercury 133.322 387 415 Pa).

use super::Dimension;
use serde::{Deserialize, Serialize};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::{fmt, str::FromStr};

/// A unit: symbol as written, factor to the coherent system, and dimension.
#[derive(Clone, Debug, PartialEq)]
pub struct Unit {
    symbol: Arc<str>,
    factor: f64,
    /// Added after the factor; only degrees Celsius have one.
    offset: f64,
    dimension: Dimension,
}

const NUMBER: [i8; 7] = [0; 7];
const LENGTH: [i8; 7] = [1, 0, 0, 0, 0, 0, 0];
const VOLUME: [i8; 7] = [3, 0, 0, 0, 0, 0, 0];
const MASS: [i8; 7] = [0, 1, 0, 0, 0, 0, 0];
const TIME: [i8; 7] = [0, 0, 1, 0, 0, 0, 0];
const TEMPERATURE: [i8; 7] = [0, 0, 0, 1, 0, 0, 0];
const AMOUNT: [i8; 7] = [0, 0, 0, 0, 1, 0, 0];
const CURRENT: [i8; 7] = [0, 0, 0, 0, 0, 1, 0];
const EQUIVALENT: [i8; 7] = [0, 0, 0, 0, 0, 0, 1];
const CONCENTRATION: [i8; 7] = [-3, 0, 0, 0, 1, 0, 0];
const NORMALITY: [i8; 7] = [-3, 0, 0, 0, 0, 0, 1];
const MASS_CONCENTRATION: [i8; 7] = [-3, 1, 0, 0, 0, 0, 0];
const PRESSURE: [i8; 7] = [-1, 1, -2, 0, 0, 0, 0];
const POTENTIAL: [i8; 7] = [2, 1, -3, 0, 0, -1, 0];
const ENERGY: [i8; 7] = [2, 1, -2, 0, 0, 0, 0];
const CHARGE: [i8; 7] = [0, 0, 1, 0, 0, 1, 0];
const CONDUCTANCE: [i8; 7] = [-2, -1, 3, 0, 0, 2, 0];

/// Symbols that stand alone in an expression, with their factor to the coherent system.
const ATOMS: &[(&str, f64, [i8; 7])] = &[
    ("1", 1.0, NUMBER),
    ("%", 1e-2, NUMBER),
    ("‰", 1e-3, NUMBER),
    ("ppm", 1e-6, NUMBER),
    ("m", 1e2, LENGTH),
    ("dm", 1e1, LENGTH),
    ("cm", 1.0, LENGTH),
    ("mm", 1e-1, LENGTH),
    ("L", 1e3, VOLUME),
    ("l", 1e3, VOLUME),
    ("hL", 1e5, VOLUME),
    ("dL", 1e2, VOLUME),
    ("cL", 1e1, VOLUME),
    ("mL", 1.0, VOLUME),
    ("ml", 1.0, VOLUME),
    ("µL", 1e-3, VOLUME),
    ("µl", 1e-3, VOLUME),
    ("cc", 1.0, VOLUME),
    ("t", 1e6, MASS),
    ("kg", 1e3, MASS),
    ("g", 1.0, MASS),
    ("mg", 1e-3, MASS),
    ("µg", 1e-6, MASS),
    ("ng", 1e-9, MASS),
    ("s", 1.0, TIME),
    ("min", 60.0, TIME),
    ("h", 3600.0, TIME),
    ("d", 86400.0, TIME),
    ("K", 1.0, TEMPERATURE),
    ("mK", 1e-3, TEMPERATURE),
    ("kmol", 1e3, AMOUNT),
    ("mol", 1.0, AMOUNT),
    ("mmol", 1e-3, AMOUNT),
    ("µmol", 1e-6, AMOUNT),
    ("nmol", 1e-9, AMOUNT),
    ("eq", 1.0, EQUIVALENT),
    ("meq", 1e-3, EQUIVALENT),
    ("µeq", 1e-6, EQUIVALENT),
    ("M", 1e-3, CONCENTRATION),
    ("mM", 1e-6, CONCENTRATION),
    ("µM", 1e-9, CONCENTRATION),
    ("N", 1e-3, NORMALITY),
    ("A", 1.0, CURRENT),
    ("mA", 1e-3, CURRENT),
    ("µA", 1e-6, CURRENT),
    ("C", 1.0, CHARGE),
    ("Pa", 10.0, PRESSURE),
    ("hPa", 1e3, PRESSURE),
    ("kPa", 1e4, PRESSURE),
    ("mbar", 1e3, PRESSURE),
    ("bar", 1e6, PRESSURE),
    ("atm", 1_013_250.0, PRESSURE),
    ("mmHg", 1_333.223_874_15, PRESSURE),
    ("V", 1e7, POTENTIAL),
    ("mV", 1e4, POTENTIAL),
    ("J", 1e7, ENERGY),
    ("kJ", 1e10, ENERGY),
    ("S", 1e-7, CONDUCTANCE),
    ("mS", 1e-10, CONDUCTANCE),
    ("µS", 1e-13, CONDUCTANCE),
];

/// Units that are written as a phrase and are not composed.
const PHRASES: &[(&str, &str, f64, [i8; 7])] = &[
    ("%m/m", "% m/m", 1e-2, NUMBER),
    ("%w/w", "% m/m", 1e-2, NUMBER),
    ("%(m/m)", "% m/m", 1e-2, NUMBER),
    ("%m/V", "% m/V", 1e-2, MASS_CONCENTRATION),
    ("%m/v", "% m/V", 1e-2, MASS_CONCENTRATION),
    ("%w/v", "% m/V", 1e-2, MASS_CONCENTRATION),
    ("%(m/V)", "% m/V", 1e-2, MASS_CONCENTRATION),
    ("%V/V", "% V/V", 1e-2, NUMBER),
    ("%v/v", "% V/V", 1e-2, NUMBER),
];

impl Unit {
    /// The unit of a pure number.
    pub fn one() -> Self {
        Self {
            symbol: "1".into(),
            factor: 1.0,
            offset: 0.0,
            dimension: Dimension::NUMBER,
        }
    }

    /// The coherent unit of a dimension (g, mL as cm^3, mol/cm^3 ...).
    pub fn coherent(dimension: Dimension) -> Self {
        Self {
            symbol: dimension.coherent_symbol().into(),
            factor: 1.0,
            offset: 0.0,
            dimension,
        }
    }

    /// A unit with a symbol of its own: so many of another one, such as the hundredth of "g/g" that is "g/100 g".
    pub fn scaled(symbol: impl Into<std::sync::Arc<str>>, times: f64, unit: &Self) -> Self {
        Self {
            symbol: symbol.into(),
            factor: times * unit.factor,
            offset: 0.0,
            dimension: unit.dimension,
        }
    }

    /// The symbol as written, micro sign and superscripts normalised.
    pub fn symbol(&self) -> &str {
        &self.symbol
    }

    /// What the unit measures.
    pub fn dimension(&self) -> Dimension {
        self.dimension
    }

    /// How many coherent units one such unit is; for differences of temperature too.
    pub fn factor(&self) -> f64 {
        self.factor
    }

    /// A value in this unit, in the coherent system.
    pub fn to_coherent(&self, value: f64) -> f64 {
        value * self.factor + self.offset
    }

    /// A value of the coherent system, in this unit.
    pub fn from_coherent(&self, value: f64) -> f64 {
        (value - self.offset) / self.factor
    }
}

impl Default for Unit {
    fn default() -> Self {
        Self::one()
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.symbol)
    }
}

/// Most texts whose units a thread remembers: more than any bench writes.
const REMEMBERED: usize = 500;

thread_local! {
    /// Units that were read before: a record is read in the same few units over and over.
    static READ: RefCell<BTreeMap<Box<str>, Unit>> = const { RefCell::new(BTreeMap::new()) };
}

impl FromStr for Unit {
    type Err = UnitError;

    fn from_str(text: &str) -> Result<Self, UnitError> {
        let text = text.trim();
        if let Some(known) = READ.with_borrow(|read| read.get(text).cloned()) {
            return Ok(known);
        }
        let unit = Self::read(text)?;
        READ.with_borrow_mut(|read| {
            if read.len() < REMEMBERED {
                read.insert(text.into(), unit.clone());
            }
        });
        Ok(unit)
    }
}

impl Unit {
    fn read(text: &str) -> Result<Self, UnitError> {
        if text.len() > 40 {
            return Err(UnitError::Unknown(text.chars().take(40).collect()));
        }
        let symbol = normalise(text);
        if matches!(symbol.as_str(), "degC" | "°C") {
            return Ok(Self {
                symbol: "degC".into(),
                factor: 1.0,
                offset: 273.15,
                dimension: Dimension(TEMPERATURE),
            });
        }
        let squeezed: String = symbol.chars().filter(|c| !c.is_whitespace()).collect();
        if let Some((_, shown, factor, dimension)) =
            PHRASES.iter().find(|(phrase, ..)| *phrase == squeezed)
        {
            return Ok(Self {
                symbol: (*shown).into(),
                factor: *factor,
                offset: 0.0,
                dimension: Dimension(*dimension),
            });
        }
        let mut factor = 1.0;
        let mut dimension = Dimension::NUMBER;
        let mut rest = symbol.as_str();
        let mut divide = false;
        loop {
            let end = rest.find(['/', '·', '*', ' ']).unwrap_or(rest.len());
            let (f, d) = atom(&rest[..end]).ok_or_else(|| UnitError::Unknown(text.to_string()))?;
            if divide {
                factor /= f;
                dimension = dimension / d;
            } else {
                factor *= f;
                dimension = dimension * d;
            }
            if end == rest.len() {
                break;
            }
            // "a/b·c" would be read differently by different people.
            let separator = rest.as_bytes()[end];
            if divide && separator != b'/' {
                return Err(UnitError::Ambiguous(text.to_string()));
            }
            divide = separator == b'/';
            rest = rest[end..].trim_start_matches(['/', '·', '*', ' ']);
        }
        Ok(Self {
            symbol: symbol.into(),
            factor,
            offset: 0.0,
            dimension,
        })
    }
}

/// Spells micro, superscript digits and dots one way.
fn normalise(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut superscript = false;
    for c in text.chars() {
        let plain = match c {
            '⁻' => Some('-'),
            '¹' => Some('1'),
            '²' => Some('2'),
            '³' => Some('3'),
            _ => None,
        };
        if let Some(p) = plain {
            if !superscript {
                out.push('^');
            }
            superscript = true;
            out.push(p);
            continue;
        }
        superscript = false;
        out.push(match c {
            'μ' => 'µ',
            '⋅' | '∙' | '×' => '·',
            '\u{2212}' => '-',
            c => c,
        });
    }
    for (from, to) in [
        ("uL", "µL"),
        ("ul", "µl"),
        ("ug", "µg"),
        ("umol", "µmol"),
        ("uS", "µS"),
        ("ueq", "µeq"),
    ] {
        if out.starts_with(from) || out.contains(&format!("/{from}")) {
            out = out.replacen(from, to, 1);
        }
    }
    out
}

/// A symbol with an optional whole exponent: `cm3`, `cm^3`, `mol^-1`.
fn atom(text: &str) -> Option<(f64, Dimension)> {
    let find = |symbol: &str| {
        ATOMS
            .iter()
            .find(|(s, ..)| *s == symbol)
            .map(|(_, f, d)| (*f, Dimension(*d)))
    };
    if let Some(found) = find(text) {
        return Some(found);
    }
    let at = text.find(|c: char| c == '^' || c == '-' || c.is_ascii_digit())?;
    let (f, d) = find(&text[..at])?;
    let exponent: i32 = text[at..].trim_start_matches('^').parse().ok()?;
    if exponent.abs() > 6 {
        return None;
    }
    Some((f.powi(exponent), d.power(exponent)?))
}

impl Serialize for Unit {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.symbol)
    }
}

impl<'de> Deserialize<'de> for Unit {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?
            .parse()
            .map_err(serde::de::Error::custom)
    }
}

/// What can be wrong with a unit.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum UnitError {
    /// Not a unit that is known.
    #[error(
        "unknown unit \"{0}\"; known are for example mL, g, mol/L, g/mol, % m/m, mg/kg, degC, hPa"
    )]
    Unknown(String),
    /// A product after a division.
    #[error("\"{0}\" is ambiguous; write one slash for each divisor, such as mol/L/s")]
    Ambiguous(String),
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unit(text: &str) -> Unit {
        text.parse().unwrap()
    }

    #[test]
    fn the_trade_units_are_known() {
        // (unit, coherent factor): 1 mol/L = 1e-3 mol/cm3, 1 mg/L = 1e-6 g/cm3, % m/V = 1 g per 100 mL.
        for (text, factor) in [
            ("mL", 1.0),
            ("cm3", 1.0),
            ("dm^3", 1000.0),
            ("µL", 1e-3),
            ("uL", 1e-3),
            ("mol/L", 1e-3),
            ("mmol/L", 1e-6),
            ("mol/dm3", 1e-3),
            ("mol·L⁻¹", 1e-3),
            ("mol L^-1", 1e-3),
            ("g/mol", 1.0),
            ("mg/kg", 1e-6),
            ("mg/L", 1e-6),
            ("% m/V", 1e-2),
            ("% m/m", 1e-2),
            ("g/100mL", f64::NAN),
            ("kg/m3", 1e-3),
            ("hPa", 1e3),
            ("meq", 1e-3),
            ("meq/L", 1e-6),
            ("1/K", 1.0),
        ] {
            match text.parse::<Unit>() {
                Ok(u) => assert!((u.factor() / factor - 1.0).abs() < 1e-12, "{text}"),
                Err(_) => assert!(factor.is_nan(), "{text}"),
            }
        }
    }

    #[test]
    fn equivalents_are_not_moles() {
        assert_ne!(unit("meq/L").dimension(), unit("mmol/L").dimension());
        assert_eq!(unit("N").dimension(), unit("eq/L").dimension());
    }

    #[test]
    fn nonsense_is_refused() {
        for text in ["", "foo", "mol/", "/L", "g/mol·K", "m^99", "mL^x"] {
            assert!(text.parse::<Unit>().is_err(), "{text}");
        }
    }

    #[test]
    fn symbols_round_trip() {
        for (text, ..) in ATOMS {
            assert_eq!(unit(text).to_string().parse::<Unit>().unwrap(), unit(text));
        }
        let coherent = Unit::coherent(unit("mol/L").dimension());
        assert_eq!(
            coherent.symbol().parse::<Unit>().unwrap().dimension(),
            coherent.dimension()
        );
    }
}
