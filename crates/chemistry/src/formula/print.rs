//! Printing of formulas.

use super::{Formula, Unit};

/// How numbers, dot and charge are written.
struct Hand {
    count: fn(&mut String, u32),
    dot: char,
    charge: fn(&mut String, i32),
}

/// ASCII that reads back to the same formula. The charge always follows `^`, so nothing is ambiguous.
pub(super) fn plain(formula: &Formula) -> String {
    let charge: fn(&mut String, i32) = |out, charge| {
        out.push('^');
        *out += &charge_digits(charge);
        out.push(if charge < 0 { '-' } else { '+' });
    };
    write(
        formula,
        &Hand {
            count: |out, n| *out += &n.to_string(),
            dot: '.',
            charge,
        },
    )
}

/// Unicode subscripts, superscripts and raised dot.
pub(super) fn pretty(formula: &Formula) -> String {
    let count: fn(&mut String, u32) =
        |out, n| out.extend(n.to_string().chars().map(|c| shifted(c, SUBSCRIPTS)));
    let charge: fn(&mut String, i32) = |out, charge| {
        out.extend(
            charge_digits(charge)
                .chars()
                .map(|c| shifted(c, SUPERSCRIPTS)),
        );
        out.push(if charge < 0 { '⁻' } else { '⁺' });
    };
    write(
        formula,
        &Hand {
            count,
            dot: '·',
            charge,
        },
    )
}

pub(super) const SUBSCRIPTS: [char; 10] = ['₀', '₁', '₂', '₃', '₄', '₅', '₆', '₇', '₈', '₉'];
pub(super) const SUPERSCRIPTS: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];

fn shifted(digit: char, to: [char; 10]) -> char {
    digit.to_digit(10).map_or(digit, |d| to[d as usize])
}

/// The number of a charge, left out for one.
fn charge_digits(charge: i32) -> String {
    match charge.unsigned_abs() {
        1 => String::new(),
        n => n.to_string(),
    }
}

fn write(formula: &Formula, hand: &Hand) -> String {
    let mut out = String::new();
    if formula.is_electron() {
        out.push('e');
    }
    for (index, part) in formula.parts.iter().enumerate() {
        if index > 0 {
            out.push(hand.dot);
            if part.multiplier > 1 {
                out += &part.multiplier.to_string();
            }
        }
        units(&mut out, &part.units, hand);
    }
    if formula.charge != 0 {
        (hand.charge)(&mut out, formula.charge);
    }
    out
}

fn units(out: &mut String, list: &[Unit], hand: &Hand) {
    for unit in list {
        let count = match unit {
            Unit::Atom(element, n) => {
                out.push_str(element.symbol());
                *n
            }
            Unit::Group(bracket, inner, n) => {
                let (open, close) = bracket.signs();
                out.push(open);
                units(out, inner, hand);
                out.push(close);
                *n
            }
        };
        if count > 1 {
            (hand.count)(out, count);
        }
    }
}
