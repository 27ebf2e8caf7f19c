//! The catalogue of glassware and piston pipettes.
//!
//! Source: `reference/glassware/`, one file a standard; every limit carries its source and whether it was seen there.
//! Pieces are asked for by the name a chemist writes, see [`find`].

mod name;

use std::collections::BTreeMap;
use std::fmt;
use std::sync::LazyLock;

use serde::Deserialize;

pub use name::find;

/// What a piece is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Deserialize)]
pub enum Kind {
    /// A glass burette.
    #[serde(rename = "burette")]
    Burette,
    /// A single-volume (one-mark) pipette.
    #[serde(rename = "pipette")]
    Pipette,
    /// A one-mark volumetric flask.
    #[serde(rename = "flask")]
    Flask,
    /// An air-displacement piston pipette.
    #[serde(rename = "piston pipette")]
    PistonPipette,
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Burette => "burette",
            Self::Pipette => "pipette",
            Self::Flask => "flask",
            Self::PistonPipette => "piston pipette",
        })
    }
}

/// Class of accuracy of glassware.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Class {
    /// Class A.
    A,
    /// Class AS: the limits of class A, faster outflow, a waiting time.
    As,
    /// Class B.
    B,
}

impl fmt::Display for Class {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::A => "A",
            Self::As => "AS",
            Self::B => "B",
        })
    }
}

/// Who made the standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Deserialize)]
pub enum Organisation {
    /// International Organization for Standardization.
    #[serde(rename = "ISO")]
    Iso,
    /// ASTM International.
    #[serde(rename = "ASTM")]
    Astm,
}

/// Whether the mark holds for what runs out or for what is inside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum Adjustment {
    /// Ex, TD.
    #[serde(rename = "to deliver")]
    ToDeliver,
    /// In, TC.
    #[serde(rename = "to contain")]
    ToContain,
}

/// How sure a value of the reference data is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum Mark {
    /// Seen in the source named.
    #[serde(rename = "V")]
    Seen,
    /// From memory: compare with the standard before a claim rests on it.
    #[serde(rename = "M")]
    FromMemory,
}

/// One piece of the catalogue: a size in a class by a standard.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// What it is.
    pub kind: Kind,
    /// The standard, with year where known.
    pub standard: String,
    /// Who made the standard.
    pub organisation: Organisation,
    /// Class; piston pipettes have none.
    pub class: Option<Class>,
    /// To deliver or to contain.
    pub adjustment: Adjustment,
    /// Nominal capacity, mL.
    pub nominal_ml: f64,
    /// Smallest division, mL; burettes only.
    pub graduation_ml: Option<f64>,
    /// Maximum permissible error, mL, at 20 degC and full capacity; it holds for any part of the scale of a burette.
    pub tolerance_ml: f64,
    /// Maximum permissible standard deviation at nominal volume, mL; piston pipettes only.
    pub random_ml: Option<f64>,
    /// Waiting time of the class, s, where the standard states one.
    pub waiting_time_s: Option<f64>,
    /// How sure the tolerance is.
    pub mark: Mark,
    /// Where the tolerance comes from.
    pub source: String,
}

impl fmt::Display for Entry {
    /// The name that finds this piece again.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ", self.kind)?;
        if self.kind == Kind::PistonPipette {
            // Rounded, since 0.05 mL times 1000 is not 50 in binary.
            write!(f, "{} uL", (self.nominal_ml * 1e6).round() / 1e3)?;
        } else {
            write!(f, "{} mL", self.nominal_ml)?;
        }
        if let Some(class) = self.class {
            write!(f, " {class}")?;
        }
        if let Some(graduation) = self.graduation_ml {
            write!(f, " graduated {graduation}")?;
        }
        if self.organisation == Organisation::Astm {
            f.write_str(" ASTM")?;
        }
        Ok(())
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    standard: String,
    organisation: Organisation,
    kind: Kind,
    adjustment: Adjustment,
    sources: BTreeMap<String, String>,
    #[serde(default)]
    class: BTreeMap<String, ClassRecord>,
    size: Vec<SizeRecord>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ClassRecord {
    waiting_time_s: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SizeRecord {
    nominal_ml: f64,
    graduation_ml: Option<f64>,
    random_ml: Option<f64>,
    #[serde(rename = "A")]
    a: Option<LimitRecord>,
    #[serde(rename = "AS")]
    a_s: Option<LimitRecord>,
    #[serde(rename = "B")]
    b: Option<LimitRecord>,
    limit: Option<LimitRecord>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LimitRecord {
    ml: f64,
    mark: Mark,
    source: String,
}

macro_rules! glassware {
    ($($file:literal),* $(,)?) => {
        [$(($file, include_str!(concat!("../../../../reference/glassware/", $file)))),*]
    };
}

static ENTRIES: LazyLock<Vec<Entry>> = LazyLock::new(|| {
    glassware![
        "iso-385-burettes.toml",
        "iso-648-pipettes.toml",
        "iso-1042-flasks.toml",
        "iso-8655-2-piston-pipettes.toml",
        "astm-e287-burettes.toml",
        "astm-e969-pipettes.toml",
        "astm-e288-flasks.toml",
    ]
    .into_iter()
    .flat_map(|(name, text)| entries_of(&crate::embedded::parse(name, text)))
    .collect()
});

fn entries_of(file: &File) -> Vec<Entry> {
    let mut entries = Vec::new();
    for size in &file.size {
        let limits = [
            (Some(Class::A), &size.a),
            (Some(Class::As), &size.a_s),
            (Some(Class::B), &size.b),
            (None, &size.limit),
        ];
        for (class, limit) in limits {
            let Some(limit) = limit else { continue };
            entries.push(Entry {
                kind: file.kind,
                standard: file.standard.clone(),
                organisation: file.organisation,
                class,
                adjustment: file.adjustment,
                nominal_ml: size.nominal_ml,
                graduation_ml: size.graduation_ml,
                tolerance_ml: limit.ml,
                random_ml: size.random_ml,
                waiting_time_s: class
                    .and_then(|class| file.class.get(&class.to_string()))
                    .and_then(|record| record.waiting_time_s),
                mark: limit.mark,
                source: file
                    .sources
                    .get(&limit.source)
                    .unwrap_or_else(|| panic!("{}: no source {:?}", file.standard, limit.source))
                    .clone(),
            });
        }
    }
    entries
}

/// All pieces, standard by standard.
#[must_use]
pub fn entries() -> &'static [Entry] {
    &ENTRIES
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_loads_and_names_its_sources() {
        assert!(entries().len() > 100);
        for entry in entries() {
            assert!(
                entry.nominal_ml > 0.0 && entry.tolerance_ml > 0.0,
                "{entry}"
            );
            assert!(entry.tolerance_ml < 0.1 * entry.nominal_ml, "{entry}");
            assert_eq!(
                entry.graduation_ml.is_some(),
                entry.kind == Kind::Burette,
                "{entry}"
            );
            assert_eq!(
                entry.class.is_none(),
                entry.kind == Kind::PistonPipette,
                "{entry}"
            );
        }
    }

    #[test]
    fn no_piece_is_listed_twice() {
        let mut names: Vec<String> = entries().iter().map(ToString::to_string).collect();
        let count = names.len();
        names.sort();
        names.dedup();
        assert_eq!(names.len(), count);
    }

    #[test]
    fn a_class_as_burette_waits_thirty_seconds() {
        let entry = find("burette 50 mL AS").unwrap();
        assert_eq!(entry.waiting_time_s, Some(30.0));
        assert_eq!(find("burette 50 mL A").unwrap().waiting_time_s, Some(0.0));
    }
}
