//! The closed formula: nodes in evaluation order.

use super::expr::{Expr, ExprNode, ExprOperation, Label};
use super::{FormulaError, stored::StoredFormula};
use crate::input::Input;
use crate::quantity::{Dimension, Quantity, Unit};
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};
use std::sync::Arc;

/// A formula over named inputs, ready to be read in every way.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(into = "StoredFormula", try_from = "StoredFormula")]
pub struct Formula {
    pub(super) inputs: Vec<Arc<Input>>,
    pub(super) nodes: Arc<[Node]>,
    pub(super) result: usize,
    pub(super) correlations: Vec<Correlation>,
    /// Values of the inputs in the coherent system, beside `inputs`.
    pub(super) values: Vec<f64>,
}

/// One node; its operands have smaller indices.
#[derive(Clone, Debug, PartialEq)]
pub struct Node {
    /// What it does.
    pub operation: Operation,
    /// What it measures.
    pub dimension: Dimension,
    /// Its name, if it has one.
    pub label: Option<Arc<Label>>,
}

/// What a node does; numbers are indices of earlier nodes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Operation {
    /// The input with this index among the formula's inputs.
    Input(usize),
    /// A constant.
    Constant(Quantity),
    /// Sum of any number of terms.
    Sum(Vec<usize>),
    /// First minus second.
    Difference(usize, usize),
    /// Product.
    Product(usize, usize),
    /// First over second.
    Quotient(usize, usize),
    /// Opposite sign.
    Negation(usize),
    /// Whole power.
    Power(usize, i32),
    /// Function of one argument.
    Function(Function, usize),
}

/// Functions of one argument.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Function {
    /// Square root.
    SquareRoot,
    /// e to the argument.
    Exponential,
    /// Natural logarithm.
    Logarithm,
    /// Sine, radians.
    Sine,
    /// Cosine, radians.
    Cosine,
}

impl Function {
    /// Name as printed.
    pub fn name(self) -> &'static str {
        match self {
            Self::SquareRoot => "√",
            Self::Exponential => "exp",
            Self::Logarithm => "ln",
            Self::Sine => "sin",
            Self::Cosine => "cos",
        }
    }

    /// The function's value.
    pub fn apply(self, x: f64) -> f64 {
        match self {
            Self::SquareRoot => x.sqrt(),
            Self::Exponential => x.exp(),
            Self::Logarithm => x.ln(),
            Self::Sine => x.sin(),
            Self::Cosine => x.cos(),
        }
    }
}

/// A declared correlation coefficient between two inputs, by index.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Correlation {
    /// First input.
    pub a: usize,
    /// Second input.
    pub b: usize,
    /// Coefficient, -1 to 1.
    pub coefficient: f64,
}

impl Operation {
    /// Calls `visit` with every operand.
    pub fn operands(&self, mut visit: impl FnMut(usize)) {
        match self {
            Self::Input(_) | Self::Constant(_) => {}
            Self::Sum(terms) => terms.iter().copied().for_each(visit),
            Self::Difference(a, b) | Self::Product(a, b) | Self::Quotient(a, b) => {
                visit(*a);
                visit(*b);
            }
            Self::Negation(a) | Self::Power(a, _) | Self::Function(_, a) => visit(*a),
        }
    }
}

impl PartialEq for Formula {
    fn eq(&self, other: &Self) -> bool {
        // Copies of one formula share their nodes and inputs.
        let input = |(a, b): (&Arc<Input>, &Arc<Input>)| Arc::ptr_eq(a, b) || a == b;
        self.result == other.result
            && self.inputs.len() == other.inputs.len()
            && (Arc::ptr_eq(&self.nodes, &other.nodes) || self.nodes == other.nodes)
            && self.inputs.iter().zip(&other.inputs).all(input)
            && self.correlations == other.correlations
    }
}

impl Formula {
    /// Closes an expression: checks dimensions and inputs, and puts the nodes in evaluation order.
    ///
    /// # Errors
    /// The first mismatch of dimensions built into the expression; [`FormulaError::ConflictingInput`] if two
    /// different inputs share an id; [`FormulaError::UnusableInput`] if a value is not finite or a width negative.
    pub fn build(expr: &Expr) -> Result<Self, FormulaError> {
        Self::build_together([expr]).map(|(formula, _)| formula)
    }

    /// Closes several expressions into one formula, so that what they share is there once; the first is its result. Gives
    /// the node of each beside it.
    ///
    /// # Errors
    /// As [`Self::build`]; [`FormulaError::Unknown`] without any expression.
    pub fn build_together<'e>(
        exprs: impl IntoIterator<Item = &'e Expr>,
    ) -> Result<(Self, Vec<usize>), FormulaError> {
        let mut builder = Builder::default();
        let mut roots = Vec::new();
        for expr in exprs {
            expr.dimension()?;
            roots.push(builder.place(expr)?);
        }
        let result = *roots
            .first()
            .ok_or_else(|| FormulaError::Unknown("the result".into()))?;
        let values = builder
            .inputs
            .iter()
            .map(|input| input.coherent_value())
            .collect();
        let formula = Self {
            inputs: builder.inputs,
            nodes: builder.nodes.into(),
            result,
            correlations: Vec::new(),
            values,
        };
        Ok((formula, roots))
    }

    /// The same formula with another of its nodes as the result.
    ///
    /// # Panics
    /// If there is no such node.
    #[must_use]
    pub fn with_result(mut self, node: usize) -> Self {
        assert!(node < self.nodes.len(), "no node {node}");
        self.result = node;
        self
    }

    /// Declares a correlation coefficient between two inputs.
    ///
    /// # Errors
    /// [`FormulaError::Unknown`] for an id that is not an input; [`FormulaError::Correlation`] if the coefficient
    /// lies outside -1..1 or the declared coefficients together are impossible (not positive semidefinite).
    pub fn correlate(mut self, a: &str, b: &str, coefficient: f64) -> Result<Self, FormulaError> {
        let find = |id: &str| {
            self.input_index(id)
                .ok_or_else(|| FormulaError::Unknown(id.into()))
        };
        let (first, second) = (find(a)?, find(b)?);
        self.correlations
            .retain(|c| (c.a, c.b) != (first, second) && (c.a, c.b) != (second, first));
        self.correlations.push(Correlation {
            a: first,
            b: second,
            coefficient,
        });
        self.check_correlations()?;
        Ok(self)
    }

    /// Checks that the declared coefficients can occur together.
    pub(super) fn check_correlations(&self) -> Result<(), FormulaError> {
        let Some(last) = self.correlations.last() else {
            return Ok(());
        };
        let fail = |c: &Correlation, fault: &str| FormulaError::Correlation {
            a: self.inputs[c.a].id.clone(),
            b: self.inputs[c.b].id.clone(),
            fault: fault.into(),
        };
        for c in &self.correlations {
            if !(-1.0..=1.0).contains(&c.coefficient) || c.a == c.b {
                return Err(fail(
                    c,
                    "must be a coefficient between -1 and 1 of two different inputs",
                ));
            }
        }
        let (_, matrix) = self.correlation_matrix();
        if crate::cholesky::factor(&matrix).is_none() {
            return Err(fail(
                last,
                "cannot occur together with the others declared (no such joint distribution exists)",
            ));
        }
        Ok(())
    }

    /// Indices of the correlated inputs and their correlation matrix.
    pub(crate) fn correlation_matrix(&self) -> (Vec<usize>, Vec<Vec<f64>>) {
        let mut members: Vec<usize> = self.correlations.iter().flat_map(|c| [c.a, c.b]).collect();
        members.sort_unstable();
        members.dedup();
        let place = |i| members.binary_search(&i).unwrap_or_default();
        let mut matrix = vec![vec![0.0; members.len()]; members.len()];
        for (i, row) in matrix.iter_mut().enumerate() {
            row[i] = 1.0;
        }
        for c in &self.correlations {
            let (a, b) = (place(c.a), place(c.b));
            matrix[a][b] = c.coefficient;
            matrix[b][a] = c.coefficient;
        }
        (members, matrix)
    }

    /// The inputs, each once.
    pub fn inputs(&self) -> &[Arc<Input>] {
        &self.inputs
    }

    /// The nodes in evaluation order.
    pub fn nodes(&self) -> &[Node] {
        &self.nodes
    }

    /// Declared correlations.
    pub fn correlations(&self) -> &[Correlation] {
        &self.correlations
    }

    /// Index of the result among the nodes.
    pub fn result_index(&self) -> usize {
        self.result
    }

    /// Index of the input with this id.
    pub fn input_index(&self, id: &str) -> Option<usize> {
        self.inputs.iter().position(|input| input.id == id)
    }

    /// Index of the node with this symbol.
    pub fn node_index(&self, symbol: &str) -> Option<usize> {
        self.nodes
            .iter()
            .position(|node| node.label.as_ref().is_some_and(|l| l.symbol == symbol))
    }

    /// The unit in which a node is shown: its own, or the coherent one.
    pub fn unit_of(&self, node: usize) -> Unit {
        let node = &self.nodes[node];
        let shown = node.label.as_ref().and_then(|label| label.unit.clone());
        shown.unwrap_or_else(|| match &node.operation {
            Operation::Input(input) => self.inputs[*input].unit.clone(),
            Operation::Constant(quantity) => quantity.unit.clone(),
            _ => Unit::coherent(node.dimension),
        })
    }

    /// Values of the inputs in the coherent system.
    pub fn input_values(&self) -> &[f64] {
        &self.values
    }

    /// The result at the inputs' values, in its unit.
    pub fn result(&self) -> Quantity {
        self.value_of(self.result)
    }

    /// The value of any node, in its unit.
    pub fn value_of(&self, node: usize) -> Quantity {
        let values = self.evaluate(&self.values);
        let unit = self.unit_of(node);
        Quantity::new(unit.from_coherent(values[node]), unit)
    }

    /// Values of all nodes (coherent system) for given input values (coherent system, in the order of `inputs`).
    pub fn evaluate(&self, inputs: &[f64]) -> Vec<f64> {
        let mut values: Vec<f64> = Vec::with_capacity(self.nodes.len());
        for node in self.nodes.iter() {
            let value = match &node.operation {
                Operation::Input(i) => inputs[*i],
                Operation::Constant(quantity) => quantity.coherent(),
                Operation::Sum(terms) => terms.iter().map(|t| values[*t]).sum(),
                Operation::Difference(a, b) => values[*a] - values[*b],
                Operation::Product(a, b) => values[*a] * values[*b],
                Operation::Quotient(a, b) => values[*a] / values[*b],
                Operation::Negation(a) => -values[*a],
                Operation::Power(a, n) => values[*a].powi(*n),
                Operation::Function(function, a) => function.apply(values[*a]),
            };
            values.push(value);
        }
        values
    }

    /// The same formula with some inputs changed (what-if); `change` returns the new input or `None` to keep it.
    ///
    /// # Errors
    /// [`FormulaError::UnusableInput`] if a changed input is impossible or measures something else.
    pub fn with_inputs(
        &self,
        change: impl Fn(&Input) -> Option<Input>,
    ) -> Result<Self, FormulaError> {
        self.clone().changing_inputs(change)
    }

    /// [`Self::with_inputs`] of a formula that is not needed as it was.
    ///
    /// # Errors
    /// As [`Self::with_inputs`].
    pub fn changing_inputs(
        mut self,
        change: impl Fn(&Input) -> Option<Input>,
    ) -> Result<Self, FormulaError> {
        for index in 0..self.inputs.len() {
            if let Some(new) = change(&self.inputs[index]) {
                self.change(index, new)?;
            }
        }
        Ok(self)
    }

    /// [`Self::changing_inputs`] of those with these indices.
    ///
    /// # Errors
    /// As [`Self::with_inputs`]; [`FormulaError::Unknown`] for an index that is none.
    pub fn changing(
        mut self,
        changes: impl IntoIterator<Item = (usize, Input)>,
    ) -> Result<Self, FormulaError> {
        for (index, new) in changes {
            if index >= self.inputs.len() {
                return Err(FormulaError::Unknown(format!("input {index}")));
            }
            self.change(index, new)?;
        }
        Ok(self)
    }

    /// The same formula with other values at some of its constants, in their units, by the indices of their nodes.
    ///
    /// # Errors
    /// [`FormulaError::Unknown`] for a node that is no constant.
    pub fn changing_constants(
        mut self,
        changes: impl IntoIterator<Item = (usize, f64)>,
    ) -> Result<Self, FormulaError> {
        let mut changes = changes.into_iter().peekable();
        if changes.peek().is_none() {
            return Ok(self);
        }
        let nodes = Arc::make_mut(&mut self.nodes);
        for (index, value) in changes {
            match nodes.get_mut(index).map(|node| &mut node.operation) {
                Some(Operation::Constant(quantity)) => quantity.value = value,
                _ => return Err(FormulaError::Unknown(format!("constant {index}"))),
            }
        }
        Ok(self)
    }

    fn change(&mut self, index: usize, new: Input) -> Result<(), FormulaError> {
        let old = &self.inputs[index];
        if new.unit.dimension() != old.unit.dimension() {
            return Err(FormulaError::UnusableInput {
                id: old.id.clone(),
                fault: format!("{} cannot replace {}", new.unit, old.unit),
            });
        }
        check_input(&new)?;
        self.values[index] = new.coherent_value();
        self.inputs[index] = Arc::new(new);
        Ok(())
    }

    /// The formula as an expression again, to be used inside another one; inputs keep their identity and `rename`
    /// gives the named steps new symbols, so that they stay apart from the steps of the other formula.
    pub fn to_expr(&self, rename: impl Fn(&str) -> String) -> Expr {
        let mut built: Vec<Expr> = Vec::with_capacity(self.nodes.len());
        for node in self.nodes.iter() {
            let at = |i: &usize| built[*i].clone();
            let operation = match &node.operation {
                Operation::Input(i) => ExprOperation::Input(self.inputs[*i].clone()),
                Operation::Constant(quantity) => ExprOperation::Constant(quantity.clone()),
                Operation::Sum(terms) => ExprOperation::Sum(terms.iter().map(at).collect()),
                Operation::Difference(a, b) => ExprOperation::Difference(at(a), at(b)),
                Operation::Product(a, b) => ExprOperation::Product(at(a), at(b)),
                Operation::Quotient(a, b) => ExprOperation::Quotient(at(a), at(b)),
                Operation::Negation(a) => ExprOperation::Negation(at(a)),
                Operation::Power(a, n) => ExprOperation::Power(at(a), *n),
                Operation::Function(f, a) => ExprOperation::Function(*f, at(a)),
            };
            let label = node.label.as_ref().map(|label| {
                if label.symbol.is_empty() {
                    return Arc::clone(label);
                }
                let symbol = rename(&label.symbol);
                let (description, unit) = (label.description.clone(), label.unit.clone());
                Arc::new(Label {
                    symbol,
                    description,
                    unit,
                })
            });
            built.push(Expr::labelled(operation, Ok(node.dimension), label));
        }
        built.swap_remove(self.result)
    }
}

/// Why an input cannot be used, if it cannot.
pub(super) fn check_input(input: &Input) -> Result<(), FormulaError> {
    let fault = if !input.value.is_finite() {
        Some("its value is not a finite number")
    } else if input.degrees_of_freedom.is_nan() || input.degrees_of_freedom <= 0.0 {
        Some("degrees of freedom must be above 0")
    } else {
        input.distribution.fault()
    };
    match fault {
        Some(fault) => Err(FormulaError::UnusableInput {
            id: input.id.clone(),
            fault: fault.into(),
        }),
        None => Ok(()),
    }
}

#[derive(Default)]
struct Builder<'e> {
    inputs: Vec<Arc<Input>>,
    nodes: Vec<Node>,
    by_id: HashMap<&'e str, usize, BuildHasherDefault<Quick>>,
    /// Placed nodes by the address of the expression's node; the expression outlives the builder.
    placed: HashMap<*const ExprNode, usize, BuildHasherDefault<Quick>>,
    /// The latest node of each input.
    input_nodes: Vec<Option<usize>>,
    /// The named nodes by their symbols.
    named: HashMap<&'e str, Vec<usize>, BuildHasherDefault<Quick>>,
}

/// A quick hash for small tables of addresses and names, by the golden ratio (Knuth, TAOCP 3, 6.4). Whoever makes
/// names collide only slows his own sheet down, which is bounded in size.
#[derive(Default)]
struct Quick(u64);

impl Quick {
    fn mix(&mut self, word: u64) {
        let product = (self.0.rotate_left(5) ^ word).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        self.0 = product ^ (product >> 32);
    }
}

impl Hasher for Quick {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        for part in bytes.chunks(8) {
            let mut word = [0; 8];
            word[..part.len()].copy_from_slice(part);
            self.mix(u64::from_le_bytes(word));
        }
    }

    fn write_usize(&mut self, address: usize) {
        self.mix(address as u64 >> 4);
    }
}

impl<'e> Builder<'e> {
    /// Places an expression and all below it, without recursion, so that depth cannot exhaust the stack.
    fn place(&mut self, root: &'e Expr) -> Result<usize, FormulaError> {
        let mut stack = vec![(root, false)];
        while let Some((expr, operands_placed)) = stack.pop() {
            if self.placed.contains_key(&Arc::as_ptr(&expr.0)) {
                continue;
            }
            if operands_placed {
                let index = self.push(&expr.0)?;
                self.placed.insert(Arc::as_ptr(&expr.0), index);
                continue;
            }
            stack.push((expr, true));
            match &expr.0.operation {
                ExprOperation::Input(_) | ExprOperation::Constant(_) => {}
                ExprOperation::Sum(terms) => stack.extend(terms.iter().rev().map(|t| (t, false))),
                ExprOperation::Difference(a, b)
                | ExprOperation::Product(a, b)
                | ExprOperation::Quotient(a, b) => {
                    stack.push((b, false));
                    stack.push((a, false));
                }
                ExprOperation::Negation(a)
                | ExprOperation::Power(a, _)
                | ExprOperation::Function(_, a) => {
                    stack.push((a, false));
                }
            }
        }
        Ok(self.placed[&Arc::as_ptr(&root.0)])
    }

    fn push(&mut self, node: &'e ExprNode) -> Result<usize, FormulaError> {
        let at = |e: &Expr| self.placed[&Arc::as_ptr(&e.0)];
        let operation = match &node.operation {
            ExprOperation::Input(input) => {
                let index = self.input(input)?;
                if let (Some(existing), None) = (self.input_nodes[index], &node.label) {
                    return Ok(existing);
                }
                Operation::Input(index)
            }
            ExprOperation::Constant(quantity) => Operation::Constant(quantity.clone()),
            ExprOperation::Sum(terms) => Operation::Sum(terms.iter().map(at).collect()),
            ExprOperation::Difference(a, b) => Operation::Difference(at(a), at(b)),
            ExprOperation::Product(a, b) => Operation::Product(at(a), at(b)),
            ExprOperation::Quotient(a, b) => Operation::Quotient(at(a), at(b)),
            ExprOperation::Negation(a) => Operation::Negation(at(a)),
            ExprOperation::Power(a, n) => Operation::Power(at(a), *n),
            ExprOperation::Function(f, a) => Operation::Function(*f, at(a)),
        };
        let dimension = node.dimension.clone()?;
        // One symbol, one step: the second time a named step comes along (from a parent's formula) it is the first.
        if let Some(label) = &node.label {
            let same = |n: &Node| n.label.as_ref() == Some(label) && n.operation == operation;
            let alike = self.named.entry(&label.symbol).or_default();
            if let Some(existing) = alike.iter().find(|i| same(&self.nodes[**i])) {
                return Ok(*existing);
            }
            alike.push(self.nodes.len());
        }
        let place = self.nodes.len();
        if let Operation::Input(index) = operation {
            self.input_nodes[index] = Some(place);
        }
        self.nodes.push(Node {
            operation,
            dimension,
            label: node.label.clone(),
        });
        Ok(place)
    }

    fn input(&mut self, input: &'e Arc<Input>) -> Result<usize, FormulaError> {
        if let Some(&index) = self.by_id.get(input.id.as_str()) {
            let known = &self.inputs[index];
            if Arc::ptr_eq(known, input) || known.is_same_quantity(input) {
                return Ok(index);
            }
            return Err(FormulaError::ConflictingInput {
                id: input.id.clone(),
            });
        }
        check_input(input)?;
        self.by_id.insert(&input.id, self.inputs.len());
        self.inputs.push(input.clone());
        self.input_nodes.push(None);
        Ok(self.inputs.len() - 1)
    }
}
