//! The Newton direction under the phases that are present.
//!
//! Every active phase ties one component to the others. That component is eliminated, the scarcest one first: its own balance
//! then gives the amount of the phase, and the tie holds to the last digit however small its concentration is.

use super::double_double::Number;
use super::linear;

/// A Newton step and the amounts of the active phases.
#[derive(Debug)]
pub(crate) struct Direction<T> {
    /// Change of ln a of each free component.
    pub(crate) step: Vec<f64>,
    /// Amount of each active phase.
    pub(crate) amounts: Vec<T>,
}

/// Solves `H d + A^T m = gradient`, `A d = violation` for `n` components and the rows of `A`; `None` if it is singular.
///
/// `ridge` is added to the scaled diagonal, to keep the direction finite where two balances say the same.
pub(crate) fn newton<T: Number>(
    hessian: &[T],
    gradient: &[T],
    ties: &[Vec<f64>],
    violation: &[f64],
    ridge: f64,
) -> Option<Direction<T>> {
    let (n, k) = (gradient.len(), ties.len());
    let zero = T::from(0.0);
    // rows of A, the violation, and the record of what was done to the rows
    let mut rows: Vec<Vec<f64>> = ties.to_vec();
    let mut right = violation.to_vec();
    let mut done: Vec<Vec<f64>> = (0..k)
        .map(|p| (0..k).map(|q| f64::from(u8::from(p == q))).collect())
        .collect();
    let scarcity: Vec<f64> = (0..n)
        .map(|i| 1.0 / hessian[i * n + i].rounded().max(1e-280).sqrt())
        .collect();
    let mut pivots: Vec<usize> = Vec::with_capacity(k);
    for p in 0..k {
        let pivot = (0..n)
            .filter(|i| !pivots.contains(i) && rows[p][*i].abs() > 1e-9)
            .max_by(|&i, &j| {
                (rows[p][i].abs() * scarcity[i]).total_cmp(&(rows[p][j].abs() * scarcity[j]))
            })?;
        let inverse = 1.0 / rows[p][pivot];
        rows[p]
            .iter_mut()
            .chain(&mut done[p])
            .for_each(|x| *x *= inverse);
        right[p] *= inverse;
        for q in (0..k).filter(|&q| q != p) {
            let factor = rows[q][pivot];
            if factor != 0.0 {
                subtract(&mut rows, q, p, factor);
                subtract(&mut done, q, p, factor);
                right[q] -= factor * right[p];
            }
        }
        pivots.push(pivot);
    }
    let free: Vec<usize> = (0..n).filter(|i| !pivots.contains(i)).collect();
    let m = free.len();
    // gradient after the part of the step that the ties prescribe
    let mut rest = gradient.to_vec();
    for (p, &pivot) in pivots.iter().enumerate() {
        for (i, rest) in rest.iter_mut().enumerate() {
            *rest = *rest - hessian[i * n + pivot] * T::from(right[p]);
        }
    }
    // H Z, with Z_j = e_j - sum_p rows_pj e_pivot(p)
    let mut bent = vec![zero; n * m];
    for (column, &j) in free.iter().enumerate() {
        for i in 0..n {
            let mut sum = hessian[i * n + j];
            for (p, &pivot) in pivots.iter().enumerate() {
                sum = sum - T::from(rows[p][j]) * hessian[i * n + pivot];
            }
            bent[i * m + column] = sum;
        }
    }
    let mut reduced = vec![zero; m * m];
    let mut target = vec![zero; m];
    for (row, &j) in free.iter().enumerate() {
        target[row] = rest[j];
        for (p, &pivot) in pivots.iter().enumerate() {
            target[row] = target[row] - T::from(rows[p][j]) * rest[pivot];
        }
        for column in 0..m {
            let mut sum = bent[j * m + column];
            for (p, &pivot) in pivots.iter().enumerate() {
                sum = sum - T::from(rows[p][j]) * bent[pivot * m + column];
            }
            reduced[row * m + column] = sum;
        }
    }
    let scale: Vec<f64> = (0..m)
        .map(|i| 1.0 / reduced[i * m + i].rounded().max(1e-280).sqrt())
        .collect();
    for i in 0..m {
        target[i] = target[i] * T::from(scale[i]);
        for j in 0..m {
            reduced[i * m + j] = reduced[i * m + j] * T::from(scale[i]) * T::from(scale[j]);
        }
        reduced[i * m + i] = reduced[i * m + i] + T::from(ridge);
    }
    if !linear::solve(&mut reduced, &mut target, m) {
        return None;
    }
    let mut step = vec![0.0; n];
    for (i, &j) in free.iter().enumerate() {
        step[j] = target[i].rounded() * scale[i];
    }
    for (p, &pivot) in pivots.iter().enumerate() {
        step[pivot] = right[p] - free.iter().map(|&j| rows[p][j] * step[j]).sum::<f64>();
    }
    // amounts from the balances of the eliminated components
    let mut left = Vec::with_capacity(k);
    for &pivot in &pivots {
        let mut sum = gradient[pivot];
        for (j, step) in step.iter().enumerate() {
            sum = sum - hessian[pivot * n + j] * T::from(*step);
        }
        left.push(sum);
    }
    let mut amounts = vec![zero; k];
    for (q, amount) in amounts.iter_mut().enumerate() {
        for (p, left) in left.iter().enumerate() {
            *amount = *amount + T::from(done[p][q]) * *left;
        }
    }
    Some(Direction { step, amounts })
}

/// Row `q` less `factor` times row `p`.
fn subtract(rows: &mut [Vec<f64>], q: usize, p: usize, factor: f64) {
    let taken = rows[p].clone();
    for (x, y) in rows[q].iter_mut().zip(taken) {
        *x -= factor * y;
    }
}
