//! Method comparison and validation against published examples and SciPy.
//!
//! Rows were printed by scripts/validation.py (SciPy 1.17.1: paired t, line; a search in 60 digits for the line of least
//! squared distance, errors in both methods; NumPy 2.4.6 for the jackknife). Published figures stand beside them. A row is compared to half a
//! unit of its last digit printed.

#![allow(clippy::unwrap_used)]

use titrimetry::validation::{
    Comparison, ComparisonData, Linearity, LinearityData, Precision, PrecisionData, Recovery,
    RecoveryData, RecoveryLevel,
};

/// Student, Biometrika 6 (1908) 1, after Cushny and Peebles: hours of sleep gained by two drugs, ten patients.
const SLEEP: [[f64; 2]; 10] = [
    [0.7, 1.9],
    [-1.6, 0.8],
    [-0.2, 1.1],
    [-1.2, 0.1],
    [-0.1, -0.1],
    [3.4, 4.4],
    [3.7, 5.5],
    [0.8, 1.6],
    [0.0, 4.6],
    [2.0, 3.4],
];

/// Bland and Altman, Lancet 1 (1986) 307, first readings of peak flow: small meter, large meter.
const FLOW: [[f64; 2]; 17] = [
    [512.0, 494.0],
    [430.0, 395.0],
    [520.0, 516.0],
    [428.0, 434.0],
    [500.0, 476.0],
    [600.0, 557.0],
    [364.0, 413.0],
    [380.0, 442.0],
    [658.0, 650.0],
    [445.0, 433.0],
    [432.0, 417.0],
    [626.0, 656.0],
    [260.0, 267.0],
    [477.0, 478.0],
    [259.0, 178.0],
    [350.0, 423.0],
    [451.0, 427.0],
];

/// Pearson, Phil. Mag. 2 (1901) 559.
const PEARSON: [[f64; 2]; 10] = [
    [0.0, 5.9],
    [0.9, 5.4],
    [1.8, 4.4],
    [2.6, 4.6],
    [3.3, 3.5],
    [4.4, 3.7],
    [5.2, 2.8],
    [6.1, 2.8],
    [6.5, 2.4],
    [7.4, 1.5],
];

/// mean difference, standard deviation, t, p, interval.
const PAIRED: [(&str, f64, f64, f64, f64, f64, f64); 2] = [
    (
        "sleep",
        1.58,
        1.22999548,
        4.06212768,
        0.0028328902,
        0.700114237,
        2.45988576,
    ),
    (
        "flow",
        -2.11764706,
        38.7651299,
        -0.225235477,
        0.824647674,
        -22.0488377,
        17.8135436,
    ),
];

/// Limits of agreement, their standard uncertainty and half-interval, slope of the difference and its p.
const LIMITS: [(&str, f64, f64, f64, f64, f64, f64); 2] = [
    (
        "sleep",
        -0.830746848,
        3.99074685,
        0.688593589,
        1.55770692,
        0.125279796,
        0.612912877,
    ),
    (
        "flow",
        -78.0959055,
        73.8606113,
        16.3949058,
        34.7556477,
        0.0286874452,
        0.749498534,
    ),
];

/// Variance ratio, slope, intercept and their jackknife uncertainties.
const DEMING: [(&str, f64, f64, f64, f64, f64); 3] = [
    (
        "pearson",
        1.0,
        -0.545561198,
        5.78404377,
        0.0368004162,
        0.163091553,
    ),
    ("flow", 1.0, 1.02999254, -15.6883885, 0.134046561, 67.065935),
    (
        "flow, unequal",
        4.0,
        0.993266487,
        0.929069375,
        0.128958275,
        65.2186101,
    ),
];

const POINTS: [[f64; 2]; 10] = [
    [5.0, 5.19],
    [5.0, 5.21],
    [10.0, 10.24],
    [10.0, 10.22],
    [15.0, 15.31],
    [15.0, 15.27],
    [20.0, 20.29],
    [20.0, 20.33],
    [25.0, 25.38],
    [25.0, 25.36],
];

/// Slope and intercept with their uncertainties.
const LINE: [f64; 4] = [1.0084, 0.000854400375, 0.154, 0.0141686273];

/// p of the intercept, F and p of the shape, largest residual.
const SHAPE: [f64; 4] = [4.54124039e-06, 0.545454545, 0.672330886, 0.032];

const RECOVERY: (&str, f64, f64, f64, f64, f64) = (
    "recovery",
    99.6,
    -0.80867234,
    0.455443536,
    98.3284928,
    100.871507,
);

fn pairs(name: &str) -> Vec<[f64; 2]> {
    match name {
        "sleep" => SLEEP.to_vec(),
        "pearson" => PEARSON.to_vec(),
        _ => FLOW.to_vec(),
    }
}

fn compared(name: &str, ratio: f64) -> Comparison {
    let data = ComparisonData {
        first: "first".into(),
        second: "second".into(),
        pairs: pairs(name),
        variance_ratio: Some(ratio),
        largest_bias: None,
        largest_difference: None,
    };
    Comparison::of(&data, 0.95).unwrap()
}

/// Equal to half a unit of the last of `digits` significant digits.
#[track_caller]
fn agrees(value: f64, printed: f64, digits: i32) {
    let unit = 10f64.powf(printed.abs().log10().floor() + 1.0 - f64::from(digits));
    assert!(
        (value - printed).abs() <= 0.5001 * unit,
        "{value} is not {printed}"
    );
}

#[test]
fn paired_t_and_limits_of_agreement() {
    for ((name, mean, s, t, p, low, high), (_, lower, upper, u, half, slope, slope_p)) in
        PAIRED.into_iter().zip(LIMITS)
    {
        let comparison = compared(name, 1.0);
        let agreement = &comparison.agreement;
        agrees(agreement.bias.value, mean, 9);
        agrees(agreement.standard_deviation, s, 9);
        agrees(comparison.t, t, 9);
        agrees(comparison.p, p, 8);
        agrees(agreement.bias.lower, low, 9);
        agrees(agreement.bias.upper, high, 9);
        agrees(agreement.lower.value, lower, 9);
        agrees(agreement.upper.value, upper, 9);
        agrees(agreement.lower.standard_uncertainty, u, 9);
        agrees(agreement.upper.upper - agreement.upper.value, half, 9);
        let trend = agreement.trend.unwrap();
        agrees(trend.value, slope, 9);
        agrees(trend.p_against(0.0), slope_p, 9);
    }
}

#[test]
fn published_paired_examples() {
    // Student (1908): mean gain 1.58 h, standard deviation 1.17 with n in the divisor, as he took it.
    let sleep = compared("sleep", 1.0).agreement;
    agrees(sleep.standard_deviation * 0.9f64.sqrt(), 1.17, 3);
    // Bland and Altman (1986), printed: mean difference -2.1, standard deviation 38.8, its standard error 9.4, interval
    // -22.0 to 17.8; limits with the factor 2: -79.7 and 75.5; standard error of a limit, sqrt(3 s^2/n), 16.3.
    // DIFFERENCE: here the factor is 1.96 and the variance of a limit that of their paper of 1999, 16.4.
    let flow = compared("flow", 1.0).agreement;
    agrees(flow.bias.value, -2.1, 2);
    agrees(flow.standard_deviation, 38.8, 3);
    agrees(flow.bias.standard_uncertainty, 9.4, 2);
    agrees(flow.bias.lower, -22.0, 3);
    agrees(flow.bias.upper, 17.8, 3);
    agrees((3.0f64 / 17.0).sqrt() * flow.standard_deviation, 16.3, 3);
    // They rounded before adding up (-2.1 - 77.6): within a unit of the last digit.
    assert!((flow.bias.value - 2.0 * flow.standard_deviation + 79.7).abs() < 0.06);
    // The meters agree on the mean, and differ by up to 80 L/min in single persons.
    assert!(flow.bias.holds(0.0) && flow.trend.unwrap().holds(0.0));
}

#[test]
fn line_with_errors_in_both_methods() {
    for (name, ratio, slope, intercept, u_slope, u_intercept) in DEMING {
        let line = compared(name, ratio).deming.unwrap();
        agrees(line.slope.value, slope, 9);
        agrees(line.intercept.value, intercept, 9);
        agrees(line.slope.standard_uncertainty, u_slope, 9);
        // A trailing zero was not printed: eight digits.
        agrees(line.intercept.standard_uncertainty, u_intercept, 8);
    }
    // Pearson (1901) printed y = 5.784 - 0.546 x (from memory).
    let line = compared("pearson", 1.0).deming.unwrap();
    agrees(line.slope.value, -0.546, 3);
    agrees(line.intercept.value, 5.784, 4);
}

#[test]
fn titre_against_portion() {
    let data = LinearityData {
        portion_unit: "mL".into(),
        titre_unit: "mL".into(),
        points: POINTS.to_vec(),
        expected_slope: Some(1.0),
        largest_intercept: Some(0.1),
    };
    let line = Linearity::of(&data, 0.95).unwrap();
    let [slope, u_slope, intercept, u_intercept] = LINE;
    let [p, f, f_p, residual] = SHAPE;
    agrees(line.slope.value, slope, 9);
    agrees(line.slope.standard_uncertainty, u_slope, 9);
    agrees(line.intercept.value, intercept, 9);
    agrees(line.intercept.standard_uncertainty, u_intercept, 9);
    agrees(line.intercept.p_against(0.0), p, 9);
    let shape = line.lack_of_fit.unwrap();
    agrees(shape.f, f, 9);
    agrees(shape.p, f_p, 9);
    agrees(line.largest_residual.abs(), residual, 9);
    // The data were made with 0.15 mL too much in every run and 0.8 % too much per portion: both are found.
    assert!(!line.intercept.holds(0.0) && line.intercept.holds(0.15));
    let error = line.proportional_error().unwrap();
    assert!(!error.holds(0.0) && error.holds(0.008));
    assert!(!line.criteria[0].is_met());
}

#[test]
fn scatter_within_and_between() {
    // NIST StRD, SiRstv (resistivity of silicon, five instruments): certified residual standard deviation
    // 1.04076068334656E-01, F 1.18046237440255E+00.
    let groups = [
        ("1", [196.3052, 196.1240, 196.1890, 196.2569, 196.3403]),
        ("2", [196.3042, 196.3825, 196.1669, 196.3257, 196.0422]),
        ("3", [196.1303, 196.2005, 196.2889, 196.0343, 196.1811]),
        ("4", [196.2795, 196.1748, 196.1494, 196.1485, 195.9885]),
        ("5", [196.2119, 196.1051, 196.1850, 196.0052, 196.2090]),
    ];
    let data = PrecisionData {
        by: "instrument".into(),
        groups: groups
            .iter()
            .map(|(name, values)| ((*name).to_string(), values.to_vec()))
            .collect(),
        largest_repeatability_percent: None,
        largest_intermediate_percent: None,
    };
    let precision = Precision::of(&data, 0.95).unwrap();
    agrees(precision.repeatability, 1.040_760_683_346_56e-1, 12);
    let between = precision.between.unwrap();
    agrees(between.f, 1.180_462_374_402_55, 10);
    // ISO 5725-2: s_L^2 = (MS between - MS within)/n, s_I^2 = s_r^2 + s_L^2; limit 2.8 s (ISO 5725-6).
    let within = 1.040_760_683_346_56e-1f64.powi(2);
    let s_l = within * (1.180_462_374_402_55 - 1.0) / 5.0;
    agrees(between.standard_deviation, s_l.sqrt(), 9);
    agrees(between.intermediate_precision, (within + s_l).sqrt(), 9);
    agrees(
        precision.repeatability_limit / precision.repeatability,
        2.8,
        2,
    );
}

#[test]
fn recovery_of_additions() {
    let data = RecoveryData {
        levels: [98.7, 101.2, 99.4, 100.6, 97.9, 99.8]
            .map(|found| RecoveryLevel {
                native: 12.0,
                added: 100.0,
                found: vec![found + 12.0],
            })
            .to_vec(),
        from: Some(98.0),
        to: None,
    };
    let recovery = Recovery::of(&data, 0.95).unwrap();
    let (_, mean, t, p, low, high) = RECOVERY;
    agrees(recovery.mean.value, mean, 9);
    agrees(
        (recovery.mean.value - 100.0) / recovery.mean.standard_uncertainty,
        t,
        8,
    );
    agrees(recovery.p, p, 8);
    agrees(recovery.mean.lower, low, 9);
    agrees(recovery.mean.upper, high, 9);
    assert!(recovery.line.is_none() && recovery.criteria[0].is_met());
}

/// ISO 5725-2:1994, B.1 (sulfur in coal, per cent; eight laboratories): data and printed results (Table B.4) from memory;
/// the twelve printed figures agree with the data, so neither is misremembered.
#[test]
fn groups_of_unequal_size() {
    type Level<'a> = ([&'a [f64]; 8], [&'a str; 3]);
    let levels: [Level<'_>; 4] = [
        (
            [
                &[0.71, 0.71, 0.70, 0.71],
                &[0.69, 0.67, 0.68],
                &[0.66, 0.65, 0.69],
                &[0.67, 0.65, 0.66],
                &[0.70, 0.69, 0.66, 0.71, 0.69],
                &[0.73, 0.74, 0.73],
                &[0.71, 0.71, 0.69],
                &[0.70, 0.65, 0.68],
            ],
            ["0.690", "0.015", "0.026"],
        ),
        (
            [
                &[1.20, 1.18, 1.23, 1.21],
                &[1.22, 1.21, 1.22],
                &[1.28, 1.31, 1.30],
                &[1.23, 1.18, 1.20],
                &[1.31, 1.22, 1.22, 1.24],
                &[1.39, 1.36, 1.37],
                &[1.20, 1.26, 1.26],
                &[1.24, 1.22, 1.30],
            ],
            ["1.252", "0.029", "0.061"],
        ),
        (
            [
                &[1.68, 1.70, 1.68, 1.69],
                &[1.64, 1.64, 1.65],
                &[1.61, 1.61, 1.62],
                &[1.68, 1.66, 1.66],
                &[1.64, 1.67, 1.60, 1.66, 1.68],
                &[1.70, 1.73, 1.73],
                &[1.69, 1.70, 1.68],
                &[1.67, 1.68, 1.67],
            ],
            ["1.667", "0.017", "0.035"],
        ),
        (
            [
                &[3.26, 3.26, 3.20, 3.24],
                &[3.20, 3.20, 3.20],
                &[3.37, 3.36, 3.38],
                &[3.16, 3.22, 3.23],
                &[3.20, 3.19, 3.18, 3.27, 3.24],
                &[3.27, 3.31, 3.29],
                &[3.27, 3.24, 3.23],
                &[3.25, 3.26, 3.26],
            ],
            ["3.250", "0.026", "0.058"],
        ),
    ];
    for (laboratories, printed) in levels {
        let data = PrecisionData {
            by: "laboratory".into(),
            groups: laboratories
                .iter()
                .enumerate()
                .map(|(i, values)| (i.to_string(), values.to_vec()))
                .collect(),
            largest_repeatability_percent: None,
            largest_intermediate_percent: None,
        };
        let precision = Precision::of(&data, 0.95).unwrap();
        let total = precision.between.unwrap().intermediate_precision;
        for (value, printed) in [precision.mean, precision.repeatability, total]
            .into_iter()
            .zip(printed)
        {
            assert_eq!(format!("{value:.3}"), printed);
        }
    }
}

/// NIST StRD, Norris (calibration of ozone monitors, 36 points): certified intercept and slope with standard deviations.
#[test]
fn the_line_of_norris() {
    let points: Vec<[f64; 2]> = include_str!("../../reference/nist-strd/norris.txt")
        .lines()
        .filter_map(|line| {
            let mut numbers = line.split_whitespace().map(str::parse::<f64>);
            match (numbers.next()?, numbers.next()?) {
                (Ok(y), Ok(x)) => Some([x, y]),
                _ => None,
            }
        })
        .collect();
    assert_eq!(points.len(), 36);
    let data = LinearityData {
        portion_unit: "ppb".into(),
        titre_unit: "ppb".into(),
        points,
        expected_slope: None,
        largest_intercept: None,
    };
    let line = Linearity::of(&data, 0.95).unwrap();
    agrees(line.intercept.value, -0.262_323_073_774_029, 11);
    agrees(
        line.intercept.standard_uncertainty,
        0.232_818_234_301_152,
        11,
    );
    agrees(line.slope.value, 1.002_116_818_020_45, 11);
    agrees(
        line.slope.standard_uncertainty,
        0.429_796_848_199_937e-3,
        11,
    );
    agrees(line.residual_standard_deviation, 0.884_796_396_144_373, 11);
}
