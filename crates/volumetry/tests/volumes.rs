//! Volumes as formulas: values, budgets, shared and run-scoped inputs.

use metrology::{Budget, Distribution, Expr, Formula, Origin, Scope, WrittenQuantity, propagate};
use volumetry::catalogue::Kind;
use volumetry::{
    BuretteRun, Calibration, CorrectionPoint, Drainage, Fill, Liquid, LiquidTemperature, Occasion,
    Piece, VolumetryError,
};

fn ml(text: &str) -> WrittenQuantity {
    text.parse().expect(text)
}

fn fill(initial: &str, last: &str) -> Fill {
    Fill {
        initial: ml(initial),
        last: ml(last),
    }
}

fn temperature(value_c: f64, half_width: f64) -> LiquidTemperature {
    LiquidTemperature::read("lab/temperature", value_c, half_width).expect("a temperature")
}

fn titre(
    piece: &Piece,
    run: &str,
    fills: &[Fill],
    temperature: &LiquidTemperature,
) -> Result<Expr, VolumetryError> {
    piece.delivered_in_run(&BuretteRun {
        occasion: &Occasion::run(run),
        fills,
        step_ml: None,
        temperature,
        liquid: &Liquid::dilute_aqueous(temperature.value_c)?,
        drainage: None,
        end: None,
        refilled: false,
    })
}

fn budget(expr: &Expr) -> (Formula, Budget) {
    let formula = Formula::build(expr).expect("a formula");
    let budget = propagate(&formula);
    (formula, budget)
}

/// Contribution of the inputs whose id ends so, mL.
fn part(formula: &Formula, budget: &Budget, id_end: &str) -> f64 {
    budget
        .lines
        .iter()
        .filter(|l| formula.inputs()[l.input].id.ends_with(id_end))
        .map(|l| l.contribution * l.contribution)
        .sum::<f64>()
        .sqrt()
}

fn burette() -> Piece {
    Piece::named("burette-1", "burette 50 mL A").expect("in the catalogue")
}

#[test]
fn a_titre_at_20_degrees_is_the_difference_of_the_readings() {
    let expr = titre(
        &burette(),
        "run-1",
        &[fill("0.12 mL", "18,76 mL")],
        &temperature(20.0, 0.5),
    )
    .unwrap();
    let (formula, b) = budget(&expr);
    assert!((b.value - 18.64).abs() < 1e-12, "{}", b.value);
    assert_eq!(b.unit.symbol(), "mL");
    // Closed forms: tolerance 0.05/sqrt(6); reading 0.02/sqrt(6) each; temperature 18.64 (2.0687e-4 - 9.9e-6) 0.5/sqrt(3).
    let close = |a: f64, b: f64| (a / b - 1.0).abs() < 1e-4;
    assert!(close(
        part(&formula, &b, "burette-1/calibration"),
        0.05 / 6f64.sqrt()
    ));
    assert!(close(
        part(&formula, &b, "burette-1/final"),
        0.02 / 6f64.sqrt()
    ));
    assert!(close(
        part(&formula, &b, "burette-1/initial"),
        0.02 / 6f64.sqrt()
    ));
    let expected = 18.64 * (2.0687e-4 - 9.9e-6) * 0.5 / 3f64.sqrt();
    assert!(close(part(&formula, &b, "lab/temperature"), expected));
    assert_eq!(formula.inputs()[0].written.as_deref(), Some("18.76"));
}

#[test]
fn readings_belong_to_the_run_and_the_burette_to_all() {
    let t = temperature(22.0, 1.0);
    let burette = burette();
    let runs = [
        titre(&burette, "run-1", &[fill("0.00 mL", "20.10 mL")], &t).unwrap(),
        titre(&burette, "run-2", &[fill("20.10 mL", "40.18 mL")], &t).unwrap(),
    ];
    let (formula, b) = budget(&Expr::mean(runs));
    let shared =
        |id: &str| formula.inputs()[formula.input_index(id).unwrap()].scope == Scope::Shared;
    assert!(shared("burette-1/calibration") && shared("lab/temperature"));
    let run = &formula.inputs()[formula.input_index("run-2/burette-1/initial").unwrap()];
    assert_eq!(run.scope, Scope::Run("run-2".into()));
    // The shared tolerance does not average out.
    let tolerance = part(&formula, &b, "burette-1/calibration");
    assert!((tolerance / (0.05 / 6f64.sqrt()) - 1.0).abs() < 1e-3);
    // Four readings do.
    let reading = part(&formula, &b, "final").hypot(part(&formula, &b, "initial"));
    assert!((reading / (0.02 / 6f64.sqrt()) - 1.0).abs() < 1e-3);
}

#[test]
fn one_burette_in_a_ratio_cancels() {
    let t = temperature(20.0, 1.0);
    let burette = burette();
    let v1 = titre(
        &burette,
        "standardization/run-1",
        &[fill("0.00 mL", "25.00 mL")],
        &t,
    )
    .unwrap();
    let v2 = titre(&burette, "assay/run-1", &[fill("0.00 mL", "25.00 mL")], &t).unwrap();
    let (formula, b) = budget(&(v1.clone() / v2));
    assert!(part(&formula, &b, "burette-1/calibration") < 1e-12);
    assert!(part(&formula, &b, "lab/temperature") < 1e-12);
    let other = Piece::named("burette-2", "burette 50 mL A").unwrap();
    let v3 = titre(&other, "assay/run-1", &[fill("0.00 mL", "25.00 mL")], &t).unwrap();
    let (formula, b) = budget(&(v1 / v3));
    assert!(part(&formula, &b, "burette-1/calibration") > 8e-4);
}

#[test]
fn a_refill_adds_readings_and_repeats_the_error() {
    let fills = [fill("0.00 mL", "50.00 mL"), fill("0.00 mL", "11.34 mL")];
    let (formula, b) =
        budget(&titre(&burette(), "run-1", &fills, &temperature(20.0, 1.0)).unwrap());
    assert!((b.value - 61.34).abs() < 1e-12);
    assert_eq!(
        formula
            .inputs()
            .iter()
            .filter(|i| i.id.contains("fill-"))
            .count(),
        4
    );
    let tolerance = part(&formula, &b, "burette-1/calibration");
    assert!((tolerance / (2.0 * 0.05 / 6f64.sqrt()) - 1.0).abs() < 1e-12);
}

#[test]
fn coarse_readings_are_less_certain() {
    let t = temperature(20.0, 1.0);
    let u = |initial, last| {
        let (formula, b) = budget(&titre(&burette(), "run-1", &[fill(initial, last)], &t).unwrap());
        part(&formula, &b, "final").hypot(part(&formula, &b, "initial"))
    };
    assert!((u("0.00 mL", "18.60 mL") - 0.011547).abs() < 1e-6);
    assert!((u("0.0 mL", "18.6 mL") - 0.1 / 6f64.sqrt()).abs() < 1e-6);
    // In µL the step of the last digit is 1 µL: the eye limits.
    assert!((u("0 µL", "18600 µL") - 0.011547).abs() < 1e-6);
}

#[test]
fn a_declared_step_overrides_the_decimals() {
    let occasion = Occasion::run("run-1");
    let t = temperature(20.0, 1.0);
    let expr = burette()
        .delivered_in_run(&BuretteRun {
            occasion: &occasion,
            fills: &[fill("0.00 mL", "18.65 mL")],
            step_ml: Some(0.05),
            temperature: &t,
            liquid: &Liquid::dilute_aqueous(20.0).unwrap(),
            drainage: Some(&Drainage {
                value_ml: 0.02,
                distribution: Distribution::Rectangular { half_width: 0.02 },
                origin: Origin::Assumption("read at once after fast delivery".into()),
            }),
            end: None,
            refilled: false,
        })
        .unwrap();
    let (formula, b) = budget(&expr);
    assert!(
        (b.value - 18.63).abs() < 1e-12,
        "drainage makes the reading too high"
    );
    let reading = part(&formula, &b, "final").hypot(part(&formula, &b, "initial"));
    assert!((reading - 0.020412).abs() < 1e-6, "{reading}");
    assert!((part(&formula, &b, "drainage") - 0.02 / 3f64.sqrt()).abs() < 1e-9);
}

#[test]
fn a_calibrated_burette_is_corrected_at_both_readings() {
    let point = |volume_ml, correction_ml| CorrectionPoint {
        volume_ml,
        correction_ml,
        standard_uncertainty_ml: 0.005,
    };
    let calibration = Calibration::new(
        "C-17",
        "2024-05-02",
        [point(10.0, 0.02), point(50.0, -0.02)],
    )
    .unwrap();
    let piece = burette().calibrated(calibration);
    let t = temperature(20.0, 1e-6);
    let at = |initial, last| budget(&titre(&piece, "run-1", &[fill(initial, last)], &t).unwrap());
    // Corrections: 5 mL +0.010 (from the zero mark), 10 mL +0.020, 30 mL 0.000.
    assert!((at("0.00 mL", "10.00 mL").1.value - 10.02).abs() < 1e-9);
    assert!((at("5.00 mL", "30.00 mL").1.value - 24.99).abs() < 1e-9);
    let (formula, b) = at("0.00 mL", "10.00 mL");
    assert!((part(&formula, &b, "burette-1/calibration/10") - 0.005).abs() < 1e-9);
    assert!(formula.input_index("burette-1/calibration").is_none());
    // Calibrating is worth it.
    let (_, with_tolerance) =
        budget(&titre(&burette(), "run-1", &[fill("0.00 mL", "10.00 mL")], &t).unwrap());
    assert!(b.standard_uncertainty < 0.7 * with_tolerance.standard_uncertainty);
}

#[test]
fn warm_titrant_counts_less_by_the_table() {
    // -1.112 mL/L at 25 degC in borosilicate glass (computed independently from Tanaka 2001).
    let (_, b) = budget(
        &titre(
            &burette(),
            "run-1",
            &[fill("0.00 mL", "40.00 mL")],
            &temperature(25.0, 1.0),
        )
        .unwrap(),
    );
    assert!(
        (b.value - 40.0 * (1.0 - 1.112e-3)).abs() < 40.0 * 0.6e-6,
        "{}",
        b.value
    );
}

#[test]
fn organic_liquids_expand_more() {
    // Acetic acid as solvent: V (1 + 0.0011 (t_std - t_use)), pharmacopoeial practice; glass takes 9.9e-6 off.
    let acetic = Liquid::new("acetic acid", 0.0011, 0.00005, "pharmacopoeial practice").unwrap();
    let t = temperature(25.0, 1.0);
    let occasion = Occasion::run("run-1");
    let expr = burette()
        .delivered_in_run(&BuretteRun {
            occasion: &occasion,
            fills: &[fill("0.00 mL", "40.00 mL")],
            step_ml: None,
            temperature: &t,
            liquid: &acetic,
            drainage: None,
            end: None,
            refilled: false,
        })
        .unwrap();
    let v = budget(&expr).1.value;
    assert!((v - 40.0 * (1.0 - 0.0055 + 4.95e-5)).abs() < 1e-9, "{v}");
    assert!(Liquid::new("mercury vapour", 0.1, 0.0, "").is_err());
}

#[test]
fn pipette_and_flask_hold_their_mark() {
    let t = temperature(20.0, 4.0);
    let water = Liquid::dilute_aqueous(20.0).unwrap();
    let flask = Piece::named("flask-1", "flask 100 mL A")
        .unwrap()
        .filled_within(Some(0.02));
    let (formula, b) = budget(
        &flask
            .held(&Occasion::once("stock"), None, &t, &water)
            .unwrap(),
    );
    assert!((b.value - 100.0).abs() < 1e-12);
    // EURACHEM/CITAC CG4, A1: 0.0408248 (tolerance), 0.02 (filling), 0.0484974 (temperature, water without glass).
    assert!((part(&formula, &b, "flask-1/calibration") - 0.0408248).abs() < 1e-7);
    assert!((part(&formula, &b, "stock/flask-1/filling") - 0.02).abs() < 1e-12);
    let glass = (2.0687e-4 - 9.9e-6) / 2.1e-4;
    assert!((part(&formula, &b, "lab/temperature") / (0.0484974 * glass) - 1.0).abs() < 1e-4);
    let filling = &formula.inputs()[formula.input_index("stock/flask-1/filling").unwrap()];
    assert_eq!(filling.scope, Scope::Shared);

    let piston = Piece::named("piston-1", "piston pipette 1000 uL").unwrap();
    let (formula, b) = budget(
        &piston
            .held(&Occasion::run("run-1"), Some(0.5), &t, &water)
            .unwrap(),
    );
    assert!((b.value - 0.5).abs() < 1e-12);
    // The limit of the nominal volume holds over the range.
    assert!((part(&formula, &b, "piston-1/calibration") - 0.008 / 6f64.sqrt()).abs() < 1e-9);
    assert!(
        piston
            .held(&Occasion::run("run-1"), Some(1.5), &t, &water)
            .is_err()
    );
    assert!(
        flask
            .held(&Occasion::run("run-1"), Some(50.0), &t, &water)
            .is_err()
    );
}

#[test]
fn refuses_readings_that_cannot_be() {
    let t = temperature(20.0, 1.0);
    let message = |initial: &str, last: &str| {
        titre(&burette(), "run-4", &[fill(initial, last)], &t)
            .unwrap_err()
            .to_string()
    };
    assert_eq!(
        message("18.60 mL", "0.10 mL"),
        "run-4: the final reading 0.10 mL is below the initial one, 18.60 mL; if the burette was refilled, give the \
         readings before and after the refill"
    );
    assert!(message("0.00 mL", "51.00 mL").contains("outside the scale of burette-1, 0 to 50 mL"));
    assert!(message("-0.20 mL", "18.00 mL").contains("outside the scale"));
    assert!(message("0.00 g", "18.00 g").contains("g is a mass"));
    assert!(message("0.00", "18.00").contains("mL"));
    assert!(matches!(
        titre(&burette(), "run-4", &[], &t),
        Err(VolumetryError::NoReadings { .. })
    ));
    let pipette = Piece::named("pipette-1", "pipette 25 mL AS").unwrap();
    assert!(matches!(
        titre(&pipette, "run-4", &[fill("0.00 mL", "1.00 mL")], &t),
        Err(VolumetryError::WrongKind { .. })
    ));
    let origin = || Origin::Assumption("test".into());
    assert!(Piece::with_tolerance("x", Kind::Burette, 0.0, None, 0.1, origin()).is_err());
    assert!(Piece::with_tolerance("x", Kind::Burette, 50.0, Some(-0.1), 0.1, origin()).is_err());
}

#[test]
fn the_working_reads_as_a_chemist_writes_it() {
    let expr = titre(
        &burette(),
        "run-1",
        &[fill("0.12 mL", "18.76 mL")],
        &temperature(22.5, 0.5),
    )
    .unwrap();
    let steps = Formula::build(&expr).unwrap().steps();
    let lines: Vec<String> = steps
        .iter()
        .map(|s| format!("{} = {}", s.symbol, s.in_symbols))
        .collect();
    assert_eq!(
        lines,
        [
            "V_obs,1 = V_end,1 − V_start,1",
            "f_t = 1 + (γ − β) · (t − 20 degC)",
            "V_1 = (V_obs,1 + δ_B) · f_t",
        ]
    );
    assert_eq!(steps[0].in_numbers, "18.76 mL − 0.12 mL");
}
