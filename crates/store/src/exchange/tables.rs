//! Fills the tables of an export, a page of things at a time, so that memory does not grow with the record.

use super::export::Sink;
use super::file;
use super::sheets::{OF_ALL, Rows, Sheet};
use crate::csv::field;
use crate::error::StoreError;
use crate::list::{self, Filter, Thing};
use crate::read;
use crate::store::Store;
use metrology::{Budget, Formula};
use notebook::state::{Determination, Reading, Run, Status};
use notebook::{Kind, Node, Outcome, World};
use serde_json::{Value, json};
use std::io::Write;
use std::path::Path;
use titrimetry::sheet::RunKind;

/// Things that are looked at together.
const TOGETHER: u32 = 200;

type Row = Vec<String>;

impl Store {
    /// Writes a table.
    pub(super) async fn table(&self, sheet: &Sheet, sink: &mut Sink<'_>) -> Result<(), StoreError> {
        let failed = |e: std::io::Error| file(Path::new(sheet.name), &e);
        writeln!(sink, "{}", sheet.headings().join(",")).map_err(failed)?;
        if sheet.rows == Rows::Threads {
            return self.threads(sink).await;
        }
        let kind = match sheet.rows {
            Rows::Things(kind) => kind,
            Rows::Calibrations => Kind::Apparatus,
            _ => Kind::Determination,
        };
        let mut filter = Filter {
            kind: Some(kind),
            limit: Some(TOGETHER),
            ..Filter::default()
        };
        loop {
            let page = self.list(&filter).await?;
            let nodes: Vec<Node> = page.things.iter().map(|thing| thing.node.clone()).collect();
            let world = self.together(&nodes, sheet.rows).await?;
            for thing in &page.things {
                let rows = match sheet.rows {
                    Rows::Budget => self.budget(&world, &thing.node).await?,
                    _ => rows(sheet, &world, thing),
                };
                for row in rows {
                    let fields: Vec<String> = row.iter().map(|text| field(text)).collect();
                    writeln!(sink, "{}", fields.join(",")).map_err(failed)?;
                }
            }
            filter.after = page.next;
            if filter.after.is_none() {
                return Ok(());
            }
        }
    }

    /// What is known of some things, and of the samples whose limits stand beside their results.
    async fn together(&self, nodes: &[Node], rows: Rows) -> Result<World, StoreError> {
        let mut db = self.pool().acquire().await?;
        let mut world = World::default();
        read::load_folds(&mut db, &mut world, nodes).await?;
        let mut unknown: Vec<Node> = nodes.iter().filter(|n| !world.knows(n)).cloned().collect();
        if !unknown.is_empty() {
            read::load_together(&mut db, &mut world, &unknown).await?;
        }
        if rows == Rows::Results {
            unknown = nodes
                .iter()
                .filter_map(|node| world.determination(node)?.evaluated.as_ref())
                .flat_map(|evaluated| evaluated.results.iter().map(|result| result.of.clone()))
                .filter(|of| of.kind() == Kind::Sample)
                .collect();
            unknown.sort();
            unknown.dedup();
            for part in unknown.chunks(read::TOGETHER) {
                read::load_together(&mut db, &mut world, part).await?;
            }
        }
        Ok(world)
    }

    /// The budgets of a determination that was signed.
    async fn budget(&self, world: &World, node: &Node) -> Result<Vec<Row>, StoreError> {
        let signed = world
            .determination(node)
            .is_some_and(|d| d.status == Status::Approved);
        if !signed {
            return Ok(Vec::new());
        }
        Ok(match self.evaluate(node).await?.outcome {
            Ok(outcome) => budgets(node, &outcome),
            // What cannot be computed any more after a correction has none.
            Err(_) => Vec::new(),
        })
    }

    async fn threads(&self, sink: &mut Sink<'_>) -> Result<(), StoreError> {
        let failed = |e: std::io::Error| file(Path::new("threads.csv"), &e);
        let sql = "SELECT what, how, on_what FROM edge ORDER BY what, how, on_what";
        let mut rows = sqlx::query(sql).fetch(self.pool());
        while let Some(row) = futures_util::TryStreamExt::try_next(&mut rows).await? {
            let mut fields = Vec::new();
            for at in 0..3 {
                let text: String = sqlx::Row::try_get(&row, at)?;
                fields.push(field(&text));
            }
            writeln!(sink, "{}", fields.join(",")).map_err(failed)?;
        }
        Ok(())
    }
}

impl Sheet {
    /// Its headings.
    pub(super) fn headings(&self) -> Vec<&'static str> {
        self.all().map(|(heading, _)| heading).collect()
    }

    /// Its headings, each with what it means.
    pub(super) fn all(&self) -> impl Iterator<Item = (&'static str, &'static str)> {
        let of_all = match self.rows {
            Rows::Things(_) => OF_ALL,
            _ => &[],
        };
        let columns = of_all.iter().chain(self.columns);
        columns.map(|(heading, says, _)| (*heading, *says))
    }
}

fn rows(sheet: &Sheet, world: &World, thing: &Thing) -> Vec<Row> {
    match (sheet.rows, world.determination(&thing.node)) {
        (Rows::Things(_), _) => vec![of_thing(sheet, world, thing)],
        (Rows::Calibrations, _) => calibrations(world, &thing.node),
        (Rows::Results, Some(d)) => results(world, &thing.node, d),
        (Rows::Runs, Some(d)) => d.runs.iter().map(|run| of_run(&thing.node, run)).collect(),
        (Rows::Readings, Some(d)) => readings(d)
            .map(|(run, sample, reading)| of_reading(&thing.node, run, sample, reading))
            .collect(),
        (Rows::Corrections, Some(d)) => readings(d)
            .flat_map(|(run, sample, reading)| corrections(&thing.node, run, sample, reading))
            .collect(),
        _ => Vec::new(),
    }
}

fn of_thing(sheet: &Sheet, world: &World, thing: &Thing) -> Row {
    let node = &thing.node;
    let evaluated = match (world.determination(node), world.certificate(node)) {
        (Some(determination), _) => determination.evaluated.as_ref(),
        (_, Some(certificate)) => certificate.issued.evaluated.as_ref(),
        _ => None,
    };
    let results: Vec<String> = evaluated
        .map(|e| e.results.iter().map(list::one_in_words).collect())
        .unwrap_or_default();
    let mut known = json!({
        "line": {
            "name": node.name(), "title": thing.title, "status": thing.status, "who": thing.who,
            "since": thing.since.to_string(), "use_before": thing.use_before.map(|day| day.to_string()),
        },
        "standing": world.solution(node).and_then(|solution| solution.standing()),
        "results": results,
    });
    if let Some(state) = world.state(node)
        && let Ok(Value::Object(state)) = serde_json::to_value(state)
        && let Value::Object(known) = &mut known
    {
        known.extend(state);
    }
    OF_ALL
        .iter()
        .chain(sheet.columns)
        .map(|(_, _, places)| {
            let found = places.iter().find_map(|place| known.pointer(place));
            found.map(in_cell).unwrap_or_default()
        })
        .collect()
}

/// A value as it stands in a cell.
fn in_cell(value: &Value) -> String {
    let together = |values: &mut dyn Iterator<Item = &Value>, between: &str| {
        values.map(in_cell).collect::<Vec<_>>().join(between)
    };
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Array(values) => together(&mut values.iter(), "; "),
        Value::Object(members) => together(&mut members.values(), " "),
        other => other.to_string(),
    }
}

fn calibrations(world: &World, node: &Node) -> Vec<Row> {
    let Some(apparatus) = world.apparatus(node) else {
        return Vec::new();
    };
    let row = |edition: &notebook::state::Edition<notebook::payload::Piece>| {
        let piece = serde_json::to_value(&edition.is).unwrap_or_default();
        let piece = match piece.as_object().and_then(|o| o.values().next()) {
            Some(Value::String(name)) => name.clone(),
            Some(figures) => figures.to_string(),
            None => String::new(),
        };
        vec![
            node.name().into(),
            edition.since.to_string(),
            edition.at.to_string(),
            edition.by.clone().unwrap_or_default(),
            piece,
        ]
    };
    apparatus.calibrations.iter().map(row).collect()
}

fn number(x: Option<f64>) -> String {
    x.filter(|x| x.is_finite())
        .map(|x| x.to_string())
        .unwrap_or_default()
}

fn yes(kept: Option<bool>) -> String {
    match kept {
        Some(true) => "yes".into(),
        Some(false) => "no".into(),
        None => String::new(),
    }
}

fn results(world: &World, node: &Node, determination: &Determination) -> Vec<Row> {
    let Some(evaluated) = &determination.evaluated else {
        return Vec::new();
    };
    let signed = determination.approved.as_ref();
    let row = |result: &notebook::payload::Stated| {
        let limits = world
            .sample(&result.of)
            .and_then(|sample| serde_json::to_value(&sample.received.limits).ok())
            .unwrap_or_default();
        vec![
            node.name().into(),
            result.of.to_string(),
            result.name.clone(),
            result.expressed_as.clone().unwrap_or_default(),
            result.unit.clone(),
            result.value.to_string(),
            result.standard_uncertainty.to_string(),
            result.expanded_uncertainty.to_string(),
            result.coverage_factor.to_string(),
            number(result.probability),
            number(result.degrees_of_freedom),
            in_cell(&limits["from"]),
            in_cell(&limits["to"]),
            number(result.conformity),
            yes(result.conforms),
            yes(Some(evaluated.usable)),
            determination.status.word().into(),
            signed.map(|s| s.who.clone()).unwrap_or_default(),
            signed.map(|s| s.at.to_string()).unwrap_or_default(),
            evaluated.rules.clone(),
        ]
    };
    evaluated.results.iter().map(row).collect()
}

fn name_of(sample: Option<&Node>) -> String {
    sample.map(|s| s.name().to_string()).unwrap_or_default()
}

fn of_run(node: &Node, run: &Run) -> Row {
    let kind = match run.started.run_kind {
        RunKind::Replicate => "replicate",
        RunKind::Rough => "rough",
        RunKind::Blank => "blank",
    };
    let aside = run.set_aside.as_ref();
    let remarks: Vec<&str> = run.remarks.iter().map(|r| r.text.as_str()).collect();
    vec![
        node.name().into(),
        run.started.run.to_string(),
        name_of(run.started.sample.as_ref()),
        kind.into(),
        run.who.clone(),
        run.at.to_string(),
        aside.map(|a| a.reason.clone()).unwrap_or_default(),
        aside.map(|a| a.who.clone()).unwrap_or_default(),
        remarks.join("; "),
    ]
}

/// Every reading with its run and sample.
fn readings(
    determination: &Determination,
) -> impl Iterator<Item = (Option<u32>, Option<&Node>, &Reading)> {
    let of_runs = determination.runs.iter().flat_map(|run| {
        let sample = run.started.sample.as_ref();
        let number = Some(run.started.run);
        run.readings
            .iter()
            .map(move |reading| (number, sample, reading))
    });
    let of_samples = determination.of_samples.iter();
    of_runs.chain(of_samples.map(|(sample, reading)| (None, Some(sample), reading)))
}

fn of_reading(node: &Node, run: Option<u32>, sample: Option<&Node>, reading: &Reading) -> Row {
    let first = reading
        .corrections
        .first()
        .map_or(&reading.value, |c| &c.was);
    vec![
        node.name().into(),
        run.map(|n| n.to_string()).unwrap_or_default(),
        name_of(sample),
        reading.slot.to_string(),
        reading.value.clone(),
        first.clone(),
        reading.corrections.len().to_string(),
        reading.who.clone(),
        reading.at.to_string(),
    ]
}

fn corrections(
    node: &Node,
    run: Option<u32>,
    sample: Option<&Node>,
    reading: &Reading,
) -> Vec<Row> {
    let became = reading.corrections.iter().skip(1).map(|c| &c.was);
    let became = became.chain([&reading.value]);
    let both = reading.corrections.iter().zip(became);
    both.map(|(correction, became)| {
        vec![
            node.name().into(),
            run.map(|n| n.to_string()).unwrap_or_default(),
            name_of(sample),
            reading.slot.to_string(),
            correction.was.clone(),
            became.clone(),
            correction.reason.clone(),
            correction.who.clone(),
            correction.at.to_string(),
        ]
    })
    .collect()
}

fn budgets(node: &Node, outcome: &Outcome) -> Vec<Row> {
    match outcome {
        Outcome::Standardization {
            solution,
            evaluation,
            ..
        } => lines(
            node,
            &solution.to_string(),
            "concentration",
            &evaluation.formula,
            &evaluation.budget,
            1.0,
        ),
        Outcome::Assay { samples, assay, .. } => samples
            .iter()
            .zip(&assay.samples)
            .flat_map(|(of, sample)| {
                let of = of.to_string();
                sample
                    .results
                    .iter()
                    .flat_map(move |r| lines(node, &of, &r.name, &r.formula, &r.budget, r.factor))
            })
            .collect(),
    }
}

fn lines(
    node: &Node,
    of: &str,
    result: &str,
    formula: &Formula,
    budget: &Budget,
    factor: f64,
) -> Vec<Row> {
    let row = |line: &metrology::BudgetLine| {
        let input = &formula.inputs()[line.input];
        vec![
            node.name().into(),
            of.into(),
            result.into(),
            input.id.to_string(),
            input.symbol.to_string(),
            input.description.to_string(),
            input.value.to_string(),
            input.unit.symbol().to_string(),
            input.distribution.name().to_string(),
            line.standard_uncertainty.to_string(),
            number(Some(input.degrees_of_freedom)),
            (line.contribution / factor).to_string(),
            line.share.to_string(),
            input.origin.describe(),
        ]
    };
    budget.lines.iter().map(row).collect()
}
