//! The terminal report: what was done, the runs, the result in words and in digits, and what to think of it.

use crate::account::{Account, Simulated, by_weight};
use crate::budget_bars::budget_bars;
use crate::heading::heading;
use crate::lines::{hanging, left, width};
use crate::numbers::{
    by_uncertainty, decimals, degrees_of_freedom, percent, significant, thousands, times_in_100,
};
use crate::run_table::run_table;
use crate::style::Style;
use metrology::monte_carlo::numerical_tolerance;
use metrology::rounding::{TieRule, round_to_uncertainty};
use titrimetry::finding::{Likelihood, Severity};
use titrimetry::{Finding, RuleProfile};

/// The report of an account, within [`crate::WIDTH`] columns.
pub fn terminal(account: &Account<'_>, style: Style) -> String {
    let mut text = String::new();
    let mut section = |title: &str, lines: Vec<String>| {
        if lines.is_empty() {
            return;
        }
        if !title.is_empty() {
            text.push('\n');
            text.push_str(&style.strong(title));
            text.push('\n');
        }
        for line in lines {
            text.push_str(line.trim_end());
            text.push('\n');
        }
    };
    let evaluation = account.evaluation;
    section("", heading(evaluation, style));
    section(
        "Runs",
        run_table(evaluation, style)
            .lines()
            .map(str::to_string)
            .collect(),
    );
    section("Result", result(account, style));
    section("Findings", findings(account, style));
    section(
        "Where the uncertainty comes from, as shares of the variance",
        budget_bars(&evaluation.formula, &evaluation.budget, style),
    );
    section(
        "How the runs scatter",
        prose(&evaluation.scatter.describe()),
    );
    section(
        "Simulation of the same formula",
        account
            .simulated
            .map(|s| simulation(s, "mol/L", 1.0))
            .unwrap_or_default(),
    );
    section("What would help most", advice(account, style));
    section("Taken for granted", assumptions(account));
    text
}

fn prose(text: &str) -> Vec<String> {
    hanging("  ", text)
}

/// The sentence first, then the digits.
fn result(account: &Account<'_>, style: Style) -> Vec<String> {
    let evaluation = account.evaluation;
    let mut lines: Vec<String> = prose(&sentence(account))
        .into_iter()
        .map(|line| style.strong_accent(line))
        .collect();
    lines.push(String::new());
    let (c, u) = (
        evaluation.concentration(),
        evaluation.budget.standard_uncertainty,
    );
    let expanded = &evaluation.expanded;
    let reported = by_uncertainty(c, expanded.expanded_uncertainty);
    let relative = |x: f64| {
        if c == 0.0 {
            String::new()
        } else {
            percent(x / c.abs())
        }
    };
    let mut row = |what: &str, symbol: &str, value: String, beside: String| {
        lines.push(format!(
            "  {}  {}  {}  {}",
            style.quiet(left(what, 23)),
            left(symbol, 5),
            left(&value, 24),
            style.quiet(beside)
        ));
    };
    row(
        "concentration",
        "c",
        format!("{} mol/L", reported.value_text),
        String::new(),
    );
    row(
        "standard uncertainty",
        "u",
        format!("{} mol/L", by_uncertainty(c, u).uncertainty_text),
        relative(u),
    );
    row(
        "expanded uncertainty",
        "U",
        format!("{} mol/L", reported.uncertainty_text),
        relative(expanded.expanded_uncertainty),
    );
    row(
        "coverage factor",
        "k",
        decimals(expanded.coverage_factor, 2),
        match expanded.probability {
            Some(p) => format!("Student t for {}", whole_percent(p)),
            None => "fixed; no probability is claimed".into(),
        },
    );
    row(
        "degrees of freedom",
        "\u{3bd}_eff",
        degrees_of_freedom(evaluation.budget.effective_degrees_of_freedom),
        String::new(),
    );
    if let Some(factor) = &evaluation.factor {
        let rounded = by_uncertainty(factor.value, factor.expanded_uncertainty);
        row(
            "factor",
            "f",
            format!("{} \u{b1} {}", rounded.value_text, rounded.uncertainty_text),
            format!("against nominal {}", factor.nominal_written),
        );
    }
    lines
}

/// The result in words.
fn sentence(account: &Account<'_>) -> String {
    let evaluation = account.evaluation;
    let expanded = &evaluation.expanded;
    let rounded = by_uncertainty(evaluation.concentration(), expanded.expanded_uncertainty);
    match expanded.probability {
        Some(p) => format!(
            "{} mol/L, and the true value lies within {} mol/L of it, {}.",
            rounded.value_text,
            rounded.uncertainty_text,
            times_in_100(p)
        ),
        None => format!(
            "{} mol/L, give or take {} mol/L ({} times the standard uncertainty).",
            rounded.value_text,
            rounded.uncertainty_text,
            significant(expanded.coverage_factor, 3)
        ),
    }
}

fn whole_percent(p: f64) -> String {
    let text = decimals(p * 100.0, 2);
    format!("{} %", text.trim_end_matches('0').trim_end_matches('.'))
}

/// The findings by weight, each with its next step, and the verdict of the profile.
fn findings(account: &Account<'_>, style: Style) -> Vec<String> {
    findings_of(account.findings, account.profile, style)
}

/// Findings of any determination, with the verdict of the profile.
pub(crate) fn findings_of(
    findings: &[Finding],
    profile: &RuleProfile,
    style: Style,
) -> Vec<String> {
    // Limits are the sample's own; they are no rule of the profile.
    let (out, broken): (Vec<&Finding>, Vec<&Finding>) = findings
        .iter()
        .filter(|f| f.severity == Severity::RuleBroken)
        .partition(|f| f.code == "limits-not-kept");
    let mut verdict = match broken.len() {
        0 => format!(
            "No rule of the profile \"{}\" (version {}) is broken.",
            profile.name, profile.version
        ),
        1 => format!(
            "One rule of the profile \"{}\" (version {}) is broken; under it the result is not to be used.",
            profile.name, profile.version
        ),
        n => format!(
            "{n} rules of the profile \"{}\" (version {}) are broken; under it the result is not to be used.",
            profile.name, profile.version
        ),
    };
    match out.iter().map(|f| f.samples.len().max(1)).sum::<usize>() {
        0 => {}
        1 => verdict += " One sample does not keep its limits.",
        n => verdict += &format!(" {n} samples do not keep their limits."),
    }
    let mut lines = prose(&verdict);
    if findings.is_empty() {
        lines.extend(prose("Nothing was found that speaks against the result."));
    }
    for finding in by_weight(findings) {
        let weight = match finding.severity {
            Severity::RuleBroken => "rule broken",
            Severity::Doubt => "doubt",
            Severity::Note => "note",
        };
        let head = format!("  {weight:<11}  ");
        for (i, line) in hanging(&head, &finding.message).into_iter().enumerate() {
            lines.push(match (i, line.strip_prefix(head.as_str())) {
                (0, Some(rest)) if finding.severity == Severity::RuleBroken => {
                    format!("  {}  {rest}", style.accent(left(weight, 11)))
                }
                (0, Some(rest)) => format!("  {}  {rest}", style.quiet(left(weight, 11))),
                _ => line,
            });
        }
        let indent = " ".repeat(width(&head));
        for cause in &finding.causes {
            let mark = match cause.likelihood {
                Likelihood::Likely => "would do it: ",
                Likelihood::TooLittle | Likelihood::WrongWay => "",
            };
            lines.extend(hanging(
                &format!("{indent}\u{b7} "),
                &format!("{mark}{}", cause.message),
            ));
            if !cause.next_step.is_empty() {
                lines.extend(hanging(&format!("{indent}  \u{2192} "), &cause.next_step));
            }
        }
        if !finding.next_step.is_empty() {
            lines.extend(hanging(&format!("{indent}\u{2192} "), &finding.next_step));
        }
    }
    lines
}

/// The simulation in words; numbers are divided by `factor` to be in the unit.
pub(crate) fn simulation(simulated: &Simulated, unit: &str, factor: f64) -> Vec<String> {
    let simulation = &simulated.simulation;
    let shortest = (simulation.shortest.lower, simulation.shortest.upper);
    let mut text = format!(
        "{} trials (seed {}): {}; shortest interval {}. ",
        thousands(simulation.trials, ' '),
        simulation.seed,
        simulated_interval(simulated, unit, factor),
        from_to(simulated, shortest, unit, factor),
    );
    text.push_str(&verdict(simulated));
    if simulation.failed > 0 {
        text.push_str(&format!(
            " {} trials gave no value and are left out.",
            thousands(simulation.failed, ' ')
        ));
    }
    prose(&text)
}

/// The simulated interval in words, as "95 % of the values lie from ... to ...".
pub(crate) fn simulated_interval(simulated: &Simulated, unit: &str, factor: f64) -> String {
    let symmetric = &simulated.simulation.symmetric;
    format!(
        "{} of the values lie from {}",
        whole_percent(simulated.simulation.probability),
        from_to(simulated, (symmetric.lower, symmetric.upper), unit, factor)
    )
}

/// Two ends, as good as the expanded uncertainty has digits.
fn from_to(simulated: &Simulated, ends: (f64, f64), unit: &str, factor: f64) -> String {
    let expanded = simulated.validation.first_order.expanded_uncertainty / factor;
    let digits = |x: f64| {
        round_to_uncertainty(x / factor, expanded, 2, TieRule::HalfEven)
            .map_or_else(|_| significant(x / factor, 4), |r| r.value_text)
    };
    format!("{} to {} {unit}", digits(ends.0), digits(ends.1))
}

/// What to do where first order is off.
pub(crate) const RATHER: &str = "Rather report the simulated interval.";

/// Whether first order is good enough, to two digits of the standard uncertainty or at least to one.
pub(crate) fn verdict(simulated: &Simulated) -> String {
    let Simulated {
        simulation,
        validation,
    } = simulated;
    let apart = validation.lower_difference.max(validation.upper_difference);
    let u = validation.first_order.expanded_uncertainty / validation.first_order.coverage_factor;
    // Whole per cents, rounded up: more digits would only show the noise of the trials.
    let of_expanded = 100.0 * apart / validation.first_order.expanded_uncertainty;
    let differ = format!(
        "the ends differ by less than {} % of U",
        decimals(of_expanded.floor() + 1.0, 0)
    );
    let error = simulation
        .symmetric_error
        .0
        .max(simulation.symmetric_error.1);
    if validation.validated && validation.settled {
        format!("First order is confirmed to two digits of u: {differ}.")
    } else if apart + 2.0 * error <= numerical_tolerance(u, 1) {
        format!("First order is confirmed to one digit of u, not for sure to two: {differ}.")
    } else if validation.settled {
        format!("First order is off: {differ}. {RATHER}")
    } else {
        format!("Too few trials to judge first order: {differ}.")
    }
}

fn advice(account: &Account<'_>, style: Style) -> Vec<String> {
    let mut lines = Vec::new();
    for advice in account.advice {
        let figures = |u: f64| significant(u, 2);
        let step = format!(
            "U {} \u{2192} {} mol/L",
            figures(advice.expanded_before),
            figures(advice.expanded_after)
        );
        let head = format!("  {}  ", left(&step, 27));
        for (i, line) in hanging(&head, &advice.action).into_iter().enumerate() {
            lines.push(match (i, line.strip_prefix(head.as_str())) {
                (0, Some(rest)) => format!("{}{rest}", style.quiet(&head)),
                _ => line,
            });
        }
    }
    lines
}

fn assumptions(account: &Account<'_>) -> Vec<String> {
    let evaluation = account.evaluation;
    let atomic = evaluation
        .atomic_weights
        .as_ref()
        .map(|set| format!("atomic weights: {set}"));
    evaluation
        .assumptions
        .iter()
        .cloned()
        .chain(atomic)
        .flat_map(|text| hanging("  \u{b7} ", &text))
        .collect()
}
