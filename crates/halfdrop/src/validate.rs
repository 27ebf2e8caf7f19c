//! `halfdrop validate`: a method against itself and against another.

use crate::chain::read_input;
use crate::exit_code::ExitCode;
use crate::failure::Failure;
use clap::ValueEnum;
use report::validation_report::{ValidationDocument, validation};
use std::path::PathBuf;
use titrimetry::validation::{Table, ValidationFile, validate};

/// Compare two methods, or show linearity, scatter and recovery of one.
///
/// The file is TOML with a table for each question ([comparison], [linearity], [precision], [recovery]; see
/// examples/bleach-validation.toml), or with --table a plain table of columns (CSV).
#[derive(Debug, clap::Args)]
#[command(after_help = HELP)]
pub(crate) struct Validate {
    /// The file; `-` reads standard input.
    file: PathBuf,
    /// The file is a plain table with headings: what its columns are.
    #[arg(long, value_enum, value_name = "WHAT")]
    table: Option<TableKind>,
    /// Print everything as JSON.
    #[arg(long)]
    json: bool,
}

/// The exit status as the help tells it.
const HELP: &str = "\
Exit status:
  0  worked out, and every limit of the file is kept
  1  worked out, but a limit of the file is broken
  2  the file or the command line cannot be used; the reason is on standard error";

/// What the columns of a plain table are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum TableKind {
    /// First method, second method.
    Comparison,
    /// Portion, titre.
    Linearity,
    /// Group, result.
    Precision,
    /// Added, found, and if there is a third column the content before.
    Recovery,
}

impl From<TableKind> for Table {
    fn from(kind: TableKind) -> Self {
        match kind {
            TableKind::Comparison => Self::Comparison,
            TableKind::Linearity => Self::Linearity,
            TableKind::Precision => Self::Precision,
            TableKind::Recovery => Self::Recovery,
        }
    }
}

pub(crate) fn run(options: &Validate) -> Result<(String, ExitCode), Failure> {
    let (name, text) = read_input(&options.file)?;
    let failed = |error: titrimetry::SheetError| Failure::Sheet {
        name: name.clone(),
        error: error.located(&text),
    };
    let file = match options.table {
        Some(kind) => ValidationFile::read_table(&text, kind.into(), &name),
        None => ValidationFile::read(&text),
    }
    .map_err(failed)?;
    let worked_out = validate(&file).map_err(|error| match error {
        titrimetry::validation::ValidationError::File(error) => failed(error),
        error => Failure::Validation {
            name: name.clone(),
            error,
        },
    })?;
    let text = if options.json {
        let mut text = serde_json::to_string_pretty(&ValidationDocument::of(&worked_out))?;
        text.push('\n');
        text
    } else {
        validation(&worked_out, crate::style())
    };
    let code = if worked_out.criteria().iter().all(|c| c.is_met()) {
        ExitCode::Usable
    } else {
        ExitCode::RuleBroken
    };
    Ok((text, code))
}
