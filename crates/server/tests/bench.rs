//! The bench as its user meets it: from an empty shelf to a certificate, by forms alone and by JSON.

mod common;

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use common::Bench;
use http_body_util::BodyExt;
use serde_json::{Value, json};
use server::ROUTES;
use std::collections::BTreeMap;
use tower::ServiceExt;

#[tokio::test]
async fn from_an_empty_shelf_to_a_certificate_without_any_script() {
    let bench = Bench::empty().await;
    let do_ = |fields: &'static [(&'static str, &'static str)]| bench.form("/do", fields);
    for fields in [
        &[
            ("on", "solution/T-0201"),
            ("kind", "solution-prepared"),
            ("p.s.substance", "sodium hydroxide"),
            ("p.s.nominal", "0.1 mol/L"),
            ("p.s.hazard", "corrosive"),
            ("back", "/shelf"),
        ][..],
        &[
            ("on", "lot/S-0201"),
            ("kind", "lot-received"),
            ("p.s.serves_as", "standard"),
            ("p.s.substance", "potassium hydrogen phthalate"),
            ("p.s.certificate.number", "K-1"),
            ("p.s.certificate.purity.value", "99.97 %"),
            ("p.s.certificate.purity.U", "0.03 %"),
        ],
        &[
            ("on", "apparatus/B-1"),
            ("kind", "apparatus-registered"),
            ("p.s.piece.glass", "burette 50 mL A"),
        ],
        &[
            ("on", "apparatus/W-1"),
            ("kind", "apparatus-registered"),
            ("p.s.piece.balance", "four-place balance"),
        ],
    ] {
        do_(fields).await.unwrap();
    }
    let at = bench
        .form(
            "/new",
            &[
                ("title", "Base 0.1 by phthalate"),
                ("sought", "solution/T-0201"),
                ("place", "burette"),
                ("known", "lot/S-0201"),
                ("burette", "apparatus/B-1"),
                ("balance", "apparatus/W-1"),
                ("indicator", "phenolphthalein"),
                ("temperature", "21,5 degC"),
            ],
        )
        .await
        .unwrap();
    let (status, page) = bench.get(&at).await;
    assert_eq!(status, StatusCode::OK);
    assert!(page.contains("Begin a rough run"), "{page}");

    let on = format!("determination/{}", at.rsplit('/').next().unwrap());
    let reading = async |run: &str, slot: &str, value: &str| {
        bench
            .form(
                "/do",
                &[
                    ("on", &on),
                    ("kind", "reading-taken"),
                    ("back", &at),
                    ("p.n.run", run),
                    ("p.s.reading", slot),
                    ("p.s.value", value),
                ],
            )
            .await
    };
    for (run, (mass, last)) in [
        ("0.5007", "24.56"),
        ("0.5002", "24.53"),
        ("0.5010", "23.60"),
        ("0.5004", "24.55"),
    ]
    .iter()
    .enumerate()
    {
        let run = (run + 1).to_string();
        bench
            .form(
                "/do",
                &[
                    ("on", &on),
                    ("kind", "run-started"),
                    ("p.n.run", &run),
                    ("p.s.run_kind", "replicate"),
                ],
            )
            .await
            .unwrap();
        reading(&run, "mass", &format!("{mass} g")).await.unwrap();
        reading(&run, "initial", "0.03 mL").await.unwrap();
        reading(&run, "final", &format!("{last} mL")).await.unwrap();
    }
    // A reading is taken once; a second value is refused and says what to do.
    let refused = reading("1", "final", "24.65 mL").await.unwrap_err();
    assert!(
        refused.starts_with("422") && refused.contains("correct it and say why"),
        "{refused}"
    );
    bench
        .form(
            "/do",
            &[
                ("on", &on),
                ("kind", "reading-corrected"),
                ("p.n.run", "1"),
                ("p.s.reading", "final"),
                ("p.s.value", "24.55 mL"),
                ("p.s.reason", "read again against the card"),
            ],
        )
        .await
        .unwrap();
    bench
        .form(
            "/do",
            &[
                ("on", &on),
                ("kind", "run-set-aside"),
                ("p.n.run", "3"),
                ("p.s.reason", "spilled"),
            ],
        )
        .await
        .unwrap();
    let (_, page) = bench.get(&at).await;
    assert!(page.contains("<del"), "the first value stays visible");
    assert!(page.contains("24.56") && page.contains("spilled"));
    assert!(page.contains("One more run would bring U from"));

    bench
        .form("/do", &[("on", &on), ("kind", "determination-closed")])
        .await
        .unwrap();
    bench
        .form(
            "/do",
            &[
                ("on", &on),
                ("kind", "determination-reviewed"),
                ("p.b.accepted", "true"),
            ],
        )
        .await
        .unwrap();
    bench
        .form(
            "/do",
            &[
                ("on", &on),
                ("kind", "determination-approved"),
                ("p.s.meaning", "approved for use"),
            ],
        )
        .await
        .unwrap();
    bench
        .form(
            "/do",
            &[
                ("on", "certificate/C-0001"),
                ("kind", "certificate-issued"),
                ("p.s.determination", &on),
                ("p.s.meaning", "issued for the laboratory"),
            ],
        )
        .await
        .unwrap();
    let (status, certificate) = bench.get("/certificates/C-0001").await;
    assert_eq!(status, StatusCode::OK);
    assert!(certificate.contains("This certificate holds."));
    // 0.5007 g, 0.5002 g, 0.5004 g of phthalate (204.22 g/mol, 99.97 %) for 24.52, 24.50, 24.52 mL, by hand: 0.09996,
    // 0.09994, 0.09990; mean 0.09993 mol/L; air buoyancy of a solid of 1.64 g/mL adds 0.06 %, water at 21.5 degC 0.03 %.
    assert!(certificate.contains("0.10002"), "{certificate}");
    let (_, label) = bench.get("/labels/T-0201").await;
    assert!(
        label.contains("0.10002") && label.contains("corrosive"),
        "{label}"
    );
}

#[tokio::test]
async fn every_page_of_the_demo_can_be_read() {
    let bench = Bench::demo().await;
    let (_, history) = bench.get("/api/v1/things/lot/S-0107/history").await;
    let events: Vec<serde_json::Value> = serde_json::from_str(&history).unwrap();
    let corrects = |e: &&serde_json::Value| e["kind"] == "lot-certificate-corrected";
    let corrected = events.iter().find(corrects).unwrap()["number"].to_string();
    // PDF files, photographs and languages have tests of their own.
    let others = [
        "/live",
        "/language/{code}",
        "/files/{hash}",
        "/api/v1/files/{hash}",
    ];
    let pages = |r: &&server::Route| {
        r.method == "get" && !others.contains(&r.path) && !r.path.ends_with("pdf")
    };
    for route in ROUTES.iter().filter(pages) {
        let name = match route.path {
            "/look/{name}" => "halfdrop.css",
            "/certificates/{name}" => "C-0001",
            "/labels/{name}" => "T-0117",
            _ => "D-0001",
        };
        let path = route
            .path
            .replace("{name}", name)
            .replace("{kind}", "determination")
            .replace("{id}", "step:c")
            .replace("{number}", &corrected);
        let (status, body) = bench.get(&path).await;
        assert_eq!(status, StatusCode::OK, "{path}: {body}");
        assert!(!body.is_empty(), "{path}");
        // Tables are files, as long as what they hold.
        let light = body.len() < 100_000 || path.ends_with(".csv");
        assert!(light, "{path}: {} bytes", body.len());
    }
    let (_, superseded) = bench.get("/certificates/C-0002").await;
    assert!(superseded.contains("Superseded on"), "{superseded}");
    for nothing in [
        "/determinations/D-9999",
        "/things/bottle/x",
        "/certificates/%2e%2e%2f",
        "/look/../lib.rs",
        "/nowhere",
    ] {
        let (status, body) = bench.get(nothing).await;
        assert_eq!(status, StatusCode::NOT_FOUND, "{nothing}");
        assert!(body.contains("That was not done"), "{nothing}");
    }
}

#[tokio::test]
async fn a_command_is_taken_once_and_a_stale_one_meets_what_happened_meanwhile() {
    let bench = Bench::demo().await;
    let run = json!({ "on": "determination/D-0005", "kind": "remarked", "key": "tablet/1", "payload": { "text": "bubble seen" } });
    let (status, first) = bench.command(&run).await;
    assert_eq!(status, StatusCode::OK, "{first}");
    let (status, again) = bench.command(&run).await;
    assert_eq!((status, &again["repeated"]), (StatusCode::OK, &json!(true)));
    assert_eq!(first["events"], again["events"]);
    let stale = json!({ "on": "determination/D-0005", "kind": "remarked", "expects": 1, "payload": { "text": "late" } });
    let (status, conflict) = bench.command(&stale).await;
    assert_eq!(status, StatusCode::CONFLICT);
    assert!(
        !conflict["meanwhile"].as_array().unwrap().is_empty(),
        "{conflict}"
    );
    let (status, unreadable) = bench
        .command(&json!({ "on": "determination/D-0005", "kind": "drunk" }))
        .await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        unreadable["error"]
            .as_str()
            .unwrap()
            .contains("cannot be read")
    );
}

#[tokio::test]
async fn what_another_site_sends_is_not_done() {
    let bench = Bench::demo().await;
    for (name, value) in [
        ("origin", "https://elsewhere.example"),
        ("sec-fetch-site", "cross-site"),
    ] {
        let request = Request::post("/api/v1/commands")
            .header("host", "127.0.0.1:7373")
            .header(name, value)
            .body(Body::from("{}"))
            .unwrap();
        let (status, ..) = bench.ask(request).await;
        assert_eq!(status, StatusCode::FORBIDDEN, "{name}");
    }
    let long = Request::post("/api/v1/commands")
        .body(Body::from(vec![b' '; 200_000]))
        .unwrap();
    let (status, ..) = bench.ask(long).await;
    assert_eq!(status, StatusCode::PAYLOAD_TOO_LARGE);
    // A form never leads to another host.
    for back in [
        "https://elsewhere.example/",
        "//elsewhere.example",
        "/\\elsewhere.example",
    ] {
        let to = bench
            .form(
                "/do",
                &[
                    ("on", "determination/D-0005"),
                    ("kind", "remarked"),
                    ("p.s.text", back),
                    ("back", back),
                ],
            )
            .await
            .unwrap();
        assert_eq!(to, "/");
    }
}

#[tokio::test]
async fn no_text_of_a_person_becomes_markup() {
    let hostile = "<script>alert('x')</script>\"><img src=x onerror=alert(1)>&amp;";
    let bench = Bench::demo().await;
    for (on, kind, payload) in [
        (
            "determination/D-0005",
            "remarked",
            json!({ "text": hostile }),
        ),
        (
            "solution/T-9",
            "solution-prepared",
            json!({ "substance": "sodium hydroxide", "nominal": "0.1 mol/L", "kept": hostile, "hazard": hostile }),
        ),
        (
            "sample/V-9",
            "sample-received",
            json!({ "what": hostile, "from": hostile }),
        ),
        (
            "sample/<b>x",
            "sample-received",
            json!({ "what": "angle brackets in a name" }),
        ),
    ] {
        let (status, said) = bench
            .command(&json!({ "on": on, "kind": kind, "payload": payload }))
            .await;
        assert_eq!(status, StatusCode::OK, "{said}");
    }
    for path in [
        "/",
        "/shelf",
        "/record",
        "/determinations/D-0005",
        "/things/solution/T-9",
        "/things/sample/V-9",
        "/things/sample/%3Cb%3Ex",
        "/labels/T-9",
        "/determinations?search=%3Cscript%3E",
        "/%3Cscript%3E",
        "/plan?titrant=%3Cscript%3E",
    ] {
        let (_, body) = bench.get(path).await;
        for markup in ["<script>alert", "<img src=x", "<b>x", "<script>\""] {
            assert!(!body.contains(markup), "{path} shows {markup}");
        }
    }
}

#[tokio::test]
async fn the_interface_describes_all_of_itself() {
    let bench = Bench::demo().await;
    let (_, text) = bench.get("/api/v1/openapi.json").await;
    let document: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(document["openapi"], "3.1.0");
    for route in ROUTES.iter().filter(|r| r.path.starts_with("/api/")) {
        assert!(
            document["paths"][route.path][route.method].is_object(),
            "{}",
            route.path
        );
    }
    // Every parameter of a query says what it holds.
    let paths = document["paths"].as_object().unwrap().values();
    for operation in paths.flat_map(|path| path.as_object().unwrap().values()) {
        for parameter in operation["parameters"].as_array().unwrap() {
            let says = &parameter["schema"]["description"];
            assert!(parameter["in"] == "path" || says.is_string(), "{parameter}");
        }
    }
    // Every reference leads somewhere.
    for part in text.split("\"$ref\":\"").skip(1) {
        let path = part.split('"').next().unwrap().trim_start_matches('#');
        assert!(document.pointer(path).is_some(), "{path}");
    }
}

#[tokio::test]
async fn certificates_and_labels_are_pdf_files() {
    let bench = Bench::demo().await;
    for path in [
        "/certificates/C-0001/pdf",
        "/certificates/C-0004/pdf",
        "/labels/T-0117/pdf",
    ] {
        let request = Request::get(path).body(Body::empty()).unwrap();
        let response = bench.router.clone().oneshot(request).await.unwrap();
        assert_eq!(response.status(), StatusCode::OK, "{path}");
        assert_eq!(response.headers()[header::CONTENT_TYPE], "application/pdf");
        let pdf = response.into_body().collect().await.unwrap().to_bytes();
        assert!(pdf.starts_with(b"%PDF-1.7"), "{path}");
        if path.starts_with("/certificates") {
            let sheet = certificate::attached(&pdf).unwrap();
            assert!(path.contains(sheet.certificate.name()));
            assert!(
                !sheet
                    .people
                    .iter()
                    .any(|p| p.name.chars().all(char::is_lowercase)),
                "printed names: {:?}",
                sheet.people
            );
        }
    }
    for (page, link) in [
        ("/certificates/C-0001", "href=\"/certificates/C-0001/pdf\""),
        ("/labels/T-0117", "action=\"/labels/T-0117/pdf\""),
    ] {
        let (status, html) = bench.get(page).await;
        assert!(status == StatusCode::OK && html.contains(link), "{page}");
    }
    for path in [
        "/certificates/C-9/pdf",
        "/labels/T-9/pdf",
        "/labels/..%2F..%2Fetc/pdf",
    ] {
        assert_eq!(bench.get(path).await.0, StatusCode::NOT_FOUND, "{path}");
    }
}

#[tokio::test]
async fn the_bench_speaks_the_language_of_the_browser_or_the_one_that_was_chosen() {
    let bench = Bench::demo().await;
    let page = async |name: &str, value: &str| {
        let request = Request::get("/determinations/D-0005")
            .header(name, value)
            .body(Body::empty())
            .unwrap();
        bench.ask(request).await.1
    };
    let german = page("accept-language", "de-AT,de;q=0.9,en;q=0.5").await;
    assert!(german.contains("<html lang=\"de\">") && german.contains("Lauf beginnen"));
    let english = page("accept-language", "fr").await;
    assert!(english.contains("<html lang=\"en\">") && english.contains("Begin a run"));
    let chosen = page("cookie", "language=de").await;
    assert!(chosen.contains("Lauf beginnen"));

    let request = Request::get("/language/de")
        .header("referer", "http://127.0.0.1:7373/shelf")
        .body(Body::empty())
        .unwrap();
    let response = bench.router.clone().oneshot(request).await.unwrap();
    assert_eq!(response.status(), StatusCode::SEE_OTHER);
    assert_eq!(response.headers()[header::LOCATION], "/shelf");
    let cookie = response.headers()[header::SET_COOKIE].to_str().unwrap();
    assert!(cookie.starts_with("language=de; ") && cookie.contains("SameSite=Lax"));
    let (status, _) = bench.get("/language/xx").await;
    assert_eq!(status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn no_page_in_german_says_an_english_text() {
    let texts = |of: &str| -> BTreeMap<String, String> {
        let table: toml::Table = toml::from_str(of).unwrap();
        let mut all = BTreeMap::new();
        for (section, entries) in table {
            for (key, text) in entries.as_table().unwrap() {
                all.insert(format!("{section}.{key}"), text.as_str().unwrap().into());
            }
        }
        all
    };
    let english = texts(include_str!("../texts/en.toml"));
    let german = texts(include_str!("../texts/de.toml"));
    // In the engine's words, or as somebody signed, and so in English.
    let said_by_others = ["new.in_burette", "origin.dof", "review.approved_for_use"];
    let telling: Vec<(&String, &String)> = english
        .iter()
        .filter(|(key, text)| {
            text.split(' ').count() > 2
                && !text.contains('{')
                && german[*key] != **text
                && !key.starts_with("runs.")
                && !said_by_others.contains(&key.as_str())
        })
        .collect();
    assert!(telling.len() > 150, "{}", telling.len());
    let bench = Bench::demo().await;
    let mut said = Vec::new();
    for path in [
        "/",
        "/determinations",
        "/determinations/D-0001",
        "/determinations/D-0004",
        "/determinations/D-0005",
        "/determinations/D-0001/where/step:c",
        "/determinations/D-0001/where/reading:4:final",
        "/determinations/D-0001/working",
        "/determinations/D-0001/what-if",
        "/new",
        "/new?refused=nothing",
        "/new?method=vinegar-acidity",
        "/new?method=calcium-magnesium",
        "/plan",
        "/shelf",
        "/things/solution/T-0098",
        "/things/sample/Q-0001",
        "/things/lot/S-0041",
        "/certificates/C-0001",
        "/certificates/C-0002",
        "/labels/T-0117",
        "/codes/apparatus/B-3",
        "/record",
        "/people",
        "/sign-in",
        "/determinations/D-9999",
        "/nothing",
    ] {
        let request = Request::get(path)
            .header("accept-language", "de")
            .body(Body::empty())
            .unwrap();
        let (_, page, _) = bench.ask(request).await;
        // Without the report, which is the engine's.
        let page = page
            .split("<pre")
            .map(|part| match part.split_once("</pre>") {
                Some((_, rest)) => rest,
                None => part,
            });
        let page: String = page.collect();
        let heard = telling
            .iter()
            .filter(|(_, text)| page.contains(text.as_str()));
        said.extend(heard.map(|(key, text)| format!("{path}: {key}: {text}")));
    }
    assert!(said.is_empty(), "{said:#?}");
}

#[tokio::test]
async fn a_plan_opens_its_determination_with_what_is_on_the_shelf() {
    let bench = Bench::demo().await;
    let plan = "/plan?titrant=sodium+hydroxide&strength=0.1+mol/L&standard=potassium+hydrogen+phthalate&burette=burette+50+mL+A&balance=four-place+balance";
    let (status, page) = bench.get(plan).await;
    assert_eq!(status, StatusCode::OK);
    let link = page
        .split("href=\"/new?")
        .nth(1)
        .and_then(|rest| rest.split('"').next())
        .unwrap_or_else(|| panic!("{page}"));
    for part in [
        "sought=solution%2FT-0123",
        "known=lot%2FS-0041",
        "burette=apparatus%2FB-3",
        "balance=apparatus%2FW-2",
        "indicator=",
    ] {
        assert!(link.contains(part), "{part} is not in {link}");
    }
    let (_, form) = bench
        .get(&format!("/new?{}", link.replace("&amp;", "&")))
        .await;
    assert!(
        form.contains("<option value=\"lot/S-0041\" selected>"),
        "{form}"
    );
}
