//! Evaluation of a prepared formula in blocks of trials, on any number of threads.
//!
//! The random streams belong to the block, and a block is evaluated by one thread from its beginning to its end: the
//! values are the same bits whichever thread does it, and however many there are.

use super::moments::Moments;
use super::program::{Binary, Joint, Operand, Program, Shape, Step};
use super::random::{STRIP, Streams, Strip};
use super::transform;
use crate::formula::Function;
use std::sync::{Mutex, PoisonError};

/// Trials of a block.
pub(super) const BLOCK: usize = 16_384;

/// Fills `values` with trials, block `first` and on, and gives the moments of every block.
pub(super) fn fill(
    program: &Program,
    seed: u64,
    first: u64,
    block: usize,
    values: &mut [f64],
    threads: usize,
) -> Vec<Moments> {
    let mut moments = vec![Moments::default(); values.len().div_ceil(block)];
    let jobs = values.chunks_mut(block).zip(&mut moments).zip(first..);
    in_parallel(
        jobs,
        threads,
        || Workspace::new(program),
        |workspace, ((values, moments), block)| {
            evaluate(program, Streams::new(seed, block), workspace, values);
            *moments = Moments::of(values);
        },
    );
    moments
}

/// Does jobs on several threads, each with a workspace of its own. 0 threads: as many as the machine has.
pub(super) fn in_parallel<J: Send, W>(
    jobs: impl Iterator<Item = J> + Send,
    threads: usize,
    workspace: impl Fn() -> W + Sync,
    work: impl Fn(&mut W, J) + Sync,
) {
    let threads = match threads {
        0 => std::thread::available_parallelism().map_or(1, usize::from),
        n => n,
    };
    let queue = Mutex::new(jobs);
    let next = || queue.lock().unwrap_or_else(PoisonError::into_inner).next();
    let worker = || {
        let mut job = next();
        if job.is_some() {
            let mut workspace = workspace();
            while let Some(j) = job {
                work(&mut workspace, j);
                job = next();
            }
        }
    };
    std::thread::scope(|scope| {
        for _ in 1..threads {
            // Where no further thread can be had, the others do its work.
            if std::thread::Builder::new()
                .spawn_scoped(scope, worker)
                .is_err()
            {
                break;
            }
        }
        worker();
    });
}

/// Buffers of one thread.
pub(super) struct Workspace {
    /// Boxed, so that a buffer is exchanged for the spare one by its address.
    #[allow(clippy::vec_box)]
    buffers: Vec<Box<Strip>>,
    spare: Box<Strip>,
}

impl Workspace {
    fn new(program: &Program) -> Self {
        let strip = || Box::new([0.0; STRIP]);
        Self {
            buffers: (0..program.buffers).map(|_| strip()).collect(),
            spare: strip(),
        }
    }

    fn write(&mut self, out: usize, fill: impl FnOnce(&[Box<Strip>], &mut Strip)) {
        fill(&self.buffers, &mut self.spare);
        std::mem::swap(&mut self.buffers[out], &mut self.spare);
    }
}

/// Evaluates one block, with wide vector instructions where the machine has them; the bits are the same.
fn evaluate(program: &Program, streams: Streams, workspace: &mut Workspace, values: &mut [f64]) {
    #[cfg(target_arch = "x86_64")]
    if is_x86_feature_detected!("avx2") {
        // SAFETY: the machine has just been found to have the instructions that the function is compiled for; it
        // is otherwise the same safe code.
        #[allow(unsafe_code)]
        unsafe {
            return evaluate_avx2(program, streams, workspace, values);
        }
    }
    evaluate_strips(program, streams, workspace, values);
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
fn evaluate_avx2(
    program: &Program,
    streams: Streams,
    workspace: &mut Workspace,
    values: &mut [f64],
) {
    evaluate_strips(program, streams, workspace, values);
}

#[inline(always)]
fn evaluate_strips(
    program: &Program,
    mut streams: Streams,
    workspace: &mut Workspace,
    values: &mut [f64],
) {
    for values in values.chunks_mut(STRIP) {
        for step in &program.steps {
            perform(step, &mut streams, workspace);
        }
        match program.result {
            Operand::Buffer(buffer) => {
                values.copy_from_slice(&workspace.buffers[buffer][..values.len()]);
            }
            Operand::Value(value) => values.fill(value),
        }
    }
}

#[inline(always)]
fn perform(step: &Step, streams: &mut Streams, workspace: &mut Workspace) {
    match step {
        Step::Draw(shape, out) => draw(*shape, streams, &mut workspace.buffers[*out]),
        Step::Joint(joint) => draw_joint(joint, streams, workspace),
        Step::Binary(Binary::Sum, a, b, out) => binary(workspace, *a, *b, *out, |a, b| a + b),
        Step::Binary(Binary::Difference, a, b, out) => {
            binary(workspace, *a, *b, *out, |a, b| a - b);
        }
        Step::Binary(Binary::Product, a, b, out) => binary(workspace, *a, *b, *out, |a, b| a * b),
        Step::Binary(Binary::Quotient, a, b, out) => binary(workspace, *a, *b, *out, |a, b| a / b),
        Step::Power(a, n, out) => workspace.write(*out, |buffers, power| {
            raise(&buffers[*a], *n, power);
        }),
        Step::Function(function, a, out) => {
            let (a, out) = (*a, *out);
            match function {
                Function::SquareRoot => map(workspace, a, out, f64::sqrt),
                Function::Exponential => map(workspace, a, out, f64::exp),
                Function::Logarithm => map(workspace, a, out, f64::ln),
                Function::Sine => map(workspace, a, out, f64::sin),
                Function::Cosine => map(workspace, a, out, f64::cos),
            }
        }
    }
}

#[inline(always)]
fn draw(shape: Shape, streams: &mut Streams, out: &mut Strip) {
    match shape {
        Shape::Normal { centre, deviation } => transform::normal(streams, centre, deviation, out),
        Shape::Rectangular { centre, half_width } => {
            transform::rectangular(streams, centre, half_width, out);
        }
        Shape::Trapezoidal {
            centre,
            half_widths,
        } => transform::trapezoidal(streams, centre, half_widths, out),
        Shape::Curvilinear {
            centre,
            half_width,
            inexactness,
        } => transform::curvilinear(streams, centre, half_width, inexactness, out),
        Shape::Arcsine { centre, half_width } => {
            transform::arcsine(streams, centre, half_width, out);
        }
        Shape::StudentT {
            centre,
            scale,
            degrees_of_freedom,
        } => transform::student_t(streams, centre, scale, degrees_of_freedom, out),
    }
}

/// Independent standard normal numbers, joined by the factor of the correlation matrix (JCGM 101, 6.4.8.4) and, for
/// Student t, divided by one common root of chi-square.
#[inline(always)]
fn draw_joint(joint: &Joint, streams: &mut Streams, workspace: &mut Workspace) {
    for buffer in &joint.buffers {
        transform::normal(streams, 0.0, 1.0, &mut workspace.buffers[*buffer]);
    }
    let mut common = [1.0; STRIP];
    if joint.degrees_of_freedom.is_finite() {
        transform::student_t_factor(streams, joint.degrees_of_freedom, &mut common);
    }
    // From the last to the first, so that the numbers still needed are not yet overwritten.
    for (i, out) in joint.buffers.iter().enumerate().rev() {
        workspace.write(*out, |buffers, x| {
            *x = [0.0; STRIP];
            for (weight, buffer) in joint.factor[i].iter().zip(&joint.buffers[..=i]) {
                for (x, z) in x.iter_mut().zip(buffers[*buffer].iter()) {
                    *x += weight * z;
                }
            }
            for (x, common) in x.iter_mut().zip(&common) {
                *x = joint.centres[i] + joint.scales[i] * *x * common;
            }
        });
    }
}

#[inline(always)]
fn map(workspace: &mut Workspace, a: usize, out: usize, f: impl Fn(f64) -> f64) {
    workspace.write(out, |buffers, result| {
        for (result, a) in result.iter_mut().zip(buffers[a].iter()) {
            *result = f(*a);
        }
    });
}

#[inline(always)]
fn binary(
    workspace: &mut Workspace,
    a: Operand,
    b: Operand,
    out: usize,
    f: impl Fn(f64, f64) -> f64,
) {
    match (a, b) {
        (Operand::Buffer(a), Operand::Buffer(b)) => workspace.write(out, |buffers, result| {
            let (a, b) = (&buffers[a], &buffers[b]);
            for ((result, a), b) in result.iter_mut().zip(a.iter()).zip(b.iter()) {
                *result = f(*a, *b);
            }
        }),
        (Operand::Buffer(a), Operand::Value(b)) => map(workspace, a, out, |a| f(a, b)),
        (Operand::Value(a), Operand::Buffer(b)) => map(workspace, b, out, |b| f(a, b)),
        (Operand::Value(a), Operand::Value(b)) => workspace.write(out, |_, result| {
            *result = [f(a, b); STRIP];
        }),
    }
}

/// A whole power by repeated squaring.
#[inline(always)]
fn raise(base: &Strip, exponent: i32, power: &mut Strip) {
    *power = [1.0; STRIP];
    let mut square = *base;
    let mut left = exponent.unsigned_abs();
    while left > 0 {
        if left & 1 == 1 {
            for (power, square) in power.iter_mut().zip(&square) {
                *power *= square;
            }
        }
        left >>= 1;
        if left > 0 {
            for square in &mut square {
                *square *= *square;
            }
        }
    }
    if exponent < 0 {
        for power in power {
            *power = 1.0 / *power;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Distribution, Expr, Formula, Input, Quantity};

    /// Every distribution and every operation in one formula.
    fn everything() -> Formula {
        let x = |id: &str, distribution, dof| {
            Expr::input(
                Input::new(id, id, Quantity::number(1.5))
                    .distributed(distribution)
                    .with_degrees_of_freedom(dof),
            )
        };
        let a = x(
            "a",
            Distribution::Normal {
                standard_uncertainty: 0.1,
            },
            f64::INFINITY,
        );
        let b = x(
            "b",
            Distribution::Rectangular { half_width: 0.1 },
            f64::INFINITY,
        );
        let c = x(
            "c",
            Distribution::Triangular { half_width: 0.1 },
            f64::INFINITY,
        );
        let d = x(
            "d",
            Distribution::Arcsine { half_width: 0.1 },
            f64::INFINITY,
        );
        let e = x(
            "e",
            Distribution::Trapezoidal {
                half_width: 0.1,
                top_ratio: 0.3,
            },
            4.0,
        );
        let f = x(
            "f",
            Distribution::CurvilinearTrapezoid {
                half_width: 0.1,
                inexactness: 0.02,
            },
            4.0,
        );
        let g = x("g", Distribution::StudentT { scale: 0.1 }, 3.7);
        let h = x(
            "h",
            Distribution::Expanded {
                expanded_uncertainty: 0.2,
                coverage_factor: 2.0,
            },
            4.0,
        );
        let p = x("p", Distribution::StudentT { scale: 0.1 }, 1.5);
        let q = x("q", Distribution::StudentT { scale: 0.1 }, 1.5);
        let expr = (a.clone() * b + c.square_root() / d.exponential() - e.sine()) * f.logarithm()
            + (g.power(-3) - h.cosine()) * a.power(5)
            + (-p) * q * 3.0;
        Formula::build(&expr)
            .unwrap()
            .correlate("p", "q", 0.5)
            .unwrap()
            .correlate("a", "h", -0.9)
            .unwrap()
    }

    fn bits(values: &[f64]) -> Vec<u64> {
        values.iter().map(|x| x.to_bits()).collect()
    }

    #[test]
    fn any_number_of_threads_gives_the_same_bits() {
        let formula = everything();
        let program = Program::new(&formula, formula.result_index()).unwrap();
        let run = |threads| {
            let mut values = vec![0.0; 3 * BLOCK + 77];
            let moments = fill(&program, 5, 0, BLOCK, &mut values, threads);
            let total = moments.into_iter().fold(Moments::default(), Moments::with);
            (
                bits(&values),
                total.mean.to_bits(),
                total.deviation().to_bits(),
            )
        };
        let one = run(1);
        assert_eq!(one, run(2));
        assert_eq!(one, run(3));
        assert_eq!(one, run(0));
    }

    #[test]
    fn vector_code_and_portable_code_give_the_same_bits() {
        let formula = everything();
        let program = Program::new(&formula, formula.result_index()).unwrap();
        let mut workspace = Workspace::new(&program);
        let mut values = [vec![0.0; BLOCK], vec![0.0; BLOCK]];
        evaluate(&program, Streams::new(1, 2), &mut workspace, &mut values[0]);
        evaluate_strips(&program, Streams::new(1, 2), &mut workspace, &mut values[1]);
        assert_eq!(bits(&values[0]), bits(&values[1]));
    }

    #[test]
    fn a_trial_is_the_formula_at_its_inputs() {
        // With every width 0 but one, tiny, the trials are the formula's value.
        let formula = everything()
            .with_inputs(|input| {
                let mut input = input.clone();
                input.distribution = input.distribution.scaled(1e-13);
                Some(input)
            })
            .unwrap();
        let program = Program::new(&formula, formula.result_index()).unwrap();
        let mut values = vec![0.0; STRIP];
        fill(&program, 1, 0, BLOCK, &mut values, 1);
        let expected = formula.result().value;
        // Student t with 1.5 degrees of freedom strays by some thousand widths at the most.
        assert!(
            values.iter().all(|x| (x / expected - 1.0).abs() < 1e-9),
            "{expected} {:?}",
            &values[..4]
        );
    }
}
