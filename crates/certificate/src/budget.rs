//! The pages after the first: what the uncertainty is made of, and the runs.

use crate::document::{BOTTOM, LEFT, QUIET, RIGHT, TOP, paragraph};
use crate::paper::{Ink, MM, Paper, Part, Type};
use crate::sheet::{BudgetSheet, CertificateSheet, RunLine};
use crate::typeface::Face;
use crate::words::typeset;
use report::{raised, rounded, significant};

/// Inputs below this share of the variance share the last line.
const SMALLEST: f64 = 0.0005;
const TEXT: Type = Type::of(Face::Text, 8.5, Ink::Dark);
const STRONG: Type = Type::of(Face::Strong, 8.5, Ink::Dark);
const LEADING: f32 = 13.0;

pub(crate) fn pages(paper: &mut Paper, sheet: &CertificateSheet) {
    paper.new_page();
    paper.part(Part::Paragraph, |p| {
        p.text(
            (LEFT, TOP),
            QUIET,
            &format!("Certificate {}: {}", sheet.certificate.name(), sheet.title),
        )
    });
    let mut y = TOP + 28.0;
    if sheet.budgets.is_empty() {
        let said = "The budget is not printed: another version of the program computed these numbers, and this one comes to \
                    others.";
        paper.part(Part::Paragraph, |p| {
            paragraph(p, (LEFT, y), RIGHT - LEFT, TEXT, LEADING, said)
        });
        return;
    }
    for budget in &sheet.budgets {
        if y + 170.0 > BOTTOM {
            paper.new_page();
            y = TOP;
        }
        y = heading(
            paper,
            y,
            &format!("What the uncertainty of the {} is made of", budget.of),
        );
        y = bars(paper, y, budget);
        y = inputs(paper, y + 12.0, budget) + 26.0;
    }
    runs(paper, y, sheet);
}

pub(crate) fn heading(paper: &mut Paper, y: f32, title: &str) -> f32 {
    paper.part(Part::Heading(2, title.to_string()), |p| {
        paragraph(
            p,
            (LEFT, y),
            RIGHT - LEFT,
            Type::of(Face::Text, 14.0, Ink::Dark),
            18.0,
            title,
        )
    }) + 6.0
}

pub(crate) fn bars(paper: &mut Paper, mut y: f32, budget: &BudgetSheet) -> f32 {
    const NAME: f32 = 62.0 * MM;
    let whole = RIGHT - LEFT - NAME - 14.0 * MM;
    let shown = budget.groups.iter().filter(|(_, share)| *share >= 0.005);
    paper.part(Part::Table, |paper| {
        for (index, (group, share)) in shown.enumerate() {
            if y > BOTTOM {
                paper.new_page();
                y = TOP;
            }
            paper.part(Part::Row, |p| {
                p.part(Part::RowHead, |p| {
                    let group = p.faces.drawable(Face::Text, group);
                    let name = p
                        .faces
                        .cut_to(Face::Text, TEXT.size, NAME - 3.0 * MM, &group);
                    p.text((LEFT, y), TEXT, &name)
                });
                p.bar((LEFT + NAME, y - 6.2, whole, 6.2), Ink::Glass);
                let ink = if index == 0 { Ink::Pink } else { Ink::Quiet };
                p.bar(
                    (
                        LEFT + NAME,
                        y - 6.2,
                        whole * share.clamp(0.0, 1.0) as f32,
                        6.2,
                    ),
                    ink,
                );
                p.part(Part::Cell, |p| {
                    p.text_to((RIGHT, y), TEXT, &format!("{:.0} %", 100.0 * share))
                });
            });
            y += 14.0;
        }
    });
    y
}

/// A column: its heading, where it ends (numbers) or begins (words).
struct Column {
    head: &'static str,
    at: f32,
    number: bool,
}

const fn words(head: &'static str, at: f32) -> Column {
    Column {
        head,
        at,
        number: false,
    }
}

const fn number(head: &'static str, at: f32) -> Column {
    Column {
        head,
        at,
        number: true,
    }
}

fn head_row(paper: &mut Paper, y: f32, columns: &[Column]) -> f32 {
    paper.part(Part::Row, |p| {
        for column in columns {
            p.part(Part::ColumnHead, |p| {
                if column.number {
                    p.text_to((column.at, y), QUIET, column.head)
                } else {
                    p.text((column.at, y), QUIET, column.head)
                }
            });
        }
    });
    paper.rule((LEFT, y + 5.0), RIGHT - LEFT, Ink::Hairline);
    y + 5.0 + LEADING
}

fn table_row(paper: &mut Paper, y: f32, columns: &[Column], cells: &[(Type, String)]) -> f32 {
    let mut below = y;
    paper.part(Part::Row, |p| {
        for (index, (column, (set, text))) in columns.iter().zip(cells).enumerate() {
            p.part(Part::Cell, |p| {
                let text = p.faces.drawable(set.face, text);
                if column.number {
                    p.text_to((column.at, y), *set, &text);
                } else {
                    // Words end where the next column begins; a number needs about 20 mm.
                    let next = columns.get(index + 1);
                    let end = next.map_or(RIGHT, |n| {
                        if n.number {
                            n.at - 21.0 * MM
                        } else {
                            n.at - 2.0 * MM
                        }
                    });
                    // What is long goes on in the next line: two inputs differ in their last words.
                    for (n, line) in p
                        .faces
                        .lines(set.face, set.size, end - column.at, &text)
                        .iter()
                        .enumerate()
                    {
                        let at = y + n as f32 * (LEADING - 2.5);
                        below = below.max(at);
                        p.text((column.at, at), *set, line);
                    }
                }
            });
        }
    });
    below + LEADING
}

fn figure(value: f64, digits: u32) -> String {
    raised(&significant(value, digits))
}

pub(crate) fn inputs(paper: &mut Paper, y: f32, budget: &BudgetSheet) -> f32 {
    let columns = [
        words("input", LEFT),
        number("value", RIGHT - 66.0 * MM),
        number("u", RIGHT - 48.0 * MM),
        words("unit", RIGHT - 46.0 * MM),
        number("contribution", RIGHT - 12.0 * MM),
        number("share", RIGHT),
    ];
    let shown: Vec<_> = budget
        .inputs
        .iter()
        .filter(|i| i.share.abs() >= SMALLEST)
        .collect();
    let rest = budget.inputs.len() - shown.len();
    paper.part(Part::Table, |paper| {
        let mut y = head_row(paper, y, &columns);
        let turn = |paper: &mut Paper, y: &mut f32| {
            if *y > BOTTOM {
                paper.new_page();
                *y = head_row(paper, TOP, &columns);
            }
        };
        for input in shown {
            turn(paper, &mut y);
            let r = rounded(input.value, input.standard_uncertainty);
            let value = if input.value == 0.0 {
                "0".into()
            } else {
                raised(&r.value_text)
            };
            let cells = [
                (TEXT, typeset(&input.what)),
                (TEXT, value),
                (TEXT, raised(&r.uncertainty_text)),
                (
                    QUIET,
                    if input.unit == "1" {
                        String::new()
                    } else {
                        typeset(&input.unit)
                    },
                ),
                (TEXT, figure(input.contribution, 2)),
                (TEXT, format!("{:.1} %", 100.0 * input.share)),
            ];
            y = table_row(paper, y, &columns, &cells);
        }
        if rest > 0 {
            turn(paper, &mut y);
            let share: f64 = budget
                .inputs
                .iter()
                .filter(|i| i.share.abs() < SMALLEST)
                .map(|i| i.share)
                .sum();
            let cells = [
                (
                    QUIET,
                    format!("{rest} further inputs, each below {} %", 100.0 * SMALLEST),
                ),
                (QUIET, String::new()),
                (QUIET, String::new()),
                (QUIET, String::new()),
                (QUIET, String::new()),
                (QUIET, format!("{:.1} %", 100.0 * share)),
            ];
            y = table_row(paper, y, &columns, &cells);
        }
        turn(paper, &mut y);
        let cells = [
            (STRONG, "combined standard uncertainty".into()),
            (TEXT, String::new()),
            (TEXT, String::new()),
            (QUIET, budget.unit.clone()),
            (STRONG, figure(budget.combined, 2)),
            (TEXT, String::new()),
        ];
        paper.rule((LEFT, y - LEADING + 4.0), RIGHT - LEFT, Ink::Hairline);
        table_row(paper, y + 3.0, &columns, &cells)
    })
}

fn runs(paper: &mut Paper, y: f32, sheet: &CertificateSheet) {
    if sheet.runs.is_empty() {
        return;
    }
    let mut y = y;
    if y + 80.0 > BOTTOM {
        paper.new_page();
        y = TOP;
    }
    y = heading(paper, y, "Runs");
    let value = sheet
        .results
        .first()
        .map(|r| (r.stated.expanded_uncertainty, r.stated.unit.as_str()));
    let columns = [
        words("run", LEFT),
        number("titre / mL", LEFT + 52.0 * MM),
        number("alone", LEFT + 78.0 * MM),
        words("", LEFT + 84.0 * MM),
    ];
    paper.part(Part::Table, |paper| {
        y = head_row(paper, y, &columns);
        for run in &sheet.runs {
            if y > BOTTOM {
                paper.new_page();
                y = head_row(paper, TOP, &columns);
            }
            y = table_row(paper, y, &columns, &run_cells(run, value));
        }
    });
}

fn run_cells(run: &RunLine, value: Option<(f64, &str)>) -> [(Type, String); 4] {
    let set = if run.counts { TEXT } else { QUIET };
    let name = run
        .of
        .as_ref()
        .map_or_else(|| run.name.clone(), |of| format!("{of}, {}", run.name));
    let alone = match (run.value, value) {
        (Some(v), Some((u, unit))) => format!("{} {unit}", rounded(v, u).value_text),
        _ => String::new(),
    };
    [
        (set, name),
        (set, run.titre.clone()),
        (set, alone),
        (QUIET, run.status.clone()),
    ]
}
