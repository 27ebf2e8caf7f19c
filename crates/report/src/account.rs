//! Everything that is told about one determination.

use metrology::{Simulation, Validation};
use titrimetry::advice::Advice;
use titrimetry::finding::Severity;
use titrimetry::{Evaluation, Finding, RuleProfile};

/// An evaluation with what was judged about it; every report is a function of one of these.
#[derive(Clone, Copy, Debug)]
pub struct Account<'a> {
    /// The evaluation.
    pub evaluation: &'a Evaluation,
    /// The rules it was judged by.
    pub profile: &'a RuleProfile,
    /// What was found.
    pub findings: &'a [Finding],
    /// What would make the result better.
    pub advice: &'a [Advice],
    /// The simulation of the same formula, if one was run.
    pub simulated: Option<&'a Simulated>,
}

/// A simulation and its verdict on first-order propagation.
#[derive(Clone, Debug)]
pub struct Simulated {
    /// The simulation.
    pub simulation: Simulation,
    /// Whether first order is good enough.
    pub validation: Validation,
}

impl Account<'_> {
    /// How many rules of the profile are broken.
    pub fn rules_broken(&self) -> usize {
        self.findings
            .iter()
            .filter(|f| f.severity == Severity::RuleBroken)
            .count()
    }

    /// The findings, weightiest first; equal weights stay in their order.
    pub(crate) fn findings_by_weight(&self) -> Vec<&Finding> {
        by_weight(self.findings)
    }
}

/// Findings, weightiest first; equal weights stay in their order.
pub(crate) fn by_weight(findings: &[Finding]) -> Vec<&Finding> {
    let mut sorted: Vec<&Finding> = findings.iter().collect();
    sorted.sort_by_key(|f| std::cmp::Reverse(f.severity));
    sorted
}
