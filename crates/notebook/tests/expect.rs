//! What is expected of a run before it, and runs whose last fill is still open.
#![allow(clippy::unwrap_used)]

use notebook::payload::{Payload, Slot};
use notebook::{Command, Evaluator, ExpectedBy, Ledger, Node, Stamp};
use serde_json::{Value, json};

const ON: &str = "determination/D-1";

/// A base of nominally 0.1 mol/L, to be compared with hydrogen phthalate, and its first run as far as it is.
fn bench(readings: &[Value]) -> Ledger {
    let mut ledger = Ledger::default();
    let record = Node::record().to_string();
    let kinds = [
        (record.as_str(), "record-opened", json!({ "name": "Bench" })),
        (
            "solution/T-1",
            "solution-prepared",
            json!({ "substance": "sodium hydroxide", "nominal": "0.1 mol/L" }),
        ),
        (
            "lot/S-1",
            "lot-received",
            json!({ "substance": "potassium hydrogen phthalate", "serves_as": "standard",
                "certificate": { "number": "K-1", "purity": { "value": "99.97 %", "U": "0.03 %", "k": 2.0 } } }),
        ),
        (
            "apparatus/B-1",
            "apparatus-registered",
            json!({ "piece": { "glass": "burette 50 mL A" } }),
        ),
        (
            "apparatus/W-1",
            "apparatus-registered",
            json!({ "piece": { "balance": "four-place balance" } }),
        ),
        (
            ON,
            "determination-opened",
            json!({ "title": "Base", "burette": "apparatus/B-1", "balance": "apparatus/W-1",
                "plan": { "of": "standardization", "sought": "solution/T-1", "place": "burette", "known": { "lot": "lot/S-1" } } }),
        ),
        (ON, "run-started", json!({ "run": 1 })),
    ];
    let readings = readings.iter().map(|payload| {
        let kind = match payload.get("reason") {
            Some(_) => "reading-corrected",
            None => "reading-taken",
        };
        (ON, kind, payload.clone())
    });
    for (at, (on, kind, payload)) in kinds.into_iter().chain(readings).enumerate() {
        let payload: Payload =
            serde_json::from_value(json!({ "kind": kind, "payload": payload })).unwrap();
        let on: Node = on.parse().unwrap();
        let stamp = Stamp {
            at: format!("2026-03-09T08:{at:02}:00+01:00").parse().unwrap(),
            who: "sorrel".into(),
            device: "tablet".into(),
            key: None,
        };
        ledger.submit(&stamp, &Command::new(on, payload)).unwrap();
    }
    ledger
}

fn reading(slot: &str, value: &str) -> Value {
    json!({ "run": 1, "reading": slot, "value": value })
}

#[test]
fn mass_and_nominal_concentration_say_where_the_first_end_lies() {
    let ledger = bench(&[reading("mass", "0.5002 g"), reading("initial", "0.05 mL")]);
    let node: Node = ON.parse().unwrap();
    let expected = Evaluator::new(ledger.world())
        .expected_titre(&node, 1)
        .unwrap();
    // By hand: 0.5002 g · 0.9997 / 204.22 g/mol / 0.1 mol/L (molar mass of hydrogen phthalate: IUPAC 2021 weights, rounded);
    // buoyancy and the temperature of the glass are under a thousandth.
    let by_hand = 0.5002 * 0.9997 / 204.22 / 0.1 * 1000.0;
    assert!(
        (expected.ml / by_hand - 1.0).abs() < 1e-3,
        "{expected:?} {by_hand}"
    );
    assert_eq!(expected.by, ExpectedBy::Nominal);
    let ledger = bench(&[]);
    assert_eq!(
        Evaluator::new(ledger.world()).expected_titre(&node, 1),
        None,
        "not weighed yet"
    );
}

#[test]
fn a_run_that_is_refilled_is_unfinished_until_its_last_fill_is_read() {
    let node: Node = ON.parse().unwrap();
    let refilled = json!({ "run": 1, "reading": "final", "value": "24.55 mL", "refilled": true });
    let begun = [
        reading("mass", "0.5002 g"),
        reading("initial", "0.05 mL"),
        refilled,
    ];
    let last = [
        reading("refill-1-initial", "0.00 mL"),
        reading("refill-1-final", "0.10 mL"),
    ];
    let mut not = reading("final", "24.55 mL");
    not["refilled"] = json!(false);
    not["reason"] = json!("it was not refilled");
    for (more, refills, is_finished) in [
        (&[][..], 1, false),
        (&last[..1], 1, false),
        (&last[..], 1, true),
        (&[not][..], 0, true),
    ] {
        let ledger = bench(&[&begun, more].concat());
        let determination = ledger.world().determination(&node).unwrap();
        let run = determination.run(1).unwrap();
        assert_eq!(
            (run.refills(), run.is_finished()),
            (refills, is_finished),
            "{more:?}"
        );
        assert!(
            run.reading(Slot::Final).unwrap().corrections.is_empty(),
            "the value was right"
        );
        let outcome = Evaluator::new(ledger.world()).so_far(&node);
        assert_eq!(outcome.is_ok(), is_finished, "{more:?}");
    }
}
