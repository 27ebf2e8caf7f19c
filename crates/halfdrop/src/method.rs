//! `halfdrop method`: the library of methods.

use crate::assay::read_method;
use crate::exit_code::ExitCode;
use crate::failure::Failure;
use std::fmt::Write as _;
use std::path::PathBuf;
use titrimetry::method::{MethodError, all, find};

/// What to do with methods.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum MethodCommand {
    /// List the methods that there are.
    List,
    /// Show a method: what it is for, reactions, steps, cautions, sources.
    Show {
        /// Its name, as `halfdrop method list` shows it.
        name: String,
    },
    /// Print an example sheet of a method or a standardization, ready for `halfdrop evaluate`.
    ///
    /// Its head says where the readings come from: mostly a published example, whose answer the sheet gives.
    Example {
        /// The name of a method or a standardization, as `halfdrop method list` shows it.
        name: String,
    },
    /// Check a method file that you wrote, with messages that say what to mend.
    Check {
        /// The file, TOML.
        file: PathBuf,
    },
}

pub(crate) fn run(command: &MethodCommand) -> Result<(String, ExitCode), Failure> {
    let text = match command {
        MethodCommand::List => list(),
        MethodCommand::Show { name } => {
            let method = find(name).map_err(|error| Failure::Method {
                name: name.clone(),
                error,
            })?;
            report::assay::method_page(method, crate::style())
        }
        MethodCommand::Example { name } => example(name)?.to_string(),
        MethodCommand::Check { file } => {
            let method = read_method(file)?;
            let steps: Vec<String> = method.step.iter().map(report::assay::step).collect();
            format!(
                "{}: the method \"{}\" can work: reactions balanced, every analyte fixed by its end points.\nSteps: {}.\n",
                file.display(),
                method.name,
                steps.join("; ")
            )
        }
    };
    Ok((text, ExitCode::Usable))
}

/// Name and text of an example sheet for each method.
const METHODS: &[(&str, &str)] = &include!(concat!(env!("OUT_DIR"), "/methods.rs"));

/// Name and text of an example sheet for each common standardization.
const STANDARDIZATIONS: &[(&str, &str)] =
    &include!(concat!(env!("OUT_DIR"), "/standardizations.rs"));

/// The example sheet of a name.
fn example(name: &str) -> Result<&'static str, Failure> {
    let key = name.trim().to_lowercase();
    let known = || METHODS.iter().chain(STANDARDIZATIONS);
    if let Some((_, text)) = known().find(|(known, _)| *known == key) {
        return Ok(text);
    }
    let words: Vec<&str> = key.split(['-', ' ']).filter(|w| w.len() > 2).collect();
    let alike = |(name, text): &(&str, &str)| {
        let title = title(text).to_lowercase();
        words.iter().any(|w| name.contains(w) || title.contains(w))
    };
    let mut near: Vec<String> = known()
        .filter(|sheet| alike(sheet))
        .map(|(name, _)| (*name).to_string())
        .collect();
    if near.is_empty() {
        near = known().map(|(name, _)| (*name).to_string()).collect();
    }
    Err(Failure::Method {
        name: "method example".into(),
        error: MethodError::Unknown {
            asked: name.chars().take(60).collect(),
            near,
        },
    })
}

/// Title of a sheet.
fn title(text: &str) -> &str {
    text.lines()
        .find_map(|line| line.strip_prefix("title = "))
        .map_or("", |title| title.trim_matches('"'))
}

fn list() -> String {
    let mut text = String::new();
    let standardizations = STANDARDIZATIONS.iter().map(|(name, _)| *name);
    let columns = all()
        .iter()
        .map(|m| m.name.as_str())
        .chain(standardizations)
        .map(|name| name.chars().count())
        .max()
        .unwrap_or(0);
    let mut families: Vec<&str> = Vec::new();
    for method in all() {
        let family = report::assay::family(method);
        if !families.contains(&family) {
            families.push(family);
        }
    }
    for family in families {
        let _ = writeln!(text, "{family}");
        for method in all().iter().filter(|m| report::assay::family(m) == family) {
            let _ = writeln!(text, "  {:columns$}  {}", method.name, method.title);
        }
    }
    let _ = writeln!(
        text,
        "standardizations (sheets: halfdrop method example NAME)"
    );
    for (name, sheet) in STANDARDIZATIONS {
        let _ = writeln!(text, "  {name:columns$}  {}", title(sheet));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_method_is_listed_once() {
        let text = list();
        let standardizations = STANDARDIZATIONS.iter().map(|(name, _)| *name);
        for name in all()
            .iter()
            .map(|m| m.name.as_str())
            .chain(standardizations)
        {
            assert_eq!(
                text.lines()
                    .filter(|l| l.trim_start().starts_with(&format!("{name} ")))
                    .count(),
                1,
                "{name}"
            );
        }
    }

    #[test]
    fn every_method_has_an_example() {
        for method in all() {
            let text = example(&method.name).unwrap();
            assert!(text.contains(&format!("\nmethod = \"{}\"\n", method.name)));
        }
        for (name, sheet) in STANDARDIZATIONS {
            assert!(!title(sheet).is_empty(), "{name}");
        }
    }
}
