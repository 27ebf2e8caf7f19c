//! Names of apparatus: never a panic, and the order of the words is free.

use proptest::prelude::*;
use volumetry::catalogue::{entries, find};

proptest! {
    #[test]
    fn any_text_is_answered(text in "\\PC{0,40}") {
        if let Err(error) = find(&text) {
            prop_assert!(!error.to_string().is_empty());
        }
    }

    #[test]
    fn near_names_are_answered(
        kind in "burette|pipette|flask|piston pipette",
        size in 0.0..1e4f64,
        unit in "mL|uL|L|",
        class in "A|AS|B|",
    ) {
        if let Err(error) = find(&format!("{kind} {size} {unit} {class}")) {
            prop_assert!(!error.to_string().is_empty());
        }
    }

    #[test]
    fn words_may_be_shuffled(index in 0..entries().len(), order in Just([0, 1, 2, 3]).prop_shuffle()) {
        let entry = &entries()[index];
        let unit = format!("{} mL", entry.nominal_ml);
        let class = entry.class.map_or(String::new(), |c| c.to_string());
        let graduation = entry.graduation_ml.map_or(String::new(), |g| format!("graduated {g}"));
        let kind = if entry.to_string().contains("ASTM") {
            format!("{} ASTM", entry.kind)
        } else {
            entry.kind.to_string()
        };
        let parts = [kind, unit, class, graduation];
        let name = order.map(|i| parts[i].as_str()).join(" ");
        prop_assert_eq!(find(&name).unwrap(), entry, "{}", name);
    }
}
