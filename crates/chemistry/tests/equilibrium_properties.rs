//! What theory says of every curve, tried on random ones.

use chemistry::acid_base::curve::AcidBaseCurve;
use chemistry::acid_base::ph;
use chemistry::activity::ActivityModel;
use chemistry::constant_set::Conditions;
use chemistry::equilibrium::system::Setup;
use chemistry::solution::Solution;
use chemistry::titration_curve::TitrationCurve;
use proptest::prelude::*;

const ACIDS: [&str; 12] = [
    "HCl", "CH3COOH", "H3PO4", "H3Cit", "KHP", "H2C2O4", "H2SO4", "NaHCO3", "NH4Cl", "H3BO3",
    "HTris+", "H2Gly+",
];

fn concentration() -> impl Strategy<Value = f64> {
    (-7.0..0.3_f64).prop_map(|exponent| 10f64.powf(exponent))
}

fn model() -> impl Strategy<Value = ActivityModel> {
    prop_oneof![
        Just(ActivityModel::None),
        Just(ActivityModel::Davies),
        Just(ActivityModel::ExtendedDebyeHueckel)
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// A titrant more basic than the flask raises the pH all the way, a less basic one lowers it (dilution of a buffer), whatever
    /// is in the flask; the curve in one go is the curve point by point; the balance closes; the explicit volume leads back;
    /// the shares of every acid add to 1.
    #[test]
    fn acid_base_curves_are_monotone(
        first in 0..ACIDS.len(), second in 0..ACIDS.len(), c1 in concentration(), c2 in concentration(),
        base in concentration(), temperature in 0.0..60.0_f64, activity in model(),
    ) {
        let conditions = Conditions { temperature_c: temperature, activity, ..Conditions::default() };
        // with activity coefficients the theorem needs a titrant whose dilution of the salts does not outweigh its base
        let ideal = activity == ActivityModel::None;
        let (c1, c2) = if ideal { (c1, c2) } else { (c1.min(0.15), c2.min(0.15)) };
        let base = if ideal { base } else { c1 + c2 };
        let (flask, titrant) = (Solution::of(ACIDS[first], c1).with(ACIDS[second], c2), Solution::of("NaOH", base));
        let rises = ph(&titrant, &conditions).unwrap() >= ph(&flask, &conditions).unwrap();
        let curve = AcidBaseCurve::new(&flask, 25.0, &titrant, &conditions).unwrap();
        let volumes: Vec<f64> = (0..60).map(|i| f64::from(i) * 1.7).collect();
        let phs = curve.ph_at_volumes(&volumes).unwrap();
        for pair in phs.windows(2) {
            let step = if rises { pair[1] - pair[0] } else { pair[0] - pair[1] };
            prop_assert!(step >= -1e-9, "{} then {}", pair[0], pair[1]);
        }
        for (&volume, &ph) in volumes.iter().zip(&phs).step_by(7) {
            prop_assert!((curve.ph_at(volume).unwrap() - ph).abs() < 1e-7);
            prop_assert!(curve.residual(volume).unwrap() < 1e-12, "{}", curve.residual(volume).unwrap());
            let total: f64 = curve.fractions(volume).unwrap().iter().map(|f| f.1).sum();
            prop_assert!((total - total.round()).abs() < 1e-12);
            let point = curve.point(volume).unwrap();
            prop_assert!(point.buffer_capacity > 0.0);
            // the way back is as well determined as the curve is steep
            if point.slope_per_ml.abs() > 1e-6 {
                let back = curve.volume_at_ph(ph).unwrap();
                prop_assert!((back - volume).abs() < 1e-6 * (1.0 + 25.0 + volume) + 1e-9 / point.slope_per_ml.abs(), "{back} {volume}");
            }
        }
    }

    /// Volumes scale with the flask, and concentrations with each other while water and activities stay out of the way.
    #[test]
    fn equivalence_volumes_are_stoichiometry(acid in concentration(), base in concentration(), flask_ml in 1.0..250.0_f64, activity in model()) {
        let conditions = Conditions { activity, ..Conditions::default() };
        let (acid, base) = (acid.min(0.3), base.min(0.3));
        let curve = TitrationCurve::acid_base(&Solution::of("KHP", acid), flask_ml, &Solution::of("NaOH", base), &conditions).unwrap();
        let ends = curve.equivalence_points().unwrap();
        let expected = flask_ml * acid / base;
        prop_assert_eq!(ends.len(), 1);
        prop_assert!((ends[0].volume_ml / expected - 1.0).abs() < 1e-12);
    }

    /// Silver raises pAg's fall: a precipitation curve is monotone through any mixture of halides, and no ion product is passed.
    #[test]
    fn silver_curves_fall(chloride in concentration(), bromide in concentration(), iodide in concentration(), silver in concentration()) {
        let limit = |c: f64| c.clamp(1e-5, 0.2);
        let flask = Solution::of("NaCl", limit(chloride)).with("KBr", limit(bromide)).with("KI", limit(iodide));
        let curve = TitrationCurve::precipitation(
            &flask, 50.0, &Solution::of("AgNO3", limit(silver)), "Ag+", &Conditions::ideal(), &Setup::default(),
        ).unwrap();
        let volumes: Vec<f64> = (1..40).map(|i| f64::from(i) * 2.3).collect();
        let levels = curve.levels_at(&volumes).unwrap();
        for pair in levels.windows(2) {
            prop_assert!(pair[1] <= pair[0] + 1e-9, "{} then {}", pair[0], pair[1]);
        }
    }

    /// More ligand binds more metal: pM never falls while EDTA is added.
    #[test]
    fn edta_curves_rise(calcium in concentration(), edta in concentration(), ph in 4.0..12.5_f64, activity in model()) {
        let limit = |c: f64| c.clamp(1e-6, 0.1);
        let conditions = Conditions { activity, ..Conditions::default() };
        let setup = Setup { fixed_ph: Some(ph), ..Setup::default() };
        let curve = TitrationCurve::complexometric(
            &Solution::of("CaCl2", limit(calcium)), 50.0, &Solution::of("Na2EDTA", limit(edta)), "Ca^2+", &conditions, &setup,
        ).unwrap();
        let volumes: Vec<f64> = (0..30).map(|i| f64::from(i) * 3.1).collect();
        let levels = curve.levels_at(&volumes).unwrap();
        for pair in levels.windows(2) {
            prop_assert!(pair[1] >= pair[0] - 1e-9, "{} then {}", pair[0], pair[1]);
        }
    }
}
