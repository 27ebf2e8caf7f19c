//! Density of water: Tanaka et al. 2001 against its printed values and against IAPWS-95.
//!
//! Sources:
//! - Tanaka, Girard, Davis, Peuto, Bignell, Metrologia 38 (2001) 301: 998.2067455596167 kg/m3 at 20 degC is printed by
//!   a hydrology documentation that uses the formula; 999.1026 at 15 degC and 999.8428, 999.7027, 998.2067, 995.6488 at
//!   0, 10, 20, 30 degC by the documentation of a water-density routine.
//! - IAPWS-95 at 101.325 kPa: computed with the Python library iapws 1.5.5.
//! - Cubic expansion and the mL/L column: computed from the Tanaka formula with numpy 2.4.6, independently of this
//!   program.

use volumetry::{glass, temperature, water};

#[test]
fn tanaka_printed_values() {
    let full: f64 = 998.206_745_559_616_7;
    assert!(((water::density(20.0).unwrap() - full) / full).abs() < 1e-15 * 4.0);
    for (t, printed) in [
        (0.0, 999.8428),
        (10.0, 999.7027),
        (15.0, 999.1026),
        (20.0, 998.2067),
        (30.0, 995.6488),
    ] {
        let rho = water::density(t).unwrap();
        assert!((rho - printed).abs() <= 0.5e-4, "{t}: {rho} {printed}");
    }
}

/// degC; Tanaka, kg/m3; IAPWS-95, kg/m3; IAPWS/Tanaka - 1, 1e-6.
const AGAINST_IAPWS: [(f64, f64, f64, f64); 11] = [
    (4.0, 999.9749, 999.9749, -0.08),
    (10.0, 999.7027, 999.7025, -0.23),
    (15.0, 999.1026, 999.1026, 0.05),
    (18.0, 998.5984, 998.5986, 0.27),
    (20.0, 998.2067, 998.2072, 0.41),
    (22.0, 997.7730, 997.7735, 0.51),
    (25.0, 997.0470, 997.0476, 0.62),
    (28.0, 996.2353, 996.2360, 0.66),
    (30.0, 995.6488, 995.6495, 0.66),
    (35.0, 994.0326, 994.0333, 0.72),
    (40.0, 992.2152, 992.2164, 1.15),
];

#[test]
fn differs_from_iapws_by_the_known_parts_in_a_million() {
    for (t, tanaka, iapws, ppm) in AGAINST_IAPWS {
        let rho = water::density(t).unwrap();
        assert!((rho - tanaka).abs() <= 0.5e-4 + 1e-9, "{t}: {rho}");
        // The IAPWS column has four decimals: half a unit of the last is 0.05e-6; the ppm column adds 0.005.
        let seen = (iapws / rho - 1.0) * 1e6;
        assert!((seen - ppm).abs() <= 0.056, "{t}: {seen} against {ppm}");
    }
}

#[test]
fn formula_uncertainty_is_below_one_part_in_a_million() {
    // Tanaka 2001, abstract and table: about 0.8 to 0.9 parts in a million, k = 2 (from memory).
    for t in [0.0, 10.0, 20.0, 30.0, 40.0] {
        let relative = 2.0 * water::formula_uncertainty(t).unwrap() / water::density(t).unwrap();
        assert!((0.8e-6..0.9e-6).contains(&relative), "{t}: {relative:e}");
    }
}

#[test]
fn dissolved_air_lightens_water_by_2_5_parts_in_a_million() {
    // -0.00249 kg/m3 at 20 degC (from memory of Tanaka 2001).
    let change = water::air_saturation(20.0).unwrap();
    assert!((change - -0.00249).abs() <= 0.5e-5, "{change}");
}

/// degC; cubic expansion coefficient of water there, 1e-4/K.
const EXPANSION: [(f64, f64); 5] = [
    (15.0, 1.5092),
    (20.0, 2.0687),
    (22.0, 2.2764),
    (25.0, 2.5731),
    (30.0, 3.0338),
];

#[test]
fn cubic_expansion_of_water() {
    for (t, printed) in EXPANSION {
        let step = 1e-3;
        let slope = (water::density(t - step).unwrap() - water::density(t + step).unwrap())
            / (2.0 * step * water::density(t).unwrap());
        assert!((slope * 1e4 - printed).abs() <= 0.6e-4, "{t}: {slope}");
    }
    let mean = water::mean_expansion_from_20_c(20.0).unwrap();
    assert!((mean * 1e4 - 2.0687).abs() <= 0.6e-4, "{mean}");
}

/// degC; mL/L to add to a volume measured there to refer it to 20 degC: borosilicate 3.3, soda-lime.
const TO_20_C: [(f64, f64, f64); 6] = [
    (15.0, 0.848, 0.762),
    (18.0, 0.373, 0.338),
    (22.0, -0.415, -0.381),
    (25.0, -1.112, -1.027),
    (28.0, -1.896, -1.759),
    (30.0, -2.464, -2.293),
];

#[test]
fn volumes_referred_to_20_degrees() {
    for (t, borosilicate, soda_lime) in TO_20_C {
        for (name, printed) in [("borosilicate 3.3", borosilicate), ("soda-lime", soda_lime)] {
            let glass = glass::glass(name).unwrap();
            let v = temperature::aqueous_volume_at_20_c(1000.0, t, glass).unwrap();
            assert!((v - 1000.0 - printed).abs() <= 0.6e-3, "{t} {name}: {v}");
        }
    }
}
