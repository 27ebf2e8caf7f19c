//! `halfdrop plan`: from wishes, in a file or as options, to a plan.

use crate::exit_code::{self, ExitCode};
use crate::failure::Failure;
use crate::sheet_file::{read_file, read_text};
use report::plan_report::wire::PlanDocument;
use report::{Style, plan_report};
use std::io;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use titrimetry::RuleProfile;
use titrimetry::plan::wishes::{SampleWish, StandardWish};
use titrimetry::plan::{Plan, Wishes};
use titrimetry::sheet::{BalanceSpec, PieceSpec, Rules, Volume, Written};

/// Plan a determination: what to weigh, what titre to expect, which indicator, how good it can be.
///
/// For example: halfdrop plan --titrant NaOH --strength "0.1 mol/L" --volume "2 L" --standard KHP
/// --uncertainty "0.2 %" --burette "burette 50 mL B"
#[derive(Debug, clap::Args)]
#[command(after_help = exit_code::HELP)]
pub(crate) struct PlanCommand {
    #[command(flatten)]
    pub(crate) wishes: WishArgs,
    /// Print everything as JSON.
    #[arg(long, conflicts_with = "sheet")]
    pub(crate) json: bool,
    /// Write the bench sheet, ready to be filled in, instead of the report.
    #[arg(long)]
    pub(crate) sheet: bool,
    /// Titre of a rough run already done: tells where to slow down in the next, such as "24.6 mL".
    #[arg(long, value_name = "VOLUME")]
    pub(crate) rough: Option<String>,
}

/// Wishes: a file, options, or both; an option replaces what the file says.
#[derive(Debug, clap::Args)]
pub(crate) struct WishArgs {
    /// The wishes, a TOML file; `-` reads standard input.
    pub(crate) file: Option<PathBuf>,
    /// The dissolved substance in the burette, such as NaOH.
    #[arg(long, value_name = "SUBSTANCE", required_unless_present = "file")]
    titrant: Option<String>,
    /// Its nominal strength, such as "0.1 mol/L".
    #[arg(long, value_name = "CONCENTRATION")]
    strength: Option<String>,
    /// How much of it to make, such as "2 L".
    #[arg(long, value_name = "VOLUME")]
    volume: Option<String>,
    /// Strength of the stock it is diluted from, such as "1.0 mol/L".
    #[arg(long, value_name = "CONCENTRATION")]
    stock: Option<String>,
    /// The primary standard it is standardized with, such as KHP.
    #[arg(long, value_name = "SUBSTANCE", conflicts_with = "sample")]
    standard: Option<String>,
    /// What is sought in a sample, such as "acetic acid".
    #[arg(long, value_name = "SUBSTANCE", requires = "expected")]
    sample: Option<String>,
    /// Expected content of the sample, such as "50 g/L".
    #[arg(long, value_name = "CONTENT", requires = "sample")]
    expected: Option<String>,
    /// Wanted relative expanded uncertainty, such as "0.2 %".
    #[arg(long, value_name = "SHARE")]
    uncertainty: Option<String>,
    /// Wanted relative standard deviation from run to run, such as "0.2 %".
    #[arg(long, value_name = "SHARE")]
    rsd: Option<String>,
    /// Runs that count.
    #[arg(long, value_name = "N")]
    runs: Option<u32>,
    /// Time for one determination, such as "60 min".
    #[arg(long, value_name = "TIME")]
    time: Option<String>,
    /// Mass of the standard for each run, if a procedure fixes it, such as "0.5 g".
    #[arg(long, value_name = "MASS")]
    mass: Option<String>,
    /// A burette at hand, such as "burette 50 mL B"; may be repeated.
    #[arg(long, value_name = "PIECE")]
    burette: Vec<String>,
    /// A pipette at hand; may be repeated.
    #[arg(long, value_name = "PIECE")]
    pipette: Vec<String>,
    /// A volumetric flask at hand; may be repeated.
    #[arg(long, value_name = "PIECE")]
    flask: Vec<String>,
    /// The balance, such as "four-place balance".
    #[arg(long, value_name = "BALANCE")]
    balance: Option<String>,
    /// The indicator, such as phenolphthalein.
    #[arg(long, value_name = "NAME")]
    indicator: Option<String>,
    /// The rule profile, such as pharmacopoeia.
    #[arg(long, value_name = "PROFILE")]
    rules: Option<String>,
}

/// Runs the command.
pub(crate) fn run(command: &PlanCommand, style: Style) -> Result<(String, ExitCode), Failure> {
    let rough = rough(command.rough.as_deref())?;
    let plan = plan(&command.wishes)?;
    let code = if plan.chosen().misses.is_empty() {
        ExitCode::Usable
    } else {
        ExitCode::RuleBroken
    };
    let text = if command.json {
        let mut text = serde_json::to_string_pretty(&PlanDocument::of(&plan)?)?;
        text.push('\n');
        text
    } else if command.sheet {
        plan.bench_sheet()
            .map_err(|error| Failure::Plan(format!("the bench sheet cannot be written: {error}")))?
    } else {
        plan_report(&plan, rough, style)
    };
    Ok((text, code))
}

/// The titre of a rough run, mL.
pub(crate) fn rough(text: Option<&str>) -> Result<Option<f64>, Failure> {
    text.map(|text| option::<Written<Volume>>("--rough", text).map(|written| written.value()))
        .transpose()
}

/// The plan that file and options ask for.
pub(crate) fn plan(args: &WishArgs) -> Result<Plan, Failure> {
    let (name, text) = match &args.file {
        None => ("options".to_owned(), None),
        Some(path) if path == Path::new("-") => (
            "standard input".to_owned(),
            Some(read_text(io::stdin().lock())),
        ),
        Some(path) => (path.display().to_string(), Some(read_file(path))),
    };
    let text = text.transpose().map_err(|error| Failure::File {
        name: name.clone(),
        error,
    })?;
    let told = |error: titrimetry::plan::PlanError| {
        let error = match &text {
            Some(text) => error.located(text),
            None => error,
        };
        Failure::Plan(format!("{name}: {error}"))
    };
    let mut wishes = match (&text, &args.titrant) {
        (Some(text), _) => Wishes::read(text).map_err(told)?,
        (None, Some(titrant)) => Wishes::of_titrant(titrant),
        (None, None) => return Err(Failure::Plan("name a titrant, or a file of wishes".into())),
    };
    args.apply(&mut wishes)?;
    let profile = profile(args.file.as_deref(), &wishes.rules)?;
    Plan::of(&wishes, &profile).map_err(told)
}

impl WishArgs {
    /// Lets the options replace what the file says.
    fn apply(&self, wishes: &mut Wishes) -> Result<(), Failure> {
        if let Some(titrant) = &self.titrant {
            wishes.titrant.substance.clone_from(titrant);
        }
        set(&mut wishes.titrant.strength, "--strength", &self.strength)?;
        set(&mut wishes.titrant.volume, "--volume", &self.volume)?;
        set(&mut wishes.titrant.stock, "--stock", &self.stock)?;
        if let Some(substance) = &self.standard {
            wishes.sample = None;
            wishes.standard = Some(StandardWish::of(substance));
        }
        if let (Some(substance), Some(expected)) = (&self.sample, &self.expected) {
            wishes.standard = None;
            wishes.sample = Some(SampleWish::of(substance, option("--expected", expected)?));
        }
        set(
            &mut wishes.wanted.uncertainty,
            "--uncertainty",
            &self.uncertainty,
        )?;
        set(&mut wishes.wanted.rsd, "--rsd", &self.rsd)?;
        set(&mut wishes.wanted.time, "--time", &self.time)?;
        wishes.wanted.runs = self.runs.or(wishes.wanted.runs);
        set(&mut wishes.run.mass, "--mass", &self.mass)?;
        let pieces = |names: &[String]| {
            names
                .iter()
                .cloned()
                .map(PieceSpec::Name)
                .collect::<Vec<_>>()
        };
        if !self.burette.is_empty() {
            wishes.shelf.burettes = pieces(&self.burette);
        }
        if !self.pipette.is_empty() {
            wishes.shelf.pipettes = Some(pieces(&self.pipette));
        }
        if !self.flask.is_empty() {
            wishes.shelf.flasks = Some(pieces(&self.flask));
        }
        if let Some(balance) = &self.balance {
            wishes.shelf.balance = Some(BalanceSpec::Name(balance.clone()));
        }
        if self.indicator.is_some() {
            wishes.indicator.clone_from(&self.indicator);
        }
        if let Some(rules) = &self.rules {
            wishes.rules = Rules {
                profile: Some(rules.clone()),
                file: None,
            };
        }
        Ok(())
    }
}

/// The value of an option.
fn option<T: FromStr<Err = String>>(name: &str, text: &str) -> Result<T, Failure> {
    text.parse()
        .map_err(|error| Failure::Plan(format!("{name}: {error}")))
}

fn set<T: FromStr<Err = String>>(
    place: &mut Option<T>,
    name: &str,
    text: &Option<String>,
) -> Result<(), Failure> {
    if let Some(text) = text {
        *place = Some(option(name, text)?);
    }
    Ok(())
}

/// The profile that the wishes name; its file is looked for beside theirs.
fn profile(wishes: Option<&Path>, rules: &Rules) -> Result<RuleProfile, Failure> {
    let file = rules
        .file
        .as_ref()
        .map(|file| match wishes.and_then(Path::parent) {
            Some(folder) if wishes != Some(Path::new("-")) => folder.join(file),
            _ => PathBuf::from(file),
        });
    let text = file
        .as_ref()
        .map(|at| {
            read_file(at).map_err(|error| Failure::File {
                name: at.display().to_string(),
                error,
            })
        })
        .transpose()?;
    RuleProfile::of(rules, text.as_deref()).map_err(|error| Failure::Rules {
        name: file.map_or_else(|| "rules".to_owned(), |at| at.display().to_string()),
        error,
    })
}
