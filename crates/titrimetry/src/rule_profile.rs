//! Rule profiles: named, versioned sets of acceptance rules, as data.
//!
//! Shipped profiles are the files of `reference/rules/`; a user's own file has the same form. A rule that is left out is
//! not applied. Where a rule comes from stands beside it.

mod error;
mod rule;

pub use error::RuleProfileError;
pub use rule::{Mark, Rule};

use crate::sheet::Rules;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// Name of the profile that applies when a sheet names none.
pub const DEFAULT: &str = "house";

/// Longest profile that is read, in bytes.
pub const MAX_LENGTH: usize = 256 * 1024;

/// A set of acceptance rules; a rule that is left out is not applied.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RuleProfile {
    /// Name by which a sheet refers to it.
    pub name: String,
    /// What it is for, in a sentence.
    pub purpose: String,
    /// Version of the profile.
    pub version: String,
    /// The sources that rules refer to, by key.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub sources: BTreeMap<String, String>,
    /// Least number of runs that count.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub least_runs: Option<Rule<u32>>,
    /// Titres (corrected for differing masses) must lie within this many mL of one another.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub concordant_within_ml: Option<Rule<f64>>,
    /// How many titres must be concordant; all that count if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub concordant_runs: Option<Rule<u32>>,
    /// Largest relative standard deviation of the concentrations, in %.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rsd_percent: Option<Rule<f64>>,
    /// Largest relative range of the concentrations of one analyst, in %.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub range_percent_per_analyst: Option<Rule<f64>>,
    /// Largest relative range of all concentrations, in %.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub range_percent: Option<Rule<f64>>,
    /// Number of analysts who must each have done runs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub analysts: Option<Rule<u32>>,
    /// Least number of runs of each analyst.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub least_runs_per_analyst: Option<Rule<u32>>,
    /// Largest deviation from nominal, in %.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nominal_within_percent: Option<Rule<f64>>,
    /// Least titre, in % of the burette's capacity.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub titre_least_percent: Option<Rule<f64>>,
    /// Largest titre, in % of the burette's capacity.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub titre_most_percent: Option<Rule<f64>>,
    /// Readings must be recorded to this many mL or finer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reading_step_ml: Option<Rule<f64>>,
    /// Largest relative expanded uncertainty of the result, in %.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expanded_uncertainty_percent: Option<Rule<f64>>,
    /// Days for which a standardized solution may be used before it is standardized again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub valid_days: Option<Rule<u32>>,
}

macro_rules! shipped {
    ($($file:literal),* $(,)?) => {
        [$(($file, include_str!(concat!("../../../reference/rules/", $file)))),*]
    };
}

/// The shipped files, which a test reads one by one.
const FILES: [(&str, &str); 5] = shipped![
    "house.toml",
    "loose.toml",
    "pharmacopoeia.toml",
    "teaching.toml",
    "two-analysts.toml",
];

static SHIPPED: LazyLock<Vec<RuleProfile>> = LazyLock::new(|| {
    FILES
        .iter()
        .map(|(file, text)| match RuleProfile::read(text) {
            Ok(profile) => profile,
            Err(error) => panic!("the embedded file reference/rules/{file} is broken: {error}"),
        })
        .collect()
});

impl RuleProfile {
    /// The shipped profiles, by name.
    pub fn shipped() -> &'static [Self] {
        &SHIPPED
    }

    /// A shipped profile.
    ///
    /// # Errors
    /// [`RuleProfileError::Unknown`], which lists those that exist.
    pub fn named(name: &str) -> Result<&'static Self, RuleProfileError> {
        let wanted = name.trim();
        SHIPPED
            .iter()
            .find(|profile| profile.name.eq_ignore_ascii_case(wanted))
            .ok_or_else(|| RuleProfileError::Unknown {
                name: wanted.chars().take(60).collect(),
                known: SHIPPED.iter().map(|p| p.name.clone()).collect(),
            })
    }

    /// Reads a profile from the text of a file.
    ///
    /// # Errors
    /// [`RuleProfileError`] with the line and what was expected, or the rule whose limit cannot be meant.
    pub fn read(text: &str) -> Result<Self, RuleProfileError> {
        if text.len() > MAX_LENGTH {
            return Err(RuleProfileError::TooLong { bytes: text.len() });
        }
        if text.trim().is_empty() {
            return Err(RuleProfileError::Empty);
        }
        let profile: Self =
            toml::from_str(text).map_err(|error| RuleProfileError::syntax(text, &error))?;
        profile.check()?;
        Ok(profile)
    }

    /// The profile a sheet asks for; `file` is the text of its own file, if it names one.
    ///
    /// # Errors
    /// As [`Self::named`] and [`Self::read`]; both a name and a file; a file that was not handed over.
    pub fn of(rules: &Rules, file: Option<&str>) -> Result<Self, RuleProfileError> {
        match (&rules.profile, &rules.file, file) {
            (Some(_), Some(_), _) => Err(RuleProfileError::NameAndFile),
            (None, Some(_), Some(text)) => Self::read(text),
            (None, Some(path), None) => Err(RuleProfileError::FileMissing { path: path.clone() }),
            (Some(name), None, _) => Self::named(name).cloned(),
            (None, None, _) => Self::named(DEFAULT).cloned(),
        }
    }

    /// Where a rule comes from, in words: its source and how sure that is.
    pub fn origin<T>(&self, rule: &Rule<T>) -> Option<String> {
        let key = rule.source.as_deref()?;
        let source = self.sources.get(key).map_or(key, String::as_str);
        Some(match rule.mark {
            Some(mark) => format!("{source} ({})", mark.describe()),
            None => source.to_owned(),
        })
    }

    /// The rules in words, one a line, each with where it comes from; to be printed with the result.
    pub fn describe(&self) -> Vec<String> {
        let mut lines = Vec::new();
        self.say(&mut lines, &self.least_runs, |n| {
            format!("{n} runs or more")
        });
        self.say(&mut lines, &self.analysts, |n| {
            format!("{n} analysts or more")
        });
        self.say(&mut lines, &self.least_runs_per_analyst, |n| {
            format!("{n} runs or more of each analyst")
        });
        let concordant = match &self.concordant_runs {
            Some(rule) => format!("{} titres", rule.limit),
            None => "all titres".to_string(),
        };
        self.say(&mut lines, &self.concordant_within_ml, |ml| {
            format!("{concordant} within {ml:.2} mL of one another")
        });
        self.say(&mut lines, &self.rsd_percent, |p| {
            format!("RSD at most {p} %")
        });
        self.say(&mut lines, &self.range_percent_per_analyst, |p| {
            format!("range of each analyst at most {p} %")
        });
        self.say(&mut lines, &self.range_percent, |p| {
            format!("range of all runs at most {p} %")
        });
        self.say(&mut lines, &self.nominal_within_percent, |p| {
            format!("within {p} % of nominal")
        });
        self.say(&mut lines, &self.titre_least_percent, |p| {
            format!("titre at least {p} % of the burette")
        });
        self.say(&mut lines, &self.titre_most_percent, |p| {
            format!("titre at most {p} % of the burette")
        });
        self.say(&mut lines, &self.reading_step_ml, |ml| {
            format!("readings to {ml} mL or finer")
        });
        self.say(&mut lines, &self.expanded_uncertainty_percent, |p| {
            format!("expanded uncertainty at most {p} %")
        });
        self.say(&mut lines, &self.valid_days, |days| {
            format!("to be standardized again after {days} days")
        });
        lines
    }

    fn say<T>(
        &self,
        lines: &mut Vec<String>,
        rule: &Option<Rule<T>>,
        words: impl Fn(&T) -> String,
    ) {
        if let Some(rule) = rule {
            let words = words(&rule.limit);
            lines.push(match self.origin(rule) {
                Some(origin) => format!("{words}: {origin}"),
                None => words,
            });
        }
    }

    /// Limits that nobody can mean are refused here, so that no rule is silently without effect.
    fn check(&self) -> Result<(), RuleProfileError> {
        if self.name.trim().is_empty() {
            return Err(RuleProfileError::limit("name", "is empty"));
        }
        let above_zero = [
            ("concordant_within_ml", &self.concordant_within_ml),
            ("rsd_percent", &self.rsd_percent),
            ("range_percent_per_analyst", &self.range_percent_per_analyst),
            ("range_percent", &self.range_percent),
            ("nominal_within_percent", &self.nominal_within_percent),
            ("titre_least_percent", &self.titre_least_percent),
            ("titre_most_percent", &self.titre_most_percent),
            ("reading_step_ml", &self.reading_step_ml),
            (
                "expanded_uncertainty_percent",
                &self.expanded_uncertainty_percent,
            ),
        ];
        for (name, rule) in above_zero {
            if let Some(rule) = rule
                && !(rule.limit > 0.0 && rule.limit.is_finite())
            {
                let message = format!("is {}, expected a number above 0", rule.limit);
                return Err(RuleProfileError::limit(name, message));
            }
        }
        let counts = [
            ("least_runs", &self.least_runs, 1),
            ("concordant_runs", &self.concordant_runs, 2),
            ("analysts", &self.analysts, 1),
            ("least_runs_per_analyst", &self.least_runs_per_analyst, 1),
            ("valid_days", &self.valid_days, 1),
        ];
        for (name, rule, least) in counts {
            if let Some(rule) = rule
                && rule.limit < least
            {
                let message = format!("is {}, expected {least} or more", rule.limit);
                return Err(RuleProfileError::limit(name, message));
            }
        }
        if let (Some(least), Some(most)) = (&self.titre_least_percent, &self.titre_most_percent)
            && least.limit >= most.limit
        {
            let message = format!(
                "is {}, which leaves no titre below titre_most_percent = {}",
                least.limit, most.limit
            );
            return Err(RuleProfileError::limit("titre_least_percent", message));
        }
        if self.concordant_runs.is_some() && self.concordant_within_ml.is_none() {
            return Err(RuleProfileError::limit(
                "concordant_runs",
                "is given without concordant_within_ml, which says how close they must be",
            ));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shipped_file_is_sound_and_named_after_its_file() {
        for (file, text) in FILES {
            let profile = RuleProfile::read(text).unwrap();
            assert_eq!(format!("{}.toml", profile.name), file);
            // Every rule of a shipped profile says where it comes from, and the key leads somewhere.
            let table: toml::Table = toml::from_str(text).unwrap();
            let mut rules = 0;
            for (name, value) in &table {
                if ["name", "purpose", "version", "sources"].contains(&name.as_str()) {
                    continue;
                }
                let rule = value.as_table().unwrap();
                let source = rule["source"].as_str().unwrap();
                assert!(profile.sources.contains_key(source), "{file}: {name}");
                assert!(rule.contains_key("mark"), "{file}: {name}");
                rules += 1;
            }
            assert!(rules >= 3, "{file}");
            // Every rule is said; how many titres must be concordant is part of how close.
            let one_less = usize::from(profile.concordant_runs.is_some());
            assert_eq!(profile.describe().len() + one_less, rules, "{file}");
        }
    }

    #[test]
    fn an_unknown_name_lists_what_exists() {
        let error = RuleProfile::named("pharma").unwrap_err();
        assert_eq!(
            error.to_string(),
            "there is no rule profile \"pharma\"; there are house, loose, pharmacopoeia, teaching and two-analysts"
        );
        assert!(RuleProfile::named(" Teaching ").is_ok());
    }

    #[test]
    fn an_own_file_may_write_bare_limits() {
        let text = "name = \"our bench\"\npurpose = \"x\"\nversion = \"3\"\nleast_runs = 3\nrsd_percent = { limit = 0.3, source = \"WI 12\", mark = \"own choice\" }\n";
        let profile = RuleProfile::read(text).unwrap();
        assert_eq!(profile.least_runs.as_ref().unwrap().limit, 3);
        let rsd = profile.rsd_percent.as_ref().unwrap();
        assert_eq!(profile.origin(rsd).as_deref(), Some("WI 12 (own choice)"));
        assert_eq!(profile.origin(profile.least_runs.as_ref().unwrap()), None);
        assert_eq!(profile.concordant_within_ml, None);
    }

    #[test]
    fn rules_are_said_with_their_source() {
        let teaching = RuleProfile::named("teaching").unwrap().describe();
        assert!(
            teaching[1].starts_with("2 titres within 0.10 mL of one another: practical mark"),
            "{teaching:?}"
        );
        assert!(teaching[1].ends_with("(seen)"), "{teaching:?}");
    }

    #[test]
    fn a_profile_that_cannot_be_meant_is_refused_with_the_rule_named() {
        let head = "name = \"x\"\npurpose = \"x\"\nversion = \"1\"\n";
        for (line, expected) in [
            ("rsd_percent = nan", "rsd_percent is NaN"),
            ("rsd_percent = -1", "rsd_percent is -1"),
            ("least_runs = 0", "least_runs is 0, expected 1 or more"),
            ("concordant_runs = 2", "without concordant_within_ml"),
            ("least_runs = \"three\"", "line 4"),
            ("least_runs = 2.5", "line 4"),
            ("rsd = 0.2", "rsd_percent"),
            (
                "titre_least_percent = 90\ntitre_most_percent = 80",
                "leaves no titre",
            ),
        ] {
            let error = RuleProfile::read(&format!("{head}{line}\n")).unwrap_err();
            assert!(error.to_string().contains(expected), "{line}: {error}");
        }
        assert_eq!(RuleProfile::read(" \n"), Err(RuleProfileError::Empty));
        let long = " ".repeat(MAX_LENGTH + 1);
        assert!(RuleProfile::read(&long).is_err());
    }

    #[test]
    fn the_sheet_chooses() {
        let rules = |profile: Option<&str>, file: Option<&str>| Rules {
            profile: profile.map(str::to_owned),
            file: file.map(str::to_owned),
        };
        let name = |rules: &Rules, text| RuleProfile::of(rules, text).map(|p| p.name);
        assert_eq!(name(&rules(None, None), None).unwrap(), "house");
        assert_eq!(name(&rules(Some("loose"), None), None).unwrap(), "loose");
        let own = "name = \"own\"\npurpose = \"x\"\nversion = \"1\"\n";
        assert_eq!(
            name(&rules(None, Some("own.toml")), Some(own)).unwrap(),
            "own"
        );
        assert_eq!(
            name(&rules(None, Some("own.toml")), None),
            Err(RuleProfileError::FileMissing {
                path: "own.toml".into()
            })
        );
        assert_eq!(
            name(&rules(Some("loose"), Some("own.toml")), Some(own)),
            Err(RuleProfileError::NameAndFile)
        );
    }
}
