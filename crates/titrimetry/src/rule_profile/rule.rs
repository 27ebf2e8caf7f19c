//! One rule: its limit, and where that comes from.

use serde::de::value::MapAccessDeserializer;
use serde::{Deserialize, Deserializer, Serialize};
use std::fmt;
use std::marker::PhantomData;

/// A limit with its source.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Rule<T> {
    /// The limit, in the unit that the rule's name says.
    pub limit: T,
    /// Key of the profile's sources, or the source itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// How sure the source is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mark: Option<Mark>,
}

/// How sure a rule's source is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Mark {
    /// Read in the source named.
    #[serde(rename = "seen")]
    Seen,
    /// Not compared with the source.
    #[serde(rename = "from memory")]
    FromMemory,
    /// What the trade does.
    #[serde(rename = "common practice")]
    CommonPractice,
    /// Chosen for this profile.
    #[serde(rename = "own choice")]
    OwnChoice,
}

impl Mark {
    /// The mark in words.
    pub fn describe(self) -> &'static str {
        match self {
            Self::Seen => "seen",
            Self::FromMemory => "from memory",
            Self::CommonPractice => "common practice",
            Self::OwnChoice => "own choice",
        }
    }
}

/// What a limit can be: a number or a count.
pub(super) trait Limit: Sized {
    const EXPECTED: &'static str;
    fn whole(value: i64) -> Option<Self>;
    fn real(value: f64) -> Option<Self>;
}

impl Limit for f64 {
    const EXPECTED: &'static str = "a number, or { limit = a number, source = \"...\" }";
    fn whole(value: i64) -> Option<Self> {
        // Limits are small; one beyond 2^53 is refused elsewhere as meaningless or is as good rounded.
        Some(value as f64)
    }
    fn real(value: f64) -> Option<Self> {
        Some(value)
    }
}

impl Limit for u32 {
    const EXPECTED: &'static str =
        "a whole number, or { limit = a whole number, source = \"...\" }";
    fn whole(value: i64) -> Option<Self> {
        Self::try_from(value).ok()
    }
    fn real(_: f64) -> Option<Self> {
        None
    }
}

/// The table form; its limit is read with [`Limit`] too, so that 1 is accepted for 1.0.
#[derive(Deserialize)]
#[serde(deny_unknown_fields, bound = "T: Limit")]
struct Written<T> {
    limit: Bare<T>,
    #[serde(default)]
    source: Option<String>,
    #[serde(default)]
    mark: Option<Mark>,
}

struct Bare<T>(T);

impl<'de, T: Limit> Deserialize<'de> for Bare<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer
            .deserialize_any(Visitor(PhantomData))
            .map(|rule: Rule<T>| Self(rule.limit))
    }
}

struct Visitor<T>(PhantomData<T>);

impl<'de, T: Limit> serde::de::Visitor<'de> for Visitor<T> {
    type Value = Rule<T>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(T::EXPECTED)
    }

    // JSON gives whole numbers without a sign.
    fn visit_u64<E: serde::de::Error>(self, value: u64) -> Result<Self::Value, E> {
        self.visit_i64(i64::try_from(value).unwrap_or(i64::MAX))
    }

    fn visit_i64<E: serde::de::Error>(self, value: i64) -> Result<Rule<T>, E> {
        T::whole(value)
            .map(bare)
            .ok_or_else(|| E::invalid_value(serde::de::Unexpected::Signed(value), &self))
    }

    fn visit_f64<E: serde::de::Error>(self, value: f64) -> Result<Rule<T>, E> {
        T::real(value)
            .map(bare)
            .ok_or_else(|| E::invalid_type(serde::de::Unexpected::Float(value), &self))
    }

    fn visit_map<A: serde::de::MapAccess<'de>>(self, map: A) -> Result<Rule<T>, A::Error> {
        let written = Written::<T>::deserialize(MapAccessDeserializer::new(map))?;
        Ok(Rule {
            limit: written.limit.0,
            source: written.source,
            mark: written.mark,
        })
    }
}

fn bare<T>(limit: T) -> Rule<T> {
    Rule {
        limit,
        source: None,
        mark: None,
    }
}

impl<'de, T: Limit> Deserialize<'de> for Rule<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(Visitor(PhantomData))
    }
}
