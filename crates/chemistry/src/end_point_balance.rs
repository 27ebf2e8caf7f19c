//! From amounts measured at end points to amounts of analyte, by the reactions alone.
//!
//! At an end point every measured species is used up: the analyte, the titrant added so far, a reagent that was added
//! in known amount, and whatever one reaction makes and another takes away. Each used-up species gives one linear
//! equation between the amounts put in and the extents of the reactions; solved exactly, they give each analyte as a
//! combination of the measured amounts with whole-number ratios. Direct, back, displacement, indirect, stepwise and
//! differential titrations are this one calculation; no factor is typed.

use std::fmt;

use thiserror::Error;

use crate::formula::Formula;
use crate::reaction::{Reaction, Term};

/// One end point: the reactions that have run to completion when it shows, and the measured amounts put in till then.
#[derive(Clone, Debug)]
pub struct EndPoint {
    /// How it is called, for errors.
    pub name: String,
    /// Reactions that are complete, in the order in which they take place.
    pub reactions: Vec<Reaction>,
    /// Measured amounts put in: species and index of the measured amount.
    pub added: Vec<(Formula, usize)>,
    /// False for a blank, in which the analytes are absent.
    pub with_sample: bool,
}

/// An exact rational number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rational {
    /// Upper number, with the sign.
    pub numerator: i128,
    /// Lower number, above 0.
    pub denominator: i128,
}

/// Why amounts do not follow from the end points.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum EndPointError {
    /// Nothing fixes the amount of an analyte.
    #[error(
        "the end points do not fix the amount of {species}: another end point, a blank or a reagent in known amount is missing"
    )]
    NotDetermined {
        /// The analyte.
        species: String,
    },
    /// An end point in which the equations contradict each other.
    #[error(
        "the end points say more than the reactions allow: a reagent or a reaction is missing, or an end point is superfluous"
    )]
    Contradiction,
    /// A measured species takes part in no reaction.
    #[error("{species} takes part in no reaction of end point {end_point}")]
    Idle {
        /// The species.
        species: String,
        /// The end point.
        end_point: String,
    },
    /// Numbers beyond any chemistry.
    #[error("the numbers of the reactions are too large")]
    TooLarge,
}

/// Amount of each unknown as a combination of the measured amounts: `answer[unknown][measured]`.
///
/// `unknowns` are the analytes (and reagents of unknown amount that a blank fixes), `reagents` says which of them are
/// in a blank too. `measured` is the number of measured amounts.
///
/// # Errors
/// [`EndPointError`], naming what is missing.
pub fn amounts(
    unknowns: &[Unknown],
    end_points: &[EndPoint],
    measured: usize,
) -> Result<Vec<Vec<Rational>>, EndPointError> {
    let extents: usize = end_points.iter().map(|e| e.reactions.len()).sum();
    let columns = unknowns.len() + extents;
    let mut rows: Vec<Vec<Rational>> = Vec::new();
    let mut first_extent = unknowns.len();
    for end_point in end_points {
        for species in used_up(unknowns, end_point)? {
            let mut row = vec![Rational::ZERO; columns + measured];
            for (column, unknown) in unknowns.iter().enumerate() {
                if unknown.species.is_same_species(&species)
                    && (end_point.with_sample || unknown.in_blank)
                {
                    row[column] = Rational::whole(1);
                }
            }
            for (r, reaction) in end_point.reactions.iter().enumerate() {
                row[first_extent + r] = Rational::whole(net(reaction, &species));
            }
            for (added, index) in &end_point.added {
                if added.is_same_species(&species) {
                    let sum = row[columns + index]
                        .minus(Rational::whole(1))
                        .ok_or(EndPointError::TooLarge)?;
                    row[columns + index] = sum;
                }
            }
            rows.push(row);
        }
        first_extent += end_point.reactions.len();
    }
    let pivots = reduce(&mut rows, columns).ok_or(EndPointError::TooLarge)?;
    let is_zero = |r: &Rational| r.numerator == 0;
    if rows[pivots.len()..]
        .iter()
        .any(|row| !row[columns..].iter().all(is_zero))
    {
        return Err(EndPointError::Contradiction);
    }
    unknowns
        .iter()
        .enumerate()
        .map(|(column, unknown)| {
            let row = pivots.iter().position(|p| *p == column).map(|r| &rows[r]);
            let fixed = row.filter(|row| {
                row[..columns]
                    .iter()
                    .enumerate()
                    .all(|(c, v)| c == column || is_zero(v))
            });
            fixed
                .map(|row| row[columns..].to_vec())
                .ok_or_else(|| EndPointError::NotDetermined {
                    species: unknown.species.to_string(),
                })
        })
        .collect()
}

/// A species of unknown amount.
#[derive(Clone, Debug)]
pub struct Unknown {
    /// The species as it stands in the reactions.
    pub species: Formula,
    /// True for a reagent that is in the blank as well, false for an analyte.
    pub in_blank: bool,
}

/// The species that are used up at an end point, each once.
fn used_up(unknowns: &[Unknown], end_point: &EndPoint) -> Result<Vec<Formula>, EndPointError> {
    let mut out: Vec<Formula> = Vec::new();
    let mut push = |species: &Formula| {
        if !out.iter().any(|s| s.is_same_species(species)) {
            out.push(species.clone());
        }
    };
    let takes_part = |species: &Formula| end_point.reactions.iter().any(|r| r.has(species));
    for (species, _) in &end_point.added {
        if !takes_part(species) {
            return Err(EndPointError::Idle {
                species: species.to_string(),
                end_point: end_point.name.clone(),
            });
        }
        push(species);
    }
    for unknown in unknowns {
        // An analyte that has not reacted by this end point is simply still there.
        if (end_point.with_sample || unknown.in_blank) && consumed(end_point, &unknown.species) {
            push(&unknown.species);
        }
    }
    // What one reaction makes and a later one takes away is passed through; what is taken first and made again later,
    // as iodide in iodometry, is a reagent in excess.
    for (later, reaction) in end_point.reactions.iter().enumerate() {
        for term in reaction.reactants() {
            let made_before = end_point.reactions[..later]
                .iter()
                .any(|r| net(r, &term.formula) > 0);
            if made_before && net(reaction, &term.formula) < 0 {
                push(&term.formula);
            }
        }
    }
    Ok(out)
}

fn consumed(end_point: &EndPoint, species: &Formula) -> bool {
    end_point.reactions.iter().any(|r| net(r, species) < 0)
}

/// Molecules of a species that one reaction makes (negative: takes).
fn net(reaction: &Reaction, species: &Formula) -> i128 {
    let count = |terms: &[Term]| -> i128 {
        terms
            .iter()
            .filter(|t| t.formula.is_same_species(species))
            .map(|t| i128::from(t.number))
            .sum()
    };
    count(reaction.products()) - count(reaction.reactants())
}

/// Brings the first `columns` columns to reduced echelon form; returns the pivot column of each leading row. `None` if
/// a number grows beyond its range.
fn reduce(rows: &mut [Vec<Rational>], columns: usize) -> Option<Vec<usize>> {
    let mut pivots = Vec::new();
    for column in 0..columns {
        let rank = pivots.len();
        let Some(found) = (rank..rows.len()).find(|r| rows[*r][column].numerator != 0) else {
            continue;
        };
        rows.swap(rank, found);
        let pivot = rows[rank][column];
        for value in &mut rows[rank] {
            *value = value.over(pivot)?;
        }
        let leading = rows[rank].clone();
        for (index, row) in rows.iter_mut().enumerate() {
            let factor = row[column];
            if index == rank || factor.numerator == 0 {
                continue;
            }
            for (value, lead) in row.iter_mut().zip(&leading) {
                *value = value.minus(lead.times(factor)?)?;
            }
        }
        pivots.push(column);
    }
    Some(pivots)
}

impl Rational {
    /// Nothing.
    pub const ZERO: Self = Self {
        numerator: 0,
        denominator: 1,
    };

    /// A whole number.
    pub fn whole(n: i128) -> Self {
        Self {
            numerator: n,
            denominator: 1,
        }
    }

    fn new(numerator: i128, denominator: i128) -> Option<Self> {
        let (mut a, mut b) = (numerator.unsigned_abs(), denominator.unsigned_abs());
        while b != 0 {
            (a, b) = (b, a % b);
        }
        let divisor = i128::try_from(a).ok()?.max(1) * denominator.signum();
        (denominator != 0).then(|| Self {
            numerator: numerator / divisor,
            denominator: denominator / divisor,
        })
    }

    fn times(self, other: Self) -> Option<Self> {
        Self::new(
            self.numerator.checked_mul(other.numerator)?,
            self.denominator.checked_mul(other.denominator)?,
        )
    }

    fn over(self, other: Self) -> Option<Self> {
        Self::new(
            self.numerator.checked_mul(other.denominator)?,
            self.denominator.checked_mul(other.numerator)?,
        )
    }

    fn minus(self, other: Self) -> Option<Self> {
        let left = self.numerator.checked_mul(other.denominator)?;
        let right = other.numerator.checked_mul(self.denominator)?;
        Self::new(
            left.checked_sub(right)?,
            self.denominator.checked_mul(other.denominator)?,
        )
    }

    /// As a floating-point number.
    pub fn value(self) -> f64 {
        self.numerator as f64 / self.denominator as f64
    }
}

impl fmt::Display for Rational {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.denominator == 1 {
            write!(f, "{}", self.numerator)
        } else {
            write!(f, "{}/{}", self.numerator, self.denominator)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn species(text: &str) -> Formula {
        Formula::parse(text).unwrap()
    }

    fn unknown(text: &str, in_blank: bool) -> Unknown {
        Unknown {
            species: species(text),
            in_blank,
        }
    }

    fn end_point(name: &str, reactions: &[&str], added: &[(&str, usize)]) -> EndPoint {
        EndPoint {
            name: name.into(),
            reactions: reactions
                .iter()
                .map(|r| Reaction::parse(r).unwrap())
                .collect(),
            added: added.iter().map(|(s, i)| (species(s), *i)).collect(),
            with_sample: true,
        }
    }

    fn solve(unknowns: &[Unknown], end_points: &[EndPoint], measured: usize) -> Vec<Vec<String>> {
        let answer = amounts(unknowns, end_points, measured).unwrap();
        answer
            .iter()
            .map(|row| row.iter().map(ToString::to_string).collect())
            .collect()
    }

    #[test]
    fn direct_and_indirect() {
        let vinegar = end_point("end", &["CH3COOH + OH^- -> CH3COO^- + H2O"], &[("OH^-", 0)]);
        assert_eq!(solve(&[unknown("CH3COOH", false)], &[vinegar], 1), [["1"]]);
        // One iodate, three iodine, six thiosulfate; iodide and acid are in excess and not measured.
        let iodate = end_point(
            "end",
            &[
                "IO3^- + 5 I^- + 6 H+ -> 3 I2 + 3 H2O",
                "I2 + 2 S2O3^2- -> 2 I^- + S4O6^2-",
            ],
            &[("S2O3^2-", 0)],
        );
        assert_eq!(solve(&[unknown("IO3^-", false)], &[iodate], 1), [["1/6"]]);
    }

    #[test]
    fn back_titration_subtracts_what_is_left() {
        // Calcium carbonate in known acid (0), the rest titrated with base (1): n = (n_acid - n_base)/2.
        let chalk = end_point(
            "end",
            &["CaCO3 + 2 H+ -> Ca^2+ + CO2 + H2O", "H+ + OH^- -> H2O"],
            &[("H+", 0), ("OH^-", 1)],
        );
        assert_eq!(
            solve(&[unknown("CaCO3", false)], &[chalk], 2),
            [["1/2", "-1/2"]]
        );
    }

    #[test]
    fn a_blank_fixes_the_reagent() {
        // Chemical oxygen demand: dichromate of unknown amount, iron(II) for the sample (0) and for the blank (1).
        let reactions = [
            "2 Cr2O7^2- + 16 H+ + 3 C -> 4 Cr^3+ + 8 H2O + 3 CO2",
            "Cr2O7^2- + 6 Fe^2+ + 14 H+ -> 2 Cr^3+ + 6 Fe^3+ + 7 H2O",
        ];
        let sample = end_point("sample", &reactions, &[("Fe^2+", 0)]);
        let blank = EndPoint {
            with_sample: false,
            ..end_point("blank", &reactions[1..], &[("Fe^2+", 1)])
        };
        let unknowns = [unknown("C", false), unknown("Cr2O7^2-", true)];
        assert_eq!(solve(&unknowns, &[sample, blank], 2)[0], ["-1/4", "1/4"]);
    }

    #[test]
    fn two_end_points_tell_hydroxide_from_carbonate() {
        // Cumulative acid to pH 8.3 (0) and to pH 4 (1): OH = 2 P - T, CO3 = T - P (amounts).
        let first = ["OH^- + H+ -> H2O", "CO3^2- + H+ -> HCO3^-"];
        let second = [
            "OH^- + H+ -> H2O",
            "CO3^2- + H+ -> HCO3^-",
            "HCO3^- + H+ -> H2CO3",
        ];
        let mut p = end_point("P", &first, &[("H+", 0)]);
        p.reactions.truncate(2);
        let t = end_point("T", &second, &[("H+", 1)]);
        let answer = solve(
            &[unknown("OH^-", false), unknown("CO3^2-", false)],
            &[p, t],
            2,
        );
        assert_eq!(answer, [["2", "-1"], ["-1", "1"]]);
    }

    #[test]
    fn two_titrations_tell_calcium_from_magnesium() {
        let y = "H2C10H12N2O8^2-";
        let calcium = format!("Ca^2+ + {y} -> CaC10H12N2O8^2- + 2 H+");
        let magnesium = format!("Mg^2+ + {y} -> MgC10H12N2O8^2- + 2 H+");
        let total = end_point("total", &[&calcium, &magnesium], &[(y, 0)]);
        let alone = end_point("calcium", &[&calcium], &[(y, 1)]);
        let answer = solve(
            &[unknown("Ca^2+", false), unknown("Mg^2+", false)],
            &[total, alone],
            2,
        );
        assert_eq!(answer, [["0", "1"], ["1", "-1"]]);
    }

    #[test]
    fn what_is_missing_is_named() {
        let chalk = end_point(
            "end",
            &["CaCO3 + 2 H+ -> Ca^2+ + CO2 + H2O", "H+ + OH^- -> H2O"],
            &[("OH^-", 0)],
        );
        let error = amounts(
            &[unknown("CaCO3", false), unknown("H+", true)],
            std::slice::from_ref(&chalk),
            1,
        )
        .unwrap_err();
        assert_eq!(
            error,
            EndPointError::NotDetermined {
                species: "CaCO3".into()
            }
        );
        let idle = EndPoint {
            added: vec![(species("Ag+"), 0)],
            ..chalk
        };
        assert!(matches!(
            amounts(&[unknown("CaCO3", false)], &[idle], 1),
            Err(EndPointError::Idle { .. })
        ));
    }
}
