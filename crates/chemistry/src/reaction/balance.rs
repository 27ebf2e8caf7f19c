//! Balancing by exact arithmetic: the null space of the matrix of elements and charge over the species.

use std::collections::BTreeSet;

use super::{Conserved, Reaction, ReactionError, Term};

/// Greatest common divisor; of 0 and n it is n.
pub(super) fn greatest_common_divisor(a: u128, b: u128) -> u128 {
    let (mut a, mut b) = (a, b);
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

pub(super) fn balanced(reaction: &Reaction) -> Result<Reaction, ReactionError> {
    let terms: Vec<&Term> = reaction.terms().collect();
    let left = reaction.reactants.len();
    for (index, term) in terms.iter().enumerate() {
        if terms[..index]
            .iter()
            .any(|t| t.formula.is_same_species(&term.formula))
        {
            return Err(ReactionError::OnBothSides(term.formula.to_string()));
        }
    }
    let elements: BTreeSet<_> = terms
        .iter()
        .flat_map(|t| t.formula.composition().elements())
        .collect();
    for element in &elements {
        let has = |side: &[Term]| {
            side.iter()
                .any(|t| t.formula.composition().count(*element) > 0)
        };
        if has(&reaction.reactants) != has(&reaction.products) {
            return Err(ReactionError::OneSided(*element));
        }
    }
    // Products enter with a minus, so that a balanced reaction has positive numbers throughout.
    let conserved = elements
        .into_iter()
        .map(Conserved::Element)
        .chain([Conserved::Charge]);
    let rows = conserved.map(|of| {
        let signed = |(i, t): (usize, &&Term)| {
            if i < left {
                of.amount(&t.formula)
            } else {
                -of.amount(&t.formula)
            }
        };
        terms.iter().enumerate().map(signed).collect::<Vec<i128>>()
    });
    let numbers = only_solution(rows.collect(), terms.len())?;
    for (term, number) in terms.iter().zip(&numbers) {
        if *number <= 0 {
            return Err(ReactionError::WrongSide {
                species: term.formula.to_string(),
                absent: *number == 0,
            });
        }
    }
    let mut new_terms = terms.iter().zip(&numbers).map(|(term, number)| {
        let number = u64::try_from(*number).map_err(|_| ReactionError::TooLarge)?;
        Ok(Term {
            number,
            formula: term.formula.clone(),
        })
    });
    let reactants = new_terms.by_ref().take(left).collect::<Result<_, _>>()?;
    let products = new_terms.collect::<Result<_, _>>()?;
    Ok(Reaction {
        reactants,
        products,
    })
}

/// The smallest whole numbers x with A x = 0, most of them positive; an error unless they are unique.
///
/// Fraction-free elimination on whole rows; each row is divided by its greatest common divisor, so numbers stay small.
fn only_solution(mut rows: Vec<Vec<i128>>, columns: usize) -> Result<Vec<i128>, ReactionError> {
    let too_large = || ReactionError::TooLarge;
    let mut pivots: Vec<usize> = Vec::new(); // pivots[r] is the column of row r
    for column in 0..columns {
        let rank = pivots.len();
        let Some(found) = (rank..rows.len()).find(|r| rows[*r][column] != 0) else {
            continue;
        };
        rows.swap(rank, found);
        let pivot = rows[rank].clone();
        for (index, row) in rows.iter_mut().enumerate() {
            let factor = row[column];
            if index == rank || factor == 0 {
                continue;
            }
            for (value, p) in row.iter_mut().zip(&pivot) {
                let kept = value.checked_mul(pivot[column]).ok_or_else(too_large)?;
                let taken = p.checked_mul(factor).ok_or_else(too_large)?;
                *value = kept.checked_sub(taken).ok_or_else(too_large)?;
            }
            shorten(row);
        }
        pivots.push(column);
    }
    let free: Vec<usize> = (0..columns).filter(|c| !pivots.contains(c)).collect();
    let [free] = free[..] else {
        let independent = free.len();
        return Err(if independent == 0 {
            ReactionError::Impossible
        } else {
            ReactionError::Underdetermined { independent }
        });
    };
    // Row r now reads p x[pivot] + q x[free] = 0. With x[free] the least common multiple of all p, all are whole.
    let mut scale: i128 = 1;
    for (row, pivot) in rows.iter().zip(&pivots) {
        let p = row[*pivot].abs();
        let common = greatest_common_divisor(scale.unsigned_abs(), row[*pivot].unsigned_abs());
        scale = i128::try_from(common)
            .ok()
            .and_then(|d| scale.checked_mul(p / d))
            .ok_or_else(too_large)?;
    }
    let mut numbers = vec![0; columns];
    numbers[free] = scale;
    for (row, pivot) in rows.iter().zip(&pivots) {
        numbers[*pivot] = row[free]
            .checked_mul(-(scale / row[*pivot]))
            .ok_or_else(too_large)?;
    }
    shorten(&mut numbers);
    if numbers.iter().filter(|n| **n < 0).count() * 2 > columns {
        numbers.iter_mut().for_each(|n| *n = -*n);
    }
    Ok(numbers)
}

/// Divides by the greatest common divisor.
fn shorten(row: &mut [i128]) {
    let divisor = row
        .iter()
        .fold(0, |d, n| greatest_common_divisor(d, n.unsigned_abs()));
    if let Ok(divisor @ 2..) = i128::try_from(divisor) {
        row.iter_mut().for_each(|n| *n /= divisor);
    }
}
