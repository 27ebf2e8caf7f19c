//! Glass and balances on a sheet: a catalogue name, or a piece of one's own.

use super::{Mass, Volume, Written};
use schemars::JsonSchema;
use serde::de::value::MapAccessDeserializer;
use serde::{Deserialize, Deserializer, Serialize};
use std::fmt;
use std::sync::Arc;

/// The apparatus of a determination.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Apparatus {
    /// The burette.
    pub burette: PieceSpec,
    /// How finely the burette was read, if coarser than the decimals written, such as "0.05 mL".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub read_to: Option<Written<Volume>>,
    /// The pipette that measures what goes into the flask.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pipette: Option<PieceSpec>,
    /// The balance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub balance: Option<BalanceSpec>,
}

/// A piece of glass: a catalogue name such as "burette 50 mL A", or a table that describes an own piece.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum PieceSpec {
    /// A catalogue name.
    Name(String),
    /// An own piece.
    Own(Box<OwnPiece>),
}

impl PieceSpec {
    /// The catalogue name, whether it stands alone or in a table.
    pub fn catalogue(&self) -> &str {
        match self {
            Self::Name(name) => name,
            Self::Own(own) => &own.catalogue,
        }
    }
}

/// An own piece of glass.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OwnPiece {
    /// What it is, as a catalogue name.
    pub catalogue: String,
    /// Identity, such as "B-3".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// Tolerance, if it differs from the catalogue's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance: Option<Written<Volume>>,
    /// Smallest division, if it differs from the catalogue's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub graduation: Option<Written<Volume>>,
    /// Its own calibration, which replaces the tolerance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibration: Option<Arc<CalibrationSpec>>,
}

/// A calibration: corrections to add to the volume shown.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CalibrationSpec {
    /// The certificate.
    pub certificate: String,
    /// When it was calibrated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date: Option<String>,
    /// The points, by rising volume.
    pub points: Vec<CorrectionPoint>,
}

/// One point of a calibration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CorrectionPoint {
    /// Volume shown.
    pub at: Written<Volume>,
    /// Correction to add.
    pub correction: Written<Volume>,
    /// Standard uncertainty of the correction.
    pub u: Written<Volume>,
}

/// A balance: a catalogue name such as "four-place balance", or a table that describes an own one.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum BalanceSpec {
    /// A catalogue name.
    Name(String),
    /// An own balance.
    Own(Box<OwnBalance>),
}

/// An own balance.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OwnBalance {
    /// Identity, such as "W-1".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// Smallest step shown.
    pub readability: Written<Mass>,
    /// Standard deviation of repeated weighings.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeatability: Option<Written<Mass>>,
    /// Half-width of the linearity limits.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub linearity: Option<Written<Mass>>,
    /// The certificate or specification.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub certificate: Option<String>,
}

/// Reads a name or a table; an error inside the table keeps its own words.
macro_rules! name_or_table {
    ($spec:ident, $own:ident, $expected:literal) => {
        impl<'de> Deserialize<'de> for $spec {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                struct Visitor;
                impl<'de> serde::de::Visitor<'de> for Visitor {
                    type Value = $spec;
                    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                        f.write_str($expected)
                    }
                    fn visit_str<E: serde::de::Error>(self, name: &str) -> Result<$spec, E> {
                        Ok($spec::Name(name.to_string()))
                    }
                    fn visit_map<A: serde::de::MapAccess<'de>>(
                        self,
                        map: A,
                    ) -> Result<$spec, A::Error> {
                        $own::deserialize(MapAccessDeserializer::new(map))
                            .map(|own| $spec::Own(Box::new(own)))
                    }
                }
                deserializer.deserialize_any(Visitor)
            }
        }
    };
}

name_or_table!(
    PieceSpec,
    OwnPiece,
    "a catalogue name such as \"burette 50 mL A\", or a table that describes the piece"
);
name_or_table!(
    BalanceSpec,
    OwnBalance,
    "a name such as \"four-place balance\", or a table that describes the balance"
);
