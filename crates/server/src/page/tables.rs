//! Tables as CSV: the lists, the runs, the budget, the history of a thing, the record.

use super::origin::Of;
use super::run_table;
use crate::answer::Fault;
use crate::api::{self, Ask};
use crate::app::App;
use crate::csv::{Cell, Csv};
use crate::measured;
use crate::series;
use crate::text::filled;
use crate::visitor::Visitor;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use notebook::state::State as Known;
use notebook::{Event, Kind, Outcome};
use store::Thing;
use titrimetry::evaluation::RunStatus;

/// Things of one list.
const MOST: u32 = 200;
/// Events of one file.
const EVENTS: u32 = 1000;
const PAGES: usize = 50;

fn lines(things: &[Thing]) -> Csv {
    let mut csv = Csv::new(&[
        "name",
        "kind",
        "title",
        "status",
        "who",
        "since",
        "use before",
        "result",
        "rules kept",
    ]);
    for thing in things {
        csv.row([
            Cell::from(thing.node.name()),
            Cell::from(thing.node.kind().word()),
            Cell::from(thing.title.as_str()),
            Cell::from(thing.status.as_str()),
            Cell::from(thing.who.as_str()),
            Cell::from(thing.since.to_string()),
            Cell::from(thing.use_before.map(|day| day.to_string())),
            Cell::from(thing.result.as_deref()),
            Cell::from(thing.usable.map(|usable| if usable { "yes" } else { "no" })),
        ]);
    }
    csv
}

/// All things of a filter, page after page.
async fn all(app: &App, ask: &Ask) -> Result<Vec<Thing>, Fault> {
    let mut filter = ask.filter()?;
    filter.limit = Some(MOST);
    let mut things = Vec::new();
    for _ in 0..PAGES {
        let page = app.store.list(&filter).await?;
        things.extend(page.things);
        match page.next {
            Some(next) => filter.after = Some(next),
            None => break,
        }
    }
    Ok(things)
}

pub(crate) async fn list(
    State(app): State<App>,
    _: Visitor,
    Query(ask): Query<Ask>,
) -> Result<Response, Fault> {
    let name = ask.kind.clone().unwrap_or_else(|| "determination".into());
    Ok(lines(&all(&app, &ask).await?).answer(&format!("{name}s")))
}

pub(crate) async fn runs(
    State(app): State<App>,
    _: Visitor,
    Path(name): Path<String>,
) -> Result<Response, Fault> {
    let node = api::node("determination", &name)?;
    let evaluation = app.store.evaluate(&node).await?;
    let Some(determination) = evaluation.world.determination(&node) else {
        return Err(Fault::not_there(&node));
    };
    let mut csv = Csv::new(&[
        "sample",
        "run",
        "kind",
        "what",
        "value",
        "unit",
        "who",
        "at",
        "corrected from",
        "why corrected",
        "set aside because",
    ]);
    for run in &determination.runs {
        let called = run_table::name(&determination.runs, run);
        for reading in &run.readings {
            let (value, unit) = reading
                .value
                .split_once(' ')
                .unwrap_or((&reading.value, ""));
            let was: Vec<&str> = reading.corrections.iter().map(|c| c.was.as_str()).collect();
            let why: Vec<&str> = reading
                .corrections
                .iter()
                .map(|c| c.reason.as_str())
                .collect();
            csv.row([
                Cell::from(run.started.sample.as_ref().map(|s| s.name().to_string())),
                Cell::from(called.as_str()),
                Cell::from(kind(run.started.run_kind)),
                Cell::from(reading.slot.to_string()),
                Cell::from(value),
                Cell::from(unit),
                Cell::from(reading.who.as_str()),
                Cell::from(reading.at.to_string()),
                Cell::from(was.join("; ")),
                Cell::from(why.join("; ")),
                Cell::from(run.set_aside.as_ref().map(|a| a.reason.clone())),
            ]);
        }
    }
    computed(&mut csv, evaluation.outcome.as_ref().ok());
    Ok(csv.answer(&format!("{}-runs", node.name())))
}

fn kind(kind: titrimetry::sheet::RunKind) -> &'static str {
    match kind {
        titrimetry::sheet::RunKind::Replicate => "replicate",
        titrimetry::sheet::RunKind::Rough => "rough",
        titrimetry::sheet::RunKind::Blank => "blank",
    }
}

/// What was computed of each run, below what was read.
fn computed(csv: &mut Csv, outcome: Option<&Outcome>) {
    let mut row = |sample: Option<&str>,
                   run: &str,
                   what: &str,
                   (value, unit): (f64, &str),
                   status: &RunStatus| {
        let aside = match status {
            RunStatus::SetAside(reason) => Some(reason.clone()),
            _ => None,
        };
        csv.row([
            Cell::from(sample),
            Cell::from(run),
            Cell::from("computed"),
            Cell::from(what),
            Cell::from(value),
            Cell::from(unit),
            Cell::Empty,
            Cell::Empty,
            Cell::Empty,
            Cell::Empty,
            Cell::from(aside),
        ]);
    };
    match outcome {
        Some(Outcome::Standardization { evaluation, .. }) => {
            for run in &evaluation.runs {
                row(None, &run.name, "titre", (run.titre, "mL"), &run.status);
                if let Some(c) = run.concentration {
                    row(None, &run.name, "concentration", (c, "mol/L"), &run.status);
                }
            }
        }
        Some(Outcome::Assay { assay, .. }) => {
            for sample in &assay.samples {
                let id = Some(sample.spec.id.as_str());
                for run in &sample.runs {
                    for titre in &run.titres {
                        row(id, &run.name, "titre", (*titre, "mL"), &run.status);
                    }
                    if let (Some(value), Some(result)) = (run.value, sample.results.first()) {
                        let value = (value, result.unit.as_str());
                        row(id, &run.name, &result.name, value, &run.status);
                    }
                }
            }
        }
        None => {}
    }
}

pub(crate) async fn budget(
    State(app): State<App>,
    _: Visitor,
    Path(name): Path<String>,
    Query(of): Query<Of>,
) -> Result<Response, Fault> {
    let node = api::node("determination", &name)?;
    let outcome = app
        .store
        .evaluate(&node)
        .await?
        .outcome
        .map_err(|error| Fault::Missing(error.to_string()))?;
    let measured = measured::find(&outcome, of.of.as_deref())
        .ok_or_else(|| Fault::Missing(filled("fault.no_result", &[("name", node.name())])))?;
    let mut csv = Csv::new(&[
        "input",
        "symbol",
        "what",
        "value",
        "unit",
        "distribution",
        "u",
        "degrees of freedom",
        "sensitivity",
        "contribution",
        "share of variance",
        "from",
    ]);
    for line in &measured.budget.lines {
        let input = &measured.formula.inputs()[line.input];
        csv.row([
            Cell::from(input.id.as_str()),
            Cell::from(input.symbol.as_str()),
            Cell::from(input.description.as_str()),
            Cell::from(input.value),
            Cell::from(input.unit.symbol()),
            Cell::from(input.distribution.name()),
            Cell::from(line.standard_uncertainty),
            Cell::from(input.degrees_of_freedom),
            Cell::from(line.sensitivity / measured.factor),
            Cell::from(line.contribution / measured.factor),
            Cell::from(line.share),
            Cell::from(input.origin.describe()),
        ]);
    }
    Ok(csv.answer(&format!("{}-budget", node.name())))
}

fn events_csv(events: &[Event]) -> Csv {
    let mut csv = Csv::new(&[
        "number",
        "at",
        "who",
        "device",
        "on",
        "version",
        "kind",
        "payload (JSON)",
        "id",
    ]);
    for event in events {
        let payload = serde_json::to_value(&event.payload).unwrap_or_default();
        csv.row([
            Cell::from(event.number as f64),
            Cell::from(event.at.to_string()),
            Cell::from(event.who.as_str()),
            Cell::from(event.device.as_str()),
            Cell::from(event.stream.to_string()),
            Cell::from(event.stream_version as f64),
            Cell::from(event.payload.kind()),
            Cell::from(payload["payload"].to_string()),
            Cell::from(event.id.as_str()),
        ]);
    }
    csv
}

pub(crate) async fn history(
    State(app): State<App>,
    _: Visitor,
    Path((kind, name)): Path<(String, String)>,
) -> Result<Response, Fault> {
    let node = api::node(&kind, &name)?;
    let events = app.store.history(&node, 0).await?;
    if events.is_empty() {
        return Err(Fault::not_there(&node));
    }
    Ok(events_csv(&events).answer(&format!("{}-history", node.name())))
}

/// The values of a bottle or a check sample, as its chart shows them.
pub(crate) async fn values(
    State(app): State<App>,
    _: Visitor,
    Path((kind, name)): Path<(String, String)>,
) -> Result<Response, Fault> {
    let node = api::node(&kind, &name)?;
    let world = app.store.world(std::slice::from_ref(&node)).await?;
    let series = match world.state(&node) {
        Some(Known::Solution(solution)) => series::of_solution(solution),
        Some(Known::Sample(_)) => series::of_sample(&app, &node).await?,
        Some(_) if node.kind() != Kind::Record => series::nothing(),
        _ => return Err(Fault::not_there(&node)),
    };
    let mut csv = Csv::new(&["day", "determination", "value", "u", "U", "unit"]);
    for found in &series.found {
        csv.row([
            Cell::from(found.day.to_string()),
            Cell::from(found.by.name()),
            Cell::from(found.value),
            Cell::from(found.u),
            Cell::from(found.expanded),
            Cell::from(series.unit.as_str()),
        ]);
    }
    Ok(csv.answer(&format!("{}-values", node.name())))
}

pub(crate) async fn record(
    State(app): State<App>,
    _: Visitor,
    Query(ask): Query<api::After>,
) -> Result<Response, Fault> {
    let limit = ask.limit.unwrap_or(EVENTS).clamp(1, EVENTS);
    let events = app.store.events(ask.after.unwrap_or(0), limit).await?;
    Ok(events_csv(&events).answer("record"))
}
