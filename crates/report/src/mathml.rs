//! Steps of a formula typeset as MathML Core, for pages; the same graph as the printed working.

use crate::lines::without_control;
use crate::numbers::in_working;
use metrology::Formula;
use metrology::formula::{Function, Operation};

/// What stands for a named step or an input inside another one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum In {
    /// Its symbol.
    Symbols,
    /// Its number with its unit.
    Numbers,
}

/// A node's symbol, what it is made of, and its value: `c = n / V = 0.0024 mol / 24.5 mL = 0.1 mol/L`, each after the
/// other in one `math` element.
pub fn step(formula: &Formula, node: usize) -> String {
    let mut lines = Vec::new();
    let symbol = formula.nodes()[node]
        .label
        .as_ref()
        .map(|label| label.symbol.as_str())
        .unwrap_or_default();
    let (symbols, numbers) = (
        side(formula, node, In::Symbols),
        side(formula, node, In::Numbers),
    );
    let quantity = formula.value_of(node);
    let value = number(&in_working(quantity.value), quantity.unit.symbol());
    lines.push(symbols.clone());
    for more in [numbers, value] {
        if lines.last() != Some(&more) {
            lines.push(more);
        }
    }
    let rows: String = lines
        .iter()
        .enumerate()
        .map(|(index, line)| {
            let left = if index == 0 {
                identifier(symbol)
            } else {
                String::new()
            };
            format!(
                "<mtr><mtd>{left}</mtd><mtd><mo>=</mo></mtd><mtd class=\"right\"><mrow>{line}</mrow></mtd></mtr>"
            )
        })
        .collect();
    format!(
        "<math display=\"block\" class=\"step\"><mtable displaystyle=\"true\">{rows}</mtable></math>"
    )
}

/// A symbol on its own, as HTML: among words it needs no mathematics, and no font for it.
pub fn symbol(text: &str) -> String {
    let (base, below, strokes) = parts(text);
    let below = below.map_or_else(String::new, |b| format!("<sub>{}</sub>", escaped(b)));
    format!(
        "<span class=\"symbol\"><i>{}</i>{strokes}{below}</span>",
        escaped(base)
    )
}

/// A symbol's letter, what stands behind its first low line, and its strokes.
fn parts(symbol: &str) -> (&str, Option<&str>, String) {
    let strokes: String = symbol.chars().filter(|c| *c == '\u{2032}').collect();
    let plain = symbol.trim_end_matches('\u{2032}');
    match plain.split_once('_') {
        Some((base, below)) => (base, Some(below), strokes),
        None => (plain, None, strokes),
    }
}

/// How tightly an operator binds.
#[derive(Clone, Copy, PartialEq, PartialOrd)]
enum Binding {
    Sum,
    Negation,
    Product,
    Atom,
}

/// The right-hand side of a node.
fn side(formula: &Formula, node: usize, how: In) -> String {
    write(formula, node, true, how).0
}

fn write(formula: &Formula, node: usize, top: bool, how: In) -> (String, Binding) {
    let this = &formula.nodes()[node];
    if !top && let Some(label) = this.label.as_ref().filter(|l| !l.symbol.is_empty()) {
        return match how {
            In::Symbols => (identifier(&label.symbol), Binding::Atom),
            In::Numbers => {
                let quantity = formula.value_of(node);
                quantity_of(&in_working(quantity.value), quantity.unit.symbol())
            }
        };
    }
    let part = |at: usize, least: Binding| {
        let (text, binding) = write(formula, at, false, how);
        if binding < least {
            bracketed(&text)
        } else {
            text
        }
    };
    // Above and below a fraction's stroke nothing needs brackets.
    let whole = |at: usize| format!("<mrow>{}</mrow>", write(formula, at, false, how).0);
    match &this.operation {
        Operation::Input(input) => {
            let input = &formula.inputs()[*input];
            match how {
                In::Symbols => (identifier(&input.symbol), Binding::Atom),
                In::Numbers => {
                    let written = input
                        .written
                        .clone()
                        .unwrap_or_else(|| in_working(input.value));
                    quantity_of(&written, input.unit.symbol())
                }
            }
        }
        Operation::Constant(quantity) => {
            quantity_of(&in_working(quantity.value), quantity.unit.symbol())
        }
        Operation::Sum(terms) => {
            let terms: Vec<String> = terms.iter().map(|t| part(*t, Binding::Sum)).collect();
            (terms.join("<mo>+</mo>"), Binding::Sum)
        }
        Operation::Difference(a, b) => (
            format!(
                "{}<mo>\u{2212}</mo>{}",
                part(*a, Binding::Sum),
                part(*b, Binding::Product)
            ),
            Binding::Sum,
        ),
        Operation::Product(a, b) => (
            format!(
                "{}<mo>\u{b7}</mo>{}",
                part(*a, Binding::Product),
                part(*b, Binding::Product)
            ),
            Binding::Product,
        ),
        Operation::Quotient(a, b) => (
            format!("<mfrac>{}{}</mfrac>", whole(*a), whole(*b)),
            Binding::Atom,
        ),
        Operation::Negation(a) => (
            format!("<mo>\u{2212}</mo>{}", part(*a, Binding::Product)),
            Binding::Negation,
        ),
        Operation::Power(a, n) => (
            format!(
                "<msup><mrow>{}</mrow><mn>{n}</mn></msup>",
                part(*a, Binding::Atom)
            ),
            Binding::Atom,
        ),
        Operation::Function(Function::SquareRoot, a) => {
            (format!("<msqrt>{}</msqrt>", whole(*a)), Binding::Atom)
        }
        Operation::Function(function, a) => (
            format!("<mi>{}</mi>{}", function.name(), bracketed(&whole(*a))),
            Binding::Atom,
        ),
    }
}

fn bracketed(inner: &str) -> String {
    format!("<mrow><mo>(</mo>{inner}<mo>)</mo></mrow>")
}

/// A symbol: what stands behind the first low line is set below, strokes above.
fn identifier(symbol: &str) -> String {
    let (base, below, strokes) = parts(symbol);
    let base = format!("<mi>{}</mi>", escaped(base));
    let below = below.map(|b| format!("<mtext>{}</mtext>", escaped(b)));
    match (below, strokes.is_empty()) {
        (None, true) => base,
        (Some(below), true) => format!("<msub>{base}{below}</msub>"),
        (None, false) => format!("<msup>{base}<mo>{strokes}</mo></msup>"),
        (Some(below), false) => format!("<msubsup>{base}{below}<mo>{strokes}</mo></msubsup>"),
    }
}

fn number(number: &str, unit: &str) -> String {
    quantity_of(number, unit).0
}

/// A number with its unit; with a sign it binds like a negation, with a unit like a product.
fn quantity_of(number: &str, unit: &str) -> (String, Binding) {
    let number = number.replace('-', "\u{2212}");
    let (sign, digits) = match number.strip_prefix('\u{2212}') {
        Some(digits) => ("<mo>\u{2212}</mo>", digits),
        None => ("", number.as_str()),
    };
    let binding = if sign.is_empty() {
        Binding::Product
    } else {
        Binding::Negation
    };
    let unit = if unit == "1" {
        String::new()
    } else {
        format!("<mspace width=\"0.17em\"/><mtext>{}</mtext>", escaped(unit))
    };
    (
        format!("<mrow>{sign}<mn>{}</mn>{unit}</mrow>", escaped(digits)),
        binding,
    )
}

fn escaped(text: &str) -> String {
    without_control(text)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

#[cfg(test)]
mod tests {
    use super::*;
    use metrology::{Expr, Input, Quantity};

    fn input(symbol: &str, text: &str, unit: &str) -> Expr {
        let value = Quantity::new(text.parse().unwrap(), unit.parse().unwrap());
        Expr::input(Input::new(symbol, symbol, value).written(text))
    }

    fn text(math: &str) -> String {
        let mut out = String::new();
        let mut inside = false;
        for c in math.chars() {
            match c {
                '<' => inside = true,
                '>' => inside = false,
                c if !inside => out.push(c),
                _ => {}
            }
        }
        out
    }

    #[test]
    fn a_step_is_set_in_symbols_in_numbers_and_as_its_value() {
        let v = (input("R_f", "18.70", "mL") - input("R_i", "0.06", "mL"))
            .named("V_1", "titre")
            .in_unit("mL".parse().unwrap());
        let formula = Formula::build(&v).unwrap();
        let math = step(&formula, formula.result_index());
        assert_eq!(text(&math), "V1=Rf\u{2212}Ri=18.70mL\u{2212}0.06mL=18.64mL");
        assert!(
            math.contains("<msub><mi>V</mi><mtext>1</mtext></msub>"),
            "{math}"
        );
    }

    #[test]
    fn brackets_stand_only_where_they_are_needed() {
        let x = |s: &str| input(s, "2", "1");
        let of = |expr: &Expr| {
            let formula = Formula::build(expr).unwrap();
            text(&side(&formula, formula.result_index(), In::Symbols))
        };
        assert_eq!(of(&(x("a") - (x("b") - x("c")))), "a\u{2212}(b\u{2212}c)");
        assert_eq!(of(&((x("a") + x("b")) * x("c"))), "(a+b)\u{b7}c");
        // A fraction needs none.
        assert_eq!(
            of(&((x("a") + x("b")) / (x("c") - x("d")))),
            "a+bc\u{2212}d"
        );
    }

    #[test]
    fn names_from_outside_do_not_become_markup() {
        let formula = Formula::build(&input("<b>_<i>", "1", "1")).unwrap();
        let math = step(&formula, 0);
        assert!(!math.contains("<b>") && !math.contains("<i>"), "{math}");
        assert_eq!(
            symbol("V_2\u{2032}"),
            "<span class=\"symbol\"><i>V</i>\u{2032}<sub>2</sub></span>"
        );
        assert!(!symbol("<b>_<i>").contains("<b>"));
    }
}
