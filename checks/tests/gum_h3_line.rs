//! GUM H.3: calibration of a thermometer, a straight line by least squares.
//!
//! Source: JCGM 100:2008 annex H.3 (data and results as worked through in the documentation of GTC, which prints
//! y1 = -0.1712(29), y2 = 0.00218(67), r = -0.93 and b(30 degC) = -0.1494(41)); full digits by numpy 2.4.6.

use metrology::line_fit::fit_line;
use metrology::rounding::{TieRule, round_to_uncertainty};

const T: [f64; 11] = [
    21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511,
];
const B: [f64; 11] = [
    -0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160,
];
/// Reference temperature of the line, degC.
const T0: f64 = 20.0;

#[test]
fn correction_line_of_the_thermometer() {
    let x: Vec<f64> = T.iter().map(|t| t - T0).collect();
    let line = fit_line(&x, &B).expect("a sound set");
    let at_30 = line.predict(30.0 - T0);
    // Result, full value, relative tolerance of its last printed digit.
    for (what, result, full, relative) in [
        ("y1", line.intercept, -0.171_203_79, 5e-8),
        ("u(y1)", line.u_intercept, 0.002_877_598, 2e-7),
        ("y2", line.slope, 0.002_182_697_7, 3e-8),
        ("u(y2)", line.u_slope, 0.000_667_938_8, 1e-7),
        ("r", line.correlation, -0.930_430, 6e-7),
        ("SSR", line.ss_residual, 1.100_965_8e-4, 5e-8),
        ("s", line.residual_standard_deviation, 0.003_497_564, 2e-7),
        ("b(30)", at_30.0, -0.149_376_81, 5e-8),
        ("u(b(30))", at_30.1, 0.004_138_596, 2e-7),
    ] {
        assert!(
            ((result - full) / full).abs() <= relative,
            "{what}: {result}, expected {full}"
        );
    }
    assert!((line.degrees_of_freedom() - 9.0).abs() < 1e-15);
    let printed = |y, u| {
        round_to_uncertainty(y, u, 2, TieRule::HalfEven)
            .expect("finite")
            .concise
    };
    assert_eq!(printed(line.intercept, line.u_intercept), "-0.1712(29)");
    assert_eq!(printed(line.slope, line.u_slope), "0.00218(67)");
    assert_eq!(printed(at_30.0, at_30.1), "-0.1494(41)");
}
