//! `halfdrop method`: the library of methods.

use crate::assay::read_method;
use crate::exit_code::ExitCode;
use crate::failure::Failure;
use std::fmt::Write as _;
use std::path::PathBuf;
use titrimetry::method::{Step, all, find};

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
        MethodCommand::Check { file } => {
            let method = read_method(file)?;
            let steps: Vec<String> = method.step.iter().map(step).collect();
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

fn list() -> String {
    let mut text = String::new();
    let columns = all()
        .iter()
        .map(|m| m.name.chars().count())
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
    text
}

/// A step in a few words.
fn step(step: &Step) -> String {
    match step {
        Step::Weigh { name } => format!("weigh ({name})"),
        Step::Take { name, with } => format!("take with {} ({name})", with.catalogue()),
        Step::MakeUp { name, to } => format!("make up in {} ({name})", to.catalogue()),
        Step::Add { name, with } => format!("add diluent with {} ({name})", with.catalogue()),
        Step::Displace { name, with } => {
            format!(
                "push sample out of the full vessel with {} ({name})",
                with.catalogue()
            )
        }
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_method_is_listed_once() {
        let text = super::list();
        for method in titrimetry::method::all() {
            assert_eq!(
                text.lines()
                    .filter(|l| l.trim_start().starts_with(&format!("{} ", method.name)))
                    .count(),
                1
            );
        }
    }
}
