//! Building formulas with ordinary Rust operators.

use super::FormulaError;
use crate::input::Input;
use crate::quantity::{Dimension, Quantity, Unit};
use std::ops::{Add, Div, Mul, Neg, Sub};
use std::sync::Arc;

/// A formula under construction; cloning shares the node.
///
/// Operators never fail. A mismatch of dimensions is remembered at the node where it happened and reported, naming
/// both sides, when [`super::Formula::build`] closes the formula.
///
/// # Example
/// ```
/// use metrology::{Expr, Formula, Input, Quantity};
/// let q = |value, unit: &str| Quantity::new(value, unit.parse().unwrap());
/// let m = Expr::input(Input::new("m", "m", q(0.3888, "g")));
/// let molar_mass = Expr::input(Input::new("M", "M", q(204.2212, "g/mol")));
/// let v = Expr::input(Input::new("V", "V", q(18.64, "mL")));
/// let c = (m / (molar_mass * v)).named("c", "concentration").in_unit("mol/L".parse().unwrap());
/// let formula = Formula::build(&c).unwrap();
/// assert!((formula.result().value - 0.102_136_16).abs() < 1e-8);
/// ```
#[derive(Clone, Debug)]
pub struct Expr(pub(super) Arc<ExprNode>);

#[derive(Clone, Debug)]
pub(super) struct ExprNode {
    pub(super) operation: ExprOperation,
    pub(super) dimension: Result<Dimension, FormulaError>,
    pub(super) label: Option<Arc<Label>>,
    /// At the values of its inputs, in the coherent system; computed as [`super::Formula::evaluate`] does.
    value: f64,
}

/// Name of an intermediate result.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Label {
    /// Symbol, as printed in the working; unique within a formula.
    pub symbol: String,
    /// What it is, in words.
    pub description: String,
    /// Unit in which it is shown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
}

#[derive(Clone, Debug)]
pub(super) enum ExprOperation {
    Input(Arc<Input>),
    Constant(Quantity),
    Sum(Vec<Expr>),
    Difference(Expr, Expr),
    Product(Expr, Expr),
    Quotient(Expr, Expr),
    Negation(Expr),
    Power(Expr, i32),
    Function(super::Function, Expr),
}

impl ExprOperation {
    fn value(&self) -> f64 {
        match self {
            Self::Input(input) => input.coherent_value(),
            Self::Constant(quantity) => quantity.coherent(),
            Self::Sum(terms) => terms.iter().map(|t| t.0.value).sum(),
            Self::Difference(a, b) => a.0.value - b.0.value,
            Self::Product(a, b) => a.0.value * b.0.value,
            Self::Quotient(a, b) => a.0.value / b.0.value,
            Self::Negation(a) => -a.0.value,
            Self::Power(a, n) => a.0.value.powi(*n),
            Self::Function(function, a) => function.apply(a.0.value),
        }
    }
}

impl Expr {
    pub(super) fn new(
        operation: ExprOperation,
        dimension: Result<Dimension, FormulaError>,
    ) -> Self {
        Self::labelled(operation, dimension, None)
    }

    pub(super) fn labelled(
        operation: ExprOperation,
        dimension: Result<Dimension, FormulaError>,
        label: Option<Arc<Label>>,
    ) -> Self {
        let value = operation.value();
        Self(Arc::new(ExprNode {
            operation,
            dimension,
            label,
            value,
        }))
    }

    /// The value at the inputs' values, in the unit in which it is shown: that of [`super::Formula::result`] after
    /// closing it. Inputs are not compared with one another; that is done when the formula is closed.
    ///
    /// # Errors
    /// The first mismatch of dimensions that was built into it.
    pub fn value(&self) -> Result<Quantity, FormulaError> {
        let dimension = self.dimension()?;
        let shown = self.0.label.as_ref().and_then(|label| label.unit.clone());
        let unit = shown.unwrap_or_else(|| match &self.0.operation {
            ExprOperation::Input(input) => input.unit.clone(),
            ExprOperation::Constant(quantity) => quantity.unit.clone(),
            _ => Unit::coherent(dimension),
        });
        Ok(Quantity::new(unit.from_coherent(self.0.value), unit))
    }

    /// A named input.
    pub fn input(input: Input) -> Self {
        Self::shared_input(Arc::new(input))
    }

    /// A named input that is already shared.
    pub fn shared_input(input: Arc<Input>) -> Self {
        let dimension = input.unit.dimension();
        Self::new(ExprOperation::Input(input), Ok(dimension))
    }

    /// A constant of the model.
    pub fn constant(quantity: Quantity) -> Self {
        let dimension = quantity.unit.dimension();
        Self::new(ExprOperation::Constant(quantity), Ok(dimension))
    }

    /// A pure number.
    pub fn number(value: f64) -> Self {
        Self::constant(Quantity::number(value))
    }

    /// The sum of any number of terms; an empty sum is the number 0.
    pub fn sum(terms: impl IntoIterator<Item = Self>) -> Self {
        let terms: Vec<Self> = terms.into_iter().collect();
        match terms.len() {
            0 => Self::number(0.0),
            1 => terms[0].clone(),
            _ => {
                let dimension =
                    terms
                        .iter()
                        .skip(1)
                        .try_fold(terms[0].dimension(), |first, term| {
                            same_dimension("add", first.clone(), term.dimension()).map(|()| first)
                        });
                let dimension = dimension.and_then(|d| d);
                Self::new(ExprOperation::Sum(terms), dimension)
            }
        }
    }

    /// The arithmetic mean of the terms.
    pub fn mean(terms: impl IntoIterator<Item = Self>) -> Self {
        let terms: Vec<Self> = terms.into_iter().collect();
        let n = terms.len();
        if n <= 1 {
            Self::sum(terms)
        } else {
            Self::sum(terms) / Self::number(n as f64)
        }
    }

    /// A whole power.
    #[must_use]
    pub fn power(&self, exponent: i32) -> Self {
        let dimension = self.dimension().and_then(|d| {
            d.power(exponent).ok_or_else(|| FormulaError::Power {
                base: self.side(),
                exponent: exponent.to_string(),
            })
        });
        Self::new(ExprOperation::Power(self.clone(), exponent), dimension)
    }

    /// The square root.
    #[must_use]
    pub fn square_root(&self) -> Self {
        let dimension = self.dimension().and_then(|d| {
            d.square_root().ok_or_else(|| FormulaError::Power {
                base: self.side(),
                exponent: "1/2".into(),
            })
        });
        Self::new(
            ExprOperation::Function(super::Function::SquareRoot, self.clone()),
            dimension,
        )
    }

    /// e raised to a pure number.
    #[must_use]
    pub fn exponential(&self) -> Self {
        self.of_number(super::Function::Exponential)
    }

    /// Natural logarithm of a pure number.
    #[must_use]
    pub fn logarithm(&self) -> Self {
        self.of_number(super::Function::Logarithm)
    }

    /// Sine of a pure number (radians).
    #[must_use]
    pub fn sine(&self) -> Self {
        self.of_number(super::Function::Sine)
    }

    /// Cosine of a pure number (radians).
    #[must_use]
    pub fn cosine(&self) -> Self {
        self.of_number(super::Function::Cosine)
    }

    fn of_number(&self, function: super::Function) -> Self {
        let dimension = self.dimension().and_then(|d| {
            if d == Dimension::NUMBER {
                Ok(d)
            } else {
                Err(FormulaError::NotANumber {
                    function: function.name(),
                    argument: self.side(),
                })
            }
        });
        Self::new(ExprOperation::Function(function, self.clone()), dimension)
    }

    /// Gives the node a name; it becomes a line of the working.
    #[must_use]
    pub fn named(&self, symbol: impl Into<String>, description: impl Into<String>) -> Self {
        let mut node = (*self.0).clone();
        node.label = Some(Arc::new(Label {
            symbol: symbol.into(),
            description: description.into(),
            unit: None,
        }));
        Self(Arc::new(node))
    }

    /// Sets the unit in which the node is shown; it must measure what the node is.
    #[must_use]
    pub fn in_unit(&self, unit: Unit) -> Self {
        let mut node = (*self.0).clone();
        node.dimension = node.dimension.and_then(|d| {
            if d == unit.dimension() {
                Ok(d)
            } else {
                Err(FormulaError::Mismatch {
                    verb: "show",
                    left: self.side(),
                    left_is: d.to_string(),
                    right: unit.to_string(),
                    right_is: unit.dimension().to_string(),
                })
            }
        });
        let label = node.label.get_or_insert_with(|| {
            Arc::new(Label {
                symbol: String::new(),
                description: String::new(),
                unit: None,
            })
        });
        // The name alone is shared with the node before.
        let label = Arc::make_mut(label);
        label.unit = Some(unit);
        Self(Arc::new(node))
    }

    /// The dimension of the node.
    ///
    /// # Errors
    /// The first mismatch that was built into it.
    pub fn dimension(&self) -> Result<Dimension, FormulaError> {
        self.0.dimension.clone()
    }

    /// How this node is called in an error.
    fn side(&self) -> String {
        if let Some(label) = self.0.label.as_ref().filter(|l| !l.symbol.is_empty()) {
            return label.symbol.clone();
        }
        match &self.0.operation {
            ExprOperation::Input(input) => format!("{} ({})", input.symbol, input.unit),
            ExprOperation::Constant(quantity) => quantity.to_string(),
            _ => "the expression".to_string(),
        }
    }

    fn combine(
        self,
        other: Self,
        operation: fn(Expr, Expr) -> ExprOperation,
        rule: impl FnOnce(Dimension, Dimension) -> Dimension,
    ) -> Self {
        let dimension = self
            .dimension()
            .and_then(|a| other.dimension().map(|b| rule(a, b)));
        Self::new(operation(self, other), dimension)
    }
}

/// Checks that two sides measure the same.
fn same_dimension(
    verb: &'static str,
    left: Result<Dimension, FormulaError>,
    right: Result<Dimension, FormulaError>,
) -> Result<(), FormulaError> {
    let (left, right) = (left?, right?);
    if left == right {
        return Ok(());
    }
    Err(FormulaError::Mismatch {
        verb,
        left: "the left side".into(),
        left_is: left.to_string(),
        right: "the right side".into(),
        right_is: right.to_string(),
    })
}

/// Names the two operands in a mismatch.
fn name_sides(error: FormulaError, left: &Expr, right: &Expr) -> FormulaError {
    match error {
        FormulaError::Mismatch {
            verb,
            left: l,
            left_is,
            right_is,
            ..
        } if l == "the left side" => FormulaError::Mismatch {
            verb,
            left: left.side(),
            left_is,
            right: right.side(),
            right_is,
        },
        other => other,
    }
}

impl Add for Expr {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        let dimension = same_dimension("add", self.dimension(), other.dimension())
            .map_err(|error| name_sides(error, &self, &other))
            .and_then(|()| self.dimension());
        // Chained additions stay one flat sum.
        let terms = match (&self.0.operation, &self.0.label) {
            (ExprOperation::Sum(terms), None) => terms.iter().cloned().chain([other]).collect(),
            _ => vec![self, other],
        };
        Self::new(ExprOperation::Sum(terms), dimension)
    }
}

impl Sub for Expr {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        let dimension = same_dimension("subtract", self.dimension(), other.dimension())
            .map_err(|error| name_sides(error, &self, &other))
            .and_then(|()| self.dimension());
        Self::new(ExprOperation::Difference(self, other), dimension)
    }
}

impl Mul for Expr {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        self.combine(other, ExprOperation::Product, |a, b| a * b)
    }
}

impl Div for Expr {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        self.combine(other, ExprOperation::Quotient, |a, b| a / b)
    }
}

impl Neg for Expr {
    type Output = Self;
    fn neg(self) -> Self {
        let dimension = self.dimension();
        Self::new(ExprOperation::Negation(self), dimension)
    }
}

impl Mul<f64> for Expr {
    type Output = Self;
    fn mul(self, factor: f64) -> Self {
        self * Self::number(factor)
    }
}

impl Div<f64> for Expr {
    type Output = Self;
    fn div(self, divisor: f64) -> Self {
        self / Self::number(divisor)
    }
}
