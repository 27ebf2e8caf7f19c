//! An export can be read without this program: by its README alone, with text and SHA-256, and by its tables.
#![allow(clippy::unwrap_used)]

mod common;

use common::{Folder, demo, node};
use notebook::Command;
use notebook::payload::FileAttached;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::path::Path;
use store::Order;

fn read(folder: &Path, name: &str) -> String {
    std::fs::read_to_string(folder.join(name)).unwrap()
}

/// The rows of a table, each by its headings (RFC 4180).
fn table(folder: &Path, name: &str) -> Vec<BTreeMap<String, String>> {
    let mut lines = read(folder, name)
        .lines()
        .map(cells)
        .collect::<Vec<_>>()
        .into_iter();
    let head = lines.next().unwrap();
    lines
        .map(|line| {
            assert_eq!(line.len(), head.len(), "{name}: {line:?}");
            head.iter().cloned().zip(line).collect()
        })
        .collect()
}

fn cells(line: &str) -> Vec<String> {
    let (mut row, mut cell, mut inside) = (Vec::new(), String::new(), false);
    let mut rest = line.chars().peekable();
    while let Some(c) = rest.next() {
        match c {
            '"' if inside && rest.peek() == Some(&'"') => {
                rest.next();
                cell.push('"');
            }
            '"' => inside = !inside,
            ',' if !inside => row.push(std::mem::take(&mut cell)),
            c => cell.push(c),
        }
    }
    row.push(cell);
    row
}

fn number(text: &str) -> f64 {
    text.parse().unwrap_or_else(|_| panic!("{text}"))
}

async fn exported(folder: &Folder) -> std::path::PathBuf {
    let place = folder.file("demo.record");
    let store = demo(&place).await;
    // A photograph, however short: what it is follows from its first bytes elsewhere.
    let bytes = vec![0xff, 0xd8, 0xff, 0xe0];
    let length = bytes.len() as u64;
    let hash = store.keep_file(bytes).await.unwrap();
    let attached = FileAttached {
        run: None,
        reading: None,
        name: "burette.jpg".into(),
        media_type: "image/jpeg".into(),
        sha256: hash.to_string(),
        bytes: length,
    };
    let command = Command::new(node("determination/D-0005"), attached);
    store
        .submit(Order::new("sorrel", "tablet", command))
        .await
        .unwrap();
    let to = std::path::PathBuf::from(folder.file("export"));
    store.export(&to).await.unwrap();
    let zip = std::path::PathBuf::from(folder.file("export.zip"));
    store.export(&zip).await.unwrap();
    // The photograph comes back under the same hash, from either.
    for (from, place) in [(&to, "again.record"), (&zip, "again2.record")] {
        let machine = std::sync::Arc::new(store::Machine::here());
        let again = store::import(from, &folder.file(place), machine)
            .await
            .unwrap();
        assert!(again.file(hash).await.unwrap().is_some());
        assert_eq!(again.end().await.unwrap(), store.end().await.unwrap());
        again.close().await;
    }
    // Files in the zip bear the day of the export.
    let bytes = std::fs::read(&zip).unwrap();
    let day = u16::from_le_bytes([bytes[12], bytes[13]]);
    assert!(1980 + (day >> 9) >= 2026, "year {}", 1980 + (day >> 9));
    store.close().await;
    to
}

#[tokio::test(flavor = "multi_thread")]
async fn the_chain_is_proved_as_the_readme_says() {
    let folder = Folder::new();
    let export = exported(&folder).await;
    let readme = read(&export, "README.txt");
    assert!(readme.contains("Cut these 75 characters off"), "{readme}");
    let mut previous = "0".repeat(64);
    let mut count = 0;
    for line in read(&export, "events.jsonl").lines() {
        let (text, end) = line.split_at(line.len() - 75);
        let hash = end
            .strip_prefix(",\"hash\":\"")
            .and_then(|end| end.strip_suffix("\"}"))
            .unwrap();
        let digest: [u8; 32] = Sha256::digest(format!("{text}}}").as_bytes()).into();
        let digest: String = digest.iter().map(|b| format!("{b:02x}")).collect();
        assert_eq!(digest, hash, "{line}");
        assert!(
            text.contains(&format!("\"previous\":\"{previous}\"")),
            "{line}"
        );
        previous = hash.into();
        count += 1;
    }
    assert!(readme.contains(&previous), "{readme}");
    assert!(readme.contains(&format!("{count} events;")), "{readme}");
    let version = format!("by halfdrop {}", env!("CARGO_PKG_VERSION"));
    assert!(
        readme.contains(&version) && readme.contains("\nfiles/ "),
        "{readme}"
    );
    let photograph = table(&export, "files.csv").remove(0);
    let name = format!("files/{}.jpg", photograph["sha256"]);
    assert!(export.join(&name).exists(), "{name}");
    // Every column of every table is explained.
    let mut explained = BTreeMap::new();
    let (_, columns) = readme.split_once("The columns of the tables").unwrap();
    for part in columns.split("\n\n") {
        let mut lines = part.trim_start_matches(['\n', '-']).lines();
        let Some((name, _)) = lines.next().and_then(|line| line.split_once(": ")) else {
            continue;
        };
        let headings: Vec<String> = lines
            .map(|line| line.split_whitespace().next().unwrap().to_string())
            .collect();
        explained.insert(name.to_string(), headings);
    }
    let mut tables = 0;
    for entry in std::fs::read_dir(&export).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if name.ends_with(".csv") {
            let head = cells(read(&export, &name).lines().next().unwrap());
            assert_eq!(explained.get(&name), Some(&head), "{name}");
            tables += 1;
        }
    }
    assert_eq!(tables, explained.len());
}

#[tokio::test(flavor = "multi_thread")]
async fn the_tables_say_what_the_record_knows() {
    let folder = Folder::new();
    let export = exported(&folder).await;
    let find = |name: &str, by: &[(&str, &str)]| {
        let rows = table(&export, name);
        let fits = |row: &&BTreeMap<String, String>| by.iter().all(|(k, v)| row[*k] == *v);
        let found: Vec<_> = rows.iter().filter(fits).cloned().collect();
        assert!(!found.is_empty(), "{name}: {by:?}");
        found
    };
    // What the demo's script says (notebook::demo): the acid's certificate corrected, a corrected reading, a run set aside.
    let lot = &find("lot.csv", &[("name", "S-0107")])[0];
    assert!(
        !lot["certificate"].is_empty() && !lot["states"].is_empty() && !lot["U"].is_empty(),
        "{lot:?}"
    );
    let corrected = &find("corrections.csv", &[])[0];
    let key = [
        ("determination", corrected["determination"].as_str()),
        ("run", corrected["run"].as_str()),
        ("sample", corrected["sample"].as_str()),
        ("reading", corrected["reading"].as_str()),
    ];
    let reading = &find("readings.csv", &key)[0];
    assert_eq!(reading["value"], corrected["became"]);
    assert_eq!(reading["first_value"], corrected["was"]);
    assert!(!corrected["reason"].is_empty() && !corrected["who"].is_empty());
    let aside = find("runs.csv", &[("determination", "D-0001")]);
    assert!(aside.iter().any(|run| !run["set_aside"].is_empty()));
    let person = &find("person.csv", &[])[0];
    assert!(!person["roles"].is_empty(), "{person:?}");
    let certificate = &find("certificate.csv", &[("status", "superseded")])[0];
    assert!(!certificate["reason"].is_empty(), "{certificate:?}");
    let solution = &find("solution.csv", &[("name", "T-0117")])[0];
    assert!(number(&solution["concentration"]) > 0.0, "{solution:?}");
    assert!(!find("calibrations.csv", &[])[0]["piece"].is_empty());
    // Two samples: all their results, with limits and verdict.
    let both = &find("determination.csv", &[("name", "D-0004")])[0];
    assert!(both["results"].contains("; "), "{both:?}");
    let results = find("results.csv", &[("determination", "D-0004")]);
    assert_eq!(results.len(), 2);
    for result in &results {
        for column in [
            "degrees_of_freedom",
            "coverage_probability",
            "signed_by",
            "signed_at",
            "limits_kept",
        ] {
            assert!(!result[column].is_empty(), "{column}: {result:?}");
        }
    }
    // The budget is that of the result: its contributions, squared and added, make u; the shares make one.
    for result in find("results.csv", &[("determination", "D-0003")]) {
        let by = [
            ("determination", result["determination"].as_str()),
            ("of", result["of"].as_str()),
            ("result", result["name"].as_str()),
        ];
        let lines = find("budget.csv", &by);
        let squares: f64 = lines
            .iter()
            .map(|l| number(&l["contribution"]).powi(2))
            .sum();
        let u = number(&result["standard_uncertainty"]);
        assert!((squares.sqrt() / u - 1.0).abs() < 1e-9, "{squares} {u}");
        let shares: f64 = lines.iter().map(|line| number(&line["share"])).sum();
        assert!((shares - 1.0).abs() < 1e-9, "{shares}");
    }
}
