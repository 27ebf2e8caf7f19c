//! The stored form of a formula: written by the record, checked when read back.

use super::graph::check_input;
use super::{Correlation, Formula, FormulaError, Label, Node, Operation};
use crate::input::Input;
use crate::quantity::{Dimension, Quantity};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StoredFormula {
    inputs: Vec<Arc<Input>>,
    nodes: Vec<StoredNode>,
    result: usize,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    correlations: Vec<Correlation>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct StoredNode {
    operation: Operation,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    label: Option<Arc<Label>>,
}

impl From<Formula> for StoredFormula {
    fn from(formula: Formula) -> Self {
        Self {
            inputs: formula.inputs,
            nodes: formula
                .nodes
                .iter()
                .map(|node| StoredNode {
                    operation: node.operation.clone(),
                    label: node.label.clone(),
                })
                .collect(),
            result: formula.result,
            correlations: formula.correlations,
        }
    }
}

impl TryFrom<StoredFormula> for Formula {
    type Error = FormulaError;

    fn try_from(stored: StoredFormula) -> Result<Self, FormulaError> {
        let damaged = |what: &str| FormulaError::Damaged(what.into());
        stored
            .inputs
            .iter()
            .try_for_each(|input| check_input(input))?;
        let mut nodes: Vec<Node> = Vec::with_capacity(stored.nodes.len());
        for StoredNode { operation, label } in stored.nodes {
            let mut backwards = true;
            operation.operands(|i| backwards &= i < nodes.len());
            if !backwards {
                return Err(damaged("a step uses a later one"));
            }
            let dimension = dimension(&operation, &nodes, &stored.inputs)?;
            if let Some(unit) = label.as_ref().and_then(|l| l.unit.as_ref())
                && unit.dimension() != dimension
            {
                return Err(damaged("a step is shown in a unit of another kind"));
            }
            nodes.push(Node {
                operation,
                dimension,
                label,
            });
        }
        let known = |i| i < stored.inputs.len();
        if stored.result >= nodes.len()
            || !stored.correlations.iter().all(|c| known(c.a) && known(c.b))
        {
            return Err(damaged("a reference points to nothing"));
        }
        let values = stored
            .inputs
            .iter()
            .map(|input| input.coherent_value())
            .collect();
        let formula = Self {
            inputs: stored.inputs,
            nodes: nodes.into(),
            result: stored.result,
            correlations: stored.correlations,
            values,
        };
        formula.check_correlations()?;
        Ok(formula)
    }
}

/// Works a node's dimension out again from its operands.
fn dimension(
    operation: &Operation,
    nodes: &[Node],
    inputs: &[Arc<Input>],
) -> Result<Dimension, FormulaError> {
    let at = |i: &usize| nodes[*i].dimension;
    let damaged = || FormulaError::Damaged("the dimensions of a step do not agree".into());
    let number = |i: &usize| {
        if at(i) == Dimension::NUMBER {
            Ok(Dimension::NUMBER)
        } else {
            Err(damaged())
        }
    };
    Ok(match operation {
        Operation::Input(i) => inputs.get(*i).ok_or_else(damaged)?.unit.dimension(),
        Operation::Constant(Quantity { unit, .. }) => unit.dimension(),
        Operation::Sum(terms) => {
            let first = terms.first().map(at).ok_or_else(damaged)?;
            if terms.iter().any(|t| at(t) != first) {
                return Err(damaged());
            }
            first
        }
        Operation::Difference(a, b) if at(a) == at(b) => at(a),
        Operation::Difference(..) => return Err(damaged()),
        Operation::Product(a, b) => at(a) * at(b),
        Operation::Quotient(a, b) => at(a) / at(b),
        Operation::Negation(a) => at(a),
        Operation::Power(a, n) => at(a).power(*n).ok_or_else(damaged)?,
        Operation::Function(super::Function::SquareRoot, a) => {
            at(a).square_root().ok_or_else(damaged)?
        }
        Operation::Function(_, a) => number(a)?,
    })
}

#[cfg(test)]
mod tests {
    use crate::{Distribution, Expr, Formula, Input, Origin, Quantity};

    fn formula() -> Formula {
        let q = |value, unit: &str| Quantity::new(value, unit.parse().unwrap());
        let m = Expr::input(
            Input::new("m", "m", q(0.3888, "g"))
                .written("0.3888")
                .distributed(Distribution::Rectangular {
                    half_width: 0.15e-3,
                })
                .from_origin(Origin::Reading("balance".into())),
        );
        let v = Expr::input(
            Input::new("V", "V", q(18.64, "mL"))
                .distributed(Distribution::StudentT { scale: 0.01 })
                .with_degrees_of_freedom(4.0)
                .of_run("1"),
        );
        let c = (m / v)
            .named("rho", "mass concentration")
            .in_unit("g/L".parse().unwrap());
        Formula::build(&c)
            .unwrap()
            .correlate("m", "V", 0.25)
            .unwrap()
    }

    #[test]
    fn a_formula_is_stored_and_read_back_unchanged() {
        let formula = formula();
        let text = serde_json::to_string(&formula).unwrap();
        assert_eq!(serde_json::from_str::<Formula>(&text).unwrap(), formula);
    }

    #[test]
    fn a_damaged_formula_is_refused() {
        let good = serde_json::to_value(formula()).unwrap();
        let spoil = |change: &dyn Fn(&mut serde_json::Value)| {
            let mut bad = good.clone();
            change(&mut bad);
            serde_json::from_value::<Formula>(bad)
                .unwrap_err()
                .to_string()
        };
        assert!(spoil(&|v| v["result"] = 99.into()).contains("points to nothing"));
        assert!(
            spoil(&|v| v["nodes"][0]["operation"] = serde_json::json!({"negation": 7}))
                .contains("later")
        );
        assert!(
            spoil(&|v| v["nodes"][2]["operation"] = serde_json::json!({"sum": [0, 1]}))
                .contains("dimensions")
        );
        assert!(
            spoil(&|v| v["correlations"][0]["coefficient"] = 1.5.into())
                .contains("between -1 and 1")
        );
        assert!(
            spoil(&|v| v["inputs"][0]["distribution"]["half_width"] = (-1.0).into())
                .contains("not below 0")
        );
    }
}
