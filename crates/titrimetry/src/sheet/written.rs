//! Quantities as written on a sheet, each of a kind that is checked where it is read.

use crate::quantity::ReportUnit;
use metrology::{DecimalNumber, Unit, WrittenQuantity};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;
use std::fmt;
use std::marker::PhantomData;

/// What a field of the sheet measures.
pub trait Kind {
    /// Name of the kind in the schema.
    const NAME: &'static str;
    /// A unit of the right dimension; empty if any will do.
    const UNIT: &'static str;
    /// What to write, as an example.
    const EXAMPLE: &'static str;
    /// True if every unit will do in which results are reported, such as degrees of hardness.
    const AS_REPORTED: bool = false;
}

/// A content, in any unit in which results are reported.
#[derive(Clone, Copy, Debug, PartialEq, Eq, JsonSchema)]
pub enum Content {}

impl Kind for Content {
    const NAME: &'static str = "Content";
    const UNIT: &'static str = "";
    const EXAMPLE: &'static str = "4.0 g/100 mL";
    const AS_REPORTED: bool = true;
}

macro_rules! kinds {
    ($($(#[$doc:meta])* $kind:ident, $unit:literal, $example:literal;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, JsonSchema)]
        pub enum $kind {}
        impl Kind for $kind {
            const NAME: &'static str = stringify!($kind);
            const UNIT: &'static str = $unit;
            const EXAMPLE: &'static str = $example;
        }
    )*};
}

kinds! {
    /// A volume.
    Volume, "mL", "24.53 mL";
    /// A mass.
    Mass, "g", "0.5123 g";
    /// An amount concentration.
    Concentration, "mol/L", "0.1 mol/L";
    /// A temperature or a difference of temperatures.
    Temperature, "K", "22.4 degC";
    /// A pressure.
    Pressure, "hPa", "1013 hPa";
    /// A pure number or percentage.
    Fraction, "1", "99.97 %";
    /// A density.
    Density, "g/mL", "1.636 g/mL";
    /// A time span.
    Time, "min", "3.5 min";
    /// A flow.
    Flow, "mL/min", "0.004 mL/min";
    /// A coefficient of thermal expansion.
    Expansion, "1/K", "0.0011 1/K";
    /// A quantity whose kind depends on the place.
    Anything, "", "0.02 mL";
}

/// A written quantity of kind `K`.
pub struct Written<K> {
    written: WrittenQuantity,
    kind: PhantomData<K>,
}

impl<K> Written<K> {
    /// The quantity with its decimals.
    pub fn quantity(&self) -> &WrittenQuantity {
        &self.written
    }
}

impl<K: Kind> Written<K> {
    /// The value in the kind's own unit (mL, g, mol/L, K, hPa, 1, g/mL).
    pub fn value(&self) -> f64 {
        if self.written.unit.symbol() == K::UNIT {
            return self.written.number.value();
        }
        self.value_in(K::UNIT)
    }

    /// The value in a unit of the same dimension.
    pub fn value_in(&self, unit: &str) -> f64 {
        let unit: Unit = unit.parse().unwrap_or_default();
        if unit == self.written.unit {
            // No way there and back, which would leave 22.4 degC as 22.399999999999977.
            return self.written.number.value();
        }
        unit.from_coherent(self.written.quantity().coherent())
    }
}

impl<K: Kind> std::str::FromStr for Written<K> {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let as_reported = K::AS_REPORTED.then(|| reported(text)).flatten();
        let written: WrittenQuantity = as_reported
            .map_or_else(|| text.parse(), Ok)
            .map_err(|error| format!("{error} (write it like \"{}\")", K::EXAMPLE))?;
        if !K::UNIT.is_empty() {
            let unit: Unit = K::UNIT.parse().unwrap_or_default();
            if written.unit.symbol() == "1" && unit.symbol() != "1" {
                return Err(format!(
                    "\"{}\" has no unit; write it like \"{}\"",
                    written,
                    K::EXAMPLE
                ));
            }
            written
                .value_in(&unit)
                .map_err(|error| format!("{error} (write it like \"{}\")", K::EXAMPLE))?;
        }
        Ok(Self {
            written,
            kind: PhantomData,
        })
    }
}

/// A quantity in a unit that only reports know.
fn reported(text: &str) -> Option<WrittenQuantity> {
    let (number, rest) = DecimalNumber::parse_prefix(text.trim()).ok()?;
    let unit = match ReportUnit::parse(rest).ok()? {
        ReportUnit::Plain(_) => return None,
        trade => Unit::scaled(trade.name(), trade.factor(), trade.unit()),
    };
    Some(WrittenQuantity { number, unit })
}

impl<K> Clone for Written<K> {
    fn clone(&self) -> Self {
        Self {
            written: self.written.clone(),
            kind: PhantomData,
        }
    }
}

impl<K> PartialEq for Written<K> {
    fn eq(&self, other: &Self) -> bool {
        self.written == other.written
    }
}

impl<K> fmt::Debug for Written<K> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(&self.written, f)
    }
}

impl<K> fmt::Display for Written<K> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.written.fmt(f)
    }
}

impl<K> Serialize for Written<K> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&self.written)
    }
}

impl<'de, K: Kind> Deserialize<'de> for Written<K> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Visitor<K>(PhantomData<K>);

        impl<K: Kind> serde::de::Visitor<'_> for Visitor<K> {
            type Value = Written<K>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(
                    f,
                    "a number with its unit in quotes, such as \"{}\" (the quotes keep its decimals)",
                    K::EXAMPLE
                )
            }

            fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<Written<K>, E> {
                text.parse().map_err(E::custom)
            }
        }

        deserializer.deserialize_str(Visitor(PhantomData))
    }
}

impl<K: Kind> JsonSchema for Written<K> {
    fn schema_name() -> Cow<'static, str> {
        format!("Written{}", K::NAME).into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "string",
            "description": format!("A number with its unit, as written; decimals count. Decimal comma accepted. Example: {}", K::EXAMPLE),
            "examples": [K::EXAMPLE],
        })
    }
}
