//! The command line: what can be asked, and the help.

use crate::exit_code;
use clap::{Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

/// From titration readings to a concentration with an honest uncertainty.
#[derive(Debug, Parser)]
#[command(name = "halfdrop", version, after_help = exit_code::HELP, max_term_width = 100)]
pub(crate) struct Cli {
    /// What to do; without it the bench is opened in the browser.
    #[command(subcommand)]
    pub(crate) command: Option<Command>,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    Evaluate(Evaluate),
    Serve(crate::serve::Serve),
    Plan(Box<crate::plan::PlanCommand>),
    Curve(Box<crate::curve::CurveCommand>),
    /// Write a bench sheet to start from, with comments and figures to replace.
    ///
    /// For example: halfdrop sheet > base.toml
    Sheet {
        /// What is known.
        #[arg(long, value_enum, default_value_t = SheetKind::Weighed)]
        kind: SheetKind,
    },
    /// List, show and check methods for samples.
    Method {
        /// What to do.
        #[command(subcommand)]
        command: crate::method::MethodCommand,
    },
    Validate(crate::validate::Validate),
    /// Keep the record: build the demo, check, list, back up, export.
    Record {
        /// What to do.
        #[command(subcommand)]
        command: crate::record::RecordCommand,
    },
    Trace(crate::record::TraceCommand),
    /// Print a certificate of a record as PDF, or check one.
    Certificate {
        /// What to do.
        #[command(subcommand)]
        command: crate::paper::CertificateCommand,
    },
    /// Print the worked solution of a determination of a record, as PDF or HTML.
    Working {
        /// What to do.
        #[command(subcommand)]
        command: crate::paper::WorkingCommand,
    },
    /// Print labels of bottles as PDF.
    Label {
        /// What to do.
        #[command(subcommand)]
        command: crate::paper::LabelCommand,
    },
    /// Print a JSON Schema: of the bench sheet, for an editor, or of the output of `evaluate --json`.
    Schema {
        /// Which schema.
        #[arg(value_enum)]
        of: SchemaOf,
    },
    /// Print completions for a shell.
    Completions {
        /// The shell.
        #[arg(value_enum)]
        shell: clap_complete::Shell,
    },
    /// Print the manual page.
    Man,
}

/// Evaluate a bench sheet: result, uncertainty, findings.
#[derive(Debug, clap::Args)]
#[command(after_help = exit_code::HELP)]
pub(crate) struct Evaluate {
    /// The bench sheet, a TOML file; `-` reads standard input.
    ///
    /// Files that the sheet names (`rules.file`, `known.sheet`) are looked for beside it, or in the current folder
    /// when it comes from standard input.
    pub(crate) sheet: PathBuf,
    /// Print the worked solution, step by step, instead of the report.
    #[arg(long)]
    pub(crate) working: bool,
    /// Print everything as JSON (schema: `halfdrop schema evaluation`).
    #[arg(long, conflicts_with = "working")]
    pub(crate) json: bool,
    /// Trials of the Monte Carlo simulation of each result; 0 leaves it out [default: 1000000, shared by the samples of a
    /// list].
    #[arg(long, value_name = "N")]
    pub(crate) trials: Option<usize>,
    /// Seed of the simulation; the same seed gives the same digits.
    #[arg(long, value_name = "S", default_value_t = 1)]
    pub(crate) seed: u64,
}

/// Which sheet to start from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum SheetKind {
    /// A solid standard weighed out for each run.
    Weighed,
    /// A solution of known concentration, with its certificate.
    Solution,
    /// A solid standard weighed out once and made up to a mark.
    Prepared,
}

/// Which schema to print.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum SchemaOf {
    /// The bench sheet.
    Sheet,
    /// The JSON output.
    Evaluation,
    /// The wishes of a plan.
    Wishes,
    /// The JSON output of `plan`.
    Plan,
    /// The assay sheet.
    AssaySheet,
    /// The JSON output for an assay sheet.
    Assay,
    /// A method file.
    Method,
    /// A validation file.
    ValidationFile,
    /// The JSON output of `validate`.
    Validation,
}
