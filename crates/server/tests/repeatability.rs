//! What earlier work says of how runs repeat is offered to a new determination: of the same person with the same burette
//! where there is enough of it.

mod common;

use common::Bench;
use serde_json::{Value, json};

/// What a new determination with a burette is given.
async fn offered(bench: &Bench, burette: &str) -> Value {
    let form = [
        ("title", "Base again"),
        ("sought", "solution/T-0117"),
        ("place", "burette"),
        ("known", "lot/S-0041"),
        ("burette", burette),
        ("balance", "apparatus/W-2"),
    ];
    let at = bench.form("/new", &form).await.unwrap_or_default();
    let name = at.rsplit('/').next().unwrap_or_default();
    let (_, text) = bench
        .get(&format!("/api/v1/things/determination/{name}"))
        .await;
    let thing: Value = serde_json::from_str(&text).unwrap_or_default();
    thing["state"]["determination"]["opened"]["repeatability"].clone()
}

#[tokio::test]
async fn a_new_determination_is_offered_the_repeatability_of_earlier_ones() {
    let bench = Bench::demo().await;
    let own = offered(&bench, "apparatus/B-3").await;
    // Three runs counted in D-0001 and in each of the seven weekly standardizations: two degrees of freedom each.
    assert_eq!(own["degrees_of_freedom"], json!(16.0), "{own}");
    let source = own["source"].as_str().unwrap();
    assert!(
        source.contains("8 earlier sets by sorrel with B-3"),
        "{own}"
    );

    let piece = json!({ "piece": { "glass": "burette 50 mL A" } });
    bench
        .does("apparatus/B-9", "apparatus-registered", piece)
        .await;
    let other = offered(&bench, "apparatus/B-9").await;
    let source = other["source"].as_str().unwrap();
    assert!(source.contains("8 earlier sets by sorrel in"), "{other}");
    assert_eq!(other["s"], own["s"]);
}
