//! Figures that no paper and no scale can show are refused, with what was expected; what is merely odd is taken down.
#![allow(clippy::unwrap_used)]

mod common;

use common::{demo, does};
use notebook::Ledger;
use notebook::decide::Command;

/// What is answered to a command, as JSON on the wire.
fn answer(ledger: &mut Ledger, on: &str, kind: &str, payload: &str) -> Result<(), String> {
    let text = format!(r#"{{"on": "{on}", "kind": "{kind}", "payload": {payload}}}"#);
    let command: Command = serde_json::from_str(&text).map_err(|e| e.to_string())?;
    does(ledger, "fennel", &command)
}

#[test]
fn certificates_state_what_a_paper_can_state() {
    let mut ledger = demo(1);
    for (lot, stated, expected) in [
        (
            "S-0041",
            r#""purity": {"value": "199.97 %", "U": "0.03 %"}"#,
            "at most 100 %",
        ),
        (
            "S-0041",
            r#""purity": {"value": "-3 %", "U": "0.03 %"}"#,
            "uncertainty",
        ),
        (
            "S-0041",
            r#""purity": {"value": "-3 %", "exact": true}"#,
            "at most 100 %",
        ),
        (
            "S-0041",
            r#""purity": {"value": "99.9", "U": "0.03 %"}"#,
            "written like 99.97 %",
        ),
        (
            "S-0041",
            r#""purity": {"value": "99.97 %", "U": "-0.03 %"}"#,
            "at least 0",
        ),
        (
            "S-0041",
            r#""purity": {"value": "99.97 %", "U": "0.03 %", "k": -2}"#,
            "coverage factor",
        ),
        (
            "S-0041",
            r#""concentration": {"value": "0.1 mol/L", "U": "0.0001 mol/L"}"#,
            "a solid that is weighed",
        ),
        (
            "S-0107",
            r#""concentration": {"value": "-0.1 mol/L", "exact": true}"#,
            "above 0 mol/L",
        ),
        ("S-0107", r#""number": "X""#, "taken down as a solution"),
    ] {
        let stated = if stated.starts_with("\"number\"") {
            stated.into()
        } else {
            format!(r#""number": "X", {stated}"#)
        };
        let payload = format!(r#"{{"certificate": {{{stated}}}, "reason": "typed"}}"#);
        let said = answer(
            &mut ledger,
            &format!("lot/{lot}"),
            "lot-certificate-corrected",
            &payload,
        )
        .unwrap_err();
        assert!(said.contains(expected), "{stated}: {said}");
    }
    let new = |certificate: &str| {
        format!(
            r#"{{"substance": "sodium carbonate", "serves_as": "standard", "certificate": {{"number": "X", {certificate}}}}}"#
        )
    };
    for certificate in [
        r#""purity": {"value": "150 %", "exact": true}"#,
        r#""purity": {"value": "0 %", "exact": true}"#,
    ] {
        assert!(
            answer(&mut ledger, "lot/S-1", "lot-received", &new(certificate)).is_err(),
            "{certificate}"
        );
    }
    // Assays come out a little above 100 % at times.
    answer(
        &mut ledger,
        "lot/S-1",
        "lot-received",
        &new(r#""purity": {"value": "100.02 %", "U": "0.05 %"}"#),
    )
    .unwrap();
    // A standard that nobody certified is there, and says that it may not be used.
    answer(
        &mut ledger,
        "lot/S-2",
        "lot-received",
        r#"{"substance": "unobtainium", "serves_as": "standard"}"#,
    )
    .unwrap();
    let today = ledger.events().last().unwrap().at.day();
    let why =
        notebook::validity::objections(ledger.world(), &"lot/S-2".parse().unwrap(), today, false);
    assert_eq!(why, ["its certificate was not entered"]);
}

#[test]
fn amounts_are_above_zero_and_nothing_goes_twice() {
    let mut ledger = demo(1);
    for payload in [
        r#"{"substance": "sodium hydroxide", "nominal": "0.1 mol/L", "volume": "-2 L"}"#,
        r#"{"substance": "sodium hydroxide", "nominal": "0 mol/L"}"#,
        r#"{"substance": "sodium hydroxide", "nominal": "0.1 mol/L", "made_of": [{"from": "lot/R-0012", "amount": "-4 g"}]}"#,
    ] {
        assert!(
            answer(&mut ledger, "solution/T-9", "solution-prepared", payload).is_err(),
            "{payload}"
        );
    }
    let gone = r#"{"reason": "used up"}"#;
    answer(&mut ledger, "lot/S-0041", "lot-discarded", gone).unwrap();
    let said = answer(&mut ledger, "lot/S-0041", "lot-discarded", gone).unwrap_err();
    assert_eq!(said, "lot/S-0041 is gone already: used up");
}

#[test]
fn readings_stand_on_the_scale() {
    let mut ledger = demo(1);
    let on = "determination/D-0005";
    let read = |ledger: &mut Ledger, slot: &str, value: &str| {
        let payload = format!(r#"{{"run": 3, "reading": "{slot}", "value": "{value}"}}"#);
        answer(ledger, on, "reading-taken", &payload)
    };
    answer(
        &mut ledger,
        on,
        "run-started",
        r#"{"run": 3, "run_kind": "replicate", "sample": "sample/V-234"}"#,
    )
    .unwrap();
    for (slot, value, expected) in [
        ("initial", "-3 mL", "from 0 to 50 mL"),
        ("initial", "55 mL", "from 0 to 50 mL"),
        ("initial", "much", "write it like"),
        ("mass", "0.5 g", "nothing is weighed"),
        ("temperature", "-300 degC", "as cold as"),
        ("duration", "-1 min", "below zero"),
    ] {
        let said = read(&mut ledger, slot, value).unwrap_err();
        assert!(said.contains(expected), "{slot} {value}: {said}");
    }
    // An empty run is not closed over.
    let said = answer(&mut ledger, on, "determination-closed", "{}").unwrap_err();
    assert!(said.starts_with("run 3 is not finished"), "{said}");
    // Odd, but it can stand there: it is taken down.
    read(&mut ledger, "initial", "50 mL").unwrap();
    read(&mut ledger, "final", "0.00 mL").unwrap();
}
