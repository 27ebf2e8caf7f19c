//! One sample in full: its runs, its results in words and digits, what limits them.

use super::section;
use super::table::chance;
use crate::account::Simulated;
use crate::budget_bars::budget_bars;
use crate::lines::{clean, cut, hanging, left, right, width};
use crate::numbers::{
    by_uncertainty, decimals, degrees_of_freedom, percent, significant, times_in_100,
};
use crate::style::Style;
use titrimetry::assay::{
    Addition, Assay, Conformity, DecisionRule, Reported, SampleOutcome, agreement,
};
use titrimetry::evaluation::RunStatus;

/// Widest name of a run in the table.
const NAME: usize = 18;

pub(super) fn sample(
    assay: &Assay,
    sample: &SampleOutcome,
    simulated: Option<&Simulated>,
    style: Style,
) -> Vec<String> {
    let mut lines = vec![
        String::new(),
        style.strong(format!("Sample {}", cut(&clean(&sample.spec.id), 60))),
    ];
    lines.extend(runs(sample, style));
    let mut body = Vec::new();
    for (i, result) in sample.results.iter().enumerate() {
        if i > 0 {
            body.push(String::new());
        }
        body.extend(
            hanging("  ", &sentence(result))
                .into_iter()
                .map(|line| style.strong_accent(line)),
        );
        body.extend(digits(result, style));
    }
    section(&mut lines, "Result", body, style);
    if let (Some(addition), Some(first)) = (&sample.addition, sample.results.first()) {
        section(
            &mut lines,
            "The line of found against added",
            line(addition, first, style),
            style,
        );
    }
    let judged = sample
        .conformity
        .iter()
        .map(conformity)
        .chain(sample.zeta.map(zeta));
    section(
        &mut lines,
        "Against what is asked",
        judged.flat_map(|text| hanging("  ", &text)).collect(),
        style,
    );
    if let Some(first) = sample.results.first() {
        let title = format!(
            "Where the uncertainty of the {} comes from, as shares of the variance",
            first.name
        );
        section(
            &mut lines,
            &title,
            budget_bars(&first.formula, &first.budget, style),
            style,
        );
    }
    let many = assay.method.titration.len() > 1;
    let scatter = sample.titrations.iter().flat_map(|t| {
        let head = if many {
            format!("{}: ", t.name)
        } else {
            String::new()
        };
        hanging("  ", &format!("{head}{}", t.scatter.describe()))
    });
    let agreement = agreement(&assay.method, sample);
    let limits = agreement.iter().flat_map(|a| {
        let unit = sample.results.first().map_or("", |r| r.unit.as_str());
        let text = format!(
            "Published limit: {} runs lie {} {unit} apart, {} {unit} {} ({}).",
            a.runs,
            significant(a.range, 2),
            significant(a.limit, 2),
            if a.range > a.limit {
                "would be allowed"
            } else {
                "are allowed"
            },
            clean(&a.source)
        );
        hanging("  ", &text)
    });
    let scatter = scatter.chain(limits).collect();
    section(&mut lines, "How the runs scatter", scatter, style);
    if let (Some(simulated), Some(first)) = (simulated, sample.results.first()) {
        let title = format!("Simulation of the {}", first.name);
        let text = crate::terminal::simulation(simulated, &first.unit, first.factor);
        section(&mut lines, &title, text, style);
    }
    lines
}

/// The points of a standard addition with its slope.
fn line(addition: &Addition, first: &Reported, style: Style) -> Vec<String> {
    let recovery = &addition.recovery;
    let rounded = by_uncertainty(recovery.value, recovery.expanded.expanded_uncertainty);
    let text = format!(
        "Recovery (slope) {} \u{b1} {} %: the content is the intercept over it. Additions span {} of the content.",
        rounded.value_text,
        rounded.uncertainty_text,
        significant(addition.span() / first.value, 2),
    );
    let mut lines = hanging("  ", &text);
    let head = |unit: &str| {
        format!(
            "  {}{}{}{}{}",
            left("run", NAME),
            right("added / mL", 12),
            right(&format!("added / {unit}"), 18),
            right(&format!("found / {unit}"), 18),
            right("off the line / mL", 19)
        )
    };
    lines.push(style.quiet(head(&first.unit)));
    for point in &addition.points {
        let value = |x: f64| one_more(x, first.standard_uncertainty);
        let off = if point.off < 0.0 { "\u{2212}" } else { "+" };
        lines.push(format!(
            "  {}{}{}{}{}",
            left(&cut(&clean(&point.run), NAME - 1), NAME),
            right(&decimals(point.volume, 3), 12),
            right(&value(point.added), 18),
            right(&value(point.found), 18),
            right(&format!("{off}{}", decimals(point.off.abs(), 3)), 19)
        ));
    }
    lines
}

fn runs(sample: &SampleOutcome, style: Style) -> Vec<String> {
    let first = sample.results.first();
    let several = sample.titrations.len() > 1;
    let names: Vec<String> = sample
        .runs
        .iter()
        .map(|r| cut(&clean(&r.name), NAME))
        .collect();
    let name_columns = names.iter().map(|n| width(n)).max().unwrap_or(3).max(3);
    let value_digits = |value: f64| {
        first.map_or_else(
            || significant(value, 5),
            |f| one_more(value, f.standard_uncertainty),
        )
    };
    let mut lines = Vec::new();
    let head = format!(
        "  {}  {}{}  {}",
        left("run", name_columns),
        if several {
            left("titration", 14)
        } else {
            String::new()
        },
        right("titre / mL", 22),
        match first.filter(|_| !several) {
            Some(first) => right(&format!("{} / {}", first.name, first.unit), 30),
            None => String::new(),
        }
    );
    lines.push(style.quiet(head.trim_end()));
    for (run, name) in sample.runs.iter().zip(&names) {
        let titres: Vec<String> = run
            .titres
            .iter()
            .map(|t| decimals(*t, run.titre_decimals))
            .collect();
        let note = match &run.status {
            RunStatus::Counts => String::new(),
            RunStatus::Rough => "rough, not averaged".into(),
            RunStatus::Blank => "blank".into(),
            RunStatus::SetAside(reason) => format!("set aside: {}", clean(reason)),
        };
        let value = if several {
            String::new()
        } else {
            run.value.map(value_digits).unwrap_or_default()
        };
        let line = format!(
            "  {}  {}{}  {}  {}",
            left(name, name_columns),
            if several {
                left(&cut(&run.titration, 13), 14)
            } else {
                String::new()
            },
            right(&titres.join("  "), 22),
            if several {
                String::new()
            } else {
                right(&value, 30)
            },
            style.quiet(&note)
        );
        lines.push(line.trim_end().to_string());
    }
    for titration in &sample.titrations {
        if let Some(blank) = titration.blank {
            let of = if several {
                format!(" of {}", titration.name)
            } else {
                String::new()
            };
            lines.push(style.quiet(format!("  blank{of}: {} mL", decimals(blank, 3))));
        }
    }
    lines
}

/// One digit more than the standard uncertainty leaves, so that runs can be compared.
fn one_more(value: f64, u: f64) -> String {
    if u > 0.0 && u.is_finite() {
        let places = (1 - u.log10().floor() as i32).clamp(0, 8);
        decimals(value, usize::try_from(places).unwrap_or(0))
    } else {
        significant(value, 5)
    }
}

/// A result in words.
pub(super) fn sentence(result: &Reported) -> String {
    let rounded = by_uncertainty(result.value, result.expanded.expanded_uncertainty);
    let what = format!(
        "{} {} {} as {}",
        result.name, rounded.value_text, result.unit, result.expressed_as
    );
    match result.expanded.probability {
        Some(p) => format!(
            "{what}, and the true value lies within {} {} of it, {}.",
            rounded.uncertainty_text,
            result.unit,
            times_in_100(p)
        ),
        None => format!(
            "{what}, give or take {} {} ({} times the standard uncertainty).",
            rounded.uncertainty_text,
            result.unit,
            significant(result.expanded.coverage_factor, 3)
        ),
    }
}

fn digits(result: &Reported, style: Style) -> Vec<String> {
    let mut lines = Vec::new();
    let relative = if result.value == 0.0 {
        String::new()
    } else {
        percent(result.standard_uncertainty / result.value.abs())
    };
    lines.push(style.quiet(format!(
        "  u = {} {} ({relative}), k = {}, \u{3bd}_eff = {}",
        by_uncertainty(result.value, result.standard_uncertainty).uncertainty_text,
        result.unit,
        decimals(result.expanded.coverage_factor, 2),
        degrees_of_freedom(result.budget.effective_degrees_of_freedom)
    )));
    for other in &result.also {
        let rounded = by_uncertainty(other.value, other.expanded.expanded_uncertainty);
        lines.push(format!(
            "  {} \u{b1} {} {} {}",
            right(&rounded.value_text, 12),
            left(&rounded.uncertainty_text, 9),
            left(&other.unit, 11),
            style.quiet(format!("as {}", other.expressed_as))
        ));
    }
    lines
}

fn conformity(judged: &Conformity) -> String {
    let unit = &judged.unit;
    let asked = match judged.rule {
        DecisionRule::Probability(wanted) => format!(" (wanted: {})", percent(wanted)),
        DecisionRule::GuardBand | DecisionRule::GuardFactor(_) => String::new(),
    };
    let band = judged.guard_band.unwrap_or(0.0);
    // Limits are said so finely that the guard band shows two digits.
    let places = if band == 0.0 {
        4
    } else {
        (1 - band.abs().log10().floor() as i32).clamp(0, 8)
    };
    let number = |x: f64| decimals(x, usize::try_from(places).unwrap_or(0));
    let declared = match judged.rule {
        DecisionRule::GuardFactor(factor) if factor != 0.0 => {
            format!(", {} U", significant(factor, 2))
        }
        _ => String::new(),
    };
    let inside = match judged.acceptance.map(|a| (a.lower, a.upper)) {
        None => {
            "no result could be accepted, the limits are too narrow for this uncertainty".into()
        }
        Some(_) if band == 0.0 => "simple acceptance, no guard band".into(),
        Some((Some(lower), Some(upper))) => format!(
            "results from {} to {} {unit} are accepted (guard band {} {unit}{declared})",
            number(lower),
            number(upper),
            number(band)
        ),
        Some((Some(lower), None)) => format!(
            "results from {} {unit} on are accepted (guard band {} {unit}{declared})",
            number(lower),
            number(band)
        ),
        Some((None, upper)) => format!(
            "results up to {} {unit} are accepted (guard band {} {unit}{declared})",
            number(upper.unwrap_or(f64::NAN)),
            number(band)
        ),
    };
    format!(
        "Limits {}: kept with a probability of {}{asked}; {inside}; {}.",
        judged.limits,
        chance(judged.probability).trim_start_matches("= "),
        if judged.accepted {
            "accepted"
        } else {
            "not accepted"
        }
    )
}

fn zeta(zeta: f64) -> String {
    let verdict = match zeta.abs() {
        z if z <= 2.0 => "agrees with what is expected",
        z if z <= 3.0 => "is questionable: warning",
        _ => "does not agree: action",
    };
    format!(
        "Zeta score {}: the check sample {verdict} (ISO 13528: 2 and 3).",
        decimals(zeta, 2)
    )
}
