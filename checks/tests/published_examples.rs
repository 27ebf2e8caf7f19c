//! The library of methods against published examples: every method has a sheet that evaluates, and every figure of
//! `data/published_examples.toml` is met to the last digit printed, or a note says why not and the reason is checked.
//!
//! Sources stand beside the figures, and in the head of each sheet.
#![allow(clippy::unwrap_used)]

use chemistry::atomic_weights::AtomicWeights;
use chemistry::formula::Formula;
use chemistry::molar_mass::MolarMass;
use serde::Deserialize;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use titrimetry::assay::{self, AssaySheet};
use titrimetry::{Sheet, evaluation, method};

/// Where sheets are looked for.
const FOLDERS: [&str; 3] = [
    "examples/methods",
    "examples/standardizations",
    "checks/data/sheets",
];

#[derive(Deserialize)]
struct Examples {
    example: Vec<Example>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Example {
    sheet: String,
    result: String,
    unit: String,
    printed: String,
    kind: Kind,
    #[serde(default)]
    memory: bool,
    factor: Option<f64>,
    factor_is: Option<String>,
    #[serde(default)]
    uses: Vec<Use>,
    source: String,
    note: Option<String>,
}

#[derive(Clone, Copy, Deserialize, PartialEq, Eq, PartialOrd, Ord)]
#[serde(rename_all = "lowercase")]
enum Kind {
    Hand,
    Rule,
    Published,
}

/// What a source takes where we take something else.
#[derive(Deserialize)]
#[serde(untagged)]
enum Use {
    MolarMass {
        molar_mass: String,
        theirs: String,
        #[serde(default)]
        divides: bool,
    },
    Other {
        what: String,
        theirs: String,
        ours: String,
        #[serde(default)]
        given: bool,
    },
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn examples() -> Vec<Example> {
    let path = root().join("checks/data/published_examples.toml");
    let read: Examples = toml::from_str(&fs::read_to_string(path).unwrap()).unwrap();
    read.example
}

/// Name and text of every sheet in a folder.
fn sheets(folder: &str) -> BTreeMap<String, String> {
    fs::read_dir(root().join(folder))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .map(|path| {
            let name = path.file_stem().unwrap().to_str().unwrap().to_string();
            (name, fs::read_to_string(&path).unwrap())
        })
        .collect()
}

fn all_sheets() -> BTreeMap<String, String> {
    let mut all = BTreeMap::new();
    for folder in FOLDERS {
        for (name, text) in sheets(folder) {
            assert!(
                all.insert(name.clone(), text).is_none(),
                "two sheets {name}"
            );
        }
    }
    all
}

/// The method that a sheet names; none for a standardization.
fn method_of(text: &str) -> Option<String> {
    let table: toml::Table = text.parse().unwrap();
    Some(table.get("method")?.as_str().unwrap().to_string())
}

/// Every value of a sheet by name and unit.
fn values(name: &str, text: &str) -> Vec<(String, String, f64)> {
    let Some(method) = method_of(text) else {
        let sheet = Sheet::read(text).unwrap_or_else(|e| panic!("{name}: {e}"));
        let evaluation =
            evaluation::evaluate(&sheet, None).unwrap_or_else(|e| panic!("{name}: {e}"));
        let c = evaluation.concentration();
        return vec![("concentration".into(), "mol/L".into(), c)];
    };
    let sheet = AssaySheet::read(text).unwrap_or_else(|e| panic!("{name}: {e}"));
    let method = method::find(&method).unwrap_or_else(|e| panic!("{name}: {e}"));
    let assay =
        assay::evaluate(&sheet, method, &|_| None).unwrap_or_else(|e| panic!("{name}: {e}"));
    assay.samples[0]
        .results
        .iter()
        .flat_map(|r| std::iter::once(r).chain(&r.also))
        .map(|r| (r.name.clone(), r.unit.clone(), r.value))
        .collect()
}

/// The value with as many decimals as the printed figure.
fn as_printed(value: f64, printed: &str) -> String {
    let decimals = printed.split('.').nth(1).map_or(0, str::len);
    format!("{value:.decimals$}")
}

impl Use {
    /// Theirs over ours, after the reason was checked.
    fn ratio(&self, at: &str, missed: &mut Vec<String>) -> f64 {
        match self {
            Self::MolarMass {
                molar_mass,
                theirs,
                divides,
            } => {
                let ours = MolarMass::of(
                    &Formula::parse(molar_mass).unwrap(),
                    AtomicWeights::default_set(),
                )
                .unwrap()
                .value();
                let theirs: f64 = theirs.parse().unwrap();
                // A rounded molar mass, not another substance.
                assert!(
                    (theirs / ours - 1.0).abs() < 0.01,
                    "{at}: {molar_mass} {ours}"
                );
                if *divides {
                    ours / theirs
                } else {
                    theirs / ours
                }
            }
            Self::Other {
                what,
                theirs,
                ours,
                given,
            } => {
                let unit = 0.1f64.powi(theirs.split('.').nth(1).map_or(0, str::len) as i32);
                let (theirs, ours): (f64, f64) = (theirs.parse().unwrap(), ours.parse().unwrap());
                // Rounded or cut off: less than a unit of the last digit.
                if !*given && (theirs - ours).abs() >= unit {
                    missed.push(format!("{at}: {what}: {theirs} is not {ours} rounded"));
                }
                theirs / ours
            }
        }
    }
}

#[test]
fn every_method_has_its_sheet_which_evaluates() {
    let sheets = sheets("examples/methods");
    let named: BTreeSet<&String> = sheets.keys().collect();
    let methods: BTreeSet<&String> = method::all().iter().map(|m| &m.name).collect();
    assert_eq!(named, methods);
    for (name, text) in &sheets {
        assert_eq!(method_of(text).as_ref(), Some(name));
        assert!(
            text.starts_with("# "),
            "{name}: a head that says what it is and where from"
        );
        assert!(
            values(name, text)
                .iter()
                .all(|v| v.2.is_finite() && v.2 > 0.0),
            "{name}"
        );
    }
}

#[test]
fn the_figures_are_met() {
    let sheets = all_sheets();
    let mut missed = Vec::new();
    for example in examples() {
        let at = format!("{}, {} {}", example.sheet, example.result, example.printed);
        let text = sheets
            .get(&example.sheet)
            .unwrap_or_else(|| panic!("no sheet {}", example.sheet));
        let value = values(&example.sheet, text)
            .into_iter()
            .find(|v| v.0 == example.result && v.1 == example.unit)
            .unwrap_or_else(|| panic!("{at}: not reported in {}", example.unit))
            .2
            * example.factor.unwrap_or(1.0);
        let ratio: f64 = example
            .uses
            .iter()
            .map(|u| u.ratio(&at, &mut missed))
            .product();
        if as_printed(value * ratio, &example.printed) != example.printed {
            missed.push(format!("{at}: {value} times {ratio}"));
        }
        if example.factor.is_some() {
            assert!(example.factor_is.is_some(), "{at}: what the factor is");
        }
        // A reason must be needed, and what is more than a molar mass must be told.
        if !example.uses.is_empty() {
            let without = as_printed(value, &example.printed);
            if without == example.printed {
                missed.push(format!("{at}: needs no reason"));
            }
        }
        let told = example.note.as_ref().is_some_and(|n| !n.is_empty());
        let other = example.uses.iter().any(|u| matches!(u, Use::Other { .. }));
        assert!(told || !(other || example.memory), "{at}: needs a note");
        assert!(!example.source.is_empty());
    }
    assert!(missed.is_empty(), "{}", missed.join("\n"));
}

/// How many methods have what: the figures of the README.
#[test]
fn most_methods_have_a_published_answer() {
    let sheets = all_sheets();
    let mut best: BTreeMap<String, (Kind, bool)> = BTreeMap::new();
    let mut used = BTreeSet::new();
    for example in examples() {
        used.insert(example.sheet.clone());
        if let Some(method) = method_of(&sheets[&example.sheet]) {
            let seen = (example.kind, !example.memory);
            let entry = best.entry(method).or_insert(seen);
            *entry = (*entry).max(seen);
        }
    }
    let idle: Vec<&String> = sheets.keys().filter(|name| !used.contains(*name)).collect();
    assert!(idle.is_empty(), "sheets without a figure: {idle:?}");
    assert_eq!(best.len(), method::all().len());
    let count = |kind: Kind, seen: bool| best.values().filter(|b| **b == (kind, seen)).count();
    let counts = [
        count(Kind::Published, true),
        count(Kind::Published, false),
        count(Kind::Rule, true),
        count(Kind::Rule, false),
        count(Kind::Hand, true) + count(Kind::Hand, false),
    ];
    assert_eq!(counts, [42, 5, 17, 3, 5]);
}
