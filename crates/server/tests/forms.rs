//! Forms as a browser without script sends them: filled in as they were drawn, and shown again when they are refused.

#![allow(clippy::unwrap_used)] // helpers outside of test functions may not answer for a failure

mod common;

use axum::http::StatusCode;
use common::Bench;

/// The fields of the form of a name on a page, with what stands in them.
fn drawn(page: &str, name: &str) -> Vec<(String, String)> {
    let mark = format!("name=\"form\" value=\"{name}\"");
    let at = page
        .find(&mark)
        .unwrap_or_else(|| panic!("no form {name}: {page}"));
    let begin = page[..at].rfind("<form").unwrap();
    let end = begin + page[begin..].find("</form>").unwrap();
    let inputs = page[begin..end].split("<input").skip(1);
    inputs
        .filter_map(|input| {
            let input = &input[..input.find('>')?];
            let of = |word: &str| {
                let (_, rest) = input.split_once(&format!(" {word}=\""))?;
                Some(rest.split('"').next()?.replace("&amp;", "&"))
            };
            if of("type").as_deref() == Some("checkbox") && !input.contains(" checked") {
                return None;
            }
            Some((of("name")?, of("value").unwrap_or_default()))
        })
        .collect()
}

/// Sends a form of a page with some fields filled in.
async fn fill(
    bench: &Bench,
    path: &str,
    name: &str,
    with: &[(&str, &str)],
) -> Result<String, String> {
    let (status, page) = bench.get(path).await;
    assert_eq!(status, StatusCode::OK, "{path}");
    let mut fields = drawn(&page, name);
    for (field, value) in with {
        fields.retain(|(n, _)| n != field);
        fields.push(((*field).into(), (*value).into()));
    }
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .collect();
    bench.form("/do", &fields).await
}

#[tokio::test]
async fn a_short_id_is_enough_and_what_is_refused_comes_back_filled() {
    let bench = Bench::empty().await;
    let glass = "p.s.piece.glass";
    let first = [("on", "B-1"), (glass, "burette 50 mL A")];
    fill(&bench, "/shelf", "glass", &first).await.unwrap();
    let (_, burette) = bench.get("/things/apparatus/B-1").await;
    assert!(burette.contains("May be used today"), "{burette}");

    let vague = [("on", "B-2"), (glass, "burette 50")];
    let said = fill(&bench, "/shelf", "glass", &vague).await.unwrap_err();
    assert!(said.starts_with("422"), "{said}");
    let fields = drawn(&said, "glass");
    for (name, value) in [("on", "B-2"), (glass, "burette 50"), ("back", "/shelf")] {
        let found = fields.iter().find(|(n, _)| n == name).unwrap();
        assert_eq!(found.1, value, "{name}");
    }
    // The reason stands beside the field that it is about.
    let field = said.split("<label>").find(|l| l.contains(glass)).unwrap();
    assert!(field.contains("role=\"alert\""), "{field}");

    // A name that is taken gives way to a free one.
    let said = fill(&bench, "/shelf", "glass", &first).await.unwrap_err();
    assert!(said.contains("B-1 is there already"), "{said}");
    let fields = drawn(&said, "glass");
    let on = &fields.iter().find(|(n, _)| n == "on").unwrap().1;
    assert!(on != "B-1" && !on.is_empty(), "{on}");

    // A number that cannot be read is said beside its field too, and nothing of the inside is told.
    let wrong = [
        ("on", "T-1"),
        ("p.s.substance", "sodium hydroxide"),
        ("p.s.nominal", "a tenth"),
    ];
    let said = fill(&bench, "/shelf", "solution", &wrong)
        .await
        .unwrap_err();
    let field = said
        .split("<label>")
        .find(|l| l.contains("name=\"p.s.nominal\""))
        .unwrap();
    assert!(field.contains("role=\"alert\""), "{said}");
    assert!(!said.contains("person, access"), "{said}");
}

#[tokio::test]
async fn all_that_happens_to_a_thing_can_be_entered_in_the_browser() {
    let bench = Bench::empty().await;
    let does = async |path: &str, name: &str, with: &[(&str, &str)]| {
        let done = fill(&bench, path, name, with).await;
        done.unwrap_or_else(|said| panic!("{name}: {said}"))
    };
    let begins: [(&str, &[(&str, &str)]); 6] = [
        (
            "lot",
            &[
                ("on", "S-1"),
                ("p.s.serves_as", "standard"),
                ("p.s.substance", "potassium hydrogen phthalate"),
            ],
        ),
        (
            "glass",
            &[("on", "B-1"), ("p.s.piece.glass", "burette 50 mL A")],
        ),
        (
            "balance",
            &[("on", "W-1"), ("p.s.piece.balance", "four-place balance")],
        ),
        (
            "solution",
            &[
                ("on", "T-1"),
                ("p.s.substance", "sodium hydroxide"),
                ("p.s.nominal", "0,1"),
                ("p.s.kept", "cupboard 2"),
            ],
        ),
        ("sample", &[("on", "Q-1"), ("p.s.what", "vinegar")]),
        (
            "check-sample",
            &[
                ("on", "Q-2"),
                ("p.s.role", "check"),
                ("p.s.what", "vinegar of known content"),
                ("p.s.expected.value", "5.00 g/100 mL"),
                ("p.s.expected.U", "0.02 g/100 mL"),
            ],
        ),
    ];
    for (name, with) in begins {
        does("/shelf", name, with).await;
    }
    let lot = "/things/lot/S-1";
    let purity = [
        ("p.s.certificate.number", "K-1"),
        ("p.s.certificate.purity.value", "99,79"),
        ("p.s.certificate.purity.U", "0.03"),
        ("p.s.reason", "came later"),
    ];
    does(lot, "lot-certificate", &purity).await;
    let swapped = [
        ("p.s.certificate.purity.value", "99.97 %"),
        ("p.s.reason", "digits swapped"),
    ];
    does(lot, "lot-certificate", &swapped).await;
    does(lot, "lot-opened", &[]).await;
    let (_, page) = bench.get(lot).await;
    for said in [
        "99.97 % ± 0.03 % (k = 2)",
        "99.79 % → 99.97 %",
        "digits swapped",
        "K-1",
    ] {
        assert!(page.contains(said), "{said}: {page}");
    }

    let burette = "/things/apparatus/B-1";
    let points = "p.s.piece.glass.calibration.points";
    let line = |row: usize, column: &str| format!("{points}.#{row}.{column}");
    let names: Vec<String> = (0..2)
        .flat_map(|row| ["at", "correction", "u"].map(|column| line(row, column)))
        .collect();
    let mut with: Vec<(&str, &str)> = names
        .iter()
        .map(String::as_str)
        .zip(["0", "0,000", "0.004", "50 mL", "0.031 mL", "0.004 mL"])
        .collect();
    with.push(("p.s.certificate", "B-1/2026"));
    with.push(("p.s.due", "2036-01-31"));
    does(burette, "calibration", &with).await;
    let corrected = [
        (names[4].as_str(), "0.013"),
        ("p.s.reason", "digits swapped"),
    ];
    does(burette, "calibration-corrected", &corrected).await;
    let (_, page) = bench.get(burette).await;
    for said in [
        "0.013 mL",
        "50 mL: correction / mL 0.031 mL → 0.013 mL",
        "2036-01-31",
    ] {
        assert!(page.contains(said), "{said}: {page}");
    }
    does(burette, "out-of-service", &[("p.s.reason", "chipped tip")]).await;
    does(burette, "returned", &[("p.s.reason", "new tip")]).await;
    let balance = [
        ("p.s.certificate", "W-1/2026"),
        ("p.s.piece.balance.readability", "0.0001"),
        ("p.s.piece.balance.repeatability", "0.0001 g"),
    ];
    does("/things/apparatus/W-1", "balance-calibration", &balance).await;

    let bottle = "/things/solution/T-1";
    let more = [
        ("p.s.with.#0.from", "lot/S-1"),
        ("p.s.with.#0.amount", "0.2 g"),
        ("p.s.reason", "too weak"),
    ];
    does(bottle, "topped-up", &more).await;
    does(bottle, "moved", &[("p.s.kept", "balance room")]).await;
    let (_, page) = bench.get(bottle).await;
    assert!(page.contains("cupboard 2 → balance room"), "{page}");
    does(bottle, "solution-discarded", &[("p.s.reason", "empty")]).await;

    let person = [
        ("on", "sorrel"),
        ("p.s.name", "S. Sorrel"),
        ("p.a.roles", "keeper"),
    ];
    does("/people", "person", &person).await;
    let roles = [
        ("p.a.roles", "analyst"),
        ("p.s.reason", "the other way round"),
    ];
    does("/things/person/sorrel", "roles", &roles).await;
    does(
        "/things/person/sorrel",
        "left",
        &[("p.s.reason", "retired")],
    )
    .await;
    does("/record", "record-named", &[("p.s.name", "Pickle works")]).await;
    let (_, home) = bench.get("/").await;
    assert!(home.contains("Pickle works"), "{home}");
}

#[tokio::test]
async fn what_can_give_no_result_is_refused_beside_its_field_before_it_is_opened() {
    let bench = Bench::empty().await;
    let glass = serde_json::json!({ "piece": { "glass": "burette 50 mL A" } });
    bench
        .does("apparatus/B-1", "apparatus-registered", glass)
        .await;
    let balance = serde_json::json!({ "piece": { "balance": "four-place balance" } });
    bench
        .does("apparatus/W-1", "apparatus-registered", balance)
        .await;
    for (name, substance) in [("T-1", "sodium hydroxide"), ("T-2", "EDTA")] {
        let made = serde_json::json!({ "substance": substance, "nominal": "0.1 mol/L" });
        bench
            .does(&format!("solution/{name}"), "solution-prepared", made)
            .await;
    }
    let lot = |certificate: serde_json::Value| serde_json::json!({ "serves_as": "standard", "substance": "potassium hydrogen phthalate", "certificate": certificate });
    let pure =
        serde_json::json!({ "number": "K-1", "purity": { "value": "99.97 %", "U": "0.03 %" } });
    bench.does("lot/S-1", "lot-received", lot(pure)).await;
    bench
        .does(
            "lot/S-2",
            "lot-received",
            lot(serde_json::json!({ "number": "K-2" })),
        )
        .await;
    bench
        .does(
            "sample/Q-1",
            "sample-received",
            serde_json::json!({ "what": "tap water" }),
        )
        .await;
    let bought = serde_json::json!({
        "serves_as": "reagent", "substance": "sodium hydroxide",
        "certificate": { "number": "N-1", "concentration": { "value": "0.1000 mol/L", "U": "0.0002 mol/L" } },
    });
    bench.does("lot/N-1", "lot-received", bought).await;

    let good = [
        ("title", "Base by phthalate"),
        ("sought", "solution/T-1"),
        ("place", "burette"),
        ("known", "lot/S-1"),
        ("burette", "apparatus/B-1"),
        ("balance", "apparatus/W-1"),
        ("temperature", "21.5"),
    ];
    let with = |name: &'static str, value: &'static str| {
        let mut fields = good.to_vec();
        fields.retain(|(n, _)| *n != name);
        fields.push((name, value));
        fields
    };
    let edta = vec![
        ("method", "total-hardness"),
        ("title", "Hardness"),
        ("sample", "sample/Q-1"),
        ("titrant", "lot/N-1"),
        ("burette", "apparatus/B-1"),
    ];
    for (fields, field, says) in [
        (with("balance", ""), "balance", "weighed for each run"),
        (with("temperature", "215 degC"), "temperature", ""),
        (with("temperature", "hot"), "temperature", ""),
        (with("known", "lot/S-2"), "known", "S-2 is not entered"),
        (with("sought", "solution/T-2"), "known", "No reaction"),
        (with("title", ""), "title", "still empty"),
        (edta, "titrant", "N-1 is sodium hydroxide"),
    ] {
        let said = bench.form("/new", &fields).await.unwrap_err();
        assert!(said.starts_with("422"), "{field}: {said}");
        let label = said
            .split("<label>")
            .find(|label| label.contains(&format!("name=\"{field}\"")))
            .unwrap();
        let label = label.split("</label>").next().unwrap();
        assert!(
            label.contains("role=\"alert\"") && label.contains(says),
            "{field}: {said}"
        );
        // What was filled in stands.
        assert!(
            said.contains("value=\"apparatus/B-1\" selected") || !said.contains("value=\"\""),
            "{said}"
        );
    }
    let (_, list) = bench.get("/api/v1/things?kind=determination").await;
    assert!(list.contains("\"things\":[]"), "{list}");
    // Nothing was adopted on the way either.
    let (_, list) = bench.get("/api/v1/things?kind=method").await;
    assert!(list.contains("\"things\":[]"), "{list}");

    let mut by_rules = good.to_vec();
    by_rules.push(("rules", "rules/teaching"));
    let at = bench.form("/new", &by_rules).await.unwrap();
    let (_, page) = bench.get(&at).await;
    assert!(page.contains("Begin a rough run"), "{page}");
    let (_, list) = bench.get("/api/v1/things?kind=rules").await;
    assert!(list.contains("rules/teaching"), "{list}");
}

#[tokio::test]
async fn labels_are_printed_as_many_as_are_asked_for() {
    let bench = Bench::demo().await;
    let pages = async |query: &str| -> Result<usize, StatusCode> {
        let path = format!("/labels/T-0098/pdf?{query}");
        let request = axum::http::Request::get(path)
            .body(axum::body::Body::empty())
            .unwrap();
        let answer = tower::ServiceExt::oneshot(bench.router.clone(), request)
            .await
            .unwrap();
        if answer.status() != StatusCode::OK {
            return Err(answer.status());
        }
        let body = http_body_util::BodyExt::collect(answer.into_body())
            .await
            .unwrap();
        let text = String::from_utf8_lossy(&body.to_bytes()).into_owned();
        let (_, rest) = text.split_once("/Type/Pages/Count ").unwrap();
        Ok(rest
            .split(|c: char| !c.is_ascii_digit())
            .next()
            .unwrap()
            .parse()
            .unwrap())
    };
    assert_eq!(pages("").await, Ok(1));
    assert_eq!(pages("copies=3&skip=0").await, Ok(3));
    assert_eq!(pages("copies=24&sheet=24").await, Ok(1));
    assert_eq!(pages("copies=24&sheet=24&skip=1").await, Ok(2));
    assert_eq!(
        pages("copies=0").await,
        Err(StatusCode::UNPROCESSABLE_ENTITY)
    );
    assert_eq!(
        pages("copies=many").await,
        Err(StatusCode::UNPROCESSABLE_ENTITY)
    );
}
