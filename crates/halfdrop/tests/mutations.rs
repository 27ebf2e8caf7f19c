//! A good sheet, spoiled at random: whatever comes, it is evaluated or refused, and what is printed fits.
#![allow(clippy::unwrap_used)]

mod common;

use metrology::monte_carlo::{Plan, monte_carlo, validate};
use proptest::prelude::*;
use report::wire::EvaluationDocument;
use report::{Account, Simulated, Style};
use titrimetry::evaluation::evaluate;
use titrimetry::{RuleProfile, Sheet};

/// One thing done to a text.
#[derive(Clone, Debug)]
enum Mutation {
    Delete(usize),
    Double(usize),
    Swap(usize, usize),
    /// Puts a value behind the equals sign of a line.
    Value(usize, &'static str),
    /// Puts a number in the place of the first one of a line.
    Number(usize, String),
    Character(usize, char),
}

const VALUES: [&str; 22] = [
    "\"\"",
    "\"NaN\"",
    "\"nan mL\"",
    "\"-1 mL\"",
    "\"1e308 mL\"",
    "\"1e-320 g\"",
    "\"0 mL\"",
    "\"1 furlong\"",
    "\"°\"",
    "\"burette 10 mL A\"",
    "\"burette\"",
    "\"water\"",
    "\"NaCl\"",
    "\"Fe(NH4)2(SO4)2.6H2O\"",
    "\"flask\"",
    "\"0 %\"",
    "\"100 %\"",
    "1e999",
    "-0.0",
    "[]",
    "{}",
    "\"\\u0000\"",
];

fn mutation() -> impl Strategy<Value = Mutation> {
    prop_oneof![
        any::<usize>().prop_map(Mutation::Delete),
        any::<usize>().prop_map(Mutation::Double),
        any::<(usize, usize)>().prop_map(|(a, b)| Mutation::Swap(a, b)),
        (any::<usize>(), prop::sample::select(&VALUES[..]))
            .prop_map(|(l, v)| Mutation::Value(l, v)),
        (
            any::<usize>(),
            "-?[0-9]{1,4}([.,][0-9]{0,6})?(e-?[0-9]{1,3})?"
        )
            .prop_map(|(l, n)| Mutation::Number(l, n)),
        any::<(usize, char)>().prop_map(|(i, c)| Mutation::Character(i, c)),
    ]
}

fn apply(text: &str, mutation: &Mutation) -> String {
    let mut lines: Vec<String> = text.lines().map(str::to_string).collect();
    if lines.is_empty() {
        return text.to_string();
    }
    let count = lines.len();
    match mutation {
        Mutation::Delete(i) => drop(lines.remove(i % count)),
        Mutation::Double(i) => lines.insert(i % count, lines[i % count].clone()),
        Mutation::Swap(a, b) => lines.swap(a % count, b % count),
        Mutation::Value(i, value) => {
            let line = &mut lines[i % count];
            if let Some((key, _)) = line.split_once('=') {
                *line = format!("{key}= {value}");
            }
        }
        Mutation::Number(i, number) => {
            let line = &mut lines[i % count];
            let from = line.find(|c: char| c.is_ascii_digit());
            if let Some(from) = from {
                let digits = line[from..].find(|c: char| !(c.is_ascii_digit() || c == '.'));
                let to = digits.map_or(line.len(), |d| from + d);
                line.replace_range(from..to, number);
            }
        }
        Mutation::Character(i, c) => {
            let mut characters: Vec<char> = text.chars().collect();
            let at = i % characters.len();
            characters[at] = *c;
            return characters.into_iter().collect();
        }
    }
    lines.join("\n")
}

fn tell(text: &str) -> Result<(), TestCaseError> {
    let sheet = match Sheet::read(text) {
        Ok(sheet) => sheet,
        Err(error) => {
            prop_assert!(!error.located(text).to_string().is_empty());
            return Ok(());
        }
    };
    let evaluation = match evaluate(&sheet, None) {
        Ok(evaluation) => evaluation,
        Err(error) => {
            prop_assert!(!error.located(text).to_string().is_empty());
            return Ok(());
        }
    };
    prop_assert!(evaluation.concentration().is_finite() && evaluation.concentration() > 0.0);
    prop_assert!(evaluation.expanded.expanded_uncertainty.is_finite());
    prop_assert!(evaluation.expanded.expanded_uncertainty > 0.0);
    for profile in RuleProfile::shipped() {
        let findings = titrimetry::findings::judge(&evaluation, profile);
        let advice = titrimetry::advice::advise(&evaluation);
        let plan = Plan {
            trials: 2000,
            ..Plan::default()
        };
        let simulated = monte_carlo(&evaluation.formula, &plan)
            .ok()
            .map(|simulation| Simulated {
                validation: validate(&evaluation.budget, &simulation, 2),
                simulation,
            });
        let account = Account {
            evaluation: &evaluation,
            profile,
            findings: &findings,
            advice: &advice,
            simulated: simulated.as_ref(),
        };
        for printed in [
            report::terminal(&account, Style::Plain),
            report::working(&account, Style::Plain),
        ] {
            for line in printed.lines() {
                prop_assert!(line.chars().count() <= report::WIDTH, "{}", line);
            }
        }
        let json = serde_json::to_value(EvaluationDocument::of(&account).unwrap()).unwrap();
        prop_assert!(json["result"]["value"].is_number());
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_spoiled_sheet_panics(
        name in prop::sample::select(&["base-by-phthalate", "acid", "base-by-acid", "slip-of-the-pen"][..]),
        mutations in prop::collection::vec(mutation(), 1..6),
    ) {
        let text = mutations.iter().fold(common::example(name), |text, mutation| apply(&text, mutation));
        tell(&text)?;
    }
}
