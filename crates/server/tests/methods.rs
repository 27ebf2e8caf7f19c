//! Samples by methods, as a person enters them at the bench: several titrations, several end points, a refill, a reagent
//! whose amount a blank fixes. The figures are those of `checks/data/published_examples.toml`, each with its source there.

#![allow(clippy::unwrap_used)] // helpers outside of test functions may not answer for a failure

mod common;

use axum::http::StatusCode;
use common::Bench;
use serde_json::{Value, json};

/// A sample is analysed by a shipped method; gives the address of the determination and its node.
async fn open(bench: &Bench, fields: &[(&str, &str)]) -> (String, String) {
    let at = bench.form("/new", fields).await.unwrap();
    let on = format!("determination/{}", at.rsplit('/').next().unwrap());
    (at, on)
}

/// A bottle of known concentration, without uncertainty, as the examples state it.
async fn bottle(bench: &Bench, name: &str, substance: &str, concentration: &str) {
    let concentration = json!({ "value": concentration, "exact": true });
    let certificate = json!({ "number": "1", "concentration": concentration });
    let lot = json!({ "substance": substance, "serves_as": "reagent", "certificate": certificate });
    bench.does(name, "lot-received", lot).await;
}

async fn piece(bench: &Bench, name: &str, what: &str, catalogue: &str) {
    let piece = json!({ "piece": { what: catalogue } });
    bench.does(name, "apparatus-registered", piece).await;
}

async fn sample(bench: &Bench, name: &str) {
    bench
        .does(name, "sample-received", json!({ "what": "example" }))
        .await;
}

/// What the page asks for: the run, the sample and the reading of its form.
fn asked(page: &str) -> Option<(String, String)> {
    let form = page.split("<form class=\"command taking\"").nth(1)?;
    let value = |name: &str| {
        let after = form
            .split(&format!("name=\"{name}\" value=\""))
            .nth(1)?
            .split('"')
            .next()?;
        Some(after.to_string())
    };
    Some((value("p.n.run")?, value("p.s.reading")?))
}

/// Begins a run and types readings as the page asks for them; "refill" instead of a number announces a refill.
async fn run(bench: &Bench, at: &str, on: &str, kind: &[(&str, &str)], readings: &[(&str, &str)]) {
    let (_, page) = bench.get(at).await;
    let next = page
        .split("value=\"run-started\"")
        .nth(1)
        .and_then(|rest| rest.split("name=\"p.n.run\" value=\"").nth(1))
        .and_then(|rest| rest.split('"').next())
        .unwrap_or_else(|| panic!("no run can begin: {page}"))
        .to_string();
    let mut begin = vec![
        ("on", on),
        ("kind", "run-started"),
        ("p.n.run", next.as_str()),
    ];
    begin.extend(kind);
    bench.form("/do", &begin).await.unwrap();
    let mut look = at.to_string();
    for (slot, value) in readings {
        let (_, mut page) = bench.get(&look).await;
        let (run, mut reading) = asked(&page).unwrap_or_else(|| panic!("nothing is asked: {page}"));
        let early = value.strip_suffix(", refill before the end");
        if early.is_some() {
            let link = format!("href=\"{at}?refill={run}.1\"");
            assert!(reading.starts_with("end") && page.contains(&link), "{page}");
            (_, page) = bench.get(&format!("{at}?refill={run}.1")).await;
            reading = asked(&page).unwrap().1;
            assert!(
                !page.contains("main take\" type=\"submit\">Take the reading<"),
                "{page}"
            );
        }
        assert_eq!(reading, *slot, "{page}");
        let (value, refill) = match early.or(value.strip_suffix(", refill")) {
            Some(value) => (value, true),
            None => (*value, false),
        };
        let unit = if matches!(*slot, "mass" | "gross" | "tare") {
            "g"
        } else {
            "mL"
        };
        if refill {
            assert!(
                page.contains("name=\"p.b.refilled\" value=\"true\""),
                "{page}"
            );
        }
        let mut fields = vec![
            ("on", on),
            ("kind", "reading-taken"),
            ("back", at),
            ("unit", unit),
            ("p.n.run", run.as_str()),
            ("p.s.reading", slot),
            ("p.s.value", value),
        ];
        let of = kind
            .iter()
            .find(|(name, _)| run == "0" && *name == "p.s.sample");
        fields.extend(of);
        if refill {
            // That a refill follows stands in the record, not in the address.
            fields.push(("p.b.refilled", "true"));
        }
        look = bench.form("/do", &fields).await.unwrap();
    }
}

/// The first report of a result, closed and evaluated: value in its own unit.
async fn results(bench: &Bench, on: &str) -> Vec<(String, String, f64)> {
    bench
        .form("/do", &[("on", on), ("kind", "determination-closed")])
        .await
        .unwrap();
    let path = format!("/api/v1/things/{on}");
    let (status, text) = bench.get(&path).await;
    assert_eq!(status, StatusCode::OK, "{text}");
    let thing: Value = serde_json::from_str(&text).unwrap();
    let evaluated = &thing["state"]["determination"]["evaluated"]["results"];
    evaluated
        .as_array()
        .unwrap_or_else(|| panic!("no results: {thing}"))
        .iter()
        .map(|r| {
            (
                r["name"].as_str().unwrap().to_string(),
                r["unit"].as_str().unwrap().to_string(),
                r["value"].as_f64().unwrap(),
            )
        })
        .collect()
}

/// Asserts a figure as printed: half a unit of its last digit.
fn agrees(found: &[(String, String, f64)], name: &str, factor: f64, printed: &str) {
    let (_, unit, value) = found
        .iter()
        .find(|(n, ..)| n == name)
        .unwrap_or_else(|| panic!("{name} is not in {found:?}"));
    let digits = printed.split('.').nth(1).map_or(0, str::len);
    let half = 0.5 * 10_f64.powi(-i32::try_from(digits).unwrap());
    let expected: f64 = printed.parse().unwrap();
    assert!(
        (value * factor - expected).abs() <= half,
        "{name}: {value} {unit} x {factor}, {printed} is printed"
    );
}

#[tokio::test]
async fn total_and_calcium_hardness_from_two_titrations_one_with_a_refill() {
    let bench = Bench::empty().await;
    bottle(
        &bench,
        "lot/E-1",
        "disodium EDTA dihydrate",
        "0.003474 mol/L",
    )
    .await;
    piece(
        &bench,
        "apparatus/B-1",
        "glass",
        "burette 25 mL A graduated 0.05",
    )
    .await;
    piece(&bench, "apparatus/P-1", "glass", "pipette 10 mL A").await;
    sample(&bench, "sample/V-1").await;
    let (_, page) = bench.get("/new?method=calcium-magnesium").await;
    assert!(page.contains("name=\"piece.sample\"") && page.contains("goggles"));
    let (at, on) = open(
        &bench,
        &[
            ("method", "calcium-magnesium"),
            ("title", "Urine"),
            ("sample", "sample/V-1"),
            ("titrant", "lot/E-1"),
            ("burette", "apparatus/B-1"),
            ("piece.sample", "apparatus/P-1"),
            ("temperature", "20 degC"),
        ],
    )
    .await;
    let of = |titration| {
        [
            ("p.s.run_kind", "replicate"),
            ("p.s.sample", "sample/V-1"),
            ("p.s.titration", titration),
        ]
    };
    // 44.96 mL in two fills of a burette of 25 mL.
    let filled_twice = [
        ("initial", "0.00"),
        ("final", "24,96, refill"),
        ("refill-1-initial", "0.50"),
        ("refill-1-final", "20.50"),
    ];
    run(&bench, &at, &on, &of("total"), &filled_twice).await;
    let once = [("initial", "0.00"), ("final", "17.35")];
    run(&bench, &at, &on, &of("calcium"), &once).await;
    let (_, page) = bench.get(&at).await;
    assert!(page.contains("44.96"), "the titre over both fills: {page}");
    let found = results(&bench, &on).await;
    // The source prints amounts in the portion: 6.02739e-5 mol of calcium and 9.591714e-5 mol of magnesium in 10 mL.
    agrees(&found, "calcium", 1.0 / 40.078, "6.027");
    agrees(&found, "magnesium", 1.0 / 24.305, "9.59");
}

#[tokio::test]
async fn two_end_points_are_read_from_one_burette() {
    // 20 mL to the first end, 60 mL in all, each time; the burette of 50 mL is refilled before or after the first end.
    let ways: [(&str, &[(&str, &str)]); 3] = [
        (
            "burette 100 mL A",
            &[("initial", "0.00"), ("end-1", "20.00"), ("final", "60.00")],
        ),
        (
            "burette 50 mL A",
            &[
                ("initial", "35.00"),
                ("final", "48.00, refill before the end"),
                ("refill-1-initial", "1.00"),
                ("end-1", "8.00"),
                ("refill-1-final", "48.00"),
            ],
        ),
        (
            "burette 50 mL A",
            &[
                ("initial", "0.00"),
                ("end-1", "20.00"),
                ("final", "45.00, refill"),
                ("refill-1-initial", "10.00"),
                ("refill-1-final", "25.00"),
            ],
        ),
    ];
    for (burette, readings) in ways {
        let bench = Bench::empty().await;
        bottle(&bench, "lot/H-1", "hydrochloric acid", "0.1 mol/L").await;
        piece(&bench, "apparatus/B-1", "glass", burette).await;
        piece(&bench, "apparatus/P-1", "glass", "pipette 20 mL A").await;
        sample(&bench, "sample/V-1").await;
        let (at, on) = open(
            &bench,
            &[
                ("method", "carbonate-and-hydrogen-carbonate"),
                ("title", "Two end points"),
                ("sample", "sample/V-1"),
                ("titrant", "lot/H-1"),
                ("burette", "apparatus/B-1"),
                ("piece.sample", "apparatus/P-1"),
                ("temperature", "20 degC"),
            ],
        )
        .await;
        let of = [("p.s.run_kind", "replicate"), ("p.s.sample", "sample/V-1")];
        run(&bench, &at, &on, &of, readings).await;
        let (_, page) = bench.get(&at).await;
        assert!(asked(&page).is_none() && page.contains("60.00"), "{page}");
        let found = results(&bench, &on).await;
        // CO3 60.009 g/mol, HCO3 61.017 g/mol; the source prints 0.1 mol/L of each.
        agrees(&found, "carbonate", 1.0 / 60_009.0, "0.1");
        agrees(&found, "hydrogen carbonate", 1.0 / 61_017.0, "0.1");
    }
}

#[tokio::test]
async fn a_back_titration_knows_its_reagent() {
    let bench = Bench::empty().await;
    bottle(
        &bench,
        "lot/Z-1",
        "zinc sulfate heptahydrate",
        "0.1000 mol/L",
    )
    .await;
    bottle(&bench, "lot/E-1", "disodium EDTA dihydrate", "0.2000 mol/L").await;
    piece(&bench, "apparatus/B-1", "glass", "burette 50 mL A").await;
    sample(&bench, "sample/V-1").await;
    let (at, on) = open(
        &bench,
        &[
            ("method", "aluminium-back-titration"),
            ("title", "Aluminium"),
            ("sample", "sample/V-1"),
            ("titrant", "lot/Z-1"),
            ("reagent.edta", "lot/E-1"),
            ("burette", "apparatus/B-1"),
            ("temperature", "20 degC"),
        ],
    )
    .await;
    let of = [("p.s.run_kind", "replicate"), ("p.s.sample", "sample/V-1")];
    run(
        &bench,
        &at,
        &on,
        &of,
        &[("initial", "0.00"), ("final", "21.23")],
    )
    .await;
    // By hand: (50.00 x 0.2000 - 21.23 x 0.1000) / 25.00.
    agrees(&results(&bench, &on).await, "aluminium", 1.0, "0.3151");
}

#[tokio::test]
async fn a_blank_fixes_the_reagent_and_the_sample_is_weighed_by_difference() {
    let bench = Bench::empty().await;
    bottle(&bench, "lot/H-1", "hydrochloric acid", "0.5000 mol/L").await;
    piece(&bench, "apparatus/B-1", "glass", "burette 50 mL A").await;
    piece(&bench, "apparatus/W-1", "balance", "four-place balance").await;
    sample(&bench, "sample/V-1").await;
    let (at, on) = open(
        &bench,
        &[
            ("method", "saponification-value"),
            ("title", "Butter"),
            ("sample", "sample/V-1"),
            ("titrant", "lot/H-1"),
            ("burette", "apparatus/B-1"),
            ("balance", "apparatus/W-1"),
            ("temperature", "20 degC"),
        ],
    )
    .await;
    let (_, page) = bench.get(&at).await;
    assert!(page.contains("This method needs a blank"), "{page}");
    // Nothing is weighed into a blank.
    let blank = [("p.s.run_kind", "blank")];
    run(
        &bench,
        &at,
        &on,
        &blank,
        &[("initial", "0.00"), ("final", "25.65")],
    )
    .await;
    run(
        &bench,
        &at,
        &on,
        &blank,
        &[("initial", "0.00"), ("final", "25.66")],
    )
    .await;
    let of = [("p.s.run_kind", "replicate"), ("p.s.sample", "sample/V-1")];
    run(&bench, &at, &on, &of, &[]).await;
    let (_, page) = bench.get(&at).await;
    assert_eq!(asked(&page).unwrap().1, "mass");
    // By difference: the gross mass is entered, and the page asks for the tare.
    let gross = [
        ("on", on.as_str()),
        ("kind", "reading-taken"),
        ("unit", "g"),
        ("p.n.run", "3"),
        ("p.s.reading", "gross"),
        ("p.s.value", "52.1850"),
    ];
    bench.form("/do", &gross).await.unwrap();
    for (slot, value, unit) in [
        ("tare", "50.1000", "g"),
        ("initial", "0.00", "mL"),
        ("final", "10.26", "mL"),
    ] {
        let (_, page) = bench.get(&at).await;
        assert_eq!(asked(&page).unwrap(), ("3".into(), slot.into()), "{page}");
        let fields = [
            ("on", on.as_str()),
            ("kind", "reading-taken"),
            ("unit", unit),
            ("p.n.run", "3"),
            ("p.s.reading", slot),
            ("p.s.value", value),
        ];
        bench.form("/do", &fields).await.unwrap();
    }
    // 56.106 (25.655 - 10.26) 0.5000 / 2.085; the source prints 207.1.
    let found = results(&bench, &on).await;
    agrees(&found, "saponification value", 1.0, "207.1");
}

#[tokio::test]
async fn a_sample_that_is_made_up_is_weighed_once() {
    let bench = Bench::empty().await;
    piece(&bench, "apparatus/B-1", "glass", "burette 50 mL A").await;
    piece(&bench, "apparatus/W-1", "balance", "four-place balance").await;
    sample(&bench, "sample/V-1").await;
    let method = titrimetry::method::all()
        .iter()
        .find(|m| {
            m.steps_once() > 0
                && m.titration.is_empty()
                && m.reagent.is_empty()
                && m.step
                    .iter()
                    .any(|s| matches!(s, titrimetry::method::Step::Weigh { .. }))
        })
        .expect("a method that makes a weighed sample up to a mark");
    let titrant = &method.titrant.substance;
    bottle(&bench, "lot/N-1", titrant, "0.1000 mol/L").await;
    let (at, on) = open(
        &bench,
        &[
            ("method", &method.name),
            ("title", "Weighed once"),
            ("sample", "sample/V-1"),
            ("titrant", "lot/N-1"),
            ("burette", "apparatus/B-1"),
            ("balance", "apparatus/W-1"),
            ("temperature", "20 degC"),
        ],
    )
    .await;
    let of = [("p.s.run_kind", "replicate"), ("p.s.sample", "sample/V-1")];
    let first = [("mass", "5.0000"), ("initial", "0.00"), ("final", "20.00")];
    run(&bench, &at, &on, &of, &first).await;
    let second = [("initial", "0.00"), ("final", "20.02")];
    run(&bench, &at, &on, &of, &second).await;
    let (_, page) = bench.get(&at).await;
    assert!(
        page.contains("sample V-1, mass"),
        "it can be corrected: {page}"
    );
}

#[tokio::test]
async fn a_method_that_is_not_known_is_refused_with_what_is_like_it() {
    let bench = Bench::empty().await;
    let (status, page) = bench.get("/new?method=hardness-of-heart").await;
    assert_eq!(status, StatusCode::NOT_FOUND);
    assert!(page.contains("total-hardness"), "{page}");
}

#[tokio::test]
async fn the_first_sample_has_its_result_before_the_second_has_a_run() {
    let bench = Bench::empty().await;
    bottle(&bench, "lot/E-1", "disodium EDTA dihydrate", "0.0100 mol/L").await;
    piece(&bench, "apparatus/B-1", "glass", "burette 50 mL A").await;
    sample(&bench, "sample/V-1").await;
    sample(&bench, "sample/V-2").await;
    let (at, on) = open(
        &bench,
        &[
            ("method", "total-hardness"),
            ("title", "Two waters"),
            ("sample", "sample/V-1"),
            ("sample", "sample/V-2"),
            ("titrant", "lot/E-1"),
            ("burette", "apparatus/B-1"),
            ("temperature", "20 degC"),
        ],
    )
    .await;
    let of = [("p.s.run_kind", "replicate"), ("p.s.sample", "sample/V-1")];
    run(
        &bench,
        &at,
        &on,
        &of,
        &[("initial", "0.00"), ("final", "40.00")],
    )
    .await;
    let (_, page) = bench.get(&at).await;
    assert!(
        page.contains("total hardness") && page.contains("V-1"),
        "{page}"
    );
    // It cannot be closed so: the second sample was promised.
    let refused = bench
        .form("/do", &[("on", &on), ("kind", "determination-closed")])
        .await
        .unwrap_err();
    assert!(refused.contains("V-2"), "{refused}");
}

/// The sheet `examples/methods/calcium-by-standard-addition.toml`, whose head works it out by hand: 11.195 / 1.8850 x
/// 0.02000 / 10 mol/L of calcium, 40.078 g/mol.
#[tokio::test]
async fn standard_additions_are_asked_for_and_give_the_line() {
    let bench = Bench::empty().await;
    bottle(
        &bench,
        "lot/E-7",
        "disodium EDTA dihydrate",
        "0.01000 mol/L",
    )
    .await;
    bottle(&bench, "lot/CA-2", "calcium carbonate", "0.02000 mol/L").await;
    piece(
        &bench,
        "apparatus/B-1",
        "glass",
        "burette 25 mL A graduated 0.05",
    )
    .await;
    sample(&bench, "sample/V-1").await;
    let (_, page) = bench.get("/new?method=calcium-by-standard-addition").await;
    assert!(page.contains("name=\"reagent.standard\""), "{page}");
    let (at, on) = open(
        &bench,
        &[
            ("method", "calcium-by-standard-addition"),
            ("title", "Calcium of brine"),
            ("sample", "sample/V-1"),
            ("titrant", "lot/E-7"),
            ("reagent.standard", "lot/CA-2"),
            ("burette", "apparatus/B-1"),
            ("temperature", "20 degC"),
        ],
    )
    .await;
    let kind = [("p.s.run_kind", "replicate"), ("p.s.sample", "sample/V-1")];
    for (added, last) in [
        ("0.00", "11.20"),
        ("2.00", "14.95"),
        ("4.00", "18.75"),
        ("6.00", "22.50"),
    ] {
        let readings = [("added", added), ("initial", "0.00"), ("final", last)];
        run(&bench, &at, &on, &kind, &readings).await;
    }
    agrees(&results(&bench, &on).await, "calcium", 1.0, "476.0");
}
