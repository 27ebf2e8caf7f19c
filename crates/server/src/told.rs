//! An outcome with what is told about it, made once for a page and for the documents alike.

use notebook::Outcome;
use report::assay::AssayAccount;
use report::wire::EvaluationDocument;
use report::{Account, Style};
use serde_json::Value;
use titrimetry::Advice;

/// An outcome and the advice that goes with it.
pub(crate) struct Told<'a> {
    pub(crate) outcome: &'a Outcome,
    /// What would help most; none for assays.
    pub(crate) advice: Vec<Advice>,
}

impl<'a> Told<'a> {
    pub(crate) fn of(outcome: &'a Outcome) -> Self {
        let advice = match outcome {
            Outcome::Standardization { evaluation, .. } => titrimetry::advice::advise(evaluation),
            Outcome::Assay { .. } => Vec::new(),
        };
        Self { outcome, advice }
    }

    /// Calls one of two readers with the account.
    fn read<T>(
        &self,
        standardization: impl FnOnce(&Account<'_>) -> T,
        assay: impl FnOnce(&AssayAccount<'_>) -> T,
    ) -> T {
        match self.outcome {
            Outcome::Standardization {
                evaluation,
                profile,
                findings,
                ..
            } => standardization(&Account {
                evaluation,
                profile,
                findings,
                advice: &self.advice,
                simulated: None,
            }),
            Outcome::Assay {
                assay: found,
                profile,
                findings,
                ..
            } => assay(&AssayAccount {
                assay: found,
                profile,
                findings,
                simulated: &[],
            }),
        }
    }

    /// The evaluation as the documents of the command line.
    pub(crate) fn document(&self) -> Result<Value, serde_json::Error> {
        self.read(
            |account| serde_json::to_value(EvaluationDocument::of(account)?),
            |account| serde_json::to_value(report::assay::wire::AssayDocument::of(account)?),
        )
    }

    /// The whole report, as text.
    pub(crate) fn whole(&self) -> String {
        self.read(
            |account| report::terminal(account, Style::Plain),
            |account| report::assay::terminal(account, Style::Plain),
        )
    }
}
