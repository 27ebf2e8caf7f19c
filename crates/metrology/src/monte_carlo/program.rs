//! A formula prepared for simulation: what does not vary is worked out once, the rest becomes steps over strips.

use super::MonteCarloError;
use crate::cholesky;
use crate::distribution::Distribution;
use crate::formula::{Formula, Function, Operation};
use crate::input::Input;

/// Steps in order, each writing one buffer (a joint draw several); buffers are used again when their number is no
/// longer needed.
pub(super) struct Program {
    pub(super) steps: Vec<Step>,
    pub(super) buffers: usize,
    pub(super) result: Operand,
}

/// Where an operand is found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Operand {
    /// Varies from trial to trial.
    Buffer(usize),
    /// The same in every trial.
    Value(f64),
}

pub(super) enum Step {
    Draw(Shape, usize),
    Joint(Joint),
    Binary(Binary, Operand, Operand, usize),
    Power(usize, i32, usize),
    Function(Function, usize, usize),
}

#[derive(Clone, Copy)]
pub(super) enum Binary {
    Sum,
    Difference,
    Product,
    Quotient,
}

impl Binary {
    fn apply(self, a: f64, b: f64) -> f64 {
        match self {
            Self::Sum => a + b,
            Self::Difference => a - b,
            Self::Product => a * b,
            Self::Quotient => a / b,
        }
    }
}

/// A distribution in the coherent system, with its centre.
#[derive(Clone, Copy)]
pub(super) enum Shape {
    Normal {
        centre: f64,
        deviation: f64,
    },
    Rectangular {
        centre: f64,
        half_width: f64,
    },
    Trapezoidal {
        centre: f64,
        half_widths: [f64; 2],
    },
    Curvilinear {
        centre: f64,
        half_width: f64,
        inexactness: f64,
    },
    Arcsine {
        centre: f64,
        half_width: f64,
    },
    StudentT {
        centre: f64,
        scale: f64,
        degrees_of_freedom: f64,
    },
}

/// Inputs drawn together: normal, or Student t with finite degrees of freedom.
pub(super) struct Joint {
    pub(super) buffers: Vec<usize>,
    pub(super) centres: Vec<f64>,
    pub(super) scales: Vec<f64>,
    /// Lower factor of the correlation matrix.
    pub(super) factor: Vec<Vec<f64>>,
    pub(super) degrees_of_freedom: f64,
}

impl Shape {
    /// The distribution of an input, or `None` if it does not vary.
    ///
    /// A normal distribution stays normal whatever the degrees of freedom stated for its uncertainty: only
    /// [`Distribution::StudentT`] says that they belong to repeated observations (JCGM 101, 6.4.9).
    fn of(input: &Input) -> Option<Self> {
        if input.coherent_uncertainty() == 0.0 {
            return None;
        }
        let centre = input.coherent_value();
        let factor = input.unit.factor();
        Some(match input.distribution {
            Distribution::Exact => return None,
            Distribution::Normal { .. } | Distribution::Expanded { .. } => Self::Normal {
                centre,
                deviation: input.coherent_uncertainty(),
            },
            Distribution::Rectangular { half_width } => Self::Rectangular {
                centre,
                half_width: half_width * factor,
            },
            Distribution::Triangular { half_width } => Self::Trapezoidal {
                centre,
                half_widths: [0.5 * half_width * factor; 2],
            },
            Distribution::Arcsine { half_width } => Self::Arcsine {
                centre,
                half_width: half_width * factor,
            },
            Distribution::Trapezoidal {
                half_width,
                top_ratio,
            } => Self::Trapezoidal {
                centre,
                half_widths: [1.0 + top_ratio, 1.0 - top_ratio]
                    .map(|part| 0.5 * part * half_width * factor),
            },
            Distribution::CurvilinearTrapezoid {
                half_width,
                inexactness,
            } => Self::Curvilinear {
                centre,
                half_width: half_width * factor,
                inexactness: inexactness * factor,
            },
            Distribution::StudentT { scale } => {
                let scale = scale * factor;
                if input.degrees_of_freedom.is_finite() {
                    Self::StudentT {
                        centre,
                        scale,
                        degrees_of_freedom: input.degrees_of_freedom,
                    }
                } else {
                    Self::Normal {
                        centre,
                        deviation: scale,
                    }
                }
            }
        })
    }
}

impl Program {
    /// Prepares the part of the formula that leads to `node`.
    pub(super) fn new(formula: &Formula, node: usize) -> Result<Self, MonteCarloError> {
        let mut compiler = Compiler {
            formula,
            last_use: last_uses(formula, node),
            clusters: clusters(formula),
            operands: vec![None; formula.nodes().len()],
            drawn: vec![None; formula.inputs().len()],
            steps: Vec::new(),
            free: Vec::new(),
            buffers: 0,
        };
        for index in 0..=node {
            if compiler.last_use[index].is_some() {
                compiler.place(index)?;
            }
        }
        let result = compiler.at(node);
        Ok(Self {
            steps: compiler.steps,
            buffers: compiler.buffers,
            result,
        })
    }
}

struct Compiler<'a> {
    formula: &'a Formula,
    /// For each node that leads to the result, the last node that uses it.
    last_use: Vec<Option<usize>>,
    clusters: Vec<Vec<usize>>,
    operands: Vec<Option<Operand>>,
    /// Buffers of inputs drawn already.
    drawn: Vec<Option<usize>>,
    steps: Vec<Step>,
    free: Vec<usize>,
    buffers: usize,
}

impl Compiler<'_> {
    fn place(&mut self, index: usize) -> Result<(), MonteCarloError> {
        let operation = &self.formula.nodes()[index].operation;
        let operand = match operation {
            Operation::Input(input) => self.input(*input)?,
            Operation::Constant(quantity) => Operand::Value(quantity.coherent()),
            Operation::Sum(terms) => self.sum(terms),
            Operation::Difference(a, b) => {
                self.binary(Binary::Difference, self.at(*a), self.at(*b))
            }
            Operation::Product(a, b) => self.binary(Binary::Product, self.at(*a), self.at(*b)),
            Operation::Quotient(a, b) => self.binary(Binary::Quotient, self.at(*a), self.at(*b)),
            Operation::Negation(a) => {
                self.binary(Binary::Difference, Operand::Value(0.0), self.at(*a))
            }
            Operation::Power(a, n) => match self.at(*a) {
                Operand::Value(x) => Operand::Value(x.powi(*n)),
                Operand::Buffer(a) => self.step(|out| Step::Power(a, *n, out)),
            },
            Operation::Function(function, a) => match self.at(*a) {
                Operand::Value(x) => Operand::Value(function.apply(x)),
                Operand::Buffer(a) => self.step(|out| Step::Function(*function, a, out)),
            },
        };
        self.operands[index] = Some(operand);
        operation.operands(|used| {
            if self.last_use[used] == Some(index)
                && let Some(Operand::Buffer(buffer)) = self.operands[used]
                && !self.free.contains(&buffer)
            {
                self.free.push(buffer);
            }
        });
        Ok(())
    }

    fn at(&self, node: usize) -> Operand {
        self.operands[node].unwrap_or(Operand::Value(f64::NAN))
    }

    fn buffer(&mut self) -> usize {
        self.free.pop().unwrap_or_else(|| {
            self.buffers += 1;
            self.buffers - 1
        })
    }

    fn step(&mut self, make: impl FnOnce(usize) -> Step) -> Operand {
        let out = self.buffer();
        self.steps.push(make(out));
        Operand::Buffer(out)
    }

    fn binary(&mut self, operation: Binary, a: Operand, b: Operand) -> Operand {
        if let (Operand::Value(a), Operand::Value(b)) = (a, b) {
            return Operand::Value(operation.apply(a, b));
        }
        self.step(|out| Step::Binary(operation, a, b, out))
    }

    /// A sum: the constants together, then one term after the other into the same buffer.
    fn sum(&mut self, terms: &[usize]) -> Operand {
        let (varying, constant): (Vec<Operand>, Vec<Operand>) = terms
            .iter()
            .map(|term| self.at(*term))
            .partition(|operand| matches!(operand, Operand::Buffer(_)));
        let constant = constant
            .into_iter()
            .fold(0.0, |sum, operand| match operand {
                Operand::Value(x) => sum + x,
                Operand::Buffer(_) => sum,
            });
        let (first, second, rest) = match (&varying[..], constant) {
            ([], _) => return Operand::Value(constant),
            ([a, b, rest @ ..], 0.0) => (*a, *b, rest),
            ([a, rest @ ..], _) => (*a, Operand::Value(constant), rest),
        };
        let out = self.buffer();
        self.steps
            .push(Step::Binary(Binary::Sum, first, second, out));
        for term in rest {
            let sum = Operand::Buffer(out);
            self.steps.push(Step::Binary(Binary::Sum, sum, *term, out));
        }
        Operand::Buffer(out)
    }

    fn input(&mut self, index: usize) -> Result<Operand, MonteCarloError> {
        if let Some(buffer) = self.drawn[index] {
            return Ok(Operand::Buffer(buffer));
        }
        let input = &self.formula.inputs()[index];
        let Some(shape) = Shape::of(input) else {
            return Ok(Operand::Value(input.coherent_value()));
        };
        if let Some(cluster) = self.clusters.iter().find(|c| c.contains(&index)).cloned() {
            let joint = self.joint(&cluster)?;
            for (member, buffer) in cluster.iter().zip(&joint.buffers) {
                self.drawn[*member] = Some(*buffer);
            }
            self.steps.push(Step::Joint(joint));
            return Ok(self.drawn[index].map_or(Operand::Value(f64::NAN), Operand::Buffer));
        }
        let buffer = self.buffer();
        self.steps.push(Step::Draw(shape, buffer));
        self.drawn[index] = Some(buffer);
        Ok(Operand::Buffer(buffer))
    }

    /// A cluster of correlated inputs as one draw.
    fn joint(&mut self, cluster: &[usize]) -> Result<Joint, MonteCarloError> {
        let inputs = self.formula.inputs();
        // Degrees of freedom of the joint distribution, infinite for the normal one.
        let freedom = |index: usize| match Shape::of(&inputs[index]) {
            None => Some(None),
            Some(Shape::Normal { .. }) => Some(Some(f64::INFINITY)),
            Some(Shape::StudentT {
                degrees_of_freedom, ..
            }) => Some(Some(degrees_of_freedom)),
            Some(_) => None,
        };
        let mut degrees_of_freedom = None;
        for &index in cluster {
            let unfit = |fault| MonteCarloError::Correlated {
                input: inputs[index].id.clone(),
                shape: inputs[index].distribution.name(),
                fault,
            };
            let own = freedom(index).ok_or_else(|| {
                unfit("only normal inputs, or Student t inputs observed together, have a joint distribution")
            })?;
            match (degrees_of_freedom, own) {
                (None, _) => degrees_of_freedom = own,
                #[allow(clippy::float_cmp)]
                (Some(known), Some(own)) if known != own => {
                    return Err(unfit(
                        "its degrees of freedom differ from those of the inputs it is correlated with",
                    ));
                }
                _ => {}
            }
        }
        let (members, matrix) = self.formula.correlation_matrix();
        let place = |index: &usize| members.binary_search(index).unwrap_or_default();
        let matrix: Vec<Vec<f64>> = cluster
            .iter()
            .map(|a| cluster.iter().map(|b| matrix[place(a)][place(b)]).collect())
            .collect();
        Ok(Joint {
            buffers: cluster.iter().map(|_| self.buffer()).collect(),
            centres: cluster
                .iter()
                .map(|i| inputs[*i].coherent_value())
                .collect(),
            scales: cluster
                .iter()
                .map(|i| inputs[*i].coherent_uncertainty())
                .collect(),
            // A formula with impossible coefficients cannot be built.
            factor: cholesky::factor(&matrix).unwrap_or_default(),
            degrees_of_freedom: degrees_of_freedom.unwrap_or(f64::INFINITY),
        })
    }
}

/// For each node below `node`, the last node that uses it; the result is used at the end.
pub(super) fn last_uses(formula: &Formula, node: usize) -> Vec<Option<usize>> {
    let mut last = vec![None; formula.nodes().len()];
    last[node] = Some(usize::MAX);
    for index in (0..=node).rev() {
        if last[index].is_some() {
            formula.nodes()[index].operation.operands(|used| {
                last[used].get_or_insert(index);
            });
        }
    }
    // An input may stand at several nodes, under several names; they share one buffer.
    let mut of_input = vec![None; formula.inputs().len()];
    for (node, last) in formula.nodes().iter().zip(&last) {
        if let Operation::Input(input) = node.operation {
            of_input[input] = of_input[input].max(*last);
        }
    }
    for (node, last) in formula.nodes().iter().zip(&mut last) {
        if let Operation::Input(input) = node.operation
            && last.is_some()
        {
            *last = of_input[input];
        }
    }
    last
}

/// Groups of inputs joined by declared correlations, directly or through others.
fn clusters(formula: &Formula) -> Vec<Vec<usize>> {
    let mut clusters: Vec<Vec<usize>> = Vec::new();
    for correlation in formula.correlations() {
        let (mut joined, rest): (Vec<_>, Vec<_>) = clusters
            .into_iter()
            .partition(|c| c.contains(&correlation.a) || c.contains(&correlation.b));
        clusters = rest;
        let mut cluster: Vec<usize> = joined.drain(..).flatten().collect();
        cluster.extend([correlation.a, correlation.b]);
        cluster.sort_unstable();
        cluster.dedup();
        clusters.push(cluster);
    }
    clusters
}
