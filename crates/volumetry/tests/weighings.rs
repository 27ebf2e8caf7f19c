//! Masses as formulas.

use metrology::{Budget, Expr, Formula, Origin, Scope, WrittenQuantity, propagate};
use volumetry::balance::BalanceRecord;
use volumetry::{
    AirDensity, Balance, Body, Linearity, Occasion, VolumetryError, Weighed, Weighing,
};

fn g(text: &str) -> WrittenQuantity {
    text.parse().expect(text)
}

fn by_difference(gross: &str, tare: &str) -> Weighed {
    Weighed::ByDifference {
        gross: g(gross),
        tare: g(tare),
    }
}

fn mass(
    balance: &Balance,
    run: &str,
    weighed: &Weighed,
    buoyancy: Option<(&AirDensity, &Body)>,
) -> Result<Expr, VolumetryError> {
    Weighing {
        occasion: &Occasion::run(run),
        balance,
        weighed,
        buoyancy,
    }
    .mass()
}

fn budget(expr: &Expr) -> (Formula, Budget) {
    let formula = Formula::build(expr).expect("a formula");
    let budget = propagate(&formula);
    (formula, budget)
}

fn part(formula: &Formula, budget: &Budget, id_has: &str) -> f64 {
    budget
        .lines
        .iter()
        .filter(|l| formula.inputs()[l.input].id.contains(id_has))
        .map(|l| l.contribution * l.contribution)
        .sum::<f64>()
        .sqrt()
}

fn four_place() -> Balance {
    Balance::named("balance-1", "four-place balance").expect("in the list")
}

#[test]
fn linearity_counts_for_tare_and_gross() {
    // EURACHEM/CITAC CG4, A2: ±0.15 mg, rectangular, twice: u = 0.12247449 mg for a net of 0.3888 g.
    let weighed = by_difference("60.5450 g", "60.1562 g");
    let (formula, b) = budget(&mass(&four_place(), "run-1", &weighed, None).unwrap());
    assert!((b.value - 0.3888).abs() < 1e-12);
    assert!((part(&formula, &b, "linearity") - 1.2247449e-4).abs() < 1e-11);
    let one = four_place().with_linearity(Linearity::OneVariable);
    let (formula, b) = budget(&mass(&one, "run-1", &weighed, None).unwrap());
    assert!((part(&formula, &b, "linearity") - 1.5e-4 / 3f64.sqrt()).abs() < 1e-11);
}

#[test]
fn resolution_and_repeatability_are_of_the_run_linearity_of_the_balance() {
    let runs = ["run-1", "run-2"].map(|run| {
        mass(
            &four_place(),
            run,
            &by_difference("10.5000 g", "10.0000 g"),
            None,
        )
        .unwrap()
    });
    let (formula, b) = budget(&Expr::mean(runs));
    let close = |a: f64, b: f64| (a / b - 1.0).abs() < 1e-9;
    // Shared: as for one run.
    assert!(close(
        part(&formula, &b, "linearity"),
        1.5e-4 * (2.0f64 / 3.0).sqrt()
    ));
    // Two readings a run, two runs averaged: the single values 0.05 mg/sqrt(3) and 0.1 mg.
    let resolution =
        part(&formula, &b, "balance-1/gross").hypot(part(&formula, &b, "balance-1/tare"));
    assert!(close(resolution, 0.5e-4 / 3f64.sqrt()));
    assert!(close(part(&formula, &b, "repeatability"), 1e-4));
    let gross = &formula.inputs()[formula.input_index("run-1/balance-1/gross").unwrap()];
    assert_eq!(gross.scope, Scope::Run("run-1".into()));
    assert_eq!(gross.written.as_deref(), Some("10.5000"));
}

#[test]
fn a_reading_written_short_is_less_certain() {
    let balance = four_place();
    let u = |text: &str| {
        let (formula, b) = budget(&mass(&balance, "run-1", &Weighed::Net(g(text)), None).unwrap());
        part(&formula, &b, "balance-1/net")
    };
    assert!((u("0.500 g") - 0.5e-3 / 3f64.sqrt()).abs() < 1e-12);
    assert!((u("0.5000 g") - 0.5e-4 / 3f64.sqrt()).abs() < 1e-12);
    // Digits that the display does not have add nothing.
    assert!((u("0.500000 g") - 0.5e-4 / 3f64.sqrt()).abs() < 1e-12);
    assert!((u("500.0 mg") - 0.5e-4 / 3f64.sqrt()).abs() < 1e-12);
}

#[test]
fn buoyancy_raises_half_a_gram_of_phthalate_by_0_058_per_cent() {
    // Air of 1.2 kg/m3, 1636 kg/m3: 0.5000 g reads for 0.5002920 g (computed independently).
    let air = AirDensity {
        id: "air/density".into(),
        value: 1.2,
        standard_uncertainty: 0.02,
        origin: Origin::Assumption("test".into()),
    };
    let khp = Body::named("KHP").unwrap();
    let (formula, b) = budget(
        &mass(
            &four_place(),
            "run-1",
            &Weighed::Net(g("0.5000 g")),
            Some((&air, &khp)),
        )
        .unwrap(),
    );
    assert!((b.value - 0.5002920).abs() < 0.51e-7, "{}", b.value);
    // d m / d rho_A = m (1/1636 - 1/8000).
    let expected = 0.5 * (1.0 / 1636.0 - 1.0 / 8000.0) * 0.02;
    assert!((part(&formula, &b, "air/density") / expected - 1.0).abs() < 2e-3);
    assert!(
        formula
            .inputs()
            .iter()
            .all(|i| !i.description.is_empty() && !i.group.is_empty())
    );
}

#[test]
fn a_drift_grows_with_the_load() {
    let record = BalanceRecord {
        drift_relative: 2e-6,
        ..four_place().record
    };
    let balance = Balance::new("balance-2", record, Origin::Certificate("B-4".into())).unwrap();
    let (formula, b) =
        budget(&mass(&balance, "run-1", &Weighed::Net(g("100.0000 g")), None).unwrap());
    assert!((part(&formula, &b, "drift") - 2e-4 / 3f64.sqrt()).abs() < 1e-9);
}

#[test]
fn refuses_weighings_that_cannot_be() {
    let balance = four_place();
    let message = |weighed: &Weighed| {
        mass(&balance, "run-3", weighed, None)
            .unwrap_err()
            .to_string()
    };
    assert_eq!(
        message(&by_difference("10.0000 g", "10.5000 g")),
        "run-3: the gross weight 10.0000 g is not above the tare 10.5000 g"
    );
    assert!(message(&Weighed::Net(g("0.0000 g"))).contains("must be a positive number"));
    assert!(message(&Weighed::Net(g("0.5 mL"))).contains("mL is a volume"));
    let bad = BalanceRecord {
        repeatability_g: f64::NAN,
        ..balance.record.clone()
    };
    assert!(Balance::new("x", bad, Origin::Assumption("test".into())).is_err());
    assert!(Body::new("helium", 0.16, 0.0, Origin::Assumption("test".into())).is_err());
}
