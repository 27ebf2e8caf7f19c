//! Plans and predicted curves: reviewed output, and what all of them share.
#![allow(clippy::unwrap_used)]

mod common;

use common::{halfdrop, root};
use serde_json::Value;

/// The plans and their exit status.
const PLANS: [(&str, i32); 8] = [
    ("acid-with-carbonate", 0),
    // U of 0.2 % is out of reach of its class B burette.
    ("base-with-phthalate", 1),
    ("edta-with-calcium", 0),
    ("hardness", 0),
    ("permanganate-with-oxalate", 0),
    ("silver-with-chloride", 0),
    ("thiosulfate-with-iodate", 0),
    ("vinegar", 0),
];

fn file(name: &str) -> String {
    format!("examples/plans/{name}.toml")
}

#[test]
fn every_plan_has_its_reviewed_report() {
    for (name, status) in PLANS {
        let outcome = halfdrop(&["plan", &file(name)]);
        insta::assert_snapshot!(format!("plan-{name}"), outcome.out);
        assert_eq!(
            (outcome.status, outcome.err.as_str()),
            (status, ""),
            "{name}"
        );
        for line in outcome.out.lines() {
            assert!(line.chars().count() <= 100, "{name}: {line}");
        }
    }
}

#[test]
fn no_plan_is_forgotten() {
    let mut files: Vec<String> = std::fs::read_dir(root().join("examples/plans"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    files.sort();
    assert_eq!(files, PLANS.map(|(name, _)| format!("{name}.toml")));
}

/// One plan of each kind of curve.
const CURVES: [&str; 4] = [
    "acid-with-carbonate",
    "edta-with-calcium",
    "permanganate-with-oxalate",
    "silver-with-chloride",
];

#[test]
fn every_curve_is_sketched_listed_and_drawn() {
    for name in CURVES {
        let outcome = halfdrop(&["curve", &file(name)]);
        insta::assert_snapshot!(format!("sketch-{name}"), outcome.out);
        assert_eq!((outcome.status, outcome.err.as_str()), (0, ""), "{name}");
        for line in outcome.out.lines() {
            assert!(line.chars().count() <= 100, "{name}: {line}");
        }
        let plan: Value =
            serde_json::from_str(&halfdrop(&["plan", &file(name), "--json"]).out).unwrap();
        listed(name, &plan);
        drawn(name, &plan);
    }
}

/// The points run on in volume, pass the equivalence point of the plan, and are many where it is steep.
fn listed(name: &str, plan: &Value) {
    let text = halfdrop(&["curve", &file(name), "--csv"]).out;
    let (heading, rows) = text.split_once('\n').unwrap();
    let curve = &plan["curve"];
    let quantity = curve["quantity"].as_str().unwrap();
    let unit = if quantity == "E" { "_V" } else { "" };
    assert_eq!(heading, format!("volume_mL,{quantity}{unit}"));
    let points: Vec<(f64, f64)> = rows
        .lines()
        .map(|row| {
            let (volume, level) = row.split_once(',').unwrap();
            (volume.parse().unwrap(), level.parse().unwrap())
        })
        .collect();
    assert!(
        points.windows(2).all(|pair| pair[0].0 <= pair[1].0),
        "{name}"
    );
    let end = curve["equivalence_ml"].as_f64().unwrap();
    let level = curve["equivalence_level"].as_f64().unwrap();
    // Volumes are written to 1e-6 mL, levels to 1e-6.
    let at = points
        .iter()
        .find(|(volume, _)| (volume - end).abs() <= 1e-6)
        .unwrap();
    assert!((at.1 - level).abs() <= 1e-6, "{name}: {at:?} {level}");
    let near = points
        .iter()
        .filter(|(volume, _)| (volume - end).abs() < 0.1)
        .count();
    assert!(near > 20, "{name}: {near} points near the end");
}

/// Every element that opens closes in order, attributes are quoted, and title and description speak of the picture.
fn drawn(name: &str, plan: &Value) {
    let outcome = halfdrop(&["curve", &file(name), "--svg"]);
    assert_eq!((outcome.status, outcome.err.as_str()), (0, ""), "{name}");
    let elements = elements(&outcome.out);
    for wanted in ["svg", "title", "desc", "polyline", "text", "circle"] {
        assert!(
            elements.iter().any(|e| e == wanted),
            "{name} lacks {wanted}"
        );
    }
    let title = plan["title"].as_str().unwrap();
    assert!(outcome.out.contains(&format!(">{title}</title>")), "{name}");
    let end = plan["curve"]["equivalence_ml"].as_f64().unwrap();
    let words = format!("equivalence point {end:.2} mL");
    let description = outcome.out.split("<desc").nth(1).unwrap();
    let description = description.split("</desc>").next().unwrap();
    assert!(description.contains(&words), "{name}: {description}");
    // Colour is never alone: the names of both colours stand beside it.
    let indicators = plan["indicators"].as_array().unwrap();
    let indicator = indicators
        .iter()
        .find(|i| i["name"] == plan["indicator"])
        .unwrap();
    for colour in indicator["colours"].as_array().unwrap() {
        let word = format!(">{}</text>", colour.as_str().unwrap());
        assert!(outcome.out.contains(&word), "{name} lacks {word}");
    }
}

/// Names of the elements of a document; panics where it is not well formed.
fn elements(text: &str) -> Vec<String> {
    let mut open: Vec<String> = Vec::new();
    let mut all = Vec::new();
    let mut rest = text.trim();
    while let Some(start) = rest.find('<') {
        let content = &rest[..start];
        assert!(!content.contains('>'), "a stray > in {content}");
        for entity in content.split('&').skip(1) {
            let known = ["amp;", "lt;", "gt;", "quot;"];
            assert!(known.iter().any(|k| entity.starts_with(k)), "&{entity}");
        }
        let end = rest[start..].find('>').unwrap() + start;
        let tag = &rest[start + 1..end];
        assert!(tag.matches('"').count().is_multiple_of(2), "{tag}");
        let name: String = tag
            .trim_start_matches('/')
            .chars()
            .take_while(char::is_ascii_alphabetic)
            .collect();
        if tag.starts_with('/') {
            assert_eq!(open.pop().as_ref(), Some(&name));
        } else if !tag.ends_with('/') {
            open.push(name.clone());
        }
        all.push(name);
        rest = &rest[end + 1..];
        assert!(!open.is_empty() || rest.is_empty(), "text after the end");
    }
    assert!(open.is_empty(), "{open:?} stay open");
    all
}

#[test]
fn the_picture_of_the_front_page_is_current() {
    let shown = std::fs::read_to_string(root().join("docs/curve.svg")).unwrap_or_default();
    assert!(
        shown == halfdrop(&["curve", &file("base-with-phthalate"), "--svg"]).out,
        "docs/curve.svg is not current; write it anew: cargo run -- curve examples/plans/base-with-phthalate.toml --svg > docs/curve.svg"
    );
}

/// A file and options that say the same give the same.
#[test]
fn options_draw_what_a_file_draws() {
    let options = [
        "curve",
        "--csv",
        "--titrant",
        "sodium hydroxide",
        "--strength",
        "0.1 mol/L",
        "--volume",
        "2 L",
        "--standard",
        "potassium hydrogen phthalate",
        "--uncertainty",
        "0.2 %",
        "--burette",
        "burette 50 mL B",
        "--balance",
        "four-place balance",
        "--rules",
        "pharmacopoeia",
    ];
    let of_file = halfdrop(&["curve", "--csv", &file("base-with-phthalate")]);
    assert_eq!(halfdrop(&options).out, of_file.out);
    // A rough run moves the zones, and nothing else is drawn otherwise.
    let after = halfdrop(&["curve", &file("vinegar"), "--rough", "20.6 mL"]);
    assert!(
        after
            .out
            .contains("after a rough run of 20.6 mL: freely to 19."),
        "{}",
        after.out
    );
}

#[test]
fn a_curve_that_cannot_be_drawn_says_why() {
    let outcome = halfdrop(&[
        "curve",
        "--titrant",
        "NaOH",
        "--standard",
        "sodium chloride",
    ]);
    assert_eq!(outcome.status, 2);
    assert!(outcome.out.is_empty() && !outcome.err.is_empty());
    let outcome = halfdrop(&["curve", &file("vinegar"), "--rough", "much"]);
    assert_eq!(outcome.status, 2);
    assert!(outcome.err.contains("--rough"), "{}", outcome.err);
}
