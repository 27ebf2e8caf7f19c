//! Reading of reactions: the arrow first, then the terms of each side at the plus signs that are not charges.

use super::{LONGEST_REACTION, MOST_SPECIES, Reaction, ReactionError, Term};
use crate::formula::{Formula, LARGEST_COUNT};

/// Longest first, so that `<=>` is not read as `=`.
const ARROWS: [&str; 13] = [
    "<-->", "<=>", "<->", "-->", "->", "=>", "=", "→", "⟶", "⇌", "⇄", "↔", "⇒",
];
const STATES: [&str; 5] = ["(aq)", "(cr)", "(s)", "(l)", "(g)"];

pub(super) fn reaction(text: &str) -> Result<Reaction, ReactionError> {
    if text.len() > 4 * LONGEST_REACTION || text.chars().count() > LONGEST_REACTION {
        return Err(ReactionError::TooLong {
            length: text.chars().count(),
        });
    }
    let chars: Vec<char> = text.chars().collect();
    let (arrow, length) = find_arrow(&chars, 0).ok_or(ReactionError::NoArrow)?;
    if let Some((second, _)) = find_arrow(&chars, arrow + length) {
        return Err(ReactionError::SecondArrow { at: second + 1 });
    }
    let reactants = side(&chars, 0, arrow)?;
    let products = side(&chars, arrow + length, chars.len())?;
    let species = reactants.len() + products.len();
    if species > MOST_SPECIES {
        return Err(ReactionError::TooManySpecies(species));
    }
    Ok(Reaction {
        reactants,
        products,
    })
}

/// Start and length of the first arrow from `from` on.
fn find_arrow(chars: &[char], from: usize) -> Option<(usize, usize)> {
    (from..chars.len()).find_map(|at| {
        let length = ARROWS.iter().find_map(|arrow| {
            let length = arrow.chars().count();
            chars[at..]
                .iter()
                .copied()
                .take(length)
                .eq(arrow.chars())
                .then_some(length)
        })?;
        // In `OH-->H2O` without a space the first dash is the charge of the ion.
        let glued = at > 0 && !chars[at - 1].is_whitespace();
        let dashes = length == 3 && chars[at] == '-';
        Some(if dashes && glued {
            (at + 1, 2)
        } else {
            (at, length)
        })
    })
}

/// The terms between two positions.
fn side(chars: &[char], from: usize, to: usize) -> Result<Vec<Term>, ReactionError> {
    let mut terms = Vec::new();
    let mut start = from;
    for at in from..to {
        if chars[at] == '+' && separates(chars, from, at, to) {
            terms.push(term(chars, start, at)?);
            start = at + 1;
        }
    }
    terms.push(term(chars, start, to)?);
    Ok(terms)
}

/// Whether the plus at `at` stands between two species rather than being a charge.
fn separates(chars: &[char], from: usize, at: usize, to: usize) -> bool {
    let before = (at > from).then(|| chars[at - 1]);
    let after = (at + 1 < to).then(|| chars[at + 1]);
    match (before, after) {
        (None, _) => true,
        (Some(b), _) if b.is_whitespace() => true,
        (Some('^' | '{'), _) | (_, None) => false,
        // `Na+(aq)` is an ion; `HCl+(NH4)2SO4` are two species.
        (_, Some('(')) => !STATES.iter().any(|s| {
            chars[at + 1..to]
                .iter()
                .copied()
                .take(s.len())
                .eq(s.chars())
        }),
        (_, Some(a)) => a.is_alphanumeric() || a == '[',
    }
}

/// A stoichiometric number, if written, a formula, and a state, if written.
fn term(chars: &[char], from: usize, to: usize) -> Result<Term, ReactionError> {
    let space = |i: &usize| chars[*i].is_whitespace();
    let Some(start) = (from..to).find(|i| !space(i)) else {
        return Err(ReactionError::MissingSpecies { at: from + 1 });
    };
    let mut end = (start..to)
        .rev()
        .find(|i| !space(i))
        .map_or(start, |last| last + 1);
    let digits_end = (start..end)
        .find(|i| !chars[*i].is_ascii_digit())
        .unwrap_or(end);
    let number = if digits_end == start {
        1
    } else {
        let digits: String = chars[start..digits_end].iter().collect();
        let number = digits
            .parse::<u64>()
            .ok()
            .filter(|n| (1..=u64::from(LARGEST_COUNT)).contains(n));
        number.ok_or(ReactionError::Number { at: start + 1 })?
    };
    // "1/2 O2", "0.5 O2", "½ O2"
    if chars
        .get(digits_end)
        .is_some_and(|c| matches!(c, '/' | '.' | ',' | '½' | '¼' | '¾') && digits_end < end)
    {
        return Err(ReactionError::Number { at: start + 1 });
    }
    let Some(formula_start) = (digits_end..end).find(|i| !space(i)) else {
        return Err(ReactionError::MissingSpecies { at: end + 1 });
    };
    for state in STATES {
        let length = state.len();
        if end - formula_start > length
            && chars[end - length..end].iter().copied().eq(state.chars())
        {
            end = (formula_start..end - length)
                .rev()
                .find(|i| !space(i))
                .map_or(formula_start, |last| last + 1);
            break;
        }
    }
    let text: String = chars[formula_start..end].iter().collect();
    match Formula::parse(&text) {
        Ok(formula) => Ok(Term { number, formula }),
        Err(_) if text.contains(char::is_whitespace) && !text.contains(['·', '*']) => {
            let text = text.chars().take(60).collect();
            Err(ReactionError::NoPlus {
                at: formula_start + 1,
                text,
            })
        }
        Err(problem) => Err(ReactionError::Formula {
            at: formula_start + 1,
            problem,
        }),
    }
}
