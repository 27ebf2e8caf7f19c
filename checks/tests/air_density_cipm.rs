//! Density of moist air, CIPM-2007.
//!
//! Sources:
//! - Check value 1.19569 kg/m3 at 10 degC, 730 mmHg, 40 %: the test file of a public mass-measurement package, quoted
//!   there from the appendix of a mass-metrology textbook; recomputed 1.1956951.
//! - The same file quotes two examples of the equation of 1978: 1.17194 and 0.95632; CIPM-2007 gives 1.17200, 0.95630
//!   (recomputed).
//! - Picard, Davis, Glaeser, Fujii, Metrologia 45 (2008) 149: the table and the parts were recomputed in Python from
//!   the constants of the paper, independently of this program.

use volumetry::air::Air;

/// Conventional millimetre of mercury, Pa.
const MMHG: f64 = 133.322_387_415;

fn air(temperature_c: f64, pressure_pa: f64, relative_humidity: f64) -> Air {
    Air {
        temperature_c,
        pressure_pa,
        relative_humidity,
    }
}

#[test]
fn published_check_value() {
    let rho = air(10.0, 730.0 * MMHG, 0.40).density_cipm_2007().unwrap();
    assert!((rho - 1.19569).abs() <= 0.6e-5, "{rho}");
    assert!((rho - 1.1956951).abs() <= 0.6e-7, "{rho}");
}

#[test]
fn examples_of_the_older_equation_differ_by_the_argon() {
    for (t, mmhg, h, older, recomputed) in [
        (22.3, 748.1, 0.37, 1.17194, 1.17200),
        (23.4, 612.3, 0.23, 0.95632, 0.95630),
    ] {
        let rho = air(t, mmhg * MMHG, h).density_cipm_2007().unwrap();
        assert!((rho - recomputed).abs() <= 0.6e-5, "{rho}");
        // DIFFERENCE: the equation of 1978 has another argon content and compressibility, up to 1e-4 relative.
        assert!((rho / older - 1.0).abs() < 1e-4, "{rho} {older}");
    }
}

/// degC, Pa, relative humidity; CIPM-2007 and simplified, kg/m3; simplified/CIPM - 1, 1e-6.
const TABLE: [(f64, f64, f64, f64, f64, f64); 7] = [
    (20.0, 101_325.0, 0.50, 1.199314, 1.199294, -17.0),
    (15.0, 101_325.0, 0.50, 1.221632, 1.221495, -112.0),
    (25.0, 101_325.0, 0.50, 1.177316, 1.177359, 36.0),
    (23.0, 100_000.0, 0.40, 1.171733, 1.171757, 20.0),
    (20.0, 95_000.0, 0.50, 1.124097, 1.124106, 8.0),
    (20.0, 80_000.0, 0.50, 0.945729, 0.945795, 70.0),
    (30.0, 101_325.0, 0.80, 1.150013, 1.149955, -50.0),
];

#[test]
fn full_and_simplified_equation() {
    for (t, p, h, full, simplified, ppm) in TABLE {
        let air = air(t, p, h);
        let a = air.density_cipm_2007().unwrap();
        let b = air.density_simplified().unwrap();
        assert!((a - full).abs() <= 0.51e-6, "{t} {p} {h}: {a}");
        assert!((b - simplified).abs() <= 0.51e-6, "{t} {p} {h}: {b}");
        assert!(((b / a - 1.0) * 1e6 - ppm).abs() <= 1.0, "{t} {p} {h}");
    }
}
