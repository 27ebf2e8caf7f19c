//! Exact derivatives, by reverse accumulation through the graph.

use super::{Formula, Function, Operation};

impl Formula {
    /// Partial derivatives of `node` with respect to every input (coherent system), at given values of all nodes
    /// as [`Formula::evaluate`] returns them. One backward pass, whatever the number of inputs.
    pub fn gradient(&self, node: usize, values: &[f64]) -> Vec<f64> {
        self.gradient_of(&self.node_derivatives(node, values))
    }

    /// The same from derivatives with respect to the nodes, as [`Formula::node_derivatives`] gives them.
    pub fn gradient_of(&self, slopes: &[f64]) -> Vec<f64> {
        let mut gradient = vec![0.0; self.inputs.len()];
        for (slope, node) in slopes.iter().zip(self.nodes.iter()) {
            if let Operation::Input(input) = node.operation {
                gradient[input] += slope;
            }
        }
        gradient
    }

    /// Partial derivatives of `node` with respect to every earlier node (coherent system), each node taken as if it
    /// could be moved by itself; 0 for nodes it does not rest on.
    pub fn node_derivatives(&self, node: usize, values: &[f64]) -> Vec<f64> {
        let mut adjoint = vec![0.0; self.nodes.len()];
        adjoint[node] = 1.0;
        for i in (0..=node).rev() {
            let w = adjoint[i];
            if w == 0.0 {
                continue;
            }
            match &self.nodes[i].operation {
                Operation::Input(_) | Operation::Constant(_) => {}
                Operation::Sum(terms) => {
                    for t in terms {
                        adjoint[*t] += w;
                    }
                }
                Operation::Difference(a, b) => {
                    adjoint[*a] += w;
                    adjoint[*b] -= w;
                }
                Operation::Product(a, b) => {
                    adjoint[*a] += w * values[*b];
                    adjoint[*b] += w * values[*a];
                }
                Operation::Quotient(a, b) => {
                    adjoint[*a] += w / values[*b];
                    adjoint[*b] -= w * values[i] / values[*b];
                }
                Operation::Negation(a) => adjoint[*a] -= w,
                Operation::Power(a, n) => {
                    adjoint[*a] += w * f64::from(*n) * values[*a].powi(*n - 1);
                }
                Operation::Function(function, a) => {
                    let x = values[*a];
                    adjoint[*a] += w * match function {
                        Function::SquareRoot => 0.5 / values[i],
                        Function::Exponential => values[i],
                        Function::Logarithm => 1.0 / x,
                        Function::Sine => x.cos(),
                        Function::Cosine => -x.sin(),
                    };
                }
            }
        }
        adjoint
    }
}

#[cfg(test)]
mod tests {
    use crate::{Expr, Formula, Input, Quantity};
    use proptest::prelude::*;

    /// Random expressions of pure numbers over three inputs, kept away from poles.
    fn expression() -> impl Strategy<Value = Expr> {
        let x = |i: usize| {
            Expr::input(Input::new(
                format!("x{i}"),
                format!("x{i}"),
                Quantity::number(1.0 + 0.3 * i as f64),
            ))
        };
        let leaf = prop_oneof![
            (0usize..3).prop_map(x),
            (0.5f64..2.0).prop_map(Expr::number)
        ];
        leaf.prop_recursive(5, 40, 3, |inner| {
            prop_oneof![
                (inner.clone(), inner.clone()).prop_map(|(a, b)| a + b),
                (inner.clone(), inner.clone()).prop_map(|(a, b)| a - b),
                (inner.clone(), inner.clone()).prop_map(|(a, b)| a * b),
                (inner.clone(), inner.clone())
                    .prop_map(|(a, b)| a / (b.power(2) + Expr::number(1.0))),
                inner
                    .clone()
                    .prop_map(|a| (a.power(2) + Expr::number(0.5)).square_root()),
                inner
                    .clone()
                    .prop_map(|a| (a.power(2) + Expr::number(0.5)).logarithm()),
                inner.clone().prop_map(|a| a.sine()),
                inner.clone().prop_map(|a| a.cosine().exponential()),
                inner.prop_map(|a| -a),
            ]
        })
    }

    proptest! {
        #[test]
        fn derivatives_agree_with_central_differences(expr in expression()) {
            let formula = Formula::build(&expr).unwrap();
            let x = formula.input_values().to_vec();
            let values = formula.evaluate(&x);
            let gradient = formula.gradient(formula.result_index(), &values);
            let at = |x: &[f64]| formula.evaluate(x)[formula.result_index()];
            for i in 0..x.len() {
                // Richardson-extrapolated central difference: error of order h^4.
                let slope = |h: f64| {
                    let (mut up, mut down) = (x.clone(), x.clone());
                    up[i] += h;
                    down[i] -= h;
                    (at(&up) - at(&down)) / (2.0 * h)
                };
                let (h, scale) = (1e-3, values.iter().fold(1.0f64, |m, v| m.max(v.abs())));
                let estimate = (4.0 * slope(h / 2.0) - slope(h)) / 3.0;
                // Skip where the difference itself is not smooth enough to judge.
                prop_assume!((slope(h) - slope(h / 2.0)).abs() < 1e-3 * (estimate.abs() + scale));
                prop_assert!((gradient[i] - estimate).abs() <= 1e-5 * (estimate.abs() + scale), "{} {}", gradient[i], estimate);
            }
        }
    }
}
