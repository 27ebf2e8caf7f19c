//! What the README shows is what the program prints.
//!
//! `RENEW=1 cargo test -p halfdrop --test readme` writes the blocks anew; read the difference afterwards.
#![allow(clippy::unwrap_used)]

mod common;

use common::{example, halfdrop, root};

const COMMAND: &str = "$ cargo run --release -- ";

/// The README with every block as it should be.
fn as_it_should_be(readme: &str) -> String {
    let mut text = String::new();
    for part in readme.split_inclusive("```\n") {
        if let Some((before, block)) = part.split_once("```console\n") {
            let command = block.lines().next().unwrap();
            text.push_str(&format!(
                "{before}```console\n{command}\n{}```\n",
                output(command)
            ));
        } else if let Some((before, _)) = part.split_once("```toml\n") {
            let sheet = example("base-by-phthalate");
            text.push_str(&format!("{before}```toml\n{sheet}```\n"));
        } else {
            text.push_str(part);
        }
    }
    text
}

/// What a command of the README prints; `jq` is stood in for.
fn output(command: &str) -> String {
    let command = command.strip_prefix(COMMAND).unwrap();
    let (command, filter) = match command.split_once(" | jq '.") {
        Some((command, filter)) => (command, filter.strip_suffix('\'')),
        None => (command, None),
    };
    let arguments: Vec<&str> = command.split(' ').collect();
    let outcome = halfdrop(&arguments);
    assert_eq!(outcome.status, 0, "{}", outcome.err);
    match filter {
        Some(field) => {
            // The field as it stands in the document, two columns to the left.
            let start = outcome.out.find(&format!("\n  \"{field}\": ")).unwrap();
            let (_, value) = outcome.out[start..].split_once(": ").unwrap();
            let (value, _) = value.split_once("\n  }").unwrap();
            format!("{}\n}}\n", value.replace("\n  ", "\n"))
        }
        None => outcome.out,
    }
}

/// Equal, but for the last bits of an unrounded number, which the mathematical library of a machine decides.
fn same(shown: &str, wanted: &str) -> bool {
    let number = |line: &str| -> Option<(String, f64)> {
        let (key, value) = line.split_once(": ")?;
        Some((key.to_string(), value.trim_end_matches(',').parse().ok()?))
    };
    shown == wanted
        || matches!((number(shown), number(wanted)), (Some((a, x)), Some((b, y)))
            if a == b && (x - y).abs() <= 1e-9 * y.abs())
}

#[test]
fn the_readme_shows_what_the_program_prints() {
    let path = root().join("README.md");
    let readme = std::fs::read_to_string(&path).unwrap();
    let wanted = as_it_should_be(&readme);
    assert!(wanted.matches("```console\n").count() >= 2);
    if std::env::var_os("RENEW").is_some() {
        std::fs::write(&path, wanted).unwrap();
    } else {
        assert!(
            readme.lines().count() == wanted.lines().count()
                && readme.lines().zip(wanted.lines()).all(|(a, b)| same(a, b)),
            "a block of README.md is not current; write it anew: RENEW=1 cargo test -p halfdrop --test readme"
        );
    }
}

#[test]
fn the_job_stands_on_top_and_both_commands_are_there() {
    let readme = std::fs::read_to_string(root().join("README.md")).unwrap();
    assert!(readme.starts_with("# halfdrop\n\n**halfdrop turns the readings of a titration"));
    assert!(readme.contains("cargo run --release -- evaluate examples/base-by-phthalate.toml"));
    assert!(readme.contains("./check"));
}

#[test]
fn the_readme_names_every_method() {
    let readme = std::fs::read_to_string(root().join("README.md")).unwrap();
    let list = halfdrop(&["method", "list"]).out;
    let names = list.lines().filter_map(|l| l.strip_prefix("  "));
    for name in names.filter_map(|l| l.split(' ').next()) {
        let named = [format!(" {name},"), format!(" {name} |")];
        assert!(named.iter().any(|n| readme.contains(n)), "{name}");
    }
}
