//! The command line of halfdrop.
#![forbid(unsafe_code)]

mod answer;
mod assay;
mod chain;
mod checked;
mod cli;
mod curve;
mod exit_code;
mod failure;
mod listed;
mod method;
mod opened;
mod paper;
mod passphrase;
mod plan;
mod record;
mod serve;
mod sheet_file;
mod validate;

use clap::{CommandFactory, Parser};
use cli::{Cli, Command, Evaluate, SchemaOf, SheetKind};
use exit_code::ExitCode;
use failure::Failure;
use metrology::monte_carlo::{Plan, monte_carlo};
use report::wire::EvaluationDocument;
use report::{Account, Simulated, Style};
use std::io::{self, IsTerminal, Write};

/// Digits of the standard uncertainty to which first order is compared with the simulation.
const VALIDATED_DIGITS: usize = 2;
/// Probability of the simulated interval where the sheet fixes a factor and claims none.
const DEFAULT_PROBABILITY: f64 = 0.95;

/// Evaluations make and drop many small things: a quarter faster than the system's allocator.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// Trials where the command line asks for no number, shared by the samples of a list.
const DEFAULT_TRIALS: usize = 1_000_000;

fn main() -> std::process::ExitCode {
    let cli = Cli::parse();
    let command = cli
        .command
        .unwrap_or_else(|| Command::Serve(serve::Serve::default()));
    let code = run(&command).unwrap_or_else(|failure| {
        // Nothing is left to be told if even this cannot be written.
        let _ = writeln!(io::stderr(), "halfdrop: {}", failure.printable());
        ExitCode::Unusable
    });
    code.into()
}

fn run(command: &Command) -> Result<ExitCode, Failure> {
    let (text, code) = match command {
        Command::Evaluate(options) => evaluate(options)?,
        Command::Serve(options) => (serve::run(options)?, ExitCode::Usable),
        Command::Plan(command) => plan::run(command, style())?,
        Command::Curve(command) => curve::run(command, style())?,
        Command::Sheet { kind } => (start_sheet(*kind).to_string(), ExitCode::Usable),
        Command::Method { command } => method::run(command)?,
        Command::Certificate { command } => paper::certificate(command)?,
        Command::Label { command } => paper::label(command)?,
        Command::Working { command } => paper::working(command)?,
        Command::Validate(options) => validate::run(options)?,
        Command::Record { command } => record::run(command)?,
        Command::Trace(command) => record::trace(command)?,
        Command::Schema { of } => (schema(*of)?, ExitCode::Usable),
        Command::Completions { shell } => (completions(*shell), ExitCode::Usable),
        Command::Man => (manual()?, ExitCode::Usable),
    };
    print(&text)?;
    Ok(code)
}

fn evaluate(options: &Evaluate) -> Result<(String, ExitCode), Failure> {
    let (name, text) = chain::read_input(&options.sheet)?;
    if assay::is_assay(&text) {
        return assay::run(options, &name, &text);
    }
    let chain::Evaluated {
        evaluation,
        profile,
    } = chain::evaluate_text(&options.sheet, &name, &text)?;
    let findings = titrimetry::findings::judge(&evaluation, &profile);
    let advice = titrimetry::advice::advise(&evaluation);
    let simulated = simulate(
        options,
        DEFAULT_TRIALS,
        &evaluation.formula,
        &evaluation.budget,
        evaluation.expanded.probability,
    )?;
    let account = Account {
        evaluation: &evaluation,
        profile: &profile,
        findings: &findings,
        advice: &advice,
        simulated: simulated.as_ref(),
    };
    let text = if options.json {
        let mut text = serde_json::to_string_pretty(&EvaluationDocument::of(&account)?)?;
        text.push('\n');
        text
    } else if options.working {
        report::working(&account, style())
    } else {
        report::terminal(&account, style())
    };
    let code = if account.rules_broken() == 0 {
        ExitCode::Usable
    } else {
        ExitCode::RuleBroken
    };
    Ok((text, code))
}

/// Simulates a formula as the options ask, with so many trials if they do not say; none if they ask for none.
fn simulate(
    options: &Evaluate,
    trials: usize,
    formula: &metrology::Formula,
    budget: &metrology::Budget,
    probability: Option<f64>,
) -> Result<Option<Simulated>, Failure> {
    let plan = Plan {
        trials: options.trials.unwrap_or(trials),
        seed: options.seed,
        probability: probability.unwrap_or(DEFAULT_PROBABILITY),
        ..Plan::default()
    };
    if plan.trials == 0 {
        return Ok(None);
    }
    let simulation = monte_carlo(formula, &plan)?;
    let validation = metrology::monte_carlo::validate(budget, &simulation, VALIDATED_DIGITS);
    Ok(Some(Simulated {
        simulation,
        validation,
    }))
}

fn start_sheet(kind: SheetKind) -> &'static str {
    match kind {
        SheetKind::Weighed => include_str!("../sheets/weighed.toml"),
        SheetKind::Solution => include_str!("../sheets/solution.toml"),
        SheetKind::Prepared => include_str!("../sheets/prepared.toml"),
    }
}

fn schema(of: SchemaOf) -> Result<String, Failure> {
    let schema = match of {
        SchemaOf::Sheet => titrimetry::Sheet::schema(),
        SchemaOf::Evaluation => EvaluationDocument::schema(),
        SchemaOf::Wishes => titrimetry::plan::Wishes::schema(),
        SchemaOf::Plan => report::plan_report::wire::PlanDocument::schema(),
        SchemaOf::AssaySheet => titrimetry::assay::AssaySheet::schema(),
        SchemaOf::Assay => report::assay::wire::AssayDocument::schema(),
        SchemaOf::Method => titrimetry::method::Method::schema(),
        SchemaOf::ValidationFile => titrimetry::validation::ValidationFile::schema(),
        SchemaOf::Validation => report::validation_report::ValidationDocument::schema(),
    };
    let mut text = serde_json::to_string_pretty(&schema)?;
    text.push('\n');
    Ok(text)
}

fn completions(shell: clap_complete::Shell) -> String {
    let mut bytes = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "halfdrop", &mut bytes);
    String::from_utf8_lossy(&bytes).into_owned()
}

fn manual() -> Result<String, Failure> {
    let mut bytes = Vec::new();
    clap_mangen::Man::new(Cli::command()).render(&mut bytes)?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// Colour for a terminal whose person has not declined it.
fn style() -> Style {
    let declined = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty())
        || std::env::var_os("TERM").is_some_and(|value| value == "dumb");
    if io::stdout().is_terminal() && !declined {
        Style::Coloured
    } else {
        Style::Plain
    }
}

/// Writes the output. A reader that has seen enough and closed the pipe is no failure.
fn print(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        other => Ok(other?),
    }
}
