//! The worked solution and the run table, to be kept: what a page and a PDF of it say.

use crate::budget;
use crate::document::{BOTTOM, LEADING, LEFT, QUIET, RIGHT, TOP, lines, paragraph};
use crate::error::CertificateError;
use crate::from_evaluation;
use crate::paper::{A4, About, Ink, MM, Paper, Part, Type};
use crate::sheet::BudgetSheet;
use crate::symbols;
use crate::typeface::Face;
use crate::words::typeset;
use notebook::{Moment, Node, Outcome, World};
use report::rounded;
use report::worked::Worked;
use titrimetry::evaluation::RunStatus;
use titrimetry::sheet::{ReadingName, RunSpec};

/// The worked solution of a determination, with its runs.
#[derive(Clone, Debug, PartialEq)]
pub struct WorkingSheet {
    /// The record, by its name.
    pub laboratory: String,
    /// The determination.
    pub determination: Node,
    /// What it is called.
    pub title: String,
    /// When it was begun, by whom, and how far it is.
    pub begun: String,
    /// The reaction, or the method.
    pub by: String,
    /// When its last reading was taken or corrected: the date of the document.
    pub at: Moment,
    /// The runs, in tables of as many columns as a page holds.
    pub runs: Vec<RunTable>,
    /// What was corrected, set aside and remarked.
    pub notes: Vec<String>,
    /// The results, each with its working.
    pub results: Vec<WorkedResult>,
}

/// Runs beside one another.
#[derive(Clone, Debug, PartialEq)]
pub struct RunTable {
    /// The name of each run.
    pub runs: Vec<String>,
    /// What stands in each row: its name, and a cell for each run.
    pub rows: Vec<(String, Vec<RunCell>)>,
}

/// A cell of a run.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RunCell {
    /// What stood there before it was corrected, struck through.
    pub was: Option<String>,
    /// What stands there.
    pub is: String,
}

impl From<String> for RunCell {
    fn from(is: String) -> Self {
        Self { was: None, is }
    }
}

/// A result with its working.
#[derive(Clone, Debug, PartialEq)]
pub struct WorkedResult {
    /// What it is and of what.
    pub name: String,
    /// Value, U, unit, k.
    pub stated: [String; 4],
    /// The working.
    pub worked: Worked,
    /// The budget.
    pub budget: BudgetSheet,
}

/// Runs that stand beside one another on a page.
const ACROSS: usize = 7;

impl WorkingSheet {
    /// The worked solution of a determination of the record.
    ///
    /// # Errors
    /// [`CertificateError::Missing`].
    pub fn of(world: &World, node: &Node, outcome: &Outcome) -> Result<Self, CertificateError> {
        let determination = world
            .determination(node)
            .ok_or_else(|| CertificateError::Missing(node.clone()))?;
        let columns = columns(outcome);
        let unit = match outcome {
            Outcome::Standardization { .. } => "mol/L".to_string(),
            Outcome::Assay { assay, .. } => assay
                .samples
                .iter()
                .flat_map(|s| &s.results)
                .map(|r| r.unit.clone())
                .next()
                .unwrap_or_default(),
        };
        Ok(Self {
            laboratory: world.record().map(|r| r.name.clone()).unwrap_or_default(),
            determination: node.clone(),
            title: determination.opened.title.clone(),
            begun: format!(
                "{}, {}, {}",
                determination.at.day(),
                determination.who,
                determination.status.word()
            ),
            by: match outcome {
                Outcome::Standardization { evaluation, .. } => evaluation.reaction.clone(),
                Outcome::Assay { assay, .. } => assay.method.name.clone(),
            },
            at: determination.changed,
            runs: columns.chunks(ACROSS).map(|c| table(c, &unit)).collect(),
            notes: columns.iter().flat_map(notes).collect(),
            results: results(outcome),
        })
    }
}

/// A run with what stands in its column.
struct Column<'a> {
    name: String,
    spec: &'a RunSpec,
    status: &'a RunStatus,
    titre: String,
    value: Option<String>,
}

fn columns(outcome: &Outcome) -> Vec<Column<'_>> {
    match outcome {
        Outcome::Standardization { evaluation, .. } => evaluation
            .runs
            .iter()
            .map(|run| Column {
                name: run.name.clone(),
                spec: &evaluation.sheet.run[run.index],
                status: &run.status,
                titre: format!("{:.*}", run.titre_decimals, run.titre),
                value: run
                    .concentration
                    .map(|c| rounded(c, evaluation.expanded.expanded_uncertainty).value_text),
            })
            .collect(),
        Outcome::Assay { assay, .. } => assay
            .samples
            .iter()
            .flat_map(|sample| {
                let u = sample
                    .results
                    .first()
                    .map_or(0.0, |r| r.expanded.expanded_uncertainty);
                sample
                    .runs
                    .iter()
                    .zip(&sample.spec.run)
                    .map(move |(run, spec)| Column {
                        // Runs of several samples bear the sample's name already.
                        name: match run.name.strip_prefix(sample.spec.id.as_str()) {
                            Some(_) => run.name.clone(),
                            None => format!("{} {}", sample.spec.id, run.name),
                        },
                        spec,
                        status: &run.status,
                        titre: run
                            .titres
                            .iter()
                            .map(|t| format!("{t:.*}", run.titre_decimals))
                            .collect::<Vec<_>>()
                            .join(" / "),
                        value: run.value.map(|v| rounded(v, u).value_text),
                    })
            })
            .collect(),
    }
}

/// The number of a written quantity.
fn number(written: &impl ToString) -> String {
    let text = written.to_string();
    text.split_whitespace()
        .next()
        .unwrap_or_default()
        .to_string()
}

fn table(columns: &[Column<'_>], unit: &str) -> RunTable {
    let mut rows: Vec<(String, Vec<RunCell>)> = Vec::new();
    let mut row = |name: String, cell: &dyn Fn(&Column<'_>) -> Option<RunCell>| {
        let cells: Vec<RunCell> = columns
            .iter()
            .map(|c| cell(c).unwrap_or_default())
            .collect();
        if cells.iter().any(|c| !c.is.is_empty()) {
            rows.push((name, cells));
        }
    };
    // What was read, with what stood there first.
    let read = |c: &Column<'_>, name: ReadingName, is: Option<String>| {
        let corrected = c.spec.corrected.iter();
        let first = corrected.filter(|c| c.reading == name).map(|c| &c.was);
        is.map(|is| RunCell {
            was: first.map(number).next(),
            is,
        })
    };
    row("mass / g".into(), &|c| {
        read(c, ReadingName::Mass, c.spec.mass.as_ref().map(number))
    });
    row("gross / g".into(), &|c| {
        read(c, ReadingName::Gross, c.spec.gross.as_ref().map(number))
    });
    row("tare / g".into(), &|c| {
        read(c, ReadingName::Tare, c.spec.tare.as_ref().map(number))
    });
    row("final / mL".into(), &|c| {
        let is = c.spec.final_reading.as_ref().map(number);
        read(c, ReadingName::Final, is)
    });
    row("initial / mL".into(), &|c| {
        read(c, ReadingName::Initial, c.spec.initial.as_ref().map(number))
    });
    row("titre / mL".into(), &|c| Some(c.titre.clone().into()));
    row(format!("alone / ({unit})"), &|c| {
        c.value.clone().map(RunCell::from)
    });
    row("counts".into(), &|c| {
        let said = match c.status {
            RunStatus::Counts => "yes",
            RunStatus::Rough => "rough",
            RunStatus::Blank => "blank",
            RunStatus::SetAside(_) => "set aside",
        };
        Some(said.to_string().into())
    });
    RunTable {
        runs: columns.iter().map(|c| c.name.clone()).collect(),
        rows,
    }
}

/// What was corrected, why a run does not count, what was remarked.
fn notes(column: &Column<'_>) -> Vec<String> {
    let mut notes: Vec<String> = column
        .spec
        .corrected
        .iter()
        .map(|c| {
            let by =
                c.by.as_deref()
                    .map(|by| format!(", by {by}"))
                    .unwrap_or_default();
            format!(
                "Run {}: the {} was {} at first{by}: {}",
                column.name,
                serde_json::to_value(c.reading)
                    .ok()
                    .and_then(|v| v.as_str().map(|s| format!("{s} reading")))
                    .unwrap_or_default(),
                c.was,
                c.reason
            )
        })
        .collect();
    if let RunStatus::SetAside(reason) = column.status {
        notes.push(format!("Run {} is set aside: {reason}", column.name));
    }
    if let Some(remark) = &column.spec.remark {
        notes.push(format!("Run {}: “{remark}”", column.name));
    }
    notes
}

fn results(outcome: &Outcome) -> Vec<WorkedResult> {
    let budgets = from_evaluation::budgets(outcome);
    let stated = |value: f64, expanded: &metrology::Expanded, unit: &str| {
        let r = rounded(value, expanded.expanded_uncertainty);
        [
            r.value_text,
            r.uncertainty_text,
            unit.to_string(),
            format!("{:.2}", expanded.coverage_factor),
        ]
    };
    match outcome {
        Outcome::Standardization { evaluation, .. } => budgets
            .into_iter()
            .map(|budget| WorkedResult {
                name: budget.of.clone(),
                stated: stated(evaluation.concentration(), &evaluation.expanded, "mol/L"),
                worked: Worked::of(
                    &evaluation.formula,
                    &evaluation.budget,
                    &evaluation.expanded,
                    (1.0, "mol/L"),
                ),
                budget,
            })
            .collect(),
        Outcome::Assay { assay, .. } => assay
            .samples
            .iter()
            .filter_map(|sample| sample.results.first())
            .zip(budgets)
            .map(|(result, budget)| WorkedResult {
                name: budget.of.clone(),
                stated: stated(result.value, &result.expanded, &result.unit),
                worked: Worked::of(
                    &result.formula,
                    &result.budget,
                    &result.expanded,
                    (result.factor, &result.unit),
                ),
                budget,
            })
            .collect(),
    }
}

const TEXT: Type = Type::of(Face::Text, 8.5, Ink::Dark);
const SMALL: Type = Type::of(Face::Text, 7.5, Ink::Quiet);

/// A worked solution as PDF/A-3. The same sheet gives the same bytes.
///
/// # Errors
/// [`CertificateError`].
pub fn working_pdf(sheet: &WorkingSheet) -> Result<Vec<u8>, CertificateError> {
    let mut paper = Paper::new(A4)?;
    let mut y = head(&mut paper, sheet);
    for table in &sheet.runs {
        y = run_table(&mut paper, y, table) + 10.0;
    }
    for note in &sheet.notes {
        y = turned(&mut paper, y);
        y = paper.part(Part::Paragraph, |p| {
            paragraph(p, (LEFT, y), RIGHT - LEFT, SMALL, 10.5, note)
        });
    }
    for (index, result) in sheet.results.iter().enumerate() {
        if index > 0 {
            paper.new_page();
            y = TOP;
        }
        y = one(&mut paper, y + 16.0, result);
    }
    feet(&mut paper, sheet);
    let about = About {
        title: format!("Working of {}", sheet.determination.name()),
        subject: sheet.title.clone(),
        author: sheet.laboratory.clone(),
        at: sheet.at,
        identity: format!("working {} {}", sheet.determination, sheet.at),
        program: notebook::PROGRAM.into(),
    };
    paper.finish(&about, None)
}

/// The next line, on a new page if this one is full.
fn turned(paper: &mut Paper, y: f32) -> f32 {
    if y > BOTTOM {
        paper.new_page();
        TOP
    } else {
        y
    }
}

fn head(paper: &mut Paper, sheet: &WorkingSheet) -> f32 {
    paper.part(Part::Paragraph, |p| {
        p.text((LEFT, TOP), QUIET, &sheet.laboratory)
    });
    let title = format!("Working of {}", sheet.determination.name());
    paper.part(Part::Heading(1, title.clone()), |p| {
        let set = Type::of(Face::Text, 21.0, Ink::Dark);
        let shown = p.faces.cut_to(set.face, set.size, RIGHT - LEFT, &title);
        p.text((LEFT, TOP + 26.0), set, &shown)
    });
    let mut y = TOP + 44.0;
    for line in [&sheet.title, &sheet.by, &sheet.begun] {
        if !line.is_empty() {
            let set = Type::of(Face::Text, 10.0, Ink::Quiet);
            y = paper.part(Part::Paragraph, |p| {
                paragraph(p, (LEFT, y), RIGHT - LEFT, set, 14.0, line)
            });
        }
    }
    y + 16.0
}

fn run_table(paper: &mut Paper, mut y: f32, table: &RunTable) -> f32 {
    const NAME: f32 = 30.0 * MM;
    let step = (RIGHT - LEFT - NAME) / ACROSS as f32;
    let height = LEADING * (table.rows.len() as f32 + 1.0);
    if y + height > BOTTOM {
        paper.new_page();
        y = TOP;
    }
    let right = |index: usize| LEFT + NAME + step * (index as f32 + 1.0);
    let fitted = |p: &mut Paper, text: &str, set: Type| {
        let text = p.faces.drawable(set.face, text);
        p.faces.cut_to(set.face, set.size, step - 2.0 * MM, &text)
    };
    paper.part(Part::Table, |paper| {
        paper.part(Part::Row, |p| {
            p.part(Part::ColumnHead, |p| p.text((LEFT, y), QUIET, "run"));
            for (index, run) in table.runs.iter().enumerate() {
                p.part(Part::ColumnHead, |p| {
                    let text = fitted(p, run, QUIET);
                    p.text_to((right(index), y), QUIET, &text)
                });
            }
        });
        paper.rule((LEFT, y + 4.0), RIGHT - LEFT, Ink::Hairline);
        for (name, cells) in &table.rows {
            y += LEADING;
            paper.part(Part::Row, |p| {
                p.part(Part::RowHead, |p| p.text((LEFT, y), QUIET, name));
                for (index, cell) in cells.iter().enumerate() {
                    p.part(Part::Cell, |p| {
                        let text = fitted(p, &cell.is, TEXT);
                        let width = p.text_to((right(index), y), TEXT, &text);
                        if let Some(was) = &cell.was {
                            let end = right(index) - width - 1.2 * MM;
                            let struck = p.text_to((end, y), SMALL, was);
                            p.rule((end - struck, y - 2.4), struck, Ink::Quiet);
                        }
                    });
                }
            });
        }
    });
    y + LEADING
}

fn one(paper: &mut Paper, y: f32, result: &WorkedResult) -> f32 {
    let mut y = if y + 90.0 > BOTTOM {
        paper.new_page();
        TOP
    } else {
        y
    };
    let [value, u, unit, k] = &result.stated;
    paper.part(Part::Paragraph, |p| p.text((LEFT, y), QUIET, &result.name));
    y += 26.0;
    paper.part(Part::Paragraph, |p| {
        let mut x = LEFT;
        x += p.text((x, y), Type::of(Face::Light, 26.0, Ink::Dark), value) + 6.0;
        let set = Type::of(Face::Text, 11.0, Ink::Dark);
        p.text((x, y), set, &format!("± {u} {unit}, k = {k}"))
    });
    y = given(paper, y + 30.0, result);
    y = steps(paper, y + 20.0, result);
    y = turned_for(paper, y + 20.0, 170.0);
    y = budget::heading(paper, y, "How sure that is");
    y = budget::bars(paper, y, &result.budget);
    y = budget::inputs(paper, y + 12.0, &result.budget) + 14.0;
    for line in &result.worked.closing {
        y = turned(paper, y);
        y = paper.part(Part::Paragraph, |p| {
            paragraph(p, (LEFT, y), RIGHT - LEFT, TEXT, LEADING, line)
        });
    }
    y
}

/// The place for something so high, on a new page if this one has no room.
fn turned_for(paper: &mut Paper, y: f32, height: f32) -> f32 {
    if y + height > BOTTOM {
        paper.new_page();
        TOP
    } else {
        y
    }
}

fn given(paper: &mut Paper, y: f32, result: &WorkedResult) -> f32 {
    const VALUE: f32 = 74.0 * MM;
    const WHAT: f32 = 78.0 * MM;
    let y = turned_for(paper, y, 60.0);
    let mut y = budget::heading(paper, y, "Given");
    paper.part(Part::Table, |paper| {
        for given in &result.worked.given {
            y = turned(paper, y);
            let from = y;
            paper.part(Part::Row, |p| {
                p.part(Part::RowHead, |p| {
                    let text = p.faces.drawable(TEXT.face, &given.symbol);
                    let text = p.faces.cut_to(TEXT.face, TEXT.size, 52.0 * MM, &text);
                    symbols::line(p, (LEFT, from), TEXT, &text)
                });
                p.part(Part::Cell, |p| {
                    p.text_to((LEFT + VALUE, from), TEXT, &typeset(&given.value))
                });
                p.part(Part::Cell, |p| {
                    let what = format!("{} [{}]", given.what, given.source);
                    y = paragraph(
                        p,
                        (LEFT + WHAT, from),
                        RIGHT - LEFT - WHAT,
                        SMALL,
                        11.0,
                        &what,
                    );
                });
            });
            y += 1.5;
        }
    });
    y += 4.0;
    for (index, source) in result.worked.sources.iter().enumerate() {
        y = turned(paper, y);
        y = paper.part(Part::Paragraph, |p| {
            p.text((LEFT, y), SMALL, &format!("[{}]", index + 1));
            paragraph(
                p,
                (LEFT + 8.0 * MM, y),
                RIGHT - LEFT - 8.0 * MM,
                SMALL,
                10.0,
                source,
            )
        });
    }
    y
}

fn steps(paper: &mut Paper, y: f32, result: &WorkedResult) -> f32 {
    const EQUATION: f32 = LEFT + 8.0 * MM;
    let y = turned_for(paper, y, 70.0);
    let mut y = budget::heading(paper, y, "Step by step");
    for (index, step) in result.worked.steps.iter().enumerate() {
        y = turned_for(paper, y, 34.0);
        y = paper.part(Part::Paragraph, |p| {
            p.text((LEFT, y), SMALL, &format!("{}.", index + 1));
            paragraph(p, (EQUATION, y), RIGHT - EQUATION, SMALL, 11.5, &step.what)
        });
        let sides = [
            Some(format!("{} = {}", step.symbol, step.in_symbols)),
            step.in_numbers.as_ref().map(|n| format!("= {n}")),
            Some(format!("= {}", step.value)),
        ];
        for side in sides.into_iter().flatten() {
            y = turned(paper, y);
            y = paper.part(Part::Paragraph, |p| {
                lines(
                    p,
                    (EQUATION, y),
                    RIGHT - EQUATION,
                    TEXT,
                    11.5,
                    &typeset(&side),
                    symbols::line,
                )
            });
        }
        y += 5.0;
    }
    y
}

fn feet(paper: &mut Paper, sheet: &WorkingSheet) {
    let pages = paper.pages();
    let set = Type::of(Face::Text, 6.5, Ink::Quiet);
    for page in 0..pages {
        let y = A4.1 - 17.0 * MM;
        let said = format!(
            "{}, {}, as the record stands; computed by {}. This is a working, not a certificate.",
            sheet.determination.name(),
            sheet.title,
            notebook::PROGRAM
        );
        let said = paper.faces.drawable(set.face, &said);
        let said = paper
            .faces
            .cut_to(set.face, set.size, RIGHT - LEFT - 20.0 * MM, &said);
        paper.foot(page, (LEFT, y), set, &said);
        let number = format!("{} / {pages}", page + 1);
        let width = paper.faces.width(set.face, set.size, &number);
        paper.foot(page, (RIGHT - width, y), set, &number);
    }
}
