//! Gravimetric calibration of glassware after ISO 4787 and ISO 8655-6.
//!
//! Source of the formula: ISO 4787, V20 = reading · 1/(rho_W - rho_A) · (1 - rho_A/rho_B) · (1 - gamma (t - 20 degC)).
//! Every expected number was computed in plain Python from the published formulas (Tanaka 2001, CIPM-2007), with
//! sensitivities by finite differences, independently of this program. The weighings are invented.

use metrology::{Formula, Origin, WrittenQuantity, propagate};
use volumetry::air::Air;
use volumetry::balance::BalanceRecord;
use volumetry::{
    AirDensity, Balance, BuretteRun, Fill, GravimetricCalibration, Liquid, LiquidTemperature,
    Occasion, Piece, WeighedDelivery, buoyancy, temperature, water,
};

/// Air at 22.3 degC, 1008 hPa, 45 %, known within 0.5 K, 2 hPa, 5 %.
fn air() -> AirDensity {
    let state = |temperature_c, pressure_pa, relative_humidity| Air {
        temperature_c,
        pressure_pa,
        relative_humidity,
    };
    AirDensity::measured(
        "air/density",
        state(22.3, 100_800.0, 0.45),
        state(0.5, 200.0, 0.05),
    )
    .expect("ordinary air")
}

/// 0.1 mg steps, linearity ±0.15 mg.
fn balance() -> Balance {
    let record = BalanceRecord {
        name: "four-place balance".into(),
        also: Vec::new(),
        readability_g: 1e-4,
        repeatability_g: 1e-4,
        linearity_g: 1.5e-4,
        drift_relative: 0.0,
        mark: "test".into(),
    };
    Balance::new("balance-1", record, Origin::Assumption("test".into())).expect("a balance")
}

fn calibrate<'a>(
    piece: &'a Piece,
    balance: &'a Balance,
    water_temperature: &'a LiquidTemperature,
    air: &'a AirDensity,
    deliveries: Vec<WeighedDelivery>,
) -> GravimetricCalibration<'a> {
    GravimetricCalibration {
        certificate: "G-1".into(),
        date: "2024-05-02".into(),
        piece,
        balance,
        water_temperature,
        air,
        evaporation_g: None,
        deliveries,
    }
}

fn delivery(mark_ml: f64, readings_g: &[f64]) -> WeighedDelivery {
    WeighedDelivery {
        mark_ml,
        readings_g: readings_g.to_vec(),
    }
}

#[test]
fn worked_pipette_of_25_ml() {
    // Reading 24.9283 g: V20 = 25.0110625 mL with the CIPM-2007 density of the air (25.0110628 with the simplified).
    let pipette = Piece::named("pipette-1", "pipette 25 mL AS").unwrap();
    let (balance, air) = (balance(), air());
    let t = LiquidTemperature::read("water/temperature", 22.3, 0.2).unwrap();
    let work = calibrate(
        &pipette,
        &balance,
        &t,
        &air,
        vec![delivery(25.0, &[24.9283])],
    );
    let point = &work.points().unwrap()[0];
    assert!(
        (point.budget.value - 25.0110625).abs() <= 0.51e-7,
        "{}",
        point.budget.value
    );
    assert!(point.standard_deviation_ml.is_none());
    assert!((point.correction().correction_ml - 0.0110625).abs() <= 0.51e-7);
}

/// Mark, mL; readings, g; V20, mL; u(V20), mL; effective degrees of freedom; s of one delivery, mL.
const BURETTE: [(f64, [f64; 4], f64, f64, f64, f64); 3] = [
    (
        10.0,
        [9.9712, 9.9745, 9.9731, 9.9702],
        10.005358,
        1.007671e-3,
        3.5739,
        1.929055e-3,
    ),
    (
        25.0,
        [24.9283, 24.9251, 24.9302, 24.9266],
        25.010310,
        1.289782e-3,
        5.6189,
        2.205023e-3,
    ),
    (
        50.0,
        [49.8291, 49.8352, 49.8320, 49.8309],
        49.997243,
        1.842603e-3,
        12.6625,
        2.571059e-3,
    ),
];

#[test]
fn burette_with_replicates_and_its_budget() {
    let burette = Piece::named("burette-1", "burette 50 mL A").unwrap();
    let (balance, air) = (balance(), air());
    let t = LiquidTemperature::read("water/temperature", 22.3, 0.2).unwrap();
    let deliveries = BURETTE.iter().map(|row| delivery(row.0, &row.1)).collect();
    let work = calibrate(&burette, &balance, &t, &air, deliveries);
    let points = work.points().unwrap();
    for (point, (mark, _, v, u, dof, s)) in points.iter().zip(BURETTE) {
        let b = &point.budget;
        assert!((b.value - v).abs() <= 0.51e-6, "{mark}: {}", b.value);
        assert!(
            (b.standard_uncertainty / u - 1.0).abs() <= 2e-6,
            "{mark}: {}",
            b.standard_uncertainty
        );
        assert!(
            (b.effective_degrees_of_freedom - dof).abs() <= 1e-4 * dof,
            "{mark}"
        );
        assert!(
            (point.standard_deviation_ml.unwrap() / s - 1.0).abs() <= 1e-6,
            "{mark}"
        );
    }
    // At 25 mL: replicates 1.103e-3, water temperature 6.384e-4, water 1.449e-4, air 4.139e-5, weights 2.671e-5,
    // glass 3.321e-5 mL.
    let part = |id: &str| {
        let index = points[1].volume.input_index(id).unwrap();
        let line = points[1]
            .budget
            .lines
            .iter()
            .find(|l| l.input == index)
            .unwrap();
        line.contribution.abs()
    };
    for (id, expected) in [
        ("water/temperature", 6.384e-4),
        ("water/purity", 1.449e-4),
        ("air/density", 4.139e-5),
        ("weights/density", 2.671e-5),
        ("glass/borosilicate 3.3/expansion", 3.321e-5),
    ] {
        assert!(
            (part(id) / expected - 1.0).abs() <= 5e-4,
            "{id}: {}",
            part(id)
        );
    }
}

#[test]
fn the_table_corrects_a_titre() {
    // A burette of known errors is weighed, calibrated and used: the titre comes out as it was delivered.
    let burette = Piece::named("burette-1", "burette 50 mL A").unwrap();
    let (balance, air) = (balance(), air());
    let t = LiquidTemperature::read("water/temperature", 18.7, 0.2).unwrap();
    let truth = |mark: f64| mark + 0.04 * (mark / 15.0).sin();
    let glass = burette.glass.as_ref().unwrap();
    let reading_of = |v20: f64| {
        let hot = v20 * (1.0 + glass.cubic_expansion_per_k * (18.7 - 20.0));
        let rho = water::density(18.7).unwrap();
        hot * rho / 1000.0 / buoyancy::factor(air.value, rho, buoyancy::weight_density()).unwrap()
    };
    let deliveries = (1..=10)
        .map(|i| 5.0 * f64::from(i))
        .map(|mark| {
            let m = reading_of(truth(mark));
            delivery(mark, &[m - 1e-3, m, m + 1e-3])
        })
        .collect();
    let calibration = calibrate(&burette, &balance, &t, &air, deliveries)
        .calibration()
        .unwrap();
    for point in calibration.points() {
        let miss = point.volume_ml + point.correction_ml - truth(point.volume_ml);
        // The glass term is linear in one formula and its inverse here: 1e-10 relative.
        assert!(miss.abs() < 1e-8, "{point:?}");
    }
    let piece = burette.calibrated(calibration);
    let t20 = LiquidTemperature::read("lab/temperature", 20.0, 0.5).unwrap();
    let written = |text: &str| text.parse::<WrittenQuantity>().unwrap();
    let occasion = Occasion::run("run-1");
    let expr = piece
        .delivered_in_run(&BuretteRun {
            occasion: &occasion,
            fills: &[Fill {
                initial: written("5.00 mL"),
                last: written("32.50 mL"),
            }],
            step_ml: None,
            temperature: &t20,
            liquid: &Liquid::dilute_aqueous(20.0).unwrap(),
            drainage: None,
            end: None,
            refilled: false,
        })
        .unwrap();
    let budget = propagate(&Formula::build(&expr).unwrap());
    let middle = 0.5 * ((truth(30.0) - 30.0) + (truth(35.0) - 35.0));
    let expected = 32.5 + middle - truth(5.0);
    assert!(
        (budget.value - expected).abs() < 1e-8,
        "{} {expected}",
        budget.value
    );
}

#[test]
fn warm_use_is_referred_to_20_degrees_as_the_plain_function_does() {
    let flask = Piece::named("flask-1", "flask 250 mL A").unwrap();
    for t in [12.0, 18.0, 20.0, 23.5, 30.0] {
        let temperature = LiquidTemperature::read("lab/temperature", t, 0.5).unwrap();
        let liquid = Liquid::dilute_aqueous(t).unwrap();
        let expr = flask
            .held(&Occasion::once("stock"), None, &temperature, &liquid)
            .unwrap();
        let v = Formula::build(&expr).unwrap().result().value;
        let exact =
            temperature::aqueous_volume_at_20_c(250.0, t, flask.glass.as_ref().unwrap()).unwrap();
        // The formula adds the two expansions, the function multiplies: gamma beta (t - 20)^2 is left, below 3e-7.
        assert!((v / exact - 1.0).abs() < 3e-7, "{t}: {v} {exact}");
    }
}

#[test]
fn refuses_weighings_that_cannot_be() {
    let burette = Piece::named("burette-1", "burette 50 mL A").unwrap();
    let (balance, air) = (balance(), air());
    let t = LiquidTemperature::read("water/temperature", 22.3, 0.2).unwrap();
    for deliveries in [
        vec![],
        vec![delivery(10.0, &[])],
        vec![delivery(0.0, &[10.0])],
        vec![delivery(10.0, &[9.97, -1.0])],
        vec![delivery(10.0, &[f64::NAN])],
        vec![delivery(10.0, &[9.97]), delivery(10.0, &[9.98])],
    ] {
        let work = calibrate(&burette, &balance, &t, &air, deliveries);
        assert!(!work.calibration().unwrap_err().to_string().is_empty());
    }
}
