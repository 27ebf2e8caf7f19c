//! Reading of formulas: the charge is split off first, then the body is read from left to right.

use super::print::{SUBSCRIPTS, SUPERSCRIPTS};
use super::{
    Bracket, DEEPEST_NESTING, Formula, FormulaError, FormulaProblem, LARGEST_COUNT, LONGEST_FORMULA,
};
use super::{Part, Unit};
use crate::elements::Element;

type Read<T> = Result<T, FormulaProblem>;

const UNIT_EXPECTED: &str = "an element symbol (first letter a capital) or an opening bracket";

pub(super) fn formula(text: &str) -> Result<Formula, FormulaError> {
    read(text).map_err(|problem| {
        let cut = text.chars().nth(60).is_some();
        let mut formula: String = text.chars().take(60).flat_map(char::escape_debug).collect();
        if cut {
            formula.push_str("...");
        }
        FormulaError { formula, problem }
    })
}

fn read(text: &str) -> Read<Formula> {
    // Bytes bound the characters, so a huge text is refused before anything is copied.
    if text.len() > 4 * LONGEST_FORMULA {
        return Err(FormulaProblem::TooLong {
            length: text.chars().count(),
        });
    }
    let all: Vec<char> = text.chars().collect();
    if all.len() > LONGEST_FORMULA {
        return Err(FormulaProblem::TooLong { length: all.len() });
    }
    let start = all
        .iter()
        .position(|c| !c.is_whitespace())
        .ok_or(FormulaProblem::Empty)?;
    let end = all
        .iter()
        .rposition(|c| !c.is_whitespace())
        .map_or(start, |last| last + 1);
    let (body_end, charge) = split_charge(&all[..end], start)?;
    let body = &all[..body_end];
    if body[start..] == ['e'] {
        return if charge == -1 {
            Ok(Formula::electron())
        } else {
            Err(FormulaProblem::ElectronCharge)
        };
    }
    let mut reader = Reader {
        chars: body,
        next: start,
    };
    let parts = reader.parts()?;
    let formula = Formula::from_parts(parts, charge)?;
    if i64::from(charge) > i64::try_from(formula.composition.protons()).unwrap_or(i64::MAX) {
        return Err(FormulaProblem::ImpossibleCharge {
            charge: charge.into(),
            suggestion: None,
        });
    }
    Ok(formula)
}

/// Sign of a charge character, +1 or -1; hyphen, minus sign and en dash are the same.
fn sign_of(c: char) -> Option<i64> {
    match c {
        '+' | '⁺' => Some(1),
        '-' | '\u{2212}' | '\u{2013}' | '⁻' => Some(-1),
        _ => None,
    }
}

fn superscript(c: char) -> Option<u32> {
    SUPERSCRIPTS.iter().position(|s| *s == c).map(|d| d as u32)
}

fn subscript(c: char) -> Option<u32> {
    SUBSCRIPTS.iter().position(|s| *s == c).map(|d| d as u32)
}

/// Where the body ends, and the charge that follows it.
fn split_charge(all: &[char], start: usize) -> Read<(usize, i32)> {
    let is_raised = |c: &char| superscript(*c).is_some() || matches!(c, '⁺' | '⁻');
    if let Some(caret) = all.iter().position(|c| *c == '^') {
        return Ok((caret, marked_charge(all, caret + 1)?));
    }
    if let Some(first) = all.iter().position(is_raised) {
        return Ok((first, marked_charge(all, first)?));
    }
    let signs = all[start..]
        .iter()
        .rev()
        .take_while(|c| sign_of(**c).is_some())
        .count();
    let body_end = all.len() - signs;
    match signs {
        0 => Ok((body_end, 0)),
        1 => unmarked_charge(all, start, body_end),
        // Repeated signs, the old way of writing: SO4--.
        _ => Ok((body_end, marked_charge(all, body_end)?)),
    }
}

/// A charge that nothing else can be: after `^`, or raised: `2-`, `-2`, `-`, `--`, each also in braces.
fn marked_charge(all: &[char], from: usize) -> Read<i32> {
    const EXPECTED: &str = "a charge as 2- or + to end the formula";
    let mut from = from;
    let mut end = all.len();
    if all.get(from) == Some(&'{') {
        if all[end - 1] != '}' {
            return Err(FormulaProblem::NotClosed {
                at: from + 1,
                open: '{',
                close: '}',
            });
        }
        (from, end) = (from + 1, end - 1);
    }
    let text = all.get(from..end).unwrap_or_default();
    let (mut digits, mut number, mut signs) = (0, 0_i64, Vec::new());
    let mut closed = false; // digits, sign, digits: the second digits are one too many
    for (offset, c) in text.iter().enumerate() {
        let unexpected = FormulaProblem::Unexpected {
            at: from + offset + 1,
            found: *c,
            expected: EXPECTED,
        };
        if let Some(digit) = superscript(*c).or_else(|| c.to_digit(10)) {
            if closed {
                return Err(unexpected);
            }
            digits += 1;
            number = (number * 10 + i64::from(digit)).min(i64::from(i32::MAX));
        } else if let Some(sign) = sign_of(*c) {
            if (digits > 0 && !signs.is_empty())
                || signs.first().is_some_and(|first| *first != sign)
            {
                return Err(unexpected);
            }
            signs.push(sign);
            closed = digits > 0;
        } else {
            return Err(unexpected);
        }
    }
    let sign = *signs
        .first()
        .ok_or(FormulaProblem::EndsEarly { expected: EXPECTED })?;
    let size = match (digits, signs.len()) {
        (0, n) => n as i64,
        (_, 1) => number,
        _ => return Err(FormulaProblem::EndsEarly { expected: EXPECTED }),
    };
    checked_charge(sign * size)
}

/// No species of analytical chemistry passes this; it keeps every sum of charges far from overflow.
const LARGEST_CHARGE: i64 = 1_000;

fn checked_charge(charge: i64) -> Read<i32> {
    if charge == 0 || charge.abs() > LARGEST_CHARGE {
        return Err(FormulaProblem::ImpossibleCharge {
            charge,
            suggestion: None,
        });
    }
    i32::try_from(charge).map_err(|_| FormulaProblem::ImpossibleCharge {
        charge,
        suggestion: None,
    })
}

/// One sign without `^` at `sign_at`: digits before it are a charge or a count by the rules of the module.
fn unmarked_charge(all: &[char], start: usize, sign_at: usize) -> Read<(usize, i32)> {
    let sign = all.get(sign_at).copied().and_then(sign_of).unwrap_or(1);
    let one = if sign < 0 { -1 } else { 1 };
    let digits = all[start..sign_at]
        .iter()
        .rev()
        .take_while(|c| c.is_ascii_digit())
        .count();
    let prefix_end = sign_at - digits;
    let prefix = &all[start..prefix_end];
    let Some(last) = prefix.last().filter(|_| digits > 0) else {
        return Ok((sign_at, one));
    };
    let first_digit = all[prefix_end].to_digit(10).unwrap_or(0);
    let as_charge = |prefix_end| Ok((prefix_end, checked_charge(sign * i64::from(first_digit))?));
    let text = |from: usize, to: usize| all[from..to].iter().collect::<String>();
    let ambiguous = || {
        let mark = if sign < 0 { '-' } else { '+' };
        Err(FormulaProblem::AmbiguousCharge {
            as_charge: format!("{}^{}{mark}", text(start, sign_at - 1), all[sign_at - 1]),
            as_count: format!("{}^{mark}", text(start, sign_at)),
        })
    };
    if subscript(*last).is_some() {
        return if digits == 1 {
            as_charge(prefix_end)
        } else {
            ambiguous()
        };
    }
    let element = Element::from_symbol(&prefix.iter().collect::<String>()).ok();
    match (element, digits) {
        (Some(element), 1) if sign > 0 => {
            if first_digit > u32::from(element.atomic_number()) {
                let suggestion = Some(format!("{}^+", text(start, sign_at)));
                return Err(FormulaProblem::ImpossibleCharge {
                    charge: first_digit.into(),
                    suggestion,
                });
            }
            as_charge(prefix_end)
        }
        (Some(element), 1) if first_digit == 1 || is_oxide_like(element, first_digit) => {
            as_charge(prefix_end)
        }
        (Some(_), _) => ambiguous(),
        (None, 1) if is_one_square_bracket(prefix) => as_charge(prefix_end),
        (None, 1) => Ok((sign_at, one)),
        (None, _) => ambiguous(),
    }
}

/// O2-, S2-, Se2-, Te2-: everybody reads the digit as the charge.
fn is_oxide_like(element: Element, digit: u32) -> bool {
    digit == 2 && matches!(element.symbol(), "O" | "S" | "Se" | "Te")
}

fn is_one_square_bracket(text: &[char]) -> bool {
    let inner_open = text.iter().filter(|c| **c == '[').count();
    text.first() == Some(&'[') && text.last() == Some(&']') && inner_open == 1
}

struct Reader<'a> {
    chars: &'a [char],
    next: usize,
}

impl Reader<'_> {
    fn peek(&self) -> Option<char> {
        self.chars.get(self.next).copied()
    }

    fn skip_spaces(&mut self) {
        while self.peek().is_some_and(char::is_whitespace) {
            self.next += 1;
        }
    }

    fn parts(&mut self) -> Read<Vec<Part>> {
        let mut parts = vec![Part {
            multiplier: 1,
            units: self.units(0)?,
        }];
        loop {
            self.skip_spaces();
            match self.peek() {
                None => return Ok(parts),
                Some(c) if is_dot(c) => {
                    self.next += 1;
                    self.skip_spaces();
                    let at = self.next + 1;
                    let multiplier = self.count()?.unwrap_or(1);
                    if self.peek().is_some_and(|c| is_dot(c) || c == ',') {
                        return Err(FormulaProblem::Fraction { at });
                    }
                    self.skip_spaces();
                    parts.push(Part {
                        multiplier,
                        units: self.units(0)?,
                    });
                }
                Some(found) => {
                    let expected = "an element symbol, a bracket, a dot or a charge";
                    return Err(FormulaProblem::Unexpected {
                        at: self.next + 1,
                        found,
                        expected,
                    });
                }
            }
        }
    }

    /// Units up to something that is no unit; at least one.
    fn units(&mut self, depth: usize) -> Read<Vec<Unit>> {
        let mut units = Vec::new();
        loop {
            match self.peek() {
                Some(c) if c.is_ascii_uppercase() => {
                    let element = self.element()?;
                    units.push(Unit::Atom(element, self.count()?.unwrap_or(1)));
                }
                Some('(') => units.push(self.group(Bracket::Round, depth)?),
                Some('[') => units.push(self.group(Bracket::Square, depth)?),
                Some('{') => units.push(self.group(Bracket::Curly, depth)?),
                Some(found) if units.is_empty() => {
                    return Err(FormulaProblem::Unexpected {
                        at: self.next + 1,
                        found,
                        expected: UNIT_EXPECTED,
                    });
                }
                None if units.is_empty() => {
                    return Err(FormulaProblem::EndsEarly {
                        expected: UNIT_EXPECTED,
                    });
                }
                _ => return Ok(units),
            }
        }
    }

    fn element(&mut self) -> Read<Element> {
        let at = self.next + 1;
        let mut symbol = String::new();
        symbol.extend(self.peek());
        self.next += 1;
        while self.peek().is_some_and(|c| c.is_lowercase()) && symbol.len() < 8 {
            symbol.extend(self.peek());
            self.next += 1;
        }
        Element::from_symbol(&symbol).map_err(|problem| FormulaProblem::Element { at, problem })
    }

    fn group(&mut self, bracket: Bracket, depth: usize) -> Read<Unit> {
        let at = self.next + 1;
        if depth == DEEPEST_NESTING {
            return Err(FormulaProblem::TooDeep { at });
        }
        let (open, close) = bracket.signs();
        self.next += 1;
        let units = self.units(depth + 1)?;
        match self.peek() {
            Some(c) if c == close => self.next += 1,
            None | Some(')' | ']' | '}') => {
                return Err(FormulaProblem::NotClosed { at, open, close });
            }
            Some(found) => {
                let expected = "an element symbol, a bracket or the closing bracket";
                return Err(FormulaProblem::Unexpected {
                    at: self.next + 1,
                    found,
                    expected,
                });
            }
        }
        Ok(Unit::Group(bracket, units, self.count()?.unwrap_or(1)))
    }

    /// A count in plain or subscript digits, if one is written here.
    fn count(&mut self) -> Read<Option<u32>> {
        let at = self.next + 1;
        let mut number = None;
        while let Some(digit) = self
            .peek()
            .and_then(|c| c.to_digit(10).or_else(|| subscript(c)))
        {
            let so_far: u32 = number.unwrap_or(0);
            // Below the limit before, so ten times that and a digit fits.
            let next = if so_far > LARGEST_COUNT {
                so_far
            } else {
                so_far * 10 + digit
            };
            number = Some(next);
            self.next += 1;
        }
        match number {
            Some(n) if n == 0 || n > LARGEST_COUNT => {
                // "0.5H2O" after a dot: say what to do about halves rather than that zero is no count.
                let half = n == 0 && self.peek().is_some_and(|c| is_dot(c) || c == ',');
                Err(if half {
                    FormulaProblem::Fraction { at }
                } else {
                    FormulaProblem::Count { at }
                })
            }
            other => Ok(other),
        }
    }
}

/// The signs that join the parts of a hydrate: point, star, and the raised and bold dots in use.
fn is_dot(c: char) -> bool {
    matches!(
        c,
        '.' | '*' | '·' | '\u{2022}' | '\u{22C5}' | '\u{2219}' | '\u{30FB}'
    )
}
