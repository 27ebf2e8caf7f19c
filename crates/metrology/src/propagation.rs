//! First-order propagation of uncertainty and the budget (JCGM 100, clauses 5 and G.4).

use crate::formula::{Formula, FormulaError};
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

/// A quantity behind leaves of a formula: an input of the formulas whose results these leaves are.
#[derive(Clone, Debug, PartialEq)]
pub struct Behind {
    /// The formula's own input that is the same quantity, if it has it.
    own: Option<usize>,
    /// Indices of the leaves among the formula's inputs, with what it contributes to each, in its unit.
    to: Vec<(usize, f64)>,
    degrees_of_freedom: f64,
}

/// The quantities behind leaves, each once: `leaves` are exact inputs of the formula, by their indices, with the formulas and
/// budgets of which they are the results.
///
/// # Errors
/// [`FormulaError::ConflictingInput`] if two different inputs share an id; [`FormulaError::Correlation`] if correlations are
/// declared, which are not carried through a leaf.
pub fn behind(
    formula: &Formula,
    leaves: &[(usize, &Formula, &Budget)],
) -> Result<Vec<Behind>, FormulaError> {
    let own: HashMap<&str, usize> = formula
        .inputs()
        .iter()
        .enumerate()
        .map(|(index, input)| (input.id.as_str(), index))
        .collect();
    let mut met: HashMap<&str, (usize, &Input)> = HashMap::new();
    let mut all: Vec<Behind> = Vec::new();
    for (leaf, of, budget) in leaves {
        if let Some(correlation) = of.correlations().first().or(formula.correlations().first()) {
            let name = |of: &Formula, index: usize| {
                of.inputs()
                    .get(index)
                    .map_or_else(String::new, |i| i.id.clone())
            };
            return Err(FormulaError::Correlation {
                a: name(of, correlation.a),
                b: name(of, correlation.b),
                fault: "is not carried through a leaf".into(),
            });
        }
        for line in &budget.lines {
            let input: &Input = &of.inputs()[line.input];
            let same = |other: &Input| match other.is_same_quantity(input) {
                true => Ok(()),
                false => Err(FormulaError::ConflictingInput {
                    id: input.id.clone(),
                }),
            };
            match met.get(input.id.as_str()) {
                Some((place, other)) => {
                    same(other)?;
                    all[*place].to.push((*leaf, line.contribution));
                }
                None => {
                    let own = own.get(input.id.as_str()).copied();
                    if let Some(own) = own {
                        same(&formula.inputs()[own])?;
                    }
                    met.insert(&input.id, (all.len(), input));
                    all.push(Behind {
                        own,
                        to: vec![(*leaf, line.contribution)],
                        degrees_of_freedom: input.degrees_of_freedom,
                    });
                }
            }
        }
    }
    Ok(all)
}

/// Propagates uncertainty to a node of a formula some of whose inputs are results of other formulas, with what is behind
/// them. The totals are those of the one formula that has the others put in their places, since first order is carried
/// through exactly; the lines are those of the formula's own inputs.
pub fn propagate_through(formula: &Formula, node: usize, behind: &[Behind]) -> Budget {
    let values = formula.evaluate(formula.input_values());
    let gradient = formula.gradient(node, &values);
    let unit = formula.unit_of(node);
    let scale = unit.factor();
    let inputs = formula.inputs();
    let sensitivity = |index: usize| gradient[index] * inputs[index].unit.factor() / scale;
    let mut total: Vec<f64> = inputs
        .iter()
        .enumerate()
        .map(|(index, input)| sensitivity(index) * input.standard_uncertainty())
        .collect();
    let mut variance = 0.0;
    let mut known = true;
    // Fourth powers over degrees of freedom come when the variance is known.
    let mut alone = Vec::with_capacity(behind.len());
    for quantity in behind {
        let through = quantity.to.iter().map(|(leaf, c)| sensitivity(*leaf) * c);
        let contribution: f64 = through.sum();
        match quantity.own {
            Some(own) => total[own] += contribution,
            None => {
                variance += contribution * contribution;
                known &= quantity.degrees_of_freedom.is_infinite();
                alone.push((contribution, quantity.degrees_of_freedom));
            }
        }
    }
    let mut lines = Vec::with_capacity(inputs.len());
    for (index, input) in inputs.iter().enumerate() {
        let u = input.standard_uncertainty();
        if u == 0.0 {
            continue;
        }
        let contribution = total[index];
        variance += contribution * contribution;
        known &= input.degrees_of_freedom.is_infinite();
        alone.push((contribution, input.degrees_of_freedom));
        lines.push(BudgetLine {
            input: index,
            sensitivity: contribution / u,
            standard_uncertainty: u,
            contribution,
            share: 0.0,
        });
    }
    for line in &mut lines {
        if variance > 0.0 {
            line.share = line.contribution * line.contribution / variance;
        }
    }
    let fourth: f64 = match known {
        true => 0.0,
        false => alone
            .iter()
            .map(|(contribution, dof)| (contribution * contribution / variance).powi(2) / dof)
            .sum(),
    };
    Budget {
        value: unit.from_coherent(values[node]),
        standard_uncertainty: variance.sqrt(),
        effective_degrees_of_freedom: if fourth > 0.0 {
            1.0 / fourth
        } else {
            f64::INFINITY
        },
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
    fn what_is_behind_a_leaf_counts_as_if_it_stood_there() {
        let input = |id: &str, value: f64, u: f64, dof: f64| {
            let distribution = Distribution::Normal {
                standard_uncertainty: u,
            };
            let input = Input::new(id, id, Quantity::number(value)).distributed(distribution);
            Expr::input(input.with_degrees_of_freedom(dof))
        };
        // Two solutions that share a burette between them, and one of them with the sample.
        let first = input("burette", 1.01, 0.003, 1e9) * input("mass", 2.0, 0.01, 7.0);
        let second = input("burette", 1.01, 0.003, 1e9) / input("purity", 0.9, 0.02, 3.0);
        let own = |a: Expr, b: Expr| {
            a * input("burette", 1.01, 0.003, 1e9) - b * input("titre", 0.4, 0.002, 5.0)
        };
        let whole = propagate(&Formula::build(&own(first.clone(), second.clone())).unwrap());
        let [first, second] = [first, second].map(|expr| Formula::build(&expr).unwrap());
        let leaf = |name: &str, of: &Formula| Expr::input(Input::new(name, name, of.result()));
        let small = Formula::build(&own(leaf("c1", &first), leaf("c2", &second))).unwrap();
        let at = |name: &str| small.input_index(name).unwrap();
        let (a, b) = (propagate(&first), propagate(&second));
        let behind = behind(&small, &[(at("c1"), &first, &a), (at("c2"), &second, &b)]).unwrap();
        assert_eq!(behind.len(), 3);
        let found = propagate_through(&small, small.result_index(), &behind);
        for (name, found, expected) in [
            ("value", found.value, whole.value),
            ("u", found.standard_uncertainty, whole.standard_uncertainty),
            (
                "degrees of freedom",
                found.effective_degrees_of_freedom,
                whole.effective_degrees_of_freedom,
            ),
        ] {
            assert!(
                (found / expected - 1.0).abs() < 1e-12,
                "{name}: {found} {expected}"
            );
        }
    }

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
