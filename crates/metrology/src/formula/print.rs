//! Printing a formula as symbols and as numbers, step by step.

use super::{Formula, Operation};
use crate::quantity::Quantity;

/// One named line of the working.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Index of the node.
    pub node: usize,
    /// Its symbol.
    pub symbol: String,
    /// What it is, in words.
    pub description: String,
    /// The right-hand side in symbols.
    pub in_symbols: String,
    /// The right-hand side in numbers with units.
    pub in_numbers: String,
    /// Its value.
    pub value: Quantity,
}

/// How tightly an operator binds.
#[derive(Clone, Copy, PartialEq, PartialOrd)]
enum Binding {
    Sum,
    Negation,
    Product,
    Power,
    Atom,
}

impl Formula {
    /// The working: every named step in the order in which it can be followed.
    pub fn steps(&self) -> Vec<Step> {
        let values = self.evaluate(&self.values);
        let printer = Printer {
            formula: self,
            values: &values,
        };
        self.nodes
            .iter()
            .enumerate()
            .filter_map(|(node, n)| {
                let label = n.label.as_ref().filter(|l| !l.symbol.is_empty())?;
                let unit = self.unit_of(node);
                Some(Step {
                    node,
                    symbol: label.symbol.clone(),
                    description: label.description.clone(),
                    in_symbols: printer.write(node, true, false).0,
                    in_numbers: printer.write(node, true, true).0,
                    value: Quantity::new(unit.from_coherent(values[node]), unit),
                })
            })
            .collect()
    }

    /// The whole formula in symbols, named steps left as their symbols.
    pub fn in_symbols(&self) -> String {
        let values = self.evaluate(&self.values);
        Printer {
            formula: self,
            values: &values,
        }
        .write(self.result, true, false)
        .0
    }
}

struct Printer<'a> {
    formula: &'a Formula,
    values: &'a [f64],
}

impl Printer<'_> {
    /// Text of a node and how tightly it binds; below the top, a named step is its symbol or its value.
    fn write(&self, node: usize, top: bool, numbers: bool) -> (String, Binding) {
        let n = &self.formula.nodes[node];
        if !top && let Some(label) = n.label.as_ref().filter(|l| !l.symbol.is_empty()) {
            return if numbers {
                self.number(node)
            } else {
                (label.symbol.clone(), Binding::Atom)
            };
        }
        let part = |i: usize, at_least: Binding| {
            let (text, binding) = self.write(i, false, numbers);
            if binding < at_least {
                format!("({text})")
            } else {
                text
            }
        };
        match &n.operation {
            Operation::Input(input) => {
                let input = &self.formula.inputs[*input];
                if !numbers {
                    return (input.symbol.clone(), Binding::Atom);
                }
                let number = input.written.clone().unwrap_or_else(|| short(input.value));
                with_unit(number, input.unit.symbol())
            }
            Operation::Constant(quantity) => {
                with_unit(short(quantity.value), quantity.unit.symbol())
            }
            Operation::Sum(terms) => {
                let mut text = String::new();
                for (i, t) in terms.iter().enumerate() {
                    let term = part(*t, Binding::Sum);
                    match (i, term.strip_prefix('\u{2212}')) {
                        (0, _) => text.push_str(&term),
                        (_, Some(positive)) => text.push_str(&format!(" \u{2212} {positive}")),
                        _ => text.push_str(&format!(" + {term}")),
                    }
                }
                (text, Binding::Sum)
            }
            Operation::Difference(a, b) => (
                format!(
                    "{} \u{2212} {}",
                    part(*a, Binding::Sum),
                    part(*b, Binding::Product)
                ),
                Binding::Sum,
            ),
            Operation::Product(a, b) => (
                format!(
                    "{} · {}",
                    part(*a, Binding::Product),
                    part(*b, Binding::Product)
                ),
                Binding::Product,
            ),
            Operation::Quotient(a, b) => (
                format!(
                    "{} / {}",
                    part(*a, Binding::Product),
                    part(*b, Binding::Power)
                ),
                Binding::Product,
            ),
            Operation::Negation(a) => (
                format!("\u{2212}{}", part(*a, Binding::Product)),
                Binding::Negation,
            ),
            Operation::Power(a, n) => (format!("{}^{n}", part(*a, Binding::Atom)), Binding::Power),
            Operation::Function(function, a) => {
                let (inside, _) = self.write(*a, false, numbers);
                (format!("{}({inside})", function.name()), Binding::Atom)
            }
        }
    }

    fn number(&self, node: usize) -> (String, Binding) {
        let unit = self.formula.unit_of(node);
        with_unit(short(unit.from_coherent(self.values[node])), unit.symbol())
    }
}

/// A number with its unit; a composed unit behind a number binds like a product.
fn with_unit(number: String, unit: &str) -> (String, Binding) {
    let binding = |text: &str| {
        if text.starts_with('\u{2212}') {
            Binding::Negation
        } else {
            Binding::Power
        }
    };
    let number = number.replace('-', "\u{2212}");
    if unit == "1" {
        let b = binding(&number);
        return (number, b);
    }
    let text = format!("{number} {unit}");
    let b = if text.starts_with('\u{2212}') {
        Binding::Negation
    } else {
        Binding::Product
    };
    (text, b)
}

/// A number for the working: seven significant digits, which is more than any input has, without trailing zeros.
pub(crate) fn short(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 {
            "0".into()
        } else {
            value.to_string()
        };
    }
    let magnitude = value.abs().log10().floor() as i32;
    if (-5..7).contains(&magnitude) {
        let decimals = (6 - magnitude).clamp(0, 12) as usize;
        let text = format!("{value:.decimals$}");
        if text.contains('.') {
            text.trim_end_matches('0').trim_end_matches('.').to_string()
        } else {
            text
        }
    } else {
        let text = format!("{value:.6e}");
        let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
        let mantissa = if mantissa.contains('.') {
            mantissa.trim_end_matches('0').trim_end_matches('.')
        } else {
            mantissa
        };
        format!("{mantissa}×10^{exponent}")
    }
}

#[cfg(test)]
mod tests {
    use crate::{Expr, Formula, Input, Quantity};

    fn input(symbol: &str, text: &str, unit: &str) -> Expr {
        let value = Quantity::new(text.parse().unwrap(), unit.parse().unwrap());
        Expr::input(Input::new(symbol, symbol, value).written(text))
    }

    #[test]
    fn the_working_reads_as_a_chemist_writes_it() {
        let v = (input("R_f", "18.70", "mL") - input("R_i", "0.06", "mL"))
            .named("V", "titre")
            .in_unit("mL".parse().unwrap());
        let c = (input("m", "0.3888", "g") * input("P", "1.0000", "1")
            / (input("M", "204.2212", "g/mol") * v))
            .named("c", "concentration")
            .in_unit("mol/L".parse().unwrap());
        let steps = Formula::build(&c).unwrap().steps();
        assert_eq!(steps[0].in_symbols, "R_f \u{2212} R_i");
        assert_eq!(steps[0].in_numbers, "18.70 mL \u{2212} 0.06 mL");
        assert_eq!(steps[1].in_symbols, "m · P / (M · V)");
        assert_eq!(
            steps[1].in_numbers,
            "0.3888 g · 1.0000 / (204.2212 g/mol · 18.64 mL)"
        );
        assert_eq!(
            format!("{:.5} {}", steps[1].value.value, steps[1].value.unit),
            "0.10214 mol/L"
        );
    }

    #[test]
    fn brackets_only_where_needed() {
        let x = |s: &str| input(s, "2", "1");
        let text = |e: Expr| Formula::build(&e).unwrap().in_symbols();
        assert_eq!(
            text(x("a") - (x("b") - x("c"))),
            "a \u{2212} (b \u{2212} c)"
        );
        assert_eq!(text(x("a") / (x("b") / x("c"))), "a / (b / c)");
        assert_eq!(text((x("a") + x("b")) * x("c").power(2)), "(a + b) · c^2");
        assert_eq!(text(x("a") + -x("b")), "a \u{2212} b");
        assert_eq!(text((-x("a")).power(2)), "(\u{2212}a)^2");
    }
}
