//! What the line of news says: what a page may have missed, then each change.

mod common;

use common::Bench;
use serde_json::{Value, json};

/// The number of the event that a receipt tells.
fn taken(receipt: &Value) -> u64 {
    receipt["events"][0]["number"].as_u64().unwrap_or(0)
}

#[tokio::test]
async fn a_line_tells_first_what_may_have_been_missed_and_then_each_change() {
    let bench = Bench::demo().await;
    let (_, page) = bench.get("/determinations/D-0005").await;
    let (_, drawn) = page.split_once("data-version=\"").unwrap();
    let drawn: u64 = drawn.split('"').next().unwrap().parse().unwrap();

    let on = "determination/D-0005";
    let remark = json!({ "text": "the tip dripped" });
    bench.does(on, "remarked", remark.clone()).await;
    let mut line = bench.line(&format!("/live?about={on}")).await;
    let mut any = bench.line("/live").await;
    assert_eq!(line.next().await, (Some("version".into()), drawn + 1));

    // What happens elsewhere is told only to who asked for anything.
    let brine = json!({ "what": "brine" });
    let elsewhere = bench.does("sample/V-0900", "sample-received", brine).await;
    let said = bench.does(on, "remarked", remark).await;
    assert_eq!(line.next().await, (None, taken(&said)));
    assert_eq!(any.next().await, (None, taken(&elsewhere)));
    assert_eq!(any.next().await, (None, taken(&said)));
}
