//! The run table as the trade writes it: a column a run, rows mass, final, initial, titre, concentration.
//!
//! Nothing is hidden: a corrected reading keeps its old value beside it in square brackets, a run that was set aside
//! stays in its place under a mark, and what was written about a run stands below the table.

use crate::lines::{WIDTH, clean, cut, hanging, left, right, width};
use crate::numbers::{by_uncertainty, decimals};
use crate::style::Style;
use metrology::WrittenQuantity;
use titrimetry::Evaluation;
use titrimetry::evaluation::{Run, RunStatus};
use titrimetry::sheet::{ReadingName, RunKind, RunSpec};

/// Mark of a corrected reading.
const CORRECTED: char = '*';
/// Mark of a run that was set aside.
const SET_ASIDE: char = '†';
/// Columns between two runs.
const GAP: usize = 2;
/// Least width of a run.
const LEAST: usize = 7;
/// Longest name of a run that heads a column.
const NAME: usize = 16;

/// What stands where a row and a run meet.
#[derive(Clone, Debug, Default)]
struct Cell {
    /// The old value of a corrected reading, in brackets.
    before: String,
    text: String,
    mark: Option<char>,
}

impl Cell {
    fn plain(text: impl Into<String>) -> Self {
        Self {
            text: text.into(),
            ..Self::default()
        }
    }

    fn body(&self) -> String {
        if self.before.is_empty() {
            self.text.clone()
        } else {
            format!("{} {}", self.before, self.text)
        }
    }

    fn is_empty(&self) -> bool {
        self.text.is_empty() && self.before.is_empty()
    }
}

struct Row {
    label: String,
    cells: Vec<Cell>,
    /// Set apart by a rule above it, since it is worked out and not read.
    computed: bool,
}

/// The table with its notes, in as many blocks as its width takes.
pub fn run_table(evaluation: &Evaluation, style: Style) -> String {
    let table = Table::of(evaluation, style);
    let mut text = String::new();
    for (i, runs) in table.blocks().iter().enumerate() {
        if i > 0 {
            text.push('\n');
        }
        table.write_block(&mut text, runs);
    }
    for line in notes(evaluation) {
        push(&mut text, &style.quiet(line));
    }
    text
}

struct Table {
    heads: Vec<Cell>,
    rows: Vec<Row>,
    /// Whether a run counts; the others are printed quietly.
    counts: Vec<bool>,
    /// Width of the column of labels, and of each run without gap and mark.
    label: usize,
    widths: Vec<usize>,
    style: Style,
}

impl Table {
    fn of(evaluation: &Evaluation, style: Style) -> Self {
        let heads: Vec<Cell> = evaluation.runs.iter().map(head).collect();
        let rows = rows(evaluation);
        let widths = heads
            .iter()
            .enumerate()
            .map(|(run, head)| {
                rows.iter()
                    .map(|r| width(&r.cells[run].body()))
                    .chain([width(&head.body()), LEAST])
                    .max()
                    .unwrap_or(LEAST)
            })
            .collect();
        Self {
            heads,
            label: rows.iter().map(|r| width(&r.label)).max().unwrap_or(0),
            rows,
            counts: evaluation.runs.iter().map(Run::counts).collect(),
            widths,
            style,
        }
    }

    /// Which runs share a block.
    fn blocks(&self) -> Vec<Vec<usize>> {
        let room = WIDTH - self.label;
        let mut blocks: Vec<Vec<usize>> = Vec::new();
        let mut used = 0;
        for run in 0..self.heads.len() {
            let needed = self.column(run);
            match blocks.last_mut() {
                Some(block) if used + needed <= room => {
                    block.push(run);
                    used += needed;
                }
                _ => {
                    blocks.push(vec![run]);
                    used = needed;
                }
            }
        }
        blocks
    }

    /// Width of a run with its gap and its mark.
    fn column(&self, run: usize) -> usize {
        GAP + self.widths[run] + 1
    }

    fn cell(&self, cell: &Cell, run: usize) -> String {
        format!(
            "{}{}{}",
            " ".repeat(GAP),
            right(&cell.body(), self.widths[run]),
            cell.mark.unwrap_or(' ')
        )
    }

    fn write_block(&self, text: &mut String, runs: &[usize]) {
        let mut line = left("run", self.label);
        for &run in runs {
            line.push_str(&self.cell(&self.heads[run], run));
        }
        push(text, &self.style.strong(line.trim_end()));
        for row in &self.rows {
            if runs.iter().all(|&run| row.cells[run].is_empty()) {
                continue;
            }
            if row.computed {
                let total = self.label + runs.iter().map(|&r| self.column(r)).sum::<usize>();
                push(text, &self.style.quiet("─".repeat(total)));
            }
            let mut line = self.style.quiet(left(&row.label, self.label));
            for &run in runs {
                let cell = self.cell(&row.cells[run], run);
                line.push_str(&if self.counts[run] {
                    cell
                } else {
                    self.style.quiet(cell)
                });
            }
            push(text, &line);
        }
    }
}

fn push(text: &mut String, line: &str) {
    text.push_str(line.trim_end());
    text.push('\n');
}

fn head(run: &Run) -> Cell {
    Cell {
        text: cut(&clean(&run.name), NAME),
        mark: matches!(run.status, RunStatus::SetAside(_)).then_some(SET_ASIDE),
        ..Cell::default()
    }
}

fn rows(evaluation: &Evaluation) -> Vec<Row> {
    let specs: Vec<&RunSpec> = evaluation
        .runs
        .iter()
        .map(|run| &evaluation.sheet.run[run.index])
        .collect();
    let words = |label: &str, of: &dyn Fn(&RunSpec) -> Option<String>| Row {
        label: label.into(),
        cells: specs
            .iter()
            .map(|spec| Cell::plain(of(spec).map_or(String::new(), |t| cut(&clean(&t), NAME))))
            .collect(),
        computed: false,
    };
    let mut rows = vec![
        words("analyst", &|s| s.analyst.clone()),
        words("time", &|s| s.time.clone()),
        reading("gross", &specs, ReadingName::Gross, &|s| {
            s.gross.as_ref().map(|w| w.quantity())
        }),
        reading("tare", &specs, ReadingName::Tare, &|s| {
            s.tare.as_ref().map(|w| w.quantity())
        }),
        masses(&specs),
        reading("final", &specs, ReadingName::Final, &|s| {
            s.final_reading.as_ref().map(|w| w.quantity())
        }),
        reading("initial", &specs, ReadingName::Initial, &|s| {
            s.initial.as_ref().map(|w| w.quantity())
        }),
    ];
    let fills = specs.iter().map(|s| s.refill.len()).max().unwrap_or(0);
    for fill in 0..fills {
        let n = fill + 2;
        rows.push(written(&format!("final, fill {n}"), &specs, &|s| {
            s.refill.get(fill).map(|f| f.final_reading.quantity())
        }));
        rows.push(written(&format!("initial, fill {n}"), &specs, &|s| {
            s.refill.get(fill).map(|f| f.initial.quantity())
        }));
    }
    rows.push(words("at", &|s| {
        s.temperature.as_ref().map(ToString::to_string)
    }));
    rows.push(Row {
        label: "titre / mL".into(),
        cells: evaluation
            .runs
            .iter()
            .map(|run| Cell::plain(decimals(run.titre, run.titre_decimals)))
            .collect(),
        computed: true,
    });
    rows.push(concentrations(evaluation));
    rows.push(Row {
        label: String::new(),
        cells: evaluation
            .runs
            .iter()
            .map(|run| {
                Cell::plain(match &run.status {
                    RunStatus::SetAside(_) => "set aside",
                    RunStatus::Counts | RunStatus::Rough | RunStatus::Blank => "",
                })
            })
            .collect(),
        computed: false,
    });
    rows.retain(|row| row.cells.iter().any(|cell| !cell.is_empty()));
    rows
}

/// Each run's own concentration, with the digits that its readings and weighings leave it.
fn concentrations(evaluation: &Evaluation) -> Row {
    let own = evaluation.scatter.predicted * evaluation.concentration().abs();
    Row {
        label: "c / (mol/L)".into(),
        cells: evaluation
            .runs
            .iter()
            .map(|run| {
                Cell::plain(
                    run.concentration
                        .map_or(String::new(), |c| by_uncertainty(c, own).value_text),
                )
            })
            .collect(),
        computed: false,
    }
}

/// Net masses: as read, or gross less tare with the decimals of both.
fn masses(specs: &[&RunSpec]) -> Row {
    let mut row = reading("mass", specs, ReadingName::Mass, &|s| {
        s.mass.as_ref().map(|w| w.quantity())
    });
    let nets: Vec<Option<String>> = specs.iter().map(|s| net(s)).collect();
    if nets.iter().any(Option::is_some) {
        row.label = "mass / g".into();
        for ((cell, spec), net) in row.cells.iter_mut().zip(specs).zip(nets) {
            match (net, &spec.mass) {
                (Some(net), _) => cell.text = net,
                (None, Some(mass)) => cell.text = as_written(mass.quantity(), Some("g")),
                (None, None) => {}
            }
        }
    }
    row
}

fn net(spec: &RunSpec) -> Option<String> {
    let (gross, tare) = (spec.gross.as_ref()?, spec.tare.as_ref()?);
    let places = |w: &WrittenQuantity| {
        // One step of the last digit, in grams.
        let step = w.step() * w.unit.factor();
        (-step.log10()).round().clamp(0.0, 9.0) as usize
    };
    let shown = places(gross.quantity()).max(places(tare.quantity()));
    Some(decimals(gross.value() - tare.value(), shown))
}

/// A row of readings without corrections.
fn written<'a>(
    label: &str,
    specs: &[&'a RunSpec],
    of: &dyn Fn(&'a RunSpec) -> Option<&'a WrittenQuantity>,
) -> Row {
    let unit = common_unit(specs.iter().filter_map(|s| of(s)));
    Row {
        label: match &unit {
            Some(unit) => format!("{label} / {unit}"),
            None => label.into(),
        },
        cells: specs
            .iter()
            .map(|spec| {
                Cell::plain(of(spec).map_or(String::new(), |w| as_written(w, unit.as_deref())))
            })
            .collect(),
        computed: false,
    }
}

/// A row of readings with their corrections.
fn reading<'a>(
    label: &str,
    specs: &[&'a RunSpec],
    name: ReadingName,
    of: &dyn Fn(&'a RunSpec) -> Option<&'a WrittenQuantity>,
) -> Row {
    let mut row = written(label, specs, of);
    let unit = common_unit(specs.iter().filter_map(|s| of(s)));
    for (cell, spec) in row.cells.iter_mut().zip(specs) {
        let old: Vec<String> = spec
            .corrected
            .iter()
            .filter(|c| c.reading == name)
            .map(|c| format!("[{}]", as_written(c.was.quantity(), unit.as_deref())))
            .collect();
        if !old.is_empty() {
            cell.before = old.join(" ");
            cell.mark = Some(CORRECTED);
        }
    }
    row
}

/// The unit in which all of a row is written, if it is one.
fn common_unit<'a>(mut quantities: impl Iterator<Item = &'a WrittenQuantity>) -> Option<String> {
    let first = quantities.next()?.unit.symbol().to_string();
    quantities
        .all(|q| q.unit.symbol() == first)
        .then_some(first)
}

/// The number alone where the row names its unit.
fn as_written(quantity: &WrittenQuantity, unit: Option<&str>) -> String {
    if unit == Some(quantity.unit.symbol()) {
        quantity.number.to_string()
    } else {
        quantity.to_string()
    }
}

/// What is to be said about single runs, below the table.
fn notes(evaluation: &Evaluation) -> Vec<String> {
    let mut notes = Vec::new();
    let has = |status: RunStatus| evaluation.runs.iter().any(|run| run.status == status);
    notes.extend(
        match (has(RunStatus::Rough), has(RunStatus::Blank)) {
            (true, true) => {
                Some("  Rough runs are not averaged; the mean of the blanks is subtracted.")
            }
            (true, false) => Some("  Rough runs are not averaged."),
            (false, true) => Some("  The mean of the blanks is subtracted."),
            (false, false) => None,
        }
        .map(str::to_string),
    );
    for run in &evaluation.runs {
        let spec = &evaluation.sheet.run[run.index];
        let name = called(run);
        for correction in &spec.corrected {
            let by = [correction.by.as_deref(), correction.when.as_deref()]
                .into_iter()
                .flatten()
                .collect::<Vec<_>>()
                .join(", ");
            let by = if by.is_empty() {
                String::new()
            } else {
                format!(" ({by})")
            };
            notes.extend(hanging(
                &format!("{CORRECTED} "),
                &format!(
                    "{name}, {}: read as {}, corrected: {}{by}",
                    reading_name(correction.reading),
                    correction.was,
                    correction.reason
                ),
            ));
        }
        if let RunStatus::SetAside(reason) = &run.status {
            notes.extend(hanging(
                &format!("{SET_ASIDE} "),
                &format!("{name} set aside: {reason}"),
            ));
        }
        if let Some(remark) = &spec.remark {
            notes.extend(hanging("  ", &format!("{name}: {remark}")));
        }
    }
    notes
}

/// A run as it is called in a sentence.
fn called(run: &Run) -> String {
    let name = clean(&run.name);
    match run.kind {
        RunKind::Replicate => format!("run {name}"),
        RunKind::Rough | RunKind::Blank => name,
    }
}

fn reading_name(reading: ReadingName) -> &'static str {
    match reading {
        ReadingName::Initial => "initial reading",
        ReadingName::Final => "final reading",
        ReadingName::Mass => "mass",
        ReadingName::Gross => "gross mass",
        ReadingName::Tare => "tare",
    }
}
