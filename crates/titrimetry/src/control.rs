//! How control charts are judged: the settings of `reference/record/control.toml`, and what the rules see in a series.

use metrology::control::{ControlError, ControlLimits, Pattern, Spread};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::LazyLock;

static SHIPPED: LazyLock<ControlSettings> = LazyLock::new(|| {
    match ControlSettings::read(include_str!("../../../reference/record/control.toml")) {
        Ok(settings) => settings,
        Err(error) => {
            panic!("the embedded file reference/record/control.toml is broken: {error}")
        }
    }
});

/// A number with its source.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sourced {
    /// The number.
    #[serde(alias = "times")]
    pub value: f64,
    /// Key of its source.
    pub source: String,
    /// How well it is known to be the source's: "seen", "memory", "common practice".
    pub mark: String,
}

/// Warning and action limits, in standard deviations.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LimitSettings {
    /// Warning limits.
    pub warning: Sourced,
    /// Action limits.
    pub action: Sourced,
}

/// What is said of a drift.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DriftSettings {
    /// How far a value may move, in % of it.
    pub tolerance_percent: Sourced,
    /// Probability of what is said.
    pub probability: Sourced,
}

/// A run rule.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunRule {
    /// Its name.
    pub id: String,
    /// What it sees, in words.
    pub says: String,
    /// What it looks for.
    pub pattern: Pattern,
    /// Whether it is applied.
    pub on: bool,
    /// Key of its source.
    pub source: String,
    /// How well it is known to be the source's.
    pub mark: String,
}

/// Settings of control charts.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ControlSettings {
    /// Version of the settings.
    pub version: String,
    /// How the standard deviation is got.
    pub spread: Spread,
    /// From how many values on limits are drawn.
    pub least_values: usize,
    /// Warning and action limits.
    pub limits: LimitSettings,
    /// Drift.
    pub drift: DriftSettings,
    /// The run rules.
    pub rule: Vec<RunRule>,
    /// The sources, by key.
    pub sources: BTreeMap<String, String>,
}

/// What a rule saw.
#[derive(Clone, Debug, PartialEq)]
pub struct Signal {
    /// Index of the rule.
    pub rule: usize,
    /// Index of the value that completed it.
    pub at: usize,
    /// The values that make it, by index.
    pub points: Vec<usize>,
}

impl ControlSettings {
    /// The shipped settings.
    pub fn shipped() -> &'static Self {
        &SHIPPED
    }

    /// Reads settings.
    ///
    /// # Errors
    /// What cannot be read or meant, in words.
    pub fn read(text: &str) -> Result<Self, String> {
        let settings: Self = toml::from_str(text).map_err(|error| error.to_string())?;
        let sourced = [
            &settings.limits.warning,
            &settings.limits.action,
            &settings.drift.tolerance_percent,
            &settings.drift.probability,
        ];
        let keys = sourced
            .iter()
            .map(|s| &s.source)
            .chain(settings.rule.iter().map(|r| &r.source));
        if let Some(key) = keys
            .into_iter()
            .find(|key| !settings.sources.contains_key(*key))
        {
            return Err(format!("no source is called \"{key}\""));
        }
        if let Some(rule) = settings.rule.iter().find(|r| !r.pattern.is_sensible()) {
            return Err(format!(
                "rule \"{}\" looks for what cannot be meant",
                rule.id
            ));
        }
        let (warning, action) = (settings.limits.warning.value, settings.limits.action.value);
        if !(warning > 0.0 && warning < action && action <= 10.0) {
            return Err("warning limits must lie within the action limits".into());
        }
        if settings.least_values < 3 {
            return Err("least_values must be 3 or more: fewer have no scatter".into());
        }
        Ok(settings)
    }

    /// Mean and limits of a series, from as many values on as the settings ask for.
    ///
    /// # Errors
    /// [`ControlError`].
    pub fn limits_of(&self, values: &[f64]) -> Result<ControlLimits, ControlError> {
        if values.len() < self.least_values {
            return Err(ControlError::TooFew { n: values.len() });
        }
        ControlLimits::of(values, self.spread)
    }

    /// What the rules that are applied see in a series, in the order of the values; a pattern that goes on is named once,
    /// where it was completed first. `applied` says which rules are.
    pub fn signals(
        &self,
        values: &[f64],
        limits: &ControlLimits,
        applied: impl Fn(&RunRule) -> bool,
    ) -> Vec<Signal> {
        let mut signals: Vec<Signal> = Vec::new();
        for (index, rule) in self.rule.iter().enumerate().filter(|(_, r)| applied(r)) {
            let mut goes_on = false;
            for at in 0..values.len() {
                match rule.pattern.completed(values, limits, at) {
                    Some(points) if !goes_on || rule.pattern.length() == 1 => {
                        goes_on = true;
                        signals.push(Signal {
                            rule: index,
                            at,
                            points,
                        });
                    }
                    Some(_) => {}
                    None => goes_on = false,
                }
            }
        }
        signals.sort_by_key(|signal| (signal.at, signal.rule));
        signals
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_settings_are_sound() {
        let settings = ControlSettings::shipped();
        assert!(settings.rule.iter().any(|r| r.on) && settings.rule.iter().any(|r| !r.on));
        let mut names: Vec<&str> = settings.rule.iter().map(|r| r.id.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), settings.rule.len());
    }

    #[test]
    fn a_rule_can_be_switched_off() {
        let settings = ControlSettings::shipped();
        let mut values: Vec<f64> = (0..12).map(|i| f64::from(i % 2)).collect();
        values.push(9.0);
        let limits = settings.limits_of(&values[..12]).unwrap();
        let seen = settings.signals(&values, &limits, |rule| rule.on);
        assert_eq!(settings.rule[seen[0].rule].id, "beyond-action");
        assert_eq!((seen[0].at, &seen[0].points), (12, &vec![12]));
        assert_eq!(settings.signals(&values, &limits, |_| false), []);
    }

    #[test]
    fn broken_settings_are_refused() {
        let text = include_str!("../../../reference/record/control.toml");
        for (is, wrong) in [
            ("points = 2, of = 3", "points = 4, of = 3"),
            ("warning = { times = 2.0", "warning = { times = 4.0"),
            ("source = \"nelson\"", "source = \"nobody\""),
            ("least_values = 5", "least_values = 1"),
        ] {
            assert!(text.contains(is));
            assert!(
                ControlSettings::read(&text.replace(is, wrong)).is_err(),
                "{wrong}"
            );
        }
    }
}
