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
    assert!(reading.contains("<del>52."), "{reading}");
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
