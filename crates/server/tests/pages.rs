//! The pages of results and of the shelf: every number leads to where it comes from, and what is asked is not recorded.

#![allow(clippy::unwrap_used)] // helpers outside of test functions may not answer for a failure

mod common;

use axum::http::StatusCode;
use common::{Bench, encoded};
use serde_json::Value;
use std::collections::{BTreeSet, VecDeque};

/// The addresses that a page leads to.
fn links(body: &str) -> Vec<String> {
    body.split("href=\"")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .map(|link| link.replace("&amp;", "&"))
        .collect()
}

/// Follows every link of these pages to where a number comes from.
async fn follow(bench: &Bench, first: &str, most: usize) -> Vec<(String, String)> {
    let mut queue = VecDeque::from([first.to_string()]);
    let mut seen = BTreeSet::from([first.to_string()]);
    let mut pages = Vec::new();
    while let Some(path) = queue.pop_front() {
        let (status, body) = bench.get(&path).await;
        assert_eq!(status, StatusCode::OK, "{path}: {body}");
        for link in links(&body) {
            if link.contains("/where/")
                && pages.len() + queue.len() < most
                && seen.insert(link.clone())
            {
                queue.push_back(link);
            }
        }
        pages.push((path, body));
    }
    pages
}

#[tokio::test]
async fn every_number_leads_down_to_its_reading_and_certificate_and_up_to_the_result() {
    let bench = Bench::demo().await;
    let pages = follow(&bench, "/determinations/D-0001", 400).await;
    let page = |path: &str| {
        let found = pages.iter().find(|(p, _)| p.ends_with(path));
        &found.unwrap_or_else(|| panic!("nothing leads to {path}")).1
    };
    // The corrected reading of run 4: its first value, who corrected it and why, the burette, the titre it goes into.
    let reading = page("/where/reading%3A4%3Afinal");
    assert!(reading.contains("<del>22."), "{reading}");
    assert!(reading.contains("digits swapped when typed"));
    assert!(reading.contains("/things/apparatus/B-3"));
    assert!(reading.contains("step%3AV_obs%2C3"));
    // The purity leads to the lot and its certificate.
    let purity = page(&encoded_path("/where/", "input:S-0041/purity"));
    assert!(purity.contains("/things/lot/S-0041") && purity.contains("K-771/A"));
    // The result of all is reached from below, and says how it is computed.
    let result = page("/where/step%3Ac");
    assert!(
        result.contains("<math") && result.contains("c_mean"),
        "{result}"
    );
    // What was set aside says that nothing rests on it.
    let aside = page("/where/reading%3A3%3Afinal");
    assert!(aside.contains("The result does not rest on it"), "{aside}");
}

/// A path as the pages write it.
fn encoded_path(before: &str, id: &str) -> String {
    let mut out = before.to_string();
    for byte in id.bytes() {
        if byte.is_ascii_alphanumeric() || b"-_.~".contains(&byte) {
            out.push(char::from(byte));
        } else {
            out.push_str(&encoded(std::str::from_utf8(&[byte]).unwrap()));
        }
    }
    out
}

#[tokio::test]
async fn a_sample_leads_through_its_titrant_to_the_readings_of_the_standardization() {
    let bench = Bench::demo().await;
    let input = encoded_path(
        "/determinations/D-0004/where/",
        "input:T-0123 run 2/B-3/final",
    );
    let (status, body) = bench.get(&input).await;
    assert_eq!(status, StatusCode::OK, "{body}");
    assert!(
        body.contains("href=\"/determinations/D-0002/where/reading%3A3%3Afinal\""),
        "{body}"
    );
    let (status, reading) = bench
        .get("/determinations/D-0002/where/reading%3A3%3Afinal")
        .await;
    assert_eq!(status, StatusCode::OK);
    assert!(reading.contains("read by marsh"), "{reading}");
    // The acid below it leads to its lot, whose certificate was corrected.
    let (_, acid) = bench
        .get(&encoded_path(
            "/determinations/D-0004/where/",
            "input:S-0107/concentration",
        ))
        .await;
    assert!(acid.contains("/things/lot/S-0107") && acid.contains("A-2209"));
    for nothing in ["step:nothing", "input:nothing", "reading:99:final", "drunk"] {
        let path = encoded_path("/determinations/D-0004/where/", nothing);
        assert_eq!(bench.get(&path).await.0, StatusCode::NOT_FOUND, "{nothing}");
    }
}

#[tokio::test]
async fn what_if_is_computed_by_the_same_formula_and_not_recorded() {
    let bench = Bench::demo().await;
    let ask = async |query: &str| -> Value {
        let path = format!("/api/v1/determinations/D-0001/what-if?{query}");
        let (status, body) = bench.get(&path).await;
        assert_eq!(status, StatusCode::OK, "{body}");
        serde_json::from_str(&body).unwrap()
    };
    let number = |answer: &Value, key: &str| answer[key].as_f64().unwrap();
    let (_, events) = bench.get("/api/v1/events?after=0&limit=1000").await;
    let now = ask("").await;
    assert_eq!(now["recorded"], false);
    // The concentration is proportional to the purity of the standard: 99.47 % instead of 99.97 %.
    let purity = encoded("v.S-0041/purity");
    let then = ask(&format!("{purity}=99%2C47")).await;
    let ratio = number(&then, "value") / number(&now, "value") / (99.47 / 99.97);
    assert!((ratio - 1.0).abs() < 1e-12, "{ratio}");
    // A certain purity leaves less uncertainty; a very doubtful one more.
    let u = encoded("u.S-0041/purity");
    let certain = ask(&format!("{u}=0")).await;
    let doubtful = ask(&format!("{u}=1")).await;
    let key = "expanded_uncertainty";
    assert!(number(&certain, key) < number(&now, key));
    assert!(number(&doubtful, key) > 2.0 * number(&now, key));
    // The page without script says the same.
    let (status, page) = bench
        .get(&format!("/determinations/D-0001/what-if?{purity}=99%2C47"))
        .await;
    assert_eq!(status, StatusCode::OK);
    assert!(page.contains(then["shown"]["value"].as_str().unwrap()));
    assert!(page.contains("what if, not recorded"));
    let (_, after) = bench.get("/api/v1/events?after=0&limit=1000").await;
    assert_eq!(events, after);
    let path = format!("/api/v1/determinations/D-0001/what-if?{u}=-1");
    assert_eq!(bench.get(&path).await.0, StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test]
async fn a_content_below_its_limit_would_be_kept_with_more() {
    let bench = Bench::demo().await;
    let (_, now) = bench.get("/api/v1/determinations/D-0004/what-if").await;
    let now: Value = serde_json::from_str(&now).unwrap();
    assert_eq!(now["usable"], false, "{now}");
    // The acid as it was entered first: the content is then 5.02 g/100 mL and kept.
    let query = format!("{}=0.10041", encoded("v.S-0107/concentration"));
    let (_, then) = bench
        .get(&format!("/api/v1/determinations/D-0004/what-if?{query}"))
        .await;
    let then: Value = serde_json::from_str(&then).unwrap();
    let ratio = then["value"].as_f64().unwrap() / now["value"].as_f64().unwrap();
    assert!((ratio / (0.10041 / 0.10014) - 1.0).abs() < 1e-12, "{ratio}");
    let p = |answer: &Value| answer["probability_of_conformity"].as_f64().unwrap();
    assert!(p(&then) > 0.95 && p(&now) < 0.95, "{now} {then}");
}

#[tokio::test]
async fn the_simulation_says_how_it_was_made() {
    let bench = Bench::demo().await;
    let (_, page) = bench.get("/determinations/D-0001").await;
    for words in [
        "Simulation beside first order",
        "seed 1",
        "simulation, shortest 95 %",
        "var(--ink, #22303a)",
    ] {
        assert!(page.contains(words), "{words}");
    }
    assert_eq!(page, bench.get("/determinations/D-0001").await.1);
}

#[tokio::test]
async fn a_bottle_has_a_history_a_chart_and_a_drift() {
    let bench = Bench::demo().await;
    let (status, page) = bench.get("/things/solution/T-0098").await;
    assert_eq!(status, StatusCode::OK);
    // The base of the demo loses 0.05 % a week, by construction; the last value holds until it has lost half a per cent.
    let slope: f64 = page
        .split("It changes by ")
        .nth(1)
        .and_then(|rest| rest.split(' ').next())
        .map(|text| text.replace('\u{2212}', "-").parse().unwrap())
        .unwrap_or_else(|| panic!("{page}"));
    assert!((slope + 0.05).abs() < 0.02, "{slope}");
    assert!(page.contains("It leaves ± 0.50 % of the last value on about"));
    for words in [
        "Control chart",
        "action +3 s",
        "Run rules",
        "L. S. Nelson",
        "its standardization held until",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    // The forecast begins after today and its expected day lies between its ends, as the words say it.
    assert!(
        page.contains(", between ") && page.contains(" and "),
        "{page}"
    );
    assert!(
        !page.contains("times as much as their uncertainties say"),
        "{page}"
    );
    // Without rules nothing is seen; a wider tolerance is left later.
    let (_, off) = bench.get("/things/solution/T-0098?rules=chosen").await;
    assert!(off.contains("The run rules see nothing out of the ordinary."));
    let (_, wide) = bench.get("/things/solution/T-0098?tolerance=1,5").await;
    assert!(
        wide.contains("It leaves ± 1.5 % of the last value"),
        "{wide}"
    );
    for wrong in ["0", "-1", "much", "NaN"] {
        let path = format!("/things/solution/T-0098?tolerance={wrong}");
        assert_eq!(bench.get(&path).await.0, StatusCode::UNPROCESSABLE_ENTITY);
    }
    let (_, shelf) = bench.get("/shelf").await;
    assert!(shelf.contains("was to be re-standardized by"), "{shelf}");
    // One standardization alone has neither.
    let (_, page) = bench.get("/things/solution/T-0117").await;
    assert!(page.contains("Limits are drawn from 5 values on; there are 1."));
}

#[tokio::test]
async fn a_check_sample_has_a_chart() {
    let bench = Bench::demo().await;
    let (status, page) = bench.get("/things/sample/Q-0001").await;
    assert_eq!(status, StatusCode::OK);
    assert!(
        page.contains("Control chart") && page.contains(">expected<"),
        "{page}"
    );
    let (_, table) = bench.get("/things/sample/Q-0001/values.csv").await;
    let values: Vec<f64> = table
        .lines()
        .skip(1)
        .map(|line| line.split(',').nth(2).unwrap().parse().unwrap())
        .collect();
    assert_eq!(values.len(), 7);
    // Made to be 5.00 g/100 mL; the portion scatters by 0.06 %, the titres by less.
    assert!(values.iter().all(|v| (v - 5.0).abs() < 0.025), "{values:?}");
    // Other samples have none.
    let (_, page) = bench.get("/things/sample/V-232").await;
    assert!(!page.contains("Control chart"));
}

#[tokio::test]
async fn tables_are_csv() {
    let bench = Bench::demo().await;
    for (path, heading, holds) in [
        (
            "/things.csv?kind=solution",
            "name,kind,title",
            "T-0098,solution",
        ),
        ("/things.csv", "name,kind,title", "D-0004,determination"),
        (
            "/determinations/D-0001/runs.csv",
            "sample,run,kind",
            "22.57 mL",
        ),
        (
            "/determinations/D-0001/budget.csv",
            "input,symbol",
            "S-0041/purity,w",
        ),
        (
            "/things/lot/S-0107/history.csv",
            "number,at,who",
            "lot-certificate-corrected",
        ),
        (
            "/record.csv?after=3&limit=5",
            "number,at,who",
            "person-added",
        ),
    ] {
        let (status, body) = bench.get(path).await;
        assert_eq!(status, StatusCode::OK, "{path}");
        assert!(body.starts_with(heading), "{path}: {body}");
        assert!(
            path.contains("runs.csv") || body.contains(holds),
            "{path}: {body}"
        );
        assert!(body.ends_with("\r\n"));
    }
    let (_, runs) = bench.get("/determinations/D-0001/runs.csv").await;
    assert!(
        runs.contains(",final,25.")
            && runs.contains(",mL,")
            && runs.contains(",titre,")
            && runs.contains("digits swapped"),
        "{runs}"
    );
    // What somebody wrote does not become a formula of a spreadsheet.
    let remark = serde_json::json!({ "on": "sample/V-9", "kind": "sample-received", "payload": { "what": "=HYPERLINK(\"x\")" } });
    let (status, said) = bench.command(&remark).await;
    assert_eq!(status, StatusCode::OK, "{said}");
    let (_, list) = bench.get("/things.csv?kind=sample").await;
    assert!(list.contains("\"'=HYPERLINK(\"\"x\"\")\""), "{list}");
}

#[tokio::test]
async fn the_light_of_the_room_is_remembered() {
    let bench = Bench::demo().await;
    let request = axum::http::Request::post("/room")
        .header("content-type", "application/x-www-form-urlencoded")
        .header("host", "127.0.0.1:7373")
        .header("referer", "http://127.0.0.1:7373/shelf?x=1")
        .body(axum::body::Body::from("room=dark"))
        .unwrap();
    let response = tower::ServiceExt::oneshot(bench.router.clone(), request)
        .await
        .unwrap();
    assert_eq!(response.status(), StatusCode::SEE_OTHER);
    assert_eq!(response.headers()["location"], "/shelf?x=1");
    let cookie = response.headers()["set-cookie"]
        .to_str()
        .unwrap()
        .to_string();
    assert!(
        cookie.starts_with("room=dark;") && cookie.contains("HttpOnly"),
        "{cookie}"
    );
    for path in ["/", "/nowhere"] {
        let request = axum::http::Request::get(path)
            .header("cookie", "other=1; room=dark")
            .body(axum::body::Body::empty())
            .unwrap();
        let (_, body, _) = bench.ask(request).await;
        assert!(
            body.contains("<html lang=\"en\" data-room=\"dark\">"),
            "{path}: {body}"
        );
    }
    let (_, body) = bench.get("/").await;
    assert!(body.contains("<html lang=\"en\">"), "{body}");
    // Another site's page as the one that was left leads to the bench.
    let request = axum::http::Request::post("/room")
        .header("content-type", "application/x-www-form-urlencoded")
        .header("host", "127.0.0.1:7373")
        .header("referer", "http://elsewhere.example/x")
        .body(axum::body::Body::from("room=light"))
        .unwrap();
    let (_, _, to) = bench.ask(request).await;
    assert_eq!(to.as_deref(), Some("/"));
}

#[tokio::test]
async fn a_working_is_kept_as_page_pdf_and_file() {
    let bench = Bench::demo().await;
    for name in ["D-0001", "D-0004"] {
        let (status, page) = bench.get(&format!("/determinations/{name}/working")).await;
        assert_eq!(status, StatusCode::OK, "{page}");
        assert!(page.contains("<math") && page.contains("Step by step"));
        let (_, file) = bench
            .get(&format!("/determinations/{name}/working.html"))
            .await;
        assert!(file.contains("<style>") && !file.contains("src="), "{file}");
        let request = axum::http::Request::get(format!("/determinations/{name}/working.pdf"))
            .body(axum::body::Body::empty())
            .unwrap();
        let answer = tower::ServiceExt::oneshot(bench.router.clone(), request)
            .await
            .unwrap();
        assert_eq!(answer.headers()["content-type"], "application/pdf");
        let body = http_body_util::BodyExt::collect(answer.into_body())
            .await
            .unwrap();
        assert!(body.to_bytes().starts_with(b"%PDF-1.7"));
    }
    for nothing in [
        "/determinations/D-9/working",
        "/determinations/D-9/working.pdf",
    ] {
        assert_eq!(
            bench.get(nothing).await.0,
            StatusCode::NOT_FOUND,
            "{nothing}"
        );
    }
}

/// From every thing of the record each thread can be followed, and back again.
#[tokio::test]
async fn threads_lead_both_ways() {
    let bench = Bench::demo().await;
    let boxes = |body: &str| -> BTreeSet<String> {
        let picture = body.split("class=\"wide threads\"").nth(1).unwrap();
        let picture = picture.split("</svg>").next().unwrap();
        assert_eq!(
            picture.matches("<rect").count(),
            picture.matches("<a href").count()
        );
        links(picture).into_iter().collect()
    };
    let mut queue = VecDeque::from(["/things/certificate/C-0004".to_string()]);
    let mut seen: std::collections::BTreeMap<String, BTreeSet<String>> = Default::default();
    while let Some(path) = queue.pop_front() {
        if seen.contains_key(&path) {
            continue;
        }
        let (status, body) = bench.get(&path).await;
        assert_eq!(status, StatusCode::OK, "{path}: {body}");
        let found = boxes(&body);
        assert!(found.contains(&path), "{path} shows itself");
        queue.extend(found.iter().cloned());
        seen.insert(path, found);
    }
    for kind in [
        "lot",
        "apparatus",
        "solution",
        "sample",
        "method",
        "rules",
        "determination",
        "certificate",
    ] {
        let of_kind = format!("/things/{kind}/");
        assert!(
            seen.keys().any(|path| path.starts_with(&of_kind)),
            "no {kind} is reached"
        );
    }
    // Down from the certificate to the acid, and up from the acid to the certificate.
    assert!(seen["/things/certificate/C-0004"].contains("/things/lot/S-0107"));
    assert!(seen["/things/lot/S-0107"].contains("/things/certificate/C-0004"));
}
