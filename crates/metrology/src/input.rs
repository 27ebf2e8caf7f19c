//! Inputs: the named quantities that a formula starts from.

use crate::distribution::Distribution;
use crate::quantity::{Quantity, Unit};
use serde::{Deserialize, Serialize};

/// A named quantity with what is known about it and where it comes from.
///
/// Two formulas that name the same `id` mean the same quantity; its correlation is handled without declaring it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Input {
    /// Identity, unique within everything that is evaluated together, such as `burette-1/calibration`.
    pub id: String,
    /// Symbol as printed in the working, such as `m_1`.
    pub symbol: String,
    /// What it is, in words.
    pub description: String,
    /// Value in `unit`.
    pub value: f64,
    /// The number as written, if a person wrote it; printed in the working.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub written: Option<String>,
    /// Unit of the value and of the distribution's widths.
    pub unit: Unit,
    /// What is known about the value.
    pub distribution: Distribution,
    /// Degrees of freedom of the uncertainty; infinite if it is taken as known.
    #[serde(default = "infinite", with = "degrees_of_freedom")]
    pub degrees_of_freedom: f64,
    /// Where the value and its uncertainty come from.
    pub origin: Origin,
    /// Whether all runs share it.
    pub scope: Scope,
    /// Heading under which a budget adds it up, in the words of the trade, such as "burette tolerance".
    #[serde(default)]
    pub group: String,
}

/// Where an input comes from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "kind", content = "from")]
pub enum Origin {
    /// Read off an instrument.
    Reading(String),
    /// Stated by a certificate.
    Certificate(String),
    /// A property of a piece of apparatus.
    Apparatus(String),
    /// Taken from a table; names its source.
    Table(String),
    /// Observed on repeated runs.
    Observations(String),
    /// Assumed; says why.
    Assumption(String),
    /// True by definition.
    Definition(String),
}

impl Origin {
    /// One line that answers "where from?".
    pub fn describe(&self) -> String {
        match self {
            Self::Reading(from) => format!("read: {from}"),
            Self::Certificate(from) => format!("certificate: {from}"),
            Self::Apparatus(from) => format!("apparatus: {from}"),
            Self::Table(from) => format!("table: {from}"),
            Self::Observations(from) => format!("observed: {from}"),
            Self::Assumption(from) => format!("assumed: {from}"),
            Self::Definition(from) => format!("by definition: {from}"),
        }
    }
}

/// Which runs an input belongs to.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scope {
    /// One value for every run: an error in it moves all runs alike.
    Shared,
    /// Belongs to the named run alone.
    Run(String),
}

impl Input {
    /// True if both state the same about the same quantity. How it is printed (symbol, words, heading) may differ: the
    /// pipette that measured a standard in one determination measures an aliquot in the next.
    pub fn is_same_quantity(&self, other: &Self) -> bool {
        self.id == other.id
            && self.value.to_bits() == other.value.to_bits()
            && self.unit == other.unit
            && self.distribution == other.distribution
            && self.degrees_of_freedom.to_bits() == other.degrees_of_freedom.to_bits()
            && self.origin == other.origin
            && self.scope == other.scope
    }

    /// An exactly known, shared input; the other methods say what is known about it.
    pub fn new(id: impl Into<String>, symbol: impl Into<String>, value: Quantity) -> Self {
        Self {
            id: id.into(),
            symbol: symbol.into(),
            description: String::new(),
            value: value.value,
            written: None,
            unit: value.unit,
            distribution: Distribution::Exact,
            degrees_of_freedom: f64::INFINITY,
            origin: Origin::Assumption("not stated".into()),
            scope: Scope::Shared,
            group: String::new(),
        }
    }

    /// Says what the input is.
    #[must_use]
    pub fn described(mut self, description: impl Into<String>) -> Self {
        self.description = description.into();
        self
    }

    /// Keeps the number as it was written.
    #[must_use]
    pub fn written(mut self, text: impl Into<String>) -> Self {
        self.written = Some(text.into());
        self
    }

    /// Sets what is known about the value.
    #[must_use]
    pub fn distributed(mut self, distribution: Distribution) -> Self {
        self.distribution = distribution;
        self
    }

    /// Sets the degrees of freedom of the uncertainty.
    #[must_use]
    pub fn with_degrees_of_freedom(mut self, degrees_of_freedom: f64) -> Self {
        self.degrees_of_freedom = degrees_of_freedom;
        self
    }

    /// Sets where it comes from.
    #[must_use]
    pub fn from_origin(mut self, origin: Origin) -> Self {
        self.origin = origin;
        self
    }

    /// Makes it belong to one run.
    #[must_use]
    pub fn of_run(mut self, run: impl Into<String>) -> Self {
        self.scope = Scope::Run(run.into());
        self
    }

    /// Sets the heading under which a budget adds it up.
    #[must_use]
    pub fn grouped(mut self, group: impl Into<String>) -> Self {
        self.group = group.into();
        self
    }

    /// Standard uncertainty in the input's unit.
    pub fn standard_uncertainty(&self) -> f64 {
        self.distribution.standard_uncertainty()
    }

    /// Value in the coherent system.
    pub(crate) fn coherent_value(&self) -> f64 {
        self.unit.to_coherent(self.value)
    }

    /// Standard uncertainty in the coherent system.
    pub(crate) fn coherent_uncertainty(&self) -> f64 {
        self.distribution.standard_uncertainty() * self.unit.factor()
    }
}

fn infinite() -> f64 {
    f64::INFINITY
}

/// JSON has no infinity: infinite degrees of freedom are stored as null.
mod degrees_of_freedom {
    use serde::{Deserialize, Deserializer, Serializer};

    pub(super) fn serialize<S: Serializer>(value: &f64, serializer: S) -> Result<S::Ok, S::Error> {
        if value.is_finite() {
            serializer.serialize_some(value)
        } else {
            serializer.serialize_none()
        }
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<f64, D::Error> {
        Ok(Option::deserialize(deserializer)?.unwrap_or(f64::INFINITY))
    }
}
