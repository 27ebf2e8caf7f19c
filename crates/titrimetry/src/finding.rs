//! Findings: judged statements about a determination.

use serde::Serialize;

/// One judged statement: what was seen, how big, in which direction, what it may mean, the cheapest next step.
///
/// Findings advise; nothing is dropped or changed because of one.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Finding {
    /// Stable code, such as `not-concordant`.
    pub code: &'static str,
    /// How much it weighs.
    pub severity: Severity,
    /// What was seen and what it may mean, in a sentence or two.
    pub message: String,
    /// The cheapest next step.
    pub next_step: String,
    /// The samples meant, by identity; none where a single determination is judged or all are meant.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub samples: Vec<String>,
    /// The runs meant, by name.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub runs: Vec<String>,
    /// How big it is, in the unit named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub size: Option<Size>,
    /// Relative change of the result that it would explain; positive: the result reads high.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub effect: Option<f64>,
    /// What may have caused it, with the shift that each would make here; the likely ones first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub causes: Vec<Cause>,
}

impl Finding {
    /// A finding without runs, size, effect and causes.
    pub(crate) fn new(
        code: &'static str,
        severity: Severity,
        message: impl Into<String>,
        next_step: impl Into<String>,
    ) -> Self {
        Self {
            code,
            severity,
            message: message.into(),
            next_step: next_step.into(),
            samples: Vec::new(),
            runs: Vec::new(),
            size: None,
            effect: None,
            causes: Vec::new(),
        }
    }

    /// The same, about these runs.
    #[must_use]
    pub(crate) fn about<S: Into<String>>(mut self, runs: impl IntoIterator<Item = S>) -> Self {
        self.runs = runs.into_iter().map(Into::into).collect();
        self
    }

    /// The same, of these samples.
    #[must_use]
    pub(crate) fn of<S: Into<String>>(mut self, samples: impl IntoIterator<Item = S>) -> Self {
        self.samples = samples.into_iter().map(Into::into).collect();
        self
    }

    /// The same, this big.
    #[must_use]
    pub(crate) fn sized(mut self, value: f64, unit: &'static str) -> Self {
        self.size = value.is_finite().then_some(Size { value, unit });
        self
    }

    /// The same, with the relative change of the result that it would explain.
    #[must_use]
    pub(crate) fn shifting(mut self, effect: f64) -> Self {
        self.effect = effect.is_finite().then_some(effect);
        self
    }

    /// The same, with what may have caused it.
    #[must_use]
    pub(crate) fn caused(mut self, causes: Vec<Cause>) -> Self {
        self.causes = causes;
        self
    }
}

/// A suspected cause, reckoned for the case at hand.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cause {
    /// Stable code, such as `carbonate-in-base`.
    pub code: &'static str,
    /// Whether it can have made what is seen.
    pub likelihood: Likelihood,
    /// What it would do here, and how much of it would be needed.
    pub message: String,
    /// The cheapest look at it; empty unless it is likely.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub next_step: String,
    /// Relative change of the result that its usual size makes here; positive if the result reads high.
    pub effect: f64,
    /// How much of it would make what is seen; none if it goes the wrong way.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub needed: Option<Size>,
}

/// Whether a cause can have made what is seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Likelihood {
    /// It moves the result the other way, or not at all.
    WrongWay,
    /// It moves the result this way, but an ordinary amount of it not so far.
    TooLittle,
    /// An ordinary amount of it makes what is seen.
    Likely,
}

/// How big a finding is.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Size {
    /// The number.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
}

/// How much a finding weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// The result may be affected; look before using it.
    Doubt,
    /// A rule of the profile is broken.
    RuleBroken,
}
