//! Dense linear equations of a few unknowns.

use super::double_double::Number;

/// Solves `a x = b` in place by elimination with row pivoting; `a` is row-major, `n` by `n`. The solution ends in `b`. Returns
/// false if the matrix is singular to working precision.
pub(crate) fn solve<T: Number>(a: &mut [T], b: &mut [T], n: usize) -> bool {
    let size = |x: T| x.rounded().abs();
    for column in 0..n {
        let mut pivot = column;
        for row in column + 1..n {
            if size(a[row * n + column]) > size(a[pivot * n + column]) {
                pivot = row;
            }
        }
        let largest = size(a[pivot * n + column]);
        if largest.is_nan() || largest < 1e-290 {
            return false;
        }
        if pivot != column {
            for k in 0..n {
                a.swap(column * n + k, pivot * n + k);
            }
            b.swap(column, pivot);
        }
        let inverse = T::from(1.0) / a[column * n + column];
        for row in column + 1..n {
            let factor = a[row * n + column] * inverse;
            if factor.rounded() != 0.0 {
                for k in column + 1..n {
                    a[row * n + k] = a[row * n + k] - factor * a[column * n + k];
                }
                b[row] = b[row] - factor * b[column];
            }
        }
    }
    for row in (0..n).rev() {
        let mut sum = b[row];
        for k in row + 1..n {
            sum = sum - a[row * n + k] * b[k];
        }
        b[row] = sum / a[row * n + row];
    }
    b[..n].iter().all(|x| x.rounded().is_finite())
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_small_system_and_a_singular_one() {
        let mut a = [0.0, 2.0, 1.0, 1.0, 1.0, 1.0, 4.0, 0.0, 3.0];
        let mut b = [7.0, 6.0, 13.0];
        assert!(super::solve(&mut a, &mut b, 3));
        for (found, expected) in b.into_iter().zip([1.0, 2.0, 3.0]) {
            assert!((found - expected).abs() < 1e-12);
        }
        let mut a = [1.0, 2.0, 2.0, 4.0];
        assert!(!super::solve(&mut a, &mut [1.0, 2.0], 2));
    }
}
