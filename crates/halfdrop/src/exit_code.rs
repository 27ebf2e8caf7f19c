//! What the exit status says to a script.

use std::process::ExitCode as ProcessExitCode;

/// The exit status of every command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ExitCode {
    /// Evaluated, no rule of the profile is broken, and every sample keeps its limits.
    Usable,
    /// Evaluated, but a rule of the profile is broken or a sample does not keep its limits.
    RuleBroken,
    /// The input, or the command line, cannot be used.
    Unusable,
}

impl From<ExitCode> for ProcessExitCode {
    fn from(code: ExitCode) -> Self {
        match code {
            ExitCode::Usable => Self::SUCCESS,
            ExitCode::RuleBroken => Self::from(1),
            // The command-line parser uses the same number for its own errors.
            ExitCode::Unusable => Self::from(2),
        }
    }
}

/// The exit status as the help tells it.
pub(crate) const HELP: &str = "\
Exit status:
  0  usable: evaluated, no rule of the profile is broken, and every sample keeps its limits
  1  evaluated, but a rule of the profile is broken or a sample does not keep its limits
  2  the input or the command line cannot be used; the reason is on standard error";
