//! `halfdrop curve`: the predicted curve of a planned run.

use crate::exit_code::{self, ExitCode};
use crate::failure::Failure;
use crate::plan::{WishArgs, plan, rough};
use report::Style;
use report::plot::{Palette, curve_csv, curve_sketch, curve_svg};

/// Draw the predicted titration curve of a plan, with the indicator's band and the end point.
///
/// For example: halfdrop curve --titrant NaOH --strength "0.1 mol/L" --standard KHP --svg > curve.svg
#[derive(Debug, clap::Args)]
#[command(after_help = exit_code::HELP)]
pub(crate) struct CurveCommand {
    #[command(flatten)]
    wishes: WishArgs,
    /// Write an SVG picture instead of a sketch.
    #[arg(long, conflicts_with = "csv")]
    svg: bool,
    /// Write the points as CSV instead of a sketch.
    #[arg(long)]
    csv: bool,
    /// Titre of a rough run already done: the zones then come from it, such as "24.6 mL".
    #[arg(long, value_name = "VOLUME")]
    rough: Option<String>,
}

/// Runs the command.
pub(crate) fn run(command: &CurveCommand, style: Style) -> Result<(String, ExitCode), Failure> {
    let rough = rough(command.rough.as_deref())?;
    let plan = plan(&command.wishes)?;
    let drawing = plan.drawing(rough).map_err(Failure::Plan)?;
    let text = if command.svg {
        curve_svg(&drawing, &Palette::LIGHT)
    } else if command.csv {
        curve_csv(&drawing)
    } else {
        curve_sketch(&drawing, style)
    };
    Ok((text, ExitCode::Usable))
}
