//! Species distributions beside PHREEQC.
//!
//! Printed by `checks/scripts/distributions_phreeqpython.py` with phreeqpython 1.6.2, which solves the same constants with the
//! same model: Davies equation with A = 0.5092 (that program's value at 25 degC), lg g = 0.1 I for uncharged species.
//! Concentrations in mol/kg water, taken as mol/L.

use chemistry::activity::{Activity, ActivityModel};
use chemistry::constant_set::{Conditions, ConstantSet};
use chemistry::equilibrium::system::{Precipitates, Setup, System};
use chemistry::solution::Solution;

#[rustfmt::skip]
const PRINTED: [(&str, &str, f64); 35] = [
    ("phosphate", "pH", 6.876),
    ("phosphate", "H3PO4", 3.568e-07),
    ("phosphate", "H2PO4-", 2.500e-02),
    ("phosphate", "HPO4^2-", 2.500e-02),
    ("citrate", "pH", 4.525),
    ("citrate", "H3Cit", 3.192e-04),
    ("citrate", "H2Cit-", 9.652e-03),
    ("citrate", "HCit^2-", 9.703e-03),
    ("citrate", "Cit^3-", 3.259e-04),
    ("carbonate", "pH", 10.210),
    ("carbonate", "CO2", 1.126e-06),
    ("carbonate", "HCO3-", 1.020e-02),
    ("carbonate", "CO3^2-", 1.480e-02),
    ("calcium", "pH", 9.464),
    ("calcium", "Ca^2+", 1.999e-03),
    ("calcium", "CaY^2-", 8.000e-03),
    ("calcium", "HY^3-", 4.169e-10),
    ("calcium", "NH3", 8.396e-02),
    ("zinc", "pH", 9.989),
    ("zinc", "Zn^2+", 1.349e-08),
    ("zinc", "Zn(NH3)3^2+", 8.781e-05),
    ("zinc", "Zn(NH3)4^2+", 9.079e-04),
    ("zinc", "NH4+", 2.011e-02),
    ("silver", "pH", 6.999),
    ("silver", "Ag+", 7.590e-09),
    ("silver", "AgCl(aq)", 2.333e-06),
    ("silver", "AgCl2-", 6.526e-05),
    ("silver", "AgCl3^2-", 3.240e-05),
    ("silver chloride", "pH", 6.997),
    ("silver chloride", "Ag+", 2.346e-08),
    ("silver chloride", "AgCl(aq)", 3.614e-07),
    ("silver chloride", "AgCl2-", 3.162e-07),
    ("silver chloride in ammonia", "pH", 11.092),
    ("silver chloride in ammonia", "Ag+", 4.227e-08),
    ("silver chloride in ammonia", "Ag(NH3)2+", 5.438e-03),
];

#[test]
fn phreeqc_finds_the_same_distribution() {
    let parameters = Activity {
        a: 0.5092,
        neutral_linear: 0.1,
        ..Activity::at(ActivityModel::Davies, 25.0).unwrap()
    };
    let constants = ConstantSet::default()
        .with_pks("carbonic", &[6.352, 10.329], 0.0)
        .unwrap();
    let conditions = Conditions {
        activity_parameters: Some(parameters),
        constants,
        ..Conditions::default()
    };
    let ammonia = Solution::of("NH3", 0.1);
    let cases = [
        ("phosphate", Solution::of("H3PO4", 0.05).with("NaOH", 0.075)),
        ("citrate", Solution::of("H3Cit", 0.02).with("NaOH", 0.03)),
        ("carbonate", Solution::of("Na2CO3", 0.025).with("HCl", 0.01)),
        (
            "calcium",
            ammonia
                .clone()
                .with("CaCl2", 0.01)
                .with("Na2EDTA", 0.008)
                .with("NH4Cl", 0.05),
        ),
        (
            "zinc",
            ammonia.clone().with("ZnCl2", 0.001).with("NH4Cl", 0.02),
        ),
        ("silver", Solution::of("AgNO3", 0.0001).with("NaCl", 0.3)),
        (
            "silver chloride",
            Solution::of("AgNO3", 0.01).with("NaCl", 0.02),
        ),
        (
            "silver chloride in ammonia",
            ammonia.with("AgNO3", 0.01).with("NaCl", 0.01),
        ),
    ];
    let mut compared = 0;
    for (name, solution) in cases {
        let precipitates = if name.starts_with("silver chloride") {
            Precipitates::Only(vec!["AgCl".to_owned()])
        } else {
            Precipitates::None
        };
        let setup = Setup {
            precipitates,
            ..Setup::default()
        };
        let system = System::new(&solution, 1.0, &Solution::water(), &conditions, &setup).unwrap();
        let state = system.at(0.0, None).unwrap();
        for (_, species, printed) in PRINTED.iter().filter(|(case, ..)| *case == name) {
            compared += 1;
            if *species == "pH" {
                let ph = system.p(&state, "H+").unwrap();
                assert!(
                    (ph - printed).abs() <= 0.005,
                    "{name}: pH {ph}, PHREEQC {printed}"
                );
            } else {
                let found = system.concentration(&state, species).unwrap();
                assert!(
                    (found / printed - 1.0).abs() <= 0.01,
                    "{name}: {species} {found:e}, PHREEQC {printed:e}"
                );
            }
        }
    }
    assert_eq!(compared, PRINTED.len());
}
