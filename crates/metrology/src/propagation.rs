//! First-order propagation of uncertainty and the budget (JCGM 100, clauses 5 and G.4).

use crate::formula::Formula;
use crate::input::Input;
use crate::quantity::Unit;
use std::collections::HashMap;

/// Value, standard uncertainty and budget of one node of a formula, in the node's unit.
#[derive(Clone, Debug)]
pub struct Budget {
    /// Unit of `value`, `standard_uncertainty` and the contributions.
    pub unit: Unit,
    /// Value at the inputs' values.
    pub value: f64,
    /// Combined standard uncertainty.
    pub standard_uncertainty: f64,
    /// Effective degrees of freedom (Welch-Satterthwaite); infinite if every input is taken as known.
    pub effective_degrees_of_freedom: f64,
    /// One line for each input that has an uncertainty.
    pub lines: Vec<BudgetLine>,
}

/// What one input contributes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BudgetLine {
    /// Index among the formula's inputs.
    pub input: usize,
    /// Sensitivity coefficient, in units of the result per unit of the input.
    pub sensitivity: f64,
    /// Standard uncertainty of the input, in its unit.
    pub standard_uncertainty: f64,
    /// Sensitivity times standard uncertainty, with its sign, in the unit of the result.
    pub contribution: f64,
    /// Share of the variance, 0 to 1; with declared correlations a share can be negative.
    pub share: f64,
}

/// Propagates uncertainty to the formula's result.
pub fn propagate(formula: &Formula) -> Budget {
    propagate_to(formula, formula.result_index())
}

/// Propagates uncertainty to any node.
///
/// Welch-Satterthwaite holds for independent inputs. Inputs joined by declared correlations count as one component
/// with the smallest of their degrees of freedom, which is exact for observations made together (GUM H.2) and
/// cautious otherwise.
pub fn propagate_to(formula: &Formula, node: usize) -> Budget {
    let values = formula.evaluate(formula.input_values());
    let gradient = formula.gradient(node, &values);
    let unit = formula.unit_of(node);
    let scale = unit.factor();
    let mut lines = Vec::with_capacity(gradient.len());
    let mut variance = 0.0;
    for (index, (input, slope)) in formula.inputs().iter().zip(&gradient).enumerate() {
        let u = input.standard_uncertainty();
        if u == 0.0 {
            continue;
        }
        let sensitivity = slope * input.unit.factor() / scale;
        let contribution = sensitivity * u;
        variance += contribution * contribution;
        lines.push(BudgetLine {
            input: index,
            sensitivity,
            standard_uncertainty: u,
            contribution,
            share: 0.0,
        });
    }
    let clusters = clusters(formula);
    for correlation in formula.correlations() {
        let contribution = |i| {
            lines
                .iter()
                .find(|l| l.input == i)
                .map_or(0.0, |l| l.contribution)
        };
        variance += 2.0
            * correlation.coefficient
            * contribution(correlation.a)
            * contribution(correlation.b);
    }
    let variance = variance.max(0.0);
    let cross: Vec<f64> = lines
        .iter()
        .map(|line| cross_term(formula, &lines, line))
        .collect();
    if variance > 0.0 {
        for (line, cross) in lines.iter_mut().zip(cross) {
            line.share = (line.contribution * line.contribution + cross) / variance;
        }
    }
    Budget {
        value: unit.from_coherent(values[node]),
        standard_uncertainty: variance.sqrt(),
        effective_degrees_of_freedom: welch_satterthwaite(formula, &lines, &clusters, variance),
        unit,
        lines,
    }
}

/// Covariance of two nodes, in the product of their units.
pub fn covariance(formula: &Formula, a: usize, b: usize) -> f64 {
    let values = formula.evaluate(formula.input_values());
    let scaled = |node: usize| -> Vec<f64> {
        let factor = formula.unit_of(node).factor();
        let gradient = formula.gradient(node, &values);
        gradient
            .iter()
            .zip(formula.inputs())
            .map(|(g, i)| g * i.coherent_uncertainty() / factor)
            .collect()
    };
    let (ga, gb) = (scaled(a), scaled(b));
    let mut sum: f64 = ga.iter().zip(&gb).map(|(x, y)| x * y).sum();
    for c in formula.correlations() {
        sum += c.coefficient * (ga[c.a] * gb[c.b] + ga[c.b] * gb[c.a]);
    }
    sum
}

/// How an input counts between several results.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// One quantity in all that name it: what they share makes them err together.
    Shared,
    /// A quantity of each result alone, whatever it is called.
    Own,
    /// Left out, as what all have in common where only their differences matter.
    LeftOut,
}

/// Covariances of the results of several formulas, in the products of their units, by what each input is to them. Variances
/// stand on the diagonal. Correlations declared within one formula count there only.
pub fn covariances_between(
    results: &[(&Formula, &Budget)],
    role: impl Fn(&Input) -> Role,
) -> Vec<Vec<f64>> {
    let roles: Vec<Vec<Role>> = results
        .iter()
        .map(|(formula, budget)| {
            let of = |line: &BudgetLine| role(&formula.inputs()[line.input]);
            budget.lines.iter().map(of).collect()
        })
        .collect();
    let contributions: Vec<HashMap<&str, f64>> = results
        .iter()
        .zip(&roles)
        .map(|((formula, budget), roles)| {
            let id = |line: &BudgetLine| formula.inputs()[line.input].id.as_str();
            let shared = budget.lines.iter().zip(roles);
            shared
                .filter(|(_, role)| **role == Role::Shared)
                .map(|(line, _)| (id(line), line.contribution))
                .collect()
        })
        .collect();
    let between = |i: usize, j: usize| -> f64 {
        let (formula, budget) = results[i];
        let lines = budget.lines.iter().zip(&roles[i]);
        if i == j {
            let left_out: f64 = lines
                .filter(|(_, role)| **role == Role::LeftOut)
                .map(|(line, _)| line.contribution.powi(2))
                .sum();
            return (budget.standard_uncertainty.powi(2) - left_out).max(0.0);
        }
        // In the order of the budget, so that the same results give the same bits.
        lines
            .filter(|(_, role)| **role == Role::Shared)
            .filter_map(|(line, _)| {
                let id = formula.inputs()[line.input].id.as_str();
                contributions[j].get(id).map(|c| c * line.contribution)
            })
            .sum()
    };
    let n = results.len();
    let rows: Vec<Vec<f64>> = (0..n)
        .map(|i| (0..=i).map(|j| between(i, j)).collect())
        .collect();
    (0..n)
        .map(|i| (0..n).map(|j| rows[i.max(j)][i.min(j)]).collect())
        .collect()
}

/// Half of the covariance terms in which a line takes part.
fn cross_term(formula: &Formula, lines: &[BudgetLine], line: &BudgetLine) -> f64 {
    let other = |i| {
        lines
            .iter()
            .find(|l| l.input == i)
            .map_or(0.0, |l| l.contribution)
    };
    formula
        .correlations()
        .iter()
        .filter_map(|c| {
            let partner = if c.a == line.input {
                c.b
            } else if c.b == line.input {
                c.a
            } else {
                return None;
            };
            Some(c.coefficient * line.contribution * other(partner))
        })
        .sum()
}

/// For each input, the first input of the cluster of declared correlations it belongs to.
fn clusters(formula: &Formula) -> Vec<usize> {
    let mut first: Vec<usize> = (0..formula.inputs().len()).collect();
    if formula.correlations().is_empty() {
        return first;
    }
    for _ in 0..formula.correlations().len() {
        for c in formula.correlations() {
            let least = first[c.a].min(first[c.b]);
            first[c.a] = least;
            first[c.b] = least;
        }
    }
    first
}

/// Effective degrees of freedom (JCGM 100, equation G.2b), fractional.
fn welch_satterthwaite(
    formula: &Formula,
    lines: &[BudgetLine],
    clusters: &[usize],
    variance: f64,
) -> f64 {
    let dof = |line: &BudgetLine| formula.inputs()[line.input].degrees_of_freedom;
    if lines.iter().all(|line| dof(line).is_infinite()) {
        return f64::INFINITY;
    }
    let mut sum = 0.0;
    for (i, line) in lines.iter().enumerate() {
        let cluster = clusters[line.input];
        if lines[..i].iter().any(|l| clusters[l.input] == cluster) {
            continue;
        }
        let members: Vec<&BudgetLine> = lines[i..]
            .iter()
            .filter(|l| clusters[l.input] == cluster)
            .collect();
        let part: f64 = if members.len() == 1 {
            line.contribution * line.contribution
        } else {
            members
                .iter()
                .map(|l| l.contribution * l.contribution + cross_term(formula, lines, l))
                .sum()
        };
        let least = members.iter().map(|l| dof(l)).fold(f64::INFINITY, f64::min);
        // Relative to the whole, so that no size of number overflows.
        sum += (part / variance).powi(2) / least;
    }
    if sum > 0.0 { 1.0 / sum } else { f64::INFINITY }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Distribution, Expr, Input, Quantity};

    #[test]
    fn results_that_share_an_input_err_together() {
        let input = |id: &str, u: f64| {
            let distribution = Distribution::Normal {
                standard_uncertainty: u,
            };
            Expr::input(Input::new(id, id, Quantity::number(2.0)).distributed(distribution))
        };
        let formula =
            |own: &str| Formula::build(&(input("shared", 0.3) + input(own, 0.4))).unwrap();
        let (a, b) = (formula("a"), formula("b"));
        let (one, other) = (propagate(&a), propagate(&b));
        let results = [(&a, &one), (&b, &other)];
        let matrix = covariances_between(&results, |_| Role::Shared);
        for (i, j, expected) in [(0, 0, 0.25), (0, 1, 0.09), (1, 0, 0.09), (1, 1, 0.25)] {
            let found: f64 = matrix[i][j];
            assert!((found / expected - 1.0).abs() < 1e-12, "{i} {j}: {found}");
        }

        // Under one name, but of each alone; and only what differs.
        for (role, expected) in [(Role::Own, 0.0), (Role::LeftOut, 0.0)] {
            let matrix = covariances_between(&results, |input| {
                if input.id == "shared" {
                    role
                } else {
                    Role::Shared
                }
            });
            let found: f64 = matrix[0][1];
            assert!((found - expected).abs() < 1e-15, "{role:?}: {found}");
        }
        let matrix = covariances_between(&results, |input| {
            if input.id == "shared" {
                Role::LeftOut
            } else {
                Role::Shared
            }
        });
        assert!((matrix[0][0] / 0.16 - 1.0).abs() < 1e-12);
    }
}
