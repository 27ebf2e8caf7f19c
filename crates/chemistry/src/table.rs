//! A quantity known at a few points and wanted between them.
//!
//! Four-point Lagrange interpolation, which follows smooth physical tables (density, Debye-Hueckel parameters) to their
//! printed digits. Nothing is extrapolated.

/// Value at `x` of the function given by the ascending points (`xs`, `ys`); `None` outside the table.
#[must_use]
pub(crate) fn between_points(xs: &[f64], ys: &[f64], x: f64) -> Option<f64> {
    let (first, last) = (*xs.first()?, *xs.last()?);
    if !(first..=last).contains(&x) || xs.len() < 4 || xs.len() != ys.len() {
        return None;
    }
    let right = xs.partition_point(|&point| point < x).max(1);
    let start = right.saturating_sub(2).min(xs.len() - 4);
    let mut sum = 0.0;
    for i in start..start + 4 {
        let mut weight = ys[i];
        for j in (start..start + 4).filter(|&j| j != i) {
            weight *= (x - xs[j]) / (xs[i] - xs[j]);
        }
        sum += weight;
    }
    Some(sum)
}

#[cfg(test)]
mod tests {
    use super::between_points;

    #[test]
    fn a_cubic_is_followed_exactly_and_nothing_is_extrapolated() {
        let xs = [0.0, 1.0, 2.0, 4.0, 7.0];
        let ys = xs.map(|x: f64| x * x * x - 2.0 * x + 1.0);
        for x in [0.0, 0.3, 1.0, 3.3, 6.9, 7.0] {
            let exact = x * x * x - 2.0 * x + 1.0;
            let found = between_points(&xs, &ys, x).unwrap();
            assert!((found - exact).abs() <= 1e-12 * exact.abs().max(1.0));
        }
        assert_eq!(between_points(&xs, &ys, 7.1), None);
        assert_eq!(between_points(&xs, &ys, -0.1), None);
        assert_eq!(between_points(&xs, &ys, f64::NAN), None);
    }
}
