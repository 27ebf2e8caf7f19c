//! Air buoyancy of weighed substances and a worked pipette.
//!
//! Sources: factors m / reading = (1 - rho_air/8000) / (1 - rho_air/rho) at 1.2 kg/m3 and the pipette example were
//! computed in Python independently of this program; the densities are from memory of the usual tables. The sizes
//! 0.105 % (water) and 0.058 % (potassium hydrogen phthalate) are common knowledge of the trade.

use volumetry::air::Air;
use volumetry::{buoyancy, glass, water};

/// Name; density, kg/m3; factor; correction, %.
const FACTORS: [(&str, f64, f64, f64); 7] = [
    ("water", 998.2067, 1.0010534, 0.1053),
    ("KHP", 1636.0, 1.0005839, 0.0584),
    ("Na2CO3", 2540.0, 1.0003226, 0.0323),
    ("benzoic acid", 1270.0, 1.0007956, 0.0796),
    ("tris", 1320.0, 1.0007598, 0.0760),
    ("KIO3", 3890.0, 1.0001585, 0.0159),
    ("AgNO3", 4352.0, 1.0001258, 0.0126),
];

#[test]
fn factors_of_weighed_substances() {
    for (name, density, factor, per_cent) in FACTORS {
        let f = buoyancy::factor(1.2, density, buoyancy::weight_density()).unwrap();
        assert!((f - factor).abs() <= 0.51e-7, "{name}: {f}");
        assert!(
            ((f - 1.0) * 100.0 - per_cent).abs() <= 0.51e-4,
            "{name}: {f}"
        );
        // The list ships the density that the table uses.
        let listed = buoyancy::substance(name).unwrap();
        assert!((listed.density - density).abs() < 0.01, "{name}");
    }
}

#[test]
fn half_a_gram_of_potassium_hydrogen_phthalate() {
    let mass = 0.5000 * buoyancy::factor(1.2, 1636.0, 8000.0).unwrap();
    assert!((mass - 0.5002920).abs() <= 0.51e-7, "{mass}");
}

#[test]
fn worked_pipette() {
    // 25 mL pipette, reading 24.9283 g, water and air 22.3 degC, 1008 hPa, 45 %, borosilicate glass.
    let air = Air {
        temperature_c: 22.3,
        pressure_pa: 100_800.0,
        relative_humidity: 0.45,
    };
    let simplified = air.density_simplified().unwrap();
    assert!((simplified - 1.183582).abs() <= 0.51e-6, "{simplified}");
    let full = air.density_cipm_2007().unwrap();
    assert!((full - 1.183566).abs() <= 0.51e-6, "{full}");
    let rho = water::density(22.3).unwrap();
    assert!((rho - 997.7044).abs() <= 0.51e-4, "{rho}");
    let gamma = glass::borosilicate_3_3().cubic_expansion_per_k;
    let z_with_glass = buoyancy::z_factor_at(22.3, &air).unwrap() * (1.0 - gamma * (22.3 - 20.0));
    assert!(
        (z_with_glass - 1.0033200).abs() <= 0.51e-7,
        "{z_with_glass}"
    );
    let v20 = 24.9283 * z_with_glass;
    assert!((v20 - 25.011063).abs() <= 0.51e-6, "{v20}");
}
