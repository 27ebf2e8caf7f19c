//! The worked solution in its parts: what is given, every step, how sure the result is. Pages and documents set it each in
//! their own way; the terminal's is [`crate::working()`]. All of it is read off the formula.

use crate::lines::clean;
use crate::mathml;
use crate::numbers::{
    by_uncertainty, decimals, degrees_of_freedom, in_working, raised, significant,
};
use crate::working::steps_once;
use metrology::{Budget, Expanded, Formula};

/// A worked solution.
#[derive(Clone, Debug, PartialEq)]
pub struct Worked {
    /// The inputs.
    pub given: Vec<Given>,
    /// Where they come from; inputs name them by their place.
    pub sources: Vec<String>,
    /// The steps, each once, in the order in which they can be followed.
    pub steps: Vec<WorkedStep>,
    /// How the uncertainty follows: each line an equation.
    pub closing: Vec<String>,
}

/// An input.
#[derive(Clone, Debug, PartialEq)]
pub struct Given {
    /// Its symbol.
    pub symbol: String,
    /// Its value with the unit, as written where a person wrote it.
    pub value: String,
    /// What it is.
    pub what: String,
    /// Place of its source, from 1.
    pub source: usize,
}

/// A step.
#[derive(Clone, Debug, PartialEq)]
pub struct WorkedStep {
    /// What it is.
    pub what: String,
    /// Its symbol.
    pub symbol: String,
    /// What it is made of, in symbols.
    pub in_symbols: String,
    /// The same in numbers; none where it would say nothing more.
    pub in_numbers: Option<String>,
    /// Its value with the unit.
    pub value: String,
    /// All of it as MathML.
    pub math: String,
}

fn with_unit(number: &str, unit: &str) -> String {
    let number = raised(&number.replacen('-', "\u{2212}", 1));
    if unit == "1" {
        number
    } else {
        printed(&format!("{number} {unit}"))
    }
}

/// Units as they are printed.
fn printed(text: &str) -> String {
    text.replace("degC", "°C")
        .replace("/m3", "/m³")
        .replace("cm^3", "cm³")
}

/// Binds the symbols that hold spaces, such as those of the runs of a sample, so that each stays one.
fn tied(formula: &Formula) -> impl Fn(&str) -> String {
    let inputs = formula.inputs().iter().map(|input| clean(&input.symbol));
    let steps = steps_once(formula).into_iter();
    let mut symbols: Vec<String> = inputs
        .chain(steps.map(|step| clean(&step.symbol)))
        .filter(|symbol| symbol.contains(' '))
        .collect();
    symbols.sort_by_key(|symbol| std::cmp::Reverse(symbol.len()));
    symbols.dedup();
    move |text| {
        let tie =
            |text: String, symbol: &String| text.replace(symbol, &symbol.replace(' ', "\u{a0}"));
        symbols.iter().fold(text.to_string(), tie)
    }
}

impl Worked {
    /// The worked solution of a result; `expanded` and `unit` are those shown, of which one is `factor` of the formula's.
    pub fn of(
        formula: &Formula,
        budget: &Budget,
        expanded: &Expanded,
        (factor, unit): (f64, &str),
    ) -> Self {
        let mut sources: Vec<String> = Vec::new();
        let tied = tied(formula);
        let given = formula
            .inputs()
            .iter()
            .enumerate()
            .map(|(index, input)| {
                let origin = clean(&input.origin.describe());
                let source = sources
                    .iter()
                    .position(|s| *s == origin)
                    .unwrap_or_else(|| {
                        sources.push(origin);
                        sources.len() - 1
                    });
                // What was not written has the digits that its uncertainty leaves it.
                let u = budget.lines.iter().find(|line| line.input == index);
                let u = u.map_or(0.0, |line| line.standard_uncertainty);
                let number = match &input.written {
                    Some(written) => written.clone(),
                    None if u > 0.0 && input.value != 0.0 => {
                        by_uncertainty(input.value, u).value_text
                    }
                    None => in_working(input.value),
                };
                Given {
                    symbol: tied(&clean(&input.symbol)),
                    value: with_unit(&number, input.unit.symbol()),
                    what: printed(&clean(&input.description)),
                    source: source + 1,
                }
            })
            .collect();
        let steps = steps_once(formula)
            .into_iter()
            .map(|step| {
                let value = with_unit(&in_working(step.value.value), step.value.unit.symbol());
                let numbers = raised(&step.in_numbers);
                let says_more = step.in_numbers != step.in_symbols && numbers != value;
                WorkedStep {
                    what: printed(&clean(&step.description)),
                    symbol: tied(&clean(&step.symbol)),
                    in_symbols: tied(&clean(&step.in_symbols)),
                    in_numbers: says_more.then(|| printed(&clean(&numbers))),
                    value,
                    math: mathml::step(formula, step.node),
                }
            })
            .collect();
        Self {
            given,
            sources,
            steps,
            closing: closing(budget, expanded, (factor, unit)),
        }
    }
}

fn closing(budget: &Budget, expanded: &Expanded, (factor, unit): (f64, &str)) -> Vec<String> {
    let u = raised(&significant(budget.standard_uncertainty / factor, 3));
    let k = decimals(expanded.coverage_factor, 3);
    let freedom = degrees_of_freedom(budget.effective_degrees_of_freedom);
    let why = match expanded.probability {
        Some(p) => format!(
            "two-sided Student t for {} % at \u{3bd} = {freedom}",
            in_working(p * 100.0)
        ),
        None => "fixed; no probability is claimed".into(),
    };
    let expanded = raised(&significant(expanded.expanded_uncertainty, 3));
    vec![
        format!("u = \u{221a}(sum of the squared contributions) = {u} {unit}"),
        format!("\u{3bd} = u\u{2074} / sum of (contribution\u{2074} / its \u{3bd}) = {freedom}"),
        format!("k = {k}, {why}"),
        format!("U = k \u{b7} u = {expanded} {unit}"),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use metrology::{Coverage, Distribution, Expr, Input, Origin, Quantity, expand, propagate};

    #[test]
    fn a_worked_solution_names_what_is_given_and_every_step() {
        let input = |symbol: &str, text: &str, unit: &str| {
            let value = Quantity::new(text.parse().unwrap(), unit.parse().unwrap());
            let input = Input::new(symbol, symbol, value)
                .written(text)
                .from_origin(Origin::Reading("B-3".into()))
                .distributed(Distribution::Normal {
                    standard_uncertainty: 0.01,
                });
            Expr::input(input)
        };
        let v = (input("R_f", "18.70", "mL") - input("R_i", "0.06", "mL"))
            .named("V", "titre")
            .in_unit("mL".parse().unwrap());
        let formula = Formula::build(&v).unwrap();
        let budget = propagate(&formula);
        let expanded = expand(
            budget.value,
            budget.standard_uncertainty,
            f64::INFINITY,
            Coverage::Factor(2.0),
        );
        let worked = Worked::of(&formula, &budget, &expanded, (1.0, "mL"));
        assert_eq!(worked.sources, ["read: B-3"]);
        let given: Vec<_> = worked.given.iter().map(|g| g.value.as_str()).collect();
        assert_eq!(given, ["18.70 mL", "0.06 mL"]);
        let step = &worked.steps[0];
        assert_eq!(
            (step.symbol.as_str(), step.value.as_str()),
            ("V", "18.64 mL")
        );
        assert_eq!(
            step.in_numbers.as_deref(),
            Some("18.70 mL \u{2212} 0.06 mL")
        );
        assert!(step.math.starts_with("<math"));
        // Two of 0.01 mL: u = 0.01·√2, U = 2u.
        assert!(
            worked.closing[0].ends_with("= 0.0141 mL"),
            "{:?}",
            worked.closing
        );
        assert!(
            worked.closing[3].ends_with("= 0.0283 mL"),
            "{:?}",
            worked.closing
        );
    }
}
