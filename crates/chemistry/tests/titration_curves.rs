//! Equivalence points and ends of the classical titrations, where stoichiometry gives the answer.
#![expect(clippy::unwrap_used, reason = "a test file")]

use chemistry::acid_base::curve::AcidBaseCurve;
use chemistry::constant_set::Conditions;
use chemistry::equilibrium::system::Setup;
use chemistry::indicators::Indicator;
use chemistry::indicators::end_point::{Situation, indicated_end};
use chemistry::solution::Solution;
use chemistry::titration_curve::TitrationCurve;

fn assert_ends(name: &str, curve: &TitrationCurve, expected: &[(f64, bool)]) {
    let ends = curve.equivalence_points().unwrap();
    assert_eq!(ends.len(), expected.len(), "{name}: {ends:?}");
    for (end, (volume, visible)) in ends.iter().zip(expected) {
        assert!(
            (end.volume_ml - volume).abs() < 1e-9 * volume,
            "{name}: {ends:?}"
        );
        assert_eq!(end.visible, *visible, "{name}: {ends:?}");
    }
}

#[test]
fn acids_and_bases_end_where_stoichiometry_says() {
    let conditions = Conditions::default();
    let (lye, acid) = (Solution::of("NaOH", 0.1), Solution::of("HCl", 0.1));
    for (flask, titrant, ends) in [
        (
            "H3PO4",
            &lye,
            &[(25.0, true), (50.0, true), (75.0, false)][..],
        ),
        ("H2C2O4", &lye, &[(25.0, false), (50.0, true)]),
        ("H2SO4", &lye, &[(25.0, false), (50.0, true)]),
        ("H3Cit", &lye, &[(25.0, false), (50.0, false), (75.0, true)]),
        ("H3BO3", &lye, &[(25.0, false)]),
        ("KHP", &lye, &[(25.0, true)]),
        ("Na2CO3", &acid, &[(25.0, true), (50.0, true)]),
        ("borax", &acid, &[(50.0, true)]),
        ("NH3", &acid, &[(25.0, true)]),
    ] {
        let curve =
            TitrationCurve::acid_base(&Solution::of(flask, 0.1), 25.0, titrant, &conditions)
                .unwrap();
        assert_ends(flask, &curve, ends);
    }
}

/// Carbonate in lye adds no end of its own; all of the alkali counts at the ends of the flask's acids.
#[test]
fn carbonate_in_the_titrant_is_not_an_end() {
    let dirty = Solution::of("NaOH", 0.1).with("Na2CO3", 0.001);
    let curve = TitrationCurve::acid_base(
        &Solution::of("KHP", 0.1),
        25.0,
        &dirty,
        &Conditions::default(),
    )
    .unwrap();
    assert_ends("phthalate", &curve, &[(25.0 / 1.02, true)]);
}

#[test]
fn complexometric_titrations_of_every_layout() {
    let conditions = Conditions::default();
    let at_ph = |ph: f64| Setup {
        fixed_ph: Some(ph),
        ..Setup::default()
    };
    let edta = Solution::of("Na2EDTA", 0.01);
    let hardness = Solution::of("CaCl2", 0.001)
        .with("MgSO4", 0.0005)
        .with("NH3", 0.08)
        .with("NH4Cl", 0.015);
    let direct =
        TitrationCurve::complexometric(&hardness, 100.0, &edta, "Mg^2+", &conditions, &at_ph(10.0))
            .unwrap();
    assert_ends("hardness", &direct, &[(10.0, false), (15.0, true)]);
    let excess = Solution::of("NiSO4", 0.01).with("Na2EDTA", 0.02);
    let zinc = Solution::of("ZnSO4", 0.01);
    let back =
        TitrationCurve::complexometric(&excess, 25.0, &zinc, "Zn^2+", &conditions, &at_ph(5.0))
            .unwrap();
    assert_ends("nickel, back", &back, &[(25.0, true)]);
    let magnesium_edta = Solution::of("CaCl2", 0.01)
        .with("MgSO4", 0.001)
        .with("Na2EDTA", 0.001);
    let displacement = TitrationCurve::complexometric(
        &magnesium_edta,
        25.0,
        &edta,
        "Mg^2+",
        &conditions,
        &at_ph(10.0),
    )
    .unwrap();
    assert_ends(
        "calcium, displacement",
        &displacement,
        &[(22.5, false), (25.0, true)],
    );
    // eriochrome black T calls the end of a hardness slightly early, and sharply enough for half a per cent
    let end = &direct.equivalence_points().unwrap()[1];
    let situation = Situation {
        ph: 10.0,
        metal: Some("Mg^2+".into()),
        ..Situation::default()
    };
    let black = Indicator::named("eriochrome-black-t").unwrap();
    let seen = indicated_end(black, &direct, end, &situation).unwrap();
    assert!(
        seen.bias_percent < 0.0 && seen.bias_percent > -1.0,
        "{seen:?}"
    );
}

#[test]
fn redox_and_precipitation_titrations() {
    let conditions = Conditions::ideal();
    let couples = |labels: &[&str]| {
        labels
            .iter()
            .map(|label| ((*label).to_owned(), None))
            .collect()
    };
    let redox = |flask: &Solution, titrant: &Solution, labels: &[&str]| {
        let setup = Setup {
            couples: couples(labels),
            ..Setup::default()
        };
        TitrationCurve::redox(flask, 25.0, titrant, &conditions, &setup).unwrap()
    };
    let oxalate = Solution::of("Na2C2O4", 0.05).with("H2SO4", 1.0);
    let permanganate = Solution::of("KMnO4", 0.02);
    let curve = redox(&oxalate, &permanganate, &["CO2/H2C2O4", "MnO4-/Mn^2+"]);
    assert_ends("oxalate", &curve, &[(25.0, true)]);
    let iodine = Solution::of("I3-", 0.01).with("KI", 0.1);
    let curve = redox(
        &iodine,
        &Solution::of("Na2S2O3", 0.02),
        &["I3-/I-", "I2/I-", "S4O6^2-/S2O3^2-"],
    );
    assert_ends("iodine", &curve, &[(25.0, true)]);
    let iron = Solution::of("FeSO4", 0.06).with("H2SO4", 1.0);
    let curve = redox(
        &iron,
        &Solution::of("Cr2O7^2-", 0.01),
        &["Fe^3+/Fe^2+", "Cr2O7^2-/Cr^3+"],
    );
    assert_ends("iron with dichromate", &curve, &[(25.0, true)]);
    let volhard = TitrationCurve::precipitation(
        &Solution::of("AgNO3", 0.05),
        50.0,
        &Solution::of("KSCN", 0.1),
        "Ag+",
        &Conditions::default(),
        &Setup::default(),
    )
    .unwrap();
    assert_ends("silver with thiocyanate", &volhard, &[(25.0, true)]);
}

/// 2.5 mmol of strong acid meet 2.5 mmol of strong base in 50 mL: 55.81 kJ/mol over 4.18 J/(mL K) make 0.668 K.
#[test]
fn neutralization_warms_an_insulated_flask() {
    let curve = AcidBaseCurve::new(
        &Solution::of("HCl", 0.1),
        25.0,
        &Solution::of("NaOH", 0.1),
        &Conditions::default(),
    )
    .unwrap();
    assert!((curve.insulated_temperature(0.0).unwrap() - 25.0).abs() < 1e-9);
    let warmed = curve.insulated_temperature(25.0).unwrap() - 25.0;
    assert!(
        (warmed - 2.5 * 55.81 / (4.18 * 50.0)).abs() < 1e-4,
        "{warmed}"
    );
    // beyond equivalence the excess only cools
    assert!(curve.insulated_temperature(40.0).unwrap() < 25.0 + warmed);
}

#[test]
fn refusals_are_for_people() {
    let conditions = Conditions::default();
    let acid = Solution::of("HCl", 0.1);
    let lye = Solution::of("NaOH", 0.1);
    let curve = TitrationCurve::acid_base(&acid, 25.0, &lye, &conditions).unwrap();
    for (error, word) in [
        (
            TitrationCurve::acid_base(&acid, 0.0, &lye, &conditions).unwrap_err(),
            "flask",
        ),
        (
            TitrationCurve::acid_base(&acid, f64::NAN, &lye, &conditions).unwrap_err(),
            "flask",
        ),
        (curve.level_at(-1.0).unwrap_err(), "titrant"),
        (curve.levels_at(&[1.0, f64::NAN]).unwrap_err(), "titrant"),
        (curve.volume_at(13.5).unwrap_err(), "13.5"),
        (
            TitrationCurve::redox(&acid, 25.0, &lye, &conditions, &Setup::default()).unwrap_err(),
            "couple",
        ),
        (
            TitrationCurve::precipitation(&acid, 25.0, &lye, "Ag+", &conditions, &Setup::default())
                .unwrap_err(),
            "Ag+",
        ),
    ] {
        let text = error.to_string();
        assert!(text.contains(word), "{text}");
        assert!(
            !text.ends_with('.')
                && text
                    .chars()
                    .next()
                    .is_some_and(|c| !c.is_uppercase() || text.starts_with("Ag")),
            "{text}"
        );
    }
    let cold = Conditions {
        temperature_c: -5.0,
        ..Conditions::default()
    };
    assert!(TitrationCurve::acid_base(&acid, 25.0, &lye, &cold).is_err());
}
