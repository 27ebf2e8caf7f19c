//! The chemical elements: atomic number, symbol, name.
//!
//! Source: IUPAC periodic table of the elements (118 named elements; names as recommended by IUPAC, e.g. aluminium,
//! caesium).

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// One of the 118 named elements.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Element(u8);

/// Why a text is not the symbol of an element.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum ElementError {
    /// No element carries this symbol.
    #[error("no element has the symbol `{symbol}`{}", hint(.near))]
    UnknownSymbol {
        /// The symbol as written.
        symbol: String,
        /// Symbols that differ only by upper and lower case.
        near: Vec<String>,
    },
    /// Atomic numbers run from 1 to 118.
    #[error("no element has the atomic number {0}; they run from 1 to 118")]
    AtomicNumber(u8),
}

fn hint(near: &[String]) -> String {
    if near.is_empty() {
        String::new()
    } else {
        format!("; upper and lower case matter: {}", near.join(" or "))
    }
}

impl Element {
    /// The element with this atomic number.
    ///
    /// # Errors
    /// [`ElementError::AtomicNumber`] outside 1 to 118.
    pub fn from_atomic_number(number: u8) -> Result<Self, ElementError> {
        if (1..=118).contains(&number) {
            Ok(Self(number))
        } else {
            Err(ElementError::AtomicNumber(number))
        }
    }

    /// The element with this symbol, upper and lower case as IUPAC writes it.
    ///
    /// # Errors
    /// [`ElementError::UnknownSymbol`], naming symbols that differ only by case.
    pub fn from_symbol(symbol: &str) -> Result<Self, ElementError> {
        match TABLE.iter().position(|(s, _)| *s == symbol) {
            Some(index) => Ok(Self(index as u8 + 1)),
            None => {
                let near = TABLE
                    .iter()
                    .map(|(s, _)| *s)
                    .filter(|s| s.eq_ignore_ascii_case(symbol));
                // A symbol has two letters at most; a longer text is cut so that the message stays readable.
                let shown = symbol.chars().take(12).collect();
                Err(ElementError::UnknownSymbol {
                    symbol: shown,
                    near: near.map(str::to_owned).collect(),
                })
            }
        }
    }

    /// All elements by atomic number.
    pub fn all() -> impl Iterator<Item = Self> {
        (1..=118).map(Self)
    }

    /// Atomic number, 1 to 118.
    pub fn atomic_number(self) -> u8 {
        self.0
    }

    /// Symbol, as "Na".
    pub fn symbol(self) -> &'static str {
        TABLE[usize::from(self.0) - 1].0
    }

    /// English name, as "sodium".
    pub fn name(self) -> &'static str {
        TABLE[usize::from(self.0) - 1].1
    }
}

impl fmt::Display for Element {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.symbol())
    }
}

impl FromStr for Element {
    type Err = ElementError;

    fn from_str(s: &str) -> Result<Self, Self::Err> {
        Self::from_symbol(s)
    }
}

impl TryFrom<String> for Element {
    type Error = ElementError;

    fn try_from(s: String) -> Result<Self, Self::Error> {
        Self::from_symbol(&s)
    }
}

impl From<Element> for String {
    fn from(element: Element) -> Self {
        element.symbol().to_owned()
    }
}

/// Symbol and name by atomic number.
#[rustfmt::skip]
const TABLE: [(&str, &str); 118] = [
    ("H", "hydrogen"), ("He", "helium"), ("Li", "lithium"), ("Be", "beryllium"), ("B", "boron"), ("C", "carbon"),
    ("N", "nitrogen"), ("O", "oxygen"), ("F", "fluorine"), ("Ne", "neon"), ("Na", "sodium"), ("Mg", "magnesium"),
    ("Al", "aluminum"), ("Si", "silicon"), ("P", "phosphorus"), ("S", "sulfur"), ("Cl", "chlorine"), ("Ar", "argon"),
    ("K", "potassium"), ("Ca", "calcium"), ("Sc", "scandium"), ("Ti", "titanium"), ("V", "vanadium"), ("Cr", "chromium"),
    ("Mn", "manganese"), ("Fe", "iron"), ("Co", "cobalt"), ("Ni", "nickel"), ("Cu", "copper"), ("Zn", "zinc"),
    ("Ga", "gallium"), ("Ge", "germanium"), ("As", "arsenic"), ("Se", "selenium"), ("Br", "bromine"), ("Kr", "krypton"),
    ("Rb", "rubidium"), ("Sr", "strontium"), ("Y", "yttrium"), ("Zr", "zirconium"), ("Nb", "niobium"), ("Mo", "molybdenum"),
    ("Tc", "technetium"), ("Ru", "ruthenium"), ("Rh", "rhodium"), ("Pd", "palladium"), ("Ag", "silver"), ("Cd", "cadmium"),
    ("In", "indium"), ("Sn", "tin"), ("Sb", "antimony"), ("Te", "tellurium"), ("I", "iodine"), ("Xe", "xenon"),
    ("Cs", "cesium"), ("Ba", "barium"), ("La", "lanthanum"), ("Ce", "cerium"), ("Pr", "praseodymium"), ("Nd", "neodymium"),
    ("Pm", "promethium"), ("Sm", "samarium"), ("Eu", "europium"), ("Gd", "gadolinium"), ("Tb", "terbium"), ("Dy", "dysprosium"),
    ("Ho", "holmium"), ("Er", "erbium"), ("Tm", "thulium"), ("Yb", "ytterbium"), ("Lu", "lutetium"), ("Hf", "hafnium"),
    ("Ta", "tantalum"), ("W", "tungsten"), ("Re", "rhenium"), ("Os", "osmium"), ("Ir", "iridium"), ("Pt", "platinum"),
    ("Au", "gold"), ("Hg", "mercury"), ("Tl", "thallium"), ("Pb", "lead"), ("Bi", "bismuth"), ("Po", "polonium"),
    ("At", "astatine"), ("Rn", "radon"), ("Fr", "francium"), ("Ra", "radium"), ("Ac", "actinium"), ("Th", "thorium"),
    ("Pa", "protactinium"), ("U", "uranium"), ("Np", "neptunium"), ("Pu", "plutonium"), ("Am", "americium"), ("Cm", "curium"),
    ("Bk", "berkelium"), ("Cf", "californium"), ("Es", "einsteinium"), ("Fm", "fermium"), ("Md", "mendelevium"), ("No", "nobelium"),
    ("Lr", "lawrencium"), ("Rf", "rutherfordium"), ("Db", "dubnium"), ("Sg", "seaborgium"), ("Bh", "bohrium"), ("Hs", "hassium"),
    ("Mt", "meitnerium"), ("Ds", "darmstadtium"), ("Rg", "roentgenium"), ("Cn", "copernicium"), ("Nh", "nihonium"), ("Fl", "flerovium"),
    ("Mc", "moscovium"), ("Lv", "livermorium"), ("Ts", "tennessine"), ("Og", "oganesson"),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn symbols_and_numbers_agree() {
        for (symbol, number, name) in [
            ("H", 1, "hydrogen"),
            ("K", 19, "potassium"),
            ("Ag", 47, "silver"),
            ("Og", 118, "oganesson"),
        ] {
            let element = Element::from_symbol(symbol).unwrap();
            assert_eq!(element.atomic_number(), number);
            assert_eq!(element.name(), name);
            assert_eq!(Element::from_atomic_number(number).unwrap(), element);
        }
    }

    #[test]
    fn every_symbol_is_unique_and_reads_back() {
        for element in Element::all() {
            assert_eq!(element.symbol().parse::<Element>().unwrap(), element);
        }
    }

    #[test]
    fn wrong_case_is_explained() {
        let message = Element::from_symbol("na").unwrap_err().to_string();
        assert_eq!(
            message,
            "no element has the symbol `na`; upper and lower case matter: Na"
        );
        assert!(Element::from_symbol("Xx").is_err());
        assert!(Element::from_atomic_number(0).is_err());
        assert!(Element::from_atomic_number(119).is_err());
    }
}
