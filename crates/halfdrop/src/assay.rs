//! Assay sheets: samples by a method, with the sheets that standardized their solutions.

use crate::chain;
use crate::cli::Evaluate;
use crate::exit_code::ExitCode;
use crate::failure::Failure;
use crate::sheet_file::read_file;
use report::assay::{AssayAccount, terminal, wire::AssayDocument, working};
use std::collections::HashMap;
use std::path::Path;
use titrimetry::assay::{AssaySheet, evaluate};
use titrimetry::method::{Method, find};
use titrimetry::{Evaluation, RuleProfile};

/// True if the text is an assay sheet: it names a method, as a standardization never does.
pub(crate) fn is_assay(text: &str) -> bool {
    text.parse::<toml::Table>()
        .is_ok_and(|table| table.contains_key("method") || table.contains_key("method_file"))
}

/// Evaluates an assay sheet that was read from `path` under the name `name`.
pub(crate) fn run(
    options: &Evaluate,
    name: &str,
    text: &str,
) -> Result<(String, ExitCode), Failure> {
    let path = options.sheet.as_path();
    let failed = |error: titrimetry::SheetError| Failure::Sheet {
        name: name.to_string(),
        error: error.located(text),
    };
    let sheet = AssaySheet::read(text).map_err(failed)?;
    let method = method(name, path, &sheet)?;
    let parents = parents(path, &sheet)?;
    let assay = evaluate(&sheet, &method, &|file| parents.get(file)).map_err(failed)?;
    let mut rules = sheet.rules.clone();
    if rules.profile.is_none() && rules.file.is_none() {
        rules.profile.clone_from(&method.rules);
    }
    let profile: RuleProfile = chain::profile(name, &rules, text, path)?;
    let findings = titrimetry::assay::judge(&assay, &profile);
    // The trials of a list are shared out, but JCGM 101 needs some ten thousands for an interval of 95 %.
    let trials = (crate::DEFAULT_TRIALS / assay.samples.len().max(1)).max(100_000);
    let mut simulated = Vec::new();
    for first in assay.samples.iter().filter_map(|s| s.results.first()) {
        let (formula, budget) = (&first.formula, &first.budget);
        let probability = first.expanded.probability;
        simulated.extend(crate::simulate(
            options,
            trials,
            formula,
            budget,
            probability,
        )?);
    }
    let account = AssayAccount {
        assay: &assay,
        profile: &profile,
        findings: &findings,
        simulated: &simulated,
    };
    let text = if options.json {
        let mut text = serde_json::to_string_pretty(&AssayDocument::of(&account)?)?;
        text.push('\n');
        text
    } else if options.working {
        working(&account, crate::style())
    } else {
        terminal(&account, crate::style())
    };
    let code = if account.rules_broken() == 0 {
        ExitCode::Usable
    } else {
        ExitCode::RuleBroken
    };
    Ok((text, code))
}

/// The method that a sheet names: shipped, or a file beside it.
fn method(name: &str, path: &Path, sheet: &AssaySheet) -> Result<Method, Failure> {
    let failed = |entry: &str, reason: String| Failure::Sheet {
        name: name.to_string(),
        error: titrimetry::SheetError::entry(entry, reason),
    };
    match (&sheet.method, &sheet.method_file) {
        (Some(_), Some(_)) => Err(failed(
            "method",
            "both method and method_file are given; keep one".into(),
        )),
        (Some(shipped), None) => find(shipped)
            .cloned()
            .map_err(|e| failed("method", e.to_string())),
        (None, Some(file)) => read_method(&chain::beside(path, file)),
        (None, None) => Err(failed(
            "method",
            "no method: `halfdrop method list` shows those there are".into(),
        )),
    }
}

/// Reads and checks a method file.
pub(crate) fn read_method(path: &Path) -> Result<Method, Failure> {
    let name = path.display().to_string();
    let text = read_file(path).map_err(|error| Failure::File {
        name: name.clone(),
        error,
    })?;
    Method::read(&text).map_err(|error| Failure::Method { name, error })
}

/// Evaluates the sheets that standardized the solutions of an assay sheet.
fn parents(path: &Path, sheet: &AssaySheet) -> Result<HashMap<String, Evaluation>, Failure> {
    let again = sheet.recheck.iter().map(|recheck| &recheck.titrant);
    let solutions = std::iter::once(&sheet.titrant)
        .chain(sheet.reagent.values())
        .chain(again);
    let mut parents = HashMap::new();
    for file in solutions.filter_map(|solution| solution.sheet.as_ref()) {
        if !parents.contains_key(file) {
            let evaluated = chain::evaluate_path(&chain::beside(path, file))?;
            parents.insert(file.clone(), evaluated.evaluation);
        }
    }
    Ok(parents)
}
