//! The worked solution: what is given, every step in symbols and in numbers, and how sure the result is.
//!
//! It is read off the formula of the result, so it cannot differ from what was computed.

use crate::account::Account;
use crate::lines::{WIDTH, clean, cut, fold, hanging, hanging_formula, left, right, width};
use crate::numbers::{
    by_uncertainty, decimals, degrees_of_freedom, in_working, percent, significant,
};
use crate::style::Style;
use metrology::{Budget, BudgetLine, Formula, Step};

/// The worked solution of an account, within [`crate::WIDTH`] columns.
pub fn working(account: &Account<'_>, style: Style) -> String {
    let evaluation = account.evaluation;
    let formula = &evaluation.formula;
    let mut lines = vec![
        style.strong(cut(
            &format!("Working: {}", clean(&evaluation.sheet.title)),
            WIDTH,
        )),
        style.quiet(cut(&clean(&evaluation.reaction), WIDTH)),
    ];
    lines.push(String::new());
    lines.extend(body(formula, &evaluation.budget, style));
    lines.push(String::new());
    lines.extend(closing(account, style));
    let mut text = String::new();
    for line in lines {
        text.push_str(line.trim_end());
        text.push('\n');
    }
    text
}

/// What is given, every step, and how sure the result is: the working of any formula.
pub(crate) fn body(formula: &Formula, budget: &Budget, style: Style) -> Vec<String> {
    let mut lines = Vec::new();
    lines.push(style.strong("Given"));
    lines.extend(given(formula, style));
    lines.push(String::new());
    lines.push(style.strong("Step by step"));
    let steps = steps_once(formula);
    let numbered = steps.len().to_string().len();
    for (i, step) in steps.iter().enumerate() {
        lines.extend(written_step(i + 1, numbered, step, style));
    }
    lines.push(String::new());
    lines.push(style.strong("How sure that is"));
    lines.extend(uncertainty(formula, budget, style));
    lines
}

/// Value and unit, the unit left out for plain numbers.
fn with_unit(number: &str, unit: &str) -> String {
    if unit == "1" {
        number.to_string()
    } else {
        format!("{number} {unit}")
    }
}

/// Widest symbol to which the others are aligned.
const SYMBOL: usize = 14;

/// The inputs with their values, and where each comes from; sources are numbered, as many inputs share one.
fn given(formula: &Formula, style: Style) -> Vec<String> {
    let inputs = formula.inputs();
    let values: Vec<String> = inputs
        .iter()
        .map(|input| {
            let number = input.written.as_ref().map_or_else(
                || in_working(input.value),
                |w| w.replacen('-', "\u{2212}", 1),
            );
            with_unit(&number, input.unit.symbol())
        })
        .collect();
    let aligned = |widest: usize, texts: &mut dyn Iterator<Item = usize>| {
        texts.filter(|w| *w <= widest).max().unwrap_or(0)
    };
    let symbols = aligned(SYMBOL, &mut inputs.iter().map(|i| width(&i.symbol)));
    let columns = aligned(24, &mut values.iter().map(|v| width(v)));
    let mut sources: Vec<String> = Vec::new();
    let mut lines = Vec::new();
    for (input, value) in inputs.iter().zip(values) {
        let origin = input.origin.describe();
        let source = sources
            .iter()
            .position(|s| *s == origin)
            .unwrap_or_else(|| {
                sources.push(origin);
                sources.len() - 1
            });
        let equation = format!("{} = {value}", left(&input.symbol, symbols));
        let head = format!("  {}  ", left(&equation, symbols + 3 + columns));
        let what = format!("{} [{}]", input.description, source + 1);
        for (i, line) in hanging(&head, &what).into_iter().enumerate() {
            match (i, line.strip_prefix(head.as_str())) {
                (0, Some(rest)) => lines.push(format!("{head}{}", style.quiet(rest))),
                _ => lines.push(style.quiet(line)),
            }
        }
    }
    let digits = sources.len().to_string().len() + 2;
    for (i, source) in sources.iter().enumerate() {
        let head = format!("  {} ", right(&format!("[{}]", i + 1), digits));
        lines.extend(
            hanging(&head, source)
                .into_iter()
                .map(|line| style.quiet(line)),
        );
    }
    lines
}

/// The steps, each written once: runs share those that do not depend on the run.
pub(crate) fn steps_once(formula: &Formula) -> Vec<Step> {
    let mut once: Vec<Step> = Vec::new();
    for step in formula.steps() {
        let known = once.iter().any(|s| {
            s.symbol == step.symbol
                && s.in_symbols == step.in_symbols
                && s.in_numbers == step.in_numbers
        });
        if !known {
            once.push(step);
        }
    }
    once
}

fn written_step(number: usize, digits: usize, step: &Step, style: Style) -> Vec<String> {
    let indent = digits + 4;
    let mut lines = Vec::new();
    let head = format!("  {}. ", right(&number.to_string(), digits));
    for line in hanging(&head, &step.description) {
        lines.push(style.quiet(line));
    }
    let equals = format!("{}{} = ", " ".repeat(indent), step.symbol);
    let next = format!("{}= ", " ".repeat(width(&equals).saturating_sub(2)));
    let value = with_unit(&in_working(step.value.value), step.value.unit.symbol());
    lines.extend(hanging_formula(&equals, &step.in_symbols));
    if step.in_numbers != step.in_symbols && step.in_numbers != value {
        lines.extend(hanging_formula(&next, &step.in_numbers));
    }
    lines.extend(hanging_formula(&next, &value));
    lines
}

/// A share below this is left over from the rounding of an input that cancels.
const ROUNDING: f64 = 1e-20;

/// The budget line by line, and how it adds up.
fn uncertainty(formula: &Formula, budget: &Budget, style: Style) -> Vec<String> {
    let heads = [
        "input",
        "u",
        "shape",
        "sensitivity",
        "contribution",
        "share",
    ];
    let (cancels, mut order): (Vec<&BudgetLine>, Vec<&BudgetLine>) = budget
        .lines
        .iter()
        .partition(|line| line.share.abs() < ROUNDING);
    order.sort_by(|a, b| b.share.total_cmp(&a.share));
    let rows: Vec<[String; 6]> = order
        .iter()
        .map(|line| {
            let input = &formula.inputs()[line.input];
            [
                cut(&input.symbol, SYMBOL + 6),
                with_unit(
                    &significant(line.standard_uncertainty, 3),
                    input.unit.symbol(),
                ),
                input.distribution.name().to_string(),
                significant(line.sensitivity, 4),
                significant(line.contribution, 3),
                percent(line.share),
            ]
        })
        .collect();
    let widths: Vec<usize> = (0..heads.len())
        .map(|i| {
            rows.iter()
                .map(|r| width(&r[i]))
                .chain([width(heads[i])])
                .max()
                .unwrap_or(0)
        })
        .collect();
    let line = |cells: [&str; 6]| {
        let mut text = String::from("  ");
        for (i, cell) in cells.iter().enumerate() {
            // Words to the left, numbers to the right.
            text.push_str(&if i == 0 || i == 2 {
                left(cell, widths[i])
            } else {
                right(cell, widths[i])
            });
            text.push_str("  ");
        }
        cut(text.trim_end(), WIDTH)
    };
    let mut lines = vec![style.quiet(line(heads))];
    lines.extend(rows.iter().map(|r| line(r.each_ref().map(String::as_str))));
    lines.extend(
        fold(
            &format!(
                "Sensitivity: change of the result, in mol/L, for one unit of the input. Contribution: sensitivity \
                 times u, in mol/L. Share: of the variance.{}",
                without_effect(formula, &cancels)
            ),
            WIDTH - 2,
        )
        .into_iter()
        .map(|text| style.quiet(format!("  {text}"))),
    );
    lines
}

fn without_effect(formula: &Formula, cancels: &[&BudgetLine]) -> String {
    let symbols: Vec<&str> = cancels
        .iter()
        .map(|line| formula.inputs()[line.input].symbol.as_str())
        .collect();
    if symbols.is_empty() {
        String::new()
    } else {
        format!(" Without effect, as they cancel: {}.", symbols.join(", "))
    }
}

fn closing(account: &Account<'_>, style: Style) -> Vec<String> {
    let evaluation = account.evaluation;
    let (budget, expanded) = (&evaluation.budget, &evaluation.expanded);
    let unit = budget.unit.symbol();
    let u = significant(budget.standard_uncertainty, 3);
    let k = decimals(expanded.coverage_factor, 3);
    let rounded = by_uncertainty(budget.value, expanded.expanded_uncertainty);
    let mut lines = vec![
        format!("  u(c) = \u{221a}(sum of the squared contributions) = {u} {unit}"),
        format!(
            "  \u{3bd}_eff = u(c)^4 / sum of (contribution^4 / its \u{3bd}) = {}",
            degrees_of_freedom(budget.effective_degrees_of_freedom)
        ),
        match expanded.probability {
            Some(p) => format!(
                "  k    = {k}, two-sided Student t for {} % at \u{3bd}_eff",
                in_working(p * 100.0)
            ),
            None => format!("  k    = {k}, fixed"),
        },
        format!(
            "  U    = k \u{b7} u(c) = {k} \u{b7} {u} {unit} = {} {unit}",
            significant(expanded.expanded_uncertainty, 3)
        ),
        String::new(),
        style.strong_accent(format!("  c = {} {unit}", rounded.plus_minus)),
    ];
    if let Some(factor) = &evaluation.factor {
        let rounded = by_uncertainty(factor.value, factor.expanded_uncertainty);
        lines.push(format!(
            "  f = c / ({}) = {} \u{b1} {}",
            factor.nominal_written, rounded.value_text, rounded.uncertainty_text
        ));
    }
    if let Some(set) = &evaluation.atomic_weights {
        lines.push(String::new());
        lines.extend(
            hanging("  ", &format!("Atomic weights: {set}."))
                .into_iter()
                .map(|line| style.quiet(line)),
        );
    }
    lines
}
