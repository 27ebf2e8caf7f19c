//! Probability of conformity and guard bands against JCGM 106:2012 and quantiles of the normal distribution.
//!
//! - JCGM 106:2012, 7.4 (two limits): y = 13.6, u = 1.8, limits 12.5 and 16.3 give 0.66 (the printed figure from memory; the
//!   data as quoted in a public worked copy); with more digits 0.662630 by Phi in double precision.
//! - Guard bands as multiples of u for one limit: quantiles of the normal distribution, five decimals.
//! - ILAC-G8:09/2019: a guard band of U (k = 2) leaves a risk of at most 2.5 % of accepting wrongly, none leaves up to 50 %.

use metrology::conformity::Limits;

const NORMAL: f64 = f64::INFINITY;

fn between(lower: f64, upper: f64) -> Limits {
    Limits {
        lower: Some(lower),
        upper: Some(upper),
    }
}

#[test]
fn two_limits_of_the_guide() {
    let p = between(12.5, 16.3).probability(13.6, 1.8, NORMAL);
    assert_eq!(format!("{p:.2}"), "0.66");
    assert!((p - 0.662_630).abs() < 5e-7, "{p}");
}

#[test]
fn a_titer_within_half_a_percent() {
    // 0.1000 within 0.5 %, u = 0.00010: Phi(1.7) = 0.955435 (the lower limit is 8 u away), Phi(1) = 0.841345.
    let limits = between(0.0995, 0.1005);
    for (value, p) in [(0.100_33, 0.955_435), (0.1004, 0.841_345)] {
        let found = limits.probability(value, 0.0001, NORMAL);
        assert!((found - p).abs() < 5e-7, "{value}: {found}");
    }
    // The values that conform with 95 %: from 0.0996645 to 0.1003355.
    let band = limits.guard_band(0.0001, NORMAL, 0.95).unwrap();
    let accepted = limits.guarded(band).unwrap();
    assert!((accepted.lower.unwrap() - 0.099_664_5).abs() < 5e-8);
    assert!((accepted.upper.unwrap() - 0.100_335_5).abs() < 5e-8);
}

#[test]
fn guard_bands_of_one_limit() {
    let at_most = Limits {
        lower: None,
        upper: Some(10.0),
    };
    for (p, k) in [
        (0.80, 0.84162),
        (0.90, 1.28155),
        (0.95, 1.64485),
        (0.975, 1.95996),
        (0.99, 2.32635),
        (0.999, 3.09023),
    ] {
        let band = at_most.guard_band(0.5, NORMAL, p).unwrap();
        assert!((band / 0.5 - k).abs() < 5e-6, "{p}: {band}");
        // At the acceptance limit the probability is the one asked for.
        let limit = at_most.guarded(band).unwrap().upper.unwrap();
        assert!((at_most.probability(limit, 0.5, NORMAL) - p).abs() < 1e-9);
    }
}

#[test]
fn risk_at_the_acceptance_limit() {
    let at_most = Limits {
        lower: None,
        upper: Some(10.0),
    };
    let risk = |width: f64| {
        let limit = at_most.guarded(width).unwrap().upper.unwrap();
        1.0 - at_most.probability(limit, 0.5, NORMAL)
    };
    assert!((risk(0.0) - 0.5).abs() < 1e-12);
    assert!(risk(1.0) < 0.025 && risk(1.0) > 0.022, "{}", risk(1.0));
}

#[test]
fn narrow_limits_need_more_than_the_quantile_of_one() {
    // Limits 3 u apart: at upper - 1.2816 u the lower one is 1.7184 u below, Phi(1.2816) - Phi(-1.7184) = 0.857.
    let limits = between(0.0, 3.0);
    assert!(limits.probability(3.0 - 1.28155, 1.0, NORMAL) < 0.9);
    assert_eq!(limits.guard_band(1.0, NORMAL, 0.9), None);
    let band = limits.guard_band(1.0, NORMAL, 0.85).unwrap();
    assert!((limits.probability(3.0 - band, 1.0, NORMAL) - 0.85).abs() < 1e-9);
    assert!(band > 1.03644, "{band}");
}
