//! Cholesky factor of a correlation matrix that may be semidefinite.

/// Lower factor L with L·Lᵀ = `matrix` (square, symmetric, unit diagonal); `None` if the matrix is not positive
/// semidefinite to within rounding.
pub(crate) fn factor(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let n = matrix.len();
    // Rounding of n products on numbers of size 1; coefficients are stated to a few digits at the most.
    let rounding = 1e-12 * (n as f64 + 1.0);
    let mut l = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            let dot: f64 = (0..j).map(|k| l[i][k] * l[j][k]).sum();
            let rest = matrix[i][j] - dot;
            if i == j {
                if rest < -rounding {
                    return None;
                }
                l[i][i] = rest.max(0.0).sqrt();
            } else if l[j][j] > rounding.sqrt() {
                l[i][j] = rest / l[j][j];
            } else if rest.abs() > rounding.sqrt() {
                return None;
            }
        }
    }
    Some(l)
}

#[cfg(test)]
mod tests {
    use super::factor;

    #[test]
    fn possible_and_impossible_coefficients() {
        let m = |r: [f64; 3]| {
            vec![
                vec![1.0, r[0], r[1]],
                vec![r[0], 1.0, r[2]],
                vec![r[1], r[2], 1.0],
            ]
        };
        assert!(factor(&m([0.9, 0.9, 0.9])).is_some());
        assert!(factor(&m([1.0, 1.0, 1.0])).is_some());
        assert!(factor(&m([0.9, 0.9, -0.9])).is_none());
        assert!(factor(&m([1.0, 0.5, -0.5])).is_none());
    }
}
